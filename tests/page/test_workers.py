"""Work in other processes: what goes wrong in one harms no other. Tasks are functions of the standard library."""

from __future__ import annotations

import asyncio
import time
from collections.abc import Awaitable, Callable
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import pytest

from cutout.errors import CutoutError
from cutout.page.workers import SLOW_AT_MOST, TaskError, Workers


def trying(module: str, test: Callable[[Workers], Awaitable[Any]], most: int = 3) -> Any:
    async def whole() -> Any:
        workers = Workers(module, most)
        try:
            return await test(workers)
        finally:
            workers.close()

    # In a thread of its own: the browser of other tests may have an event loop waiting in this one.
    with ThreadPoolExecutor(1) as pool:
        return pool.submit(asyncio.run, whole()).result()


def test_answers_come_back() -> None:
    assert trying("math", lambda w: w.run("hypot", 3.0, 4.0, owner="a", seconds=20)) == 5.0


def test_our_errors_come_back_as_they_are() -> None:
    with pytest.raises(CutoutError, match='"soon" is not a length'):
        trying("cutout.units", lambda w: w.run("parse_length", "soon", owner="a", seconds=20))


def test_a_task_tells_how_far_it_is() -> None:
    async def test(workers: Workers) -> Any:
        assert await workers.run("tell", "half way", 0.5, owner="a", seconds=20) is None
        (worker,) = workers._all
        return worker.so_far, workers.so_far("a")

    # What was told last stays with the process; of a task that has ended nobody is told any more.
    assert trying("cutout.page.telling", test) == (("half way", 0.5), {})


def test_other_errors_are_faults_and_the_process_goes_on() -> None:
    async def test(workers: Workers) -> float:
        with pytest.raises(TaskError) as raised:
            await workers.run("sqrt", -1.0, owner="a", seconds=20)
        assert raised.value.kind == "faulty"
        assert "ValueError" in str(raised.value)
        answer: float = await workers.run("sqrt", 9.0, owner="a", seconds=20)
        return answer

    assert trying("math", test) == 3.0


def test_crash_of_one_process_is_told_and_replaced() -> None:
    async def test(workers: Workers) -> Any:
        with pytest.raises(TaskError) as raised:
            await workers.run("_exit", 1, owner="a", seconds=20)
        assert raised.value.kind == "crashed"
        return await workers.run("getpid", owner="a", seconds=20)

    assert trying("os", test, most=1) > 0


def test_what_takes_too_long_is_stopped() -> None:
    async def test(workers: Workers) -> None:
        await workers.run("sleep", 0, owner="a", seconds=20)
        with pytest.raises(TaskError) as raised:
            await workers.run("sleep", 60, owner="a", seconds=0.2)
        assert raised.value.kind == "late"
        await workers.run("sleep", 0, owner="a", seconds=20)

    trying("time", test, most=1)


def test_slow_work_of_one_leaves_room_for_others() -> None:
    """More slow tasks than are let run at once, and still a quick one is answered while they sleep."""

    async def test(workers: Workers) -> None:
        await workers.run("sleep", 0, owner="a", seconds=20)
        slow = [
            asyncio.create_task(workers.run("sleep", 30, owner=f"slow {n}", seconds=60, slow=True))
            for n in range(SLOW_AT_MOST + 3)
        ]
        await asyncio.sleep(0.2)
        await asyncio.wait_for(workers.run("sleep", 0.01, owner="quick", seconds=20), 15)
        assert not any(task.done() for task in slow)
        for task in slow:
            task.cancel()
        await asyncio.gather(*slow, return_exceptions=True)

    trying("time", test, most=4)


def test_newer_run_takes_the_place_of_the_older() -> None:
    async def test(workers: Workers) -> float:
        async def run(seconds: float, owner: str) -> None:
            await workers.run("sleep", seconds, owner=owner, seconds=60, slow=True, instead=True)

        await run(0, "a")
        begun = time.monotonic()
        old, other = asyncio.create_task(run(30, "a")), asyncio.create_task(run(0.5, "b"))
        await asyncio.sleep(0.2)
        await run(0.01, "a")
        with pytest.raises(TaskError) as raised:
            await old
        assert raised.value.kind == "replaced"
        await other
        return time.monotonic() - begun

    assert trying("time", test, most=4) < 20


def test_same_owner_gets_the_same_process_again() -> None:
    async def test(workers: Workers) -> list[int]:
        return [await workers.run("getpid", owner=owner, seconds=20) for owner in "abaabb"]

    a, b, *again = trying("os", test, most=3)
    assert a != b
    assert again == [a, a, b, b]
