"""Holes, legs and the plan they make."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal, TypeAlias

from shapely import MultiPolygon

from cutout.finding import Finding
from cutout.geom.curve import FloatArray

Role: TypeAlias = Literal["starter", "relief", "clearing"]
"""starter: lets the blade in; relief: lets it turn, or saves nibbling a tight curve; clearing: one of the
holes that take away waste where no blade gets."""


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

    starts: "hole 3", "leg 2" (the open kerf or fallen waste of an earlier leg) or "edge" of the panel;
    ends: the same, or "corner": the blade stops there and is backed out the way it came.
    drops: area of waste that comes free at the end of this leg (empty when none).
    """

    order: int
    opening: int
    path: FloatArray
    starts: str
    ends: str
    drops: MultiPolygon = field(default_factory=MultiPolygon)


@dataclass(frozen=True, eq=False, slots=True)
class LeftOver:
    """A sliver of waste left in a corner for a file: where, how deep (mm), its area (mm^2)."""

    at: tuple[float, float]
    depth: float
    area: float


@dataclass(frozen=True, eq=False, slots=True)
class Plan:
    """Where to drill and in which order to saw. minutes is an estimate at the blade's stated feed."""

    holes: tuple[Hole, ...]
    legs: tuple[Leg, ...]
    left_over: tuple[LeftOver, ...]
    findings: tuple[Finding, ...]
    cut_length: float
    entries: int
    minutes: float


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
