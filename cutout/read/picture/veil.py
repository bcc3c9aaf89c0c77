"""Transparency where figure or ground are veils: how much of each pixel the figure covers.

Half-way between clear and opaque is the edge of a figure that is opaque on a ground that is clear. A glass
whose inside lets half the light through, or a figure with a soft shadow close by, has its edge half-way between
what is found on either side of it.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import binary_dilation, binary_erosion, uniform_filter

from cutout.read.picture.classes import Grey

_AROUND = np.ones((3, 3), dtype=bool)
"""A pixel and its eight neighbours."""

_PART = (8, 247)
"""Opacities of 255 between which a pixel is part clear."""

_MORE = 3.0
"""Pixels part clear for each along the edge, from which there must be veils: a sharp edge has one, a soft one more,
and then it lies half-way in any case."""


def covered(alpha: Grey) -> Grey:
    """Share of each pixel (h, w) that the figure covers, 0..255; the opacity itself where there are no veils."""
    figure = alpha > 127
    part = (alpha > _PART[0]) & (alpha < _PART[1])
    edge = figure & ~binary_erosion(figure, _AROUND, border_value=1)
    if part.sum() <= _MORE * edge.sum():
        return alpha
    rows, columns = np.flatnonzero(edge.any(axis=1)), np.flatnonzero(edge.any(axis=0))
    top, left = max(int(rows[0]) - 4, 0), max(int(columns[0]) - 4, 0)
    window = np.s_[top : int(rows[-1]) + 5, left : int(columns[-1]) + 5]
    out = np.where(figure, np.uint8(255), np.uint8(0))
    out[window] = _between(alpha[window].astype(np.float32), figure[window])
    return out


def _between(opacity: NDArray[np.float32], figure: NDArray[np.bool_]) -> Grey:
    """Where each pixel along the edge lies between what is found a pixel further in and a pixel further out."""
    inner = binary_erosion(figure, _AROUND, border_value=1)
    outer = ~binary_dilation(figure, _AROUND)
    inside = _spread(_mean(opacity, inner, 255.0), figure)
    outside = _spread(_mean(opacity, outer, 0.0), ~figure)
    share = (opacity - outside) / np.maximum(inside - outside, 1.0)
    found = np.where(inner, 1.0, np.where(outer, 0.0, np.clip(share, 0.0, 1.0)))
    return np.round(255.0 * found).astype(np.uint8)


def _mean(values: NDArray[np.float32], of: NDArray[np.bool_], none: float) -> NDArray[np.float32]:
    """Mean of the pixels `of` among each pixel and its eight neighbours; `none` where there are none."""
    share = uniform_filter(of.astype(np.float32), 3, mode="nearest")
    total = uniform_filter(np.where(of, values, 0).astype(np.float32), 3, mode="nearest")
    # A ninth is one pixel.
    return np.where(share > 0.05, total / np.maximum(share, 0.05), none).astype(np.float32)


def _spread(values: NDArray[np.float32], known: NDArray[np.bool_]) -> NDArray[np.float32]:
    """Values on the pixels where they are known, elsewhere the mean of those known around."""
    return np.where(known, values, _mean(values, known, 0.0)).astype(np.float32)
