"""DXF drawings: closed outlines chained from the lines, arcs, polylines and splines that make them up."""

from __future__ import annotations

import cmath
import logging
import math
from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field, fields
from io import BytesIO
from typing import Any

import ezdxf
import ezdxf.path
import ezdxf.recover
import ezdxf.units
import numpy as np
import shapely
from ezdxf.document import Drawing
from ezdxf.lldxf.tagger import binary_tags_loader
from shapely import MultiPolygon

from cutout.errors import Length, ReadError
from cutout.geom.curve import Arc, Cubic, Line, Segment
from cutout.geom.outline import Note, Outline, as_multi, nest
from cutout.read.chain import Chained, Run, chain
from cutout.read.curves import CurveBook
from cutout.read.fill import fill
from cutout.read.options import ReadOptions
from cutout.read.specks import Dropped, without_specks
from cutout.read.svg.affine import Affine
from cutout.units import count

GAP = 0.6
"""Widest gap (mm on the wood) between two ends that is bridged."""
SNAP = 0.001
"""Ends this near (mm on the wood) are the same point."""
SPLINE_LEVEL = 6
"""Halvings for splines that are not plain cubics; a rational arc of 200 mm radius is 0.004 mm off at 6."""
MAX_DEPTH = 16
"""Deepest nesting of blocks."""
MAX_ENTITIES = 200_000  # a bound on time, far over any drawing one would saw
FARTHEST = 1e9
"""Numbers beyond this (drawing units) are damage, not places."""

_CURVES = frozenset(("SPLINE", "HELIX", "SOLID", "TRACE"))
_UNSEEN = frozenset(("POINT", "VIEWPORT", "ATTDEF", "RAY", "XLINE", "SEQEND"))


@dataclass(slots=True)
class _Found:
    runs: list[Run] = field(default_factory=list)
    hatched: list[Run] = field(default_factory=list)
    left_out: Counter[str] = field(default_factory=Counter)
    hidden: int = 0
    count: int = 0


def read_dxf(data: bytes, name: str, options: ReadOptions) -> Outline:
    """The closed outlines in a DXF, in drawing units, y up; every second nested one is a hole.

    `scale` comes from the header ($INSUNITS) or `options.dxf_units`. Raises ReadError when it is damaged,
    holds no closed outline, or tells no size while `options` gives none either.
    """
    document, repairs = _document(data, name)
    scale = _scale(document, name, options)
    found = _entities(document, name)
    runs = found.runs or found.hatched
    if not runs:
        raise ReadError(f"{name}: {_why_empty(document, found)}")
    if not all(_sane(segment) for run in runs for segment in run):
        raise ReadError(f"{name}: it holds numbers that are no places on a drawing: save it again.")
    mm = _mm_per_unit(runs, scale, options)
    chained = chain(runs, SNAP / mm, GAP / mm)
    if not chained.loops:
        raise ReadError(f"{name}: ", *_why_open(chained, mm))
    book = CurveBook(0.005 / mm)
    region, merged = _region(chained.loops, book, SNAP / mm)
    region, dropped = without_specks(region, options.speck / mm)
    if region.is_empty:
        raise ReadError(
            f"{name}: every outline in it is less than ", Length(options.speck), " across at this size."
        )
    notes = _notes(found, chained, merged, dropped, repairs, mm, options)
    return Outline(book.rings(region), scale, tuple(notes))


def _sane(segment: Segment) -> bool:
    """Whether every number of a segment is one, and not beyond all measure."""
    numbers = (getattr(segment, field.name) for field in fields(segment))
    return all(abs(number) < FARTHEST for number in numbers)


def _document(data: bytes, name: str) -> tuple[Any, int]:
    """The drawing and how many flaws were repaired on the way."""
    logging.getLogger("ezdxf").setLevel(logging.CRITICAL)
    binary = data[8:22] == b"Binary DXF\r\n\x1a\0"
    if not binary and not data.rstrip().endswith(b"EOF"):
        raise ReadError(f"{name}: the DXF stops short of its end: copy or save it again.")
    try:
        if binary:
            document = Drawing.load(binary_tags_loader(data))
            auditor = document.audit()
        else:
            document, auditor = ezdxf.recover.read(BytesIO(data))
    except Exception as error:  # what a damaged file sets off in the parser is not limited to its own errors
        reason = type(error).__name__ if binary else _first_line(error)
        raise ReadError(f"{name}: can't be read as DXF ({reason}): save it again.") from error
    if auditor.has_errors:
        raise ReadError(f"{name}: the DXF is damaged ({auditor.errors[0].message}): save it again.")
    return document, len(auditor.fixes)


