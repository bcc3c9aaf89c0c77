"""The four sides of a sheet of paper in a photo, each laid by its own step in brightness at full size.

A rough quadrilateral may follow a shadow, a board's edge or the brightest of several things. Here every side
has to show its own step from paper to ground nearly all along, and straight but for what a lens bends.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.ndimage import gaussian_filter1d, map_coordinates

from cutout.geom.curve import FloatArray
from cutout.geom.robust import sigma_of

LEAST_SEEN = 0.90
"""Least share of each side along which its step is seen: with less it may be another thing's side."""

_STATIONS = 240  # places along a side at which its edge is looked for
_ENDS = 0.05
"""Share of a side left out at each end, where the other sides' steps are near."""

_STRAY = 1.5
"""How far (px) a step may lie off the fitted side and still belong to it."""

_MOST_BEND = 0.35
"""Strongest radial term looked for: the corners of the picture moved by so much of their distance to its middle."""

_FOCAL = 1.2
"""Focal length of a phone's main camera in half diagonals: 26 mm against 21.6 mm of 35 mm film (from memory)."""

_LEANS = 0.03
"""Least lean, as the share by which one end of a side is farther than the other, that tells the focal length."""


@dataclass(frozen=True)
class Sheet:
    """The sheet's corners (4, 2) px, y down, clockwise from the rough ones' first; how well they are known.

    seen: share of each side (top, right, bottom, left of the rough order) along which its step was found.
    error: standard error (px) of a corner. bend: radial term, and `middle` the point it is about; corners are
    where they are seen, not yet straightened.
    """

    corners: FloatArray
    seen: tuple[float, ...]
    error: float
    bend: float
    middle: FloatArray
    unit: float

    def straight(self, xy: FloatArray) -> FloatArray:
        """Points (n, 2) px, y down, with the lens's bend taken out."""
        return unbent(xy, self.bend, self.middle, self.unit)


def unbent(xy: FloatArray, bend: float, middle: FloatArray, unit: float) -> FloatArray:
    """x' = m + (x - m)(1 + k r^2), r in units of `unit` px: the first term of the usual radial lens model."""
    away = xy - middle
    r2 = (away**2).sum(axis=1, keepdims=True) / unit**2
    return np.asarray(middle + away * (1.0 + bend * r2))


def lay_sides(light: FloatArray, rough: FloatArray) -> Sheet:
    """The sheet near the rough corners (4, 2), y down, clockwise, in a picture (h, w) of brightness."""
    height, width = light.shape
    middle = np.array([width / 2, height / 2])
    unit = math.hypot(width, height) / 2
    corners = rough
    reach = max(8.0, 0.012 * math.hypot(width, height))
    sides: list[_Side] = []
    # First widely round the rough sides, then closely round those found.
    for across in (reach, max(6.0, reach / 3)):
        sides = [_side(light, corners[k], corners[(k + 1) % 4], across) for k in range(4)]
        if min(s.seen for s in sides) < 0.3:
            break
        corners = _corners(sides)
    bend = _bend([s.points for s in sides], middle, unit)
    spread = max(s.error for s in sides)
    return Sheet(corners, tuple(s.seen for s in sides), spread, bend, middle, unit)


@dataclass(frozen=True)
class _Side:
    points: FloatArray
    fit: tuple[FloatArray, FloatArray, FloatArray]
    seen: float
    error: float

    def at(self, t: float) -> FloatArray:
        start, along, c = self.fit
        normal = np.array([-along[1], along[0]])
        return np.asarray(start + along * t + normal * float(np.polyval(c, t)))


def _side(light: FloatArray, a: FloatArray, b: FloatArray, reach: float) -> _Side:
    """Steps across the way from a to b; the paper lies to the right of it on the screen (y down, clockwise)."""
    length = float(np.hypot(*(b - a)))
    along = (b - a) / max(length, 1e-9)
    inward = np.array([-along[1], along[0]])
    t = np.linspace(_ENDS * length, (1 - _ENDS) * length, _STATIONS)
    k = np.arange(-reach, reach + 0.25, 0.5)
    x = (a[0] + along[0] * t)[:, None] + inward[0] * k - 0.5
    y = (a[1] + along[1] * t)[:, None] + inward[1] * k - 0.5
    values = map_coordinates(light, [y, x], order=1, mode="nearest")
    # The step of a side that crosses many stations in the same place survives averaging over a few of them.
    rise = gaussian_filter1d(gaussian_filter1d(values, 1.5, axis=0), 2.0, axis=1, order=1)
    peak = np.argmax(rise, axis=1)
    peak = np.clip(peak, 1, len(k) - 2)
    rows = np.arange(len(t))
    before, here, after = rise[rows, peak - 1], rise[rows, peak], rise[rows, peak + 1]
    curved = before - 2 * here + after
    off = k[peak] + 0.5 * np.where(curved < 0, 0.5 * (before - after) / np.where(curved < 0, curved, 1), 0.0)
    strong = here > 0.3 * max(float(np.quantile(here, 0.6)), 1e-6)
    good = strong.copy()
    c = np.zeros(3)
    u = t / length
    for stray in (max(reach / 2, _STRAY), 2 * _STRAY, _STRAY, _STRAY):
        if good.sum() < 12:
            break
        c = _robust(u[good], off[good])
        good = strong & (np.abs(off - np.polyval(c, u)) < stray)
    left = off[good] - np.polyval(c, u[good]) if good.any() else np.array([reach])
    scaled = np.array([c[0] / length**2, c[1] / length, c[2]])
    points = a + along * t[good, None] + inward * off[good, None]
    # Neighbouring stations share what they see: about every fifth counts; a line's end is known half as well.
    error = 2.0 * float(np.std(left)) / math.sqrt(max(good.sum() / 5.0, 1.0))
    return _Side(points, (a, along, scaled), float(good.mean()), error)


