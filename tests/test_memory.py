"""What is remembered from one run to the next is what a run that remembers nothing comes to."""

from __future__ import annotations

import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from cutout import run
from cutout.amend import lie
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
    """As a fresh process, but for what comes with the package: kits and fonts."""
    run._sawn.clear()
    run._routed.clear()
    lie.forget()
    worked = ("cutout.check", "cutout.amend", "cutout.measure", "cutout.pattern", "cutout.saw")
    for name, module in list(sys.modules.items()):
        if name.startswith(worked):
            for found in vars(module).values():
                if hasattr(found, "cache_clear"):
                    found.cache_clear()


def told(work: Work) -> list[object]:
    """Plan and proof to the last bit."""
    paths = [
        (leg.path.tobytes(), leg.drops.wkb, leg.starts, leg.ends, leg.start_by) for leg in work.plan.legs
    ]
    left = [(spot.at, spot.depth, spot.area) for spot in (*work.plan.left_over, *work.proof.left_over)]
    return [
        paths,
        left,
        work.plan.holes,
        work.plan.findings,
        work.plan.minutes_by,
        [(step.letter, step.legs, step.drops.wkb, step.minutes) for step in work.plan.steps],
        (work.proof.ok, work.proof.findings, work.proof.gouge, work.proof.steps),
    ]


def made(figure: Path, **more: Any) -> Work:
    asked = {key: value for key, value in {**OPTIONS, **more}.items() if value is not None}
    return run.make(*asked_for(figure, asked))


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
    assert told(again) == told(cold)
    assert repr(again.findings) == repr(cold.findings)


MOVES = {
    "moved": ({"at": "117.31mm,104.07mm"}, {"mended", "planned"}),
    "mirrored": ({"at": "119mm,101mm", "mirror": True}, {"mended"}),
    "turned in sheet goods": (
        {"at": "119mm,101mm", "turn": "90", "wood": "plywood", "width": None, "height": "40mm"},
        set[str](),
    ),
    "turned back": ({"at": "119mm,101mm", "wood": "plywood"}, {"mended"}),
    "near an edge": ({"at": "34.5mm,100mm"}, set[str]()),
    "over the edge": ({"at": "18mm,100mm"}, set[str]()),
}
"""Where the figure goes, and what is known of it there."""


def test_no_byte_tells_that_a_figure_was_only_moved(figure: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """What comes after all other places is what a run that remembers nothing comes to."""
    # Rough, so that there is something to mend, and short of symmetry.
    figure.write_text(figure.read_text("utf-8").replace("a9 9 0 0 1 18-3", "l4-9 1 4 2-6 1 5 10 3"), "utf-8")
    anew: list[str] = []
    memories: tuple[Memory[Any], ...] = (run._sawn, lie._mended)

    def counting(name: str, work: Callable[..., Any]) -> Callable[..., Any]:
        def counted(*asked: Any) -> Any:
            anew.append(name)
            return work(*asked)

        return counted

    monkeypatch.setattr(run, "plan", counting("planned", planner.plan))
    mending = sys.modules["cutout.amend.mend"]
    monkeypatch.setattr(mending, "_mended", counting("mended", vars(mending)["_mended"]))
    forget()
    first: dict[str, tuple[dict[str, Any], set[str]]] = {"first": ({"at": "120mm,100mm"}, set())}
    for name, (place, known) in (first | MOVES).items():
        here = {
            "panel": "240x200mm",
            "wood": "white-pine",
            "blade": "scroll-medium",
            "width": "40mm",
            **place,
        }
        anew.clear()
        moved = made(figure, **here)
        assert known.isdisjoint(anew), name
        # In the other order: this place first.
        kept = [dict(memory._kept) for memory in memories]
        forget()
        cold = made(figure, **here)
        assert result_json(moved, {}) == result_json(cold, {}), name
        assert told(moved) == told(cold), name
        assert repr((moved.findings, moved.bridges, moved.eased)) == repr(
            (cold.findings, cold.bridges, cold.eased)
        ), name
        assert moved.pattern.waste.wkb == cold.pattern.waste.wkb, name
        for memory, answers in zip(memories, kept, strict=True):
            memory._kept.update(answers)


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
    assert told(after) == told(before)
    assert [s for s in stages if s in (run.PLANNING, run.PROVING)] == [run.PLANNING, run.PROVING]
    with pytest.raises(AssertionError, match="planned again"):
        made(figure, blade="scroll-medium")
