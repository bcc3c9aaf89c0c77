"""What the proof can find wrong with a plan."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, TypeAlias

from cutout.finding import Facts
from cutout.saw.model import Place

What: TypeAlias = Literal[
    "not in order",
    "no length",
    "hole in keep",
    "falls unannounced",
    "does not fall",
    "no such start",
    "not in its hole",
    "no room",
    "binds",
    "bends",
    "kerf in keep",
    "piece came free",
    "piece stays",
    "never sawn",
    "no go before",
    "lifts inside",
    "no kerf to branch from",
    "no room to turn",
    "turns elsewhere",
    "no way in",
    "spins no blade",
    "spins elsewhere",
    "no room to spin",
]


@dataclass(frozen=True, slots=True, kw_only=True)
class Fault(Facts):
    """One thing that does not work. leg and hole: numbers. starts: what the leg says it starts from.

    across: of a piece (mm). saw: its sort.
    """

    what: What
    leg: int | None = None
    hole: int | None = None
    starts: Place | None = None
    across: float | None = None
    saw: str | None = None
