"""Two classes of grey: what they settle at, the level between them, and how clearly they part."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from PIL import Image

Grey = NDArray[np.uint8]

_FINE = 1600
"""Plateaus are looked for in a picture reduced to at most about this many pixels across."""

_STRIP = 128
"""Rows worked on at once, so that temporaries stay small."""

_FLATTEST = 0.25
"""Share of a class's pixels, those that differ least from their neighbours, that show its plateau."""


@dataclass(frozen=True)
class Split:
    """Two classes of grey: medians, the level between, how clearly they part and how many lie between."""

    low: float
    high: float
    level: float
    clarity: float
    between: float

    @property
    def contrast(self) -> float:
        """How far the classes are apart."""
        return self.high - self.low


def split_classes(values: Grey) -> Split:
    """Two classes by Otsu's threshold, then the level half-way between their medians.

    Half-way is where the picture's edge lies; Otsu's own level leans towards the larger class. It stands
    only where the half-way level would run through more pixels than it does.
    """
    counts = histogram(values).astype(float)
    total = counts.sum()
    grey = np.arange(256.0)
    below, mass = np.cumsum(counts), np.cumsum(counts * grey)
    mean = mass[-1] / total
    with np.errstate(divide="ignore", invalid="ignore"):
        between = (mean * below - mass) ** 2 / (below * (total - below))
    between[~np.isfinite(between)] = 0.0
    if between.max() <= 0:
        return Split(mean, mean, mean, 0.0, 1.0)
    best = np.flatnonzero(between >= between.max() * (1 - 1e-9))
    otsu = float(best.mean())
    k = min(int(otsu), 254)
    low, high = _median(counts[: k + 1], 0), _median(counts[k + 1 :], k + 1)
    halfway = (low + high) / 2
    window = max(2.0, 0.06 * (high - low))
    level = halfway + 0.0
    if _near(counts, halfway, window) > 3 * _near(counts, otsu, window) + 0.005 * total:
        level = otsu + 0.5
    spread = float((counts * (grey - mean) ** 2).sum())
    clarity = float(between.max()) * total / spread if spread > 0 else 0.0
    return Split(low, high, level, clarity, _near(counts, level, 0.2 * (high - low)) / total)


def histogram(values: Grey) -> NDArray[np.int64]:
    """How many pixels there are of each grey (256,), without a wider copy of them all."""
    flat = np.ascontiguousarray(values).reshape(1, -1)
    return np.array(Image.fromarray(flat).histogram() if flat.size else [0] * 256)


def quantiles(counts: NDArray[np.int64], shares: Sequence[float]) -> list[float]:
    """Greys below which these shares of the pixels counted lie, in proportion between two that do."""
    below = np.cumsum(counts)
    at = np.array(shares) * (below[-1] - 1)
    low, high = (np.searchsorted(below, rank, side="right") for rank in (np.floor(at), np.ceil(at)))
    found: list[float] = (low + (high - low) * (at - np.floor(at))).tolist()
    return found


def on_plateaus(grey: Grey, split: Split) -> Split:
    """The split with its level half-way between what figure and ground settle at away from their edges.

    Most of a thin figure's pixels are touched by its edges, so that its median lies short of its own grey; the
    flattest of them, the middles of its lines, are least touched.
    """
    if abs(split.level - (split.low + split.high) / 2) > 0.5:
        return split
    image = Image.fromarray(grey)
    factor = max(1, round(max(image.size) / _FINE))
    image = image.reduce(factor) if factor > 1 else image
    values = np.asarray(image)
    counts = _by_climb(values)
    dark = np.arange(256) <= split.level
    if not counts[:, dark].any() or not counts[:, ~dark].any():
        return split
    low, high = (_settled(counts * side) for side in (dark, ~dark))
    return replace(split, low=low, high=high, level=(low + high) / 2)


def _by_climb(values: Grey) -> NDArray[np.int64]:
    """How many pixels there are of each steepness and grey (256, 256), which tells all that is asked of them.

    In strips: arrays of eight bytes for each pixel of a picture take longer to get than to fill.
    """
    counts = np.zeros(2**16, dtype=np.int64)
    for top in range(0, len(values), _STRIP):
        strip = values[top : top + _STRIP]
        low = max(top - 1, 0)
        climb = climbs(values[low : top + _STRIP + 1], 1)[top - low :][: len(strip)]
        counts += np.bincount((climb.astype(np.int64) * 256 + strip).ravel(), minlength=2**16)
    return counts.reshape(256, 256)


def climbs(values: Grey, reach: int) -> Grey:
    """Greatest less least of the values within `reach` rows and columns of each; beyond the rim it goes on."""
    most = least = np.pad(values, reach, mode="edge")
    for axis in (0, 1):
        size = most.shape[axis] - 2 * reach
        parts = [slice(k, k + size) for k in range(2 * reach + 1)]
        cuts = [(part,) if axis == 0 else (slice(None), part) for part in parts]
        high, low = most[cuts[0]].copy(), least[cuts[0]].copy()
        for cut in cuts[1:]:
            np.maximum(high, most[cut], out=high)
            np.minimum(low, least[cut], out=low)
        most, least = high, low
    return np.asarray(most - least)


def _settled(counts: NDArray[np.int64]) -> float:
    """Median of the values that are flattest, a quarter of them or more; counts: pixels by steepness and value."""
    flatter = np.cumsum(counts.sum(axis=1))
    limit = int(np.searchsorted(flatter, _FLATTEST * flatter[-1]))
    return quantiles(counts[: limit + 1].sum(axis=0), (0.5,))[0]


def _near(counts: NDArray[np.float64], level: float, window: float) -> float:
    return float(counts[max(0, round(level - window)) : round(level + window) + 1].sum())


def _median(counts: NDArray[np.float64], offset: int) -> float:
    if counts.sum() <= 0:
        return float(offset)
    return float(offset + np.searchsorted(np.cumsum(counts), counts.sum() / 2))
