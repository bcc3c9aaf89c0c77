"""The kinds of line on a template, each told from the others by its form, not by its dashes alone, in grey too."""

from __future__ import annotations

import cmath
import math
from collections.abc import Iterator

import numpy as np
import shapely

from cutout.draw.box import Box
from cutout.draw.looks import ARROW, CENTRE, CROSS, SEAM, STITCH, TRIM, TWIN
from cutout.draw.scene import Item, Run, Words, arrow_head, lines, plus, rectangle, span, spans
from cutout.draw.signs import WORDS
from cutout.geom.curve import FloatArray
from cutout.units import MM_PER_INCH
from cutout.write.template.register import ARM

_TEETH, _TOOTH = 6.0, 1.1
"""Distance and length of the teeth of a line to trim along (mm)."""
CENTRE_ARM = 2.5
"""Half the length of the strokes that mark a centre (mm)."""
_STITCH, STITCH_ARM, _STITCH_PAIR = 9.0, 1.2, 0.5
"""Distance and half the length of the pairs of strokes across a glue line, and of a stroke from its pair's middle."""
TWIN_APART = 0.4
"""How far each of two thin lines lies from the line between them (mm)."""


def seam(line: shapely.Geometry) -> tuple[Item, ...]:
    """A straight glue line: thin, with pairs of short strokes across it like stitches."""
    ends = shapely.get_coordinates(line)
    strokes = _strokes(ends[0], ends[-1], _STITCH, (-_STITCH_PAIR, _STITCH_PAIR), (-STITCH_ARM, STITCH_ARM))
    return lines(SEAM, line), Run(STITCH, tuple(strokes))


def trim(edge: Box) -> tuple[Item, ...]:
    """Where a sheet is cut: a line with teeth, on the right of the way from start to end of (x0, y0, x1, y1)."""
    start, end = np.array(edge[:2]), np.array(edge[2:])
    return (Run(TRIM, (np.array([start, end]), *_strokes(start, end, _TEETH, (0.0,), (0.0, -_TOOTH)))),)


def _strokes(
    start: FloatArray, end: FloatArray, every: float, beside: tuple[float, ...], reach: tuple[float, float]
) -> Iterator[FloatArray]:
    """Strokes across a straight line, at places `beside` each one of a row; reach: how far left of it they begin and
    end (mm)."""
    length = math.hypot(*(end - start).tolist())
    along = (end - start) / max(length, 1e-9)
    left = np.array([-along[1], along[0]])
    for at in np.arange(every / 2, length, every).tolist():
        for by in beside:
            yield start + (at + by) * along + np.outer(reach, left)


def twin(x0: float, y0: float, x1: float, y1: float) -> Run:
    """Two thin grey lines, one on each side of the line given, which runs along x or y."""
    dx, dy = (TWIN_APART, 0.0) if x0 == x1 else (0.0, TWIN_APART)
    return spans(TWIN, (((x0 + s * dx, y0 + s * dy), (x1 + s * dx, y1 + s * dy)) for s in (-1, 1)))


def centre(at: tuple[float, float]) -> Run:
    """Where a drill or a screw is set: a thin cross."""
    return plus(CENTRE, at, CENTRE_ARM)


def cross(at: tuple[float, float]) -> tuple[Item, ...]:
    """A register cross."""
    x, y = at
    return plus(CROSS, at, ARM), rectangle(CROSS, (x - 1.2, y - 1.2, x + 1.2, y + 1.2))


def grain(start: tuple[float, float], end: tuple[float, float]) -> tuple[Item, ...]:
    """Which way the grain runs: an arrow with two heads."""
    angle = cmath.phase(complex(*end) - complex(*start))
    heads = (arrow_head(*end, angle, 3.0), arrow_head(*start, angle + cmath.pi, 3.0))
    return (span(ARROW, start, end), *heads)


def scale_bar(x: float, y: float) -> tuple[Item, ...]:
    """50 mm above and 2 in below the same line, to be measured."""
    quarter = MM_PER_INCH / 4
    marks = [((x + 10 * n, y), (x + 10 * n, y + (1.2 if n % 5 else 2.0))) for n in range(6)]
    marks += [((x + quarter * n, y), (x + quarter * n, y - (1.2 if n % 4 else 2.0))) for n in range(9)]
    return (
        spans(TRIM, [((x, y), (x + 2 * MM_PER_INCH, y)), *marks]),
        Words("50 mm", (x + 25, y + 1.8), WORDS, align="centre"),
        Words("2 in", (x + MM_PER_INCH + 8, y - 1.6 - WORDS), WORDS, align="centre"),
    )
