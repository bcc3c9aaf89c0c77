"""The page as one ASGI application: its own files, the addresses under /api, and errors as sentences."""

from __future__ import annotations

from collections.abc import Awaitable, Callable
from importlib import resources
from importlib.resources.abc import Traversable
from pathlib import Path

from pydantic import ValidationError
from starlette.applications import Starlette
from starlette.exceptions import HTTPException
from starlette.requests import ClientDisconnect, Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Route

from cutout.errors import CutoutError
from cutout.page import looks
from cutout.page.api import UPLOAD_LIMIT, Api
from cutout.page.guard import Guard
from cutout.page.share import App, Shared, Sharing
from cutout.page.store import NoSuchJobError, StaleError, Store
from cutout.page.workers import TaskError, sentence

BODY_LIMIT = 300_000
"""Most bytes of any request that is no picture."""

_NOTHING_TO_SAY = 204
"""Status of an answer without a body (RFC 9110, 15.3.5)."""

_TYPES = {".html": "text/html", ".css": "text/css", ".js": "text/javascript", ".svg": "image/svg+xml"}


def create_app(secret: str, folder: Path, shared: Shared | None = None) -> App:
    """The page as an ASGI application: `secret` is the key every request must carry, jobs live in `folder`.

    shared: where the walk of the job under way is shown besides, to those who have its own key.
    """
    store = Store(folder)
    store.sweep()
    api = Api(store, shared)
    app = Starlette(
        routes=[*_static_routes(), *api.routes()],
        lifespan=api.lifespan,
        exception_handlers={
            HTTPException: _on_http,
            CutoutError: _on_refused,
            TaskError: _on_task,
            NoSuchJobError: _on_missing,
            StaleError: _on_stale,
            ValidationError: _on_malformed,
            ClientDisconnect: _on_gone,
            Exception: _on_fault,
        },
    )
    guard = Guard(app, secret, _limit, api.stop)
    return guard if shared is None else Sharing(guard, shared, api.walk)


def _limit(path: str) -> int:
    uploads = path.startswith("/api/jobs/") and (
        path.endswith(("/picture", "/sources", "/card", "/held")) or "/sources/" in path
    )
    return UPLOAD_LIMIT if uploads else BODY_LIMIT


def _static_routes() -> list[Route]:
    """One address per file of the page, found once: no part of a request's path ever becomes a file's."""
    files = dict(_files_under(resources.files("cutout.page") / "static", "/"))
    files["/"] = files["/index.html"]
    files["/looks.css"] = (looks.stylesheet(), _TYPES[".css"])
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


def _error(status: int, text: str) -> JSONResponse:
    return JSONResponse({"error": text}, status)


async def _on_http(_: Request, error: Exception) -> Response:
    assert isinstance(error, HTTPException)
    return _error(error.status_code, error.detail if error.status_code != 404 else "There is nothing here.")


async def _on_refused(_: Request, error: Exception) -> Response:
    return _error(422, str(error))


async def _on_task(_: Request, error: Exception) -> Response:
    assert isinstance(error, TaskError)
    if error.kind == "replaced":
        # Ordinary: the job has changed since, and what was worked out is for nobody.
        return Response(status_code=_NOTHING_TO_SAY)
    status = {"late": 503}.get(error.kind, 500)
    if error.kind == "faulty":
        print(error, flush=True)
    return JSONResponse({"error": sentence(error), "kind": error.kind}, status)


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


async def _on_gone(_: Request, error: Exception) -> Response:
    return _error(400, "The upload broke off.")


async def _on_fault(_: Request, error: Exception) -> Response:
    return _error(500, "Something went wrong here; nothing is lost. Try again.")
