"""How brightly the paper is lit, and grey values with uneven light divided out."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from PIL import Image
from scipy.ndimage import binary_dilation, gaussian_filter

from cutout.geom.curve import FloatArray
from cutout.geom.robust import sigma_of

Grey = NDArray[np.uint8]
IntArray = NDArray[np.int64]

_TILES = 24  # to a side: smaller than a lamp lights, larger than grain
_SIGMA = 5.0
"""Sigma, in means of a few pixels each, of a wide Gaussian taken over those instead of over pixels."""

_STRIP = 256
"""Rows worked on at once, so that temporaries stay small."""

EVEN = 0.96
"""Paper whose darkest part is at least this share of its lightest counts as evenly lit: the level would be off
by 2 % of the contrast, a fiftieth of the edge's own width."""


def paper_light(small: Grey, dark_figure: bool = True) -> FloatArray:
    """Brightness the bare paper has at each pixel of a reduced picture (h, w), 1..255.

    A smooth surface (third order in log brightness) is laid through the lightest part of each tile and
    lifted off tiles the figure covers; it reaches under a figure of any size. Where shadows bend more than
    that, the pixels it finds to be paper then correct it locally. With a light figure on dark paper the
    picture is taken as its negative.
    """
    values: FloatArray = (small if dark_figure else 255 - small).astype(np.float64)
    light = _surface(values)
    for _ in range(2):
        light = _locally(values, light)
    return np.clip(light, 1.0, 255.0)


def evenness(light: FloatArray) -> float:
    """Darkest over lightest paper, both without the outermost 2 %."""
    low, high = np.percentile(light, (2, 98))
    return float(low / max(high, 1e-9))


def flattened(grey: Grey, light: FloatArray, dark_figure: bool = True) -> Grey:
    """The picture (or its negative, for a light figure) divided by its paper's light, paper at 230.

    In strips, so that the only full-size array is the result.
    """
    height, width = grey.shape
    gain = Image.fromarray((230.0 / light).astype(np.float32))
    wide = np.asarray(gain.resize((width, light.shape[0]), Image.Resampling.BILINEAR))
    rows = np.clip((np.arange(height) + 0.5) * light.shape[0] / height - 0.5, 0, light.shape[0] - 1)
    out = np.empty_like(grey)
    for top in range(0, height, _STRIP):
        at = rows[top : top + _STRIP]
        low = np.minimum(at.astype(int), light.shape[0] - 2) if light.shape[0] > 1 else np.zeros(len(at), int)
        share = (at - low).astype(np.float32)[:, None]
        above, values = wide[low], wide[np.minimum(low + 1, len(wide) - 1)]
        values -= above
        values *= share
        values += above
        strip = grey[top : top + _STRIP]
        values *= strip if dark_figure else 255 - strip
        values += 0.5
        # The light is above 0, and so are they.
        out[top : top + _STRIP] = np.minimum(values, 255, out=values)
    return out


def _surface(values: FloatArray) -> FloatArray:
    """A smooth surface through the lightest part of the tiles, without those the figure covers."""
    h, w = values.shape
    y_edges = np.linspace(0, h, min(_TILES, h) + 1).astype(int)
    x_edges = np.linspace(0, w, min(_TILES, w) + 1).astype(int)
    y = (y_edges[:-1] + y_edges[1:] - 1) / 2
    x = (x_edges[:-1] + x_edges[1:] - 1) / 2
    level = np.log(np.maximum(_lightest(values, y_edges, x_edges), 1.0)).ravel()
    terms = _terms(np.repeat(y, len(x)) / h, np.tile(x, len(y)) / w)
    use = level > level.max() - 1.6
    for _ in range(12):
        size = 10 if use.sum() > 40 else 3 if use.sum() > 6 else 1
        c = np.linalg.lstsq(terms[use, :size], level[use], rcond=None)[0]
        off = level - terms[:, :size] @ c
        spread = sigma_of(off[use]) + 0.01
        kept = (off > -2.0 * spread) & (off < 3.0 * spread)
        if (kept == use).all() or kept.sum() < 4:
            break
        use = kept
    rows, columns = ((np.arange(n) / n - 0.5)[:, None] ** np.arange(4) for n in (h, w))
    factors = np.zeros((4, 4))
    factors[tuple(np.array(_POWERS[:size]).T)] = c
    surface = (rows @ factors) @ columns.T
    lightest = float(level[use].max())
    np.clip(surface, lightest - 2.5, lightest + 0.2, out=surface)
    return np.asarray(np.exp(surface, out=surface))


