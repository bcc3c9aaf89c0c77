"""Holes, legs and the plan they make."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Literal, TypeAlias

import numpy as np
import shapely
from shapely import MultiPolygon

from cutout.finding import Finding
from cutout.geom.curve import FloatArray, run_length, to_complex
from cutout.pattern.placing import SPOT_PLACES

Role: TypeAlias = Literal["starter", "relief", "clearing"]
"""starter: lets the blade in; relief: lets it turn, or saves nibbling a tight curve; clearing: one of the
holes that take away waste where no blade gets."""


StartBy: TypeAlias = Literal["on", "back", "turn", "spin", "drop in", "lift", "thread"]
"""How the blade comes to where a leg begins. on: it simply goes on; back: backed out of where it stands, in its own
kerf, and branching off; turn: turned on the spot, in a hole or where waste has fallen; spin: a thin blade turned on
the spot in its own kerf, round its back edge; drop in: lifted out and let into a hole, fallen waste or the edge;
lift: lifted out and put into a kerf; thread: unclamped and passed through."""

HELD = 50.0
"""A piece from this size (mm^2) on is to be held when it comes free."""
PATH_PLACES = 5
"""Places behind the point that paths of a plan are told to (mm)."""
SHORT = 15.0
"""Cuts up to this length (mm) are short."""

Shift: TypeAlias = tuple[float, float]
"""By how much something is moved (mm)."""

SAME_GO: tuple[StartBy, ...] = ("on", "back", "turn", "spin")
"""Moves within one go: the saw is not lifted."""


@dataclass(frozen=True, slots=True)
class Place:
    """What a leg starts from or ends in.

    hole: a drilled one; leg: the open kerf of an earlier leg, or waste that fell with it; both by number.
    edge: of the panel; corner: nothing is open there, the blade stops and is backed out the way it came.
    """

    kind: Literal["hole", "leg", "edge", "corner"]
    number: int | None = None


EDGE, CORNER = Place("edge"), Place("corner")


@dataclass(frozen=True, slots=True)
class Hole:
    """A hole to drill before sawing; centre and diameter in mm. `roles` in the order of Role."""

    id: int
    at: tuple[float, float]
    diameter: float
    roles: tuple[Role, ...]
    opening: int


@dataclass(frozen=True, eq=False, slots=True)
class Leg:
    """One stretch of sawing. path: (n, 2) blade-centre points in mm, in the direction of travel.

    starts: a hole, an earlier leg or the edge; ends: the same, or a corner.
    drops: area of waste that comes free at the end of this leg (empty when none).
    start_by: how the blade comes to where it begins. turned: the angle (radians, to the left positive) by which a
    spin turns it, about a point half a blade width behind the first of the path.
    """

    order: int
    opening: int
    path: FloatArray
    starts: Place
    ends: Place
    drops: MultiPolygon = field(default_factory=MultiPolygon)
    start_by: StartBy = "drop in"
    turned: float = 0.0

    @property
    def length(self) -> float:
        """Length of the path (mm)."""
        return run_length(to_complex(self.path))

    def moved(self, by: Shift) -> Leg:
        """The same somewhere else."""
        return replace(self, path=np.round(self.path + by, PATH_PLACES), drops=_moved(self.drops, by))


@dataclass(frozen=True, eq=False, slots=True)
class LeftOver:
    """A sliver of waste left in a corner for a file: where, how deep (mm), its area (mm^2)."""

    at: tuple[float, float]
    depth: float
    area: float

    def moved(self, by: Shift) -> LeftOver:
        """The same somewhere else."""
        return replace(self, at=_spot(self.at, by))


@dataclass(frozen=True, eq=False, slots=True)
class Step:
    """What the sawyer is told at once: some legs, or what to drill before them, and what falls.

    letter: A, B, ... without I and O. legs: their numbers; holes: numbers of holes drilled in this step.
    goes: how often the saw is put in for it; 0 where it stays in. minutes: an estimate; those of all steps add up
    to the plan's.
    """

    letter: str
    legs: tuple[int, ...]
    holes: tuple[int, ...]
    drops: MultiPolygon
    goes: int = 0
    minutes: float = 0.0

    def moved(self, by: Shift) -> Step:
        """The same somewhere else."""
        return replace(self, drops=_moved(self.drops, by))


@dataclass(frozen=True, eq=False, slots=True)
class Plan:
    """Where to drill and in which order to saw.

    entries: how often the saw is put in; goes: everything sawn between two of these; lifts: times it is put into a
    kerf again, or threaded. minutes: an estimate; minutes_by: the same by kind of move.
    """

    holes: tuple[Hole, ...]
    legs: tuple[Leg, ...]
    left_over: tuple[LeftOver, ...]
    findings: tuple[Finding, ...]
    cut_length: float
    entries: int
    minutes: float
    steps: tuple[Step, ...] = ()
    goes: int = 0
    lifts: int = 0
    minutes_by: Mapping[str, float] = field(default_factory=dict)

    def moved(self, by: Shift) -> Plan:
        """The same plan for a pattern that lies somewhere else."""
        return replace(
            self,
            holes=tuple(replace(h, at=_spot(h.at, by)) for h in self.holes),
            legs=tuple(leg.moved(by) for leg in self.legs),
            left_over=tuple(left.moved(by) for left in self.left_over),
            findings=_found(self.findings, by),
            steps=tuple(step.moved(by) for step in self.steps),
        )


@dataclass(frozen=True, eq=False, slots=True)
class Proof:
    """What moving the blade along the plan showed. ok: nothing failed; findings: each failure as a stop.

    gouge: deepest cut into keep (mm). left_over: waste that stays, measured by the proof itself.
    """

    ok: bool
    findings: tuple[Finding, ...]
    gouge: float
    left_over: tuple[LeftOver, ...]
    steps: int

    def moved(self, by: Shift) -> Proof:
        """The same proof for a plan that lies somewhere else."""
        left = tuple(spot.moved(by) for spot in self.left_over)
        return replace(self, findings=_found(self.findings, by), left_over=left)


def _spot(at: tuple[float, float], by: Shift) -> tuple[float, float]:
    return round(at[0] + by[0], SPOT_PLACES), round(at[1] + by[1], SPOT_PLACES)


def _moved(area: MultiPolygon, by: Shift) -> MultiPolygon:
    return shapely.transform(area, lambda xy: xy + by)


def _found(findings: tuple[Finding, ...], by: Shift) -> tuple[Finding, ...]:
    return tuple(replace(f, at=_spot(f.at, by)) for f in findings)
