"""The page's addresses under /api: each reads a request, calls one function, and answers."""

from __future__ import annotations

import asyncio
import math
import os
import tempfile
from collections import defaultdict
from collections.abc import AsyncIterator, Coroutine, Iterator
from contextlib import asynccontextmanager, contextmanager
from pathlib import Path
from typing import Any
from urllib.parse import unquote

from pydantic import BaseModel, ConfigDict
from starlette.applications import Starlette
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Route

from cutout.errors import CutoutError, JobError
from cutout.job.fields import files_in
from cutout.job.file import dump_job, parse_job
from cutout.job.schema import Job, filled
from cutout.page import choices, start
from cutout.page.changes import Change, changed, shown, turned, with_sizes
from cutout.page.closed import closed, decided
from cutout.page.examples import EXAMPLES, example
from cutout.page.files import distinct, plain_name
from cutout.page.form import form
from cutout.page.looks import signs
from cutout.page.share import Shared, code_path
from cutout.page.sources import renamed, with_labels
from cutout.page.store import NoSuchJobError, StaleError, State, Store
from cutout.page.workers import TaskError, Workers, sentence
from cutout.units import Units

UPLOAD_LIMIT = 40_000_000
"""Most bytes of a picture."""

QUICK_SECONDS = 30.0
"""What is asked while a hand waits may take so long, on a slow machine; then it is given up. Taste."""
SLOW_SECONDS = 240.0
"""What is worked out in the background may take so long: a cup of tea. Taste."""

_WALK = "cutsheet.html"
"""The output that a phone is shown: it holds all it needs in one file."""

_PHOTOS = 4
"""Photographs of one panel that are held against its pattern together, the newest."""

_STAGES = ("checked", "mended", "planned")
_BACKGROUND = (*_STAGES, "smallest")


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


class _Keep(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)

    replacing: bool = False


