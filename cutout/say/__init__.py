"""What was found, in sentences and in the reader's units: one module a stage. Nothing here finds anything."""

from collections.abc import Iterator
from contextlib import contextmanager

from cutout.errors import CutoutError, Length
from cutout.finding import Finding
from cutout.say import checking, mending, planning, proving, routing, source
from cutout.say.together import Together, together
from cutout.say.words import SENTENCES, Said, Words, says
from cutout.units import Units, format_length

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
    "worded",
]


def said(finding: Finding, units: Units) -> Said:
    """The finding in words, one sentence on what is the case and one on what to do."""
    words = SENTENCES[type(finding.facts)](finding, finding.facts, Words(units))
    return mending.left_out(words) if finding.left_out else words


@contextmanager
def worded(units: Units) -> Iterator[None]:
    """Errors raised within say their lengths in these units."""
    try:
        yield
    except CutoutError as error:
        if not any(isinstance(part, Length) for part in error.said):
            raise
        said = (format_length(part.mm, units) if isinstance(part, Length) else part for part in error.said)
        raise type(error)("".join(said)) from error
