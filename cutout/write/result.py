"""The whole result as data: result.json, described by docs/reference/result.schema.json."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping, Sequence
from dataclasses import asdict
from typing import Any

import numpy as np
import shapely
from shapely import MultiPolygon

from cutout.finding import Finding
from cutout.geom.curve import Arc, Cubic, FloatArray
from cutout.geom.outline import Ring, polygons_of
from cutout.kit import Bit
from cutout.route.model import Pass, Tile, ToolPath
from cutout.saw.model import LeftOver
from cutout.say import Said
from cutout.say.steps import place_name
from cutout.write.template.template import template_sheets
from cutout.write.work import Work

SCHEMA = "cutout-result/1"
_DIGITS = 3
"""Decimals of a millimetre kept: a hundredth of the working resolution's tenth, stable across machines."""


def result_json(work: Work, files: Mapping[str, int]) -> bytes:
    """The result as UTF-8 JSON; mm, panel frame, angles in degrees. `files`: name to size in bytes.

    The shape is versioned by "schema"; numbers are rounded to 0.001, so equal work gives equal bytes.
    """
    entries = ",\n".join(
        f"{json.dumps(key)}: {_layout(value)}" for key, value in _result(work, files).items()
    )
    return f"{{\n{entries}\n}}\n".encode("utf-8", "replace")


def _layout(value: Any) -> str:
    """Compact JSON, but lists of objects with one object a line, so that two results can be compared."""
    if isinstance(value, list) and value and not isinstance(value[0], float):
        return "[\n" + ",\n".join(_dump(item) for item in value) + "\n]"
    return _dump(value)


def _dump(value: Any) -> str:
    return json.dumps(value, ensure_ascii=False, allow_nan=False, separators=(", ", ": "))


def _result(work: Work, files: Mapping[str, int]) -> dict[str, Any]:
    return {
        "schema": SCHEMA,
        "title": work.title,
        "units": work.units,
        "panel": _panel(work),
        "pattern": {
            "keep_mode": work.pattern.keep_mode,
            "keep": _region(work.pattern.keep),
            "waste": _region(work.pattern.waste),
        },
        "blade": _blade(work),
        "findings": [_finding(f, work.said(f)) for f in work.findings],
        "holes": [
            {
                "id": h.id,
                "at": _point(h.at),
                "diameter": _round(h.diameter),
                "roles": list(h.roles),
                "opening": h.opening,
            }
            for h in work.plan.holes
        ],
        "legs": [
            {
                "order": leg.order,
                "opening": leg.opening,
                "path": _points(leg.path),
                "starts": place_name(leg.starts),
                "start_by": leg.start_by,
                **({"turned": _round(math.degrees(leg.turned))} if leg.start_by == "spin" else {}),
                "ends": place_name(leg.ends),
                "drops": _region(leg.drops),
            }
            for leg in work.plan.legs
        ],
        "steps": [
            {
                "letter": step.letter,
                "name": work.told(step).name,
                "text": work.told(step).text,
                "goes": step.goes,
                "minutes": _round(step.minutes),
                "legs": list(step.legs),
                "holes": list(step.holes),
                "drops": _region(step.drops),
            }
            for step in work.plan.steps
        ],
        "left_over": [_left_over(left) for left in work.plan.left_over],
        "proof": {
            "ok": work.proof.ok,
            "gouge": _round(work.proof.gouge),
            "steps": work.proof.steps,
            "left_over": [_left_over(left) for left in work.proof.left_over],
        },
        "estimate": {
            "cut_length": _round(work.plan.cut_length),
            "goes": work.plan.goes,
            "lifts": work.plan.lifts,
            "entries": work.plan.entries,
            "minutes": _round(work.plan.minutes),
            "minutes_by": {move: _round(taken) for move, taken in work.plan.minutes_by.items()},
        },
        "pins": [_point(at) for at in work.pins],
        "bridges": [
            {
                "id": b.id,
                "start": _point(b.start),
                "end": _point(b.end),
                "width": _round(b.width),
                "area": _region(MultiPolygon([b.area])),
                "by_hand": b.by_hand,
            }
            for b in work.bridges
        ],
        "eased": {k: _round(v) for k, v in asdict(work.eased).items()} if work.eased else None,
        "template": template_sheets(work),
        "router": _router(work),
        "files": [{"name": name, "bytes": files[name]} for name in sorted(files)],
        "notes": list(work.said_notes),
        "cautions": list(work.cautions),
    }


def _panel(work: Work) -> dict[str, Any]:
    panel = work.pattern.panel
    return {
        "width": _round(panel.width),
        "height": _round(panel.height),
        "thickness": _round(panel.thickness),
        "layers": panel.layers,
        "grain_deg": None if panel.grain is None else _round(math.degrees(panel.grain)),
    }


