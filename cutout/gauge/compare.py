"""A photograph of the sawn panel held against its pattern: where the outline lies beside its line, and how far.

The panel's own four sides straighten the photograph, so nothing is said of the panel's size. Where the camera looks
into an opening and sees its wall, the edge of the face is told from it only where the two are lit differently; other
places are left out, and a second photograph from elsewhere may show them.
"""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import shapely
from scipy.ndimage import uniform_filter1d
from scipy.optimize import least_squares

from cutout.errors import ReadError
from cutout.gauge.camera import Camera, fit
from cutout.gauge.edge import STEP, ends_at, first_steps
from cutout.gauge.ground import Laid, laid_on_ground
from cutout.gauge.light import Light
from cutout.gauge.marks import sample
from cutout.geom.curve import FloatArray
from cutout.geom.robust import sigma_of

_REACH = 4.0
"""How far from the line an edge is looked for (mm)."""
_SEEN_AT = (0.15, 0.4, 0.8, 1.2, 1.6, 2.2, 3.0, 4.0, 6.0)
"""Distances beyond an edge (mm) at which it is asked whether wall is seen there."""
_WALL = 0.1
"""Where more of an opening's wall than this is seen (mm), the edge can't be told from the ground's."""
_TALL = 1.2
"""From so much of the wall on (mm) the step from face to wall is looked for instead."""
_ASKEW = 0.06
"""How far askew (radians) a sawn edge lies to its line at most."""
_SIDE = 1.5
"""The outline this near to the panel's own edge (mm) is not looked at."""
_LIKE = 0.9
"""A picture must show panel and openings at this share of a grid of places, or it is another pattern."""
_FOCAL = 0.75
"""Focal length over the longer side of the picture where perspective is too slight to say it: usual phones."""
_PIXEL_SURE = 0.6
"""Share of a pixel an edge may be off, lighting of the wall included: two sigma of simulated photographs."""
_SHADED_SURE = 1.6
"""The same where the panel throws shadows: one narrower than the blur draws an edge, or a whole side, out with it."""
_SHADED = 0.05
"""Share of the places seen without a wall that lie in shadow, from which on a picture counts as shaded."""
_CALM = 5
"""Stations whose mean is taken, so that a torn fibre is no spot for the file."""


@dataclass(frozen=True)
class Drawn:
    """What was to be sawn: the panel's size, and what is kept of it, in mm from its lower left corner."""

    width: float
    height: float
    thickness: float
    keep: shapely.Geometry


@dataclass(frozen=True)
class Shown:
    """One photograph: its light, the camera, whether it shows the back, mm a pixel, and what its fit to the panel's
    sides leaves (mm, rms)."""

    picture: Laid
    camera: Camera
    back: bool
    pixel: float
    rms: float


@dataclass(frozen=True)
class Spot:
    """A run of the outline beside its line. at: its worst place (mm); off: how far there, more than nought where wood
    stands outside the line; length: of the run (mm)."""

    at: tuple[float, float]
    off: float
    length: float


@dataclass(frozen=True)
class Compared:
    """The outline held against its line. places, out: (n, 2) stations and directions into the waste; off: (n,) mm
    wood stands beyond the line, nan where it could not be told; ring: (n,) which closed line a station is on;
    sure: two sigma (mm). shaded: whether the panel throws shadows in a photograph."""

    drawn: Drawn
    shown: tuple[Shown, ...]
    places: FloatArray
    out: FloatArray
    off: FloatArray
    ring: np.ndarray
    sure: float
    spots: tuple[Spot, ...]
    shaded: bool = False

    @property
    def told(self) -> float:
        """Share of the outline that could be told."""
        return float(np.isfinite(self.off).mean())

    @property
    def largest(self) -> float:
        """The furthest the outline lies from its line (mm), with its sign."""
        return float(self.off[np.nanargmax(np.abs(self.off))])

    @property
    def typical(self) -> float:
        """Half of the outline lies nearer to its line than this (mm)."""
        return float(np.nanmedian(np.abs(self.off)))


