"""A picture taken at an angle set straight from a rectangle of known size in it.

Not the pixels are warped but the traced line, which keeps its precision; the picture is only masked.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
import shapely
from numpy.typing import NDArray
from PIL import Image, ImageDraw
from scipy.ndimage import binary_fill_holes, label

from cutout.errors import ReadError
from cutout.geom.curve import ComplexArray, FloatArray, to_array, to_complex
from cutout.geom.outline import Note
from cutout.read.options import ReadOptions
from cutout.read.picture.decode import Picture
from cutout.read.picture.edge import linear
from cutout.read.picture.nested import holds_another
from cutout.read.picture.sides import LEAST_SEEN, Sheet, aspect, lay_sides
from cutout.trace.iso import iso_lines

if TYPE_CHECKING:  # Loaded by pictures that are straightened alone.
    from skimage.transform import ProjectiveTransform

_SMALL = 1200  # pixels of the longer side that a sheet is looked for on
_OTHER_PAPER = 0.06
"""Difference in proportions from the paper given that is worth a word: A4 and Letter differ by 9 %."""

_CORNER = 0.1
"""Standard error (px) that a corner has at least, whatever its sides say. By measurement: 0.04 px in the median and
0.12 in the worst of 24 simulated photos (tests/bench/photos.py); a camera's own lens may bend less evenly."""

_APART = 0.02
"""Share of a sheet's longer side by which another one's corners have to lie elsewhere to be another sheet."""

_INSET = 0.012
"""Share of the sheet cut off all round, so that its own edge and shadow are not taken for the figure."""


@dataclass(frozen=True)
class Straightened:
    """The masked picture and how its lines become true: pixels (y up) to units of `scale` mm, y up."""

    picture: Picture
    to_true: ProjectiveTransform
    scale: float | None
    notes: tuple[Note, ...]
    sheet: Sheet | None = None

    def lines(self, lines: list[ComplexArray]) -> list[ComplexArray]:
        """Traced lines in true proportions."""
        return [to_complex(np.asarray(self.to_true(self._unbent(to_array(z))))) for z in lines]

    def _unbent(self, xy: FloatArray) -> FloatArray:
        """Pixels, y up, with what the lens bends taken out."""
        if self.sheet is None or not self.sheet.bend:
            return xy
        down = np.array([0.0, self.picture.colour.height])
        return np.asarray(self.sheet.straight(xy * (1, -1) + down) * (1, -1) + down)


def straightened(picture: Picture, name: str, options: ReadOptions) -> Straightened | None:
    """What `options` asks to straighten, or None where it asks for nothing. Raises ReadError."""
    if options.corners is None and options.sheet is None:
        return None
    if options.corners is not None:
        quad = _marked(options.corners, picture.colour.size, name)
        return _true(picture, quad, options.sheet, keep_inside=True, how="the four corners marked")
    assert options.sheet is not None
    found = _find_sheet(picture, name)
    quad = found.corners
    inside = _holds_figure(picture, quad)
    how = "the sheet found in the picture"
    size = _turned(options.sheet, quad)
    made = _true(picture, found.straight(quad), size, keep_inside=inside, how=how, seen=quad)
    return replace(made, sheet=found, notes=(*made.notes, *_trust(found, size, made.scale)))


def _trust(sheet: Sheet, size: tuple[float, float], scale: float | None) -> tuple[Note, ...]:
    """How well the sheet's place gives the scale, and whether its shape is that of the paper given."""
    assert scale is not None
    # Two corners with their own errors lie at either end of a side.
    off = max(sheet.error, _CORNER) * scale * math.sqrt(2.0)
    text = "The sheet's corners give sizes to about ±{} over its length of {}"
    text += ", bent lines of the lens straightened." if sheet.bend else "."
    notes = [Note("scale", text, (off, max(size)))]
    seen, given = aspect(sheet.straight(sheet.corners), sheet.middle, sheet.unit), max(size) / min(size)
    if abs(seen / given - 1.0) > _OTHER_PAPER:
        text = (
            f"The sheet in the picture looks {seen:.2f} times as long as wide, the paper given is {given:.2f} times: "
            "check the size of the sheet (a cropped photo may look so too)."
        )
        notes.append(Note("other paper", text))
    return tuple(notes)


