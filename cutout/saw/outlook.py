"""What sawing a pattern would be like with a blade, without planning it: enough to say which one to take."""

from __future__ import annotations

import math
from collections.abc import Collection, Iterable
from dataclasses import dataclass

from cutout.check.loose_piece import loose_pieces
from cutout.errors import LayoutError
from cutout.kit import Blade, Kit
from cutout.pattern import Opening, Panel, Pattern
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


MOST_DIFFERENT = 500
"""Openings, and the cuts these take at least, that are worked out one by one; equal openings count once."""
DIFFERENT_AFTER_MENDING = 1.6
"""After mending so many times as many: it parts openings that bridges cross, and makes equal ones differ."""


@dataclass(frozen=True, slots=True)
class Outlook:
    """About how many cuts a blade needs, and about how many minutes; an estimate."""

    blade: Blade
    cuts: int
    minutes: float


def outlook(pattern: Pattern, kit: Kit) -> Outlook:
    """The fewest stretches of every opening, with what arriving at each takes."""
    prices = Prices.of(kit.moves, kit.feed(pattern.panel.sawn))
    found = [_of_one(opening, pattern.panel, kit, prices) for opening in pattern.openings]
    return Outlook(kit.blade, sum(cuts for cuts, _ in found), math.fsum(s for _, s in found) / 60)


def _of_one(opening: Opening, panel: Panel, kit: Kit, prices: Prices) -> tuple[int, float]:
    """Cuts and seconds that one opening takes."""
    found = stretches_of(*placed(opening, panel)[:2], kit.blade, kit.allow)
    ends = sum(sum(s.inside) for s in found if not s.closed)
    # A stretch that ends in inside corners at both ends is arrived at from both sides.
    mine = max(len(found), len(found) / 2 + ends / 2)
    return math.ceil(mine), _seconds(prices, math.fsum(s.length for s in found), mine)


def _seconds(prices: Prices, length: float, cuts: float) -> float:
    """What sawing `length` mm in so many cuts of one opening takes."""
    put_in = prices.moves.thread if prices.moves.threads else prices.moves.drop_in
    return length * prices.cut + prices.moves.hole + put_in + ARRIVAL * cuts


def refuse_endless(pattern: Pattern, kit: Kit, *, mended: bool) -> None:
    """Raise LayoutError, soon, where the blade would need more cuts than can be planned.

    mended: the pattern is as it will be sawn.
    """
    if pattern.keep_mode == "both":
        return
    times = AFTER_MENDING if mended else BEFORE_MENDING if loose_pieces(pattern) else 1
    most_of_one, most = (math.floor(times * cuts) for cuts in MOST_CUTS)
    cuts = 0
    # Of openings that measure the same the one and its cuts count once.
    different: dict[tuple[float, float, int], int] = {}
    most_different = math.floor(MOST_DIFFERENT * (DIFFERENT_AFTER_MENDING if mended else 1))
    for opening in pattern.openings:
        mine = fewest_stretches(opening, pattern.panel, kit.blade, kit.allow)
        cuts += mine
        different[_measures(opening)] = 1 + mine
        if len(different) > 1 and sum(different.values()) > most_different:
            raise _too_different(different.values(), most_different)
        if mine > most_of_one:
            raise _endless(kit, mine, "one opening", most_of_one)
        if cuts > most:
            raise _endless(kit, cuts, "all", most)


def _measures(opening: Opening) -> tuple[float, float, int]:
    """What equal openings have in common, however they lie."""
    region = opening.region
    return round(region.area, 2), round(region.length, 2), len(region.exterior.coords)


def _too_different(different: Collection[int], most: int) -> LayoutError:
    return LayoutError(
        f"the first {len(different)} different openings alone would take {sum(different) - len(different)} cuts or "
        f"more: of openings and cuts together at most {most} are worked out one by one. Leave the smallest "
        "spots out, smooth the picture, or make several panels of it."
    )


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
    likely = [other for other in others if _may_be_better(other, kit, pattern, most)]
    if not likely:
        return None
    few = WORTH_IT * outlook(pattern, kit).cuts
    better = [o for other in likely if (o := _within(pattern, other, few, most)) is not None]
    if not better:
        return None
    best = min(better, key=lambda o: (o.minutes, o.cuts))
    that, this = format_minutes(best.minutes), format_minutes(plan.minutes)
    return (
        f"With the {best.blade.title} it would take about {count(best.cuts, 'cut')} and {that}, "
        f"with this blade {planned} and {this} (estimates); `--blade {best.blade.name}` plans it."
    )


def _within(pattern: Pattern, kit: Kit, few: float, most: float) -> Outlook | None:
    """The outlook of a blade that takes fewer cuts than `few` and less than `most` minutes; else None, told soon.

    One opening after the other is fitted; of those to come only the least is counted, which is told without fitting.
    """
    prices = Prices.of(kit.moves, kit.feed(pattern.panel.sawn))
    least = [_at_least(opening, pattern.panel, kit, prices) for opening in pattern.openings]
    cuts, seconds = sum(c for c, _ in least), math.fsum(s for _, s in least)
    for opening, (c, s) in zip(pattern.openings, least, strict=True):
        if cuts >= few or seconds / 60 >= most:
            return None
        found = _of_one(opening, pattern.panel, kit, prices)
        cuts, seconds = cuts + found[0] - c, seconds + found[1] - s
    return Outlook(kit.blade, cuts, seconds / 60) if cuts < few and seconds / 60 < most else None


def _at_least(opening: Opening, panel: Panel, kit: Kit, prices: Prices) -> tuple[int, float]:
    """Cuts and seconds that one opening takes at least, told without fitting."""
    cuts = fewest_stretches(opening, panel, kit.blade, kit.allow)
    return cuts, _seconds(prices, _ALL_BUT * opening.region.length if cuts else 0.0, cuts)


def _may_be_better(other: Kit, kit: Kit, pattern: Pattern, most: float) -> bool:
    """Told without fitting: it turns tighter, and sawing the bare outlines takes no more than `most` minutes."""
    length = _ALL_BUT * math.fsum(o.region.length for o in pattern.openings)
    bare = length * Prices.of(other.moves, other.feed(pattern.panel.sawn)).cut / 60
    return other.blade.turning_radius < kit.blade.turning_radius and bare < most