def _first_line(error: Exception) -> str:
    text = str(error).strip()
    return text.splitlines()[0].rstrip(".") if text else type(error).__name__


def _scale(document: Any, name: str, options: ReadOptions) -> float | None:
    """mm per drawing unit; None where the job's own width or height decides."""
    units = document.units
    if units:
        try:
            # The library's factors carry rounding in the tenth figure.
            return float(f"{ezdxf.units.conversion_factor(units, ezdxf.units.MM):.9g}")
        except (ValueError, KeyError, TypeError, IndexError):
            pass
    if options.dxf_units is not None:
        return options.dxf_units
    if options.width or options.height:
        return None
    raise ReadError(
        f"{name}: the drawing does not say whether it is in mm or inches: give a width or height."
    )


def _entities(document: Any, name: str) -> _Found:
    found = _Found()
    hidden = {layer.dxf.name.lower() for layer in document.layers if layer.is_off() or layer.is_frozen()}
    _collect(document.modelspace(), hidden, found, name, 0)
    return found


def _collect(entities: Iterable[Any], hidden: set[str], found: _Found, name: str, depth: int) -> None:
    for entity in entities:
        found.count += 1
        if found.count > MAX_ENTITIES:
            raise ReadError(f"{name}: more than {MAX_ENTITIES} entities; too much for a silhouette.")
        # What a block draws on layer 0 follows the layer of the insert, which is seen already.
        layer = str(_of(entity, "layer", "0")).lower()
        if _of(entity, "invisible", 0) or (layer in hidden and not (depth and layer == "0")):
            found.hidden += 1
            continue
        kind = entity.dxftype()
        if kind == "INSERT":
            if depth < MAX_DEPTH:
                _collect(_exploded(entity), hidden, found, name, depth + 1)
            else:
                found.left_out["blocks nested too deep"] += 1
        elif kind == "HATCH":
            found.hatched.extend(_hatched(entity))
        elif (runs := _runs(entity, kind)) is not None:
            found.runs.extend(runs)
        elif kind not in _UNSEEN:
            found.left_out[kind] += 1


def _of(entity: Any, attribute: str, otherwise: Any) -> Any:
    """An attribute of an entity; of one of a kind the library does not know only what it says it has."""
    return entity.dxf.get(attribute, otherwise) if entity.dxf.is_supported(attribute) else otherwise


def _exploded(insert: Any) -> Iterator[Any]:
    copies = insert.multi_insert() if insert.mcount > 1 else (insert,)
    for copy in copies:
        yield from copy.virtual_entities()


def _runs(entity: Any, kind: str) -> list[Run] | None:
    """The entity as runs of segments in world x, y; None for kinds that draw no outline."""
    match kind:
        case "LINE":
            start, end = _xy(entity.dxf.start), _xy(entity.dxf.end)
            return [(Line(start, end),)] if start != end else []
        case "ARC":
            turn = math.radians((entity.dxf.end_angle - entity.dxf.start_angle) % 360) or 2 * math.pi
            return [_circular(entity, math.radians(entity.dxf.start_angle), turn)]
        case "CIRCLE":
            return [_circular(entity, 0.0, 2 * math.pi)] if entity.dxf.radius > 0 else []
        case "ELLIPSE":
            return [_elliptical(entity)]
        case "LWPOLYLINE":
            with entity.points("xyb") as points:
                vertices = [(x, y, b) for x, y, b in points]
            return _polyline(entity, vertices, entity.closed, entity.dxf.elevation)
        case "POLYLINE" if entity.is_2d_polyline and not entity.dxf.flags & 6:
            vertices = [(v.dxf.location.x, v.dxf.location.y, v.dxf.bulge) for v in entity.vertices]
            return _polyline(entity, vertices, entity.is_closed, entity.dxf.elevation.z)
        case "POLYLINE" if entity.is_2d_polyline or entity.is_3d_polyline:
            return _of_path(ezdxf.path.make_path(entity))
        case _ if kind in _CURVES:
            return _of_path(ezdxf.path.make_path(entity, level=SPLINE_LEVEL))
    return None


