"""Processes that start in milliseconds where the system can, and work done beside other work."""

from __future__ import annotations

import os
import pickle
import signal
import sys
import threading
import warnings
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from typing import TYPE_CHECKING, Any, NoReturn, TypeVar

if TYPE_CHECKING:
    from multiprocessing.context import BaseContext

T = TypeVar("T")

ONE_PROCESS = "CUTOUT_ONE_PROCESS"
"""Set to anything but nothing, a job never forks."""


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

    Gives a function that waits for what it comes to, or for its error; where nothing was forked, or the fork came to
    an end without an answer, that function works it out itself. Leaving early ends the fork. A fork has all that is
    imported and remembered so far at no cost; a process started anew would load for longer than it saves.
    """
    fork = _forked(find) if _core_to_spare() else None
    if fork is None:
        yield find
        return
    child, heard = fork
    try:
        with os.fdopen(heard, "rb") as pipe:
            yield lambda: _understood(pipe.read(), find)
    finally:
        # It has told what it had to tell, or nobody asks any more.
        with suppress(ProcessLookupError, ChildProcessError):
            os.kill(child, signal.SIGKILL)
            os.waitpid(child, 0)


def _core_to_spare() -> bool:
    """Whether this process may use two cores, is nobody's worker, and can be forked safely: on Linux, and where no
    other thread works, for a lock that one holds stays shut in the fork for good."""
    return (
        sys.platform == "linux"
        and not os.environ.get(ONE_PROCESS)
        and not _is_worker()
        and _works_alone()
        and len(os.sched_getaffinity(0)) > 1
    )


def _is_worker() -> bool:
    """Whether a pool started this process: it has given its cores work already."""
    process = sys.modules.get("multiprocessing.process")
    return process is not None and process.parent_process() is not None


def _works_alone() -> bool:
    """Whether this is the thread the process began with, and all others are such as it does not wait for at its end:
    those wait for signals, or draw a bar."""
    me = threading.current_thread()
    return me is threading.main_thread() and all(t is me or t.daemon for t in threading.enumerate())


def _forked(find: Callable[[], Any]) -> tuple[int, int] | None:
    """A fork that works it out: its number, and where its answer is heard. None where the system grants none."""
    heard, told = os.pipe()
    try:
        with warnings.catch_warnings():
            # There are other threads, but none that holds what a fork needs: see `_works_alone`.
            warnings.simplefilter("ignore", DeprecationWarning)
            child = os.fork()
    except OSError:
        os.close(heard)
        os.close(told)
        return None
    if child == 0:
        os.close(heard)
        _answer(find, told)
    os.close(told)
    return child, heard


def _answer(find: Callable[[], Any], told: int) -> NoReturn:
    """What a fork does: work it out, tell, end; an interrupt ends it without a word."""
    try:
        for name in (signal.SIGINT, signal.SIGTERM, signal.SIGHUP):
            if callable(signal.getsignal(name)):
                signal.signal(name, signal.SIG_DFL)
        try:
            answer: tuple[bool, Any] = True, find()
        except Exception as error:
            answer = False, error
        said = pickle.dumps(answer)
        with os.fdopen(told, "wb") as pipe:
            pipe.write(said)
    finally:
        os._exit(0)


def _understood(said: bytes, find: Callable[[], T]) -> T:
    """The answer of a fork. Raises what `find` raised."""
    try:
        good, answer = pickle.loads(said)
    except (EOFError, pickle.UnpicklingError):
        return find()
    if not good:
        raise answer
    found: T = answer
    return found
