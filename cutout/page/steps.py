"""The steps of the plan for someone standing at the saw: a few words, what to do, and what to hold."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

from shapely import MultiPolygon

from cutout.write.work import Work


@dataclass(frozen=True, eq=False)
class Step:
    """One thing to do. letter: its sign on the panel and on paper. title: a few words. say: what to do.

    at: where it begins (mm). opening: the one it is sawn in, None for drilling. hold: what falls and must be held,
    if anything. holes and legs: what of the plan it is about, by number. length: of its cuts (mm). goes: how often
    the saw is put in. minutes: an estimate. drops: what comes free.
    """

    letter: str
    title: str
    say: str
    at: tuple[float, float]
    opening: int | None = None
    hold: str | None = None
    holes: tuple[int, ...] = ()
    legs: tuple[int, ...] = ()
    length: float = 0.0
    goes: int = 0
    minutes: float = 0.0
    drops: MultiPolygon = field(default_factory=MultiPolygon)


def steps(work: Work) -> tuple[Step, ...]:
    """Every step of the plan, in order."""
    legs = {leg.order: leg for leg in work.plan.legs}
    holes = {hole.id: hole for hole in work.plan.holes}
    made = []
    for step in work.plan.steps:
        said = work.told(step)
        own = [legs[order] for order in step.legs]
        x, y = own[0].path[0] if own else holes[step.holes[0]].at
        made.append(
            Step(
                letter=step.letter,
                title=said.name,
                say=f"{said.action} {said.moves}".strip(),
                at=(round(float(x), 2), round(float(y), 2)),
                opening=own[0].opening if own else None,
                hold=said.hold,
                holes=step.holes,
                legs=step.legs,
                length=math.fsum(leg.length for leg in own),
                goes=step.goes,
                minutes=step.minutes,
                drops=step.drops,
            )
        )
    return tuple(made)
