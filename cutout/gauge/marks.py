"""The card in a photograph: its four marks found and read, then its dots, then the camera fitted to them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.ndimage import (
    binary_fill_holes,
    find_objects,
    gaussian_filter,
    label,
    map_coordinates,
    maximum_filter,
)

from cutout.errors import ReadError
from cutout.gauge.camera import Fitted, fit, homography
from cutout.gauge.card import DOT, MARK, RIM, Card, card_numbered, dots, mark_boxes, mark_words
from cutout.gauge.light import Light
from cutout.geom.curve import FloatArray

# Pixels of the longer side that marks are looked for on: a mark of a card in view has 50 or more.
_SMALL = 1600
_LEAST_DOTS = 12
"""Fewer dots than this don't tell the lens: the card is too much covered or damaged."""
_LEAST_OF_THREE = 40
"""The same where one mark is not seen and the dots must tell what lies in its corner."""
CORNERS = ("lower left", "lower right", "upper right", "upper left")


@dataclass(frozen=True)
class Mark:
    """A mark in the picture: which card and corner it says, how many cells were put right, its corners (4, 2) in
    pixels, lower left of the mark first, counter-clockwise on the card."""

    number: int
    corner: int
    mended: int
    quad: FloatArray


@dataclass(frozen=True)
class Found:
    """A card in a picture: which one, how the picture shows it, the dots used (n, 2; mm on the card), its three or
    four marks; the brightness of the black ink (linear light)."""

    card: Card
    fitted: Fitted
    dots: FloatArray
    marks: tuple[Mark, ...]
    ink: float


def find_card(light: Light, name: str) -> Found:
    """The test card in a picture. One of its marks may be lost to glare. Raises ReadError where it is not there, or
    not flat."""
    card, own = _of_one_card(find_marks(light), name)
    boxes = mark_boxes()
    xy = np.concatenate([_corners(boxes[m.corner]) for m in own])
    rough = fit(xy, np.concatenate([m.quad for m in own]), _size(light))
    centres = dots(card.ladder)
    seen, good = _dots(light, rough, centres)
    if good.sum() < (_LEAST_DOTS if len(own) == 4 else _LEAST_OF_THREE):
        raise ReadError(
            f"{name}: only {good.sum()} of the card's {len(good)} dots can be told: photograph it sharper, evenly "
            "lit, with nothing on it."
        )
    middles = np.array([[(b[0] + b[2]) / 2, (b[1] + b[3]) / 2] for b in (boxes[m.corner] for m in own)])
    crossed = np.array([_crossing(m.quad) for m in own])
    places, at = np.concatenate([centres[good], middles]), np.concatenate([seen[good], crossed])
    fitted = fit(places, at, _size(light))
    by_dots = slice(None, -len(own))
    return Found(card, fitted, places[by_dots][fitted.used[by_dots]], tuple(own), _ink(light, fitted))


def _size(light: Light) -> tuple[int, int]:
    return light.shape[1], light.shape[0]


def _corners(box: tuple[float, float, float, float]) -> FloatArray:
    x0, y0, x1, y1 = box
    return np.array([[x0, y0], [x1, y0], [x1, y1], [x0, y1]])


def _of_one_card(marks: list[Mark], name: str) -> tuple[Card, list[Mark]]:
    """The card that the marks agree on and three or four of its marks in order. Raises ReadError."""
    if not marks:
        raise ReadError(
            f"{name}: none of the test card's four marks was found: photograph the whole card from above, in focus "
            "and evenly lit. Print one with `cutout gauge`."
        )
    numbers = [m.number for m in marks]
    number = max(set(numbers), key=numbers.count)
    each = [
        sorted((m for m in marks if m.number == number and m.corner == corner), key=lambda m: m.mended)
        for corner in range(4)
    ]
    if any(len(here) > 1 for here in each):
        raise ReadError(f"{name}: more than one test card is in the picture: photograph one at a time.")
    missing = [place for place, here in zip(CORNERS, each, strict=True) if not here]
    if len(missing) > 1:
        raise ReadError(
            f"{name}: the card's marks {' and '.join(missing)} were not found: three of the four must be in the "
            "picture, uncovered, sharp and free of glare."
        )
    own = [here[0] for here in each if here]
    middles = np.array([m.quad.mean(axis=0) for m in own])
    ring = shapely.LinearRing(middles)
    # y runs down in a picture: what is counter-clockwise on the card is clockwise there, unless it is mirrored.
    if not ring.is_simple or ring.is_ccw or any(shapely.LinearRing(m.quad).is_ccw for m in own):
        raise ReadError(
            f"{name}: the card is mirrored or the marks are not where they belong: photograph it anew."
        )
    return card_numbered(number), own


