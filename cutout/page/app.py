"""The page's addresses: each reads a request, calls one function, and answers."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator, Awaitable, Callable
from contextlib import asynccontextmanager
from importlib import resources
from importlib.resources.abc import Traversable
from pathlib import Path
from typing import Any
from urllib.parse import unquote

from pydantic import BaseModel, ConfigDict, ValidationError
from starlette.applications import Starlette
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Route
from starlette.types import ASGIApp

from cutout.errors import CutoutError, JobError
from cutout.job import Job
from cutout.jobfile import dump_job, parse_job
from cutout.page import choices, start
from cutout.page.changes import Change, changed, shown
from cutout.page.files import FILES, distinct, plain_name
from cutout.page.guard import Guard
from cutout.page.store import NoSuchJobError, StaleError, State, Store, sources_of
from cutout.page.workers import TaskError, Workers
from cutout.units import Units

UPLOAD_LIMIT = 40_000_000
"""Most bytes of a picture."""

BODY_LIMIT = 300_000
"""Most bytes of any other request."""

QUICK_SECONDS = 30.0
SLOW_SECONDS = 240.0

_TYPES = {".html": "text/html", ".css": "text/css", ".js": "text/javascript", ".svg": "image/svg+xml"}
_TASKS = frozenset({"mended", "planned", "sizes"})


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


def create_app(secret: str, folder: Path) -> ASGIApp:
    """The page as an ASGI application: `secret` is the key every request must carry, jobs live in `folder`."""
    page = Page(Store(folder))
    app = Starlette(
        routes=[*_static_routes(), *page.routes()],
        lifespan=page.lifespan,
        exception_handlers={
            HTTPException: _on_http,
            CutoutError: _on_refused,
            TaskError: _on_task,
            NoSuchJobError: _on_missing,
            StaleError: _on_stale,
            ValidationError: _on_malformed,
            Exception: _on_fault,
        },
    )
    return Guard(app, secret, _limit)


class Page:
    """The addresses under /api, over one folder of jobs."""

    def __init__(self, store: Store) -> None:
        self._store = store
        self._workers: Workers | None = None

    @asynccontextmanager
    async def lifespan(self, _: Starlette) -> AsyncIterator[None]:
        """Worker processes live as long as the server."""
        self._workers = Workers("cutout.page.tasks")
        await self._workers.warm()
        try:
            yield
        finally:
            self._workers.close()

    def routes(self) -> list[Route]:
        """Every address with its method."""
        return [
            Route("/api/choices", self.choices),
            Route("/api/jobs", self.earlier),
            Route("/api/jobs", self.new, methods=["POST"]),
            Route("/api/jobs/{id}", self.show),
            Route("/api/jobs/{id}/change", self.change, methods=["POST"]),
            Route("/api/jobs/{id}/undo", self.undo, methods=["POST"]),
            Route("/api/jobs/{id}/redo", self.redo, methods=["POST"]),
            Route("/api/jobs/{id}/remove", self.remove, methods=["POST"]),
            Route("/api/jobs/{id}/picture", self.picture, methods=["POST"]),
            Route("/api/jobs/{id}/sources/{name}", self.source),
            Route("/api/jobs/{id}/sources/{name}", self.fill, methods=["POST"]),
            Route("/api/jobs/{id}/work/{task}", self.work),
            Route("/api/jobs/{id}/files/{name}", self.file),
        ]

    async def choices(self, _: Request) -> Response:
        """What can be chosen: blades, drills, woods, papers, bits, files, and the limits of an upload."""
        files = [{"name": name, "purpose": offered.purpose} for name, offered in FILES.items()]
        return JSONResponse({**choices.choices(), "files": files, "upload_limit": UPLOAD_LIMIT})

    async def earlier(self, _: Request) -> Response:
        """Jobs of earlier visits."""
        states = await asyncio.to_thread(self._store.earlier)
        return JSONResponse({"jobs": [{"id": state.id, "title": _title(state)} for state in states]})

    async def new(self, request: Request) -> Response:
        """A new job, empty or from the text of a job file."""
        wanted = _NewJob.model_validate_json(await request.body())
        if wanted.job_file is None:
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
        job = changed(state.job, edit.changes)
        after = await asyncio.to_thread(self._store.change, state.id, edit.revision, job, edit.gesture)
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
            size = await self._run("size_up", self._store.files(state.id) / name, owner=state.id)
            state = await asyncio.to_thread(self._store.state, state.id)
            replaced = _number(request.query_params.get("figure"))
            job = start.with_picture(state.job, name, label, size, replaced)
            state = await asyncio.to_thread(self._store.change, state.id, state.revision, job)
        except (CutoutError, TaskError):
            await asyncio.to_thread(self._store.drop_file, state.id, name)
            raise
        return await self._answer(state)

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
        """What takes longer than a look: the mended pattern, the plan, the table of sizes."""
        state = await self._state(request)
        task = request.path_params["task"]
        if task not in _TASKS:
            raise HTTPException(404)
        _need_sources(state)
        folder = self._store.files(state.id)
        answer = await self._run(task, state.job, folder, owner=state.id, slow=True)
        return JSONResponse({**answer, "revision": state.revision})

    async def file(self, request: Request) -> Response:
        """One of the files of the finished job."""
        state, name = await self._state(request), request.path_params["name"]
        names = distinct({source: state.labels[source] for source in sources_of(state.job)})
        job_toml = dump_job(_renamed(state.job, names)).encode()
        if name == "job.toml":
            return _download(job_toml, name, "application/toml")
        _need_sources(state)
        folder = self._store.files(state.id)
        if name == "everything.zip":
            packed = await self._run(
                "everything", state.job, folder, job_toml, names, owner=state.id, slow=True
            )
            return _download(packed, name, "application/zip")
        if name not in FILES:
            raise HTTPException(404)
        content = await self._run("file_of", state.job, folder, name, owner=state.id, slow=True)
        return _download(content, name, FILES[name].media_type)

    async def _state(self, request: Request) -> State:
        return await asyncio.to_thread(self._store.state, request.path_params["id"])

    async def _step(self, request: Request, by: int) -> Response:
        wanted = _Step.model_validate_json(await request.body())
        id = request.path_params["id"]
        return await self._answer(await asyncio.to_thread(self._store.step, id, wanted.revision, by))

    async def _answer(self, state: State) -> Response:
        """The job, and how it looks now or why it can't be shown."""
        answer: dict[str, Any] = {"state": _state_view(state), "look": None, "problem": None}
        if state.job.figures and not state.missing:
            try:
                answer["look"] = await self._run(
                    "look", state.job, self._store.files(state.id), owner=state.id
                )
            except CutoutError as error:
                answer["problem"] = str(error)
            except TaskError as error:
                answer["problem"] = _task_sentence(error)
        return JSONResponse(answer)

    async def _run(self, task: str, *arguments: Any, owner: str, slow: bool = False) -> Any:
        if self._workers is None:
            raise TaskError("crashed")
        seconds = SLOW_SECONDS if slow else QUICK_SECONDS
        return await self._workers.run(task, *arguments, owner=owner, seconds=seconds, slow=slow)


