"""What one job uses out of everything the user owns, and the limits it is checked against."""

from __future__ import annotations

from dataclasses import dataclass, field, fields, replace

from cutout.kit.bit import Bit, bit
from cutout.kit.blade import Blade
from cutout.kit.drill import DrillSet
from cutout.kit.machine import Machine, machine
from cutout.kit.moves import Moves, moves_of
from cutout.kit.wood import Wood
from cutout.units import Units

DENSITY = {"softwood": 1.0, "hardwood": 0.6, "sheet": 0.8}
"""Feed in a kind of wood over feed in softwood: common practice, no source."""

PRACTICE = "common practice, no source"
"""What is said where a number has no better source."""


@dataclass(frozen=True, slots=True)
class Limits:
    """Limits the checks and the plan use; lengths in mm. `origins()` tells where each default comes from.

    sawing, file_spots, hours: beyond any of them nobody would saw a plan, and it is a stop.
    """

    web_along: float = field(default=1.0, metadata={"origin": PRACTICE, "unit": "x thickness"})
    web_across: float = field(default=2.0, metadata={"origin": PRACTICE, "unit": "x thickness"})
    web_sheet: float = field(default=0.5, metadata={"origin": PRACTICE, "unit": "x thickness"})
    edge: float = field(default=10.0, metadata={"origin": PRACTICE, "unit": "mm"})
    speck: float = field(default=2.0, metadata={"origin": PRACTICE, "unit": "mm across"})
    bridge: float = field(default=1.0, metadata={"origin": PRACTICE, "unit": "x the web limit"})
    web_stop: float = field(default=0.0, metadata={"origin": "see the fretwork rule", "unit": "mm"})
    reveal: float = field(
        default=3.0, metadata={"origin": "1/8 in round an inset panel: common practice", "unit": "mm"}
    )

    sawing: float = field(default=4.0, metadata={"origin": PRACTICE, "unit": "x the outline"})
    file_spots: int = field(default=30, metadata={"origin": PRACTICE, "unit": "an opening"})
    hours: float = field(default=3.0, metadata={"origin": PRACTICE, "unit": "h at the saw"})

    @classmethod
    def origins(cls) -> dict[str, tuple[str, str]]:
        """{limit: (unit, origin)} for printing beside the values."""
        return {f.name: (f.metadata["unit"], f.metadata["origin"]) for f in fields(cls)}


@dataclass(frozen=True, slots=True)
class Kit:
    """Blade, drills, bits, machine and wood of one job, its limits, and the units its sentences use.

    rule: what is made, by which the limits of webs were chosen.
    """

    blade: Blade
    drills: DrillSet
    bit: Bit
    wood: Wood
    limits: Limits = Limits()
    units: Units = "mm"
    small_bit: Bit | None = None
    allowance: float | None = None
    times: Moves | None = None
    own_feed: float | None = None
    machine: Machine = field(default_factory=lambda: machine("plain"))
    rule: str = "furniture"

    @property
    def moves(self) -> Moves:
        """What the saw's moves take: the user's own times, else those usual for this kind of saw. Raises KitError."""
        return self.times or moves_of(self.blade.saw)

    @property
    def allow(self) -> float:
        """Wood (mm) that may stay on the waste side of the line for the file."""
        return self.moves.allowance if self.allowance is None else self.allowance

    @property
    def to_saw_by(self) -> Kit:
        """The kit without what sawing by hand does not go by, the same for all: units, the router's bits and machine.

        What is worked out from it for the saw can be known again by it.
        """
        return replace(self, units="mm", bit=bit("6mm"), small_bit=None, machine=machine("plain"))

    def feed(self, thickness: float) -> float:
        """How fast the blade cuts this wood (mm a minute) in a thickness (mm): an estimate.

        The blade's own feed is for 18 mm of softwood; it falls as the thickness grows (common practice, no source;
        published pages say only that denser and thicker wood is cut more slowly).
        """
        if self.own_feed is not None:
            return self.own_feed
        return self.blade.feed * DENSITY[self.wood.kind] * min(18.0 / max(thickness, 1.0), 3.0)
