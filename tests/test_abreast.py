"""Work shared out between forks: the answers are those of one process, whatever becomes of the others."""

from __future__ import annotations

import os
import sys
import threading
import time
from collections.abc import Callable

import pytest
import shapely

from cutout import processes
from cutout.errors import LayoutError
from cutout.geom.outline import Outline, as_multi, from_region
from cutout.pattern import Panel, cut_pattern
from cutout.processes import abreast, cores
from cutout.saw import plan
from cutout.saw.planner import plan as planner
from tests.figures import star
from tests.kits import kit_of

Told = Callable[[float], None]

pytestmark = pytest.mark.skipif(not sys.platform.startswith("linux"), reason="forks are made on Linux only")


def silent(share: float) -> None:
    """Nobody listens."""


@pytest.fixture
def two_cores(monkeypatch: pytest.MonkeyPatch) -> None:
    """A process of our own on a machine of two cores."""
    monkeypatch.setattr(processes, "_own", True)
    monkeypatch.setattr(os, "sched_getaffinity", lambda pid: {0, 1})


def whose(n: int) -> Callable[[Told], tuple[int, int]]:
    """A task that answers with its number and the process it ran in."""
    return lambda tell: (n, os.getpid())


def test_another_programs_process_is_forked_only_where_no_thread_works(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """The same rule for work abreast and work beside."""
    monkeypatch.setattr(os, "sched_getaffinity", lambda pid: {0, 1})
    assert cores() == 2
    over = threading.Event()
    thread = threading.Thread(target=over.wait)
    thread.start()
    try:
        assert cores() == 1
        answers = abreast([whose(n) for n in range(3)], [1.0, 1.0, 1.0], silent)
        assert answers == [(n, os.getpid()) for n in range(3)]
        monkeypatch.setattr(processes, "_own", True)
        assert cores() == 2
    finally:
        over.set()
        thread.join()


@pytest.mark.usefixtures("two_cores")
def test_a_fork_forks_no_further() -> None:
    def asked(tell: Told) -> tuple[int, int]:
        return cores(), os.getpid()

    (here, _), (there, pid) = abreast([asked, asked], [2.0, 1.0], silent)
    assert (here, there) == (2, 1)
    assert pid != os.getpid()


@pytest.mark.usefixtures("two_cores")
def test_answers_come_in_order_from_two_processes() -> None:
    answers = abreast([whose(n) for n in range(4)], [1.0, 5.0, 2.0, 1.0], silent)
    assert [n for n, _ in answers] == [0, 1, 2, 3]
    mine = [n for n, pid in answers if pid == os.getpid()]
    assert mine == [1], "the largest alone here weighs more than the rest together"
    assert len({pid for _, pid in answers}) == 2


@pytest.mark.usefixtures("two_cores")
def test_small_work_stays_in_this_process() -> None:
    answers = abreast([whose(0), whose(1)], [9.0, 1.0], silent, least=2.0)
    assert {pid for _, pid in answers} == {os.getpid()}


@pytest.mark.usefixtures("two_cores")
def test_what_a_fork_did_not_bring_to_an_end_is_done_here() -> None:
    here = os.getpid()

    def mortal(tell: Told) -> int:
        if os.getpid() != here:
            os._exit(9)
        return 7

    assert abreast([whose(0), mortal], [2.0, 1.0], silent)[1] == 7


@pytest.mark.usefixtures("two_cores")
def test_a_fault_in_a_fork_is_raised_here() -> None:
    def refused(tell: Told) -> int:
        raise LayoutError("invented: it can't be laid out.")

    with pytest.raises(LayoutError, match="invented"):
        abreast([whose(0), refused], [2.0, 1.0], silent)


@pytest.mark.usefixtures("two_cores")
def test_a_fault_here_ends_the_forks() -> None:
    pids: list[int] = []
    fork = os.fork

    def noted() -> int:
        pids.append(fork())
        return pids[-1]

    def lasting(tell: Told) -> int:
        time.sleep(60)
        return 0

    def refused(tell: Told) -> int:
        raise LayoutError("invented: it can't be laid out.")

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(os, "fork", noted)
        with pytest.raises(LayoutError):
            abreast([refused, lasting], [2.0, 1.0], silent)
    (pid,) = pids
    with pytest.raises(ProcessLookupError):
        os.kill(pid, 0)


@pytest.mark.usefixtures("two_cores")
def test_how_far_all_have_come_is_told_as_one_share() -> None:
    shares: list[float] = []

    def steps(tell: Told) -> int:
        for n in (1, 2, 3, 4):
            tell(n / 4)
        return 0

    abreast([steps, steps], [3.0, 1.0], shares.append)
    assert shares == sorted(shares)
    assert shares[0] > 0
    assert shares[-1] == pytest.approx(1.0)


@pytest.mark.usefixtures("two_cores")
def test_a_plan_made_by_two_processes_is_that_of_one(monkeypatch: pytest.MonkeyPatch) -> None:
    kit = kit_of("scroll-medium")
    figures = [
        star(5, 40.0, 18.0, 70 + 70j),
        shapely.Point(200, 200).buffer(30),
        star(4, 40.0, 20.0, 70 + 200j),
    ]
    outline = Outline(from_region(as_multi(shapely.union_all(figures))), 1.0)
    pattern = cut_pattern(outline, Panel(300.0, 300.0, 18.0), "panel", kit.blade.kerf)
    forks: list[int] = []
    fork = os.fork

    def noted() -> int:
        forks.append(0)
        return fork()

    monkeypatch.setattr(os, "fork", noted)
    planner._remembered.cache_clear()
    two = plan(pattern, kit)
    assert len(forks) == 1
    monkeypatch.setenv(processes.ONE_PROCESS, "1")
    planner._remembered.cache_clear()
    one = plan(pattern, kit)
    assert len(forks) == 1
    assert two.holes == one.holes
    assert repr(two.findings) == repr(one.findings)
    assert [leg.path.tobytes() for leg in two.legs] == [leg.path.tobytes() for leg in one.legs]
    assert [(leg.starts, leg.ends, leg.drops.wkb) for leg in two.legs] == [
        (leg.starts, leg.ends, leg.drops.wkb) for leg in one.legs
    ]
    assert two.minutes_by == one.minutes_by
