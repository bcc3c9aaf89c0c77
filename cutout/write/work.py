"""Everything one run worked out: the one thing writers take."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, TypeAlias

from cutout.amend.model import Bridge, Eased
from cutout.finding import Finding
from cutout.kit import Kit, Paper
from cutout.pattern import Pattern
from cutout.route.model import ToolPath
from cutout.saw.model import Plan, Proof
from cutout.units import Units

LineLies: TypeAlias = Literal["middle", "keep"]
"""Which part of the outline's line is the finished edge: its middle, or its edge while it lies in the keep."""


@dataclass(frozen=True, slots=True)
class Work:
    """The finished job. `before` is the pattern as laid out, `pattern` as mended.

    back: template mirrored for gluing on the back. findings hold everything, cleared ones too, ordered.
    notes: what readers did, one sentence each. cautions: safety lines to print. sizes: rows of the
    "at what size, with what blade" table where it was asked for. extras: further sheets of text
    (cut list, shopping list, panel sizes), title and lines. print_scale: what the printer makes of 1 along a
    sheet's short and long side. line: width of the outline on the template (mm). line_lies: whether its middle
    or its edge towards the waste is the finished edge. mat: size of a knife cutter's mat (mm).
    sheet_turn: how far the drawing lies turned on its sheets (radians, counter-clockwise).
    router_wanted: the user has a router or machine to cut it with; only then are the router's findings and
    passes printed.
    """

    title: str
    units: Units
    paper: Paper
    back: bool
    kit: Kit
    before: Pattern
    pattern: Pattern
    findings: tuple[Finding, ...]
    bridges: tuple[Bridge, ...]
    eased: Eased | None
    plan: Plan
    proof: Proof
    router: ToolPath
    notes: tuple[str, ...]
    cautions: tuple[str, ...]
    extras: tuple[tuple[str, tuple[str, ...]], ...] = ()
    dxf_version: str = "R2010"
    print_scale: tuple[float, float] = (1.0, 1.0)
    router_wanted: bool = False
    line: float = 0.2
    line_lies: LineLies = "middle"
    mat: tuple[float, float] | None = None
    sheet_turn: float = 0.0
