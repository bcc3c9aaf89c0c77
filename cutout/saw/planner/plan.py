"""The cut plan: where to drill and in which order to saw."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache, partial
from itertools import pairwise

import numpy as np
import shapely

from cutout.finding import Facts, Finding
from cutout.kit import Kit
from cutout.pattern import Opening, Panel, Pattern
from cutout.pattern.placing import SPOT_PLACES, Placing, placed
from cutout.processes import Task, abreast
from cutout.saw.model import Hole, LeftOver, Leg, Place, Plan, Role, Step
from cutout.saw.planner.area import area_of
from cutout.saw.planner.by_hand import ByHand, by_hand_idle, by_hand_unused
from cutout.saw.planner.choose import Chosen, Known
from cutout.saw.planner.choose import best as best_leg
from cutout.saw.planner.drill_out import cleared_by_drill, drill_out
from cutout.saw.planner.falls import with_falls
from cutout.saw.planner.hand import Hand, Prices
from cutout.saw.planner.holes import choices, fewest
from cutout.saw.planner.left import left_over_of
from cutout.saw.planner.legs import Takes, legs_of, takes
from cutout.saw.planner.nibble import nibble, relief
from cutout.saw.planner.regroup import regrouped
from cutout.saw.planner.slit import slit_plan
from cutout.saw.planner.state import Drilled, State
from cutout.saw.planner.steps import steps_of
from cutout.saw.telling import Tell, part, rising, untold

MANY_NIBBLES = 12
"""From so many short cuts in one opening on the plan says that the blade is wide for it."""
SHORT = 10.0
"""Before a shorter cut (mm) is sawn it is asked whether a file does it sooner."""
REOPENINGS = 8
"""So often the places that still hold a piece are looked for and sawn again."""
TOUCHING = 0.02
"""Extra price of a hole that touches the outline: a drill that wanders shows there."""
WORTH_A_HOLE = 15.0
"""Once sawing has begun another hole is drilled only for this much outline (mm); less is nibbled."""
A_STROKE, LEAST_STROKE = 0.25, 0.25
"""A spot of no more than this share of a square as wide as the kerf, or of this area (mm^2), goes with the filing of
the line itself, which has its allowance all along: it does not count. Common practice, no source."""
WORTH_A_WORD = 1000.0
"""So much sawing (mm) beyond the outline is a trifle, however short that is."""
RELUCTANCE, MOST_CUTS = 3.0, 80
"""An opening begun more than once is walked again as if lifting took so many times as long, up to so many cuts."""
ROUNDS = 3
"""An opening is walked this often at most, each time with the holes that the walk before found useful."""
ONCE = 150
"""One that took so many cuts is not walked again: that would take minutes for a few holes less."""
TOLD = (0.05, 0.45, 0.8, 0.95, 1.0)
"""For those who are told how far it has come: the share of an opening's planning after its line is fitted and after
each walk. Most openings are walked twice."""
WORTH_A_PROCESS = 150.0
"""So much outline (mm) is worth planning in a process of its own: about ten times what starting that takes."""
ROOM = (8.0, 0.0, 8.0)
"""So many seconds it is worth to each of these walks to make room to turn in: a long lead now, short ones later.
Which is the quicker no rule tells."""


@dataclass(frozen=True, slots=True)
class NoPlan(Facts):
    """Nobody would saw it like this; each None where it is not at fault.

    sawn: (sawing, outline), mm. spots: left for the file. minutes: at the saw.
    """

    sawn: tuple[float, float] | None
    spots: int | None
    minutes: float | None


@dataclass(frozen=True, slots=True)
class ManyShortCuts(Facts):
    """Many short cuts end against the outline of an opening. turns: the blade's turning radius (mm)."""

    count: int
    turns: float


def plan(pattern: Pattern, kit: Kit, by_hand: Sequence[ByHand] = (), tell: Tell = untold) -> Plan:
    """Holes and legs that cut `pattern` with the blade and drills of `kit`.

    by_hand: ((x, y), diameter) of holes the user wants, mm. What can't be planned is a finding. tell: called with
    the share that is done, which rises to 1.
    """
    tell = rising(tell)
    made = _planned(pattern, kit, by_hand, tell)
    tell(1.0)
    return made


