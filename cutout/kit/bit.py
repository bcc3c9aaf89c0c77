"""Router bits and the feed they allow."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cache

from cutout.errors import KitError
from cutout.kit.data import choose, load


@dataclass(frozen=True, slots=True)
class Bit:
    """A straight router bit; lengths in mm, chip load mm per tooth, speed 1/min, plunge mm/min."""

    name: str
    title: str
    diameter: float
    flutes: int
    chip_load: float
    speed: float
    depth_per_pass: float
    plunge: float
    source: str

    def __post_init__(self) -> None:
        sizes = (self.diameter, self.flutes, self.chip_load, self.speed, self.depth_per_pass, self.plunge)
        if not all(math.isfinite(s) and s > 0 for s in sizes):
            raise KitError(f"bit {self.name}: every size, speed and load must be more than zero.")

    @property
    def radius(self) -> float:
        """Half the cutting diameter; also the radius of every inside corner it leaves."""
        return self.diameter / 2

    @property
    def feed(self) -> float:
        """Feed in mm/min: speed * flutes * chip load (cutter makers' formula)."""
        return self.speed * self.flutes * self.chip_load


@cache
def bits() -> dict[str, Bit]:
    """Every bit of the data file by name."""
    return {entry["name"]: Bit(**entry) for entry in load("bits")["bit"]}


def bit(name: str) -> Bit:
    """The bit called `name`. Raises KitError."""
    return bits()[choose("bit", name, bits())]
