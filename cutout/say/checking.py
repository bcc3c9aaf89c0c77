"""What the checks find, in words."""

from __future__ import annotations

import math

from cutout.check.boards import Jams
from cutout.check.drawn_line import CutsDrawing
from cutout.check.glue_line import CrossesWeb
from cutout.check.kit import NoDrillToTurn, TallStack, ThickForJigsaw, ThinForTeeth, TurnsTooWide
from cutout.check.loose_piece import Loose
from cutout.check.narrow_opening import DeadEnd, NarrowerThanCut, Neck, NoHoleFits
from cutout.check.near_edge import InZone, NearEdge
from cutout.check.off_panel import SticksOut
from cutout.check.speck import SmallOpening, SmallPiece
from cutout.check.tight import (
    ByHole,
    EndingAtIt,
    FromBothSides,
    NoRoom,
    NotFollowed,
    PastIt,
    ShowingHole,
    TooLong,
    Way,
)
from cutout.check.web import NarrowWeb, WayOut
from cutout.finding import Finding
from cutout.kit import rule
from cutout.say.words import Said, Words, says
from cutout.units import count

_NEEDLE = 3
"""An angle that rounds to less than this (degrees) is told in words."""


@says(Jams)
def _(f: Finding, facts: Jams, words: Words) -> Said:
    moved, reveal = f.size or 0.0, (f.limit or 0.0) / 2
    return Said(
        f"Across the grain the panel moves {words.length(moved)} for {facts.change:g} % of moisture, "
        f"more than the reveal of {words.length(reveal)} on either side: it would jam.",
        f"Give it {words.length(moved / 2)} on each side at least, or use sheet goods.",
    )


@says(CutsDrawing)
def _(f: Finding, facts: CutsDrawing, words: Words) -> Said:
    return Said(
        f"Opening {f.opening} cuts through the {facts.drawn}, "
        f"over an area as large as a square of {words.length(f.size)}.",
        "Move or shrink the figure, or draw that face differently, if the cut should not show there.",
    )


@says(CrossesWeb)
def _(f: Finding, facts: CrossesWeb, words: Words) -> Said:
    return Said(
        f"A glue line between two boards runs through a web {words.length(f.size)} wide.",
        "Shift the boards or the pattern so that the web falls inside one board, or widen it.",
    )


@says(ThinForTeeth)
def _(f: Finding, facts: ThinForTeeth, words: Words) -> Said:
    return Said(
        f"Wood {words.length(f.size)} thick is too thin for {facts.teeth_per_inch:g} teeth to the inch: "
        f"two teeth must be in the wood, {words.length(f.limit)} at least.",
        "Take a blade with finer teeth, or saw with a scrap board under the panel.",
    )


@says(TallStack)
def _(f: Finding, facts: TallStack, words: Words) -> Said:
    return Said(
        f"A stack of {count(facts.layers, 'layer')}: {facts.most} are usual at most, "
        "then the lowest come out unlike the topmost.",
        f"Saw {facts.most} at a time, with a sharp blade that stands square to the table.",
    )


@says(ThickForJigsaw)
def _(f: Finding, facts: ThickForJigsaw, words: Words) -> Said:
    return Said(
        f"In {facts.wood} thicker than {words.length(f.limit)} a jigsaw blade bends and wanders: "
        f"this is {words.length(f.size)}.",
        "Saw slowly and check that the blade stays upright, or take a band saw, or thinner wood.",
    )


@says(TurnsTooWide)
def _(f: Finding, facts: TurnsTooWide, words: Words) -> Said:
    return Said(
        f"This blade turns no tighter than {words.length(f.limit)}, too wide for any curve of a figure this size.",
        "Take a narrower blade.",
    )


@says(NoDrillToTurn)
def _(f: Finding, facts: NoDrillToTurn, words: Words) -> Said:
    need = words.length(f.limit)
    return Said(
        f"None of your drills makes a hole in which the blade turns: it takes {need}.",
        f"Get a drill of {need} or a little more, or take a narrower blade.",
    )