def _circular(entity: Any, first: float, turn: float) -> Run:
    """Two arcs over a turn that starts at angle `first`, radians in the entity's own plane."""
    centre, radius = entity.dxf.center, entity.dxf.radius
    angles = (first, first + turn / 2, first + turn)
    a, m, b = (
        _world(entity, centre.x + radius * math.cos(t), centre.y + radius * math.sin(t), centre.z)
        for t in angles
    )
    bulge = math.tan(turn / 8) * _sense(entity)
    if math.isclose(turn, 2 * math.pi):
        b = a
    return (Arc(a, m, bulge), Arc(m, b, bulge))


def _elliptical(entity: Any) -> Run:
    """An ellipse or part of one: arcs of the unit circle, mapped."""
    major, minor, centre = entity.dxf.major_axis, entity.minor_axis, entity.dxf.center
    first = entity.dxf.start_param
    turn = (entity.dxf.end_param - first) % (2 * math.pi) or 2 * math.pi
    a, m, b = (cmath.exp(1j * t) for t in (first, first + turn / 2, first + turn))
    if math.isclose(turn, 2 * math.pi):
        b = a
    to_world = Affine.matrix(major.x, major.y, minor.x, minor.y, centre.x, centre.y)
    bulge = math.tan(turn / 8)
    return to_world.segments((Arc(a, m, bulge), Arc(m, b, bulge)))


def _polyline(
    entity: Any, vertices: list[tuple[float, float, float]], closed: bool, elevation: float
) -> list[Run]:
    z = [_world(entity, x, y, elevation) for x, y, _ in vertices]
    last = len(z) if closed else len(z) - 1
    run: list[Segment] = []
    for i in range(last):
        a, b, bulge = z[i], z[(i + 1) % len(z)], vertices[i][2] * _sense(entity)
        if a == b:
            continue
        run.append(Arc(a, b, bulge) if abs(bulge) > 1e-9 else Line(a, b))
    return [tuple(run)] if run else []


def _world(entity: Any, x: float, y: float, z: float) -> complex:
    return _xy(entity.ocs().to_wcs((x, y, z)))


def _sense(entity: Any) -> int:
    """-1 for entities drawn on the underside of the plane, whose arcs run the other way."""
    return -1 if entity.dxf.extrusion.z < 0 else 1


def _xy(point: Any) -> complex:
    return complex(point[0], point[1])


def _of_path(path: Any) -> list[Run]:
    runs: list[Run] = []
    for sub in path.sub_paths() if path.has_sub_paths else (path,):
        here, run = _xy(sub.start), list[Segment]()
        for command in sub.commands():
            end = _xy(command.end)
            match command.type:
                case ezdxf.path.Command.LINE_TO:
                    if end != here:
                        run.append(Line(here, end))
                case ezdxf.path.Command.CURVE3_TO:
                    c = _xy(command.ctrl)
                    run.append(Cubic(here, here + (c - here) * 2 / 3, end + (c - end) * 2 / 3, end))
                case ezdxf.path.Command.CURVE4_TO:
                    run.append(Cubic(here, _xy(command.ctrl1), _xy(command.ctrl2), end))
            here = end
        if run:
            runs.append(tuple(run))
    return runs


def _hatched(hatch: Any) -> list[Run]:
    return [run for path in ezdxf.path.from_hatch(hatch) for run in _of_path(path)]


def _mm_per_unit(runs: Iterable[Run], scale: float | None, options: ReadOptions) -> float:
    z = np.array([p for run in runs for s in run for p in (s.start, s.end)])
    if options.width and np.ptp(z.real) > 0:
        return options.width / float(np.ptp(z.real))
    if options.height and np.ptp(z.imag) > 0:
        return options.height / float(np.ptp(z.imag))
    return scale or 1.0


