"""What narrow parts settle at, found from profiles that cross both of their edges.

Where an edge is alone, a profile across it shows figure and ground. In a figure of narrow parts only, no
profile shows the figure's own grey: the blur of one edge reaches the other. Its grey, the blur and each
part's width are then fitted together: a box seen through the blur. A part narrower than the blur looks the
same whether it is dark and thin or paler and wider; how well its grey is known follows from the fit, and
what is not known is taken from the middle of what is possible.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import map_coordinates

from cutout.geom.curve import ComplexArray, FloatArray
from cutout.geom.outline import Note
from cutout.read.picture.edge import EdgeFit, coded, course, gaussian, grain_of, linear, step
from cutout.trace.corners import STEP, Loops, resampled
from cutout.trace.iso import IsoLines

Grey = NDArray[np.uint8]

_MOST, _LEAST = 600, 40
"""Profiles: more tell no more, fewer tell nothing."""

_SETTLE, _STRAIGHT, _BENT = 5.0, 6, 0.15
"""Sigma (samples) over which a line is averaged; samples to each side of a place over which it turns by at
most so much (radians) where a profile is laid."""

_BEYOND, _MARGIN = 3.0, 2.0
"""Blurs and pixels beyond a part's edge that a profile reaches: ground is bare there."""

_WIDEST = 12.0
"""Parts wider than so many blurs have edges that are alone."""

_UNEVEN, _NOISES = 0.03, 2.0
"""How much the ground at a profile's ends differs at most: share of the part's height, and sigmas of
noise."""

_FLAT, _RISES = 0.4, 0.25
"""Parts less than such a share as high as most show too little; where the picture rises again by such a
share of a part's height beyond its edges, another part is near."""

_STEPS, _STILL, _TAME = 40, 1e-4, 12.0
"""Steps towards the best fit at most, how short the last one is, and the miss (codes) from which on it
counts less."""

_LEAST_BLUR, _MOST_BLUR, _THINNEST = 0.1, 12.0, 0.05
"""Bounds of the blur and of a part's width (px)."""

_KNOWN = 0.04
"""Standard error of the figure's contrast, as a share of it, up to which it counts as known. By measurement
(tests/bench/bars.py): contrasts known so well were off by 3 % at most."""

_TELLING = 0.03
"""Evidence that settles whether light or codes were mixed: less than of edges that are alone, for width,
blur and contrast fitted to each profile take up most of the difference. By measurement on bars 4 to 12 px
wide (tests/bench/bars.py): -0.02 and less for codes mixed, in noise and JPEG 60, and -0.02 to 0.12 for light
mixed, in noise and JPEG 90."""

_KINDRED = 5.0
"""So many profiles side by side err together, by what the blur joins and by what a box is not."""

_FLOOR = 0.4
"""Least sigma (codes) of a miss: codes are whole numbers."""


@dataclass(frozen=True, slots=True)
class Settled:
    """What ground and figure settle at, the blur (px), and the standard error of their contrast as a share
    of it."""

    low: float
    high: float
    blur: float
    error: float

    @property
    def notes(self) -> tuple[Note, ...]:
        """A word where widths are partly guessed."""
        if self.error <= _KNOWN:
            return ()
        text = (
            "Lines are about as narrow here as the picture is blurred: how dark they are, and with it how wide, was "
            f"partly guessed, and widths may be off by some {100 * self.error:.0f} %. A sharper or larger picture "
            "tells more."
        )
        return (Note("narrow lines", text),)


def fit_ribs(grey: Grey, found: IsoLines) -> EdgeFit | None:
    """Whether narrow parts mix codes or light, as `fit_edges` tells it of edges that are alone; None where there are
    too few narrow parts. found: lines round the figure in `grey` (sRGB codes)."""
    profiles = _profiles(grey, found)
    if profiles is None:
        return None
    one, two = (_fit(profiles, found.blur, mixed) for mixed in (_in_codes, _in_light))
    telling = _TELLING if max(one.error, two.error) <= _KNOWN else math.inf
    blur = min(one, two, key=lambda fit: fit.missed).blur
    return EdgeFit(one.missed, two.missed, len(profiles.t), blur, telling)


def settled_ribs(values: Grey, found: IsoLines) -> Settled | None:
    """What ground and figure settle at in `values`, high in the figure; None where there are too few narrow
    parts.

    Where the fit leaves the contrast open, it is held to the middle between what is seen of it and all there
    can be.
    """
    profiles = _profiles(values, found)
    if profiles is None:
        return None
    fit = _fit(profiles, found.blur, _in_codes)
    if fit.error > _KNOWN:
        fit = _fit(profiles, found.blur, _in_codes, fit.missed)
    return Settled(fit.ground, fit.ground + fit.contrast, fit.blur, fit.error)


