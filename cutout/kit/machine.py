"""The machine that carries the router, and what its controller understands."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal, TypeAlias

from cutout.errors import KitError
from cutout.kit.data import choose, table

Dwell: TypeAlias = Literal["seconds", "milliseconds"]


@dataclass(frozen=True, slots=True)
class Machine:
    """A three-axis machine; mm, mm/min, turns a minute, seconds.

    bed: travel along x and y; travel_z: along z; None where nobody said. feed, rapid: fastest feed and travel.
    speed_least, speed_most: range of the spindle. wait: how long it takes to reach its speed. dwell: what P
    after G4 counts. arcs: it knows G2 and G3. tool_change: it knows M6, so that all bits share one program.
    drill_cycles: it knows G81 and G83. Raises KitError for what no machine can be.
    """

    name: str
    title: str
    source: str
    bed: tuple[float, float] | None = None
    travel_z: float | None = None
    feed: float = 3000.0
    rapid: float = 3000.0
    speed_least: float = 10000.0
    speed_most: float = 24000.0
    wait: float = 5.0
    dwell: Dwell = "seconds"
    arcs: bool = True
    tool_change: bool = False
    drill_cycles: bool = False

    def __post_init__(self) -> None:
        if isinstance(self.bed, list):
            object.__setattr__(self, "bed", tuple(self.bed))
        sizes = [self.feed, self.rapid, self.speed_least, self.speed_most, *(self.bed or ())]
        sizes += [self.travel_z] if self.travel_z is not None else []
        if not all(math.isfinite(s) and s > 0 for s in sizes):
            raise KitError(f"machine {self.name}: bed, travel, feeds and speeds must be more than zero.")
        if self.speed_least > self.speed_most:
            raise KitError(f"machine {self.name}: its least speed is above its greatest.")
        if not (math.isfinite(self.wait) and 0 <= self.wait <= 120):
            raise KitError(f"machine {self.name}: the wait for the spindle is 0 to 120 seconds.")
        if self.dwell not in ("seconds", "milliseconds"):
            raise KitError(f'machine {self.name}: dwell "{self.dwell}": use seconds or milliseconds.')


def machines() -> dict[str, Machine]:
    """Every machine of the data file and of the user's own kit file, by name. Raises KitError."""
    return table("machines", "machine", Machine)


def machine(name: str) -> Machine:
    """The machine called `name`. Raises KitError."""
    return machines()[choose("machine", name, machines())]
