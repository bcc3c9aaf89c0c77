"""What sawing a pattern would be like with a blade, without planning it: enough to say which one to take."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

from cutout.kit import Blade, Kit
from cutout.pattern import Pattern
from cutout.saw.model import Plan
from cutout.saw.planner.area import area_of
from cutout.saw.planner.hand import Prices
from cutout.units import count

ARRIVAL = 20.0
"""Seconds from the end of one stretch onto the next, in the median of planned silhouettes: a lead and a move."""
WORTH_IT = 0.7
"""Another blade is named where it takes less than this share of the cuts ..."""
NO_SLOWER = 1.2
"""... and no more than so many times the minutes of the plan."""
MANY = 30
"""From so many cuts on it is worth looking for another blade."""


@dataclass(frozen=True, slots=True)
class Outlook:
    """About how many cuts a blade needs, and about how many minutes; an estimate."""

    blade: Blade
    cuts: int
    minutes: float


def outlook(pattern: Pattern, kit: Kit) -> Outlook:
    """The fewest stretches of every opening, with what arriving at each takes."""
    prices = Prices.of(kit.moves, kit.feed(pattern.panel.sawn))
    cuts, seconds = 0, 0.0
    for opening in pattern.openings:
        area = area_of(opening, pattern.panel, kit.blade, kit.allow)
        ends = sum(sum(s.inside) for s in area.stretches if not s.closed)
        # A stretch that ends in inside corners at both ends is arrived at from both sides.
        mine = max(len(area.stretches), len(area.stretches) / 2 + ends / 2)
        length = math.fsum(s.length for s in area.stretches)
        put_in = prices.moves.thread if prices.moves.threads else prices.moves.drop_in
        seconds += length * prices.cut + prices.moves.hole + put_in + ARRIVAL * mine
        cuts += math.ceil(mine)
    return Outlook(kit.blade, cuts, seconds / 60)


def advice(pattern: Pattern, kit: Kit, others: Iterable[Kit], plan: Plan) -> str | None:
    """A sentence on the blade that needs far fewer cuts in about the same time, or None.

    plan: the one with this blade.
    """
    planned = len(plan.legs)
    if planned < MANY:
        return None
    mine = outlook(pattern, kit)
    better = [o for o in (outlook(pattern, other) for other in others) if o.cuts < WORTH_IT * mine.cuts]
    better = [o for o in better if o.minutes < NO_SLOWER * plan.minutes]
    if not better:
        return None
    best = min(better, key=lambda o: (o.minutes, o.cuts))
    return (
        f"With the {best.blade.title} it would take about {count(best.cuts, 'cut')} and {best.minutes:.0f} minutes, "
        f"with this blade {planned} and {plan.minutes:.0f} (estimates); `--blade {best.blade.name}` plans it."
    )
