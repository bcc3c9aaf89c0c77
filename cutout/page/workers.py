"""Geometry in processes of its own, so that a slow or crashing request harms no other one."""

from __future__ import annotations

import asyncio
import importlib
import signal
import time
import traceback
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from multiprocessing.connection import Connection
from multiprocessing.context import BaseContext
from typing import Any

from cutout.errors import CutoutError
from cutout.page.telling import heard_by
from cutout.processes import limit_memory, own_process, quick_context

MOST = 4
"""Processes at most; one slow job a tab and quick ones beside it."""

SLOW_AT_MOST = MOST - 2
"""Slow tasks at a time at most: two processes are always left for quick ones."""

_TOLD = "told"
"""What comes over a pipe while a task goes on; the others are its outcome."""
_NOTHING_YET: Any = None


class TaskError(Exception):
    """A task that ended without an answer: `kind` is crashed, late, replaced or faulty."""

    def __init__(self, kind: str, detail: str = "") -> None:
        super().__init__(detail or kind)
        self.kind = kind


def sentence(error: TaskError) -> str:
    """What happened, for the user."""
    return {
        "late": "This took too long and was stopped: try a smaller or simpler picture.",
        "replaced": "The job has changed since; this was stopped for the newer one.",
        "crashed": "The work on this job stopped unexpectedly; nothing is lost. Undo the last change or try again.",
    }.get(
        error.kind, "Something went wrong in this step; nothing is lost. Undo the last change or try again."
    )


class Workers:
    """A few processes that run the functions of one module, called by name.

    The module is imported over there only, so that this process starts at once. prepare: what each process
    calls the module's function of that name with before anything else.

    A process that did quick or slow work for an `owner` before is taken again for the same where it is free:
    what it remembers of that owner's picture saves reading it anew. Processes are started as they are needed.
    """

    def __init__(self, module: str, most: int = MOST, prepare: tuple[Any, ...] | None = None) -> None:
        self._module = module
        self._prepare = prepare
        self._context = quick_context(__name__, module)
        self._most = most
        self._closed = False
        self._all: list[_Worker] = []
        self._running: dict[tuple[str, str], _Worker] = {}
        self._newest: dict[tuple[str, str], object] = {}
        self._slow = asyncio.Semaphore(min(SLOW_AT_MOST, most))
        self._free = asyncio.Condition()
        self._threads = ThreadPoolExecutor(most, thread_name_prefix="cutout-worker")

    async def run(
        self,
        task: str,
        *arguments: Any,
        owner: str,
        seconds: float,
        slow: bool = False,
        instead: bool = False,
    ) -> Any:
        """The task's answer. Raises CutoutError as the task did, or TaskError.

        instead: the owner's earlier run of the same task is ended, nobody needs it any more.
        """
        if instead:
            self.stop(task, owner)
        mine = self._newest[owner, task] = object()
        if not slow:
            return await self._run(task, arguments, (owner, slow), seconds)
        async with self._slow:
            if instead and self._newest.get((owner, task)) is not mine:
                raise TaskError("replaced")
            return await self._run(task, arguments, (owner, slow), seconds)

    def stop(self, task: str, owner: str) -> None:
        """End the owner's run of this task, waiting or under way; its caller gets TaskError `replaced`."""
        self._newest.pop((owner, task), None)
        if running := self._running.get((owner, task)):
            running.end("replaced")

    def so_far(self, owner: str) -> dict[str, tuple[str, float]]:
        """What the owner's tasks under way said last: what began, and the share of the task done; by task."""
        return {task: w.so_far for (of, task), w in self._running.items() if of == owner and w.so_far}

    async def warm(self) -> None:
        """Start one process ahead of the first request."""
        async with self._free:
            if not self._all and not self._closed:
                await self._start()

    def close(self) -> None:
        """End every process, for good."""
        self._closed = True
        for worker in self._all:
            worker.end("replaced")
        self._all.clear()
        self._threads.shutdown(wait=False, cancel_futures=True)

    async def _run(
        self, task: str, arguments: tuple[Any, ...], used_to: tuple[str, bool], seconds: float
    ) -> Any:
        worker = await self._take(used_to)
        key = (used_to[0], task)
        self._running[key] = worker
        try:
            loop = asyncio.get_running_loop()
            return await loop.run_in_executor(self._threads, worker.call, task, arguments, seconds)
        except asyncio.CancelledError:
            worker.end("replaced")
            raise
        finally:
            if self._running.get(key) is worker:
                del self._running[key]
            await self._give_back(worker)

    async def _start(self) -> _Worker:
        """One more process; in a thread, for the first one waits until everything is imported over there."""
        worker = await asyncio.to_thread(_Worker, self._context, self._module, self._prepare)
        self._all.append(worker)
        if self._closed:
            worker.end("replaced")
        return worker

    async def _take(self, used_to: tuple[str, bool]) -> _Worker:
        """A free process: one that did the same for this owner, else a fresh one, else any."""
        async with self._free:
            while True:
                if self._closed:
                    raise TaskError("replaced")
                self._all = [worker for worker in self._all if worker.busy or worker.alive]
                idle = [worker for worker in self._all if not worker.busy]
                chosen = next((w for w in idle if w.used_to == used_to), None) or next(
                    (w for w in idle if w.used_to is None), None
                )
                if chosen is None and len(self._all) < self._most:
                    chosen = await self._start()
                chosen = chosen or next(iter(idle), None)
                if chosen is not None:
                    chosen.busy, chosen.used_to = True, used_to
                    return chosen
                await self._free.wait()

    async def _give_back(self, worker: _Worker) -> None:
        async with self._free:
            worker.busy = False
            self._free.notify()


