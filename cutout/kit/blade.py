"""Saw blades: size, kerf, and the tightest curve they follow."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Literal

from cutout.errors import KitError
from cutout.kit.data import choose, table
from cutout.units import MM_PER_INCH, spelled

RadiusFrom = Literal["measured", "catalogue", "formula"]


def turning_radius(width: float, clearance: float, body: float = 0.0) -> float:
    """Least centre-line radius (mm) a blade `width` mm front to back follows with `clearance` mm of side play.

    R = width^2 / (8 clearance) - body / 2: the longest chord the curved slot lets the blade's body take.
    Source: chord in an annulus; with clearance 0.318 mm it fits published band-saw radius charts for
    widths from 3/16 to 3/4 in within 13 %. Set teeth that hold the front in the middle make the true
    radius larger (about W^2 / 5.83 c), so a radius measured on scrap is always better.
    Raises KitError unless width and clearance are positive.
    """
    if width <= 0 or clearance <= 0:
        raise KitError("a blade needs a width, and a kerf wider than its body, to turn at all: check both.")
    return max(width**2 / (8 * clearance) - body / 2, 0.0)


TURNS = 1.02
"""The plan turns the blade no tighter than this many turning radii, and easing rounds for that."""
SQUEEZE = 0.04
"""A slit may be so much (mm) narrower than the cut here and there: the blade goes along its middle all the same."""


@dataclass(frozen=True, slots=True)
class Blade:
    """A saw blade; lengths in mm, feed in mm of cut per minute (an estimate).

    `radius` is the turning radius where someone measured it or a catalogue states it (`radius_from` says
    which); None means the formula decides. `measured_note` says when and in what the user measured it. Raises
    KitError for sizes no blade can have."""

    name: str
    title: str
    saw: str
    width: float
    body: float
    kerf: float
    tpi: float
    feed: float
    source: str
    radius: float | None = None
    radius_from: RadiusFrom = "formula"
    measured_note: str = ""

    def __post_init__(self) -> None:
        sizes = (self.width, self.body, self.kerf, self.tpi, self.feed)
        if not all(math.isfinite(s) and s > 0 for s in sizes):
            raise KitError(
                f"blade {self.name}: width, body, kerf, teeth and feed must all be more than zero."
            )
        if self.kerf <= self.body:
            raise KitError(
                f"blade {self.name}: kerf {spelled(self.kerf)} must be wider than its body {spelled(self.body)}."
            )
        if self.radius is not None and not (math.isfinite(self.radius) and self.radius >= 0):
            raise KitError(f"blade {self.name}: a turning radius can't be negative.")

    @property
    def turning_radius(self) -> float:
        """Least centre-line radius in mm: measured, else catalogue, else the formula (see `radius_from`)."""
        if self.radius is not None:
            return self.radius
        return turning_radius(self.width, self.kerf - self.body, self.body)

    @property
    def hole_to_turn(self) -> float:
        """Diameter (mm) of the smallest hole in which the blade turns on the spot: hypot(width, kerf)."""
        return math.hypot(self.width, self.kerf)

    @property
    def least_thickness(self) -> float:
        """Wood thickness (mm) that keeps two teeth in the cut: two inches over TPI (ShopNotes 68 p. 10-11)."""
        return 2 * MM_PER_INCH / self.tpi

    def measured(self, radius: float) -> Blade:
        """The same blade with a turning radius (mm) the user measured on scrap."""
        return replace(self, radius=radius, radius_from="measured")


def blades() -> dict[str, Blade]:
    """Every blade of the data file and of the user's own kit file, by name, in their order. Raises KitError."""
    return table("blades", "blade", Blade)


def blade(name: str) -> Blade:
    """The blade called `name`. Raises KitError."""
    return blades()[choose("blade", name, blades())]