def _limit(path: str) -> int:
    uploads = path.startswith("/api/jobs/") and (path.endswith("/picture") or "/sources/" in path)
    return UPLOAD_LIMIT if uploads else BODY_LIMIT


def _static_routes() -> list[Route]:
    """One address per file of the page, found once: no part of a request's path ever becomes a file's."""
    files = dict(_files_under(resources.files("cutout.page") / "static", "/"))
    files["/"] = files["/index.html"]
    return [Route(path, _static(content, media_type)) for path, (content, media_type) in files.items()]


def _files_under(folder: Traversable, path: str) -> list[tuple[str, tuple[bytes, str]]]:
    found: list[tuple[str, tuple[bytes, str]]] = []
    for entry in sorted(folder.iterdir(), key=lambda e: e.name):
        if entry.is_dir():
            found += _files_under(entry, f"{path}{entry.name}/")
        elif (media_type := _TYPES.get(Path(entry.name).suffix)) is not None:
            found.append((path + entry.name, (entry.read_bytes(), media_type)))
    return found


def _static(content: bytes, media_type: str) -> Callable[[Request], Awaitable[Response]]:
    async def answer(_: Request) -> Response:
        return Response(content, media_type=media_type)

    return answer


def _state_view(state: State) -> dict[str, Any]:
    return {
        "id": state.id,
        "revision": state.revision,
        "can_undo": state.can_undo,
        "can_redo": state.can_redo,
        "title": _title(state),
        "job": state.job.model_dump(mode="json"),
        "shown": shown(state.job),
        "labels": dict(state.labels),
        "missing": list(state.missing),
    }