@says(Loose)
def _(f: Finding, facts: Loose, words: Words) -> Said:
    size = words.size(facts.width, facts.height)
    if facts.drops:
        return Said(
            f"A piece {size} has no wood round it that holds it: it would drop out.",
            "Add bridges that tie it to the panel, or leave it out.",
        )
    return Said(
        f"A piece {size} hangs on nothing: it comes out by itself.",
        "Add bridges that tie it to the rest, or keep it as a piece of its own.",
    )


@says(NarrowerThanCut)
def _(f: Finding, facts: NarrowerThanCut, words: Words) -> Said:
    return Said(
        f"Opening {f.opening} is {words.length(f.size)} across at its widest, "
        f"narrower than the saw cut of {words.length(f.limit)}.",
        "Leave it out, make it wider, or take a finer blade.",
    )


@says(NoHoleFits)
def _(f: Finding, facts: NoHoleFits, words: Words) -> Said:
    return Said(
        f"Opening {f.opening} is {words.length(f.size)} across at its widest: the hole that lets the blade in and "
        f"turns it, {words.length(f.limit)}, does not fit.",
        "Make it wider, take a narrower blade, or drill it out instead of sawing it.",
    )


@says(Neck)
def _(f: Finding, facts: Neck, words: Words) -> Said:
    return Said(
        f"The opening narrows to {words.length(f.size)} here: the saw cut is {words.length(f.limit)} wide.",
        "Open it to the width of the cut, close it, or take a finer blade.",
    )


@says(DeadEnd)
def _(f: Finding, facts: DeadEnd, words: Words) -> Said:
    what = "a slit" if facts.slit else "the tip of the opening"
    remedy = "Let the cut end where the opening gets as narrow as the blade's cut, or widen the tip."
    if facts.slit:
        remedy = "Open it to the width of the cut, leave it out, or take a finer blade."
    return Said(
        f"Over {words.length(facts.length)} {what} is narrower than the saw cut of {words.length(f.limit)}, "
        f"{words.length(f.size)} half way.",
        remedy,
    )


@says(NearEdge)
def _(f: Finding, facts: NearEdge, words: Words) -> Said:
    text = (
        f"Opening {f.opening} leaves {words.length(f.size)} of wood at the panel's {facts.side} edge; "
        f"{words.length(f.limit)} is the least."
    )
    if facts.reaches:
        text = f"Opening {f.opening} reaches the panel's {facts.side} edge: no wood closes it there."
    return Said(text, "Move the pattern away from that edge, make it smaller, or take a larger panel.")


@says(InZone)
def _(f: Finding, facts: InZone, words: Words) -> Said:
    how = "right across" if facts.across else f"{words.length(f.size)} into"
    return Said(
        f"Opening {f.opening} runs {how} the {facts.zone}.",
        f"Move the pattern clear of the {facts.zone}, or make it smaller.",
    )


@says(SticksOut)
def _(f: Finding, facts: SticksOut, words: Words) -> Said:
    return Said(
        f"The silhouette sticks out {words.length(f.size)} over the panel's edge.",
        "Move it, make it smaller, or take a larger panel.",
    )


@says(SmallOpening)
def _(f: Finding, facts: SmallOpening, words: Words) -> Said:
    return Said(
        f"An opening {words.length(f.size)} across is too small to saw.",
        "Leave it out of the picture, or drill it as a plain hole.",
    )


@says(SmallPiece)
def _(f: Finding, facts: SmallPiece, words: Words) -> Said:
    return Said(
        f"A bit of wood {words.length(f.size)} long is too small to hold: it will be lost.",
        "Leave it out of the picture, or draw it larger.",
    )


@says(NarrowWeb)
def _(f: Finding, facts: NarrowWeb, words: Words) -> Said:
    made = rule(facts.rule)
    ways = _care(f, facts, words) if facts.way_out is None else _change(f, facts.way_out, words)
    return Said(_web(f, facts, words), f"{ways} ({made.name} rule: {made.source}).")


