"""What the saw left along a line of the card, station by station: where the slot's two edges are."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import median_filter, uniform_filter1d

from cutout.gauge.card import CLEAR, LINE, LINE_GREY, Trail
from cutout.gauge.light import Light
from cutout.gauge.marks import Found, sample
from cutout.gauge.sight import Blur, Sight
from cutout.geom.curve import ComplexArray, FloatArray, to_array

State = Literal["slot", "paper", "glare", "dark"]
"""Of a station: a slot with both edges; paper without one; the paper is white-out; too little light to tell."""

STEP = 0.25
"""Distance between stations (mm)."""
REACH = CLEAR - 0.4
"""How far aside of its line a slot is looked for (mm)."""
DARK = 0.45
"""Share of the way from paper to ink beyond which a pixel counts as slot: a pale line stays below it."""
_FULL, _FAINT = 0.96, 0.02
"""Light (0..1) above which paper is blown out, and below which it is lost in the noise."""
_WIDE = 6.0
"""Slots wider than so many sigmas of blur have two edges that don't feel each other."""

_ROUNDS, _SETTLED = 6, 0.002
"""The slot and what is left of the line are found in turn, so often at most, until the edges move less (mm)."""


@dataclass(frozen=True)
class Slot:
    """Stations along a trail: s (n,) mm along it, middle (n,) mm to the right of it, width (n,) mm; nan where
    there is no slot. glare, dark: how many stations could not be told, for that reason. blur: sigma (mm) of the blur
    across it."""

    trail: Trail
    s: FloatArray
    middle: FloatArray
    width: FloatArray
    glare: int
    dark: int
    blur: float

    @property
    def seen(self) -> NDArray[np.bool_]:
        """Which stations have a slot."""
        return np.isfinite(self.width)

    def between(self, low: float, high: float) -> NDArray[np.bool_]:
        """Stations from one arc length to another."""
        return (self.s >= low) & (self.s <= high)

    def places(self) -> ComplexArray:
        """The slot's middle as places on the card."""
        z, way = self.trail.at(self.s)
        return np.asarray(z - 1j * way * self.middle)


def darkness(light: Light, found: Found, see: Sight, trail: Trail, s: FloatArray) -> tuple[FloatArray, ...]:
    """Along a trail: offsets t (m,) mm to the right, darkness (n, m) from paper 0 to ink 1, paper's light (n,)."""
    step = max(see.pixel / 4, 0.01)
    t = np.arange(-REACH, REACH + step, step)
    z, way = trail.at(s)
    places = z[:, None] - 1j * way[:, None] * t[None, :]
    values = sample(light, found.fitted.camera.pixels(np.stack([places.real, places.imag], axis=-1)))
    paper = np.percentile(values, 80, axis=1)
    paper = median_filter(paper, size=min(17, len(paper)), mode="nearest")
    dark = (1.0 - values / np.maximum(paper, 1e-6)[:, None]) / (1.0 - see.ink)
    return t, dark, paper


def read_slot(
    light: Light, found: Found, see: Sight, trail: Trail, least: float = 0.0, most: float = math.inf
) -> Slot:
    """The slot along a trail, between two arc lengths."""
    n = max(2, math.floor((min(most, trail.length) - least) / STEP) + 1)
    s = np.asarray(least + STEP * np.arange(n), dtype=np.float64)
    t, dark, paper = darkness(light, found, see, trail, s)
    sigma = see.blur.sigma * _across(found, trail, s)
    calm = uniform_filter1d(dark, 3, axis=0, mode="nearest")
    middle, width = np.full(n, np.nan), np.full(n, np.nan)
    glare = (paper > _FULL) & np.isfinite(paper)
    faint = paper < _FAINT
    for k in np.flatnonzero(~glare & ~faint).tolist():
        edges = _edges(t, dark[k], calm[k], float(sigma[k]), see.blur)
        if edges is not None:
            middle[k], width[k] = (edges[0] + edges[1]) / 2, edges[1] - edges[0]
    return Slot(trail, s, middle, width, int(glare.sum()), int(faint.sum()), float(np.median(sigma)))


def _across(found: Found, trail: Trail, s: FloatArray) -> FloatArray:
    """How far (mm) a pixel's blur reaches across a trail at each place (n,): in a tilted picture that depends on the
    way it runs."""
    z, way = trail.at(s)
    return found.fitted.camera.reach(to_array(z), to_array(1j * way))


def _edges(
    t: FloatArray, dark: FloatArray, calm: FloatArray, sigma: float, blur: Blur
) -> tuple[float, float] | None:
    """Both edges of the slot nearest to the line at one station; None where there is none with paper on both
    sides."""
    over = calm > DARK
    if not over.any():
        return None
    ends = np.flatnonzero(np.diff(np.concatenate([[0], over.view(np.int8), [0]])))
    starts, stops = ends[::2], ends[1::2]
    away = np.maximum(np.maximum(t[starts], -t[stops - 1]), 0.0)
    # A speck is no slot; of two as near the wider counts.
    size = t[stops - 1] - t[starts]
    k = int(np.argmin(away - 1e-3 * size + np.where(size < 0.08, 10.0, 0.0)))
    i, j = int(starts[k]), int(stops[k])
    if size[k] < 0.08 or i == 0 or j == len(t):
        return None

    def read(dark: FloatArray, calm: FloatArray) -> tuple[float, float] | None:
        if t[j - 1] - t[i] >= _WIDE * sigma:
            return _wide(t, dark, i, j, sigma)
        return _narrow(t, dark, calm, i, j, sigma, blur)

    found = read(dark, calm)
    # What the saw left of the printed line beside the slot is known once the slot is.
    for _ in range(_ROUNDS):
        rest = None if found is None else _line_left(t, *found, sigma, blur)
        if rest is None or found is None:
            break
        before, found = found, read(dark - rest, calm - rest)
        if found is None or max(abs(found[0] - before[0]), abs(found[1] - before[1])) < _SETTLED:
            break
    return found


