"""The addresses of the jobs themselves: new and earlier ones, their fields, their pictures."""

from __future__ import annotations

import asyncio
from typing import Any

from pydantic import BaseModel, ConfigDict
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Route

from cutout.errors import CutoutError
from cutout.job.file import parse_job
from cutout.job.schema import Job
from cutout.page import start
from cutout.page.changes import Change, changed, shown, turned, with_sizes
from cutout.page.closed import decided
from cutout.page.desk import Desk, label_of, need_sources, title_of
from cutout.page.examples import EXAMPLES, example
from cutout.page.files import plain_name
from cutout.page.store import NoSuchJobError, StaleError, State
from cutout.page.workers import TaskError
from cutout.units import Units


class _Edit(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)

    revision: int
    changes: tuple[Change, ...]
    gesture: str | None = None


class _Step(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)

    revision: int


class _NewJob(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)

    units: Units = "mm"
    job_file: str | None = None
    name: str | None = None
    example: str | None = None


class Jobs:
    """Jobs are made, changed, walked back through and deleted; their sources come and go."""

    def __init__(self, desk: Desk) -> None:
        self._desk = desk
        self._sketches: dict[str, tuple[int, dict[str, Any]]] = {}

    def routes(self) -> list[Route]:
        """Every address with its method."""
        return [
            Route("/api/jobs", self.earlier),
            Route("/api/jobs", self.new, methods=["POST"]),
            Route("/api/jobs/{id}", self.show),
            Route("/api/jobs/{id}/sketch", self.sketch),
            Route("/api/jobs/{id}/change", self.change, methods=["POST"]),
            Route("/api/jobs/{id}/undo", self.undo, methods=["POST"]),
            Route("/api/jobs/{id}/redo", self.redo, methods=["POST"]),
            Route("/api/jobs/{id}/remove", self.remove, methods=["POST"]),
            Route("/api/jobs/{id}/picture", self.picture, methods=["POST"]),
            Route("/api/jobs/{id}/sources", self.add_source, methods=["POST"]),
            Route("/api/jobs/{id}/sources/{name}", self.source),
            Route("/api/jobs/{id}/sources/{name}", self.fill, methods=["POST"]),
        ]

    async def earlier(self, _: Request) -> Response:
        """Jobs of earlier visits."""
        states = await asyncio.to_thread(self._desk.store.earlier)
        return JSONResponse({"jobs": [_entry(state, self._desk.store.changed(state.id)) for state in states]})

    async def sketch(self, request: Request) -> Response:
        """A job as a small picture; worked out once for each state of it. Nothing for one deleted meanwhile."""
        try:
            state = await self._desk.state(request)
            need_sources(state)
            if self._sketches.get(state.id, (-1, {}))[0] != state.revision:
                drawn = await self._desk.quick("sketch", state, *self._desk.job_and_folder(state))
                self._sketches[state.id] = (state.revision, drawn)
            return JSONResponse(self._sketches[state.id][1])
        except NoSuchJobError:
            # Ordinary: the list of earlier jobs asks for their pictures one by one, while some are taken away.
            return Response(status_code=204)

    async def new(self, request: Request) -> Response:
        """A new job, empty or from the text of a job file."""
        wanted = _NewJob.model_validate_json(await request.body())
        if wanted.example is not None:
            if wanted.example not in EXAMPLES:
                raise HTTPException(404)
            state = await asyncio.to_thread(self._from_example, wanted.example)
        elif wanted.job_file is None:
            state = await asyncio.to_thread(self._desk.store.new, start.empty(wanted.units))
        else:
            job = parse_job(wanted.job_file, plain_name(wanted.name or "job.toml"))
            state = await asyncio.to_thread(self._desk.store.new, *start.opened(job))
        return await self._desk.answer(state)

    async def show(self, request: Request) -> Response:
        """The job as it stands."""
        return await self._desk.answer(await self._desk.state(request))

    async def change(self, request: Request) -> Response:
        """Set fields of the job."""
        edit = _Edit.model_validate_json(await request.body())
        state = await self._desk.state(request)
        if edit.revision != state.revision:
            raise StaleError(state.id)
        job = await self._same_size(state, changed(state.job, edit.changes))
        after = await asyncio.to_thread(self._desk.store.change, state.id, edit.revision, job, edit.gesture)
        self._desk.outdate(state.id)
        return await self._desk.answer(after)

    async def undo(self, request: Request) -> Response:
        """One step back."""
        return await self._step(request, -1)

    async def redo(self, request: Request) -> Response:
        """One step forward."""
        return await self._step(request, 1)

    async def remove(self, request: Request) -> Response:
        """Delete the job and its files."""
        await asyncio.to_thread(self._desk.store.remove, request.path_params["id"])
        return JSONResponse({})

    async def picture(self, request: Request) -> Response:
        """A new source: takes the place of figure ?figure=N, or is added as a further one."""
        state = await self._desk.state(request)
        label = label_of(request)
        data = await request.body()
        name = await asyncio.to_thread(self._desk.store.add_file, state.id, data, label)
        try:
            state = await asyncio.to_thread(self._desk.store.state, state.id)
            path, board = self._desk.store.files(state.id) / name, start.board_of(state.job)
            size = await self._desk.quick("begin", state, path, board)
            state = await asyncio.to_thread(self._desk.store.state, state.id)
            replaced = _number(request.query_params.get("figure"))
            job = start.with_picture(state.job, name, label, size, replaced)
            job = await self._in_free_room(state, job)
            state = await asyncio.to_thread(self._desk.store.change, state.id, state.revision, job)
        except (CutoutError, TaskError):
            await asyncio.to_thread(self._desk.store.drop_file, state.id, name)
            raise
        return await self._desk.answer(state)

    async def add_source(self, request: Request) -> Response:
        """Keep a file for a field that names one, a font or a painted picture; the answer is its name here."""
        id, label = request.path_params["id"], label_of(request)
        name = await asyncio.to_thread(self._desk.store.add_file, id, await request.body(), label)
        return JSONResponse({"name": name})

    async def source(self, request: Request) -> Response:
        """The bytes of a source, as they were sent."""
        id, name = request.path_params["id"], request.path_params["name"]
        data = await asyncio.to_thread(self._desk.store.read_file, id, name)
        return Response(data, media_type="application/octet-stream")

    async def fill(self, request: Request) -> Response:
        """A source that an opened job file names and the page lacks."""
        state, name = await self._desk.state(request), request.path_params["name"]
        await asyncio.to_thread(self._desk.store.fill, state.id, name, await request.body())
        return await self._desk.answer(await self._desk.state(request))

    async def _step(self, request: Request, by: int) -> Response:
        wanted = _Step.model_validate_json(await request.body())
        id = request.path_params["id"]
        after = await asyncio.to_thread(self._desk.store.step, id, wanted.revision, by)
        self._desk.outdate(id)
        return await self._desk.answer(after)

    def _from_example(self, name: str) -> State:
        job, files = example(name)
        renamed_job, labels = start.opened(job)
        state = self._desk.store.new(renamed_job, labels)
        for own, label in labels.items():
            self._desk.store.fill(state.id, own, files[label])
        return self._desk.store.state(state.id)

    async def _in_free_room(self, state: State, job: Job) -> Job:
        """The job with its newest figure beside the others, where it was added to some and there is room."""
        if len(job.figures) <= max(1, len(state.job.figures)) or job.arrange is not None:
            return job
        found = await self._desk.quick("free_room_of", state, job, self._desk.store.files(state.id))
        return job if found is None else start.moved_last(job, *found)

    async def _same_size(self, state: State, job: Job) -> Job:
        """The job with figures that were only turned or mirrored kept as large as they look.

        A figure's width is measured after turning: without this, turning would shrink or stretch it.
        """
        figures = turned(state.job, job)
        if state.missing or not figures:
            return job
        try:
            sizes = await self._desk.quick(
                "turned_sizes", state, state.job, job, figures, self._desk.store.files(state.id)
            )
        except (CutoutError, TaskError):
            return job
        return with_sizes(job, sizes)


def _entry(state: State, changed_at: float) -> dict[str, Any]:
    """A job in the list of earlier ones: what it is called, its panel's size, when it was changed (seconds)."""
    sizes = shown(state.job) | decided(state.job)
    sides = [sizes[f"panel.{side}"] for side in ("width", "height") if f"panel.{side}" in sizes]
    return {"id": state.id, "title": title_of(state), "size": " x ".join(sides), "changed": changed_at}


def _number(text: str | None) -> int | None:
    return int(text) if text is not None and text.isdecimal() and len(text) < 6 else None