def drawn_in(text: str, name: str) -> Drawn:
    """The pattern in a result.json. Raises ReadError."""
    try:
        data: Mapping[str, Any] = json.loads(text)
        panel = data["panel"]
        keep = [shapely.Polygon(p["outer"], p["inner"]) for p in data["pattern"]["keep"]]
        return Drawn(
            float(panel["width"]),
            float(panel["height"]),
            float(panel["thickness"]),
            shapely.MultiPolygon(keep),
        )
    except (ValueError, KeyError, TypeError) as error:
        raise ReadError(
            f"{name}: not a result.json of `cutout make`: give the one beside the template."
        ) from error


def compare(drawn: Drawn, photos: Mapping[str, Light], least: float) -> Compared:
    """Hold photographs (linear colour by name) of one panel against its pattern; from `least` mm on a place is a
    spot.

    Raises ReadError where a photograph does not show the panel whole, or shows another.
    """
    places, out, ring = _stations(drawn)
    shown, offs, sures, shaded = [], [], [], False
    for name, colour in photos.items():
        one = show(drawn, colour, name)
        off, dark = _offsets(drawn, one, places, out, ring)
        shown.append(one)
        offs.append(off)
        sures.append(math.hypot((_SHADED_SURE if dark else _PIXEL_SURE) * one.pixel, 2 * one.rms))
        shaded |= dark
    seen = np.isfinite(offs)
    off = np.where(seen.any(axis=0), np.nansum(offs, axis=0) / np.maximum(seen.sum(axis=0), 1), np.nan)
    if seen.any(axis=0).mean() < 0.1:
        raise ReadError(
            f"{', '.join(photos)}: hardly any of the outline can be told: photograph it from further away, "
            f"straight from above."
        )
    sure = max(sures)
    spots = _spots(places, off, ring, max(least, sure))
    return Compared(drawn, tuple(shown), places, out, off, ring, sure, spots, shaded)


def _stations(drawn: Drawn) -> tuple[FloatArray, FloatArray, np.ndarray]:
    """Places along what is kept, but for the panel's own edge; unit directions out of the wood; the line each is
    on."""
    places, out, ring = [], [], []
    rings = [
        r for p in shapely.get_parts(shapely.orient_polygons(drawn.keep)) for r in (p.exterior, *p.interiors)
    ]
    for k, line in enumerate(rings):
        s = np.arange(0.0, line.length, STEP)
        here, before, after = (
            shapely.get_coordinates(shapely.line_interpolate_point(line, np.mod(s + d, line.length)))
            for d in (0.0, -0.3, 0.3)
        )
        way = after - before
        way /= np.maximum(np.hypot(*way.T), 1e-9)[:, None]
        x, y = here.T
        inner = (x > _SIDE) & (y > _SIDE) & (x < drawn.width - _SIDE) & (y < drawn.height - _SIDE)
        # Wood lies on the left of its border: out of it is to the right.
        places.append(here[inner])
        out.append(np.column_stack([way[:, 1], -way[:, 0]])[inner])
        ring.append(np.full(int(inner.sum()), k))
    return np.concatenate(places), np.concatenate(out), np.concatenate(ring)


def show(drawn: Drawn, colour: Light, name: str) -> Shown:
    """How a photograph shows the panel: which way up, which face, and the camera. Raises ReadError."""
    laid = laid_on_ground(colour, name)
    size = (laid.share.shape[1], laid.share.shape[0])
    tried = []
    for n, xy in _ways(drawn):
        rough = fit(xy, laid.quad, size, bend=False).camera
        tried.append((_match(drawn, laid.share, rough), -n, rough))
    agree, turned, rough = max(tried, key=lambda t: t[:2])
    if agree < _LIKE:
        raise ReadError(
            f"{name}: this does not look like the panel of this result (it agrees at {100 * agree:.0f} % of "
            "places): give its own result.json, and a plain ground that shows through every opening."
        )
    camera, rms = _by_sides(drawn, laid, rough)
    pixel = float(np.mean(camera.mm_per_pixel(np.array([[drawn.width / 2, drawn.height / 2]]))))
    return Shown(laid, camera, turned <= -4, pixel, rms * pixel)


def _ways(drawn: Drawn) -> list[tuple[int, FloatArray]]:
    """The panel's corners in the orders in which they may lie clockwise in a picture; from 4 on it shows its back."""
    w, h = drawn.width, drawn.height
    face = np.array([[0.0, h], [w, h], [w, 0.0], [0.0, 0.0]])
    return [(k, np.roll(face, k, axis=0)) for k in range(4)] + [
        (4 + k, np.roll(face[::-1], k, axis=0)) for k in range(4)
    ]