def _title(state: State) -> str:
    named = [state.labels.get(source, source) for source in sources_of(state.job)]
    return state.job.title or (named[0] if named else "New job")


def _renamed(job: Job, names: dict[str, str]) -> Job:
    figures = tuple(
        figure.model_copy(
            update={"source": names.get(figure.source or ""), "font": names.get(figure.font or "")}
        )
        for figure in job.figures
    )
    return job.model_copy(update={"figures": figures})


def _need_sources(state: State) -> None:
    if state.missing:
        wanted = ", ".join(plain_name(state.labels[name]) for name in state.missing)
        raise JobError(f"this job still needs {wanted}: choose it first.")


def _label(request: Request) -> str:
    return plain_name(unquote(request.headers.get("x-file-name", "picture")))


def _number(text: str | None) -> int | None:
    return int(text) if text is not None and text.isdecimal() and len(text) < 6 else None


def _download(content: bytes, name: str, media_type: str) -> Response:
    headers = {"content-disposition": f'attachment; filename="{name}"'}
    return Response(content, media_type=media_type, headers=headers)


def _error(status: int, text: str) -> JSONResponse:
    return JSONResponse({"error": text}, status)


def _task_sentence(error: TaskError) -> str:
    return {
        "late": "This took too long and was stopped: try a smaller or simpler picture.",
        "replaced": "The job has changed since; this was stopped for the newer one.",
        "crashed": "The work on this job stopped unexpectedly; nothing is lost. Undo the last change or try again.",
    }.get(
        error.kind, "Something went wrong in this step; nothing is lost. Undo the last change or try again."
    )


async def _on_http(_: Request, error: Exception) -> Response:
    assert isinstance(error, HTTPException)
    return _error(error.status_code, error.detail if error.status_code != 404 else "There is nothing here.")


async def _on_refused(_: Request, error: Exception) -> Response:
    return _error(422, str(error))


async def _on_task(_: Request, error: Exception) -> Response:
    assert isinstance(error, TaskError)
    status = {"replaced": 409, "late": 503}.get(error.kind, 500)
    if error.kind == "faulty":
        print(error, flush=True)
    return JSONResponse({"error": _task_sentence(error), "kind": error.kind}, status)


async def _on_missing(_: Request, error: Exception) -> Response:
    return _error(404, "There is no such job or file here.")


async def _on_stale(_: Request, error: Exception) -> Response:
    return JSONResponse(
        {"error": "This job was changed in another tab; here is how it stands now.", "kind": "stale"}, 409
    )


async def _on_malformed(_: Request, error: Exception) -> Response:
    assert isinstance(error, ValidationError)
    first = error.errors()[0]
    return _error(400, f"{'.'.join(map(str, first['loc'])) or 'request'}: {first['msg']}.")


async def _on_fault(_: Request, error: Exception) -> Response:
    return _error(500, "Something went wrong here; nothing is lost. Try again.")