def _robust(u: FloatArray, off: FloatArray) -> FloatArray:
    """A parabola by least squares, three times reweighted so that far steps count little."""
    weight = np.ones(len(u))
    c = np.zeros(3)
    for _ in range(4):
        c = np.polyfit(u, off, 2, w=weight)
        miss = np.abs(off - np.polyval(c, u))
        scale = sigma_of(miss) + 0.1
        weight = 1.0 / np.sqrt(1.0 + (miss / scale) ** 2)
    return np.asarray(c)


def _corners(sides: list[_Side]) -> FloatArray:
    """Where each side meets the one before it, by Newton on both parabolas' places."""
    found = []
    for one, two in zip([sides[3], *sides[:3]], sides, strict=True):
        s = float((two.fit[0] - one.fit[0]) @ one.fit[1])
        t = 0.0
        for _ in range(5):
            p, q = one.at(s), two.at(t)
            da, db = one.at(s + 0.5) - one.at(s - 0.5), two.at(t + 0.5) - two.at(t - 0.5)
            step = np.linalg.lstsq(np.column_stack([da, -db]), q - p, rcond=None)[0]
            s, t = s + float(step[0]), t + float(step[1])
        found.append(two.at(t))
    return np.array(found)


def _bend(sides: list[FloatArray], middle: FloatArray, unit: float) -> float:
    """The radial term that leaves the four sides straightest; 0 where it gains nothing to speak of."""
    if min(len(p) for p in sides) < 20:
        return 0.0
    from scipy.optimize import minimize_scalar  # Loaded by pictures that need it alone.

    def crooked(bend: float) -> float:
        return sum(_off_line(unbent(p, bend, middle, unit)) for p in sides)

    best = minimize_scalar(
        crooked, bounds=(-_MOST_BEND, _MOST_BEND), method="bounded", options={"xatol": 1e-5}
    )
    gained = crooked(0.0) - float(best.fun)
    return float(best.x) if gained > 0.1 * crooked(0.0) else 0.0


def _off_line(points: FloatArray) -> float:
    """Mean square distance of points from their own straight line."""
    centred = points - points.mean(axis=0)
    return float(np.linalg.svd(centred, compute_uv=False)[-1] ** 2 / len(points))


def aspect(corners: FloatArray, middle: FloatArray, unit: float) -> float:
    """Long over short side of the rectangle the (straightened) corners are seen from.

    The lens's axis is taken to go through the middle of the picture. Source: Zhang and He, Whiteboard scanning
    and image enhancement, 2007 (from memory): with m1..m4 the corners (m1 opposite m4) about the middle,
    k2 = (m1 x m4) . m3 / ((m2 x m4) . m3), k3 = (m1 x m4) . m2 / ((m3 x m4) . m2), n2 = k2 m2 - m1,
    n3 = k3 m3 - m1; n2 and n3 are the sides' directions, at right angles once the focal length is right.
    A sheet that leans one way only, or hardly, says nothing of the focal length; then, and where the answer is
    none a camera has, a usual one is taken, _FOCAL times `unit`, half the picture's diagonal.
    """
    scale = float(np.abs(corners - middle).max())
    m = np.column_stack([(corners - middle) / scale, np.ones(4)])
    m1, m2, m4, m3 = m  # clockwise: 1, 2, 4, 3
    k2 = np.cross(m1, m4) @ m3 / (np.cross(m2, m4) @ m3)
    k3 = np.cross(m1, m4) @ m2 / (np.cross(m3, m4) @ m2)
    n2, n3 = k2 * m2 - m1, k3 * m3 - m1
    usual = (_FOCAL * unit / scale) ** 2
    told = min(abs(n2[2]), abs(n3[2])) > _LEANS
    focal2 = -float(n2[0] * n3[0] + n2[1] * n3[1]) / float(n2[2] * n3[2]) if told else usual
    if not usual / 4 < focal2 < usual * 16:
        focal2 = usual
    sizes = [math.sqrt(float(n[0] ** 2 + n[1] ** 2) / focal2 + float(n[2] ** 2)) for n in (n2, n3)]
    return max(sizes) / max(min(sizes), 1e-9)