def _match(drawn: Drawn, share: Light, camera: Camera) -> float:
    """Share of a grid of places, away from the outline, at which a picture shows panel or ground as it should."""
    x, y = np.meshgrid(np.linspace(2, drawn.width - 2, 90), np.linspace(2, drawn.height - 2, 90))
    xy = np.column_stack([x.ravel(), y.ravel()])
    border = shapely.boundary(drawn.keep)
    away = shapely.distance(shapely.points(xy), border) > min(3.0, 0.01 * (drawn.width + drawn.height))
    kept = shapely.contains_xy(drawn.keep, xy[:, 0], xy[:, 1])[away]
    seen = sample(share, camera.pixels(xy[away])) > 0.5
    # Both classes count alike, or a small opening in a large panel would fit anywhere.
    each = [float((seen[kept == v] == v).mean()) for v in (True, False) if (kept == v).any()]
    return float(np.mean(each))


def _by_sides(drawn: Drawn, picture: Laid, camera: Camera) -> tuple[Camera, float]:
    """The camera that lays the panel's sides on their edges in the picture, lens term included; rms left (px)."""
    w, h = drawn.width, drawn.height
    corners = np.array([[0.0, 0.0], [w, 0.0], [w, h], [0.0, h]])
    places, outs = [], []
    for k in range(4):
        a, b = corners[k], corners[(k + 1) % 4]
        n = max(40, int(np.hypot(*(b - a)) / 2))
        s = np.linspace(0.02, 0.98, n)[:, None]
        along = (b - a) / np.hypot(*(b - a))
        places.append(a + s * (b - a))
        outs.append(np.repeat([[along[1], -along[0]]], n, axis=0))
    place, out = np.concatenate(places), np.concatenate(outs)
    whole = shapely.contains_xy(drawn.keep, *(place - 2.0 * out).T)
    place, out = place[whole], out[whole]
    for reach in (_REACH, 2.5, 1.5):
        off, _ = ends_at(picture, camera, place, out, reach)
        good = np.isfinite(off)
        if good.sum() < 40:
            break
        seen = camera.pixels(place[good] + off[good, None] * out[good])
        normal = camera.pixels(place[good] + 0.5 * out[good]) - camera.pixels(place[good] - 0.5 * out[good])
        normal /= np.hypot(*normal.T)[:, None]
        camera = _nudged(camera, place[good], seen, normal)
    left = np.abs(((camera.pixels(place[good]) - seen) * normal).sum(axis=1))
    return camera, sigma_of(left) / math.sqrt(max(good.sum() / 20, 1.0))


def _nudged(camera: Camera, places: FloatArray, seen: FloatArray, normal: FloatArray) -> Camera:
    """The camera moved so that each place lies on the line through where its edge was seen."""
    grow = np.where(np.abs(camera.matrix) > 1e-12, camera.matrix, 1.0)

    def at(p: FloatArray) -> Camera:
        return replace(camera, matrix=np.append(p[:8], 1.0).reshape(3, 3) * grow, bend=float(p[8]))

    def off(p: FloatArray) -> FloatArray:
        return np.asarray(((at(p).pixels(places) - seen) * normal).sum(axis=1))

    start = np.append((camera.matrix / grow).ravel()[:8], camera.bend)
    return at(least_squares(off, start, loss="soft_l1", f_scale=0.5, x_scale="jac").x)


def _offsets(
    drawn: Drawn, one: Shown, places: FloatArray, out: FloatArray, ring: np.ndarray
) -> tuple[FloatArray, bool]:
    """Offsets at stations in one photograph, nan where no edge can be told; whether the panel throws shadows."""
    off = np.full(len(places), np.nan)
    least, most = _wall(drawn, one, places, out)
    clear, tall = most < _WALL, least >= _TALL
    off[clear], shaded = ends_at(one.picture, one.camera, places[clear], out[clear], _REACH)
    wide = least[tall]
    steps = first_steps(
        one.picture, one.camera, places[tall], out[tall], np.minimum(0.6 * wide, _REACH), wide
    )
    off[tall] = np.where(steps.ground, np.nan, steps.at)
    # An edge that jumps beside its neighbours is another one, or a splinter.
    for k in np.unique(ring):
        here = np.flatnonzero(ring == k)
        values = off[here]
        seen = np.isfinite(values)
        weight = uniform_filter1d(seen.astype(float), _CALM, mode="wrap")
        mean = uniform_filter1d(np.where(seen, values, 0.0), _CALM, mode="wrap") / np.maximum(weight, 1e-9)
        off[here] = np.where(seen & (weight > 0.5), mean, np.nan)
    return off, shaded > _SHADED


