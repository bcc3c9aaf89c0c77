"""What to say about a web that is too narrow; shared by thin webs and short grain."""

from __future__ import annotations

import math

from cutout.finding import Finding, Kind, Severity
from cutout.kit import Kit, rule
from cutout.measure.webs import Web, angle_to_grain, breaking, breaking_webs, web_limit
from cutout.pattern import Pattern
from cutout.units import format_length

LARGER = 2.0
"""A larger silhouette is offered as a way out up to this many times its size."""


def finding_of(kind: Kind, web: Web, pattern: Pattern, kit: Kit) -> Finding:
    """The finding a web makes, in the user's units."""
    breaks = web.breaks or web.width < kit.limits.web_stop
    severity: Severity = "stop" if breaks else "care"
    at = (web.at.real, web.at.imag)
    remedy = _change(web, pattern, kit) if breaks else _care(web, kit)
    said = f"{remedy.removesuffix('.')} ({_source(kit)})."
    return Finding(kind, severity, at, web.width, web.limit, None, _text(web, kit, breaks), said)


def worth_saying(web: Web, kit: Kit) -> bool:
    """Whether a web falls short of its limit by as much as can be said: "3 mm: 3 mm would be sound" helps nobody."""
    return format_length(web.width, kit.units) != format_length(web.limit, kit.units)


def _source(kit: Kit) -> str:
    """Where the limit is from."""
    made = rule(kit.rule)
    return f"{made.name} rule: {made.source}"


def _text(web: Web, kit: Kit, breaks: bool) -> str:
    width, length, limit = (format_length(x, kit.units) for x in (web.width, web.length, web.limit))
    how = "" if web.angle is None else f" at {math.degrees(web.angle):.0f} degrees to the grain"
    if web.across:
        how = ", across the grain"
    end = "it would break while it is sawn" if breaks else f"{limit} would be sound"
    if not web.held:
        return f"An arm {length} long, held at one end, is only {width} wide here{how}: {end}."
    long = f" and {length} long" if web.length >= web.width else ""
    return f"A web {width} wide{long}{how}: {end}."


def _care(web: Web, kit: Kit) -> str:
    wider = f"Widen it to {format_length(web.limit, kit.units)}"
    if not web.held:
        return f"{wider}, shorten it, or saw it last and gently, well supported."
    if web.across:
        return f"{wider}, or turn the pattern or the boards so that the grain runs along it."
    return f"{wider}, or saw it last and gently, with the wood supported on both sides."


def _change(web: Web, pattern: Pattern, kit: Kit) -> str:
    """What to change so that a web no longer breaks while it is sawn: it is not to be tried as it is."""
    least = max(breaking(web.limit), kit.limits.web_stop)
    ways = [
        f"Widen it to {format_length(least, kit.units)} at the very least "
        f"({format_length(web.limit, kit.units)} would be sound)"
    ]
    if least <= LARGER * web.width:
        percent = math.ceil(100 * (least / web.width - 1))
        ways.append(f"make the silhouette {percent} % larger")
    if turned := _turned(web, pattern, kit):
        ways.append(turned)
    sheet = kit.limits.web_sheet * pattern.panel.thickness
    if web.angle is not None and web.width >= breaking(sheet):
        ways.append("take sheet goods: it " + ("is sound there" if web.width >= sheet else "holds there"))
    return f"{', '.join(ways[:-1])}, or {ways[-1]}." if len(ways) > 1 else f"{ways[0]}."


def _turned(web: Web, pattern: Pattern, kit: Kit) -> str | None:
    """Words for laying the grain the other way, where that saves this web and breaks none."""
    grain = pattern.panel.grain
    if grain is None or web.angle is None:
        return None
    limit = web_limit(pattern.panel.thickness, kit, angle_to_grain(web.along, grain + math.pi / 2))
    if web.width < breaking(limit) or breaking_webs(pattern, kit, grain + math.pi / 2) >= breaking_webs(
        pattern, kit, grain
    ):
        return None
    holds = "it is sound then" if web.width >= limit else "it can be sawn then"
    return f"lay the boards with the grain the other way: {holds}"
