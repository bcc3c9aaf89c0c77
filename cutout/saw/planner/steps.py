"""Steps: what is said to the sawyer, a sentence each, lettered; as many as one keeps in mind at the saw."""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import groupby

import numpy as np
import shapely
from shapely import MultiPolygon

from cutout.geom.outline import polygons_of
from cutout.kit import Kit
from cutout.pattern import Opening, Pattern
from cutout.saw.model import SAME_GO, Hole, Leg, Step
from cutout.units import format_length, format_size

MOST = 15
"""More steps than this are no list to hang beside the saw: neighbours in one opening are joined."""
WORTH_SAYING = 50.0
"""A piece from this size (mm^2) on is to be held when it falls."""
ENDS_A_STEP = 0.05
"""A step ends with a piece that is at least this share of its opening."""
SHORT = 15.0
"""Cuts up to this length (mm) are short."""
_LETTERS = "ABCDEFGHJKLMNPQRSTUVWXYZ"
"""I and O are left out: they read as 1 and 0."""
_PLACES = (
    ("lower left", "bottom", "lower right"),
    ("left", "middle", "right"),
    ("upper left", "top", "upper right"),
)


def steps_of(holes: Sequence[Hole], legs: Sequence[Leg], pattern: Pattern, kit: Kit) -> tuple[Step, ...]:
    """The steps of a plan: drilling first, then the cuts; each names its legs and what falls."""
    openings = {o.id: o for o in pattern.openings}
    drilling = [(_drill_text(holes, kit), (), tuple(h.id for h in holes), MultiPolygon())] if holes else []
    groups = _joined(_split(legs, openings), MOST - len(drilling))
    sawing = [
        (_saw_text(g, openings, kit), tuple(leg.order for leg in g), (), MultiPolygon(_falling(g)))
        for g in groups
    ]
    return tuple(
        Step(letter(n), text, numbers, drilled, drops)
        for n, (text, numbers, drilled, drops) in enumerate([*drilling, *sawing])
    )


def letter(n: int) -> str:
    """A, B, ... Z without I and O, then AA, AB, ..."""
    first, last = divmod(n, len(_LETTERS))
    return (_LETTERS[first - 1] if first else "") + _LETTERS[last]


def _split(legs: Sequence[Leg], openings: dict[int, Opening]) -> list[list[Leg]]:
    """Legs in runs: one ends where the saw is lifted, another opening begins, or a large piece falls."""
    groups: list[list[Leg]] = []
    for leg in legs:
        begins = not groups or leg.start_by not in SAME_GO or leg.opening != groups[-1][-1].opening
        if begins or _ends_a_step(groups[-1][-1], openings):
            groups.append([leg])
        else:
            groups[-1].append(leg)
    return groups


def _ends_a_step(leg: Leg, openings: dict[int, Opening]) -> bool:
    whole = openings[leg.opening].region.area if leg.opening in openings else math.inf
    return float(shapely.area(leg.drops)) > max(ENDS_A_STEP * whole, WORTH_SAYING)


def _joined(groups: list[list[Leg]], most: int) -> list[list[Leg]]:
    """At most so many groups, as far as joining neighbours in one opening does it; the shortest first."""
    groups = [list(g) for g in groups]
    while len(groups) > most:
        lengths = [math.fsum(leg.length for leg in g) for g in groups]
        pairs = [
            (lengths[n] + lengths[n + 1], n)
            for n in range(len(groups) - 1)
            if groups[n][0].opening == groups[n + 1][0].opening
        ]
        if not pairs:
            break
        _, n = min(pairs)
        groups[n : n + 2] = [groups[n] + groups[n + 1]]
    return groups


def _falling(legs: Sequence[Leg]) -> list[shapely.Polygon]:
    return [p for leg in legs for p in polygons_of(leg.drops)]


def _drill_text(holes: Sequence[Hole], kit: Kit) -> str:
    """Every hole by its drill, the smallest first."""
    by_size = sorted(holes, key=lambda h: (h.diameter, h.id))
    parts = [
        f"{_numbers([h.id for h in group])} with {format_length(size, kit.drills.unit)}"
        for size, group in ((d, list(g)) for d, g in groupby(by_size, key=lambda h: h.diameter))
    ]
    return f"Drill {'; '.join(parts)}."


def _numbers(numbers: Sequence[int]) -> str:
    """1 to 4, 6 and 9."""
    runs: list[list[int]] = []
    for n in sorted(numbers):
        if runs and n == runs[-1][-1] + 1:
            runs[-1].append(n)
        else:
            runs.append([n])
    parts = [part for r in runs for part in ([f"{r[0]} to {r[-1]}"] if len(r) > 2 else map(str, r))]
    words = parts[0] if len(parts) == 1 else f"{', '.join(parts[:-1])} and {parts[-1]}"
    return f"hole {words}" if len(numbers) == 1 else f"holes {words}"


