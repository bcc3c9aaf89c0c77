"""What is found on the router's path, in words."""

from __future__ import annotations

from collections.abc import Callable

from cutout.finding import Finding
from cutout.route.findings import (
    BedUnknown,
    BedWay,
    BitTooWide,
    Climbs,
    FewTabs,
    InTiles,
    LargerThanBed,
    NoFinish,
    NotSmaller,
    OpeningGrows,
    RoundCorners,
    Rubs,
    RunsOut,
    ShortBit,
    SlenderBit,
    SticksOutOfBed,
    TooHigh,
)
from cutout.route.prove import PathFault, PathWhat
from cutout.say.words import Said, Words, says
from cutout.units import count

_BED: dict[BedWay, str] = {
    "turn": "Turn the job by 90 degrees: it would fit then.",
    "stick out": (
        "What is cut would fit: with the panel sticking out, clamp it and set X0 Y0 by a mark; or ask for tiles; "
        "or saw it."
    ),
    "pins anywhere": (
        "It can't be cut in tiles either: there is no room for two pins, in wood that falls away, between "
        'any two tiles. Allow them anywhere (index_in = "anywhere"), take a larger machine, or saw it.'
    ),
    "no pins": (
        "It can't be cut in tiles either: no room for two pins between any two tiles. Take a larger machine, "
        "or saw it."
    ),
    "saw": "Cut it in tiles (--tiles), take a smaller panel or a larger machine, or saw it.",
}

_FAULTS: dict[PathWhat, Callable[[float, int | None, Words], str]] = {
    "in keep": lambda size, tile, words: f"The router's path cuts {words.fine(size)} into wood that stays.",
    "uncut": lambda size, tile, words: f"The router's path leaves {words.area(size)} of waste uncut.",
    "not through": lambda size, tile, words: "A router pass does not go through the panel.",
    "too deep": lambda size, tile, words: "A router pass goes too deep in one turn.",
    "wrong way": lambda size, tile, words: "A router pass runs the wrong way round.",
    "tiles miss": lambda size, tile, words: f"The tiles leave {words.length(size)} of a router run uncut.",
    "out of reach": lambda size, tile, words: f"Tile {tile} runs out of what the machine reaches.",
    "pins off": lambda size, tile, words: f"The pins of tile {tile} are not where its holes are.",
    "pins out of reach": lambda size, tile, words: f"Tile {tile} does not reach the holes of its pins.",
    "pin in keep": lambda size, tile, words: f"A pin's hole of tile {tile} lies in wood that stays.",
}


@says(RoundCorners)
def _(f: Finding, facts: RoundCorners, words: Words) -> Said:
    where = f"opening {f.opening}" if facts.openings is None else f"{facts.openings} more openings"
    return Said(
        f"The bit leaves {count(facts.count, 'inside corner')} of {where} round, with a radius of "
        f"{words.length(facts.radius)}; up to {words.length(f.size)} of wood stays.",
        "Finish them with a chisel or file, take a smaller bit, or saw them.",
    )


@says(BitTooWide)
def _(f: Finding, facts: BitTooWide, words: Words) -> Said:
    what = f"1 place of opening {f.opening}"
    if facts.more is not None:
        what = count(facts.more, "more place")
    return Said(
        f"A {words.length(f.limit)} bit is too wide for {what}: {words.area(facts.area)} of waste stays.",
        "Take a smaller bit, or saw it out after routing.",
    )


@says(FewTabs)
def _(f: Finding, facts: FewTabs, words: Words) -> Said:
    what = f"A loose piece of {words.area(facts.area)} has"
    if facts.more is not None:
        what = f"{facts.more} smaller loose pieces have"
    return Said(
        f"{what} no straight, firm stretch for {facts.tabs} tabs.",
        "Hold it with double-sided tape or a screw before the last turn round it.",
    )


@says(OpeningGrows)
def _(f: Finding, facts: OpeningGrows, words: Words) -> Said:
    return Said(
        f"A router can't keep both: the figure stays exact, and its opening in the panel becomes "
        f"{words.length(f.size)} larger all round.",
        "Saw it if the figure and its opening must fit each other.",
    )


