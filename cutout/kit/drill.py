"""Drill sets."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

from cutout.errors import KitError, UnitError
from cutout.kit.data import choose, load
from cutout.units import Units, parse_positive

APART = 1.4
"""A hole is drilled with another drill only where that is so many times as thick (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class DrillSet:
    """Drill diameters in mm, ascending, with the unit they are sold in."""

    name: str
    title: str
    unit: Units
    sizes: tuple[float, ...]

    def at_least(self, diameter: float) -> float | None:
        """The smallest drill not smaller than `diameter` mm, or None."""
        return next((d for d in self.sizes if d >= diameter - 1e-9), None)

    def up_to(self, diameter: float) -> float | None:
        """The largest drill not larger than `diameter` mm, or None."""
        return next((d for d in reversed(self.sizes) if d <= diameter + 1e-9), None)

    def apart(self, diameter: float) -> tuple[float, ...]:
        """Drills (mm, ascending) of which each is at least APART times the one before; one is `at_least(diameter)`.

        A plan that draws from these changes the drill a few times, not for every half millimetre.
        """
        first = self.at_least(diameter)
        if first is None:
            return ()
        chosen = [first]
        while (larger := self.at_least(chosen[-1] * APART)) is not None:
            chosen.append(larger)
        while (smaller := self.up_to(chosen[0] / APART)) is not None:
            chosen.insert(0, smaller)
        return tuple(chosen)


@cache
def drill_sets() -> dict[str, DrillSet]:
    """Every drill set of the data file by name."""
    return {
        s["name"]: DrillSet(
            s["name"], s["title"], s["unit"], tuple(parse_positive(x, s["unit"]) for x in s["sizes"])
        )
        for s in load("drills")["set"]
    }


def drills(text: str, default: Units | None = None) -> DrillSet:
    """A set by name, or the user's own list like "3mm,6mm,10mm" or "1/8, 1/4in". Raises KitError.

    A bare number takes the unit of the next one in the list that has one.
    """
    if not text.strip():
        raise KitError("the drill set is empty: name a set, or list your drills, like 3mm,6mm,10mm.")
    if not any(c.isdigit() for c in text):
        return drill_sets()[choose("drill set", text, drill_sets())]
    parts = _with_units([p for p in (part.strip() for part in text.replace(";", ",").split(",")) if p])
    try:
        sizes = sorted({parse_positive(p, default, what="drill") for p in parts})
    except UnitError as error:
        raise KitError(str(error)) from error
    inch = all('"' in p or "in" in p for p in parts) or (
        default == "in" and not any("mm" in p for p in parts)
    )
    return DrillSet("own", "your own drills", "in" if inch else "mm", tuple(sizes))


def _with_units(parts: list[str]) -> list[str]:
    unit, whole = "", []
    for part in reversed(parts):
        own = part.lstrip("0123456789./ -½¼¾⅛⅜⅝⅞")
        unit = own or unit
        whole.append(part if own else part + unit)
    return whole[::-1]
