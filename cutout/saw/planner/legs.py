"""From the cuts of a walk to the legs of a plan: what simply goes on is one leg; what it all takes."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from cutout.geom.curve import ComplexArray, run_length, stations, to_array
from cutout.pattern.placing import Placing
from cutout.saw.model import PATH_PLACES, SAME_GO, Hole, Leg, Place
from cutout.saw.planner.hand import Prices
from cutout.saw.planner.state import HAIR, Cut, State


@dataclass(frozen=True, slots=True)
class Takes:
    """What a plan takes: minutes by kind of move, goes, and lifts; and minutes of each leg by its number."""

    minutes_by: dict[str, float]
    goes: int
    lifts: int
    by_leg: dict[int, float]

    @property
    def minutes(self) -> float:
        """All of it."""
        return math.fsum(self.minutes_by.values())


def legs_of(state: State, opening: int, placing: Placing) -> list[Leg]:
    """The legs of one opening, moved to its place on the panel; their drops are left empty."""
    groups = _groups(state.cuts)
    number = {k: state.first_leg + n for n, group in enumerate(groups) for k in group}
    legs = []
    for n, group in enumerate(groups):
        first, last = state.cuts[group[0]], state.cuts[group[-1]]
        z = _combed(_one_path([state.cuts[k] for k in group], state.blade.width / 2))
        legs.append(
            Leg(
                order=state.first_leg + n,
                opening=opening,
                path=to_array(np.round(placing.back(z), PATH_PLACES)),
                starts=_renamed(first.starts, state, number),
                ends=_renamed(last.ends, state, number),
                start_by=first.start_by,
                turned=placing.angle_back(first.turned),
            )
        )
    return legs


def _groups(cuts: Sequence[Cut]) -> list[list[int]]:
    """Numbers of the cuts that make one leg each."""
    groups: list[list[int]] = []
    for k, cut in enumerate(cuts):
        if cut.start_by == "on":
            groups[-1].append(k)
        else:
            groups.append([k])
    return groups


def _one_path(cuts: Sequence[Cut], overlap: float) -> ComplexArray:
    """The paths of cuts that go on from one another, each without what it shares with the one before."""
    z = cuts[0].z
    for cut in cuts[1:]:
        shared = min(overlap, run_length(z))
        z = np.concatenate([z, cut.z[stations(cut.z) > shared + 1e-3]])
    return z


def _combed(z: ComplexArray) -> ComplexArray:
    """The path (n,) without its hairs; its ends stay."""
    kept = [0]
    for k in range(1, len(z)):
        if abs(z[k] - z[kept[-1]]) >= HAIR:
            kept.append(k)
    if kept[-1] != len(z) - 1:
        # The end takes the place of the point it was too near to, unless that is the beginning.
        kept[len(kept) - 1 if len(kept) > 1 else 1 :] = [len(z) - 1]
    return np.asarray(z[kept])


def _renamed(place: Place, state: State, number: dict[int, int]) -> Place:
    """The same place; a cut becomes the leg it is part of."""
    if place.kind != "leg" or place.number is None:
        return place
    return Place("leg", number[place.number - state.first_leg])


def takes(legs: Sequence[Leg], seconds: Sequence[float], holes: Sequence[Hole], prices: Prices) -> Takes:
    """What sawing and drilling take. seconds: what the move before each leg does."""
    by = dict.fromkeys(("saw", "back", "turn", "drop in", "lift", "thread", "drill"), 0.0)
    by["saw"] = math.fsum(leg.length for leg in legs) * prices.cut
    for leg, taken in zip(legs, seconds, strict=True):
        by[{"on": "saw", "spin": "turn"}.get(leg.start_by, leg.start_by)] += taken
    sizes = {h.diameter for h in holes}
    by["drill"] = prices.moves.hole * len(holes) + prices.moves.change * max(len(sizes) - 1, 0)
    goes = sum(leg.start_by not in SAME_GO for leg in legs)
    lifts = sum(leg.start_by in ("lift", "thread") for leg in legs)
    by_leg = {
        leg.order: (leg.length * prices.cut + taken) / 60 for leg, taken in zip(legs, seconds, strict=True)
    }
    return Takes({k: v / 60 for k, v in by.items()}, goes, lifts, by_leg)
