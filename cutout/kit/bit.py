"""Router bits."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal, TypeAlias

from cutout.errors import KitError, UnitError
from cutout.kit.data import choose, table
from cutout.units import Units, format_length, parse_positive

BitKind: TypeAlias = Literal["straight", "up-cut", "down-cut"]
_KINDS = ("straight", "up-cut", "down-cut")
_SPEED, _LARGE, _LARGE_SPEED = 18000.0, 13.0, 16000.0
"""Turns a minute of the chart (solid wood, 18,000 rpm); a bit wider than 13 mm: common practice, no source."""
# Mm; wider ones are for machines with more power than a hand router: common practice, no source.
_WIDEST = 60.0
_DEPTH = 0.5
"""Depth of a turn in diameters: common practice, no source."""


@dataclass(frozen=True, slots=True)
class Bit:
    """A router bit with upright sides; lengths in mm, speed in turns a minute.

    depth_per_pass: how deep one turn goes. flute_length: how deep it can cut at all; None where nobody measured
    it. kind: which way its flutes throw the chips. chip_load (mm per tooth) and plunge (mm/min): what its maker
    says; None where the charts decide. Raises KitError for sizes no bit can have.
    """

    name: str
    title: str
    diameter: float
    source: str
    flutes: int = 2
    speed: float = _SPEED
    depth_per_pass: float = 0.0
    flute_length: float | None = None
    kind: BitKind = "straight"
    chip_load: float | None = None
    plunge: float | None = None

    def __post_init__(self) -> None:
        if self.depth_per_pass == 0.0:
            object.__setattr__(self, "depth_per_pass", _DEPTH * self.diameter)
        sizes = (self.diameter, self.flutes, self.speed, self.depth_per_pass)
        known = [s for s in (self.flute_length, self.chip_load, self.plunge) if s is not None]
        if not all(math.isfinite(s) and s > 0 for s in (*sizes, *known)):
            raise KitError(f"bit {self.name}: every size, speed and load must be more than zero.")
        if self.flutes != int(self.flutes):
            raise KitError(f"bit {self.name}: the number of flutes is a whole number.")
        if self.kind not in _KINDS:
            raise KitError(f'bit {self.name}: kind "{self.kind}": use one of {", ".join(_KINDS)}.')

    @property
    def radius(self) -> float:
        """Half the cutting diameter; also the radius of every inside corner it leaves."""
        return self.diameter / 2


def bits() -> dict[str, Bit]:
    """Every bit of the data file and of the user's own kit file, by name. Raises KitError."""
    return table("bits", "bit", Bit)


def bit(text: str, default: Units | None = None) -> Bit:
    """The bit called `text`, or one of that diameter, like "12mm" or "5/16in". Raises KitError.

    A bit known by its diameter alone has two flutes and goes half its diameter deep in a turn.
    """
    key = text.strip().lower().replace(" ", "-")
    if key in bits():
        return bits()[key]
    if not key[:1].isdigit() and key[:1] not in "½¼¾⅛⅜⅝⅞.":
        return bits()[choose("bit", text, bits())]
    try:
        diameter = parse_positive(text, default, what="bit")
    except UnitError as error:
        raise KitError(f"{str(error).rstrip('.')}; or name a bit that `cutout kit` lists.") from error
    if diameter > _WIDEST:
        raise KitError(f'bit "{text}": a router bit is no wider than {format_length(_WIDEST)}.')
    said_in = any(sign in text for sign in ('"', "in", "″"))
    units: Units = "in" if said_in or (default == "in" and "m" not in key) else "mm"
    known = next((b for b in bits().values() if abs(b.diameter - diameter) < 1e-6), None)
    return known or Bit(
        key,
        f"straight bit, {format_length(diameter, units)}",
        diameter,
        "your own bit, by its diameter; two flutes and half its diameter in a turn: common practice, no source",
        speed=_SPEED if diameter <= _LARGE else _LARGE_SPEED,
    )