def _web(f: Finding, facts: NarrowWeb, words: Words) -> str:
    width, length = words.length(f.size), words.length(facts.length)
    how = "" if facts.angle is None else f" at {math.degrees(facts.angle):.0f} degrees to the grain"
    if facts.across:
        how = ", across the grain"
    end = "it would break while it is sawn" if facts.way_out else f"{words.length(f.limit)} would be sound"
    if not facts.held:
        return f"An arm {length} long, held at one end, is only {width} wide here{how}: {end}."
    long = f" and {length} long" if facts.length >= (f.size or 0.0) else ""
    return f"A web {width} wide{long}{how}: {end}."


def _care(f: Finding, facts: NarrowWeb, words: Words) -> str:
    wider = f"Widen it to {words.length(f.limit)}"
    if not facts.held:
        return f"{wider}, shorten it, or saw it last and gently, well supported"
    if facts.across:
        return f"{wider}, or turn the pattern or the boards so that the grain runs along it"
    return f"{wider}, or saw it last and gently, with the wood supported on both sides"


def _change(f: Finding, out: WayOut, words: Words) -> str:
    ways = [
        f"Widen it to {words.length(out.least)} at the very least ({words.length(f.limit)} would be sound)"
    ]
    if out.larger is not None:
        ways.append(f"make the silhouette {math.ceil(100 * (out.larger - 1))} % larger")
    if out.grain is not None:
        gain = "it is sound then" if out.grain == "sound" else "it can be sawn then"
        ways.append(f"lay the boards with the grain the other way: {gain}")
    if out.sheet is not None:
        gain = "it is sound there" if out.sheet == "sound" else "it holds there"
        ways.append(f"take sheet goods: {gain}")
    return f"{', '.join(ways[:-1])}, or {ways[-1]}" if len(ways) > 1 else ways[0]


@says(NotFollowed)
def _(f: Finding, facts: NotFollowed, words: Words) -> Said:
    what = _place(f, facts, words)
    if isinstance(facts.way, NoRoom):
        return Said(
            f"{what}, and a blade {words.length(facts.way.width)} from front to back finds no room.",
            "Take a narrower blade, make the pattern larger, or open this place up.",
        )
    if isinstance(facts.way, TooLong):
        return Said(
            f"{what}, over {words.length(facts.way.length)} of line.",
            "Take a narrower blade, or make the pattern larger: one hole does not bridge it.",
        )
    return Said(f"{what}.", _by(facts.way, words))


def _place(f: Finding, facts: NotFollowed, words: Words) -> str:
    turns = f"the blade turns no tighter than {words.length(facts.turns)}"
    if facts.angle is None:
        where = "Inside curve" if facts.inside else "Curve round wood"
        radius, needed = words.length(f.size), words.length(f.limit)
        of = f"just under {radius}" if radius == needed else radius
        on_line = "" if needed == words.length(facts.turns) else f", which makes {needed} on the line"
        return f"{where} of {of} radius: {turns}{on_line}"
    what = "Inside corner" if facts.inside else "Point of wood"
    degrees = round(math.degrees(facts.angle))
    return (
        f"{what} as fine as a needle: {turns}"
        if degrees < _NEEDLE
        else f"{what} of {degrees} degrees: {turns}"
    )


def _by(way: Way, words: Words) -> str:
    match way:
        case ByHole(drill, files):
            end = ", and what stays for a file" if files else ""
            return (
                f"Needs a relief hole of {words.length(drill)} or cuts into it from both sides: "
                f"the plan says which{end}."
            )
        case ShowingHole(drill):
            return (
                f"Where the plan has a hole of {words.length(drill)} for the blade to turn in, "
                "wider than the saw cut, it will show."
            )
        case EndingAtIt():
            return "Needs cuts that end at it from both sides: the waste has no room to overshoot it and come back."
        case PastIt():
            return "Needs several cuts past it, and a file for what stays between them."
        case FromBothSides():
            return (
                "Needs cuts into it from both sides: no hole in which the blade turns fits; "
                "a little may stay for a file."
            )
    raise TypeError(f"no words for {type(way).__name__}")
