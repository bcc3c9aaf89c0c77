"""What the saw left along a line of the card, station by station: where the slot's two edges are."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import median_filter, uniform_filter1d
from scipy.special import erf

from cutout.gauge.card import CLEAR, RIM, Trail, mark_boxes
from cutout.gauge.light import Light
from cutout.gauge.marks import Found, sample
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


@dataclass(frozen=True)
class Sight:
    """How well the picture shows the card: sigma of the blur (px), size of a pixel (mm) on average, ink over
    paper."""

    blur: float
    pixel: float
    ink: float


def sight(light: Light, found: Found) -> Sight:
    """Blur and scale from the marks' own edges, which are sharp on paper."""
    blurs, inks = [], []
    camera = found.fitted.camera
    for box in mark_boxes():
        x0, y0, x1, y1 = box
        corners = ((x0, y0), (x1, y0), (x1, y1), (x0, y1))
        outward = ((0, -1), (1, 0), (0, 1), (-1, 0))
        for a, b, out in zip(corners, (*corners[1:], corners[0]), outward, strict=True):
            s = np.linspace(0.15, 0.85, 40)[:, None, None]
            t = np.linspace(-RIM * 0.75, 1.5, 120)
            xy = np.array(a) + s * (np.array(b) - np.array(a)) + t[None, :, None] * np.array(out)
            profile = sample(light, camera.pixels(xy)).mean(axis=0)
            low, high = profile[:12].mean(), profile[-12:].mean()
            if high < 1.5 * low:
                continue
            share = np.maximum.accumulate((profile - low) / (high - low))
            quarter = np.interp([0.25, 0.75], share, t)
            middle = np.array([[(a[0] + b[0]) / 2, (a[1] + b[1]) / 2]])
            px = np.diff(camera.pixels(middle + quarter[:, None] * np.array(out)), axis=0)[0]
            # A Gaussian's quarters lie 1.349 sigma apart.
            blurs.append(float(np.hypot(*px)) / 1.349)
            inks.append(low / high)
    centre = np.array([[93.0, 125.0], [30.0, 40.0], [156.0, 40.0], [156.0, 210.0], [30.0, 210.0]])
    pixel = float(np.mean(camera.mm_per_pixel(centre)))
    return Sight(float(np.median(blurs)) if blurs else 1.0, pixel, float(np.median(inks)) if inks else 0.05)


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
    sigma = see.blur * _across(found, trail, s)
    calm = uniform_filter1d(dark, 3, axis=0, mode="nearest")
    middle, width = np.full(n, np.nan), np.full(n, np.nan)
    glare = (paper > _FULL) & np.isfinite(paper)
    faint = paper < _FAINT
    for k in np.flatnonzero(~glare & ~faint).tolist():
        edges = _edges(t, dark[k], calm[k], float(sigma[k]))
        if edges is not None:
            middle[k], width[k] = (edges[0] + edges[1]) / 2, edges[1] - edges[0]
    return Slot(trail, s, middle, width, int(glare.sum()), int(faint.sum()), float(np.median(sigma)))


def _across(found: Found, trail: Trail, s: FloatArray) -> FloatArray:
    """Size (mm) of a pixel across a trail at each place (n,): larger one way than the other in a tilted picture."""
    z, way = trail.at(s)
    right, left = (to_array(z + side * 0.5j * way) for side in (-1, 1))
    camera = found.fitted.camera
    return np.asarray(1.0 / np.hypot(*(camera.pixels(left) - camera.pixels(right)).T))


def _edges(t: FloatArray, dark: FloatArray, calm: FloatArray, sigma: float) -> tuple[float, float] | None:
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
    if t[j - 1] - t[i] >= _WIDE * sigma:
        left, right = _edge(t, dark, i, 1, sigma), _edge(t, dark, j - 1, -1, sigma)
        return None if left is None or right is None else (left, right)
    return _narrow(t, dark, calm, i, j, sigma)


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
    t: FloatArray, dark: FloatArray, calm: FloatArray, i: int, j: int, sigma: float
) -> tuple[float, float] | None:
    """Edges of a slot hardly wider than the blur: blur keeps its darkness and its middle, and says its peak.

    A box of width w and depth D blurred by sigma has the area D w and the peak D erf(w / (sqrt(8) sigma)).
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
        width = area / peak * float(erf(width / (math.sqrt(8) * max(sigma, 1e-6))))
        if width < 1e-3:
            return None
    middle = float((part * t[here]).sum() / part.sum())
    return middle - width / 2, middle + width / 2


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
    sigma = see.blur * see.pixel
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
