"""What a plan costs the sawyer, by one rule of pricing whatever the plan itself reckons with.

Prices: cut 400 mm/min (200 on a scroll saw), back three times as fast, turn 5 s, drop in 20 s, lift 45 s, thread
120 s, hole 45 s. Common practice, no source (docs/explanation/plan.md).
"""

from __future__ import annotations

from collections import Counter

import numpy as np

from cutout.kit import Kit
from cutout.pattern import Pattern
from cutout.saw.model import Plan
from cutout.saw.planner.area import Area, area_of

SECONDS = {"back": 5.0, "turn": 5.0, "spin": 5.0, "drop in": 20.0, "lift": 45.0, "thread": 120.0}
HOLE = 45.0
SHORT = 10.0


def feed(kit: Kit) -> float:
    """Feed (mm a minute) by the rule."""
    return 200.0 if kit.moves.threads else 400.0


def minutes(made: Plan, kit: Kit) -> float:
    """Minutes a plan takes by the rule; a start in its own kerf counts 5 s, backing included."""
    moves = sum(SECONDS[leg.start_by] for leg in made.legs)
    return made.cut_length / feed(kit) + (moves + HOLE * len(made.holes)) / 60


def true_bound(pattern: Pattern, kit: Kit) -> float:
    """No plan is quicker: the line once, a hole and a drop-in an opening. Weak, but a bound."""
    length = sum(o.region.length for o in pattern.openings)
    return length / feed(kit) + len(pattern.openings) * (HOLE + SECONDS["drop in"]) / 60


def least_legs(pattern: Pattern, kit: Kit, made: Plan) -> int:
    """Arrivals that are needed with the plan's own holes.

    A run of line between two inside corners the blade can't round within the band is arrived at from both ends, from
    one where a hole to turn in lies at the other; a ring without such corners is arrived at once.
    """
    return sum(
        _least_of(area_of(o, pattern.panel, kit.blade, kit.allow), kit, made) for o in pattern.openings
    )


def _least_of(area: Area, kit: Kit, made: Plan) -> int:
    ends = [complex(s.z[np.searchsorted(s.s, 0.0)]) for s in area.stretches if not s.closed and s.inside[0]]
    rings = sum(len(p.interiors) + 1 for p in area.centres.geoms)
    if not ends:
        return rings
    holes = [(complex(*h.at), h.diameter / 2) for h in made.holes if h.diameter >= kit.blade.hole_to_turn]
    at_hole = sum(any(abs(z - at) < r + kit.blade.kerf for at, r in holes) for z in ends)
    return max(2 * len(ends) - at_hole, rings)


def columns(pattern: Pattern, kit: Kit, made: Plan) -> dict[str, float]:
    """The figures of one plan."""
    rings = sum(1 + len(o.region.interiors) for o in pattern.openings)
    by = Counter(leg.start_by for leg in made.legs)
    length = sum(o.region.length for o in pattern.openings)
    return {
        "rings": rings,
        "bound": least_legs(pattern, kit, made),
        "goes": made.goes,
        "lifts": by["lift"] + by["thread"],
        "steps": len(made.steps),
        "minutes": minutes(made, kit),
        "least": true_bound(pattern, kit),
        "length": made.cut_length / max(length, 1e-9),
        "short": sum(leg.length < SHORT for leg in made.legs),
        "falls": sum(leg.drops.area for leg in made.legs),
    }
