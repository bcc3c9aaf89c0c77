"""Feeds: how fast a bit goes through a wood, from published chip-load charts.

feed = turns a minute x flutes x chip load (cutter makers' formula). Where the charts differ, the lower one is
where to start; no chip is ever thicker than the highest of them says.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from cutout.kit.bit import Bit
from cutout.kit.data import load
from cutout.kit.machine import Machine
from cutout.kit.wood import Wood
from cutout.units import MM_PER_INCH

PLUNGE_SHARE = 1 / 3
"""Straight down at this share of the feed (a bit maker's slot bit: 12000 and 4000 mm/min; a hobby library: 1/4)."""
_ROUND = 100.0
"""Speeds are said in hundreds of turns a minute."""
_RUB = 0.75
"""A chip thinner than this share of the thinnest in any chart is dust and heat: common practice, no source."""
_FIBREBOARDS = ("mdf", "hardboard")


@dataclass(frozen=True, slots=True)
class ChipLoad:
    """Thickness of a chip in mm per tooth: least and most the charts give, where to start, and which chart it is."""

    least: float
    most: float
    start: float
    chart: str


@dataclass(frozen=True, slots=True)
class Feeds:
    """How one bit is driven; mm, mm/min, turns a minute.

    chip: what each tooth takes at that feed and speed. share: what is left of the chart's chip load at the depth
    of a turn. held: the machine can't feed as fast as the charts allow. ramp: the feed on a slope into the wood.
    rubs: even at its least speed the machine feeds so slowly that the bit rubs rather than cuts.
    """

    bit: Bit
    depth: float
    speed: float
    feed: float
    plunge: float
    ramp: float
    chip: float
    load: ChipLoad
    share: float
    held: bool
    rubs: bool


def material(wood: Wood) -> str:
    """The row of the charts a wood belongs to."""
    if wood.kind != "sheet":
        return wood.kind
    return "fibreboard" if wood.name in _FIBREBOARDS else "plywood"


def chip_load(bit: Bit, wood: Wood) -> ChipLoad:
    """The chip load for a bit in a wood at one diameter's depth; its maker's own value wins.

    Between the diameters of a chart its values are drawn straight, below them in proportion to the diameter,
    above them they stay. Start: the lowest of the charts' middles, in sheet goods no more than the best band of
    the chart for any bit.
    """
    if bit.chip_load is not None:
        return ChipLoad(bit.chip_load, bit.chip_load, bit.chip_load, f"the bit's maker: {bit.source}")
    row = material(wood)
    bands = [
        (*_band(chart["rows"][row], bit.diameter), chart)
        for chart in load("chips")["chart"]
        if row in chart["rows"]
    ]
    low, high, chart = min(bands, key=lambda band: (band[0] + band[1], band[0]))
    start, title = (low + high) / 2, f"chart {chart['name']}: {chart['title']}"
    any_bit = load("chips")["any_bit"]
    if start > (best := any_bit["best"][1] * MM_PER_INCH):
        start, title = best, f"chart C: {any_bit['title']}"
    return ChipLoad(min(b[0] for b in bands), max(b[1] for b in bands), start, title)


def depth_share(depth: float, diameter: float) -> float:
    """Share of the chip load that is left in a turn `depth` mm deep: 1 to one diameter, 3/4 at two, 1/2 at three.

    Source: charts A and B alike; drawn straight between, and on in proportion beyond three, which no chart gives.
    """
    import numpy as np  # here: the command line asks for names only

    deep, share = np.array(load("chips")["deep"]["share"]).T
    times = depth / diameter
    return float(np.interp(times, deep, share) * min(1.0, deep[-1] / times) if times > 0 else 1.0)


def feeds(bit: Bit, wood: Wood, machine: Machine, depth: float, limit: float | None = None) -> Feeds:
    """How to drive `bit` through `wood` in turns `depth` mm deep; `limit`: the user's own fastest feed, mm/min.

    Where the machine can't feed as fast as the charts allow, the spindle goes slower, so that chips stay chips and
    the bit does not burn; only as far as the chart's least chip asks for.
    """
    load_, share = chip_load(bit, wood), depth_share(depth, bit.diameter)
    speed = min(max(bit.speed, machine.speed_least), machine.speed_most)
    chip, most = load_.start * share, min(machine.feed, limit or machine.feed)
    feed = speed * bit.flutes * chip
    held = feed > most + 1e-9
    least = min(load_.least * share, chip)
    if held:
        feed = most
        wanted = min(speed, max(machine.speed_least, most / (bit.flutes * least)))
        speed = max(math.floor(wanted / _ROUND) * _ROUND, machine.speed_least)
    plunge = min(feed * PLUNGE_SHARE, bit.plunge or feed)
    cut = feed / (speed * bit.flutes)
    return Feeds(
        bit,
        depth,
        speed,
        feed,
        plunge,
        feed / bit.flutes,
        cut,
        load_,
        share,
        held,
        cut < _RUB * _thinnest(bit) * share,
    )


def _thinnest(bit: Bit) -> float:
    """The least chip load (mm) any chart gives for a bit's diameter, in any wood; its maker's own, if thinner."""
    rows = [rows for chart in load("chips")["chart"] for rows in chart["rows"].values()]
    return min(*(_band(r, bit.diameter)[0] for r in rows), bit.chip_load or math.inf)


def _band(rows: list[list[float]], diameter: float) -> tuple[float, float]:
    """Least and most chip load (mm) of a chart's rows for a diameter in mm."""
    import numpy as np

    size, least, most = np.array(rows).T * MM_PER_INCH
    shrink = min(1.0, diameter / size[0])
    return float(np.interp(diameter, size, least) * shrink), float(np.interp(diameter, size, most) * shrink)