def _lightest(values: FloatArray, y_edges: IntArray, x_edges: IntArray) -> FloatArray:
    """The 80th percentile of each tile between the edges; (rows, columns) of tiles.

    Tiles differ by a pixel in height and width: those of one size are looked at together.
    """
    tall, wide = np.diff(y_edges), np.diff(x_edges)
    out = np.empty((len(tall), len(wide)))
    for h in np.unique(tall).tolist():
        rows = np.flatnonzero(tall == h)
        for w in np.unique(wide).tolist():
            columns = np.flatnonzero(wide == w)
            y, x = y_edges[rows][:, None] + np.arange(h), x_edges[columns][:, None] + np.arange(w)
            tiles = values[y[:, None, :, None], x[None, :, None, :]].reshape(len(rows), len(columns), h * w)
            out[np.ix_(rows, columns)] = np.percentile(tiles, 80, axis=2)
    return out


_POWERS = [(0, 0), (0, 1), (1, 0), (0, 2), (1, 1), (2, 0), (0, 3), (1, 2), (2, 1), (3, 0)]
"""Powers of y and x in a surface of the third order, the lower orders first."""


def _terms(y: FloatArray, x: FloatArray) -> FloatArray:
    return np.stack([(y - 0.5) ** i * (x - 0.5) ** j for i, j in _POWERS], axis=1)


def _locally(values: FloatArray, light: FloatArray) -> FloatArray:
    """The light corrected by what pixels near to it say of paper they show."""
    ratio = values / light
    figure = binary_dilation(ratio < 0.80, iterations=2)
    paper = (~figure & (ratio < 1.4)).astype(float)
    # So wide a mean is as good from means of a few pixels each.
    sigma = max(values.shape) / 16
    by = max(1, int(sigma / _SIGMA))
    seen = gaussian_filter(_means(paper, by), sigma / by)
    correction = (gaussian_filter(_means(paper * ratio, by), sigma / by) + 0.02) / (seen + 0.02)
    return light * _spread(correction, by, light.shape)


def _means(values: FloatArray, by: int) -> FloatArray:
    """Means over squares of by x by pixels; what is left over at the far sides counts with the last of them."""
    ends = [np.minimum(np.arange(0, n - n % by or 1, by), n - 1) for n in values.shape]
    sums = np.add.reduceat(np.add.reduceat(values, ends[0], axis=0), ends[1], axis=1)
    tall, wide = (np.diff(np.append(end, n)) for end, n in zip(ends, values.shape, strict=True))
    return np.asarray(sums / (tall[:, None] * wide))


def _spread(means: FloatArray, by: int, shape: tuple[int, ...]) -> FloatArray:
    """The means laid out again over pixels, in proportion between their middles."""
    if by == 1:
        return means
    places = [(np.arange(n) + 0.5) / by - 0.5 for n in shape]
    for axis, place in enumerate(places):
        at = np.clip(place, 0, means.shape[axis] - 1)
        low = np.minimum(at.astype(int), max(means.shape[axis] - 2, 0))
        high = np.minimum(low + 1, means.shape[axis] - 1)
        share = (at - low).reshape((-1, 1) if axis == 0 else (1, -1))
        means = means.take(low, axis) * (1 - share) + means.take(high, axis) * share
    return means