def _marked(corners: tuple[tuple[float, float], ...], size: tuple[int, int], name: str) -> FloatArray:
    quad = np.array(corners, dtype=float)
    polygon = shapely.Polygon(quad) if quad.shape == (4, 2) else None
    if polygon is None or not polygon.is_valid or polygon.area < 100:
        raise ReadError(f"{name}: mark four different corners in order, clockwise from the top left.")
    hull = shapely.convex_hull(polygon)
    if hull.area > 1.001 * polygon.area or len(shapely.get_coordinates(hull)) != 5:
        raise ReadError(
            f"{name}: the four corners marked don't make a rectangle seen at an angle: mark them again."
        )
    if (quad < -1).any() or (quad > np.array(size) + 1).any():
        raise ReadError(
            f"{name}: a corner is marked outside the picture, which is {size[0]} x {size[1]} pixels."
        )
    # y down: clockwise on the screen is a positive area.
    if _area(quad) < 0:
        quad = quad[[0, 3, 2, 1]]
    return quad


def _true(
    picture: Picture,
    quad: FloatArray,
    sheet: tuple[float, float] | None,
    keep_inside: bool,
    how: str,
    seen: FloatArray | None = None,
) -> Straightened:
    """Straightened by the corners `quad`; `seen`: where they are in the picture, if a lens bends it."""
    from skimage.transform import ProjectiveTransform

    sides = np.hypot(*(np.roll(quad, -1, axis=0) - quad).T)
    across, down = (sides[0] + sides[2]) / 2, (sides[1] + sides[3]) / 2
    # Units are chosen so that one is about a pixel of the photo: tolerances in pixels keep their meaning.
    per_unit = None if sheet is None else (sheet[0] / across + sheet[1] / down) / 2
    width, height = (
        (across, down) if sheet is None or per_unit is None else (sheet[0] / per_unit, sheet[1] / per_unit)
    )
    target = np.array([[0.0, height], [width, height], [width, 0.0], [0.0, 0.0]])
    y_up = np.column_stack([quad[:, 0], picture.colour.height - quad[:, 1]])
    to_true = ProjectiveTransform.from_estimate(y_up, target)
    size = "its proportions taken from the picture" if sheet is None else "{} by {}"
    text = f"Straightened by {how} ({size})."
    return Straightened(
        _masked(picture, quad if seen is None else seen, keep_inside),
        to_true,
        per_unit,
        (Note("straightened", text, () if sheet is None else sheet),),
    )


def _turned(sheet: tuple[float, float], quad: FloatArray) -> tuple[float, float]:
    """The sheet's sizes with the longer one along the longer way it lies in the picture."""
    sides = np.hypot(*(np.roll(quad, -1, axis=0) - quad).T)
    wide = sides[0] + sides[2] > sides[1] + sides[3]
    return (max(sheet), min(sheet)) if wide else (min(sheet), max(sheet))


def _masked(picture: Picture, quad: FloatArray, keep_inside: bool) -> Picture:
    """The picture with everything but the sheet (or the sheet itself) painted over as background."""
    inner = quad.mean(axis=0) + (quad - quad.mean(axis=0)) * (
        1 - 2 * _INSET if keep_inside else 1 + 2 * _INSET
    )
    mask = Image.new("1", picture.colour.size, 0)
    ImageDraw.Draw(mask).polygon([tuple(p) for p in inner.tolist()], fill=1)
    keep = mask if keep_inside else mask.point(lambda v: 0 if v else 255)
    ring = quad.mean(axis=0) + (quad - quad.mean(axis=0)) * (
        1 - 4 * _INSET if keep_inside else 1 + 4 * _INSET
    )
    ground = _ground(picture.colour, inner, ring)
    fill = Image.new(picture.colour.mode, picture.colour.size, ground)
    return replace(picture, colour=Image.composite(picture.colour, fill, keep))


