"""Processes that start in milliseconds where the system can, work done beside other work or shared out."""

from __future__ import annotations

import gc
import os
import signal
import sys
import threading
import warnings
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeAlias, TypeVar

if TYPE_CHECKING:
    # Every command imports this module, few of them more than this process.
    from multiprocessing.connection import Connection
    from multiprocessing.context import BaseContext

T = TypeVar("T")
Answer = TypeVar("Answer")
Task: TypeAlias = Callable[[Callable[[float], None]], Answer]
"""Work that can be done by itself; called with what it tells the share (0..1) that is done."""

ONE_PROCESS = "CUTOUT_ONE_PROCESS"
"""Set to anything but nothing, a job never forks."""


MEMORY = 6 * 2**30
"""Address space (bytes) a process that works for others may take at most."""
LEAST_MEMORY = 2 * 2**30
"""And it is given this much at least: libraries and the usual job take less than half of it."""
A_JOB = 2**30
"""Memory (bytes) to have for each of several jobs at once: three times what a usual one takes, and about what one of
many megapixels does."""


def limit_memory(most: int = MEMORY) -> None:
    """Where the system can: what is made to fill the memory (bytes) ends its own process, not the machine."""
    if sys.platform != "win32":
        import resource

        _, hard = resource.getrlimit(resource.RLIMIT_AS)
        most = most if hard == resource.RLIM_INFINITY else min(most, hard)
        resource.setrlimit(resource.RLIMIT_AS, (most, hard))


