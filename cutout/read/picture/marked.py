"""A figure on a busy ground, told apart by what the user marked: a few strokes, a box round it, or both.

Which pixels are figure is settled on a reduced picture and followed down to full size: each pixel takes the mean of
its neighbours', weighted by how like them it is, and is drawn to the side whose colours it has (the random walker
with priors; Grady 2005, from memory). Where the edge runs through its pixels is then told by the colours on either
side.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import sparse
from scipy.ndimage import binary_dilation, binary_erosion, gaussian_filter, label, map_coordinates
from scipy.sparse.linalg import cg
from threadpoolctl import threadpool_limits

from cutout.errors import ReadError
from cutout.geom.curve import FloatArray
from cutout.geom.outline import Note
from cutout.read.options import ReadOptions
from cutout.read.picture.decode import Picture
from cutout.read.picture.figure import Field
from cutout.units import count

_COARSE = 420
"""Figure and ground are first told apart on a picture reduced to at most about this many pixels across."""

_BINS = 24
"""Steps of lightness and of either hue axis in which colours are counted; a step is about 5 of CIELAB's units."""

_DRAWN = 0.06
"""How strongly a pixel is drawn to the side whose colours it has, beside 1 for a neighbour just like it."""

_ROUNDS = 6
"""So often the colours of both sides are counted anew; by then nothing changes any more, or never will."""

_FOLLOW = 3
"""Pixels to each side of the coarser edge among which the finer one is looked for."""

_BLOCK = 4
"""Pixels across the blocks whose colours are summed up on either side of the edge."""

_NEARBY = 2.0
"""Sigma, in such blocks, within which colours count as those beside the edge."""

_SOFT = 2.0
"""Pixels to each side of the edge in which figure and ground mix."""

_TELLING = 3.0
"""Colours so many sigmas of their own spread apart place the edge; nearer ones leave it where the walk put it."""

_LEAST_PART = 0.02
"""Where no stroke says which parts count, those this share of the largest do."""

Seeds = NDArray[np.int8]
"""1 where the user marked figure, -1 where ground is known, 0 elsewhere; (h, w)."""


@dataclass(frozen=True)
class Apart:
    """What belongs to the figure, to the pixel (h, w), and a word on how that was told."""

    inside: NDArray[np.bool_]
    how: str

    def field(self, picture: Picture) -> Field:
        """Values whose edge lies within the pixels, in the codes (or the light) of `picture`; and what was done."""
        values, clear = _edge_values(np.asarray(picture.colour.convert("RGB")), self.inside)
        text = f"{self.how}; along {100 * clear:.0f} % of the outline their colours differ clearly."
        notes = [Note("marked", text)]
        if clear < 0.8:
            text = (
                f"Along {100 * (1 - clear):.0f} % of the outline figure and ground look alike: there the edge is a "
                "guess."
            )
            notes.append(Note("guess", text))
        return Field(values, 127.5, tuple(notes))


def told_apart(picture: Picture, options: ReadOptions, name: str) -> Apart | None:
    """Figure and ground as `options` marks them; None where nothing is marked. Raises ReadError."""
    if not options.marked and options.within is None:
        return None
    seeds = _seeds((picture.colour.height, picture.colour.width), options, name)
    with threadpool_limits(limits=1, user_api="blas"):
        inside = _followed(picture, seeds, name)
    inside = _parts(inside, seeds)
    if not inside.any():
        raise ReadError(f"{name}: nothing marked as figure stands out from its ground: mark more of both.")
    return Apart(inside, _how(options))


def _followed(picture: Picture, seeds: Seeds, name: str) -> NDArray[np.bool_]:
    """What is figure, to the pixel: settled on a reduced picture and followed down to full size."""
    halvings = max(0, math.ceil(math.log2(max(seeds.shape) / _COARSE)))
    inside, share = _coarsely(_lab(picture, 2**halvings), _reduced(seeds, 2**halvings), name)
    for k in range(halvings - 1, -1, -1):
        lab, marks = _lab(picture, 2**k), _reduced(seeds, 2**k)
        inside, share = _finer(lab, marks, inside, share)
    return inside


def _how(options: ReadOptions) -> str:
    figure = sum(across > 0 for *_, across in options.marked)
    ground = len(options.marked) - figure
    parts = [f"{count(n, 'spot')} on the {what}" for n, what in ((figure, "figure"), (ground, "ground")) if n]
    parts += ["a box round the figure"] if options.within is not None else []
    return f"The figure was told from its ground by what was marked by hand ({', '.join(parts)})"


