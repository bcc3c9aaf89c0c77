"""The outline for a knife that cuts adhesive film: thin, unfilled, true to size, in pieces that fit its mat.

The pieces of one film keep their places to one another. Where the outline is larger than the mat it is split by
straight seams; each piece then carries small crosses, the same in both neighbours, to lay it down by.
"""

from __future__ import annotations

import cmath
import math
from dataclasses import dataclass

import numpy as np
import shapely
from shapely import LineString, MultiPolygon, box

from cutout.draw.svg import head, number, polyline_path, ring_path
from cutout.errors import WriteError
from cutout.geom.curve import Similarity
from cutout.geom.outline import Outline, as_multi, from_region
from cutout.units import format_size
from cutout.write.template.tiling import column_letters
from cutout.write.work import Work

BORDER = 2.0
"""Film round a silhouette in one piece (mm)."""
ROOM = 8.0
"""Film round each piece of a split one (mm): there the crosses are."""
ARM = 3.0
"""Half the size of a cross (mm)."""
LAP = 1.0
"""Each piece reaches this far (mm) over a seam, so that none shows bare wood where it lies a little off."""
NEAR = 2.0
"""A cross keeps this far from the outline (mm)."""


@dataclass(frozen=True, slots=True)
class Cell:
    """One piece: its name (column letter, row number from the top), and its part of the outline's box; mm."""

    name: str
    x0: float
    y0: float
    x1: float
    y1: float


def film_svg(work: Work) -> bytes:
    """The whole outline in one SVG, whatever the mat; mirrored left to right where the template is."""
    return _whole(work, _seen(work))


def film_svgs(work: Work) -> dict[str, bytes]:
    """The film as SVG files by name: film.svg, or film-a1.svg and so on where the outline does not go on the mat.

    An outline that goes on the mat when it is turned is turned. Mirrored left to right where the template is.
    Raises WriteError for a mat too small to cut anything on.
    """
    outline = _seen(work)
    mat = work.template.mat
    turn = turn_to_fit(outline, mat)
    if turn is not None:
        return {
            "film.svg": _whole(work, outline.transform(Similarity(cmath.exp(1j * turn))) if turn else outline)
        }
    cells = cells_of(outline.bounds, mat, work)
    if len(cells) == 1:
        return {"film.svg": _whole(work, outline)}
    region = outline.region()
    crosses = _crosses(region, cells)
    return {
        f"film-{cell.name}.svg": _piece(work, region, cell, crosses)
        for cell in cells
        if shapely.intersects(region, box(cell.x0, cell.y0, cell.x1, cell.y1))
    }


def turn_to_fit(outline: Outline, mat: tuple[float, float] | None) -> float | None:
    """The turn (radians) at which an outline goes on the mat in one piece, either way of the mat; as it stands where
    that does, None where no turn does."""
    if mat is None:
        return 0.0
    corners = shapely.get_coordinates(outline.region().convex_hull)
    turns = np.radians(np.arange(0, 90))
    along = corners @ np.vstack([np.cos(turns), -np.sin(turns)])
    across = corners @ np.vstack([np.sin(turns), np.cos(turns)])
    sizes = np.sort(np.column_stack([np.ptp(along, axis=0), np.ptp(across, axis=0)]), axis=1)
    fits = np.flatnonzero((sizes <= np.sort(mat) + 1e-6).all(axis=1))
    return float(turns[fits[0]]) if len(fits) else None


def cells_of(bounds: tuple[float, ...], mat: tuple[float, float] | None, work: Work) -> tuple[Cell, ...]:
    """The outline's box split evenly into cells that fit the mat with room round them, whichever way takes fewer."""
    x0, y0, x1, y1 = bounds
    width, height = x1 - x0, y1 - y0
    if mat is None:
        return (Cell("a1", x0, y0, x1, y1),)
    if min(mat) <= 2 * ROOM + 20:
        raise WriteError(f"a mat of {format_size(*mat, work.units)} is too small: nothing fits on it.")
    counts = [
        (math.ceil(width / (a - 2 * ROOM) - 1e-9), math.ceil(height / (b - 2 * ROOM) - 1e-9))
        for a, b in (mat, mat[::-1])
    ]
    columns, rows = min(counts, key=lambda c: (c[0] * c[1], c))
    xs, ys = np.linspace(x0, x1, columns + 1).tolist(), np.linspace(y1, y0, rows + 1).tolist()
    return tuple(
        Cell(f"{column_letters(c).lower()}{r + 1}", xs[c], ys[r + 1], xs[c + 1], ys[r])
        for r in range(rows)
        for c in range(columns)
    )