def _region(loops: Iterable[Run], book: CurveBook, snap: float) -> tuple[MultiPolygon, int]:
    """Every second nested loop a hole; loops that cross are united first. Also how many were united."""
    solids = [fill([book.flatten(loop)], "nonzero") for loop in loops]
    parts = np.array([p for s in solids for p in as_multi(s).geoms], dtype=object)
    if len(parts) == 0:
        return MultiPolygon(), 0
    parts = _distinct(parts, snap)
    one, two = shapely.STRtree(parts).query(parts, predicate="overlaps")
    groups = list(range(len(parts)))
    for i, j in zip(one.tolist(), two.tolist(), strict=True):
        a, b = sorted((groups[i], groups[j]))
        groups = [a if g == b else g for g in groups]
    united = [
        as_multi(shapely.union_all([p for p, g in zip(parts, groups, strict=True) if g == group]))
        for group in sorted(set(groups))
    ]
    crossing = sum(n for n in Counter(groups).values() if n > 1)
    rings = [
        shapely.get_coordinates(ring)
        for multi in united
        for p in multi.geoms
        for ring in (p.exterior, *p.interiors)
    ]
    return nest(rings), crossing


def _distinct(parts: np.ndarray, snap: float) -> np.ndarray:
    """Parts less those that repeat an earlier one."""
    boxes = np.round(np.column_stack([shapely.bounds(parts), np.sqrt(shapely.area(parts))]) / (8 * snap))
    _, first = np.unique(boxes, axis=0, return_index=True)
    return parts[np.sort(first)]


def _notes(
    found: _Found,
    chained: Chained,
    merged: int,
    dropped: Dropped,
    repairs: int,
    mm: float,
    options: ReadOptions,
) -> Iterator[Note]:
    if chained.gaps:
        widest = max(width for _, width in chained.gaps) * mm
        gaps = count(len(chained.gaps), "gap was", "gaps were")
        yield Note("gap", f"{gaps} closed, the widest {{}}.", (widest,))
    if chained.open:
        at = chained.open[0][0].start
        lines = count(len(chained.open), "line closes nowhere and was", "lines close nowhere and were")
        yield Note("left out", f"{lines} left out, one at x {at.real:g}, y {at.imag:g}.")
    for kind, many in sorted(found.left_out.items()):
        yield Note("left out", f"{kind} draws no outline and was left out ({many}).")
    if found.hatched and found.runs:
        yield Note("left out", "hatching was left out; the lines round it count.")
    if found.hidden:
        what = count(found.hidden, "entity", "entities")
        yield Note("hidden", f"{what} on layers that are off or frozen, or invisible, left out.")
    if chained.doubles:
        lines = count(chained.doubles, "line repeats another one and was", "lines repeat other ones and were")
        yield Note("doubles", f"{lines} left out.")
    if merged:
        yield Note("crossing", f"{merged} outlines that cross were united.")
    yield from dropped.notes(options.speck)
    if options.invert is not None or options.threshold is not None:
        yield Note("option", "threshold and invert are for pictures; in a DXF the outlines alone count.")
    if options.by_hand:
        yield Note(
            "option", "touched, crop, marked and within are for photos; in a DXF the outlines alone count."
        )
    if repairs:
        flaws = count(repairs, "flaw in the file was", "flaws in the file were")
        yield Note("damaged", f"{flaws} repaired on reading.")


def _why_empty(document: Any, found: _Found) -> str:
    if found.hidden:
        return "everything in it lies on layers that are off or frozen: switch them on and save it again."
    if found.left_out:
        kinds = ", ".join(sorted(found.left_out))
        return f"there are no lines, arcs or curves in it, only {kinds}: save the outlines as polylines."
    if any(len(layout) for layout in document.layouts if layout.name != "Model"):
        return "the model space is empty; the drawing is on a layout sheet: move it to model space."
    return "there is nothing in the drawing."


def _why_open(chained: Chained, mm: float) -> tuple[str | Length, ...]:
    ends = [z for run in chained.open for z in (run[0].start, run[-1].end)]
    if len(ends) > 2000:
        return ("no closed outline in it: close the outlines and save it again.",)
    apart = min((abs(a - b) for i, a in enumerate(ends) for b in ends[i + 1 :]), default=0.0) * mm
    return (
        "no closed outline in it; the nearest loose ends are ",
        Length(apart),
        " apart (up to ",
        Length(GAP),
        " is closed): close the outlines and save it again.",
    )