def _planned(pattern: Pattern, kit: Kit, by_hand: Sequence[ByHand], tell: Tell) -> Plan:
    if pattern.keep_mode == "both":
        drilled, cuts, notes = slit_plan(pattern, kit)
        loose, unused = by_hand_unused(by_hand, pattern, kit, len(drilled))
        prices = Prices.of(kit.moves, kit.feed(pattern.panel.sawn))
        put_in = kit.moves.thread if kit.moves.threads else kit.moves.drop_in
        taken = takes(cuts, [put_in] * len(cuts), drilled, prices)
        steps = steps_of([*drilled, *loose], cuts, pattern, taken)
        return _assembled([*drilled, *loose], cuts, [*notes, *unused], [], taken, steps)
    prices = Prices.of(kit.moves, kit.feed(pattern.panel.sawn))
    holes: list[Hole] = []
    legs: list[Leg] = []
    seconds: list[float] = []
    left: list[LeftOver] = []
    findings: list[Finding] = []
    for opening, placing, here, sawn in _all_sawn(pattern, kit, by_hand, tell):
        state = sawn.numbered(opening.id, (len(holes) + 1, len(legs) + 1))
        slivers, stops = left_over_of(state, kit)
        found = [
            *stops,
            *by_hand_idle(state, here, kit),
            *_much_nibbling(state, kit),
            *cleared_by_drill(state),
        ]
        holes.extend(replace(h, at=placing.spot_back(h.at)) for h in _holes(state, opening))
        legs.extend(legs_of(state, opening.id, placing))
        seconds.extend(cut.seconds for cut in state.cuts if cut.start_by != "on")
        left.extend(replace(s, at=placing.spot_back(s.at)) for s in slivers)
        findings.extend(replace(f, at=placing.spot_back(f.at)) for f in found)
    outside = [
        h for h in by_hand if not any(o.region.intersects(shapely.Point(h[0])) for o in pattern.openings)
    ]
    loose, unused = by_hand_unused(outside, pattern, kit, len(holes))
    holes.extend(loose)
    findings.extend(unused)
    legs = with_falls(legs, holes, pattern, kit.blade)
    taken = takes(legs, seconds, holes, prices)
    findings += _no_plan(legs, left, taken, pattern, kit)
    return _assembled(holes, legs, findings, left, taken, steps_of(holes, legs, pattern, taken))


def _no_plan(
    legs: Sequence[Leg], left: Sequence[LeftOver], taken: Takes, pattern: Pattern, kit: Kit
) -> list[Finding]:
    """A stop where nobody would saw it like this: far too much sawing, filing or time."""
    stroke = max(A_STROKE * kit.blade.kerf**2, LEAST_STROKE)
    spots = sum(spot.area > stroke for spot in left)
    outline = math.fsum(o.region.length for o in pattern.openings)
    sawn = math.fsum(leg.length for leg in legs)
    most = kit.limits
    much = sawn > most.sawing * outline and sawn > outline + WORTH_A_WORD
    facts = NoPlan(
        sawn=(sawn, outline) if much else None,
        spots=spots if spots / max(1, len(pattern.openings)) > most.file_spots else None,
        minutes=taken.minutes if taken.minutes > 60 * most.hours else None,
    )
    if facts == NoPlan(None, None, None) or not legs:
        return []
    x, y = legs[0].path[0].tolist()
    return [Finding(kind="plan", severity="stop", at=(round(x, 3), round(y, 3)), facts=facts)]


def _assembled(
    holes: list[Hole],
    legs: list[Leg],
    findings: list[Finding],
    left: list[LeftOver],
    taken: Takes,
    steps: tuple[Step, ...],
) -> Plan:
    return Plan(
        holes=tuple(holes),
        legs=tuple(legs),
        left_over=tuple(left),
        findings=tuple(findings),
        cut_length=math.fsum(leg.length for leg in legs),
        entries=taken.goes,
        minutes=taken.minutes,
        steps=steps,
        goes=taken.goes,
        lifts=taken.lifts,
        minutes_by=taken.minutes_by,
    )


def _order(pattern: Pattern) -> list[Opening]:
    """Small openings before large ones, which puts inner ones before those around them."""
    return sorted(pattern.openings, key=lambda o: (round(o.region.area, 3), o.id))


