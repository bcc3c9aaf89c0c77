"""What was found, in sentences and in the reader's units: one module a stage. Nothing here finds anything."""

from cutout.finding import Finding
from cutout.say import checking, mending, planning, proving, routing, source
from cutout.say.together import Together, together
from cutout.say.words import SENTENCES, Said, Words, says
from cutout.units import Units

__all__ = [
    "SENTENCES",
    "Said",
    "Together",
    "Words",
    "checking",
    "mending",
    "planning",
    "proving",
    "routing",
    "said",
    "says",
    "source",
    "together",
]


def said(finding: Finding, units: Units) -> Said:
    """The finding in words, one sentence on what is the case and one on what to do."""
    words = SENTENCES[type(finding.facts)](finding, finding.facts, Words(units))
    return mending.left_out(words) if finding.left_out else words
