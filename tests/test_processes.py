"""Work beside other work: what a fork comes to is what this process would have come to."""

from __future__ import annotations

import os
import threading
import time

import pytest

from cutout import processes
from cutout.errors import Length, WriteError
from cutout.processes import LEAST_MEMORY, MEMORY, ONE_PROCESS, at_once, beside
from cutout.write.outputs import files_of
from cutout.write.work import Work

pytestmark = pytest.mark.skipif(not hasattr(os, "fork"), reason="this system has no forks")


@pytest.fixture
def two_cores(monkeypatch: pytest.MonkeyPatch) -> list[int]:
    """Forks are made; their numbers."""
    forked: list[int] = []
    fork = os.fork

    def counted() -> int:
        forked.append(fork())
        return forked[-1]

    monkeypatch.setattr(processes, "cores", lambda: 2)
    monkeypatch.setattr(os, "fork", counted)
    return forked


def is_gone(child: int) -> bool:
    """Ended and waited for."""
    try:
        os.waitpid(child, os.WNOHANG)
    except ChildProcessError:
        return True
    return False


def test_a_fork_answers(two_cores: list[int]) -> None:
    with beside(os.getpid) as found:
        (child,) = two_cores
        assert found() == child
    assert is_gone(child)


@pytest.mark.usefixtures("two_cores")
def test_a_large_answer_comes_whole() -> None:
    with beside(lambda: bytes(range(256)) * 4000) as found:
        assert found() == bytes(range(256)) * 4000


@pytest.mark.usefixtures("two_cores")
def test_an_error_comes_as_it_would_here() -> None:
    def find() -> None:
        raise WriteError("the paper leaves only ", Length(3.0), " to print on.")

    with pytest.raises(WriteError) as here:
        find()
    with pytest.raises(WriteError) as there, beside(find) as found:
        found()
    assert str(there.value) == str(here.value)
    assert there.value.args == here.value.args


@pytest.mark.usefixtures("two_cores")
def test_what_a_fork_does_not_tell_is_worked_out_here() -> None:
    here = os.getpid()

    def find() -> str:
        if os.getpid() != here:
            os._exit(3)
        return "here"

    with beside(find) as found:
        assert found() == "here"


def test_leaving_early_ends_the_fork(two_cores: list[int]) -> None:
    begun = time.monotonic()
    with pytest.raises(KeyboardInterrupt), beside(lambda: time.sleep(3600)):
        raise KeyboardInterrupt
    assert is_gone(two_cores[0])
    assert time.monotonic() - begun < 3000


@pytest.mark.usefixtures("two_cores")
def test_where_the_system_grants_no_fork_it_is_worked_out_here(monkeypatch: pytest.MonkeyPatch) -> None:
    def refused() -> int:
        raise BlockingIOError("no more processes")

    monkeypatch.setattr(os, "fork", refused)
    with beside(os.getpid) as found:
        assert found() == os.getpid()


def test_nothing_is_forked_where_it_is_not_wanted(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv(ONE_PROCESS, "1")
    with beside(os.getpid) as found:
        assert found() == os.getpid()


def test_nothing_is_forked_beside_a_thread_that_works(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(os, "sched_getaffinity", lambda pid: {0, 1}, raising=False)
    over = threading.Event()
    thread = threading.Thread(target=over.wait)
    thread.start()
    try:
        with beside(os.getpid) as found:
            assert found() == os.getpid()
    finally:
        over.set()
        thread.join()


def test_files_are_the_same_beside_one_another_and_one_by_one(
    work: Work, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(processes, "cores", lambda: 1)
    one_by_one = files_of(work, b"")
    monkeypatch.setattr(processes, "cores", lambda: 2)
    assert list(files_of(work, b"").items()) == list(one_by_one.items())


def test_as_many_jobs_at_once_as_there_are_cores_and_memory_for(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(os, "sched_getaffinity", lambda pid: {0, 1, 2, 3})
    gib = 2**30
    assert at_once(20, free=64 * gib) == (4, MEMORY)
    assert at_once(3, free=64 * gib) == (3, MEMORY)
    assert at_once(20, free=16 * gib) == (4, 4 * gib)
    assert at_once(20, free=2 * gib + 1) == (2, LEAST_MEMORY)
    assert at_once(20, free=0) == (1, LEAST_MEMORY)


def test_the_system_says_how_much_memory_there_is() -> None:
    several, memory = at_once(1)
    assert several == 1
    assert LEAST_MEMORY <= memory <= MEMORY
