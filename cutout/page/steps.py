"""The steps of the plan for someone standing at the saw: a few words, what to do, and what to hold."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field

from shapely import MultiPolygon

from cutout.saw import model
from cutout.saw.model import Hole, Leg, Plan
from cutout.units import count

_HOLD = re.compile(r"\bHold [^.]*(?:\.\d[^.]*)*\.")
"""The sentence of a step that says what falls; a point within a number does not end it."""


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


def steps(plan: Plan) -> tuple[Step, ...]:
    """Every step of the plan, in order, its words taken apart into what to do and what to hold."""
    legs = {leg.order: leg for leg in plan.legs}
    holes = {hole.id: hole for hole in plan.holes}
    return tuple(_step(step, legs, holes) for step in plan.steps)


def _step(step: model.Step, legs: Mapping[int, Leg], holes: Mapping[int, Hole]) -> Step:
    held = _HOLD.search(step.text)
    say = " ".join(_HOLD.sub("", step.text).split())
    x, y = legs[step.legs[0]].path[0] if step.legs else holes[step.holes[0]].at
    return Step(
        letter=step.letter,
        title=_title(step),
        say=say,
        at=(round(float(x), 2), round(float(y), 2)),
        hold=held[0] if held else None,
        holes=step.holes,
        legs=step.legs,
        drops=step.drops,
    )


def _title(step: model.Step) -> str:
    if not step.legs:
        return f"Drill {count(len(step.holes), 'hole')}"
    first, last = step.legs[0], step.legs[-1]
    return f"Cut {first}" if first == last else f"Cuts {first} to {last}"
