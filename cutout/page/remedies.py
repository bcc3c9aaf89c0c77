"""What can be done about a finding at one touch: changes of the job, with the words for their button.

A remedy is worked out from what the finding measured, never from its words. Each is a change of the job like any
other, so that it can be undone; what it brings is seen by the next check.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import shapely

from cutout.amend.model import Bridge
from cutout.amend.size import OF_BLADE
from cutout.check.hint import best_way
from cutout.check.web import LARGER
from cutout.finding import Finding, Kind
from cutout.job.schema import FigurePart, Job
from cutout.kit import Blade, Kit, blades
from cutout.measure.webs import breaking
from cutout.pattern import Pattern
from cutout.pattern.frame import clear_area
from cutout.units import MM_PER_INCH, format_length

MOST_BLADES = 4
"""Blades tried until one manages the pattern; each trial is a round of checks."""

MANY = 150
"""Findings from which on the page asks before it mends: so many come of a noisy photo, and help nobody."""

SMOOTHED = 0.5
"""Smoothing offered then, of 1; a figure that has as much already is not asked about."""

Box = tuple[float, float, float, float]
Changes = tuple[dict[str, Any], ...]


@dataclass(frozen=True, slots=True)
class Remedy:
    """The words on a button, and the changes of the job behind it: path and value, as the page sends them."""

    label: str
    changes: Changes


@dataclass(frozen=True, eq=False)
class Case:
    """What remedies are worked out from. boxes: each figure as laid out (mm), none where they stand in a row."""

    job: Job
    kit: Kit
    pattern: Pattern
    bridges: tuple[Bridge, ...]
    boxes: tuple[Box, ...]

    @cached_property
    def other_blade(self) -> Blade | None:
        """The widest blade, narrower than the job's, that nothing in the pattern stops; of the same saw first."""
        mine = self.kit.blade
        narrower = [b for b in blades().values() if b.width < mine.width and b.name != mine.name]
        narrower.sort(key=lambda b: (b.saw != mine.saw, -b.width, b.name))
        for blade in narrower[:MOST_BLADES]:
            kit = replace(self.kit, blade=blade, allowance=None)
            found = (f for check in OF_BLADE for f in check(self.pattern, kit))
            if not any(f.severity == "stop" for f in found):
                return blade
        return None


def remedies(found: Finding, case: Case) -> tuple[Remedy, ...]:
    """What can be done about one finding; nothing for one that was mended."""
    if found.cleared:
        return ()
    ways = (way(found, case) for way in _WAYS.get(found.kind, ()))
    return tuple(way for way in ways if way is not None)


def lead(case: Case) -> tuple[str, Remedy | None] | None:
    """What strengthens the whole pattern most, as a sentence, and a remedy where a setting can do it."""
    way = best_way(case.pattern, case.kit)
    if way is None:
        return None
    if way.turn is None:
        grain = round((math.degrees(case.pattern.panel.grain or 0.0) + 90) % 180, 3)
        return way.text, Remedy("Lay the boards the other way", (_set("panel.grain", grain),))
    if len(case.job.figures) != 1 or not case.boxes:
        return way.text, None
    turn = (case.job.figures[0].turn + way.turn) % 360
    side = "left" if way.turn > 0 else "right"
    label = f"Turn it {abs(way.turn)} degrees to the {side}"
    return way.text, Remedy(label, (_set("figures.0.turn", turn),))


def smooth_first(job: Job, found: int, pictures: Sequence[int]) -> tuple[str, Remedy] | None:
    """Whether to ask before mending: `found` findings, and the figures (by number) that are photos or scans."""
    rough = [n for n in pictures if job.figures[n].smooth < SMOOTHED]
    if found < MANY or not rough:
        return None
    text = (
        f"{found} findings: the picture's edge is rough, and every tooth of it is a place of its own. "
        "Mending and planning them all would take long."
    )
    return text, Remedy("Smooth it", tuple(_set(f"figures.{n}.smooth", SMOOTHED) for n in rough))


def take_blade(blade: Blade) -> Remedy:
    """Saw with another blade; what was measured of the old one does not hold for it."""
    unset = (_set(f"saw.{name}", None) for name in ("turning_radius", "kerf", "allowance"))
    return Remedy(f"Take the {blade.title}", (_set("saw.blade", blade.name), *unset))


def take_width(job: Job, box: Box, width: float) -> Remedy:
    """The only figure of a job at another width (mm), rounded up."""
    x0, _, x1, _ = box
    units = job.units or "mm"
    wide = _up(width, units)
    return Remedy(f"Take {format_length(wide, units)}", _scaled(job.figures[0], 0, box, wide / (x1 - x0)))


def _wider_bridge(found: Finding, case: Case) -> Remedy | None:
    """A web that is a bridge can simply be left wider."""
    if found.limit is None:
        return None
    spot = shapely.Point(found.at)
    near = [b for b in case.bridges if b.area.distance(spot) <= 1.0]
    if not near:
        return None
    bridge = min(near, key=lambda b: b.area.centroid.distance(spot))
    width = _up(found.limit, case.kit.units)
    if width <= bridge.width:
        return None
    label = f"Leave this bridge {format_length(width, case.kit.units)} wide"
    middle = tuple(round((a + b) / 2, 3) for a, b in zip(bridge.start, bridge.end, strict=True))
    if bridge.by_hand:
        far = [math.dist(part.at, middle) for part in case.job.mend.bridges]
        return Remedy(label, (_set(f"mend.bridges.{far.index(min(far))}.width", width),))
    angle = math.degrees(math.atan2(bridge.end[1] - bridge.start[1], bridge.end[0] - bridge.start[0]))
    own = {"at": list(middle), "angle": round(angle, 2), "width": width}
    return Remedy(label, (_set("mend.without.+", list(middle)), _set("mend.bridges.+", own)))


