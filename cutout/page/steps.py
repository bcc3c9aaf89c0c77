"""The steps of the plan for someone standing at the saw: a few words, what to do, and what to hold."""

from __future__ import annotations

from dataclasses import dataclass, field

from shapely import MultiPolygon

from cutout.saw import model
from cutout.units import count
from cutout.write.work import Work


@dataclass(frozen=True, eq=False)
class Step:
    """One thing to do. letter: its sign on the panel and on paper. title: a few words. say: what to do.

    at: where it begins (mm). hold: what falls and must be held, if anything. holes and legs: what of the plan it
    is about, by number. drops: what comes free.
    """

    letter: str
    title: str
    say: str
    at: tuple[float, float]
    hold: str | None = None
    holes: tuple[int, ...] = ()
    legs: tuple[int, ...] = ()
    drops: MultiPolygon = field(default_factory=MultiPolygon)


def steps(work: Work) -> tuple[Step, ...]:
    """Every step of the plan, in order."""
    legs = {leg.order: leg for leg in work.plan.legs}
    holes = {hole.id: hole for hole in work.plan.holes}
    made = []
    for step in work.plan.steps:
        said = work.told(step)
        x, y = legs[step.legs[0]].path[0] if step.legs else holes[step.holes[0]].at
        made.append(
            Step(
                letter=step.letter,
                title=_title(step),
                say=said.whole,
                at=(round(float(x), 2), round(float(y), 2)),
                hold=said.hold,
                holes=step.holes,
                legs=step.legs,
                drops=step.drops,
            )
        )
    return tuple(made)


def _title(step: model.Step) -> str:
    if not step.legs:
        return f"Drill {count(len(step.holes), 'hole')}"
    first, last = step.legs[0], step.legs[-1]
    return f"Cut {first}" if first == last else f"Cuts {first} to {last}"
