"""The cut plan as steps for someone standing at the saw: holes first, one drill at a time, then each leg."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from itertools import groupby

import numpy as np
from shapely import MultiPolygon, Polygon

from cutout.saw.model import Hole, Leg, Plan
from cutout.units import Units, format_length, format_size


@dataclass(frozen=True, eq=False)
class Step:
    """One thing to do: a short title, sentences, and what of the plan it is about."""

    title: str
    lines: tuple[str, ...]
    holes: tuple[int, ...] = ()
    leg: int | None = None
    drops: MultiPolygon = field(default_factory=MultiPolygon)


def steps(plan: Plan, units: Units) -> tuple[Step, ...]:
    """Every step of the plan, in order."""
    return (*_drilling(plan.holes, units), *(_sawing(leg, units) for leg in plan.legs))


def _drilling(holes: Iterable[Hole], units: Units) -> Iterable[Step]:
    by_size = sorted(holes, key=lambda hole: (-hole.diameter, hole.id))
    for diameter, group in groupby(by_size, key=lambda hole: hole.diameter):
        same = tuple(group)
        size, numbers = format_length(diameter, units), tuple(hole.id for hole in same)
        count = "1 hole" if len(same) == 1 else f"{len(same)} holes"
        yield Step(f"Drill {count} of {size}", tuple(_purposes(same)), holes=numbers)


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


def _sawing(leg: Leg, units: Units) -> Step:
    length = float(np.hypot(*np.diff(leg.path, axis=0).T).sum())
    lines = [
        f"Opening {leg.opening}: {_start(leg.starts)}.",
        f"Saw {format_length(length, units)} {_end(leg.ends)}.",
    ]
    pieces = [piece for piece in leg.drops.geoms if not piece.is_empty]
    lines += [_drop(piece, units) for piece in pieces]
    return Step(f"Leg {leg.order}", tuple(lines), leg=leg.order, drops=leg.drops)


def _start(starts: str) -> str:
    if starts.startswith("hole"):
        return f"put the blade through {starts}"
    if starts == "edge":
        return "start at the panel's edge"
    return f"start in the open kerf of {starts}"


def _end(ends: str) -> str:
    if ends == "corner":
        return "into the corner, then back out the way you came"
    if ends == "edge":
        return "to the panel's edge"
    return f"to {ends}"


def _drop(piece: Polygon, units: Units) -> str:
    x0, y0, x1, y1 = piece.bounds
    return (
        f"A piece about {format_size(x1 - x0, y1 - y0, units)} comes free: hold it up before the last stroke."
    )