def _ground(colour: Image.Image, one: FloatArray, two: FloatArray) -> int | tuple[int, ...]:
    """Median colour on the strip between two quadrilaterals: what the figure lies on."""
    share = np.linspace(0.0, 1.0, 200)[:, None]
    points = []
    for k in range(4):
        for f in (0.0, 0.25, 0.5, 0.75, 1.0):
            quad = one + (two - one) * f
            points.append(quad[k] + (quad[(k + 1) % 4] - quad[k]) * share)
    at = np.concatenate(points).astype(int)
    at = np.clip(at, 0, np.array(colour.size) - 1)
    pixels = np.asarray(colour)[at[:, 1], at[:, 0]]
    middle = np.median(pixels, axis=0)
    return int(middle) if np.ndim(middle) == 0 else tuple(int(v) for v in middle)


def _find_sheet(picture: Picture, name: str) -> Sheet:
    """The sheet whose four sides are all seen nearly all along. Raises ReadError where none is."""
    factor = max(1, round(max(picture.colour.size) / _SMALL))
    grey = picture.colour.convert("L")
    small = np.asarray(grey.reduce(factor) if factor > 1 else grey)
    light = linear(np.arange(256))[np.asarray(grey)].astype(np.float32)
    best: Sheet | None = None
    trusted: list[Sheet] = []
    for level in _levels(small):
        quad = _quadrilateral(small, level)
        if quad is None:
            continue
        sheet = lay_sides(light, _from_top_left(quad) * factor)
        if min(sheet.seen) >= LEAST_SEEN:
            trusted.append(sheet)
        if best is None or min(sheet.seen) > min(best.seen):
            best = sheet
    if any(_is_another(sheet, trusted[0]) for sheet in trusted[1:]) or (
        trusted and holds_another(light, trusted[0].corners)
    ):
        raise ReadError(
            f"{name}: two sheets or boards are seen, one on the other, and either may be the paper: take one away, "
            "or mark the four corners of the paper by hand."
        )
    if trusted:
        return trusted[0]
    if best is None:
        raise ReadError(
            f"{name}: no sheet of paper was found in the picture: lay a white sheet on a darker ground, all four "
            "corners in the picture, or mark the corners by hand."
        )
    k = int(np.argmin(best.seen))
    raise ReadError(
        f"{name}: the sheet can't be trusted: its {('top', 'right', 'bottom', 'left')[k]} side is seen along only "
        f"{100 * best.seen[k]:.0f} % of its length. Lay it on a plain ground that is darker all round, or mark its "
        "corners by hand."
    )


def _is_another(sheet: Sheet, than: Sheet) -> bool:
    """Whether two sheets, both with their sides in sight, lie in different places."""
    size = float(np.hypot(*(than.corners[2] - than.corners[0])))
    off = min(float(np.hypot(*(np.roll(sheet.corners, k, axis=0) - than.corners).T).max()) for k in range(4))
    return off > _APART * size


def _levels(small: NDArray[np.uint8]) -> list[float]:
    """Levels between darker and lighter classes of the picture, likeliest first."""
    values = np.sort(small.ravel())
    low, high = (float(v) for v in np.percentile(values, (1, 99)))
    return [low + (high - low) * share for share in (0.6, 0.7, 0.5, 0.8, 0.4)]


def _quadrilateral(small: NDArray[np.uint8], level: float) -> FloatArray | None:
    parts, count = label(small > level)
    if count == 0:
        return None
    sizes = np.bincount(parts.ravel())
    sizes[0] = 0
    part = binary_fill_holes(parts == int(np.argmax(sizes)))
    share = float(part.mean())
    if not 0.02 < share < 0.97 or part[0].any() or part[-1].any() or part[:, 0].any() or part[:, -1].any():
        return None
    grey = np.where(part, np.maximum(small, level + 1), np.minimum(small, level)).astype(np.float32)
    lines = iso_lines(grey, level).lines
    if not lines:
        return None
    z = max(lines, key=len)
    hull = shapely.convex_hull(shapely.MultiPoint(to_array(z)))
    if not isinstance(hull, shapely.Polygon) or hull.area > 1.08 * part.sum():
        return None
    rough = _four_sides(shapely.get_coordinates(hull.exterior)[:-1])
    quad = _refined(rough, to_array(z)) if rough is not None else None
    if quad is None or shapely.Polygon(quad).area > 1.08 * hull.area:
        return None
    return np.column_stack([quad[:, 0], small.shape[0] - quad[:, 1]])


