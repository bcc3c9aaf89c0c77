"""The lettered steps that shop drawing, template and cut sheet speak of."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from itertools import groupby

import shapely
from shapely import MultiPolygon

from cutout.draw.crowd import in_a_row, numbers_in_words
from cutout.geom.outline import as_multi
from cutout.kit import Kit
from cutout.pattern import Pattern
from cutout.saw.model import Hole, Leg, Plan
from cutout.units import count, format_length

LETTERS = "ABCDEFGHJKLMNPQRSTUVWXYZ"
"""I and O are left out: on paper they are read as 1 and 0."""

MOST = 14
"""Steps of sawing, about, that a list beside the saw may have; more openings than that take one each."""

_LEAST = 3
"""Cuts, about, that are worth a step of their own."""

HELD = 300.0
"""A piece this large (mm^2) is to be held when it comes free; common practice, no source."""


@dataclass(frozen=True, eq=False, slots=True)
class Step:
    """What is said to the sawyer in one sentence: its letter, the legs (their orders) and holes (their ids) that
    belong to it, and the waste that comes free. One with holes and no legs is for the drill."""

    letter: str
    text: str
    legs: tuple[int, ...] = ()
    holes: tuple[int, ...] = ()
    drops: MultiPolygon = field(default_factory=MultiPolygon)

    @property
    def falls(self) -> bool:
        """Whether a piece comes free that is to be held."""
        return bool((shapely.area(shapely.get_parts(self.drops)) >= HELD).any())


def steps_of(plan: Plan, pattern: Pattern, kit: Kit) -> tuple[Step, ...]:
    """The plan's own steps; where it has none, its holes first and then the legs of each opening in parts."""
    own = getattr(plan, "steps", ())
    if own:
        return tuple(Step(s.letter, s.text, s.legs, s.holes, s.drops) for s in own)
    drilled = [(drill_words(plan.holes, kit), (), tuple(h.id for h in plan.holes), MultiPolygon())]
    sawn = [
        (_saw_words(part, pattern), tuple(leg.order for leg in part), (), _fallen(part))
        for part in _parts(plan.legs)
    ]
    found = [*(drilled if plan.holes else ()), *sawn]
    return tuple(Step(letter(n), *said) for n, said in enumerate(found))


def letter(n: int) -> str:
    """The letter of a step, counted from 0: A, B, ... Z, AA, AB, ... without I and O."""
    first, rest = divmod(n, len(LETTERS))
    return (letter(first - 1) if first else "") + LETTERS[rest]


def by_leg(steps: Sequence[Step]) -> dict[int, tuple[Step, int]]:
    """The step of each leg, by the leg's order, and its place among the step's legs from 1."""
    return {order: (step, n) for step in steps for n, order in enumerate(step.legs, start=1)}


def mark_of(step: Step, place: int) -> str:
    """What is written at a leg: the step's letter at its first, letter and number at the others."""
    return step.letter if place == 1 else f"{step.letter}{place}"


def drill_words(holes: Sequence[Hole], kit: Kit) -> str:
    """Which holes take which drill: "5 mm: 1-6; 8 mm: 7"."""
    by_size: dict[float, list[int]] = {}
    for hole in sorted(holes, key=lambda h: (h.diameter, h.id)):
        by_size.setdefault(hole.diameter, []).append(hole.id)
    return "Drill " + "; ".join(
        f"{format_length(size, kit.drills.unit)}: {numbers_in_words(sorted(ids))}"
        for size, ids in by_size.items()
    )


def _parts(legs: Sequence[Leg]) -> Iterator[tuple[Leg, ...]]:
    """Legs in order, cut where the opening changes and after a leg that frees a piece, into about MOST parts; short
    cuts that clear one spot stay together."""
    runs = [in_a_row(run) for _, run in groupby(legs, key=lambda leg: leg.opening)]
    each = max(_LEAST, -(-sum(map(len, runs)) // max(MOST - len(runs), 1)))
    for run in runs:
        part: list[tuple[Leg, ...]] = []
        for row in run:
            part.append(row)
            freed = any(leg.drops.area >= HELD for leg in row)
            if (freed and len(part) >= each / 2) or len(part) >= 1.6 * each:
                yield tuple(leg for together in part for leg in together)
                part = []
        if part:
            yield tuple(leg for together in part for leg in together)


def _fallen(legs: Sequence[Leg]) -> MultiPolygon:
    return as_multi(shapely.union_all([leg.drops for leg in legs]))


def _saw_words(legs: Sequence[Leg], pattern: Pattern) -> str:
    """Where it is on the panel, what it starts from, and how many cuts it takes."""
    starts = dict.fromkeys(leg.starts for leg in legs if leg.starts.startswith("hole"))
    holes = sorted(int(name.split()[1]) for name in starts)
    start = f"from {numbers_in_words(holes)}, " if holes else ""
    return f"{_place(legs, pattern)}: {start}{count(len(legs), 'cut')}"


def _place(legs: Sequence[Leg], pattern: Pattern) -> str:
    """The part of the figure these legs run in, in words."""
    runs = shapely.MultiLineString([leg.path for leg in legs if len(leg.path) > 1])
    if runs.is_empty or pattern.waste.is_empty:
        return "Cut"
    x, y = runs.centroid.coords[0]
    x0, y0, x1, y1 = pattern.waste.bounds
    across = ("Left", "Middle", "Right")[min(2, int(3 * (x - x0) / max(x1 - x0, 1e-9)))]
    up = ("Lower", "", "Upper")[min(2, max(0, int(3 * (y - y0) / max(y1 - y0, 1e-9))))]
    if across == "Middle":
        return {"Lower": "Bottom", "": "Middle", "Upper": "Top"}[up]
    return f"{up} {across.lower()}" if up else f"{across} side"
