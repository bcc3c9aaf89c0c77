"""The plan's steps in words: what to do, and what to hold."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import groupby

import numpy as np
import shapely

from cutout.geom.outline import polygons_of
from cutout.geom.where import place_in
from cutout.pattern import Opening, Pattern
from cutout.saw.model import EDGE, HELD, SAME_GO, SHORT, Hole, Leg, Place, Plan, Step
from cutout.say.pieces import pieces_name
from cutout.units import Units, count, format_length, format_rule, format_size


@dataclass(frozen=True, slots=True)
class StepSaid:
    """A step in words. name: a few words to know it by, within its opening; action: what to do, in one sentence
    without measures; moves: how the blade is moved, empty where it simply saws; whole: all of this with how long it
    is; hold: what falls and must be held, if anything."""

    name: str
    action: str
    moves: str
    whole: str
    hold: str | None

    @property
    def text(self) -> str:
        """All of it."""
        return self.whole if self.hold is None else f"{self.whole} {self.hold}"


def step_said(step: Step, plan: Plan, pattern: Pattern, units: Units, drills_in: Units) -> StepSaid:
    """A step of a plan in words; drills are named in the unit their set is marked in."""
    legs = [leg for leg in plan.legs if leg.order in step.legs]
    if not legs:
        drilling = _drilling([hole for hole in plan.holes if hole.id in step.holes], drills_in)
        return StepSaid(f"Drill {count(len(step.holes), 'hole')}", drilling, "", drilling, None)
    openings = {o.id: o for o in pattern.openings}
    opening = openings.get(legs[0].opening)
    box = opening.region.bounds if opening is not None else shapely.bounds(legs[0].drops).tolist()
    length = format_rule(math.fsum(leg.length for leg in legs), units)
    where = place_in(shapely.multilinestrings([shapely.LineString(leg.path) for leg in legs]), box)
    name = f"opening {legs[0].opening}" if len(openings) > 1 else "the opening"
    begin = f"{_start(legs[0])} {_course(legs, where, name if len(openings) > 1 else None, opening)}: {_cuts(legs)}"
    moves = _moves(legs)
    whole = f"{begin}, {length}. {moves}" if moves else f"{begin}, {length}."
    alone = sum(leg.opening == legs[0].opening for leg in plan.legs) == len(legs)
    called = f"The whole of {name}" if alone and opening is not None else _name(legs, where, opening, box)
    return StepSaid(called, f"{begin}.", moves, whole, _hold(legs, box, units))


def _name(legs: Sequence[Leg], where: str, opening: Opening | None, box: Sequence[float]) -> str:
    """What falls, by shape and place in its opening; where nothing does, where it is sawn."""
    falling = [p for leg in legs for p in polygons_of(leg.drops) if p.area >= HELD]
    whole = opening.region.area if opening is not None else math.fsum(p.area for p in falling)
    if falling:
        name = pieces_name(falling, whole, box)
    elif math.fsum(leg.length for leg in legs) < SHORT:
        name = f"short cut {'in' if where == 'middle' else 'at'} the {where}"
    else:
        name = "through the middle" if where == "middle" else f"along the {where}"
    return name[0].upper() + name[1:]


def _drilling(holes: Sequence[Hole], drills_in: Units) -> str:
    """Every hole by its drill, the smallest first."""
    by_size = sorted(holes, key=lambda h: (h.diameter, h.id))
    parts = [
        f"{_numbers([h.id for h in group])} with {format_length(size, drills_in)}"
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


def place_name(place: Place) -> str:
    """What a leg starts from or ends in: hole 3, leg 2, edge or corner."""
    return place.kind if place.number is None else f"{place.kind} {place.number}"


def _start(leg: Leg) -> str:
    at_hole, start = leg.starts.kind == "hole", place_name(leg.starts)
    if leg.start_by == "turn":
        where = f"in {start}" if at_hole else "beyond the edge" if leg.starts == EDGE else ""
        return f"Turn the blade {where or 'in fallen waste'} and saw"
    if leg.start_by == "spin":
        return "Turn the blade in its kerf and saw"
    if leg.start_by in SAME_GO:
        return "Back out and saw"
    if at_hole:
        return (
            f"Thread the blade through {start} and saw" if leg.start_by == "thread" else f"From {start} saw"
        )
    if leg.starts == EDGE:
        return "From the panel's edge saw"
    if leg.start_by == "lift":
        return f"Put the blade back into the kerf of cut {leg.starts.number} and saw"
    return "Let the blade into fallen waste and saw"


def _course(legs: Sequence[Leg], where: str, name: str | None, opening: Opening | None) -> str:
    """Which way: round the opening, or along one side of it. name: of the opening, None where it is the only one."""
    if opening is not None:
        middle = complex(opening.region.centroid.x, opening.region.centroid.y)
        turned = math.fsum(_swept(leg.path, middle) for leg in legs)
        if abs(turned) > 1.2 * math.pi:
            return f"{'counter-clockwise' if turned > 0 else 'clockwise'} round {name or 'the opening'}"
    place = f"at the {where}" if where != "middle" else "in the middle"
    return f"{place} of {name}" if name else place


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
    """How often the blade is backed out, turned and lifted within the step; empty where it never is."""
    inner = legs[1:]
    backs, turns, spins = (sum(leg.start_by == kind for leg in inner) for kind in ("back", "turn", "spin"))
    lifts = sum(leg.start_by not in SAME_GO for leg in inner)
    parts = [
        f"back out {_times(backs)}" if backs else "",
        f"turn {_times(turns)} where there is room" if turns else "",
        f"turn {_times(spins)} in the kerf round the back of the blade" if spins else "",
        f"lift out {_times(lifts)}" if lifts else "",
    ]
    said = ", ".join(p for p in parts if p)
    return f"{said[0].upper()}{said[1:]}." if said else ""


def _times(n: int) -> str:
    return {1: "once", 2: "twice"}.get(n, f"{n} times")


def _hold(legs: Sequence[Leg], box: Sequence[float], units: Units) -> str | None:
    falling = (p for leg in legs for p in polygons_of(leg.drops))
    large = sorted((p for p in falling if p.area >= HELD), key=lambda p: -p.area)
    if not large:
        return None
    x0, y0, x1, y1 = large[0].bounds
    size = format_size(x1 - x0, y1 - y0, units, rule=True)
    if len(large) == 1:
        place = place_in(large[0], box)
        return f"Hold the piece {'in' if place == 'middle' else 'at'} the {place}, {size}: it falls."
    return f"Hold {len(large)} pieces as they fall, the largest {size}."
