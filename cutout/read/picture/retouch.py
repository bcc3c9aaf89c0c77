"""What the user rubbed out of a photo, filled in, or cut off: laid over the field before it is traced."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from cutout.errors import ReadError
from cutout.geom.outline import Note
from cutout.read.options import ReadOptions
from cutout.read.picture.figure import Field
from cutout.units import count

_FAR = 1.5
"""Pixels beyond its edge to which a touched place reaches: the edge then lies within a pixel, to its share."""


def retouched(field: Field, options: ReadOptions, name: str) -> Field:
    """The field with what `options` says was touched by hand, in order; itself where nothing was.

    A touched place is a disc: filled in, it is figure wherever it was not; rubbed out, background. What lies beyond
    a crop is background. Edges are laid to a share of a pixel, as a drawn one would be. Raises ReadError.
    """
    if not options.touched and options.crop is None:
        return field
    values = np.asarray(field.values, dtype=np.float32).copy()
    low, high = np.percentile(values[::5, ::5], (2, 98))
    steep = float(max(high - low, 1.0))
    for x, y, across in options.touched:
        _dab(values, (x, y), abs(across) / 2, field.level, steep, fill=across > 0)
    if options.crop is not None:
        _crop(values, options.crop, field.level, steep, name)
    whole = np.clip(np.round(values), 0, 255).astype(np.uint8)
    return replace(field, values=whole, notes=(*field.notes, *_notes(options)), plateaus=None)


def _dab(
    values: NDArray[np.float32],
    at: tuple[float, float],
    radius: float,
    level: float,
    steep: float,
    fill: bool,
) -> None:
    """One disc laid into the values; what of it lies beyond the picture is left out."""
    height, width = values.shape
    reach = radius + _FAR
    left, right = _span(at[0] - reach, at[0] + reach, width)
    top, bottom = _span(at[1] - reach, at[1] + reach, height)
    if left >= right or top >= bottom:
        return
    # The middle of the pixel in column 0 lies half a pixel from the picture's edge.
    xs, ys = np.arange(left, right) + 0.5, np.arange(top, bottom) + 0.5
    inside = radius - np.hypot(xs[None, :] - at[0], ys[:, None] - at[1])
    window = values[top:bottom, left:right]
    laid = (level + steep * np.clip(inside if fill else -inside, -_FAR, _FAR)).astype(np.float32)
    touched = inside > -_FAR
    window[touched] = (np.maximum if fill else np.minimum)(window, laid)[touched]


def _crop(values: NDArray[np.float32], crop: Sequence[float], level: float, steep: float, name: str) -> None:
    height, width = values.shape
    left, top, right, bottom = crop
    if (
        not (left < right and top < bottom)
        or min(right, width) - max(left, 0) < 2
        or min(bottom, height) - max(top, 0) < 2
    ):
        raise ReadError(
            f"{name}: crop leaves nothing of the picture, which is {width} x {height} pixels: write left, top, "
            "right, bottom."
        )
    xs, ys = np.arange(width) + 0.5, np.arange(height) + 0.5
    across = np.minimum(xs - left, right - xs)
    down = np.minimum(ys - top, bottom - ys)
    inside = np.minimum(across[None, :], down[:, None])
    np.minimum(values, level + steep * np.clip(inside, -_FAR, None), out=values, casting="same_kind")


def _span(low: float, high: float, most: int) -> tuple[int, int]:
    return max(int(np.floor(low)), 0), min(int(np.ceil(high)), most)


def _notes(options: ReadOptions) -> tuple[Note, ...]:
    """In words, so that nobody takes what was touched for what the picture shows."""
    filled = sum(across > 0 for *_, across in options.touched)
    rubbed = len(options.touched) - filled
    parts = []
    if rubbed:
        parts.append(f"{count(rubbed, 'spot')} rubbed out")
    if filled:
        parts.append(f"{count(filled, 'spot')} filled in")
    if options.crop is not None:
        parts.append("what lies beyond the crop cut off")
    return (Note("retouch", f"By hand: {', '.join(parts)}."),)
