"""What every address under /api stands on: the jobs, the processes that work for them, and the state of a job."""

from __future__ import annotations

import asyncio
import os
from collections import defaultdict
from collections.abc import AsyncIterator, Coroutine, Iterator
from contextlib import asynccontextmanager, contextmanager
from pathlib import Path
from typing import Any
from urllib.parse import unquote

from starlette.applications import Starlette
from starlette.requests import Request
from starlette.responses import JSONResponse, Response

from cutout.errors import CutoutError, JobError
from cutout.job.fields import files_in
from cutout.job.schema import Job, filled
from cutout.page.changes import shown
from cutout.page.closed import closed, decided
from cutout.page.files import plain_name
from cutout.page.scratch import Scratch
from cutout.page.sources import with_labels
from cutout.page.store import State, Store
from cutout.page.workers import TaskError, Workers, sentence

QUICK_SECONDS = 30.0
"""What is asked while a hand waits may take so long, on a slow machine; then it is given up. Taste."""
SLOW_SECONDS = 240.0
"""What is worked out in the background may take so long: a cup of tea. Taste."""

STAGES = ("checked", "mended", "planned")
_BACKGROUND = (*STAGES, "smallest")


class Desk:
    """The jobs of one folder and the processes that work for them; `current` is the job last looked at."""

    def __init__(self, store: Store) -> None:
        self.store = store
        self.current: str | None = None
        self._scratch = Scratch()
        self.scratch = self._scratch.path
        self.workers = Workers("cutout.page.tasks", prepare=(self.scratch,))
        self._offered: dict[str, Any] | None = None
        # One file after the other: the process that wrote the first still knows the finished job.
        self.writing: defaultdict[str, asyncio.Lock] = defaultdict(asyncio.Lock)

    @asynccontextmanager
    async def lifespan(self, _: Starlette) -> AsyncIterator[None]:
        """Worker processes live as long as the server."""
        warming = asyncio.ensure_future(self.workers.warm())
        try:
            yield
        finally:
            await warming
            self.workers.close()
            self._scratch.close()

    async def outputs(self) -> dict[str, Any]:
        """What can be downloaded; asked for once, over there, where the writers are known."""
        if self._offered is None:
            self._offered = await self.workers.run("outputs", owner="", seconds=QUICK_SECONDS)
        return self._offered

    async def state(self, request: Request) -> State:
        """The job a request is about. Raises NoSuchJobError."""
        return await asyncio.to_thread(self.store.state, request.path_params["id"])

    async def answer(self, state: State) -> Response:
        """The job, and how it looks now or why it can't be shown."""
        self.current = state.id
        answer: dict[str, Any] = {"state": _state_view(state), "look": None, "problem": None}
        if state.job.figures and not state.missing:
            try:
                answer["look"] = await self.quick("look", state, *self.job_and_folder(state))
            except CutoutError as error:
                answer["problem"] = str(error)
            except TaskError as error:
                answer["problem"] = sentence(error)
        return JSONResponse(answer)

    def job_and_folder(self, state: State) -> tuple[Job, Path]:
        """What most tasks are given."""
        return state.job, self.store.files(state.id)

    def outdate(self, id: str) -> None:
        """End what is being worked out in the background for a job that has changed."""
        for task in _BACKGROUND:
            self.workers.stop(task, id)

    async def quick(self, task: str, state: State, *arguments: Any) -> Any:
        """What somebody waits for. Raises TaskError and whatever CutoutError the task raises."""
        with self._said_with(state):
            return await self.workers.run(task, *arguments, owner=state.id, seconds=QUICK_SECONDS)

    async def slow(self, task: str, state: State, *arguments: Any, instead: bool = False) -> Any:
        """What may take minutes. instead: it takes the place of the same task of this job. Raises like `quick`."""
        with self._said_with(state):
            return await self.workers.run(
                task, *arguments, owner=state.id, seconds=SLOW_SECONDS, slow=True, instead=instead
            )

    @contextmanager
    def _said_with(self, state: State) -> Iterator[None]:
        """Errors name files as the user knows them, and no folder of ours."""
        try:
            yield
        except CutoutError as error:
            plain = str(error).replace(f"{self.store.files(state.id)}{os.sep}", "")
            raise CutoutError(with_labels(plain, state.labels)) from error


async def while_wanted(request: Request, work: Coroutine[Any, Any, Any]) -> Any:
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
        "title": title_of(state),
        "job": filled(state.job).model_dump(mode="json"),
        "shown": shown(state.job) | decided(state.job),
        "closed": closed(state.job),
        "labels": dict(state.labels),
        "missing": list(state.missing),
    }


def title_of(state: State) -> str:
    """What a job is called: its own title, else its first picture."""
    named = [state.labels.get(source, source) for source in files_in(state.job)]
    return state.job.title or (named[0] if named else "New job")


def need_sources(state: State) -> None:
    """Raise JobError where pictures that the job names are not here yet."""
    if state.missing:
        wanted = ", ".join(plain_name(state.labels[name]) for name in state.missing)
        raise JobError(f"this job still needs {wanted}: choose it first.")


def label_of(request: Request) -> str:
    """What the user calls the file that is sent."""
    return plain_name(unquote(request.headers.get("x-file-name", "picture")))
