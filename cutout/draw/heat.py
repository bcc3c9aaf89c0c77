"""How wide the wood is everywhere: a picture in steps of grey-safe colour, and the narrowest places."""

from __future__ import annotations

from dataclasses import dataclass
from io import BytesIO

import numpy as np
import shapely
from PIL import Image, ImageDraw
from scipy import ndimage

from cutout.draw.looks import rgb
from cutout.geom.curve import FloatArray
from cutout.geom.outline import polygons_of
from cutout.kit import Kit
from cutout.measure.widths import Middle, middle_of_keep
from cutout.pattern import Pattern

STEPS = (1.0, 1.5, 2.0, 4.0)
"""Bounds between the steps, in times the limit for a web along the grain."""

COLOURS = ("#0f1b33", "#7f3a3a", "#c2692f", "#dcb158", "#f6f0df")
"""From narrow to wide, night to pale wood. Each is a fifth of the grey scale lighter than the one before, so that a
grey print still reads, and no two come closer to an eye that lacks one sort of cones (tests/outside)."""

_LONG_SIDE = 1000
"""Pixels along the longer side: finer than a screen shows it, small enough to be put into a page."""
_MOST_PLACES = 12
"""Narrow places that are numbered: more are no list to act on."""

_BLUNT = 0.5
"""Sine of half the angle (60 degrees) above which a corner counts as blunt."""


@dataclass(frozen=True, slots=True)
class Place:
    """A narrow place: where (mm) and how wide (mm)."""

    at: tuple[float, float]
    width: float


@dataclass(frozen=True, slots=True)
class HeatMap:
    """png: the panel with its wood coloured by width, `scale` pixels to the mm, y down. limit: the web's (mm).
    places: the narrowest ones, narrowest first."""

    png: bytes
    scale: float
    limit: float
    places: tuple[Place, ...]


def heat_map(pattern: Pattern, kit: Kit) -> HeatMap:
    """Colour every point of the wood by the widest disc that covers it and fits in the wood.

    The discs stand on the middle line of the wood (`check.widths`); a larger one is painted over a smaller.
    """
    limits = kit.limits
    limit = pattern.panel.thickness * (limits.web_along if kit.wood.has_grain else limits.web_sheet)
    scale = _LONG_SIDE / max(pattern.panel.width, pattern.panel.height)
    steps = _steps(pattern, *_discs(middle_of_keep(pattern)), limit, scale)
    picture = Image.fromarray(steps.astype(np.uint8), "P")
    picture.putpalette([part for c in ("#ffffff", *COLOURS) for part in rgb(c)])
    out = BytesIO()
    picture.save(out, "PNG", optimize=True, bits=4)
    necks = middle_of_keep(pattern).necks(STEPS[-1] * limit)
    places = tuple(Place((n.at.real, n.at.imag), n.width) for n in necks[:_MOST_PLACES])
    return HeatMap(out.getvalue(), scale, limit, places)


def _discs(middle: Middle) -> tuple[FloatArray, FloatArray]:
    """Centres (n, 2) and widths (n,) of discs in the wood, without those that run into a blunt corner.

    On the way into a corner of angle a the disc shrinks by sin(a / 2) a step: the corner of a board is not
    a weak place, the point of a spike is.
    """
    radius = middle.clearance
    first, second = middle.edges.T
    step = np.abs(middle.nodes[first] - middle.nodes[second])
    steep = np.abs(radius[first] - radius[second]) > _BLUNT * step
    lesser = np.where(radius[first] < radius[second], first, second)
    # Several nodes of the graph may stand at one point: what goes for one goes for all.
    _, spot = np.unique(np.round(middle.nodes, 6), return_inverse=True)
    plain = ~np.isin(spot, spot[lesser[steep]])
    points = np.column_stack([middle.nodes.real, middle.nodes.imag])
    return points[plain], 2 * radius[plain]


def _steps(
    pattern: Pattern, points: FloatArray, widths: FloatArray, limit: float, scale: float
) -> np.ndarray:
    """Step of every pixel: 0 for waste, 1 (narrowest) .. 5 for wood."""
    panel = pattern.panel
    size = (max(1, round(panel.width * scale)), max(1, round(panel.height * scale)))
    discs = Image.new("L", size, 0)
    draw = ImageDraw.Draw(discs)
    step = np.searchsorted(np.array(STEPS) * limit, widths) + 1
    order = np.argsort(widths, kind="stable")
    for x, y, r, value in np.column_stack([points, widths / 2, step])[order].tolist():
        cx, cy, radius = x * scale, (panel.height - y) * scale, r * scale
        draw.ellipse((cx - radius, cy - radius, cx + radius, cy + radius), fill=int(value))
    found = np.asarray(discs)
    wood = _mask(pattern, size, scale)
    if not (found[wood] > 0).any():
        return np.where(wood, len(COLOURS), 0)
    # Corners that no disc reaches take the step of the nearest one.
    nearest = ndimage.distance_transform_edt(found == 0, return_distances=False, return_indices=True)
    return np.where(wood, found[tuple(nearest)], 0)


def _mask(pattern: Pattern, size: tuple[int, int], scale: float) -> np.ndarray:
    picture = Image.new("1", size, 0)
    draw = ImageDraw.Draw(picture)
    height = pattern.panel.height
    for polygon in sorted(polygons_of(pattern.keep), key=lambda p: -p.area):
        for ring, value in ((polygon.exterior, 1), *((inner, 0) for inner in polygon.interiors)):
            xy = shapely.get_coordinates(ring) * [1, -1] + [0, height]
            draw.polygon([tuple(p) for p in (xy * scale).tolist()], fill=value)
    return np.asarray(picture)