@dataclass(eq=False)
class _Worker:
    """One process and the pipe to it."""

    context: BaseContext
    module: str
    prepare: tuple[Any, ...] | None = None
    used_to: tuple[str, bool] | None = None
    busy: bool = False
    ended_as: str | None = None
    so_far: tuple[str, float] | None = None
    _pipe: Connection = field(init=False)
    _process: Any = field(init=False)

    def __post_init__(self) -> None:
        self._pipe, theirs = self.context.Pipe()
        self._process = self.context.Process(  # type: ignore[attr-defined]
            target=_serve, args=(theirs, self.module, self.prepare), daemon=True, name="cutout-geometry"
        )
        self._process.start()
        theirs.close()

    @property
    def alive(self) -> bool:
        """The process has not died."""
        return self.ended_as is None and bool(self._process.is_alive())

    def call(self, task: str, arguments: tuple[Any, ...], seconds: float) -> Any:
        """Run the task over there; blocks. Raises CutoutError or TaskError."""
        self.so_far = None
        end = time.monotonic() + seconds
        try:
            self._pipe.send((task, arguments))
            outcome, answer = _TOLD, _NOTHING_YET
            while outcome == _TOLD:
                self.so_far = answer
                if not self._pipe.poll(max(0.0, end - time.monotonic())):
                    self.end("late")
                    raise TaskError("late")
                outcome, answer = self._pipe.recv()
        except (EOFError, OSError) as error:
            self.end("crashed")
            raise TaskError(self.ended_as or "crashed") from error
        if outcome == "refused":
            raise CutoutError(answer)
        if outcome == "fault":
            raise TaskError("faulty", answer)
        return answer

    def end(self, reason: str) -> None:
        """Kill the process; the first reason given counts."""
        if self.ended_as is None:
            self.ended_as = reason
            self._process.kill()


def _serve(pipe: Connection, module: str, prepare: tuple[Any, ...] | None) -> None:
    """Run tasks until the other end is gone."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    limit_memory()
    own_process()
    tasks = vars(importlib.import_module(module))
    if prepare is not None:
        tasks["prepare"](*prepare)
    while True:
        try:
            task, arguments = pipe.recv()
        except EOFError:
            return
        with heard_by(lambda stage, share: pipe.send((_TOLD, (stage, share)))):
            outcome = _outcome(tasks[task], arguments)
        pipe.send(outcome)


def _outcome(task: Callable[..., Any], arguments: tuple[Any, ...]) -> tuple[str, Any]:
    try:
        return "done", task(*arguments)
    except CutoutError as error:
        return "refused", str(error)
    except Exception:
        return "fault", traceback.format_exc()
