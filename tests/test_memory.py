"""What is remembered from one run to the next is what a run that remembers nothing comes to."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from cutout import run
from cutout.job.options import asked_for
from cutout.memory import Memory
from cutout.saw.planner import plan as planner
from cutout.write.dxf import router_dxf
from cutout.write.result import result_json
from cutout.write.work import Work

OPTIONS = {"width": "60mm", "panel": "100x100mm", "thickness": "12mm"}
HEART = "M20 38C8 28 2 22 2 14a9 9 0 0 1 18-3a9 9 0 0 1 18 3c0 8-6 14-18 24z"


@pytest.fixture
def figure(tmp_path: Path) -> Path:
    source = tmp_path / "heart.svg"
    source.write_text(
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 40 40"><path d="{HEART}"/></svg>', "utf-8"
    )
    return source


def forget() -> None:
    run._sawn.clear()
    run._routed.clear()
    planner._remembered.cache_clear()


def made(figure: Path, **more: Any) -> Work:
    return run.make(*asked_for(figure, {**OPTIONS, **more}))


def test_the_last_few_answers_are_kept() -> None:
    memory: Memory[str] = Memory(2)
    for question in "abab":
        assert memory.recall(question, lambda q=question: q) == question
    assert memory.recall("a", lambda: "new") == "a"
    memory.recall("c", lambda: "c")
    assert memory.recall("b", lambda: "new") == "new"
    assert "a" not in memory


@pytest.mark.parametrize(
    "more",
    [{"paper": "A3", "units": "in", "bit": "3mm"}, {"blade": "scroll-medium"}, {"at": "45mm,50mm"}],
    ids=lambda more: next(iter(more)),
)
def test_no_byte_tells_that_something_was_remembered(figure: Path, more: dict[str, str]) -> None:
    forget()
    cold = made(figure, **more)
    forget()
    made(figure)
    again = made(figure, **more)
    assert result_json(again, {}) == result_json(cold, {})
    assert router_dxf(again) == router_dxf(cold)
    assert [leg.path.tobytes() for leg in again.plan.legs] == [leg.path.tobytes() for leg in cold.plan.legs]
    assert repr(again.proof) == repr(cold.proof)


def test_paper_units_and_router_leave_plan_and_proof_as_they_are(
    figure: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    forget()
    before = made(figure)

    def planned_again(*asked: object) -> None:
        raise AssertionError("planned again")

    monkeypatch.setattr(run, "plan", planned_again)
    monkeypatch.setattr(run, "prove", planned_again)
    stages: list[str] = []
    job, folder = asked_for(figure, {**OPTIONS, "paper": "A3", "bit": "3mm"})
    after = run.make(job, folder, lambda stage, done: stages.append(stage))
    assert after.plan is before.plan
    assert after.proof is before.proof
    assert [s for s in stages if s in (run.PLANNING, run.PROVING)] == [run.PLANNING, run.PROVING]
    with pytest.raises(AssertionError, match="planned again"):
        made(figure, blade="scroll-medium")
