"""The cut plan as steps for someone standing at the saw: holes first, one drill at a time, then each leg."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from itertools import groupby

import numpy as np
from shapely import MultiPolygon, Polygon

from cutout.saw.model import Hole, Leg, Plan
from cutout.units import Units, count, format_length, format_size


@dataclass(frozen=True, eq=False)
class Step:
    """One thing to do. letter: its sign on the panel. title: a few words. say: what to do, in a sentence or two.

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


def steps(plan: Plan, units: Units) -> tuple[Step, ...]:
    """Every step of the plan, in order."""
    drilling = list(_drilling(plan.holes, units))
    sawing = [_sawing(leg, str(n), units) for n, leg in enumerate(plan.legs, len(drilling) + 1)]
    return (*drilling, *sawing)


def _drilling(holes: Iterable[Hole], units: Units) -> Iterator[Step]:
    by_size = sorted(holes, key=lambda hole: (-hole.diameter, hole.id))
    groups = groupby(by_size, key=lambda hole: hole.diameter)
    for n, (diameter, group) in enumerate(groups, 1):
        same = tuple(group)
        title = f"Drill {count(len(same), 'hole')} of {format_length(diameter, units)}"
        yield Step(
            str(n), title, " ".join(_purposes(same)), _place(same[0].at), holes=tuple(h.id for h in same)
        )


def _purposes(holes: tuple[Hole, ...]) -> Iterable[str]:
    starters = [hole.id for hole in holes if "starter" in hole.roles]
    reliefs = [hole.id for hole in holes if hole.roles == ("relief",)]
    clearing = [hole.id for hole in holes if hole.roles == ("clearing",)]
    others = [hole.id for hole in holes if not hole.roles]
    if starters:
        yield f"{_named(starters)} to let the blade in."
    if reliefs:
        yield f"{_named(reliefs)} so that the blade can turn in a corner."
    if clearing:
        yield f"{_named(clearing)} to clear waste that the blade can't get at."
    if others:
        yield f"{_named(others)}."


def _named(numbers: list[int]) -> str:
    word = "Hole" if len(numbers) == 1 else "Holes"
    return f"{word} {', '.join(map(str, numbers))}"


def _sawing(leg: Leg, letter: str, units: Units) -> Step:
    length = float(np.hypot(*np.diff(leg.path, axis=0).T).sum())
    say = f"{_start(leg.starts)} and saw {format_length(length, units)} {_end(leg.ends)}."
    pieces = [piece for piece in leg.drops.geoms if not piece.is_empty]
    hold = " ".join(_drop(piece, units) for piece in pieces) or None
    title = f"Leg {leg.order}, opening {leg.opening}"
    return Step(letter, title, say, _place(leg.path[0]), hold, legs=(leg.order,), drops=leg.drops)


def _place(at: Iterable[float]) -> tuple[float, float]:
    x, y = at
    return round(float(x), 2), round(float(y), 2)


def _start(starts: str) -> str:
    if starts.startswith("hole"):
        return f"Put the blade through {starts}"
    if starts == "edge":
        return "Start at the panel's edge"
    return f"Start in the open kerf of {starts}"


def _end(ends: str) -> str:
    if ends == "corner":
        return "into the corner, then back out the way you came"
    if ends == "edge":
        return "to the panel's edge"
    return f"to {ends}"


def _drop(piece: Polygon, units: Units) -> str:
    x0, y0, x1, y1 = piece.bounds
    size = format_size(x1 - x0, y1 - y0, units)
    return f"A piece about {size} comes free: hold it up before the last stroke."
