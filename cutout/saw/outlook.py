"""What sawing a pattern would be like with a blade, without planning it: enough to say which one to take."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

from cutout.check.loose_piece import loose_pieces
from cutout.errors import LayoutError
from cutout.kit import Blade, Kit
from cutout.pattern import Pattern
from cutout.pattern.placing import placed
from cutout.saw.model import Plan
from cutout.saw.planner.area import fewest_stretches, stretches_of
from cutout.saw.planner.hand import Prices
from cutout.units import count, format_minutes

ARRIVAL = 20.0
"""Seconds from the end of one stretch onto the next, in the median of planned silhouettes: a lead and a move."""
WORTH_IT = 0.7
"""Another blade is named where it takes less than this share of the cuts ..."""
NO_SLOWER = 1.2
"""... and no more than so many times the minutes of the plan."""
_ALL_BUT = 0.8
"""Share of the outlines that stretches cover at least: sharp points and edges of the panel are not sawn along."""
MANY = 30
"""From so many cuts on it is worth looking for another blade."""


MOST_CUTS = 250, 3000
"""So many cuts are planned at most in one opening, and in all: more take the planner minutes, and the sawyer days."""
BEFORE_MENDING = 2
"""Before mending so many times as many are taken where pieces are loose: their bridges part openings in two."""
AFTER_MENDING = 1.25
"""After it a few more are: what was not refused then is not refused late for a cut or two."""


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
        found = stretches_of(*placed(opening, pattern.panel)[:2], kit.blade, kit.allow)
        ends = sum(sum(s.inside) for s in found if not s.closed)
        # A stretch that ends in inside corners at both ends is arrived at from both sides.
        mine = max(len(found), len(found) / 2 + ends / 2)
        length = math.fsum(s.length for s in found)
        seconds += length * prices.cut + _letting_in(prices) + ARRIVAL * mine
        cuts += math.ceil(mine)
    return Outlook(kit.blade, cuts, seconds / 60)


def _letting_in(prices: Prices) -> float:
    """Seconds an opening takes before any of it is sawn: its hole, and the blade put into it."""
    return prices.moves.hole + (prices.moves.thread if prices.moves.threads else prices.moves.drop_in)


def refuse_endless(pattern: Pattern, kit: Kit, *, mended: bool) -> None:
    """Raise LayoutError, soon, where the blade would need more cuts than can be planned.

    mended: the pattern is as it will be sawn.
    """
    if pattern.keep_mode == "both":
        return
    times = AFTER_MENDING if mended else BEFORE_MENDING if loose_pieces(pattern) else 1
    most_of_one, most = (math.floor(times * cuts) for cuts in MOST_CUTS)
    cuts = 0
    for opening in pattern.openings:
        mine = fewest_stretches(opening, pattern.panel, kit.blade, kit.allow)
        cuts += mine
        if mine > most_of_one:
            raise _endless(kit, mine, "one opening", most_of_one)
        if cuts > most:
            raise _endless(kit, cuts, "all", most)


def _endless(kit: Kit, least: int, place: str, most: int) -> LayoutError:
    return LayoutError(
        f"the {kit.blade.title} would take {least} cuts or more in {place}, at most {most} are taken: leave the "
        "finest detail out, make the silhouette larger, or choose a blade that turns more tightly."
    )


def advice(pattern: Pattern, kit: Kit, others: Iterable[Kit], plan: Plan) -> str | None:
    """A sentence on the blade that needs far fewer cuts in about the same time, or None.

    plan: the one with this blade.
    """
    planned = len(plan.legs)
    if planned < MANY:
        return None
    most = NO_SLOWER * plan.minutes
    likely = [
        (other, least)
        for other in others
        if other.blade.turning_radius < kit.blade.turning_radius
        and _least_minutes(pattern, other, 0) < most
        and _least_minutes(pattern, other, least := sum(_fewest(other, pattern))) < most
    ]
    if not likely:
        return None
    few = WORTH_IT * outlook(pattern, kit).cuts
    found = (outlook(pattern, other) for other, least in likely if least < few)
    better = [o for o in found if o.cuts < few and o.minutes < most]
    if not better:
        return None
    best = min(better, key=lambda o: (o.minutes, o.cuts))
    that, this = format_minutes(best.minutes), format_minutes(plan.minutes)
    return (
        f"With the {best.blade.title} it would take about {count(best.cuts, 'cut')} and {that}, "
        f"with this blade {planned} and {this} (estimates); `--blade {best.blade.name}` plans it."
    )


def _fewest(kit: Kit, pattern: Pattern) -> list[int]:
    """Cuts each opening takes at least, told without fitting."""
    return [fewest_stretches(o, pattern.panel, kit.blade, kit.allow) for o in pattern.openings]


def _least_minutes(pattern: Pattern, kit: Kit, cuts: int) -> float:
    """Minutes that sawing takes at least where it takes so many cuts or more: what `outlook` comes to is no less, and
    takes a fit of every line."""
    prices = Prices.of(kit.moves, kit.feed(pattern.panel.sawn))
    length = _ALL_BUT * math.fsum(o.region.length for o in pattern.openings)
    seconds = length * prices.cut + _letting_in(prices) * len(pattern.openings) + ARRIVAL * cuts
    return seconds / 60
