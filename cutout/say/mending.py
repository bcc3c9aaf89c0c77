"""What mending finds, in words."""

from __future__ import annotations

from dataclasses import replace

from cutout.amend.bridge import HandBridgeMisses
from cutout.amend.mend import MostLost
from cutout.amend.model import GaveUp
from cutout.finding import Finding
from cutout.say.words import Said, Words, says


@says(GaveUp)
def _(f: Finding, facts: GaveUp, words: Words) -> Said:
    return Said(
        "The drawing holds so much detail that mending was ended before all of it was tried.",
        "Simplify the drawing or leave the smallest parts out; what still stops the work is listed.",
    )


@says(MostLost)
def _(f: Finding, facts: MostLost, words: Words) -> Said:
    return Said(
        f"Mending left only {100 * facts.share:.0f} % of the figure: "
        "the rest is finer than this blade cuts at this size.",
        "Make it larger, take a finer blade or a bolder drawing; look at the preview.",
    )


@says(HandBridgeMisses)
def _(f: Finding, facts: HandBridgeMisses, words: Words) -> Said:
    x, y = (words.length(v) for v in f.at)
    return Said(
        f"The bridge you placed at {x}, {y} does not reach wood at both ends and was left out.",
        "Move it so that its middle lies in an opening between two pieces of wood, or turn it.",
    )


def left_out(found: Said) -> Said:
    """The same where the piece or opening was left out altogether: there is nothing left to do."""
    return replace(found, remedy="It was left out: too small to be made and to hold.")