def _larger(found: Finding, case: Case) -> Remedy | None:
    """The figure so large that this place is as wide, or as round, as it should be; where it still fits."""
    n = _figure_at(found.at, case)
    if n is None or not found.size or found.limit is None:
        return None
    wanted = found.limit
    if found.kind in ("thin web", "short grain") and found.severity == "stop":
        wanted = max(breaking(wanted), case.kit.limits.web_stop)
    factor = math.ceil(100 * wanted / found.size) / 100
    if not 1 < factor <= LARGER or not _fits(case.boxes[n], factor, case):
        return None
    label = f"Make the figure {round(100 * (factor - 1))} % larger"
    return Remedy(label, _scaled(case.job.figures[n], n, case.boxes[n], factor))


def _blade(found: Finding, case: Case) -> Remedy | None:
    """Another blade, where this one is stopped or does not suit."""
    if (found.severity != "stop" and found.kind != "kit") or case.pattern.keep_mode == "both":
        return None
    return take_blade(case.other_blade) if case.other_blade else None


def _ease(_: Finding, case: Case) -> Remedy | None:
    return None if case.job.mend.ease else Remedy("Ease corners for the blade", (_set("mend.ease", True),))


def _bridge(_: Finding, case: Case) -> Remedy | None:
    return None if case.job.mend.bridge else Remedy("Tie it with bridges", (_set("mend.bridge", True),))


def _onto_the_panel(found: Finding, case: Case) -> Remedy | None:
    """Shifted as little as clears the edge, or made as large as the panel takes."""
    n = _figure_at(found.at, case)
    if n is None:
        return None
    x0, y0, x1, y1 = case.boxes[n]
    left, bottom, right, top = _room(case)
    if x1 - x0 > right - left or y1 - y0 > top - bottom:
        factor = math.floor(100 * min((right - left) / (x1 - x0), (top - bottom) / (y1 - y0))) / 100
        if factor <= 0:
            return None
        centred = _set(f"figures.{n}.at", [round((left + right) / 2, 2), round((bottom + top) / 2, 2)])
        changes = (*_scaled(case.job.figures[n], n, case.boxes[n], factor), centred)
        return Remedy(f"Make the figure {round(100 * (1 - factor))} % smaller", changes)
    dx, dy = _into(x0, x1, left, right), _into(y0, y1, bottom, top)
    if not dx and not dy:
        return None
    at = [round((x0 + x1) / 2 + dx, 2), round((y0 + y1) / 2 + dy, 2)]
    far = format_length(max(abs(dx), abs(dy)), case.kit.units)
    return Remedy(f"Move the figure in by {far}", (_set(f"figures.{n}.at", at),))


_WEB = (_wider_bridge, _larger)
_TURN = (_ease, _blade, _larger)
_WAYS: dict[Kind, Sequence[Callable[[Finding, Case], Remedy | None]]] = {
    "thin web": _WEB,
    "short grain": _WEB,
    "glue line": (_wider_bridge,),
    "tight corner": _TURN,
    "tight curve": _TURN,
    "narrow opening": (_blade,),
    "kit": (_blade,),
    "plan": (_blade,),
    "loose piece": (_bridge,),
    "off the panel": (_onto_the_panel,),
    "too near the edge": (_onto_the_panel,),
}
"""What is tried for each kind of finding, what changes least first."""


def _set(path: str, value: Any) -> dict[str, Any]:
    return {"path": path, "value": value}


def _up(mm: float, units: str) -> float:
    """Rounded up to what people set (taste); what lies a tenth of a step over one is taken for it."""
    step = MM_PER_INCH / 16 if units == "in" else 0.5 if mm < 50 else 1.0
    return round(math.ceil(mm / step - 0.1) * step, 4)


def _scaled(figure: FigurePart, n: int, box: Box, factor: float) -> Changes:
    """Changes that give a figure another size about its own middle, in the setting that rules its size."""
    x0, y0, x1, y1 = box
    free = [_set(f"figures.{n}.fit", False)] if figure.fit else []
    if figure.cap_height is not None:
        return (*free, _set(f"figures.{n}.cap_height", round(figure.cap_height * factor, 2)))
    if figure.height is not None:
        return (*free, _set(f"figures.{n}.height", round((y1 - y0) * factor, 2)))
    return (*free, _set(f"figures.{n}.width", round((x1 - x0) * factor, 2)))


def _figure_at(at: tuple[float, float], case: Case) -> int | None:
    """The figure a place belongs to: the nearest box; None where figures are placed by a rule."""
    far = [shapely.box(*box).distance(shapely.Point(at)) for box in case.boxes]
    return far.index(min(far)) if far else None


def _room(case: Case) -> Box:
    """The clear part of the panel less the wood that is to stay at its edge."""
    x0, y0, x1, y1 = clear_area(case.pattern.panel).bounds
    edge = case.kit.limits.edge
    return x0 + edge, y0 + edge, x1 - edge, y1 - edge


def _fits(box: Box, factor: float, case: Case) -> bool:
    x0, y0, x1, y1 = box
    half = factor * (x1 - x0) / 2, factor * (y1 - y0) / 2
    middle = (x0 + x1) / 2, (y0 + y1) / 2
    left, bottom, right, top = _room(case)
    across = left <= middle[0] - half[0] and middle[0] + half[0] <= right
    return across and bottom <= middle[1] - half[1] and middle[1] + half[1] <= top


def _into(low: float, high: float, least: float, most: float) -> float:
    """How far a span that is no longer than the room is to be shifted to lie in it."""
    return max(least - low, 0.0) + min(most - high, 0.0)
