"""What is found on the router's path, in words."""

from __future__ import annotations

from collections.abc import Callable

from cutout.finding import Finding
from cutout.route.findings import (
    BedWay,
    BitTooWide,
    Climbs,
    FewTabs,
    LargerThanBed,
    NoFinish,
    NotSmaller,
    OpeningGrows,
    RoundCorners,
    Rubs,
    RunsOut,
    ShortBit,
    SlenderBit,
    TooHigh,
)
from cutout.route.prove import PathFault, PathWhat
from cutout.say.words import Said, Words, says
from cutout.units import count

_BED: dict[BedWay, str] = {
    "turn": "Turn the job by 90 degrees: it would fit then.",
    "stick out": (
        "What is cut would fit: with the panel sticking out, clamp it and set X0 Y0 by a mark; or saw it."
    ),
    "saw": "Take a smaller panel or a larger machine, or saw it.",
}

_FAULTS: dict[PathWhat, Callable[[float, Words], str]] = {
    "in keep": lambda size, words: f"The router's path cuts {words.fine(size)} into wood that stays.",
    "uncut": lambda size, words: f"The router's path leaves {words.area(size)} of waste uncut.",
    "not through": lambda size, words: "A router pass does not go through the panel.",
    "too deep": lambda size, words: "A router pass goes too deep in one turn.",
    "wrong way": lambda size, words: "A router pass runs the wrong way round.",
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
        _FAULTS[facts.what](f.size or 0.0, words),
        "Don't run this path; report the job as a fault of this program, and saw it instead.",
    )
