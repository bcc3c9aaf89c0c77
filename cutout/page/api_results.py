"""The addresses of what is worked out for a job: its stages, blades, files, and the walk that is shared."""

from __future__ import annotations

import asyncio

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Route

from cutout.errors import CutoutError
from cutout.job.fields import files_in
from cutout.job.file import dump_job
from cutout.page.desk import STAGES, Desk, need_sources, while_wanted
from cutout.page.files import distinct
from cutout.page.sources import renamed
from cutout.page.store import NoSuchJobError
from cutout.page.workers import TaskError, sentence

_WALK = "cutsheet.html"
"""The output that a phone is shown: it holds all it needs in one file."""


class Results:
    """What the job comes to, worked out in the background, and the files of it."""

    def __init__(self, desk: Desk) -> None:
        self._desk = desk

    def routes(self) -> list[Route]:
        """Every address with its method."""
        return [
            Route("/api/jobs/{id}/traced/{n:int}", self.traced),
            Route("/api/jobs/{id}/work/{task}", self.work),
            Route("/api/jobs/{id}/progress", self.progress),
            Route("/api/jobs/{id}/blades/{name}", self.blade),
            Route("/api/jobs/{id}/files/{name}", self.file),
        ]

    async def work(self, request: Request) -> Response:
        """What takes longer than a look: the checks, the mended pattern, the plan."""
        state = await self._desk.state(request)
        task = request.path_params["task"]
        if task not in STAGES:
            raise HTTPException(404)
        need_sources(state)
        work = self._desk.slow(task, state, *self._desk.job_and_folder(state), instead=True)
        try:
            answer = await while_wanted(request, work)
        except CutoutError as error:
            # What is asked for can't be worked out: an ordinary answer, like that of a look.
            answer = {"problem": str(error)}
        return JSONResponse({**answer, "revision": state.revision})

    async def progress(self, request: Request) -> Response:
        """What the job's tasks under way said last: what began, and the share (0..1) of the task done."""
        told = self._desk.workers.so_far(request.path_params["id"])
        return JSONResponse({task: {"stage": stage, "share": share} for task, (stage, share) in told.items()})

    async def blade(self, request: Request) -> Response:
        """The smallest size one blade manages: a search, so blades are asked for one at a time."""
        state, name = await self._desk.state(request), request.path_params["name"]
        need_sources(state)
        work = self._desk.slow("smallest", state, *self._desk.job_and_folder(state), name, instead=True)
        return JSONResponse(await while_wanted(request, work))

    async def traced(self, request: Request) -> Response:
        """A figure's outline over its own photo."""
        state, n = await self._desk.state(request), request.path_params["n"]
        if n >= len(state.job.figures):
            raise HTTPException(404)
        need_sources(state)
        return JSONResponse(await self._desk.quick("traced", state, *self._desk.job_and_folder(state), n))

    async def file(self, request: Request) -> Response:
        """One of the files of the finished job."""
        state, name = await self._desk.state(request), request.path_params["name"]
        outputs = await self._desk.outputs()
        labels = {source: state.labels[source] for source in files_in(state.job)}
        names = distinct(labels, outputs["taken"])
        job_toml = dump_job(renamed(state.job, names)).encode()
        if name == "job.toml":
            return _download(job_toml, name, "application/toml")
        if name == "test-card.pdf":
            return _download(await self._desk.quick("test_card", state, state.job), name, "application/pdf")
        need_sources(state)
        if name != "everything.zip" and name not in (f["name"] for f in outputs["files"]):
            raise HTTPException(404)
        asked = self._desk.job_and_folder(state)
        async with self._desk.writing[state.id]:
            if name == "everything.zip":
                packed = await self._desk.slow("everything", state, *asked, job_toml, names)
                return _download(packed, name, "application/zip")
            made = await self._desk.slow("file_of", state, *asked, name)
        own_name, media_type, content = made
        return _download(content, own_name, media_type)

    async def walk(self) -> bytes | str:
        """The cut sheet of the job last looked at, which walks through its plan; or why there is none yet."""
        try:
            if self._desk.current is None:
                return "No job is open on the page yet. This asks again by itself."
            state = await asyncio.to_thread(self._desk.store.state, self._desk.current)
            if not state.job.figures or state.missing:
                return "There is no picture on the panel yet. This asks again by itself."
            async with self._desk.writing[state.id]:
                _, _, content = await self._desk.slow(
                    "file_of", state, *self._desk.job_and_folder(state), _WALK
                )
        except CutoutError as error:
            return str(error)
        except TaskError as error:
            return sentence(error)
        except NoSuchJobError:
            return "That job is no longer here. This asks again by itself."
        return bytes(content)


def _download(content: bytes, name: str, media_type: str) -> Response:
    headers = {"content-disposition": f'attachment; filename="{name}"'}
    return Response(content, media_type=media_type, headers=headers)