def _wall(drawn: Drawn, one: Shown, places: FloatArray, out: FloatArray) -> tuple[FloatArray, FloatArray]:
    """How much of the wall the camera sees beyond each place (n,), mm: at least and at most, the sawn edge lying a
    little askew to the line.

    The wall at depth d is seen in the face's plane moved towards the point under the camera, by d / (z + d) of the
    way: what is seen beyond an edge is the wood, moved so for every depth.
    """
    eye = camera_over(one.camera)
    foot = (eye[:2] - places) * (drawn.thickness / (eye[2] + drawn.thickness))
    shapely.prepare(drawn.keep)
    widths = []
    for turn in (-_ASKEW, 0.0, _ASKEW):
        c, s = math.cos(turn), math.sin(turn)
        moved = foot @ np.array([[c, s], [-s, c]])
        depths = np.linspace(0.02, 1.0, 24)[:, None, None]
        wide = np.zeros(len(places))
        going = np.ones(len(places), dtype=bool)
        for t in _SEEN_AT:
            spots = places + t * out - depths * moved
            covered = shapely.contains_xy(drawn.keep, spots[..., 0], spots[..., 1]).any(axis=0)
            going &= covered
            wide = np.where(going, t, wide)
        widths.append(wide)
    return np.min(widths, axis=0), np.max(widths, axis=0)


def camera_over(camera: Camera) -> FloatArray:
    """Where the camera is (x, y, z; mm) over the plane, its picture's middle taken for the lens's.

    Source: a plane's homography is K [r1 r2 t] (Zhang 2000); r1 and r2 are square to each other and as long as each
    other, which gives the focal length, or that of a usual phone where perspective is too slight to say.
    """
    h = camera.matrix
    a, b = h[:, 0], h[:, 1]
    half = math.hypot(*camera.size) / 2
    usual = _FOCAL * max(camera.size) / half
    tries = []
    if abs(a[2] * b[2]) > 1e-9:
        tries.append(-(a[0] * b[0] + a[1] * b[1]) / (a[2] * b[2]))
    if abs(b[2] ** 2 - a[2] ** 2) > 1e-9:
        tries.append((a[0] ** 2 + a[1] ** 2 - b[0] ** 2 - b[1] ** 2) / (b[2] ** 2 - a[2] ** 2))
    focal = next((math.sqrt(f) for f in tries if 0.6 * usual < math.sqrt(max(f, 0.0)) < 1.7 * usual), usual)
    inverse = np.diag([1 / focal, 1 / focal, 1.0])
    p, q, t = (inverse @ h[:, k] for k in range(3))
    scale = 2 / (np.linalg.norm(p) + np.linalg.norm(q))
    p, q, t = p * scale, q * scale, t * scale
    z = np.cross(p, q)
    eye = -np.linalg.solve(np.column_stack([p, q, z]), t)
    return np.array([eye[0], eye[1], abs(eye[2])])


def _spots(places: FloatArray, off: FloatArray, ring: np.ndarray, least: float) -> tuple[Spot, ...]:
    """Runs of the outline at least so far beside their line, the furthest first."""
    found = []
    for k in np.unique(ring):
        here = np.flatnonzero(ring == k)
        sign = np.where(np.isfinite(off[here]) & (np.abs(off[here]) >= least), np.sign(off[here]), 0.0)
        if not sign.any():
            continue
        # Begin where no run is, so that none is cut in two.
        start = int(np.argmax(sign == 0)) if (sign == 0).any() else 0
        order = np.roll(here, -start)
        sign = np.roll(sign, -start)
        for run in np.split(np.arange(len(order)), np.flatnonzero(np.diff(sign)) + 1):
            if sign[run[0]] != 0:
                worst = order[run[int(np.argmax(np.abs(off[order[run]])))]]
                found.append(
                    Spot(
                        (float(places[worst, 0]), float(places[worst, 1])), float(off[worst]), len(run) * STEP
                    )
                )
    return tuple(sorted(found, key=lambda s: -abs(s.off)))
