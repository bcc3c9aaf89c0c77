"""What the page draws: patterns, findings and plans as plain data, thinned out for the screen only.

Lengths are mm in the panel's frame (y up); areas are SVG path data in that frame.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import asdict
from typing import Any, get_args

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from cutout.amend.model import Bridge, Eased
from cutout.amend.size import BladeSize
from cutout.errors import CutoutError
from cutout.finding import Finding
from cutout.geom.curve import Similarity
from cutout.geom.outline import Outline, polygons_of
from cutout.job.schema import FramePart
from cutout.kit import Blade
from cutout.page.remedies import Remedy
from cutout.page.steps import steps
from cutout.pattern import Opening, Panel, Pattern, Zone
from cutout.saw.model import Plan
from cutout.say import said
from cutout.say.sizes import smallest
from cutout.units import MM_PER_INCH, Units, count, format_length, format_minutes, format_size
from cutout.write.drawing import Drawing
from cutout.write.template.annotate import drill_kinds
from cutout.write.template.template import tiling_of
from cutout.write.work import Work

MOST_POINTS = 2_000
"""Points sent for one region; more than a screen can show, and a drag stays smooth."""

PART_POINTS = 500
"""Points sent for a zone or a leg, of which there may be many."""

_FINEST = 0.02
"""The first tolerance (mm) that regions are thinned by, doubled until they are small enough."""


def path_data(geometry: BaseGeometry, most: int = MOST_POINTS) -> str:
    """SVG path data of the polygons or lines in `geometry`, thinned until it has at most `most` points."""
    thin = _thinned(geometry, most)
    polygons = polygons_of(thin)
    if polygons:
        rings = [ring for polygon in polygons for ring in (polygon.exterior, *polygon.interiors)]
        return "".join(f"M{_run(shapely.get_coordinates(ring)[:-1])}Z" for ring in rings)
    lines = shapely.get_parts(thin) if not thin.is_empty else ()
    return "".join(f"M{_run(shapely.get_coordinates(line))}" for line in lines)


def panel_view(panel: Panel, units: Units) -> dict[str, Any]:
    """The board, its grain and its keep-out areas."""
    return {
        "width": panel.width,
        "height": panel.height,
        "thickness": panel.thickness,
        "grain": None if panel.grain is None else math.degrees(panel.grain),
        "label": f"{format_size(panel.width, panel.height, units)}, {format_length(panel.thickness, units)} thick",
        "zones": [
            {"name": zone.name, "path": path_data(zone.area, PART_POINTS), "at": _middle_of(zone)}
            for zone in panel.zones
        ],
        "drawn": [
            {"name": zone.name, "path": path_data(zone.area, PART_POINTS), "face": face_of(zone)}
            for zone in panel.drawn
        ],
    }


def face_of(zone: Zone) -> str:
    """The face something is drawn on, by the end of its name."""
    return "back" if zone.name.endswith("back") else "show"


def frame_view(part: FramePart | None) -> dict[str, Any] | None:
    """The frame's opening as a box (mm) in the panel's own coordinates; None for a panel that hangs free."""
    if part is None:
        return None
    left, _, _, bottom = (reach - part.reveal for reach in part.reach)
    return {
        "opening": [left, bottom, left + part.opening[0], bottom + part.opening[1]],
        "reveal": part.reveal,
    }


def figure_view(outline: Outline, units: Units, most: int) -> dict[str, Any]:
    """One figure as laid out: its box and its outline, before anything is mended."""
    x0, y0, x1, y1 = outline.bounds
    return {
        "box": [x0, y0, x1, y1],
        "at": [(x0 + x1) / 2, (y0 + y1) / 2],
        "shown_at": [format_length((x0 + x1) / 2, units), format_length((y0 + y1) / 2, units)],
        "label": format_size(x1 - x0, y1 - y0, units, rule=True),
        "shown_size": [format_length(x1 - x0, units), format_length(y1 - y0, units)],
        "path": path_data(outline.region(0.05), most),
    }


def pattern_view(pattern: Pattern) -> dict[str, Any]:
    """What is cut out, and where each opening's number goes."""
    return {
        "waste": path_data(pattern.waste),
        "openings": [{"id": o.id, "at": _label_at(o), "at_edge": o.at_edge} for o in pattern.openings],
    }


