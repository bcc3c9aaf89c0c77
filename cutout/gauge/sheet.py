"""What the printer made of the card: its scale, from the check square or from the paper's own edges."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from scipy.ndimage import gaussian_filter1d

from cutout.gauge.card import HEIGHT, SQUARE, WIDTH
from cutout.gauge.light import Light
from cutout.gauge.marks import Found, sample
from cutout.geom.curve import FloatArray
from cutout.kit import paper

_TRIMMED = 0.003
"""Share a sheet of paper is commonly off its size: common practice, no source (ISO 216 allows 2 mm in 297)."""
_UNKNOWN = 0.01
"""Share a print is commonly off its size where nothing tells it."""
_REACH = 7.0
"""How far from its place the paper's edge is looked for (mm)."""


@dataclass(frozen=True)
class PrintScale:
    """Printed over true size across and up the card, how sure (share), and what says so."""

    wide: float
    high: float
    sure: float
    how: Literal["check square", "paper's edges", "not known"]


def print_scale(light: Light, found: Found, square: tuple[float, float] | None) -> PrintScale:
    """The print scale of the card in a picture."""
    if square is not None:
        side = SQUARE[2]
        return PrintScale(square[0] / side, square[1] / side, 0.002, "check square")
    if found.card.paper == "other":
        return PrintScale(1.0, 1.0, _UNKNOWN, "not known")
    sheet = paper(found.card.paper)
    width, height = sheet.width, sheet.height or 0.0
    x0, y0 = (WIDTH - width) / 2, (HEIGHT - height) / 2
    x1, y1 = x0 + width, y0 + height
    sides = [
        _paper_edge(light, found, (x0, y0), (x0, y1), (-1, 0)),
        _paper_edge(light, found, (x1, y0), (x1, y1), (1, 0)),
        _paper_edge(light, found, (x0, y0), (x1, y0), (0, -1)),
        _paper_edge(light, found, (x0, y1), (x1, y1), (0, 1)),
    ]
    left, right, low, top = sides
    if left is None or right is None or low is None or top is None:
        return PrintScale(1.0, 1.0, _UNKNOWN, "not known")
    return PrintScale(
        width / (width + left + right), height / (height + low + top), _TRIMMED, "paper's edges"
    )


def _paper_edge(
    light: Light, found: Found, a: tuple[float, float], b: tuple[float, float], out: tuple[int, int]
) -> float | None:
    """How far out of its place (mm) the paper's edge lies, or None where it is not seen as a straight line."""
    s = np.linspace(0.08, 0.92, 90)
    t = np.arange(-_REACH, _REACH, 0.05)
    xy = np.array(a) + s[:, None, None] * (np.array(b) - np.array(a)) + t[None, :, None] * np.array(out)
    pixels = found.fitted.camera.pixels(xy)
    h, w = light.shape
    inside = ((pixels > 1) & (pixels < np.array([w, h]) - 1)).all(axis=(1, 2))
    if inside.mean() < 0.6:
        return None
    strip = gaussian_filter1d(sample(light, pixels[inside]), 3, axis=1)
    at = _steps(strip, t)
    good = np.isfinite(at)
    if good.mean() < 0.5:
        return None
    where = s[inside][good] - 0.5
    off = at[good]
    near = np.ones(len(off), dtype=bool)
    for _ in range(4):
        slope, rise = np.polyfit(where[near], off[near], 1)
        left = np.abs(off - slope * where - rise)
        near = left < max(2.5 * float(np.median(left)), 0.1)
    if near.sum() < 0.45 * inside.sum() or float(np.median(left[near])) > 0.15:
        return None
    return float(rise)


def _steps(strip: FloatArray, t: FloatArray) -> FloatArray:
    """Where each row falls from paper to something darker for good; nan where it does not."""
    paper = np.percentile(strip[:, : len(t) // 3], 70, axis=1)
    beyond = np.median(strip[:, -len(t) // 8 :], axis=1)
    level = (paper + beyond) / 2
    over = strip > level[:, None]
    last = strip.shape[1] - 1 - np.argmax(over[:, ::-1], axis=1)
    good = (beyond < 0.8 * paper) & (last < strip.shape[1] - 2) & (last > 0)
    after = np.minimum(last + 1, strip.shape[1] - 1)
    rows = np.arange(len(strip))
    p, q = strip[rows, last], strip[rows, after]
    share = (p - level) / np.where(p > q, p - q, 1.0)
    return np.where(good, t[last] + share * (t[after] - t[last]), np.nan)