def _all_sawn(
    pattern: Pattern, kit: Kit, by_hand: Sequence[ByHand], tell: Tell
) -> list[tuple[Opening, Placing, list[ByHand], State]]:
    """Every opening, sawn, in the order of sawing: how it is planned lies, holes placed by hand there, and the work.

    An opening depends on no other: they are planned side by side where that is worth it. One away from the panel's
    edge is known again wherever it lay before.
    """
    kit = kit.to_saw_by
    asked = []
    for opening in _order(pattern):
        mine = [h for h in by_hand if opening.region.intersects(shapely.Point(h[0]))]
        local, panel, placing = placed(opening, pattern.panel)
        asked.append((opening, local, panel, placing, [(placing.spot_there(at), d) for at, d in mine]))
    slots: list[list[State]] = [
        [] if local.at_edge else _remembered(_Asked(local.region.wkb, pattern.panel.sawn, kit, tuple(here)))
        for _, local, _, _, here in asked
    ]
    # Openings of the same shape are worked out once.
    fresh = {id(slot): n for n, slot in reversed(list(enumerate(slots))) if not slot}

    def work(n: int) -> Task[State]:
        _, local, panel, _, here = asked[n]
        return lambda tell: _saw_opening(local, panel, kit, here, tell)

    rows = sorted(fresh.values())
    sizes = [asked[n][1].region.length for n in rows]
    for n, state in zip(rows, abreast([work(n) for n in rows], sizes, tell, WORTH_A_PROCESS), strict=True):
        slots[n].append(state)
    return [(o, placing, here, slot[0]) for (o, _, _, placing, here), slot in zip(asked, slots, strict=True)]


@dataclass(frozen=True, slots=True)
class _Asked:
    """An opening to be sawn: two are equal where all that its plan depends on is."""

    shape: bytes
    sawn: float
    kit: Kit
    by_hand: tuple[ByHand, ...]


@lru_cache(maxsize=32)
def _remembered(asked: _Asked) -> list[State]:
    """Where the opening is kept once it is sawn; empty until then."""
    return []


def _saw_opening(
    opening: Opening,
    panel: Panel,
    kit: Kit,
    by_hand: Sequence[ByHand],
    tell: Tell,
) -> State:
    """One opening sawn: walked once to find where holes help, then again with all of them open from the start.

    Its holes and legs are numbered from 1. tell: of the share of this opening that is done.
    """
    area = area_of(opening, panel, kit.blade, kit.allow)
    tell(TOLD[0])
    walks = [part(tell, begins, ends) for begins, ends in pairwise(TOLD)]
    prices = Prices.of(kit.moves, kit.feed(panel.sawn))
    fresh = partial(State, area, kit.blade, 1, 1, spins=kit.moves.spins)
    holes = [(complex(*at), size) for at, size in by_hand]
    best: State | None = None
    for n in range(ROUNDS):
        state = _walked(fresh(), kit, replace(prices, room=ROOM[n]), holes, walks[n])
        state = min([state, *regrouped(state, fresh, prices)], key=lambda s: _seconds(s, prices))
        if best is None or _seconds(state, prices) < _seconds(best, prices) - 1e-6:
            best = state
        needed = _needed(state, len(by_hand))
        if (needed == holes and n > 0) or len(state.cuts) >= ONCE:
            break
        holes = needed
    assert best is not None
    if len(best.cuts) <= MOST_CUTS and best.goes > 1:
        again = replace(prices, reluctance=RELUCTANCE, room=ROOM[0])
        state = _walked(fresh(), kit, again, _needed(best, len(by_hand)), walks[ROUNDS])
        best = min([best, state, *regrouped(state, fresh, prices)], key=lambda s: _seconds(s, prices))
    drill_out(best, kit)
    best.forget()
    return best


def _needed(state: State, by_hand: int) -> list[tuple[complex, float]]:
    """The holes a walk really used: those placed by hand, those a leg starts from, those that take outline away."""
    used = {cut.starts for cut in state.cuts} | {cut.ends for cut in state.cuts}
    relief = {h.place for h in state.holes if _touches(state, h)}
    return [
        (h.at, h.diameter)
        for n, h in enumerate(state.holes)
        if n < by_hand or h.place in used or h.place in relief
    ]


def _touches(state: State, hole: Drilled) -> bool:
    away = shapely.distance(state.area.line, shapely.Point(hole.at.real, hole.at.imag)) - hole.diameter / 2
    return bool(away < 0.1)


