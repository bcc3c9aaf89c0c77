"""What the planner finds, in words."""

from __future__ import annotations

from cutout.finding import Finding
from cutout.saw.planner.by_hand import HandHole
from cutout.saw.planner.drill_out import ClearedByDrill
from cutout.saw.planner.left import NoCut
from cutout.saw.planner.plan import ManyShortCuts, NoPlan
from cutout.saw.planner.slit import HolesShow, NoDrill
from cutout.say.words import Said, Words, says
from cutout.units import format_minutes


@says(NoCut)
def _(f: Finding, facts: NoCut, words: Words) -> Said:
    return Said(
        f"No way was found to saw out {words.length(f.size)} of waste in opening {f.opening}: "
        f"the {facts.blade} can't get there.",
        "Make the silhouette larger, take a narrower blade, or ease the outline here.",
    )


@says(HandHole)
def _(f: Finding, facts: HandHole, words: Words) -> Said:
    hole = f"The {words.length(f.size)} hole you placed is"
    text = f"{hole} drilled, but no cut begins in it."
    if (f.size or 0.0) < (f.limit or 0.0):
        text = f"{hole} too small for the blade, which needs {words.length(f.limit)}."
    return Said(text, "Move it, enlarge it, or leave it out of the job.")


@says(ClearedByDrill)
def _(f: Finding, facts: ClearedByDrill, words: Words) -> Said:
    which = f"Holes {facts.first} to {facts.last} clear"
    if facts.first == facts.last:
        which = f"Hole {facts.first} clears"
    return Said(
        f"{which} waste of opening {f.opening} that the blade can't get at.",
        "Drill them first, then break out and file what is left between them; a narrower blade or a larger "
        "silhouette saves that.",
    )


@says(NoDrill)
def _(f: Finding, facts: NoDrill, words: Words) -> Said:
    need = words.length(f.limit)
    return Said(
        f"No drill in this set makes a hole of {need}, which the blade needs to come in and turn.",
        f"Add a drill of at least {need}, or take a narrower blade.",
    )


@says(HolesShow)
def _(f: Finding, facts: HolesShow, words: Words) -> Said:
    count = "One hole" if facts.count == 1 else f"{facts.count} holes"
    aside = ((f.size or 0.0) - (f.limit or 0.0)) / 2
    return Said(
        f"{count} of {words.length(f.size)} on the line will show: each takes {words.length(aside)} off both pieces.",
        "Plug and sand the holes, or take a narrower blade, which needs smaller ones.",
    )


@says(NoPlan)
def _(f: Finding, facts: NoPlan, words: Words) -> Said:
    faults = []
    if facts.sawn is not None:
        sawn, outline = facts.sawn
        faults.append(f"{words.length(sawn)} of sawing for {words.length(outline)} of outline")
    if facts.spots is not None:
        faults.append(f"{facts.spots} spots left for the file")
    if facts.minutes is not None:
        faults.append(f"about {format_minutes(facts.minutes)} at the saw")
    return Said(
        f"This is no plan to saw by: {', '.join(faults)}.",
        "Take a narrower blade or a scroll saw, make the silhouette larger, or simplify it; `cutout check` "
        "compares blades and sizes. What you put up with is said by limits.sawing, limits.file_spots and "
        "limits.hours.",
    )


@says(ManyShortCuts)
def _(f: Finding, facts: ManyShortCuts, words: Words) -> Said:
    return Said(
        f"{facts.count} short cuts end against the outline of opening {f.opening}, where it turns tighter than "
        f"{words.length(facts.turns)}.",
        "They can be sawn as planned and filed smooth; a narrower blade or a larger silhouette needs far fewer.",
    )