@dataclass(frozen=True, slots=True)
class _Profiles:
    """Profiles across both edges of narrow parts: distances (n, k) from the part's middle, values, whether
    they count (0 beyond a profile's ends), the ground's value and how wide the part seems (n,)."""

    t: FloatArray
    values: FloatArray
    weight: FloatArray
    ground: FloatArray
    width: FloatArray

    @property
    def rise(self) -> FloatArray:
        """By how much the middle of each part differs from its ground (n,)."""
        return _mean(self.values, np.abs(self.t) < _HALF) - self.ground


_HALF = 0.75
"""A part's middle (px to either side)."""


def _profiles(grey: Grey, found: IsoLines) -> _Profiles | None:
    places = _places(found.lines)
    if places is None:
        return None
    at, normal = places
    blur = max(found.blur, 0.5)
    width = _widths(grey, at, normal, math.ceil(_WIDEST * blur))
    narrow = np.isfinite(width)
    if narrow.sum() < _LEAST:
        return None
    at, normal, width = at[narrow], normal[narrow], width[narrow]
    return _laid(grey, at + normal * width / 2, normal, width, blur)


def _places(lines: list[ComplexArray]) -> tuple[ComplexArray, ComplexArray] | None:
    """Points on the lines where they hardly bend, and unit normals into the figure."""
    kernel = gaussian(_SETTLE)
    long = [z for z in lines if len(z) >= len(kernel)]
    if not long:
        return None
    loops = Loops.of(resampled(long), max(len(kernel) // 2, _STRAIGHT + 3))
    smooth, along, length = course(loops, kernel)
    bend = np.abs(np.angle(loops.beside(along, _STRAIGHT) * loops.beside(along, -_STRAIGHT).conj()))
    plain = np.flatnonzero((bend < _BENT) & (length > 4 * STEP))
    plain = plain[:: max(1, len(plain) // _MOST)]
    return (smooth[plain], 1j * along[plain]) if len(plain) >= _LEAST else None


def _widths(grey: Grey, at: ComplexArray, normal: ComplexArray, far: int) -> FloatArray:
    """How far (px) along its normal each place's figure ends again; nan where it does not within `far`."""
    t = np.arange(1.0, far + 1)
    inside = _seen(grey, at[:, None] + normal[:, None] * t) - _seen(grey, at)[:, None]
    inside *= np.sign(inside[:, :2].sum(axis=1))[:, None]
    out = (inside < 0) & (t > 1.5)
    first = np.maximum(out.argmax(axis=1), 1)
    rows = np.arange(len(at))
    before, after = inside[rows, first - 1], inside[rows, first]
    share = before / np.maximum(before - after, 1e-9)
    return np.where(out.any(axis=1), t[first] - 1 + np.clip(share, 0.0, 1.0), np.nan)


def _seen(grey: Grey, z: ComplexArray) -> FloatArray:
    """Values of the picture at places (px, y up), in proportion between pixels."""
    where = [len(grey) - z.imag - 0.5, z.real - 0.5]
    return np.asarray(map_coordinates(grey, where, output=np.float64, order=1, mode="nearest"))


def _laid(
    grey: Grey, middle: ComplexArray, normal: ComplexArray, width: FloatArray, blur: float
) -> _Profiles | None:
    """Rows or columns of pixels across the parts, those with bare and even ground at either end."""
    high, wide = grey.shape
    half = width / 2 + _BEYOND * blur + _MARGIN
    flat = np.abs(normal.real) >= np.abs(normal.imag)
    k = np.arange(-math.ceil(math.sqrt(2.0) * half.max()), math.ceil(math.sqrt(2.0) * half.max()) + 1)
    col = np.floor(middle.real).astype(int)[:, None] + np.where(flat[:, None], k, 0)
    row = np.floor(high - middle.imag).astype(int)[:, None] + np.where(flat[:, None], 0, k)
    t = (((col + 0.5) + 1j * (high - row - 0.5) - middle[:, None]) * normal.conj()[:, None]).real
    within = np.abs(t) <= half[:, None]
    whole = (((col >= 0) & (col < wide) & (row >= 0) & (row < high)) | ~within).all(axis=1)
    values = grey[np.clip(row, 0, high - 1), np.clip(col, 0, wide - 1)].astype(np.float64)
    ends = within & (np.abs(t) > half[:, None] - _MARGIN)
    left, right = (_mean(values, ends & (t * side > 0)) for side in (-1, 1))
    laid = _Profiles(t, values, within.astype(float), (left + right) / 2, width)
    rise = np.abs(laid.rise)
    stray = np.sqrt(_mean((values - laid.ground[:, None]) ** 2, ends))
    noise = grain_of(grey)
    beyond = within & (np.abs(t) > width[:, None] / 2 + blur)
    edge = (laid.rise / 2 + laid.ground - _seen(grey, middle - normal * width / 2)) / np.maximum(rise, 1e-9)
    again = ((values - laid.ground[:, None]) * np.sign(laid.rise)[:, None] * beyond).max(axis=1)
    even = np.abs(left - right) < _UNEVEN * rise + _NOISES * noise + 1.0
    alone = (again < _RISES * rise + 2 * _NOISES * noise) & (np.abs(edge) < 0.5 - _RISES / 2)
    bare = stray < _NOISES * noise + 1.0 + _UNEVEN * rise
    good = whole & even & alone & bare & (rise > _FLAT * np.quantile(rise, 0.75))
    if good.sum() < _LEAST:
        return None
    return _Profiles(t[good], values[good], laid.weight[good], laid.ground[good], width[good])


def _mean(values: FloatArray, which: NDArray[np.bool_]) -> FloatArray:
    return np.asarray((values * which).sum(axis=1) / np.maximum(which.sum(axis=1), 1))


_Mixed = Callable[[FloatArray, FloatArray, FloatArray], tuple[FloatArray, FloatArray, FloatArray, FloatArray]]
"""From ground, contrast (codes) and shares of the figure: codes, and their slopes by each of the three."""


def _in_codes(
    ground: FloatArray, contrast: FloatArray, share: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    return ground + contrast * share, np.ones_like(share), share, contrast + 0.0 * share


def _in_light(
    ground: FloatArray, contrast: FloatArray, share: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    paper, ink = linear(np.clip(ground, 0, 255)), linear(np.clip(ground + contrast, 0, 255))
    light = paper + (ink - paper) * share
    steep = _slope(coded, light)
    by_paper = steep * (1 - share) * _slope(linear, ground)
    by_ink = steep * share * _slope(linear, ground + contrast)
    return coded(light), by_paper + by_ink, by_ink, steep * (ink - paper)


def _slope(of: Callable[[FloatArray], FloatArray], at: FloatArray) -> FloatArray:
    """Slope by a small step, of codes by light or the other way round."""
    small = 1e-4 * float(np.abs(at).max()) + 1e-9
    return np.asarray((of(at + small) - of(at - small)) / (2 * small))


@dataclass(frozen=True, slots=True)
class _Fit:
    """Mean squared miss (codes), blur (px), ground and contrast (codes, median), and the latter's standard
    error as a share of it."""

    missed: float
    blur: float
    ground: float
    contrast: float
    error: float


def _fit(profiles: _Profiles, blur: float, mixed: _Mixed, noise: float | None = None) -> _Fit:
    """The blur and contrast shared by all profiles, each with a middle, a width and a ground of its own.

    noise: mean squared miss (codes) by which the contrast is weighed against the middle of all it may be;
    None lets it go free. Levenberg's and Marquardt's way, each profile's own numbers eliminated from the
    normal equations (Schur).
    """
    n, t, weight = len(profiles.t), profiles.t, profiles.weight
    rise = float(np.median(profiles.rise))
    sign = 1.0 if rise > 0 else -1.0
    ground = float(np.median(profiles.ground))
    most = math.log(max(255.0 - ground if rise > 0 else ground, 2.0))
    least = min(math.log(max(float(np.quantile(np.abs(profiles.rise), 0.9)), 1.0)), most - 1e-3)
    spread2 = (most - least) ** 2 / 12.0 + 1e-6
    held_by = 0.0 if noise is None else _KINDRED * max(noise, _FLOOR**2) / spread2
    lowest, highest = (math.log(_LEAST_BLUR), 0.0), (math.log(_MOST_BLUR), most)

    def model(shared: FloatArray, own: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray, float]:
        """Misses (n, k), slopes by each profile's own numbers (n, k, 3) and the shared ones (n, k, 2), and
        the cost."""
        sigma, contrast = math.exp(shared[0]), np.full((1, 1), sign * math.exp(shared[1]))
        middle, width, ground = (own[:, j, None] for j in range(3))
        rising, along, wider = step(t - middle + width / 2, sigma)
        falling, along2, wider2 = step(t - middle - width / 2, sigma)
        values, by_ground, by_contrast, by_share = mixed(ground, contrast, rising - falling)
        mine = np.stack([by_share * (along2 - along), by_share * (along + along2) / 2, by_ground], axis=2)
        ours = np.stack([by_share * (wider - wider2) * sigma, by_contrast * contrast], axis=2)
        missed = values - profiles.values
        cost = _TAME**2 * float((weight * (np.sqrt(1 + (missed / _TAME) ** 2) - 1)).sum())
        return missed, mine, ours, cost + 0.5 * held_by * (shared[1] - (least + most) / 2) ** 2

    own = np.stack([np.zeros(n), profiles.width, profiles.ground], axis=1)
    shared = np.array([math.log(max(0.6 * blur, 0.3)), min(least + 0.1, most)])
    missed, mine, ours, now = model(shared, own)
    damping = 1e-2
    for _ in range(_STEPS):
        w = weight / np.sqrt(1 + (missed / _TAME) ** 2)
        pull = np.array([0.0, held_by * (shared[1] - (least + most) / 2)])
        system = _System.of(mine, ours, w, missed, held_by, pull)
        move, moves = system.solved(damping)
        there = np.clip(shared + np.clip(move, -0.5, 0.5), lowest, highest)
        mine_there = own + moves
        mine_there[:, 1] = np.maximum(mine_there[:, 1], _THINNEST)
        then = model(there, mine_there)
        if then[3] > now:
            damping *= 10.0
            if damping > 1e6:
                break
            continue
        settled = float(np.abs(there - shared).max()) < _STILL
        shared, own, (missed, mine, ours, now) = there, mine_there, then
        damping = max(damping / 10.0, 1e-9)
        if settled:
            break
    left = float((weight * missed**2).sum() / max(weight.sum() - 3 * n, 1.0))
    w = weight / np.sqrt(1 + (missed / _TAME) ** 2)
    known = _System.of(mine, ours, w, missed, held_by, np.zeros(2)).reduced(0.0)
    spread = np.linalg.inv(known + 1e-9 * np.eye(2)) * max(left, _FLOOR**2) * _KINDRED
    return _Fit(
        left,
        math.exp(shared[0]),
        float(np.median(own[:, 2])),
        math.exp(shared[1]),
        math.sqrt(max(float(spread[1, 1]), 0.0)),
    )


@dataclass(frozen=True, slots=True)
class _System:
    """Normal equations: blocks of each profile's own numbers (n, 3, 3), theirs with the shared ones (n, 3,
    2), of the shared ones (2, 2), and the slopes (n, 3) and (2,)."""

    a: FloatArray
    b: FloatArray
    c: FloatArray
    slope_a: FloatArray
    slope_c: FloatArray

    @classmethod
    def of(
        cls,
        mine: FloatArray,
        ours: FloatArray,
        w: FloatArray,
        missed: FloatArray,
        held_by: float,
        pull: FloatArray,
    ) -> _System:
        """From slopes of each value by either kind of number, weights and misses; and a spring on the
        contrast."""
        turned = (mine * w[:, :, None]).transpose(0, 2, 1)
        weighed = ours * w[:, :, None]
        return cls(
            turned @ mine,
            turned @ ours,
            np.einsum("nki,nkj->ij", weighed, ours) + np.diag([0.0, held_by]),
            (turned @ missed[:, :, None])[:, :, 0],
            np.einsum("nki,nk->i", weighed, missed) + pull,
        )

    def reduced(self, damping: float) -> FloatArray:
        """The shared numbers' equations (2, 2) with the others eliminated."""
        solved = np.linalg.solve(self._damped(damping), self.b)
        return np.asarray(self.c * (1 + damping * np.eye(2)) - np.einsum("nij,nik->jk", self.b, solved))

    def solved(self, damping: float) -> tuple[FloatArray, FloatArray]:
        """Moves of the shared numbers (2,) and of each profile's own (n, 3)."""
        damped = self._damped(damping)
        alone = np.linalg.solve(damped, self.slope_a[:, :, None])[:, :, 0]
        rest = self.slope_c - np.einsum("nij,ni->j", self.b, alone)
        move = -np.linalg.solve(self.reduced(damping) + 1e-9 * np.eye(2), rest)
        joined = np.linalg.solve(damped, (self.b @ move)[:, :, None])[:, :, 0]
        return move, -(alone + joined)

    def _damped(self, damping: float) -> FloatArray:
        return np.asarray(self.a + damping * self.a * np.eye(3) + 1e-6 * np.eye(3))
