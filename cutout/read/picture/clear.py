"""Whether the outline found is a figure's edge, or only where scenery happens to pass a level of grey."""

from __future__ import annotations

import itertools
import math
from typing import Any

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from cutout.geom.curve import FloatArray
from cutout.read.picture.classes import Grey, on_plateaus, split_classes
from cutout.trace.iso import across, iso_lines

_LOOK = 700
"""Pixels across the reduced picture that is looked at: grain is averaged out, edges span a pixel or two."""

_NEAR, _FARTHEST, _MORE = 3, 6, 5
"""Pixels to each side of a line: an edge has climbed within the first (within the second where all is soft),
scenery goes on climbing for so many more."""

_SPECK = 10.0
"""Outlines less than this across (px of the reduced picture) are crumbs."""

_LEAST_CLEAR, _LEAST_WHOLE, _CLEAN = 0.65, 0.60, 0.93
"""Least share of the outline on clear edges; the same of outlines that are no crumbs; and the share from which
crumbs don't matter, as in a page of letters. By measurement: photographs of things (skimage.data: coffee,
astronaut, moon, clock 0.30 to 0.56; coins, rocket 0.51 and 0.57 without crumbs) against 0.80 to 1.00 for
pictures of shapes in noise, blur and JPEG (tests/bench/shapes.py)."""

_MOST_GRAIN = 9.0
"""Full contrast is at least so many sigmas of grain: else the level lies within five of both plateaus, and a
picture of a million pixels is strewn with specks."""


_CUT, _CUT_SIDES, _EVEN, _DRAWN = 6, 3, 0.22, 0.003
"""A texture's outline meets the picture's rim in so many places, on so many of its sides; figure and outline differ
between its parts by at most such a share of their mean; and it has grain, by the contrast, as no drawing has. By
measurement: brick, grass, gravel (skimage.data), walls and weaves made up, with some noise, 0.01 to 0.14 on three and
four sides; a page of text 0.37 and more."""


def is_figure(values: Grey, level: float, grain: float) -> bool:
    """Whether the outline at `level` is a figure's: clear, and no texture's.

    grain: sigma of the noise that is left in `values`, in its units.
    """
    image = Image.fromarray(values)
    factor = max(1, round(max(image.size) / _LOOK))
    small = np.asarray(image.reduce(factor) if factor > 1 else image)
    return _is_clear(small, level, grain) and not _is_texture(small, level, grain)


def _is_clear(small: Grey, level: float, grain: float) -> bool:
    """Whether the outline at `level` runs along edges for most of its length and is not mostly crumbs."""
    found = iso_lines(small, level)
    lines = found.lines
    if not lines:
        return True
    split = on_plateaus(small, split_classes(small))
    if grain * _MOST_GRAIN > split.contrast:
        return False
    clear = _on_edges(small, level, split.contrast, found.blur)
    lengths = np.array([len(z) for z in lines], dtype=float)
    sizes = np.array([max(np.ptp(z.real), np.ptp(z.imag)) for z in lines])
    whole = clear * float(lengths[sizes > min(_SPECK, 0.5 * sizes.max())].sum() / lengths.sum())
    return clear >= _LEAST_CLEAR and (clear >= _CLEAN or whole >= _LEAST_WHOLE)


def _is_texture(small: Grey, level: float, grain: float) -> bool:
    """Whether the outline at `level` is that of a pattern like itself all over, which the picture's rim cuts off.

    Rows of like shapes with some ground about them are no texture, nor is a clean drawing of a pattern: somebody drew
    it.
    """
    split = split_classes(small)
    if grain < _DRAWN * split.contrast:
        return False
    inside = small > level
    cuts = [int(np.count_nonzero(side[1:] != side[:-1])) for side in _sides(inside)]
    if sum(cut >= _CUT for cut in cuts) < _CUT_SIDES:
        return False
    edges = (
        np.abs(np.diff(inside.astype(np.int8), axis=0))[:, 1:] + np.abs(np.diff(inside.astype(np.int8)))[1:]
    )
    return _alike(inside) and _alike(edges)


def _sides(inside: NDArray[np.bool_]) -> tuple[NDArray[np.bool_], ...]:
    return inside[0], inside[-1], inside[:, 0], inside[:, -1]


def _alike(share: NDArray[Any]) -> bool:
    """Whether there is about as much in each of 3 x 3 parts of a picture."""
    rows, columns = (np.linspace(0, n, 4).astype(int) for n in share.shape)
    parts = [
        share[a:b, c:d].mean() for a, b in itertools.pairwise(rows) for c, d in itertools.pairwise(columns)
    ]
    return bool(np.std(parts) < _EVEN * np.mean(parts))


def _on_edges(small: Grey, level: float, contrast: float, blur: float) -> float:
    """Share of the outline across which the grey climbs by most of the full contrast, or climbs at once."""
    reach = min(max(_NEAR, math.ceil(1.2 * blur) + 1), _FARTHEST)
    near, wide = _climbs(small, level, reach), _climbs(small, level, reach + _MORE)
    return float(np.mean((near > 0.7 * contrast) | ((near > 0.8 * wide) & (near > 0.25 * contrast))))


def _climbs(small: Grey, level: float, reach: int) -> FloatArray:
    """Largest less least grey within `reach` px to each side of the outline, at each of its crossings."""
    values = across(small, level, reach)
    climb: FloatArray = values.max(axis=0) - values.min(axis=0)
    return climb
