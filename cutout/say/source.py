"""What the picture itself makes doubtful, in words."""

from __future__ import annotations

from cutout.check.source import Doubtful, OffSize
from cutout.finding import Finding
from cutout.geom.outline import Note
from cutout.say.words import Said, Words, says
from cutout.units import Units

_REMEDIES = {
    "border": "Look at the preview before you print.",
    "guess": "Mark the figure and the ground beside those places, or touch them up; look at the preview.",
    "lost": "Make it larger, or take the smallest pieces out of the drawing; look at the preview.",
}


@says(Doubtful)
def _(f: Finding, facts: Doubtful, words: Words) -> Said:
    return Said(sentence(facts.note, words.units), _REMEDIES[facts.note.kind])


@says(OffSize)
def _(f: Finding, facts: OffSize, words: Words) -> Said:
    return Said(
        f"You asked for {words.length(f.limit)}, the figure is now {words.length(f.size)} {facts.side}: "
        "mending took thin ends off, or filled them.",
        "Look at the preview; turn easing or bridges off, or ask for a larger size, if the ends matter.",
    )


def sentence(note: Note, units: Units) -> str:
    """What a reader did, as a sentence."""
    words = Words(units)
    text = note.text.format(*map(words.length, note.lengths)) if note.lengths else note.text
    return text[:1].upper() + text[1:]