class Api:
    """The addresses under /api, over one folder of jobs."""

    def __init__(self, store: Store, shared: Shared | None = None) -> None:
        self._store = store
        self._shared = shared
        self._current: str | None = None
        self._sketches: dict[str, tuple[int, dict[str, Any]]] = {}
        self._scratch = tempfile.TemporaryDirectory(prefix="cutout-page-")
        self._workers = Workers("cutout.page.tasks", prepare=(Path(self._scratch.name),))
        self._measured: dict[str, Any] = {}
        self._photos: dict[str, tuple[Path, ...]] = {}
        self._offered: dict[str, Any] | None = None
        self._writing: defaultdict[str, asyncio.Lock] = defaultdict(asyncio.Lock)

    @asynccontextmanager
    async def lifespan(self, _: Starlette) -> AsyncIterator[None]:
        """Worker processes live as long as the server."""
        warming = asyncio.ensure_future(self._workers.warm())
        try:
            yield
        finally:
            await warming
            self._workers.close()
            self._scratch.cleanup()

    def stop(self) -> None:
        """End all work under way; those who wait for it are told."""
        self._workers.close()

    def routes(self) -> list[Route]:
        """Every address with its method."""
        return [
            Route("/api/choices", self.choices),
            Route("/api/examples/{name}", self.example),
            Route("/api/jobs", self.earlier),
            Route("/api/jobs", self.new, methods=["POST"]),
            Route("/api/jobs/{id}", self.show),
            Route("/api/jobs/{id}/sketch", self.sketch),
            Route("/api/jobs/{id}/traced/{n:int}", self.traced),
            Route("/api/jobs/{id}/change", self.change, methods=["POST"]),
            Route("/api/jobs/{id}/undo", self.undo, methods=["POST"]),
            Route("/api/jobs/{id}/redo", self.redo, methods=["POST"]),
            Route("/api/jobs/{id}/remove", self.remove, methods=["POST"]),
            Route("/api/jobs/{id}/picture", self.picture, methods=["POST"]),
            Route("/api/jobs/{id}/sources", self.add_source, methods=["POST"]),
            Route("/api/jobs/{id}/sources/{name}", self.source),
            Route("/api/jobs/{id}/sources/{name}", self.fill, methods=["POST"]),
            Route("/api/jobs/{id}/work/{task}", self.work),
            Route("/api/jobs/{id}/progress", self.progress),
            Route("/api/jobs/{id}/blades/{name}", self.blade),
            Route("/api/jobs/{id}/files/{name}", self.file),
            Route("/api/jobs/{id}/card", self.card, methods=["POST"]),
            Route("/api/jobs/{id}/card/keep", self.keep_card, methods=["POST"]),
            Route("/api/jobs/{id}/held", self.held, methods=["POST"]),
        ]

    async def choices(self, _: Request) -> Response:
        """What can be chosen and set: the form, what the kit says, files, examples, and the limit of an upload."""
        files = (await self._outputs())["files"]
        offered = {
            "form": form(),
            "examples": list(EXAMPLES),
            "files": files,
            "upload_limit": UPLOAD_LIMIT,
            "signs": signs(),
        }
        shared = self._shared and {
            "address": self._shared.address,
            "code": code_path(self._shared.code()),
            "across": len(self._shared.code()),
        }
        return JSONResponse({**choices.choices(), **offered, "shared": shared})

    async def example(self, request: Request) -> Response:
        """How one of the examples looks, to choose it by."""
        name = request.path_params["name"]
        if name not in EXAMPLES:
            raise HTTPException(404)
        view = await self._workers.run("example_view", name, owner="", seconds=QUICK_SECONDS)
        return JSONResponse({"about": EXAMPLES[name], **view})

    async def earlier(self, _: Request) -> Response:
        """Jobs of earlier visits."""
        states = await asyncio.to_thread(self._store.earlier)
        return JSONResponse({"jobs": [_entry(state, self._store.changed(state.id)) for state in states]})

    async def sketch(self, request: Request) -> Response:
        """A job as a small picture; worked out once for each state of it. Nothing for one deleted meanwhile."""
        try:
            state = await self._state(request)
            _need_sources(state)
            if self._sketches.get(state.id, (-1, {}))[0] != state.revision:
                drawn = await self._quick("sketch", state, *self._job_and_folder(state))
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
            state = await asyncio.to_thread(self._store.new, start.empty(wanted.units))
        else:
            job = parse_job(wanted.job_file, plain_name(wanted.name or "job.toml"))
            state = await asyncio.to_thread(self._store.new, *start.opened(job))
        return await self._answer(state)

    async def show(self, request: Request) -> Response:
        """The job as it stands."""
        return await self._answer(await self._state(request))

    async def change(self, request: Request) -> Response:
        """Set fields of the job."""
        edit = _Edit.model_validate_json(await request.body())
        state = await self._state(request)
        if edit.revision != state.revision:
            raise StaleError(state.id)
        job = await self._same_size(state, changed(state.job, edit.changes))
        after = await asyncio.to_thread(self._store.change, state.id, edit.revision, job, edit.gesture)
        self._outdate(state.id)
        return await self._answer(after)

    async def undo(self, request: Request) -> Response:
        """One step back."""
        return await self._step(request, -1)

    async def redo(self, request: Request) -> Response:
        """One step forward."""
        return await self._step(request, 1)

    async def remove(self, request: Request) -> Response:
        """Delete the job and its files."""
        await asyncio.to_thread(self._store.remove, request.path_params["id"])
        return JSONResponse({})

    async def picture(self, request: Request) -> Response:
        """A new source: takes the place of figure ?figure=N, or is added as a further one."""
        state = await self._state(request)
        label = _label(request)
        data = await request.body()
        name = await asyncio.to_thread(self._store.add_file, state.id, data, label)
        try:
            state = await asyncio.to_thread(self._store.state, state.id)
            path, board = self._store.files(state.id) / name, start.board_of(state.job)
            size = await self._quick("begin", state, path, board)
            state = await asyncio.to_thread(self._store.state, state.id)
            replaced = _number(request.query_params.get("figure"))
            job = start.with_picture(state.job, name, label, size, replaced)
            job = await self._in_free_room(state, job)
            state = await asyncio.to_thread(self._store.change, state.id, state.revision, job)
        except (CutoutError, TaskError):
            await asyncio.to_thread(self._store.drop_file, state.id, name)
            raise
        return await self._answer(state)

    async def add_source(self, request: Request) -> Response:
        """Keep a file for a field that names one, a font or a painted picture; the answer is its name here."""
        id, label = request.path_params["id"], _label(request)
        name = await asyncio.to_thread(self._store.add_file, id, await request.body(), label)
        return JSONResponse({"name": name})

    async def source(self, request: Request) -> Response:
        """The bytes of a source, as they were sent."""
        id, name = request.path_params["id"], request.path_params["name"]
        data = await asyncio.to_thread(self._store.read_file, id, name)
        return Response(data, media_type="application/octet-stream")

    async def fill(self, request: Request) -> Response:
        """A source that an opened job file names and the page lacks."""
        state, name = await self._state(request), request.path_params["name"]
        await asyncio.to_thread(self._store.fill, state.id, name, await request.body())
        return await self._answer(await self._state(request))

    async def work(self, request: Request) -> Response:
        """What takes longer than a look: the checks, the mended pattern, the plan."""
        state = await self._state(request)
        task = request.path_params["task"]
        if task not in _STAGES:
            raise HTTPException(404)
        _need_sources(state)
        work = self._slow(task, state, *self._job_and_folder(state), instead=True)
        try:
            answer = await _while_wanted(request, work)
        except CutoutError as error:
            # What is asked for can't be worked out: an ordinary answer, like that of a look.
            answer = {"problem": str(error)}
        return JSONResponse({**answer, "revision": state.revision})

    async def progress(self, request: Request) -> Response:
        """What the job's tasks under way said last: what began, and the share (0..1) of the task done."""
        told = self._workers.so_far(request.path_params["id"])
        return JSONResponse({task: {"stage": stage, "share": share} for task, (stage, share) in told.items()})

    async def blade(self, request: Request) -> Response:
        """The smallest size one blade manages: a search, so blades are asked for one at a time."""
        state, name = await self._state(request), request.path_params["name"]
        _need_sources(state)
        work = self._slow("smallest", state, *self._job_and_folder(state), name, instead=True)
        return JSONResponse(await _while_wanted(request, work))

    async def file(self, request: Request) -> Response:
        """One of the files of the finished job."""
        state, name = await self._state(request), request.path_params["name"]
        outputs = await self._outputs()
        labels = {source: state.labels[source] for source in files_in(state.job)}
        names = distinct(labels, outputs["taken"])
        job_toml = dump_job(renamed(state.job, names)).encode()
        if name == "job.toml":
            return _download(job_toml, name, "application/toml")
        if name == "test-card.pdf":
            return _download(await self._quick("test_card", state, state.job), name, "application/pdf")
        _need_sources(state)
        if name != "everything.zip" and name not in (f["name"] for f in outputs["files"]):
            raise HTTPException(404)
        # One file after the other: the process that wrote the first still knows the finished job.
        async with self._writing[state.id]:
            if name == "everything.zip":
                packed = await self._slow("everything", state, *self._job_and_folder(state), job_toml, names)
                return _download(packed, name, "application/zip")
            made = await self._slow("file_of", state, *self._job_and_folder(state), name)
        own_name, media_type, content = made
        return _download(content, own_name, media_type)

    async def card(self, request: Request) -> Response:
        """What a photograph of the sawn test card says of the saw."""
        state = await self._state(request)
        photo = await self._photo(request, state, "card")
        minutes, square = (
            _minutes(request.query_params.get("minutes")),
            request.query_params.get("square", ""),
        )
        work = self._slow("card", state, state.job, photo, minutes, square, instead=True)
        answer, found = await _while_wanted(request, work)
        self._measured[state.id] = found
        return JSONResponse(answer)

    async def keep_card(self, request: Request) -> Response:
        """Keep what the card said for every later job with that blade."""
        wanted = _Keep.model_validate_json(await request.body())
        state = await self._state(request)
        found = self._measured.get(state.id)
        if found is None:
            raise JobError("no card has been read here yet: choose a photo of it.")
        return JSONResponse(await self._quick("keep_card", state, found, wanted.replacing))

    async def held(self, request: Request) -> Response:
        """A photograph of the sawn panel beside its pattern, with those given before unless ?first=1."""
        state = await self._state(request)
        _need_sources(state)
        before = () if request.query_params.get("first") == "1" else self._photos.get(state.id, ())
        photo = await self._photo(request, state, "panel")
        photos = (*(p for p in before if p != photo), photo)[-_PHOTOS:]
        work = self._slow("panel_held", state, *self._job_and_folder(state), photos, instead=True)
        answer = await _while_wanted(request, work)
        self._photos[state.id] = photos  # one that could not be read does not stand in the way of the next
        return JSONResponse({**answer, "photos": len(photos)})

    async def _photo(self, request: Request, state: State, kind: str) -> Path:
        """A photograph that is only looked at: it lies in a folder that ends with the page."""
        folder = Path(self._scratch.name) / state.id / kind
        path = folder / plain_name(_label(request))
        data = await request.body()

        def write() -> None:
            folder.mkdir(parents=True, exist_ok=True)
            path.write_bytes(data)

        await asyncio.to_thread(write)
        return path

    async def walk(self) -> bytes | str:
        """The cut sheet of the job last looked at, which walks through its plan; or why there is none yet."""
        try:
            if self._current is None:
                return "No job is open on the page yet. This asks again by itself."
            state = await asyncio.to_thread(self._store.state, self._current)
            if not state.job.figures or state.missing:
                return "There is no picture on the panel yet. This asks again by itself."
            async with self._writing[state.id]:
                _, _, content = await self._slow("file_of", state, *self._job_and_folder(state), _WALK)
        except CutoutError as error:
            return str(error)
        except TaskError as error:
            return sentence(error)
        except NoSuchJobError:
            return "That job is no longer here. This asks again by itself."
        return bytes(content)

    async def traced(self, request: Request) -> Response:
        """A figure's outline over its own photo."""
        state, n = await self._state(request), request.path_params["n"]
        if n >= len(state.job.figures):
            raise HTTPException(404)
        _need_sources(state)
        return JSONResponse(await self._quick("traced", state, *self._job_and_folder(state), n))

    async def _outputs(self) -> dict[str, Any]:
        """What can be downloaded; asked for once, over there, where the writers are known."""
        if self._offered is None:
            self._offered = await self._workers.run("outputs", owner="", seconds=QUICK_SECONDS)
        return self._offered

    async def _state(self, request: Request) -> State:
        return await asyncio.to_thread(self._store.state, request.path_params["id"])

    async def _step(self, request: Request, by: int) -> Response:
        wanted = _Step.model_validate_json(await request.body())
        id = request.path_params["id"]
        after = await asyncio.to_thread(self._store.step, id, wanted.revision, by)
        self._outdate(id)
        return await self._answer(after)

    def _from_example(self, name: str) -> State:
        job, files = example(name)
        renamed_job, labels = start.opened(job)
        state = self._store.new(renamed_job, labels)
        for own, label in labels.items():
            self._store.fill(state.id, own, files[label])
        return self._store.state(state.id)

    async def _in_free_room(self, state: State, job: Job) -> Job:
        """The job with its newest figure beside the others, where it was added to some and there is room."""
        if len(job.figures) <= max(1, len(state.job.figures)) or job.arrange is not None:
            return job
        found = await self._quick("free_room_of", state, job, self._store.files(state.id))
        return job if found is None else start.moved_last(job, *found)

    async def _same_size(self, state: State, job: Job) -> Job:
        """The job with figures that were only turned or mirrored kept as large as they look.

        A figure's width is measured after turning: without this, turning would shrink or stretch it.
        """
        figures = turned(state.job, job)
        if state.missing or not figures:
            return job
        try:
            sizes = await self._quick(
                "turned_sizes", state, state.job, job, figures, self._store.files(state.id)
            )
        except (CutoutError, TaskError):
            return job
        return with_sizes(job, sizes)

    async def _answer(self, state: State) -> Response:
        """The job, and how it looks now or why it can't be shown."""
        self._current = state.id
        answer: dict[str, Any] = {"state": _state_view(state), "look": None, "problem": None}
        if state.job.figures and not state.missing:
            try:
                answer["look"] = await self._quick("look", state, *self._job_and_folder(state))
            except CutoutError as error:
                answer["problem"] = str(error)
            except TaskError as error:
                answer["problem"] = sentence(error)
        return JSONResponse(answer)

    def _job_and_folder(self, state: State) -> tuple[Job, Path]:
        return state.job, self._store.files(state.id)

    def _outdate(self, id: str) -> None:
        """End what is being worked out in the background for a job that has changed."""
        for task in _BACKGROUND:
            self._workers.stop(task, id)

    async def _quick(self, task: str, state: State, *arguments: Any) -> Any:
        with self._said_with(state):
            return await self._workers.run(task, *arguments, owner=state.id, seconds=QUICK_SECONDS)

    async def _slow(self, task: str, state: State, *arguments: Any, instead: bool = False) -> Any:
        with self._said_with(state):
            return await self._workers.run(
                task, *arguments, owner=state.id, seconds=SLOW_SECONDS, slow=True, instead=instead
            )

    @contextmanager
    def _said_with(self, state: State) -> Iterator[None]:
        """Errors name files as the user knows them, and no folder of ours."""
        try:
            yield
        except CutoutError as error:
            plain = str(error).replace(f"{self._store.files(state.id)}{os.sep}", "")
            raise CutoutError(with_labels(plain, state.labels)) from error