def findings_view(
    findings: Sequence[Finding], units: Units, ways: Callable[[Finding], Sequence[Remedy]] = lambda _: ()
) -> list[dict[str, Any]]:
    """The findings as listed, numbered from 1 in the order given, the mended ones last; `ways`: what can be done."""
    listed = sorted(findings, key=lambda f: f.cleared)
    return [
        {
            "number": number,
            "kind": found.kind,
            "severity": found.severity,
            "at": [_mm(found.at[0]), _mm(found.at[1])],
            "opening": found.opening,
            "text": words.text,
            "remedy": words.remedy,
            "cleared": found.cleared,
            "ways": [asdict(way) for way in ways(found)],
        }
        for number, (found, words) in enumerate(((f, said(f, units)) for f in listed), 1)
    ]


def mend_view(bridges: Iterable[Bridge], eased: Eased | None, units: Units) -> dict[str, Any]:
    """Bridges left standing and how far easing moved the line."""
    return {
        "bridges": [
            {
                "id": bridge.id,
                "at": [_mm((bridge.start[i] + bridge.end[i]) / 2) for i in (0, 1)],
                "angle": math.degrees(
                    math.atan2(bridge.end[1] - bridge.start[1], bridge.end[0] - bridge.start[0])
                ),
                "width": bridge.width,
                "label": f"{format_length(bridge.width, units)} wide",
                "place": _place_of(bridge, units),
                "by_hand": bridge.by_hand,
                "path": path_data(bridge.area, 100),
            }
            for bridge in bridges
        ],
        "eased": None if eased is None else _eased(eased, units),
    }


def blade_view(blade: Blade) -> dict[str, Any]:
    """What is known of the blade as the job has it, the user's own values over the kit's."""
    return {
        "radius": {u: format_length(blade.turning_radius, u) for u in get_args(Units)},
        "kerf": {u: format_length(blade.kerf, u) for u in get_args(Units)},
        "radius_from": blade.radius_from,
        "measured": blade.measured_note,
    }


def size_view(row: BladeSize, most: float, units: Units) -> dict[str, Any]:
    """One row of the table of blades: the smallest width of the figures it manages, and whether this size will do.

    most: the largest width tried (mm). Where the search ended at one of its ends, the size says so.
    """
    return {"smallest": smallest(row, most, units), "manages": row.manages}


def plan_view(work: Work) -> dict[str, Any]:
    """Holes, legs, and the steps that walk through them. drills: every size with its sign, its holes by number."""
    plan, proof, units = work.plan, work.proof, work.units
    drills = drill_kinds(plan.holes)
    return {
        "drills": [
            {
                "label": format_length(size, work.kit.drills.unit),
                "sign": kind,
                "holes": [hole.id for hole in plan.holes if hole.diameter == size],
            }
            for size, kind in drills.items()
        ],
        "holes": [
            {
                "id": hole.id,
                "at": [_mm(hole.at[0]), _mm(hole.at[1])],
                "diameter": hole.diameter,
                "label": format_length(hole.diameter, units),
                "roles": list(hole.roles),
                "sign": drills[hole.diameter],
            }
            for hole in plan.holes
        ],
        "legs": [
            {
                "order": leg.order,
                "opening": leg.opening,
                "path": path_data(shapely.LineString(leg.path), PART_POINTS),
            }
            for leg in plan.legs
        ],
        "steps": [
            {
                "letter": step.letter,
                "title": step.title,
                "say": step.say,
                "hold": step.hold,
                "at": list(step.at),
                "opening": step.opening,
                "length": whole_length(step.length, units) if step.legs else None,
                "goes": step.goes,
                "minutes": step.minutes,
                "holes": list(step.holes),
                "legs": list(step.legs),
                "drops": path_data(step.drops, PART_POINTS),
            }
            for step in steps(work)
        ],
        "sums": _sums(plan, units),
        "time": format_minutes(plan.minutes),
        "proved": proof.ok,
    }