def _four_sides(hull: FloatArray) -> FloatArray | None:
    """The convex polygon with sides taken away, each time the one whose loss adds least area, down to four."""
    points = hull
    while len(points) > 4:
        a, b = np.roll(points, 1, axis=0), points
        c, d = np.roll(points, -1, axis=0), np.roll(points, -2, axis=0)
        r, s = b - a, c - d
        cross = r[:, 0] * s[:, 1] - r[:, 1] * s[:, 0]
        with np.errstate(divide="ignore", invalid="ignore"):
            t = ((c - b)[:, 0] * s[:, 1] - (c - b)[:, 1] * s[:, 0]) / cross
        t[~np.isfinite(t)] = -1.0
        meeting = b + r * t[:, None]
        gained = np.abs((c - b)[:, 0] * (meeting - b)[:, 1] - (c - b)[:, 1] * (meeting - b)[:, 0]) / 2
        gained[t <= 0] = np.inf
        k = int(np.argmin(gained))
        if not np.isfinite(gained[k]):
            return None
        points = points.copy()
        points[k] = meeting[k]
        points = np.delete(points, (k + 1) % len(points), axis=0)
    return points if len(points) == 4 else None


def _refined(quad: FloatArray, line: FloatArray) -> FloatArray | None:
    """Sides laid through the sheet's traced edge, corners where they meet."""
    sides = []
    for k in range(4):
        a, b = quad[k], quad[(k + 1) % 4]
        length = float(np.hypot(*(b - a)))
        along = (b - a) / max(length, 1e-9)
        t = (line - a) @ along
        off = (line - a) @ np.array([-along[1], along[0]])
        for _ in range(3):
            near = (t > 0.08 * length) & (t < 0.92 * length) & (np.abs(off) < max(2.0, 0.01 * length))
            if near.sum() < 8:
                return None
            slope, rise = np.polyfit(t[near], off[near], 1)
            residual = off - (slope * t + rise)
            spread = 3 * float(np.median(np.abs(residual[near]))) + 0.2
            off = np.where(np.abs(residual) < spread, off, np.inf)
        normal = np.array([-along[1], along[0]])
        sides.append((a + rise * normal, along + slope * normal))
    corners = []
    for (p, r), (q, s) in zip([sides[3], *sides[:3]], sides, strict=True):
        cross = r[0] * s[1] - r[1] * s[0]
        if abs(cross) < 0.2:
            return None
        corners.append(p + r * (((q - p)[0] * s[1] - (q - p)[1] * s[0]) / cross))
    return np.array(corners)


def _from_top_left(quad: FloatArray) -> FloatArray:
    """Clockwise on the screen (y down), first the corner nearest the top left."""
    if _area(quad) < 0:
        quad = quad[::-1]
    return np.roll(quad, -int(np.argmin(quad.sum(axis=1))), axis=0)


def _area(quad: FloatArray) -> float:
    x, y = quad.T
    return float((x * np.roll(y, -1) - np.roll(x, -1) * y).sum() / 2)


def _holds_figure(picture: Picture, quad: FloatArray) -> bool:
    """Whether the figure is on the sheet (else it lies beside it): a share of the sheet is not paper."""
    mask = Image.new("1", picture.colour.size, 0)
    inner = quad.mean(axis=0) + (quad - quad.mean(axis=0)) * (1 - 4 * _INSET)
    ImageDraw.Draw(mask).polygon([tuple(p) for p in inner.tolist()], fill=1)
    factor = max(1, round(max(picture.colour.size) / _SMALL))
    seen = np.asarray(picture.colour.convert("L"))[::factor, ::factor][np.asarray(mask)[::factor, ::factor]]
    return bool((seen < 0.75 * np.percentile(seen, 90)).mean() > 0.01)
