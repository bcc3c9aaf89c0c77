"""What a picture whose parts are all narrow settles at, and how blurred it is, found together with its lines.

No edge in it is alone: figure or ground never show their own grey, so that no profile across an edge tells it.
What was traced, blurred, has to be the picture, though: that tells the blur and both greys, these tell a better
level, and that a better trace.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter

from cutout.geom.curve import ComplexArray, FloatArray
from cutout.read.picture.figure import Field
from cutout.read.picture.likeness import coarse, drawn
from cutout.trace.iso import IsoLines, iso_lines
from cutout.trace.rings import fit_lines

_LEAST_BLUR, _MOST_BLUR = 0.8, 4.0
"""Blurs (px) for which it is worth it: sharper parts show their greys, softer ones are too wide to be drawn here."""

_TILE = 400
"""A square of so many pixels, the one with most of the outline in it, is looked at."""

_CLOSE, _TOLERANCE = 0.05, 0.25
"""How near (px) polylines lie to what was traced, and what was traced to the picture's lines."""

_ROUNDS, _STILL = 5, 0.003
"""Times that level and trace improve each other at most, and the share of full contrast that is no change."""

_FITS = 0.05
"""Root mean square miss, as a share of full contrast, of a likeness that is believed."""


def found_together(field: Field, found: IsoLines) -> tuple[Field, IsoLines, float] | None:
    """Field and lines at a level that lies half-way between the greys that the lines' likeness tells, and its blur.

    The blur is the sigma (px) of a Gaussian, the pixels' own width apart. None where no likeness is the picture.
    """
    if not _LEAST_BLUR < found.blur < _MOST_BLUR or not found.lines:
        return None
    rows, columns = _tile(field.values.shape, found.lines)
    values = field.values[rows, columns].astype(np.float64)
    corner = complex(columns.start, field.values.shape[0] - rows.stop)
    for _ in range(_ROUNDS):
        shapes = [ring.complex_points(_CLOSE) - corner for ring in fit_lines(found, _TOLERANCE)]
        if not shapes:
            return None
        sigma, low, high, missed = _likest(values, coarse(drawn(shapes, values.shape)), found.blur)
        if high - low < 1.0 or missed > _FITS * (high - low):
            return None
        before = field.level
        field = replace(field, level=(low + high) / 2, sides=(low, high))
        if abs(field.level - before) < _STILL * (high - low):
            return field, found, sigma
        found = replace(iso_lines(field.values, field.level), noise=found.noise)
    return field, found, sigma


def _tile(shape: tuple[int, ...], lines: list[ComplexArray]) -> tuple[slice, slice]:
    """Rows and columns of the square tile that most points of the lines lie in."""
    z = np.concatenate(lines)
    height, width = shape
    row, column = (height - z.imag) // _TILE, z.real // _TILE
    across = max(1, -(-width // _TILE))
    down = max(1, -(-height // _TILE))
    number = np.clip(row, 0, down - 1).astype(int) * across + np.clip(column, 0, across - 1).astype(int)
    top, left = divmod(int(np.argmax(np.bincount(number))), across)
    return (
        slice(top * _TILE, min((top + 1) * _TILE, height)),
        slice(left * _TILE, min((left + 1) * _TILE, width)),
    )


def _likest(values: FloatArray, sharp: FloatArray, rough: float) -> tuple[float, float, float, float]:
    """The blur (px) and greys, low and high, with which the sharp likeness is most like the picture, and how much it
    misses it by then (root mean square)."""

    def told(sigma: float) -> tuple[float, float, float]:
        blurred = gaussian_filter(sharp, sigma, mode="nearest")
        slope, low = _line(blurred, values)
        return low, low + slope, float(np.sqrt(np.mean((low + slope * blurred - values) ** 2)))

    from scipy.optimize import minimize_scalar  # Loaded by pictures that need it alone.

    bounds = (0.5 * rough, 1.5 * rough)
    best = minimize_scalar(lambda s: told(s)[2], bounds=bounds, method="bounded", options={"xatol": 0.01})
    sigma = float(best.x)
    return sigma, *told(sigma)


def _line(x: NDArray[np.float64], y: NDArray[np.float64]) -> tuple[float, float]:
    """Slope and height at 0 of the least-squares line."""
    centred = x - x.mean()
    slope = float((centred * y).sum() / max(float((centred**2).sum()), 1e-12))
    return slope, float(y.mean() - slope * x.mean())
