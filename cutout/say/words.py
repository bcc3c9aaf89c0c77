"""Which sentence belongs to which facts, and lengths in the reader's units."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, TypeVar

from cutout.finding import Facts, Finding
from cutout.units import MM_PER_INCH, Units, format_length, format_size

SQUARE_CM = 100.0
"""So many mm^2; areas from here on are told in square centimetres."""


@dataclass(frozen=True, slots=True)
class Said:
    """A finding in words: what is the case and what to do, one sentence each, in a woodworker's words."""

    text: str
    remedy: str


@dataclass(frozen=True, slots=True)
class Words:
    """Measures as the reader writes them; all that goes in is mm."""

    units: Units

    def length(self, mm: float | None) -> str:
        """One length with its unit. Raises ValueError where there is none to say."""
        if mm is None:
            raise ValueError("a sentence asks for a length that its finding does not have")
        return format_length(mm, self.units)

    def fine(self, mm: float) -> str:
        """A small length that matters in decimals: 0.05 mm, 0.002 in."""
        return f"{mm:.2f} mm" if self.units == "mm" else f"{mm / MM_PER_INCH:.3f} in"

    def size(self, width: float, height: float) -> str:
        """Width x height."""
        return format_size(width, height, self.units)

    def place(self, x: float, y: float) -> str:
        """A place on the panel, from its lower left corner; to the millimetre, or to a tenth of an inch."""
        if self.units == "in":
            return f"{x / MM_PER_INCH:.1f}, {y / MM_PER_INCH:.1f} in"
        return f"{x:.0f}, {y:.0f} mm"

    def area(self, mm2: float) -> str:
        """An area."""
        if self.units == "in":
            return f"{mm2 / MM_PER_INCH**2:.2f} square inches"
        return f"{mm2 / SQUARE_CM:.1f} square cm" if mm2 >= SQUARE_CM else f"{mm2:.1f} square mm"


F = TypeVar("F", bound=Facts)
Sentence = Callable[[Finding, F, Words], Said]

SENTENCES: dict[type[Facts], Callable[[Finding, Any, Words], Said]] = {}
"""For each sort of facts the function that words it; filled by the modules of this package, one a stage."""


def says(sort: type[F]) -> Callable[[Sentence[F]], Sentence[F]]:
    """Declare the function below to word findings with facts of this sort. Raises ValueError for a second one."""

    def keep(sentence: Sentence[F]) -> Sentence[F]:
        if sort in SENTENCES:
            raise ValueError(f"{sort.__name__} has its sentence already")
        SENTENCES[sort] = sentence
        return sentence

    return keep
