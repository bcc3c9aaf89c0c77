"""The page's addresses under /api: each reads a request, calls one function, and answers. Here those of no job in
particular; the others lie in a module by subject."""

from __future__ import annotations

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Route

from cutout.page import choices
from cutout.page.api_jobs import Jobs
from cutout.page.api_photos import Photos
from cutout.page.api_results import Results
from cutout.page.desk import QUICK_SECONDS, Desk
from cutout.page.examples import EXAMPLES
from cutout.page.form import form
from cutout.page.looks import signs
from cutout.page.share import Shared, code_path
from cutout.page.store import Store

UPLOAD_LIMIT = 40_000_000
"""Most bytes of a picture."""


class Api:
    """The addresses under /api, over one folder of jobs."""

    def __init__(self, store: Store, shared: Shared | None = None) -> None:
        self._desk = Desk(store)
        self._shared = shared
        self._results = Results(self._desk)
        self.lifespan = self._desk.lifespan
        self.walk = self._results.walk

    def stop(self) -> None:
        """End all work under way; those who wait for it are told."""
        self._desk.workers.close()

    def routes(self) -> list[Route]:
        """Every address with its method."""
        return [
            Route("/api/choices", self.choices),
            Route("/api/examples/{name}", self.example),
            *Jobs(self._desk).routes(),
            *self._results.routes(),
            *Photos(self._desk).routes(),
        ]

    async def choices(self, _: Request) -> Response:
        """What can be chosen and set: the form, what the kit says, files, examples, and the limit of an upload."""
        files = (await self._desk.outputs())["files"]
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
        view = await self._desk.workers.run("example_view", name, owner="", seconds=QUICK_SECONDS)
        return JSONResponse({"about": EXAMPLES[name], **view})
