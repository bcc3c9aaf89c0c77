"""What a check found: data, in a fixed order. `cutout.say` makes sentences of it."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal, TypeAlias, get_args

Severity: TypeAlias = Literal["stop", "care"]
Kind: TypeAlias = Literal[
    "loose piece",
    "thin web",
    "short grain",
    "narrow opening",
    "too near the edge",
    "off the panel",
    "glue line",
    "tight corner",
    "tight curve",
    "drawn line",
    "speck",
    "kit",
    "plan",
    "router",
    "source",
]
"""What a finding is about; the order is that of danger, see `DANGER`."""

DANGER: tuple[Kind, ...] = get_args(Kind)
"""Every kind of finding, what can spoil the board or hurt someone first."""

_RANK = {kind: rank for rank, kind in enumerate(DANGER)}


@dataclass(frozen=True, slots=True)
class Facts:
    """What is the case, beside the numbers every finding has: one subclass for each sort of finding.

    Lengths are mm and angles radians, as everywhere; nothing here is worded or rounded for people.
    """


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """One thing the user should know. `stop`: can't be cut or would drop out; `care`: can, with what it says.

    at: place on the panel (mm). size: what was measured, limit: what it should be (mm or radians; None where
    there is no number, as for the radius of a sharp corner). opening: number of the opening, None for keep.
    facts: which sort of finding it is, and what else was found. cleared: mended since; left_out: by leaving
    out the piece or opening it is about.
    """

    kind: Kind
    severity: Severity
    at: tuple[float, float]
    size: float | None = None
    limit: float | None = None
    opening: int | None = None
    facts: Facts
    cleared: bool = False
    left_out: bool = False


def ordered(findings: Iterable[Finding]) -> tuple[Finding, ...]:
    """Stops first, then by danger (see `DANGER`), then from the top left: the same list for the same input."""
    return tuple(
        sorted(
            findings,
            key=lambda f: (f.severity != "stop", _RANK[f.kind], -round(f.at[1], 1), round(f.at[0], 1)),
        )
    )