def at_once(jobs: int, free: int | None = None) -> tuple[int, int]:
    """How many of so many jobs to do at once, and the memory (bytes) each may take at most.

    One on each core this process may use, as far as there is memory for them; at least one. free: the memory there
    is (bytes); None asks the system.
    """
    able = len(os.sched_getaffinity(0)) if sys.platform == "linux" else os.cpu_count() or 1
    free = _free_memory() if free is None else free
    several = max(1, min(jobs, able, free // A_JOB))
    return several, max(LEAST_MEMORY, min(MEMORY, free // several))


def _free_memory() -> int:
    """Memory (bytes) that programs may take without others being swapped out; all that is granted where unknown."""
    with suppress(OSError, ValueError):
        for line in Path("/proc/meminfo").read_text("ascii").splitlines():
            if line.startswith("MemAvailable:"):
                return 1024 * int(line.split()[1])
    return MEMORY * (os.cpu_count() or 1)


def quick_context(*modules: str) -> BaseContext:
    """Forks of a server that has `modules` imported where there is one; else fresh interpreters."""
    import multiprocessing

    if "forkserver" not in multiprocessing.get_all_start_methods():
        return multiprocessing.get_context("spawn")
    context = multiprocessing.get_context("forkserver")
    context.set_forkserver_preload(list(modules))
    return context


@contextmanager
def beside(find: Callable[[], T]) -> Iterator[Callable[[], T]]:
    """Within, `find` is worked out by a fork of this process, where there is a core to spare for it.

    Gives a function that waits for what it comes to; where nothing was forked, or the fork came to an end without an
    answer, as by an error, that function works it out itself. Leaving early ends the fork. A fork has all that is
    imported and remembered so far at no cost; a process started anew would load for longer than it saves.
    """
    other = _Other.started([lambda tell: find()], [0]) if cores() > 1 else None
    if other is None:
        yield find
        return
    try:
        yield lambda: other.answer(find)
    finally:
        # It has told what it had to tell, or nobody asks any more.
        other.end()


def cores() -> int:
    """So many processes can work abreast, or beside one another: the cores this one may use; 1 where it may not, or
    can't safely, fork."""
    return len(os.sched_getaffinity(0)) if _may_fork() else 1


def _may_fork() -> bool:
    """On Linux, and not in a fork of ours, which has its share of the work. A process that is our own may; another
    program's only where it is nobody's worker and no other thread works: for a lock that one holds stays shut in the
    fork for good."""
    able = sys.platform == "linux" and not os.environ.get(ONE_PROCESS) and not _forked
    return able and (_own or (not _is_worker() and _works_alone()))


def _is_worker() -> bool:
    """Whether a pool started this process: it has given its cores work already."""
    process = sys.modules.get("multiprocessing.process")
    return process is not None and process.parent_process() is not None


def _works_alone() -> bool:
    """Whether this is the thread the process began with, and all others are such as it does not wait for at its end:
    those wait for signals, or draw a bar."""
    me = threading.current_thread()
    return me is threading.main_thread() and all(t is me or t.daemon for t in threading.enumerate())


_own = False
_forked = False


_GARBAGE = 50_000, 20, 100
"""Garbage is looked for after so many new objects, and so many looks: a job makes few circles and keeps much, and as
often as Python looks by itself took a twentieth of its time."""


def own_process() -> None:
    """Say that no other program's code runs in this process, so that it may be forked whatever its threads do, and
    need not look for garbage as often as others."""
    global _own
    _own = True
    gc.set_threshold(*_GARBAGE)


def abreast(
    tasks: Sequence[Task[Answer]], sizes: Sequence[float], tell: Callable[[float], None], least: float = 0.0
) -> list[Answer]:
    """The answers of all tasks, in their order, worked out side by side on as many cores as there are.

    sizes: about how long each takes, in any unit; less than `least` at a time is not worth another process. The tasks
    must not depend on one another, nor on the process they run in; their answers are pickled. What a process did
    not bring to an end, by a fault or because the system ended it, is done here: an exception is that of the task.
    """
    groups = _shared_out(sizes, min(cores(), len(tasks)), least)
    answers: dict[int, Answer] = {}
    said = _Said(sizes, tell)
    started = [_Other.started(tasks, group) for group in groups[1:]]
    others = [other for other in started if other is not None]
    try:
        for n in groups[0]:
            answers[n] = tasks[n](lambda share, n=n: said.told(n, share, others))  # type: ignore[misc]
        for other in others:
            answers |= other.answers(said)
    finally:
        for other in others:
            other.end()
    for n, task in enumerate(tasks):
        if n not in answers:
            answers[n] = task(lambda share, n=n: said.told(n, share, ()))  # type: ignore[misc]
    return [answers[n] for n in range(len(tasks))]


def _shared_out(sizes: Sequence[float], most: int, least: float) -> list[list[int]]:
    """Tasks (their numbers, rising) in up to `most` groups of about the same size, the largest task first.

    The first group is this process's own and holds all where the others would hold less than `least`.
    """
    groups: list[list[int]] = [[] for _ in range(max(most, 1))]
    load = [0.0] * len(groups)
    for n in sorted(range(len(sizes)), key=lambda n: (-sizes[n], n)):
        k = load.index(min(load))
        groups[k].append(n)
        load[k] += sizes[n]
    worth = [sorted(g) for g, size in zip(groups[1:], load[1:], strict=True) if g and size >= least]
    away = {n for group in worth for n in group}
    return [[n for n in range(len(sizes)) if n not in away], *worth]


@dataclass
class _Said:
    """How far each task has come, told as one share."""

    sizes: Sequence[float]
    tell: Callable[[float], None]
    shares: dict[int, float] = field(default_factory=dict)

    def told(self, n: int, share: float, others: Sequence[_Other]) -> None:
        """Task n has come so far; and what the other processes have said since is heard too."""
        self.shares[n] = share
        for other in others:
            other.listen(self.shares)
        self.now()

    def now(self) -> None:
        """Tell the share of all."""
        whole = sum(self.sizes) or 1.0
        self.tell(sum(self.sizes[n] * share for n, share in self.shares.items()) / whole)


@dataclass
class _Other:
    """Another process, at work on some of the tasks, and the pipe from it."""

    pid: int
    pipe: Connection
    found: dict[int, Any] = field(default_factory=dict)

    @classmethod
    def started(cls, tasks: Sequence[Task[Any]], group: Sequence[int]) -> _Other | None:
        """A fork of this process that does the tasks of these numbers. None where the system grants none."""
        from multiprocessing import Pipe

        mine, theirs = Pipe(duplex=False)
        try:
            with warnings.catch_warnings():
                # Said wherever there are threads. The fork takes no lock that one of them could hold: it works
                # out geometry, writes to its pipe, and ends without a word to anything it shares with this process.
                warnings.simplefilter("ignore", DeprecationWarning)
                pid = os.fork()
        except OSError:
            mine.close()
            theirs.close()
            return None
        if pid == 0:
            _work(theirs, tasks, group)
        theirs.close()
        return cls(pid, mine)

    def listen(self, shares: dict[int, float]) -> None:
        """Hear what has been said, without waiting."""
        with suppress(EOFError, OSError):
            while self.pipe.poll():
                self._hear(shares)

    def answers(self, said: _Said) -> dict[int, Any]:
        """Wait for all answers; what did not come, because the process ended before, is left out."""
        with suppress(EOFError, OSError):
            while True:
                self._hear(said.shares)
                said.now()
        return self.found

    def answer(self, find: Callable[[], T]) -> T:
        """The answer of its only task, awaited; what did not come is worked out here, or fails here."""
        found = self.answers(_Said([1.0], lambda share: None))
        answer: T = found[0] if 0 in found else find()
        return answer

    def _hear(self, shares: dict[int, float]) -> None:
        n, share, answer = self.pipe.recv()
        shares[n] = share
        if answer is not None:
            (self.found[n],) = answer

    def end(self) -> None:
        """End the process, if it has not, and wait for it."""
        self.pipe.close()
        with suppress(ProcessLookupError, ChildProcessError):
            os.kill(self.pid, signal.SIGKILL)
            os.waitpid(self.pid, 0)


def _work(pipe: Connection, tasks: Sequence[Task[Any]], group: Sequence[int]) -> None:
    """In the fork: do the tasks and end, whatever comes."""
    global _forked
    _forked = True
    try:
        gc.freeze()
        signal.set_wakeup_fd(-1)
        for name in (signal.SIGINT, signal.SIGTERM, signal.SIGHUP):
            if callable(signal.getsignal(name)):
                signal.signal(name, signal.SIG_DFL)
        # Whoever waits for the end of the other process waits for its pipes to be closed: not for this one.
        os.closerange(3, pipe.fileno())
        os.closerange(pipe.fileno() + 1, os.sysconf("SC_OPEN_MAX"))
        for n in group:
            answer = tasks[n](lambda share, n=n: _told(pipe, n, share))  # type: ignore[misc]
            pipe.send((n, 1.0, (answer,)))
    except BaseException:
        os._exit(1)
    os._exit(0)


def _told(pipe: Connection, n: int, share: float) -> None:
    # Raises where the process that wants to know is gone: then this one ends too.
    pipe.send((n, share, None))
