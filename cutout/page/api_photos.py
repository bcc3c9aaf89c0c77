"""The addresses of photographs of one's own work: the sawn test card, the finished panel."""

from __future__ import annotations

import asyncio
import math
from pathlib import Path

from pydantic import BaseModel, ConfigDict
from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Route

from cutout.errors import JobError
from cutout.kit import Measured
from cutout.page.desk import Desk, label_of, need_sources, while_wanted
from cutout.page.files import plain_name
from cutout.page.store import State

_PHOTOS = 4
"""Photographs of one panel that are held against its pattern together, the newest."""

_WATCH = {"minutes": "minutes", "entry": "seconds", "hole": "seconds"}
"""What is read off a watch, and in what."""


class _Keep(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)

    replacing: bool = False


class Photos:
    """Photographs are read against the job; they lie in a folder that ends with the page."""

    def __init__(self, desk: Desk) -> None:
        self._desk = desk
        self._measured: dict[str, Measured | None] = {}
        self._photos: dict[str, tuple[Path, ...]] = {}

    def routes(self) -> list[Route]:
        """Every address with its method."""
        return [
            Route("/api/jobs/{id}/card", self.card, methods=["POST"]),
            Route("/api/jobs/{id}/card/keep", self.keep_card, methods=["POST"]),
            Route("/api/jobs/{id}/held", self.held, methods=["POST"]),
        ]

    async def card(self, request: Request) -> Response:
        """What a photograph of the sawn test card says of the saw."""
        state = await self._desk.state(request)
        photo = await self._photo(request, state, "card")
        asked = request.query_params
        watched = {
            **{name: _number(asked.get(name), what) for name, what in _WATCH.items()},
            **{name: asked.get(name, "") for name in ("square", "allowance")},
        }
        work = self._desk.slow("card", state, state.job, photo, watched, instead=True)
        answer, found = await while_wanted(request, work)
        self._measured[state.id] = found
        return JSONResponse(answer)

    async def keep_card(self, request: Request) -> Response:
        """Keep what the card said for every later job with that blade."""
        wanted = _Keep.model_validate_json(await request.body())
        state = await self._desk.state(request)
        found = self._measured.get(state.id)
        if found is None:
            raise JobError("no card has been read here yet: choose a photo of it.")
        return JSONResponse(await self._desk.quick("keep_card", state, found, wanted.replacing))

    async def held(self, request: Request) -> Response:
        """A photograph of the sawn panel beside its pattern, with those given before unless ?first=1."""
        state = await self._desk.state(request)
        need_sources(state)
        before = () if request.query_params.get("first") == "1" else self._photos.get(state.id, ())
        photo = await self._photo(request, state, "panel")
        photos = (*(p for p in before if p != photo), photo)[-_PHOTOS:]
        work = self._desk.slow("panel_held", state, *self._desk.job_and_folder(state), photos, instead=True)
        answer = await while_wanted(request, work)
        self._photos[state.id] = photos  # one that could not be read does not stand in the way of the next
        return JSONResponse({**answer, "photos": len(photos)})

    async def _photo(self, request: Request, state: State, kind: str) -> Path:
        """A photograph that is only looked at: it lies in a folder that ends with the page."""
        folder = self._desk.scratch / state.id / kind
        path = folder / plain_name(label_of(request))
        data = await request.body()

        def write() -> None:
            folder.mkdir(parents=True, exist_ok=True)
            path.write_bytes(data)

        await asyncio.to_thread(write)
        return path


def _number(text: str | None, what: str) -> float | None:
    if not text:
        return None
    try:
        number = float(text.replace(",", "."))
    except ValueError:
        number = math.nan
    if not 0 < number < math.inf:
        raise JobError(f'"{text}" is no number of {what}.')
    return number
