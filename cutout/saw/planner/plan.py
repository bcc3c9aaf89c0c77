"""The cut plan: where to drill and in which order to saw."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import shapely
from shapely import affinity

from cutout.finding import Finding
from cutout.geom.curve import to_array
from cutout.kit import Kit
from cutout.pattern import Opening, Pattern
from cutout.saw.model import Hole, LeftOver, Leg, Plan, Role
from cutout.saw.planner.area import area_of
from cutout.saw.planner.by_hand import ByHand, by_hand_idle, by_hand_unused
from cutout.saw.planner.choose import ENTRY_MINUTES, Known, Way, best
from cutout.saw.planner.drill_out import cleared_by_drill, drill_out
from cutout.saw.planner.holes import choices, fewest
from cutout.saw.planner.left import left_over_of
from cutout.saw.planner.nibble import nibble, relief
from cutout.saw.planner.slit import slit_plan
from cutout.saw.planner.state import State
from cutout.units import format_length

MANY_NIBBLES = 12
"""From so many short cuts in one opening on the plan says that the blade is wide for it."""
REOPENINGS = 8
"""So often the places that still hold a piece are looked for and sawn again."""
TOUCHING = 0.02
"""Extra price of a hole that touches the outline: a drill that wanders shows there."""
WORTH_A_HOLE = 15.0
"""Once sawing has begun another hole is drilled only for this much outline (mm); less is nibbled."""
HOLE_MINUTES = 1.0
"""Marking and drilling one hole takes about this long (an estimate)."""


def plan(pattern: Pattern, kit: Kit, by_hand: Sequence[ByHand] = ()) -> Plan:
    """Holes and legs that cut `pattern` with the blade and drills of `kit`.

    by_hand: ((x, y), diameter) of holes the user wants, mm. What can't be planned is a finding.
    """
    if pattern.keep_mode == "both":
        drilled, cuts, notes = slit_plan(pattern, kit)
        loose, unused = by_hand_unused(by_hand, pattern, kit, len(drilled))
        return _assembled([*drilled, *loose], cuts, [*notes, *unused], [], kit)
    holes: list[Hole] = []
    legs: list[Leg] = []
    left: list[LeftOver] = []
    findings: list[Finding] = []
    for opening in _order(pattern):
        mine = [h for h in by_hand if opening.region.intersects(shapely.Point(h[0]))]
        local, origin = _local(opening)
        here = [((x - origin.real, y - origin.imag), d) for (x, y), d in mine]
        state = _saw_opening(local, pattern, kit, len(holes) + 1, len(legs) + 1, here)
        slivers, stops = left_over_of(state, kit)
        found = [
            *stops,
            *by_hand_idle(state, here, kit),
            *_much_nibbling(state, kit),
            *cleared_by_drill(state),
        ]
        holes.extend(replace(h, at=_moved(h.at, origin)) for h in _holes(state, opening))
        legs.extend(_legs(state, opening, origin))
        left.extend(replace(s, at=_moved(s.at, origin)) for s in slivers)
        findings.extend(replace(f, at=_moved(f.at, origin)) for f in found)
    outside = [
        h for h in by_hand if not any(o.region.intersects(shapely.Point(h[0])) for o in pattern.openings)
    ]
    loose, unused = by_hand_unused(outside, pattern, kit, len(holes))
    holes.extend(loose)
    findings.extend(unused)
    return _assembled(holes, legs, findings, left, kit)


def _local(opening: Opening) -> tuple[Opening, complex]:
    """The opening moved to the origin and rounded, so that its plan does not depend on where it lies."""
    if opening.at_edge:
        return opening, 0j
    x0, y0 = opening.region.bounds[:2]
    moved = shapely.transform(opening.region, lambda xy: np.round(xy - (x0, y0), 6))
    return replace(opening, region=moved), complex(x0, y0)


def _moved(at: tuple[float, float], by: complex) -> tuple[float, float]:
    return round(at[0] + by.real, 4), round(at[1] + by.imag, 4)


def _legs(state: State, opening: Opening, origin: complex) -> list[Leg]:
    return [
        Leg(
            state.first_leg + i, opening.id, to_array(cut.z + origin), cut.starts, cut.ends,
            affinity.translate(cut.drops, origin.real, origin.imag),
        )
        for i, cut in enumerate(state.cuts)
    ]  # fmt: skip


def _assembled(
    holes: list[Hole], legs: list[Leg], findings: list[Finding], left: list[LeftOver], kit: Kit
) -> Plan:
    length = math.fsum(float(np.hypot(*np.diff(leg.path, axis=0).T).sum()) for leg in legs)
    minutes = length / kit.blade.feed + len(legs) * ENTRY_MINUTES + len(holes) * HOLE_MINUTES
    return Plan(tuple(holes), tuple(legs), tuple(left), tuple(findings), length, len(legs), minutes)


def _order(pattern: Pattern) -> list[Opening]:
    """Small openings before large ones, which puts inner ones before those around them."""
    return sorted(pattern.openings, key=lambda o: (round(o.region.area, 3), o.id))


def _saw_opening(
    opening: Opening, pattern: Pattern, kit: Kit, first_hole: int, first_leg: int, by_hand: list[ByHand]
) -> State:
    state = State(area_of(opening, pattern.panel, kit.blade), kit.blade, first_leg, first_hole)
    for (x, y), size in by_hand:
        state.drill(complex(x, y), size)
    known: Known = {}
    last: complex | None = None
    reopened, helpful = 0, True
    diameter = kit.drills.at_least(kit.blade.hole_to_turn)
    while True:
        way = best(state, last, known)
        if way is None and state.done.all():
            reopened += 1
            if reopened > REOPENINGS or not state.reopen():
                break
            continue
        if way is None and state.cuts:
            left = float(np.count_nonzero(~state.done)) * state.area.step
            if helpful and left >= WORTH_A_HOLE:
                # What holes reach only shrinks: once none is worth it, none will be.
                way = _drilled(state, kit, WORTH_A_HOLE, known)
                helpful = way is not None
            if way is None and diameter is not None and (spot := relief(state, diameter)) is not None:
                state.drill(spot, diameter)
                continue
            way = way or nibble(state)
        if way is None:
            way = _drilled(state, kit, 0.0, known)
        if way is None:
            # Out of reach by any means known here: go on with the rest, what stays is reported.
            state.done[:] = True
            continue
        last = complex(way.z[-1])
        state.saw(way.z, way.starts, (way.covers,))
    drill_out(state, kit)
    return state


def _much_nibbling(state: State, kit: Kit) -> list[Finding]:
    """A word when an opening takes many short cuts: the blade is wide for it."""
    short = [cut for cut in state.cuts if cut.covers[0][0] < 0]
    if len(short) < MANY_NIBBLES:
        return []
    at = complex(short[0].z[-1])
    radius = format_length(kit.blade.turning_radius, kit.units)
    text = f"{len(short)} short cuts end against the outline of opening {state.area.id}, where it turns tighter than "
    return [
        Finding(
            "plan", "care", (round(at.real, 3), round(at.imag, 3)), None, None, state.area.id,
            f"{text}{radius}.",
            "They can be sawn as planned and filed smooth; a narrower blade or a larger silhouette needs far fewer.",
        )
    ]  # fmt: skip


def _drilled(state: State, kit: Kit, worth: float, known: Known) -> Way | None:
    """Drill the hole that helps most out of the fewest that would reach everything; the first leg from it.

    None, and no hole, if none helps to saw `worth` mm of outline.
    """
    diameter = kit.drills.at_least(kit.blade.hole_to_turn)
    choice = choices(state, diameter) if diameter is not None else None
    if diameter is None or choice is None:
        return None
    x0, y0, x1, y1 = shapely.bounds(state.area.region)
    # Leads are often equally long: the place in the opening settles it, wherever the opening lies.
    place = (0.6 * (choice.at.real - x0) + choice.at.imag - y0) / (x1 - x0 + y1 - y0)
    price = 2e-5 * np.minimum(choice.lead, 500.0) + TOUCHING * (choice.clear < 0.25) + 1e-5 * place
    rows, _ = fewest(choice.reaches, price)
    gain = choice.reaches[rows].sum(axis=1)
    for k in np.argsort(-gain, kind="stable")[:3].tolist():
        if gain[k] < 2 or float(gain[k]) * state.area.step < worth:
            return None
        before = state.before()
        name = state.drill(complex(choice.at[rows[k]]), diameter)
        way = best(state, complex(choice.at[rows[k]]), dict(known)) or (nibble(state) if state.cuts else None)
        if way is not None and way.starts == name:
            return way
        state.undrill(before)
    return None


def _holes(state: State, opening: Opening) -> list[Hole]:
    """The holes with what they are for.

    A starter lets the blade in, a relief hole touches the outline, a clearing hole takes waste away.
    """
    used = {cut.starts for cut in state.cuts}
    made = []
    for hole in state.holes:
        roles: list[Role] = []
        if hole.name in used:
            roles.append("starter")
        touch = (
            shapely.distance(state.area.line, shapely.Point(hole.at.real, hole.at.imag)) - hole.diameter / 2
        )
        if hole.clears:
            roles.append("clearing")
        elif touch < 0.1 or not roles:
            roles.append("relief")
        at = (round(hole.at.real, 4), round(hole.at.imag, 4))
        made.append(Hole(int(hole.name.split()[1]), at, hole.diameter, tuple(roles), opening.id))
    return made