async def _while_wanted(request: Request, work: Coroutine[Any, Any, Any]) -> Any:
    """The work's answer; the work is ended when the tab that asked has gone or no longer waits."""
    working = asyncio.ensure_future(work)
    gone = asyncio.ensure_future(_gone(request))
    try:
        await asyncio.wait((working, gone), return_when=asyncio.FIRST_COMPLETED)
        if not working.done():
            raise TaskError("replaced")
        return working.result()
    finally:
        gone.cancel()
        working.cancel()


async def _gone(request: Request) -> None:
    while (await request.receive())["type"] != "http.disconnect":
        pass


def _state_view(state: State) -> dict[str, Any]:
    return {
        "id": state.id,
        "revision": state.revision,
        "can_undo": state.can_undo,
        "can_redo": state.can_redo,
        "title": _title(state),
        "job": filled(state.job).model_dump(mode="json"),
        "shown": shown(state.job) | decided(state.job),
        "closed": closed(state.job),
        "labels": dict(state.labels),
        "missing": list(state.missing),
    }


def _entry(state: State, changed_at: float) -> dict[str, Any]:
    """A job in the list of earlier ones: what it is called, its panel's size, when it was changed (seconds)."""
    sizes = shown(state.job) | decided(state.job)
    sides = [sizes[f"panel.{side}"] for side in ("width", "height") if f"panel.{side}" in sizes]
    return {"id": state.id, "title": _title(state), "size": " x ".join(sides), "changed": changed_at}


def _title(state: State) -> str:
    named = [state.labels.get(source, source) for source in files_in(state.job)]
    return state.job.title or (named[0] if named else "New job")


def _need_sources(state: State) -> None:
    if state.missing:
        wanted = ", ".join(plain_name(state.labels[name]) for name in state.missing)
        raise JobError(f"this job still needs {wanted}: choose it first.")


def _label(request: Request) -> str:
    return plain_name(unquote(request.headers.get("x-file-name", "picture")))


def _minutes(text: str | None) -> float | None:
    if not text:
        return None
    try:
        minutes = float(text.replace(",", "."))
    except ValueError:
        minutes = math.nan
    if not 0 < minutes < math.inf:
        raise JobError(f'"{text}" is no number of minutes.')
    return minutes


def _number(text: str | None) -> int | None:
    return int(text) if text is not None and text.isdecimal() and len(text) < 6 else None


def _download(content: bytes, name: str, media_type: str) -> Response:
    headers = {"content-disposition": f'attachment; filename="{name}"'}
    return Response(content, media_type=media_type, headers=headers)