def _seconds(state: State, prices: Prices) -> float:
    """What an opening takes, and a lot more for what is left in it."""
    sawn = math.fsum(cut.length * prices.cut + cut.seconds for cut in state.cuts)
    left = math.fsum(p.area for p in state.held() if not state.for_the_file(p))
    return sawn + prices.moves.hole * len(state.holes) + 20.0 * left


def _walked(
    state: State, kit: Kit, prices: Prices, holes: Sequence[tuple[complex, float]], tell: Tell
) -> State:
    """Saw everything that can be sawn, the cheapest leg first; further holes where they save more than they cost.

    tell: of the share of the outline that is clean.
    """
    for at, size in holes:
        state.drill(at, size)
    hand = Hand.of(state, prices)
    known = Known()
    reopened, helpful = 0, True
    while True:
        tell(float(state.done.mean()))
        chosen = best_leg(hand, known)
        if chosen is None and state.done.all():
            reopened += 1
            if reopened > REOPENINGS or not state.reopen():
                return state
            known.idle.clear()
            continue
        if chosen is None and state.cuts:
            left = float(np.count_nonzero(~state.done)) * state.area.step
            if helpful and left >= WORTH_A_HOLE:
                # What holes reach only shrinks: once none is worth it, none will be.
                chosen = _drilled(hand, kit, WORTH_A_HOLE, known)
                helpful = chosen is not None
            if chosen is None and (spot := relief(state, _sizes(kit))) is not None:
                state.drill(*spot)
                continue
            chosen = chosen or nibble(hand)
        if chosen is None:
            chosen = _drilled(hand, kit, 0.0, known)
        if chosen is None:
            # Out of reach by any means known here: go on with the rest, what stays is reported.
            state.done[:] = True
            continue
        if chosen.way.length < SHORT and state.leave_to_the_file(state.fresh(chosen.way.z)):
            continue
        if not state.is_worth_sawing(chosen.way.z):
            state.done[state.passed(state.pushed(chosen.way.z))] = True
            continue
        state.saw(
            chosen.way.z, _starts(state, chosen), chosen.way.along, chosen.move, chosen.way.turned or 0.0
        )


def _starts(state: State, chosen: Chosen) -> Place:
    """What a leg starts from."""
    if chosen.way.place is not None:
        return chosen.way.place[1]
    assert chosen.move.parent is not None
    return Place("leg", state.first_leg + chosen.move.parent[0])


def _sizes(kit: Kit) -> tuple[float, ...]:
    """Drills for relief holes: a few in which the blade turns, up to three times the smallest of them."""
    least = kit.blade.hole_to_turn
    able = [d for d in kit.drills.apart(least) if d >= least - 1e-6]
    return tuple(d for d in able if d <= 3 * able[0])


def _much_nibbling(state: State, kit: Kit) -> list[Finding]:
    """A word when an opening takes many short cuts: the blade is wide for it."""
    short = [cut for cut in state.cuts if cut.along is None]
    if len(short) < MANY_NIBBLES:
        return []
    at = complex(short[0].z[-1])
    return [
        Finding(
            kind="plan",
            severity="care",
            at=(round(at.real, 3), round(at.imag, 3)),
            opening=state.area.id,
            facts=ManyShortCuts(len(short), kit.blade.turning_radius),
        )
    ]


def _drilled(hand: Hand, kit: Kit, worth: float, known: Known) -> Chosen | None:
    """Drill the hole that helps most out of the fewest that would reach everything; the first leg from it.

    None, and no hole, if none helps to saw `worth` mm of outline.
    """
    state = hand.state
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
        hole = state.drill(complex(choice.at[rows[k]]), diameter)
        chosen = best_leg(hand, known.copied()) or (nibble(hand) if state.cuts else None)
        if chosen is not None and chosen.way.place is not None and chosen.way.place[1] == hole:
            return chosen
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
        if hole.place in used:
            roles.append("starter")
        touch = (
            shapely.distance(state.area.line, shapely.Point(hole.at.real, hole.at.imag)) - hole.diameter / 2
        )
        if hole.clears:
            roles.append("clearing")
        elif touch < 0.1 or not roles:
            roles.append("relief")
        at = (round(hole.at.real, SPOT_PLACES), round(hole.at.imag, SPOT_PLACES))
        made.append(Hole(hole.number, at, hole.diameter, tuple(roles), opening.id))
    return made
