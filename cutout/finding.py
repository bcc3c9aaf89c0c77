"""What a check found: data, in a fixed order."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal, TypeAlias

Severity: TypeAlias = Literal["stop", "care"]
Kind: TypeAlias = Literal[
    "tight corner", "tight curve", "narrow opening", "thin web", "short grain", "loose piece",
    "too near the edge", "speck", "off the panel", "glue line", "drawn line", "kit", "plan", "router", "source",
]  # fmt: skip


DANGER: tuple[Kind, ...] = (
    "loose piece", "thin web", "short grain", "narrow opening", "too near the edge", "off the panel", "glue line",
    "tight corner", "tight curve", "drawn line", "speck", "kit", "plan", "router", "source",
)  # fmt: skip
"""Every kind of finding, what can spoil the board or hurt someone first."""

_RANK = {kind: rank for rank, kind in enumerate(DANGER)}


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing the user should know. `stop`: can't be cut or would drop out; `care`: can, with what it says.

    at: place on the panel (mm). size: what was measured, limit: what it should be (mm or radians as the
    text says; None where there is no number, as for the radius of a sharp corner). opening: number of the
    opening, None for keep. text and remedy: one sentence each, in the user's units, in a woodworker's words.
    cleared: mended since.
    """

    kind: Kind
    severity: Severity
    at: tuple[float, float]
    size: float | None
    limit: float | None
    opening: int | None
    text: str
    remedy: str
    cleared: bool = False


def ordered(findings: Iterable[Finding]) -> tuple[Finding, ...]:
    """Stops first, then by danger (see `DANGER`), then from the top left: the same list for the same input."""
    return tuple(
        sorted(
            findings,
            key=lambda f: (f.severity != "stop", _RANK[f.kind], -round(f.at[1], 1), round(f.at[0], 1)),
        )
    )