def sheets_view(work: Work) -> dict[str, Any] | None:
    """The template's sheets as they lie on the panel, and how many are printed; None where it can't be laid out."""
    drawing = Drawing.of(work)
    try:
        tiling = tiling_of(drawing)
    except CutoutError:
        return None
    back = _inverse(drawing.frame)
    printed, blank = len(tiling.sheets), len(tiling.blank)
    left_out = (
        f"; {count(blank, 'sheet')} that would be blank {'is' if blank == 1 else 'are'} left out"
        if blank
        else ""
    )
    return {
        "sheets": [
            {"name": sheet.name, "blank": sheet in tiling.blank, **_on_panel(sheet.window, back)}
            for sheet in (*tiling.sheets, *tiling.blank)
        ],
        "text": f"Template: {count(printed, 'sheet')} of {work.paper.title}, {tiling.columns} across and "
        f"{tiling.rows} down{left_out}.",
    }


def _on_panel(window: tuple[float, float, float, float], back: Similarity) -> dict[str, Any]:
    x0, y0, x1, y1 = window
    corners = [back(complex(x, y)) for x, y in ((x0, y0), (x1, y0), (x1, y1), (x0, y1))]
    middle = sum(corners) / 4
    path = _run(np.array([[corner.real, corner.imag] for corner in corners]))
    return {"path": f"M{path}Z", "at": [_mm(middle.real), _mm(middle.imag)]}


def _inverse(frame: Similarity) -> Similarity:
    """The similarity that takes paper points back to the panel."""
    a = 1 / frame.a
    return (
        Similarity(a.conjugate(), -(a * frame.b).conjugate(), True)
        if frame.mirror
        else Similarity(a, -a * frame.b)
    )


def _middle_of(zone: Zone) -> list[float]:
    middle = zone.area.representative_point()
    return [_mm(middle.x), _mm(middle.y)]


def _place_of(bridge: Bridge, units: Units) -> str:
    """Where a bridge stands, in words, so that two of the same width can be told apart without looking."""
    across, up = ((bridge.start[i] + bridge.end[i]) / 2 for i in (0, 1))
    return f"{format_length(across, units)} from the left, {format_length(up, units)} from the bottom"


def _sums(plan: Plan, units: Units) -> str:
    counts = (count(len(plan.holes), "hole"), count(len(plan.legs), "cut"))
    length = whole_length(plan.cut_length, units)
    return f"{counts[0]}, {counts[1]}, {length} of sawing, about {format_minutes(plan.minutes)}."


def whole_length(mm: float, units: Units) -> str:
    """A sum of length as people say it: to an inch, or to ten millimetres."""
    if units == "in":
        return f"{max(1, round(mm / MM_PER_INCH))} in"
    return f"{max(10, round(mm, -1)):.0f} mm"


def _eased(eased: Eased, units: Units) -> str:
    if not eased.moved:
        return "Easing changed nothing."
    return f"Easing moved the line by {format_length(eased.max_shift, units)} at most."


def _label_at(opening: Opening) -> list[float]:
    point = shapely.point_on_surface(opening.region)
    return [_mm(point.x), _mm(point.y)]


def _thinned(geometry: BaseGeometry, most: int) -> BaseGeometry:
    tolerance = _FINEST
    thin = geometry
    while shapely.get_num_coordinates(thin) > most and tolerance < 1e4:
        thin = shapely.simplify(geometry, tolerance, preserve_topology=False)
        tolerance *= 2
    return thin


def _run(points: np.ndarray) -> str:
    return "L".join(f"{x:g} {y:g}" for x, y in np.round(points, 2).tolist())


def _mm(value: float) -> float:
    return round(float(value), 3)
