"""What the proof of a plan finds, in words."""

from __future__ import annotations

from collections.abc import Callable

from cutout.finding import Finding
from cutout.saw.fault import Fault, What
from cutout.saw.model import CORNER
from cutout.say.steps import place_name
from cutout.say.words import Said, Words, says

_REMEDY = "Don't saw this plan as it is: change the size, the blade or the drills, or ease the outline."

_TEXTS: dict[What, Callable[[Finding, Fault, Words], str]] = {
    "not in order": lambda f, fault, words: "The legs are not numbered in one rising order.",
    "no length": lambda f, fault, words: f"Leg {fault.leg} has no length.",
    "hole in keep": lambda f, fault, words: (
        f"Hole {fault.hole} would take {words.length(f.size)} of wood that must stay."
    ),
    "falls unannounced": lambda f, fault, words: (
        f"A piece about {words.length(fault.across)} across falls with leg {fault.leg}, "
        "and nobody is told to hold it."
    ),
    "does not fall": lambda f, fault, words: (
        f"A piece about {words.length(fault.across)} across is said to fall with leg {fault.leg}, "
        "but wood still holds it."
    ),
    "no such start": lambda f, fault, words: (
        f"Leg {fault.leg} starts from {place_name(fault.starts or CORNER)}, which is not there yet."
    ),
    "not in its hole": lambda f, fault, words: f"Leg {fault.leg} does not start in hole {fault.hole}.",
    "no room": lambda f, fault, words: f"Leg {fault.leg} starts where the blade has no room.",
    "binds": lambda f, fault, words: (
        f"On leg {fault.leg} the back of the blade would bind: the line turns too tightly for it here."
    ),
    "bends": lambda f, fault, words: (
        f"Leg {fault.leg} bends to a radius of {words.length(f.size)}; this blade follows {words.length(f.limit)}."
    ),
    "kerf in keep": lambda f, fault, words: (
        f"Leg {fault.leg} would cut {words.length(f.size)} into wood that must stay."
    ),
    "piece came free": lambda f, fault, words: f"The piece that leg {fault.leg} cuts has already come free.",
    "piece stays": lambda f, fault, words: (
        f"A piece {words.length(f.size)} deep would stay in opening {f.opening}: no cut frees it."
    ),
    "never sawn": lambda f, fault, words: (
        f"{words.length(f.size)} of the outline is never sawn: the pieces would not part."
    ),
    "no go before": lambda f, fault, words: f"Leg {fault.leg} goes on from a go that has not begun.",
    "lifts inside": lambda f, fault, words: (
        f"Leg {fault.leg} lifts the blade out of a kerf: a {fault.saw} can't do that inside a panel."
    ),
    "no kerf to branch from": lambda f, fault, words: (
        f"Leg {fault.leg} does not branch off from a kerf of its own go."
    ),
    "no room to turn": lambda f, fault, words: f"Leg {fault.leg} turns the blade where it has no room.",
    "turns elsewhere": lambda f, fault, words: (
        f"Leg {fault.leg} turns the blade in a place that its go does not come to."
    ),
    "no way in": lambda f, fault, words: f"Leg {fault.leg} begins where no blade can be let in.",
    "spins no blade": lambda f, fault, words: (
        f"Leg {fault.leg} turns the blade in its kerf: a {fault.saw} can't do that."
    ),
    "spins elsewhere": lambda f, fault, words: (
        f"Leg {fault.leg} turns the blade out of a kerf that it does not stand in."
    ),
    "no room to spin": lambda f, fault, words: (
        f"Leg {fault.leg} turns the blade where it has no room before."
    ),
}


@says(Fault)
def _(f: Finding, facts: Fault, words: Words) -> Said:
    return Said(_TEXTS[facts.what](f, facts, words), _REMEDY)