@says(RunsOut)
def _(f: Finding, facts: RunsOut, words: Words) -> Said:
    return Said(
        f"Opening {f.opening} reaches the panel's edge: the bit runs out past it.",
        f"Keep clamps and fences {words.length(facts.clear)} clear of the edge there.",
    )


@says(NotSmaller)
def _(f: Finding, facts: NotSmaller, words: Words) -> Said:
    return Said(
        f"The {facts.small} is no smaller than the {facts.bit}: it is not used.",
        "Give a smaller bit for what the first one leaves.",
    )


@says(Rubs)
def _(f: Finding, facts: Rubs, words: Words) -> Said:
    return Said(
        f"The {facts.bit} would rub and burn: at {words.length(round(facts.feed))} a minute and {facts.speed:.0f} "
        f"turns each tooth takes {words.fine(f.size or 0.0)}, less than any chart gives.",
        "Take a smaller bit or one with fewer flutes, or a machine that feeds faster or turns slower.",
    )


@says(Climbs)
def _(f: Finding, facts: Climbs, words: Words) -> Said:
    return Said(
        "The bit climbs: it is pulled along the line, and can run away or lift the panel.",
        "Clamp well, feed by machine only, never by hand; take the other direction if the machine gives way.",
    )


@says(TooHigh)
def _(f: Finding, facts: TooHigh, words: Words) -> Said:
    return Said(
        f"The bit would have to travel {words.length(f.size)} up and down; the {facts.machine} machine travels "
        f"{words.length(f.limit)}.",
        "Lower the height at which it travels, or take a thinner panel.",
    )


@says(LargerThanBed)
def _(f: Finding, facts: LargerThanBed, words: Words) -> Said:
    return Said(
        f"The panel, {words.size(*facts.panel)}, is larger than the {words.size(*facts.bed)} that the "
        f"{facts.machine} machine travels.",
        _BED[facts.way],
    )


_LIES_OUT = "The machine must be open on the sides it sticks out of."


@says(SticksOutOfBed)
def _(f: Finding, facts: SticksOutOfBed, words: Words) -> Said:
    return Said(
        f"The panel is larger than the {facts.machine} machine's bed, what is cut is not: it sticks out.",
        f"{_LIES_OUT} Support it outside at the height of the spoil board.",
    )


@says(InTiles)
def _(f: Finding, facts: InTiles, words: Words) -> Said:
    cut = f"; runs are cut in {facts.joints} stretches" if facts.joints else "; no run is cut in two"
    return Said(
        f"The panel is cut in {facts.tiles} tiles and laid on two pins for each after the first{cut}. Pins a "
        f"tenth of a millimetre loose put tiles up to {words.length(f.size)} off where they meet.",
        f"{_LIES_OUT} Support it outside; take pins that fit tight; never set X0 Y0 again between tiles.",
    )


@says(BedUnknown)
def _(f: Finding, facts: BedUnknown, words: Words) -> Said:
    return Said(
        f"Tiles were asked for, but the {facts.machine} machine says nothing of its bed: all is cut in one.",
        "Choose your machine, or put it into your own kit file with its bed.",
    )


@says(ShortBit)
def _(f: Finding, facts: ShortBit, words: Words) -> Said:
    return Said(
        f"The {facts.bit} cuts {words.length(f.size)} deep at most; through this panel it would have to cut "
        f"{words.length(f.limit)}.",
        "Take a longer bit, or a thinner panel.",
    )


@says(SlenderBit)
def _(f: Finding, facts: SlenderBit, words: Words) -> Said:
    return Said(
        f"The {facts.bit} must cut {words.length(f.size)} deep, {facts.times:.1f} times its width: few can.",
        "Measure its cutting length, and put it into your own kit file as flute_length.",
    )


@says(NoFinish)
def _(f: Finding, facts: NoFinish, words: Words) -> Said:
    what = f"opening {f.opening}" if facts.openings is None else f"{facts.openings} openings"
    return Said(
        f"No room to leave {words.length(f.limit)} for a finishing turn in {what}: the bit goes along the line "
        "at once.",
        "Take a smaller bit if the edge must be clean there.",
    )


@says(PathFault)
def _(f: Finding, facts: PathFault, words: Words) -> Said:
    return Said(
        _FAULTS[facts.what](f.size or 0.0, facts.tile, words),
        "Don't run this path; report the job as a fault of this program, and saw it instead.",
    )
