"""What was read from photographs of the card and of the panel, in sentences."""

from __future__ import annotations

from collections.abc import Callable

from cutout.gauge.compare import Compared
from cutout.gauge.corner import CornerCut
from cutout.gauge.reading import Reading, Unread, Value
from cutout.say.words import Words
from cutout.units import MM_PER_INCH, Units


def lines(reading: Reading, units: Units) -> list[str]:
    """What was read, how sure it is, and what could not be read and why; a line each."""
    fine = _fine(units)
    marks = "four" if len(reading.found.marks) == 4 else "three"
    said = [
        f"{reading.card}: {marks} marks and {len(reading.found.dots)} dots found; one pixel is "
        f"{fine(reading.see.pixel)}, edges are blurred over {fine(2 * reading.see.blur.sigma * reading.see.pixel)}",
        _print(reading),
    ]
    if reading.kerf is not None:
        spread = fine(reading.kerf.spread)
        said.append(f"kerf             {_value(reading.kerf, units)}, spread {spread}{_each(reading, units)}")
    if reading.bias is not None and reading.wander is not None:
        side = "right" if reading.bias.value >= 0 else "left"
        told = abs(reading.bias.value) > reading.bias.sure
        where = f"{fine(abs(reading.bias.value))} to the {side} of the line" if told else "on the line"
        said.append(
            f"your hand        saws {where} (to {fine(reading.bias.sure)}), and strays {fine(reading.wander)} from "
            f"that; an allowance of {fine(reading.advised or 0.0)} covers both"
        )
    if reading.radius is not None:
        end = (
            " (the next tighter arc was not seen to fail: your saw may turn tighter still)"
            if reading.ladder_done
            else ""
        )
        said.append(f"turning radius   {_value(reading.radius, units)}{end}")
    said += [
        f"  arc of {fine(r.radius)}: not followed: {r.why.format(*map(fine, r.lengths))}"
        for r in reading.rungs
        if r.followed is False and not _later(reading, r.radius)
    ]
    said += [_corner(c, units) for c in reading.corners if not c.why]
    if reading.feed is not None:
        feed = f"{reading.feed / MM_PER_INCH:.1f} in" if units == "in" else f"{reading.feed:.0f} mm"
        said.append(f"feed             {feed} a minute, backing out and starting included")
    said += [f"NOT READ  {unread(u, units)}" for u in reading.unread]
    return said


def unread(what: Unread, units: Units) -> str:
    """What could not be read, and why."""
    return f"{what.what}: {what.why}".format(*map(_fine(units), what.lengths))


def compared_lines(found: Compared, units: Units) -> list[str]:
    """How the sawn outline lies against its line, and the spots worth a file."""
    fine, words = _fine(units), Words(units)
    back = ", seen from the back" if any(s.back for s in found.shown) else ""
    furthest = _side(found.largest, units)
    said = [
        f"outline          {100 * found.told:.0f} % of it could be told, sure to {fine(found.sure)}{back}",
        f"                 half of it within {fine(found.typical)} of its line, the furthest {furthest}",
    ]
    for n, spot in enumerate(found.spots[:9], start=1):
        said.append(
            f"  {n}. at {words.place(*spot.at)}: {_side(spot.off, units)}, over {words.length(round(spot.length))}"
        )
    if len(found.spots) > 9:
        said.append(f"  and {len(found.spots) - 9} more, all smaller")
    if not found.spots:
        said.append("                 nothing worth a file where it could be told")
    said.append(
        "size             a photo does not tell it: measure the panel and its diagonals before it goes into its frame"
    )
    if found.shaded:
        said.append(
            "The panel throws shadows on the ground, which an edge is hard to tell from: take the photo in even "
            "light, as on a grey day, or on a dark ground."
        )
    if found.told < 0.8:
        said.append(
            "The rest shows the openings' walls instead of the edge: add photos from other sides, or from further "
            "away."
        )
    return said


def _side(off: float, units: Units) -> str:
    fine = _fine(units)
    return f"{fine(abs(off))} of wood left" if off > 0 else f"{fine(abs(off))} sawn into what stays"


def _later(reading: Reading, radius: float) -> bool:
    """Whether an arc is tighter than the first that the blade gave up at: of those one is enough."""
    given_up = [r.radius for r in reading.rungs if r.followed is False and not r.slip]
    return bool(given_up) and radius < given_up[0]


def _fine(units: Units) -> Callable[[float], str]:
    def say(mm: float) -> str:
        return Words(units).fine(mm) if units == "in" or mm < 10 else f"{mm:.1f} mm"

    return say


def _value(value: Value, units: Units) -> str:
    fine = _fine(units)
    return f"{fine(value.value)}, sure to {fine(value.sure)}"


def _each(reading: Reading, units: Units) -> str:
    along, across = reading.kerf_along, reading.kerf_across
    if along is None or across is None:
        return ""
    fine = _fine(units)
    return f" ({fine(along.value)} along the grain, {fine(across.value)} across it)"


def _print(reading: Reading) -> str:
    scale = reading.scale
    if scale.how == "not known":
        return "print scale      not known, taken as 1: leave the paper's edges in the picture, or give --square WxH"
    return (
        f"print scale      {100 * scale.wide:.1f} % across, {100 * scale.high:.1f} % up, by the {scale.how}; sure to "
        f"{100 * scale.sure:.1f} %"
    )


def _corner(corner: CornerCut, units: Units) -> str:
    fine = _fine(units)
    what = "turned on the spot" if corner.kind == "turned" else "sawn from both sides"
    if corner.short < -corner.sure:
        left = f"sawn {fine(-corner.short)} past it"
    elif corner.short <= corner.sure:
        left = f"sharp, as far as the picture shows ({fine(corner.sure)})"
    else:
        left = f"rounded to a radius of {fine(corner.rounding)}; {fine(corner.short)} of wood left in it"
    return f"corner           {what}: {left}"