def _line_left(t: FloatArray, left: float, right: float, sigma: float, blur: Blur) -> FloatArray | None:
    """Darkness (m,) of what is left of the line on both sides of a slot with these edges; None where nothing is."""
    half = LINE / 2
    parts = [(-half, min(left, half)), (max(right, -half), half)]
    shown = [blur.edge((t - a) / sigma) - blur.edge((t - b) / sigma) for a, b in parts if b > a]
    return np.asarray((1 - LINE_GREY) * np.sum(shown, axis=0)) if shown else None


def _wide(t: FloatArray, dark: FloatArray, i: int, j: int, sigma: float) -> tuple[float, float] | None:
    """Edges of a slot so wide that they don't feel each other."""
    middle = (i + j) // 2
    # The stations beside this one said roughly where; its own edges may lie well inside theirs.
    light = np.flatnonzero(dark <= float(np.median(dark[i:j])) / 2)
    k = int(np.searchsorted(light, middle))
    if k == 0 or k == len(light):
        return None
    left, right = _edge(t, dark, int(light[k - 1]), 1, sigma), _edge(t, dark, int(light[k]), -1, sigma)
    return None if left is None or right is None else (left, right)


def _edge(t: FloatArray, dark: FloatArray, at: int, inward: int, sigma: float) -> float | None:
    """The edge near index `at`, at half of the darkness just inside it."""
    step = t[1] - t[0]
    near, far = (max(1, round(f * sigma / step)) for f in (2.0, 3.0))
    inside = np.clip(at + inward * np.arange(near, far + 1), 0, len(t) - 1)
    outside = np.clip(at - inward * np.arange(near, 2 * far + 1), 0, len(t) - 1)
    level = (float(np.median(dark[inside])) + min(float(np.median(dark[outside])), 0.1)) / 2
    k = int(inside[0])
    while 0 < k < len(t) - 1 and dark[k] > level:
        k -= inward
    a, b = dark[k], dark[k + inward]
    if not a <= level < b:
        return None
    return float(t[k] + inward * step * (level - a) / (b - a))


def _narrow(
    t: FloatArray, dark: FloatArray, calm: FloatArray, i: int, j: int, sigma: float, blur: Blur
) -> tuple[float, float] | None:
    """Edges of a slot hardly wider than the blur: blur keeps its darkness and its middle, and says its peak.

    A box of width w and depth D blurred has the area D w and the peak D (2 E(w / 2 sigma) - 1), E the blurred edge.
    """
    step = t[1] - t[0]
    wing = round(3.0 * sigma / step)
    here = slice(max(i - wing, 0), min(j + wing, len(t)))
    part = np.maximum(dark[here], 0.0)
    area = float(part.sum() * step)
    peak = float(calm[i:j].max())
    if peak <= 0 or area <= 0:
        return None
    width = area / peak
    for _ in range(30):
        width = area / peak * share_at_peak(width / max(sigma, 1e-6), blur)
        if width < 1e-3:
            return None
    middle = float((part * t[here]).sum() / part.sum())
    return middle - width / 2, middle + width / 2


def share_at_peak(ratio: float, blur: Blur) -> float:
    """Share of a slot's darkness that is left in its middle, where it is `ratio` sigmas of blur wide."""
    return 2 * float(blur.edge(np.array(ratio / 2))) - 1


def outer_edge(
    light: Light, found: Found, see: Sight, trail: Trail, side: int, low: float, high: float
) -> FloatArray | None:
    """One edge of a slot whose other side may be gone, as places on the card (n, 2). side: 1 the left, -1 the
    right."""
    s = np.arange(low, high, STEP)
    t, dark, paper = darkness(light, found, see, trail, s)
    # The left is at negative t; looked at from outside inwards. Only the outer strip is sure to be paper.
    t, dark = (-t[::-1], dark[:, ::-1]) if side < 0 else (t, dark)
    strip = t < -REACH + 1.0
    base = np.median(dark[:, strip], axis=1)
    sigma = see.blur.sigma * see.pixel
    found_at = []
    for k in range(len(s)):
        over = np.flatnonzero(dark[k] - base[k] > DARK * (1 - base[k]))
        if len(over) == 0 or over[0] == 0 or paper[k] > _FULL or paper[k] < _FAINT:
            continue
        edge = _edge(t, dark[k] - base[k], int(over[0]), 1, sigma)
        if edge is not None:
            found_at.append((s[k], edge))
    if len(found_at) < 12:
        return None
    at, off = np.array(found_at).T
    z, way = trail.at(at)
    return to_array(z - 1j * way * off * side)