def find_marks(light: Light) -> list[Mark]:
    """Every mark that can be read in a picture."""
    step = max(1, round(max(light.shape) / _SMALL))
    small = reduced(light, step)
    dark = small < 0.5 * _paper(small)
    parts, _ = label(dark)
    found = []
    parts = np.asarray(parts, dtype=np.int32)
    for n, where in enumerate(find_objects(parts), start=1):
        quad = _quad(parts, n, (where[0], where[1]))
        if quad is None:
            continue
        fine = _refined(light, quad * step, step)
        mark = None if fine is None else read_mark(light, fine)
        if mark is not None:
            found.append(mark)
    return found


def reduced(light: Light, step: int) -> Light:
    """The picture with every `step` by `step` pixels made one, their mean."""
    h, w = (n // step * step for n in light.shape)
    return np.asarray(
        light[:h, :w].reshape(h // step, step, w // step, step).mean(axis=(1, 3)), dtype=np.float32
    )


def _paper(small: Light) -> FloatArray:
    """Brightness the paper would have near each pixel: the lightest thing round it, smoothed."""
    reach = max(9, round(max(small.shape) / 18)) | 1
    return np.asarray(
        gaussian_filter(maximum_filter(gaussian_filter(small, 1.0), reach), reach / 3), dtype=float
    )


def _quad(parts: NDArray[np.integer[Any]], n: int, where: tuple[slice, slice]) -> FloatArray | None:
    """Corners (4, 2; x, y) of a dark part that may be a mark: four-sided and solid once its holes are filled."""
    h, w = (s.stop - s.start for s in where)
    if min(h, w) < 9 or max(h, w) > 400 or max(h, w) > 3.5 * min(h, w):
        return None
    part = binary_fill_holes(parts[where] == n)
    ys, xs = np.nonzero(part)
    pixels = np.column_stack([xs, ys])
    corners = (pixels[:, None, :] + np.array([[0, 0], [1, 0], [1, 1], [0, 1]])).reshape(-1, 2)
    hull = shapely.convex_hull(shapely.MultiPoint(corners))
    if not isinstance(hull, shapely.Polygon) or part.sum() < 0.85 * hull.area:
        return None
    box = shapely.get_coordinates(hull.exterior)[:-1]
    quad = widest_quad(box)
    if quad is None or shapely.Polygon(quad).area < 0.8 * hull.area:
        return None
    return np.asarray(quad + np.array([where[1].start, where[0].start], dtype=float))


def widest_quad(hull: FloatArray) -> FloatArray | None:
    """Four of a hull's corners: the two furthest apart, and the furthest from their line on both sides."""
    if len(hull) < 4:
        return None
    apart = np.hypot(*(hull[:, None, :] - hull[None, :, :]).transpose(2, 0, 1))
    i, j = sorted(np.unravel_index(int(np.argmax(apart)), apart.shape))
    a, b = hull[i], hull[j]
    side = (hull[:, 0] - a[0]) * (b - a)[1] - (hull[:, 1] - a[1]) * (b - a)[0]
    k, m = int(np.argmax(side)), int(np.argmin(side))
    if side[k] <= 0 or side[m] >= 0:
        return None
    quad = np.array([a, hull[k], b, hull[m]])
    return quad if shapely.LinearRing(quad).is_ccw else quad[::-1]


def sample(light: Light, xy: FloatArray) -> FloatArray:
    """Light at places (..., 2) in pixels; beyond the borders the nearest pixel's."""
    where = np.stack([xy[..., 1] - 0.5, xy[..., 0] - 0.5])
    return np.asarray(map_coordinates(light, where, order=1, mode="nearest"), dtype=float)


def _refined(light: Light, quad: FloatArray, step: int) -> FloatArray | None:
    """The quad with its sides laid through the edges of the ink, each found to a fraction of a pixel."""
    reach = 2.5 * step + 2.0
    for near in (reach, 3.0 + step / 2):
        sides = []
        for k in range(4):
            a, b = quad[k], quad[(k + 1) % 4]
            length = float(np.hypot(*(b - a)))
            along = (b - a) / max(length, 1e-9)
            out = np.array([along[1], -along[0]])
            if out @ (a - quad.mean(axis=0)) < 0:
                out = -out
            s = np.linspace(0.12, 0.88, 40)[:, None] * length
            t = np.arange(-near, near + 0.25, 0.25)
            rim = min(near, RIM / MARK * length * 0.7)
            t = t[t >= -rim]
            strip = sample(light, a + along * s[..., None] + out * t[None, :, None])
            off = _edge(strip, t)
            good = np.isfinite(off)
            if good.sum() < 15:
                return None
            for _ in range(3):
                slope, rise = np.polyfit(s[good, 0], off[good], 1)
                left = np.abs(off - slope * s[:, 0] - rise)
                good = np.isfinite(off) & (left < 3 * np.median(left[good]) + 0.1)
            sides.append((a + out * rise, along + out * slope))
        crossed = [_meet(sides[k - 1], sides[k]) for k in range(4)]
        if any(c is None for c in crossed):
            return None
        quad = np.array(crossed)
    return quad if shapely.Polygon(quad).is_valid and np.isfinite(quad).all() else None


def _edge(strip: FloatArray, t: FloatArray) -> FloatArray:
    """Where each row (n, m) goes from dark to light, at half between its ends; nan where it doesn't."""
    low, high = strip.min(axis=1), strip.max(axis=1)
    level = (low + high) / 2
    over = strip > level[:, None]
    first = np.argmax(over, axis=1)
    rows = np.arange(len(strip))
    good = (first > 0) & (high > 1.6 * low + 1e-4)
    before = np.maximum(first - 1, 0)
    a, b = strip[rows, before], strip[rows, first]
    share = (level - a) / np.where(b > a, b - a, 1.0)
    return np.where(good, t[before] + share * (t[first] - t[before]), np.nan)


def _meet(one: tuple[FloatArray, FloatArray], two: tuple[FloatArray, FloatArray]) -> FloatArray | None:
    (p, r), (q, s) = one, two
    cross = r[0] * s[1] - r[1] * s[0]
    if abs(cross) < 0.1:
        return None
    return np.asarray(p + r * (((q - p)[0] * s[1] - (q - p)[1] * s[0]) / cross))


def read_mark(light: Light, quad: FloatArray) -> Mark | None:
    """What a quadrilateral of ink says, or None where it is no mark. quad: (4, 2), clockwise on the screen."""
    plane = homography(np.array([[0.0, 0.0], [1.0, 0.0], [1.0, 1.0], [0.0, 1.0]]), quad)
    rim, cell = RIM / MARK, (1 - 2 * RIM / MARK) / 4
    at = rim + cell * (np.arange(4)[:, None] + np.array([0.3, 0.5, 0.7])[None, :]).ravel()
    values = _through(light, plane, *np.meshgrid(at, at)).reshape(4, 3, 4, 3).mean(axis=(1, 3))
    edge = np.linspace(0.05, 0.95, 25)
    black = np.median(np.concatenate([_through(light, plane, *p) for p in _round(edge, rim / 2)]))
    white = np.percentile(np.concatenate([_through(light, plane, *p) for p in _round(edge, -1.2 / MARK)]), 60)
    if white < 2.0 * black or np.ptp(values) < 0.4 * (white - black):
        return None
    share = (values - black) / (white - black)
    if (np.abs(share - 0.5) < 0.12).sum() > 2:
        return None
    # Rows run down the screen from the quad's first side; the mark may lie turned by any quarter.
    for turn in range(4):
        seen = np.rot90(share < 0.5, turn)
        hit = _nearest(seen)
        if hit is not None:
            # The first corner of a mark that lies upright is its upper left; counter-clockwise from the lower left.
            first = {0: (3, 2, 1, 0), 1: (0, 3, 2, 1), 2: (1, 0, 3, 2), 3: (2, 1, 0, 3)}[turn]
            return Mark(*hit, quad[list(first)])
    return None


def _round(edge: FloatArray, inset: float) -> list[tuple[FloatArray, FloatArray]]:
    """Places along the four sides of the unit square, this far inside it."""
    low, high = np.full(len(edge), inset), np.full(len(edge), 1 - inset)
    return [(edge, low), (edge, high), (low, edge), (high, edge)]


def _through(light: Light, plane: FloatArray, x: FloatArray, y: FloatArray) -> FloatArray:
    w = plane[2, 0] * x + plane[2, 1] * y + plane[2, 2]
    u = (plane[0, 0] * x + plane[0, 1] * y + plane[0, 2]) / w
    v = (plane[1, 0] * x + plane[1, 1] * y + plane[1, 2]) / w
    return sample(light, np.stack([u, v], axis=-1))


def _nearest(seen: NDArray[np.bool_]) -> tuple[int, int, int] | None:
    """Card, corner and number of cells put right (at most one) for cells as seen, or None."""
    value = sum(int(b) << k for k, b in enumerate(seen.ravel()))
    words = mark_words()
    if value in words:
        return (*words[value], 0)
    return next(((*words[v], 1) for k in range(16) if (v := value ^ (1 << k)) in words), None)


def _crossing(quad: FloatArray) -> FloatArray:
    """Where the diagonals meet: the picture of the mark's middle, whatever the perspective."""
    found = _meet((quad[0], quad[2] - quad[0]), (quad[1], quad[3] - quad[1]))
    return quad.mean(axis=0) if found is None else found


def _dots(light: Light, rough: Fitted, centres: FloatArray) -> tuple[FloatArray, NDArray[np.bool_]]:
    """Where the dots' middles are (n, 2; px), and which can be trusted: the centroid of their darkness."""
    camera = rough.camera
    reach = DOT * 0.98
    grid = np.linspace(-reach, reach, 41)
    gx, gy = np.meshgrid(grid, grid)
    places = centres[:, None, None, :] + np.stack([gx, gy], axis=-1)
    values = sample(light, camera.pixels(places))
    r = np.hypot(gx, gy)
    paper = np.percentile(values[:, r > 0.85 * DOT], 60, axis=1)
    inner = np.median(values[:, r < 0.3 * DOT], axis=1)
    dark = np.clip((paper[:, None, None] - values) / np.maximum(paper - inner, 1e-6)[:, None, None], 0.0, 1.0)
    dark = np.where((r < 0.85 * DOT)[None], np.where(dark > 0.15, dark, 0.0), 0.0)
    mass = dark.sum(axis=(1, 2))
    cx = (dark * gx).sum(axis=(1, 2)) / np.maximum(mass, 1e-9)
    cy = (dark * gy).sum(axis=(1, 2)) / np.maximum(mass, 1e-9)
    across = 2 * np.sqrt(mass * (grid[1] - grid[0]) ** 2 / np.pi)
    good = (inner < 0.45 * paper) & (np.abs(across - DOT) < 0.35 * DOT) & (np.hypot(cx, cy) < 0.45 * DOT)
    return camera.pixels(centres + np.column_stack([cx, cy])), good


def _ink(light: Light, fitted: Fitted) -> float:
    """Brightness of the marks' black rim."""
    places = []
    for x0, y0, x1, y1 in mark_boxes():
        s = np.linspace(0.1, 0.9, 20)
        m = RIM / 2
        for a, b in (((x0, y0 + m), (x1, y0 + m)), ((x0, y1 - m), (x1, y1 - m))):
            places.append(np.array(a) + s[:, None] * (np.array(b) - np.array(a)))
    return float(np.median(sample(light, fitted.camera.pixels(np.concatenate(places)))))