def _seen(work: Work) -> Outline:
    """The outline as the film shows it: mirrored about its own middle where the template is mirrored."""
    outline = work.pattern.outline
    if not work.template.back:
        return outline
    x0, _, x1, _ = outline.bounds
    return outline.transform(Similarity(-1 + 0j, complex(x0 + x1, 0.0), mirror=True))


def _whole(work: Work, outline: Outline) -> bytes:
    x0, y0, x1, y1 = outline.bounds
    frame = (x0 - BORDER, y0 - BORDER, x1 - x0 + 2 * BORDER, y1 - y0 + 2 * BORDER)
    mat = work.template.mat
    if mat is not None and (np.sort(frame[2:]) > np.sort(mat)).any():
        # Just as large as the mat: no film is left round it.
        frame = (x0, y0, x1 - x0, y1 - y0)
    return _document(f"{work.title}: outline", frame, ring_path(outline.rings, y0 + y1), "")


def _crosses(region: MultiPolygon, cells: tuple[Cell, ...]) -> tuple[complex, ...]:
    """Two places on every seam, as far apart as may be, clear of the outline."""
    line = shapely.boundary(region)
    found: list[complex] = []
    for seam in _seams(cells):
        spots = seam.length * np.linspace(0.0, 1.0, 81)
        points = shapely.line_interpolate_point(seam, spots)
        clear = np.asarray(shapely.distance(points, line)) > ARM + NEAR
        free = points[clear]
        if len(free):
            found += [complex(p.x, p.y) for p in (free[0], free[-1])]
    return tuple(dict.fromkeys(complex(round(z.real, 3), round(z.imag, 3)) for z in found))


def _seams(cells: tuple[Cell, ...]) -> list[LineString]:
    """The edge between each cell and the one to its right, and the one below it."""
    at = {(round(c.x0, 6), round(c.y1, 6)): c for c in cells}
    seams = []
    for cell in cells:
        if (round(cell.x1, 6), round(cell.y1, 6)) in at:
            seams.append(LineString([(cell.x1, cell.y0 - ROOM / 2), (cell.x1, cell.y1 + ROOM / 2)]))
        if (round(cell.x0, 6), round(cell.y0, 6)) in at:
            seams.append(LineString([(cell.x0 - ROOM / 2, cell.y0), (cell.x1 + ROOM / 2, cell.y0)]))
    return seams


def _piece(work: Work, region: MultiPolygon, cell: Cell, crosses: tuple[complex, ...]) -> bytes:
    flip = cell.y0 + cell.y1
    part = shapely.intersection(region, box(cell.x0 - LAP, cell.y0 - LAP, cell.x1 + LAP, cell.y1 + LAP))
    frame = (cell.x0 - ROOM, cell.y0 - ROOM, cell.x1 - cell.x0 + 2 * ROOM, cell.y1 - cell.y0 + 2 * ROOM)
    near = box(cell.x0 - ROOM / 2, cell.y0 - ROOM / 2, cell.x1 + ROOM / 2, cell.y1 + ROOM / 2)
    marks = "".join(
        polyline_path(np.array([[z.real - dx, z.imag - dy], [z.real + dx, z.imag + dy]]), flip)
        for z in crosses
        if shapely.intersects(near, shapely.Point(z.real, z.imag))
        for dx, dy in ((ARM, 0.0), (0.0, ARM))
    )
    outline = ring_path(from_region(as_multi(part)), flip)
    return _document(f"{work.title}: outline, piece {cell.name.upper()}", frame, outline, marks)


def _document(title: str, frame: tuple[float, float, float, float], outline: str, marks: str) -> bytes:
    style = f'fill="none" stroke="#000000" stroke-width="{number(0.1)}"'
    parts = [head(title, *frame), f'<g id="outline" {style}><path d="{outline}"/></g>']
    if marks:
        parts.append(f'<g id="crosses" {style}><path d="{marks}"/></g>')
    return "\n".join([*parts, "</svg>\n"]).encode("utf-8")
