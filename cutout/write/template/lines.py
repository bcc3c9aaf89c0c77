"""The kinds of line on a template, each told from the others by its form, not by its dashes alone, in grey too."""

from __future__ import annotations

import cmath
import math
from collections.abc import Iterable, Sequence

import numpy as np
import shapely

from cutout.draw.box import Box
from cutout.draw.paint import Paint
from cutout.draw.signs import WORDS, size
from cutout.geom.curve import FloatArray
from cutout.units import MM_PER_INCH
from cutout.write.template.register import ARM

_TEETH, _TOOTH = 6.0, 1.1
"""Distance and length of the teeth of a line to trim along (mm)."""
CENTRE = 2.5
"""Half the length of the strokes that mark a centre (mm)."""
_STITCH, _STITCH_ARM = 9.0, 1.2
"""Distance and half the length of the pairs of strokes across a glue line (mm)."""


def edge(paint: Paint, line: shapely.Geometry) -> None:
    """The panel's edge: the heaviest line."""
    paint.pen(0.7)
    paint.lines(line)


def middle(paint: Paint, line: shapely.Geometry) -> None:
    """A middle line: thin, long dash and dot (ISO 128, centre lines)."""
    paint.pen(0.13, 0.35, (9, 1.5, 0.4, 1.5))
    paint.lines(line)


def seam(paint: Paint, line: shapely.Geometry) -> None:
    """A straight glue line: thin, with pairs of short strokes across it like stitches."""
    paint.pen(0.18, 0.2)
    paint.lines(line)
    ends = shapely.get_coordinates(line)
    length = math.hypot(*(ends[-1] - ends[0]).tolist())
    along = (ends[-1] - ends[0]) / max(length, 1e-9)
    across = np.array([-along[1], along[0]]) * _STITCH_ARM
    paint.pen(0.25, 0.1)
    for at in np.arange(_STITCH / 2, length, _STITCH).tolist():
        for near in (at - 0.5, at + 0.5):
            middle = ends[0] + near * along
            paint.line(*(middle - across).tolist(), *(middle + across).tolist())


def zone(paint: Paint, line: shapely.Geometry) -> None:
    """The border of a part to keep clear of: round dots."""
    paint.pen(0.45, 0.1, (0.01, 1.6), round_ends=True)
    paint.lines(line)


def leg(paint: Paint, points: Iterable[Sequence[float]]) -> None:
    """A stretch of sawing across the waste: short dashes, the only dashed line there is."""
    paint.pen(0.3, 0.0, (1.8, 1.0))
    paint.polyline(points)


def trim(paint: Paint, span: Box) -> None:
    """Where a sheet is cut: a line with teeth, on the right of the way from start to end of (x0, y0, x1, y1)."""
    x0, y0, x1, y1 = span
    paint.pen(0.25)
    paint.line(x0, y0, x1, y1)
    length = math.hypot(x1 - x0, y1 - y0)
    along = np.array([x1 - x0, y1 - y0]) / max(length, 1e-9)
    tooth = np.array([along[1], -along[0]]) * _TOOTH
    for at in np.arange(_TEETH / 2, length, _TEETH).tolist():
        foot: FloatArray = np.array([x0, y0]) + at * along
        paint.line(*foot.tolist(), *(foot + tooth).tolist())


def centre(paint: Paint, x: float, y: float) -> None:
    """Where a drill or a screw is set: a thin cross."""
    paint.pen(0.18)
    paint.line(x - CENTRE, y, x + CENTRE, y)
    paint.line(x, y - CENTRE, x, y + CENTRE)


def cross(paint: Paint, x: float, y: float) -> None:
    """A register cross."""
    paint.pen(0.2)
    paint.line(x - ARM, y, x + ARM, y)
    paint.line(x, y - ARM, x, y + ARM)
    paint.rect((x - 1.2, y - 1.2, x + 1.2, y + 1.2))


def grain(paint: Paint, start: tuple[float, float], end: tuple[float, float]) -> None:
    """Which way the grain runs: an arrow with two heads."""
    angle = cmath.phase(complex(*end) - complex(*start))
    paint.pen(0.35)
    paint.fill(0)
    paint.line(*start, *end)
    paint.arrow_head(*end, angle, 3.0)
    paint.arrow_head(*start, angle + cmath.pi, 3.0)


def scale_bar(paint: Paint, x: float, y: float) -> None:
    """50 mm above and 2 in below the same line, to be measured."""
    paint.pen(0.25)
    paint.line(x, y, x + 50.8, y)
    for n in range(6):
        paint.line(x + 10 * n, y, x + 10 * n, y + (1.2 if n % 5 else 2.0))
    for n in range(9):
        paint.line(x + 6.35 * n, y, x + 6.35 * n, y - (1.2 if n % 4 else 2.0))
    paint.fill(0)
    paint.text(x + 25, y + 1.8, "50 mm", size(WORDS), align="centre")
    paint.text(x + MM_PER_INCH + 8, y - 1.6 - WORDS, "2 in", size(WORDS), align="centre")