def _saw_text(legs: Sequence[Leg], openings: dict[int, Opening], kit: Kit) -> str:
    opening = openings.get(legs[0].opening)
    box = opening.region.bounds if opening is not None else shapely.bounds(legs[0].drops).tolist()
    length = format_length(math.fsum(leg.length for leg in legs), kit.units)
    where = _place(shapely.multilinestrings([shapely.LineString(leg.path) for leg in legs]), box)
    name = f"opening {legs[0].opening}" if len(openings) > 1 else "the opening"
    begin = f"{_start(legs[0])} {_course(legs, where, name, opening)}: {_cuts(legs)}, {length}."
    return f"{begin}{_moves(legs)}{_hold(legs, box, kit)}"


def _start(leg: Leg) -> str:
    at_hole = leg.starts.startswith("hole")
    if leg.start_by == "turn":
        where = f"in {leg.starts}" if at_hole else "beyond the edge" if leg.starts == "edge" else ""
        return f"Turn the blade {where or 'where the waste has fallen'} and saw"
    if leg.start_by == "spin":
        return "Turn the blade in its kerf and saw"
    if leg.start_by in SAME_GO:
        return "Back out and saw"
    if at_hole:
        return (
            f"Thread the blade through {leg.starts} and saw"
            if leg.start_by == "thread"
            else f"From {leg.starts} saw"
        )
    if leg.starts == "edge":
        return "From the panel's edge saw"
    if leg.start_by == "lift":
        return f"Put the blade back into the kerf of cut {leg.starts.partition(' ')[2]} and saw"
    return "Let the blade in where the waste has fallen and saw"


def _course(legs: Sequence[Leg], where: str, name: str, opening: Opening | None) -> str:
    """Which way: round the opening, or along one side of it."""
    if opening is not None:
        middle = complex(opening.region.centroid.x, opening.region.centroid.y)
        turned = math.fsum(_swept(leg.path, middle) for leg in legs)
        if abs(turned) > 1.2 * math.pi:
            return f"{'counter-clockwise' if turned > 0 else 'clockwise'} round {name}"
    return f"at the {where} of {name}" if where != "middle" else f"in the middle of {name}"


def _swept(path: np.ndarray, middle: complex) -> float:
    """Angle (radians) a path turns about a point."""
    z = path[:, 0] + 1j * path[:, 1] - middle
    z = z[np.abs(z) > 1e-6]
    return float(np.angle(z[1:] / z[:-1]).sum()) if len(z) > 1 else 0.0


def _cuts(legs: Sequence[Leg]) -> str:
    first, last = legs[0].order, legs[-1].order
    short = sum(leg.length < SHORT for leg in legs)
    words = f"cut {first}" if len(legs) == 1 else f"cuts {first} to {last}"
    return f"{words}, {short} of them short" if short > 2 and len(legs) > 3 else words


def _moves(legs: Sequence[Leg]) -> str:
    """How often the blade is backed out, turned and lifted within the step."""
    inner = legs[1:]
    backs, turns, spins = (sum(leg.start_by == kind for leg in inner) for kind in ("back", "turn", "spin"))
    lifts = sum(leg.start_by not in SAME_GO for leg in inner)
    parts = [
        f"back out {_times(backs)}" if backs else "",
        f"turn {_times(turns)} where a hole or fallen waste gives room" if turns else "",
        f"turn {_times(spins)} in the kerf round the back of the blade" if spins else "",
        f"lift out {_times(lifts)}" if lifts else "",
    ]
    said = ", ".join(p for p in parts if p)
    return f" {said[0].upper()}{said[1:]}." if said else ""


def _times(n: int) -> str:
    return {1: "once", 2: "twice"}.get(n, f"{n} times")


def _hold(legs: Sequence[Leg], box: Sequence[float], kit: Kit) -> str:
    large = sorted((p for p in _falling(legs) if p.area >= WORTH_SAYING), key=lambda p: -p.area)
    if not large:
        return ""
    x0, y0, x1, y1 = large[0].bounds
    size = format_size(x1 - x0, y1 - y0, kit.units)
    if len(large) == 1:
        place = _place(large[0], box)
        return f" Hold the piece of {size} {'in' if place == 'middle' else 'at'} the {place}: it falls."
    return f" Hold {len(large)} pieces as they fall, the largest {size}."


def _place(geometry: shapely.Geometry, box: Sequence[float]) -> str:
    """Where in a box the middle of something lies, in words."""
    spot = shapely.centroid(geometry)
    x0, y0, x1, y1 = box
    column, row = (
        min(2, max(0, int(3 * (v - low) / max(high - low, 1e-9))))
        for v, low, high in ((spot.x, x0, x1), (spot.y, y0, y1))
    )
    return _PLACES[row][column]
