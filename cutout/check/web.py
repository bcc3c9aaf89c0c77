"""A web that is too narrow, as a finding; shared by thin webs and short grain."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal, TypeAlias

from cutout.finding import Facts, Finding, Kind
from cutout.kit import Kit
from cutout.measure.webs import Web, angle_to_grain, breaking, breaking_webs, web_limit
from cutout.pattern import Pattern
from cutout.units import read_alike

LARGER = 2.0
"""A larger silhouette is offered as a way out up to this many times its size: beyond, another picture is better."""

Gains: TypeAlias = Literal["sound", "holds"]
"""sound: as wide as it should be; holds: not, but it would not break while it is sawn."""


@dataclass(frozen=True, slots=True)
class WayOut:
    """What would save a web that breaks. least: width (mm) it needs; larger: how many times larger it must be.

    larger is None where that is too much. grain: what laying the boards the other way gains, sheet: what sheet
    goods gain; None where nothing.
    """

    least: float
    larger: float | None
    grain: Gains | None
    sheet: Gains | None


@dataclass(frozen=True, slots=True)
class NarrowWeb(Facts):
    """A web too narrow; size: its width, limit: the least it should be.

    length: mm, of an arm the whole of it. angle: between length and grain, None in sheet goods. across: it is
    short grain. held: at both ends, or an arm at one. rule: name of the rule the limit is from.
    way_out: given where it breaks while it is sawn.
    """

    length: float
    angle: float | None
    across: bool
    held: bool
    rule: str
    way_out: WayOut | None


def finding_of(kind: Kind, web: Web, pattern: Pattern, kit: Kit) -> Finding:
    """The finding a web makes."""
    breaks = web.breaks or web.width < kit.limits.web_stop
    way_out = _way_out(web, pattern, kit) if breaks else None
    return Finding(
        kind=kind,
        severity="stop" if breaks else "care",
        at=(web.at.real, web.at.imag),
        size=web.width,
        limit=web.limit,
        facts=NarrowWeb(web.length, web.angle, web.across, web.held, kit.rule, way_out),
    )


def worth_saying(web: Web) -> bool:
    """Whether a web falls short of its limit by as much as can be said."""
    return not read_alike(web.width, web.limit)


def _way_out(web: Web, pattern: Pattern, kit: Kit) -> WayOut:
    """What to change so that a web no longer breaks while it is sawn: it is not to be tried as it is."""
    least = max(breaking(web.limit), kit.limits.web_stop)
    larger = least / web.width if least <= LARGER * web.width else None
    goods = kit.limits.web_sheet * pattern.panel.thickness
    sheet: Gains | None = None
    if web.angle is not None and web.width >= breaking(goods):
        sheet = "sound" if web.width >= goods else "holds"
    return WayOut(least, larger, _turned(web, pattern, kit), sheet)


def _turned(web: Web, pattern: Pattern, kit: Kit) -> Gains | None:
    """What laying the grain the other way gains, where that saves this web and breaks none."""
    grain = pattern.panel.grain
    if grain is None or web.angle is None:
        return None
    limit = web_limit(pattern.panel.thickness, kit, angle_to_grain(web.along, grain + math.pi / 2))
    if web.width < breaking(limit) or breaking_webs(pattern, kit, grain + math.pi / 2) >= breaking_webs(
        pattern, kit, grain
    ):
        return None
    return "sound" if web.width >= limit else "holds"