def _seeds(shape: tuple[int, ...], options: ReadOptions, name: str) -> Seeds:
    """What is known from the start. Where no ground is marked, the picture's rim is ground."""
    height, width = shape
    seeds = np.zeros((height, width), dtype=np.int8)
    if options.within is not None:
        left, top, right, bottom = (round(v) for v in options.within)
        left, top, right, bottom = max(left, 0), max(top, 0), min(right, width), min(bottom, height)
        if right - left < 4 or bottom - top < 4:
            raise ReadError(
                f"{name}: within leaves nothing of the picture, which is {width} x {height} pixels: write left, top, "
                "right, bottom."
            )
        seeds[:] = -1
        seeds[top:bottom, left:right] = 0
    if options.within is None and not any(across < 0 for *_, across in options.marked):
        rim = max(1, min(height, width) // 100)
        seeds[:rim] = seeds[-rim:] = -1
        seeds[:, :rim] = seeds[:, -rim:] = -1
    for x, y, across in options.marked:
        _dab(seeds, x, y, across)
    if not (seeds < 0).any():
        raise ReadError(f"{name}: nothing of the picture is ground: mark some of the ground, too.")
    return seeds


def _dab(seeds: Seeds, x: float, y: float, across: float) -> None:
    reach = max(abs(across) / 2, 0.5)
    rows = slice(max(math.floor(y - reach), 0), max(math.ceil(y + reach), 0))
    columns = slice(max(math.floor(x - reach), 0), max(math.ceil(x + reach), 0))
    window = seeds[rows, columns]
    ys = np.arange(rows.start, rows.start + window.shape[0]) + 0.5
    xs = np.arange(columns.start, columns.start + window.shape[1]) + 0.5
    window[np.hypot(xs[None, :] - x, ys[:, None] - y) <= reach] = 1 if across > 0 else -1


def _reduced(seeds: Seeds, by: int) -> Seeds:
    """Blocks of by x by pixels, in which any mark counts; nothing where both sides are marked."""
    if by == 1:
        return seeds
    h, w = (-(-n // by) for n in seeds.shape)
    whole = np.zeros((h * by, w * by), dtype=np.int8)
    whole[: seeds.shape[0], : seeds.shape[1]] = seeds
    blocks = whole.reshape(h, by, w, by)
    return np.asarray(blocks.max(axis=(1, 3)) + blocks.min(axis=(1, 3)), dtype=np.int8)


def _lab(picture: Picture, by: int) -> FloatArray:
    """CIELAB of the picture reduced by `by`; (h, w, 3)."""
    image = picture.colour.convert("RGB")
    from skimage.color import rgb2lab  # Loaded by marked pictures alone.

    return np.asarray(rgb2lab(np.asarray(image.reduce(by) if by > 1 else image)), dtype=np.float32)


def _coarsely(lab: FloatArray, seeds: Seeds, name: str) -> tuple[NDArray[np.bool_], FloatArray]:
    """What is figure in a small picture, and how much each pixel looks like it; colours learnt as it goes."""
    unknown = seeds == 0
    if not unknown.any():
        return seeds > 0, (seeds > 0).astype(np.float64)
    bins = _bins(lab)
    ground = _colours(bins[seeds < 0])
    marked = bool((seeds > 0).any())
    # With a box alone, whatever lies in it and is not coloured as what lies round it is taken for figure at first.
    figure = _colours(bins[seeds > 0] if marked else bins[unknown])
    inside = seeds > 0
    share = np.zeros(seeds.shape)
    for _ in range(_ROUNDS):
        like = _like(figure, ground, bins)
        share = _walked(lab, seeds, unknown, like, start=share)
        before, inside = inside, share > 0.5
        if not inside.any():
            raise ReadError(
                f"{name}: nothing in the box stands out from what lies round it: mark the figure by a stroke, too."
            )
        if (before == inside).mean() > 0.9995:
            break
        figure, ground = _colours(bins[inside]), _colours(bins[~inside])
    return inside, _like(figure, ground, bins)


def _finer(
    lab: FloatArray, seeds: Seeds, coarse: NDArray[np.bool_], like: FloatArray
) -> tuple[NDArray[np.bool_], FloatArray]:
    """The same at twice the size, looked for beside the coarser edge only; a mark counts wherever it is."""
    h, w = seeds.shape
    inside = np.repeat(np.repeat(coarse, 2, axis=0), 2, axis=1)[:h, :w]
    wide = np.repeat(np.repeat(like, 2, axis=0), 2, axis=1)[:h, :w]
    inside = (inside | (seeds > 0)) & (seeds >= 0)
    unknown = binary_dilation(inside, iterations=_FOLLOW) & ~binary_erosion(inside, iterations=_FOLLOW)
    unknown &= seeds == 0
    if not unknown.any():
        return inside, wide
    known = np.where(inside, 1, -1).astype(np.int8)
    known[unknown] = 0
    found = _walked(lab, known, unknown, wide, start=inside.astype(np.float64)) > 0.5
    return found, wide


def _walked(
    lab: FloatArray, seeds: Seeds, unknown: NDArray[np.bool_], like: FloatArray, start: FloatArray
) -> FloatArray:
    """Share of figure (h, w): 1 and 0 where known, elsewhere the weighted mean of the neighbours' and of `like`.

    Weights between neighbours fall off with the square of how far their colours are apart, beside the mean of that.
    """
    value = (seeds > 0).astype(np.float64)
    number = np.full(seeds.shape, -1)
    n = int(unknown.sum())
    number[unknown] = np.arange(n)
    diagonal = np.full(n, _DRAWN)
    right = _DRAWN * like[unknown]
    rows, columns, weights = [], [], []
    for axis in (0, 1):
        one, two = (slice(None, -1), slice(1, None))
        a = (one, slice(None)) if axis == 0 else (slice(None), one)
        b = (two, slice(None)) if axis == 0 else (slice(None), two)
        pair = unknown[a] | unknown[b]
        apart = ((lab[a][pair] - lab[b][pair]) ** 2).sum(axis=1).astype(np.float64)
        weight = np.exp(-apart / (2 * float(apart.mean()) + 1e-6)) + 1e-4
        i, j = number[a][pair], number[b][pair]
        for here, there, known in ((i, j, value[b][pair]), (j, i, value[a][pair])):
            mine = here >= 0
            diagonal += np.bincount(here[mine], weight[mine], minlength=n)
            edge = mine & (there < 0)
            right += np.bincount(here[edge], weight[edge] * known[edge], minlength=n)
            both = mine & (there >= 0)
            rows.append(here[both])
            columns.append(there[both])
            weights.append(-weight[both])
    matrix = sparse.csr_matrix(
        (np.concatenate(weights), (np.concatenate(rows), np.concatenate(columns))), shape=(n, n)
    ) + sparse.diags(diagonal)
    # Rough is enough: all that counts is on which side of a half a pixel comes out.
    x, _ = cg(matrix, right, x0=start[unknown], rtol=1e-3, maxiter=400, M=sparse.diags(1.0 / diagonal))
    value[unknown] = x
    return value


def _bins(lab: FloatArray) -> NDArray[np.int64]:
    """The number (h, w) of the step of lightness and hue each colour lies in."""
    low, size = np.array([0.0, -60.0, -60.0]), np.array([100.0, 120.0, 120.0]) / _BINS
    k = np.clip(((lab - low) / size).astype(np.int64), 0, _BINS - 1)
    return np.asarray((k[..., 0] * _BINS + k[..., 1]) * _BINS + k[..., 2])


def _colours(bins: NDArray[np.int64]) -> FloatArray:
    """How often each colour is met, smoothed over neighbouring steps; sums to 1."""
    counts = np.bincount(bins.ravel(), minlength=_BINS**3).reshape(_BINS, _BINS, _BINS).astype(np.float64)
    smooth: FloatArray = gaussian_filter(counts, 0.8, mode="nearest").ravel()
    return smooth / max(float(smooth.sum()), 1e-9)


def _like(figure: FloatArray, ground: FloatArray, bins: NDArray[np.int64]) -> FloatArray:
    """How much a pixel's colour speaks for the figure, 0..1; a half for a colour never met."""
    floor = 1e-5
    chance: FloatArray = (figure + floor) / (figure + ground + 2 * floor)
    return chance[bins]


def _parts(inside: NDArray[np.bool_], seeds: Seeds) -> NDArray[np.bool_]:
    """The parts with a stroke on them; without any stroke, all but the crumbs."""
    parts, n = label(inside)
    if n <= 1:
        return inside
    sizes = np.bincount(parts.ravel(), minlength=n + 1)
    sizes[0] = 0
    named = np.unique(parts[seeds > 0])
    kept = sizes >= _LEAST_PART * sizes.max()
    if (named > 0).any():
        kept = np.isin(np.arange(n + 1), named)
    kept[0] = False
    return np.asarray(kept[parts])


def _edge_values(rgb: NDArray[np.uint8], inside: NDArray[np.bool_]) -> tuple[NDArray[np.uint8], float]:
    """Share of figure in each pixel, 0..255 (h, w), and the share of the edge at which colours tell it.

    Beside the edge a pixel's colour lies between those of figure and ground nearby; how far along is read along the
    direction in which the two differ most beside their own spread (Fisher's discriminant).
    """
    values = np.where(inside, np.uint8(255), np.uint8(0))
    reach = math.ceil(_SOFT)
    core, wide = binary_erosion(inside, iterations=reach), binary_dilation(inside, iterations=reach)
    band = wide & ~core
    if not band.any():
        return values, 0.0
    rows, columns = np.nonzero(band)
    far_out = binary_dilation(wide, iterations=4 * _BLOCK) & ~wide
    one, spread_one = _nearby(rgb, core & binary_dilation(band, iterations=4 * _BLOCK), rows, columns)
    two, spread_two = _nearby(rgb, far_out, rows, columns)
    way = one - two
    # Codes are whole numbers, and a lens's grain is a few of them.
    spread = (spread_one + spread_two) / 2 + 4.0 * np.eye(3)
    along = np.linalg.solve(spread, way[:, :, None])[:, :, 0]
    power = (along * way).sum(axis=1)
    pixels = rgb[rows, columns].astype(np.float64)
    share = ((pixels - two) * along).sum(axis=1) / np.maximum(power, 1e-9)
    soft = gaussian_filter(inside.astype(np.float32), 0.8)[rows, columns]
    trust = power / (power + _TELLING**2)
    mixed = trust * np.clip(share, -0.2, 1.2) + (1 - trust) * soft
    values[rows, columns] = np.clip(np.round(255 * mixed), 0, 255).astype(np.uint8)
    return values, float(np.mean(power > _TELLING**2))


def _nearby(
    rgb: NDArray[np.uint8], use: NDArray[np.bool_], rows: NDArray[np.int64], columns: NDArray[np.int64]
) -> tuple[FloatArray, FloatArray]:
    """Mean colour (n, 3) and covariance (n, 3, 3) of the pixels in `use` round each place."""
    kept = np.where(use[..., None], rgb, 0).astype(np.float32)
    sums = [_blocks(use.astype(np.float32))]
    sums += [_blocks(kept[..., k]) for k in range(3)]
    pairs = [(0, 0), (0, 1), (0, 2), (1, 1), (1, 2), (2, 2)]
    sums += [_blocks(kept[..., i] * kept[..., j]) for i, j in pairs]
    at = np.stack([rows / _BLOCK + 0.5 / _BLOCK - 0.5, columns / _BLOCK + 0.5 / _BLOCK - 0.5])
    # A second, wider sum steps in where nothing lies near.
    found = np.zeros((10, len(rows)))
    for sigma, weight in ((_NEARBY, 1.0), (4 * _NEARBY, 1e-3)):
        for k, s in enumerate(sums):
            found[k] += weight * map_coordinates(
                gaussian_filter(s, sigma, mode="constant"), at, order=1, mode="nearest"
            )
    total = np.maximum(found[0], 1e-12)
    mean = (found[1:4] / total).T
    covariance = np.zeros((len(rows), 3, 3))
    for k, (i, j) in enumerate(pairs):
        covariance[:, i, j] = covariance[:, j, i] = found[4 + k] / total - mean[:, i] * mean[:, j]
    return mean, covariance


def _blocks(values: NDArray[np.float32]) -> FloatArray:
    """Sums over blocks of _BLOCK x _BLOCK pixels."""
    h, w = (-(-n // _BLOCK) for n in values.shape)
    whole = np.zeros((h * _BLOCK, w * _BLOCK), dtype=np.float32)
    whole[: values.shape[0], : values.shape[1]] = values
    return np.asarray(whole.reshape(h, _BLOCK, w, _BLOCK).sum(axis=(1, 3)), dtype=np.float64)