def _blade(work: Work) -> dict[str, Any]:
    blade = work.kit.blade
    return {
        "name": blade.name,
        "width": _round(blade.width),
        "body": _round(blade.body),
        "kerf": _round(blade.kerf),
        "turning_radius": _round(blade.turning_radius),
        "turning_radius_from": blade.radius_from,
    }


def _finding(finding: Finding, words: Said) -> dict[str, Any]:
    return {
        "kind": finding.kind,
        "severity": finding.severity,
        "at": _point(finding.at),
        "size": _maybe(finding.size),
        "limit": _maybe(finding.limit),
        "opening": finding.opening,
        "text": words.text,
        "remedy": words.remedy,
        "cleared": finding.cleared,
    }


def _left_over(left: LeftOver) -> dict[str, Any]:
    return {"at": _point(left.at), "depth": _round(left.depth), "area": _round(left.area)}


def _router(work: Work) -> dict[str, Any]:
    path = work.router
    bits = sorted({p.bit for p in path.passes} | {work.kit.bit}, key=lambda b: b.name)
    return {
        "bit": work.kit.bit.name,
        "bits": [_bit(b, path) for b in bits],
        "passes": [_pass(p) for p in path.passes],
        "tiles": [_tile(t) for t in path.tiles],
        "unreached": _region(path.unreached),
        "gouge": _round(path.gouge),
        "travel": _round(path.travel),
        "cut_length": _round(path.cut_length),
        "minutes": _round(path.minutes),
    }


def _bit(bit: Bit, path: ToolPath) -> dict[str, Any]:
    """A bit and how it is driven in its shallowest turns; no feed where it has nothing to cut."""
    driven = next((f for f in path.feeds if f.bit == bit), None)
    return {
        "name": bit.name,
        "diameter": _round(bit.diameter),
        "speed": _round(driven.speed if driven else bit.speed),
        "feed": _round(driven.feed) if driven else None,
        "plunge": _round(driven.plunge) if driven else None,
        "chip": _round(driven.chip) if driven else None,
        "chip_from": driven.load.chart if driven else None,
    }


def _pass(run: Pass) -> dict[str, Any]:
    return {
        "order": run.order,
        "opening": run.opening,
        "side": run.side,
        "bit": run.bit.name,
        "purpose": run.purpose,
        "path": _bulges(run.ring),
        "depths": [_round(d) for d in run.depths],
        "tabs": [{"start": _round(t.start), "end": _round(t.end), "at": _point(t.at)} for t in run.tabs],
    }


def _tile(tile: Tile) -> dict[str, Any]:
    """Where the panel lies for a tile, and which passes, or stretches of them, are cut there."""
    return {
        "number": tile.number,
        "shift": _point(tile.shift),
        "reach": [_round(v) for v in tile.reach],
        "pins": [_point(at) for at in tile.pins],
        "holes": [_point(at) for at in tile.holes],
        "cuts": [
            {"pass": cut.order, "part": None if cut.part is None else [_round(at) for at in cut.part]}
            for cut in tile.passes
        ],
    }


def _bulges(ring: Ring) -> list[list[float]]:
    """[x, y, bulge] of each vertex: bulge = tan(sweep / 4) of the run that leaves it, 0 for a line."""
    runs = []
    for segment in ring.segments:
        if isinstance(segment, Cubic):
            raise TypeError("a router pass is made of lines and arcs")
        bulge = segment.bulge if isinstance(segment, Arc) else 0.0
        runs.append([_round(segment.start.real), _round(segment.start.imag), round(bulge, 6) + 0.0])
    return runs


def _region(region: shapely.Geometry) -> list[dict[str, Any]]:
    """Polygons as {"outer", "inner"}; outer rings counter-clockwise, the closing point not repeated."""
    return [
        {
            "outer": _ring(polygon.exterior, ccw=True),
            "inner": [_ring(inner, ccw=False) for inner in polygon.interiors],
        }
        for polygon in polygons_of(region)
    ]


def _ring(line: shapely.LinearRing, *, ccw: bool) -> list[list[float]]:
    xy = shapely.get_coordinates(line)[:-1]
    return _points(xy if line.is_ccw == ccw else xy[::-1])


def _points(points: FloatArray) -> list[list[float]]:
    """Points (n, 2) as `_point` has them, all at once."""
    scaled = points * 10**_DIGITS
    found: list[list[float]] = (np.rint(scaled) / 10**_DIGITS + 0.0).tolist()
    # Half way between two steps the last bit decides, which scaling may have lost.
    for i, k in np.argwhere(np.abs(scaled - np.floor(scaled) - 0.5) < 1e-4).tolist():
        found[i][k] = _round(points[i, k])
    return found


def _point(p: Sequence[float]) -> list[float]:
    return [_round(p[0]), _round(p[1])]


def _round(value: float) -> float:
    """Rounded to 0.001; adding 0.0 turns minus zero into zero."""
    return round(float(value), _DIGITS) + 0.0


def _maybe(value: float | None) -> float | None:
    return None if value is None else _round(value)
