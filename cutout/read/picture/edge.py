"""Whether a picture's edges mix light, as a lens does, or codes, as drawing programs do.

A pixel that an edge runs through shows a mixture of both sides. Half of each is code 128 between black and
white where codes were mixed, but code 188 where light was: a level taken half-way in codes then lies up to
a pixel off the edge. The profile across the edges tells which it was, for only in the right space is it
symmetric.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.ndimage import gaussian_filter1d, maximum_filter1d
from scipy.spatial import cKDTree
from scipy.special import erf

from cutout.geom.curve import ComplexArray, FloatArray, to_array
from cutout.read.picture.classes import climbs
from cutout.read.picture.decode import Picture, as_grey
from cutout.trace.corners import STEP, Loops, resample
from cutout.trace.iso import IsoLines

Grey = NDArray[np.uint8]
_Shown = Callable[[FloatArray], tuple[FloatArray, FloatArray]]
"""From shares of the brighter side to the codes a picture shows, and how fast those grow with the shares."""

_MOST_PROFILES, _LEAST_PROFILES = 3000, 40
"""Profiles across the edge: more tell no more, fewer tell nothing. By trial on pictures."""
_TELLING = 0.19
"""Evidence that settles the matter. By measurement on tests/bench/shapes.py: pictures that mix codes gave at
most 0.13 (in noise and JPEG 60), those that mix light 0.25 and more, but for edges along the pixel rows."""

_BLURRED, _TELLING_BLURRED = 0.8, 0.05
"""Blur (px) from which on less settles it: edges show more than one mixed pixel then. On those pictures with blurs of
1 and 2 px: 0.10 and more where light is mixed, under -0.28 where codes are."""

_SHARP, _PLAINLY = 0.3, 0.8
"""Blur (px) of edges whose profiles may mislead, and the evidence from which on they don't. By trial on a box turned
by few degrees."""

_WIDEST = 14
"""Greatest reach (px) of a profile to each side; softer edges are wide enough for either space."""

_SETTLE = 5.0
"""Sigma (samples of about a pixel) over which the line is averaged before profiles are laid across it."""

_UNSETTLED = 0.033
"""Spread of a profile's ends as a share of its step that ringing of a JPEG explains."""

_GRAINS = 3.0
"""How many times the picture's grain noise beside its edges is at most: paper cut off at white shows half of it, and
ink may have more than paper."""

_ALONE = 2.3
"""Blurs from the end of a profile within which another edge shows in it: by more than a hundredth of its step."""

_SINGLE = 0.7
"""Share of its whole range by which the ends of a profile with a single step differ at least."""

_FAR_OUT = 6.0
"""Sigmas from an edge at which its blur is over."""

_TAME = 12.0
"""Codes by which a pixel may miss the step before it counts for less."""
_LIMITS = np.array([[-3.0, 0.05], [3.0, 12.0]])
"""Least and greatest shift and sigma (px) of the step across an edge."""
_MOST_STEPS, _STILL = 40, 1e-4
"""Steps towards the best one at most, and how short (px) the last one is."""

_STRAY = 0.1
"""Sigma (px) a half-way line of a clean picture is off by itself."""

_ALIKE = 1.6
"""How much more a lack of greys weighs than noise of its size: pixels side by side lack the same ones. By
measurement on the heron among the examples, whose drawing is known."""

_BENDS_FROM, _LEAST_BENT = 0.5, 30
"""Blur (px) and length of a line (points) from which on bends are restored: 0.01 px on a bend of 10 px."""

_TIGHT = 0.2
"""Bend times blur from which on the first order says too much; at twice as much nothing is restored."""

_BESIDE = 8.0
"""Stretch, in blurs, about a tight bend that is left as it is, too: the blur of a corner reaches that far."""

_LEAST_OFF, _MOST_OFF, _ALIKE_SIDES = 0.006, 0.08, 0.02
"""Shares of full contrast: by how much more and less than which a level is moved to where lone edges have it, and how
much those may differ from one another (median of how far they stray). A hundredth of contrast moves the edges of a
picture blurred by 2 px by a twentieth of a pixel."""

_BENT = 0.4
"""Greatest turn (radians) of a line within the reach of a profile laid across it."""


@dataclass(frozen=True, slots=True)
class EdgeFit:
    """How well a blurred step explains the edges, in codes and in light: mean squared misses in codes.

    profiles: how many were looked at; blur: sigma (px) of the Gaussian beside the pixel's own width, in the
    space that fits better. telling: evidence that settles the matter; None for what it is with edges that lie alone.
    """

    codes: float
    light: float
    profiles: int
    blur: float
    telling: float | None = None

    @property
    def evidence(self) -> float:
        """log of the ratio of misses: above 0 for light."""
        return math.log(max(self.codes, 1e-9) / max(self.light, 1e-9))

    @property
    def sure(self) -> bool:
        """Whether the edges settle it by themselves."""
        return abs(self.evidence) > self._settles

    @property
    def doubtful(self) -> bool:
        """Whether they don't, or edges are so sharp that each profile has one mixed pixel, which fits either."""
        return not self.sure or (self.blur < _SHARP and abs(self.evidence) < _PLAINLY)

    def light_mixed(self, camera: bool) -> bool:
        """Whether the edges mix light; where they don't tell, whether a camera took the picture decides."""
        return self.evidence > (-self._settles if camera else self._settles)

    @property
    def _settles(self) -> float:
        if self.telling is not None:
            return self.telling
        return _TELLING if self.blur < _BLURRED else _TELLING_BLURRED


def linear(codes: ArrayLike) -> FloatArray:
    """Light, 0..1, of sRGB codes 0..255. Source: IEC 61966-2-1."""
    c = np.asarray(codes, dtype=np.float64) / 255.0
    return np.where(c <= 0.04045, c / 12.92, ((np.maximum(c, 0.0) + 0.055) / 1.055) ** 2.4)


def coded(light: ArrayLike) -> FloatArray:
    """sRGB codes, 0..255, not rounded, of light 0..1; the inverse of `linear`."""
    c = np.clip(np.asarray(light, dtype=np.float64), 0.0, 1.0)
    return 255.0 * np.where(c <= 0.0031308, 12.92 * c, 1.055 * np.maximum(c, 1e-12) ** (1 / 2.4) - 0.055)


def in_light(picture: Picture) -> Picture:
    """The picture with light in place of codes, its lightest part near 250, so that mixtures lie in proportion."""
    colour = picture.colour
    counts = np.array(as_grey(colour).histogram(), dtype=float)
    bright = int(np.searchsorted(np.cumsum(counts), 0.995 * counts.sum()))
    gain = 250.0 / max(float(linear(max(bright, 1))), 1e-4)
    table = np.clip(np.round(linear(np.arange(256)) * gain), 0, 255).astype(int).tolist()
    return replace(picture, colour=colour.point(table * len(colour.getbands())))


def fit_edges(grey: Grey, found: IsoLines) -> EdgeFit | None:
    """The two fits over profiles across the lines found in `grey` (sRGB codes); None where too few are clear."""
    clear = _clear_profiles(grey, found)
    if clear is None:
        return None
    t, values, low, high = clear
    dark, bright = linear(low), linear(high)

    def in_codes(share: FloatArray) -> tuple[FloatArray, FloatArray]:
        return low + (high - low) * share, high - low

    def in_light(share: FloatArray) -> tuple[FloatArray, FloatArray]:
        light = dark + (bright - dark) * share
        return coded(light), _coding(light) * (bright - dark)

    one, blur_one = _fit(t, values, in_codes, found.blur)
    two, blur_two = _fit(t, values, in_light, found.blur)
    return EdgeFit(one, two, len(values), blur_two if two < one else blur_one)


def settled(values: Grey, level: float, found: IsoLines) -> tuple[float, float] | None:
    """What `values` settle at beside edges that are alone, low and high; None where too few are, or they agree with
    the level.

    found: the lines at `level`. Most of a figure of narrow parts is touched by its edges, so that its own median, or
    its flattest pixels', falls short of what it settles at.
    """
    clear = _clear_profiles(values, found)
    if clear is None:
        return None
    sides = np.concatenate([clear[2], clear[3]], axis=1)
    low, high = (float(np.median(side)) for side in (sides.min(axis=1), sides.max(axis=1)))
    strays = float(np.median(np.abs(sides.mean(axis=1) - (low + high) / 2)))
    off = abs((low + high) / 2 - level)
    # Where edges differ from one another, or tell of something else than the whole picture does, it is believed.
    told = _LEAST_OFF < off / (high - low) < _MOST_OFF and strays < _ALIKE_SIDES * (high - low)
    return (low, high) if told else None


def _clear_profiles(
    grey: Grey, found: IsoLines
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray] | None:
    """Profiles across the lines that are a clear single step: distances to the edge and values, both (n, k), and what
    they settle at on either side, both (n, 1); None where there are too few."""
    reach = min(_WIDEST, math.ceil(3.0 * found.blur) + 3)
    places = _places(found.lines, reach, _ALONE * found.blur)
    if places is None:
        return None
    t, values = _profiles(grey, *places, reach)
    if len(values) < _LEAST_PROFILES:
        return None  # In a small picture most reach past its rim.
    low, high, clear = _plateaus(values, reach, grain_of(grey))
    if clear.sum() < _LEAST_PROFILES:
        return None
    return t[clear], values[clear], low[clear, None], high[clear, None]


def bends_restored(found: IsoLines, sigma: float) -> IsoLines:
    """The lines with what a Gaussian of `sigma` px moved them by where they bend taken back.

    The half-way line of a blurred disc of radius r lies sigma^2 / 2 r inside its edge (first order in sigma / r).
    Bends too tight for that are corners, or nearly: they are left as they are.
    """
    if sigma < _BENDS_FROM:
        return found
    return replace(found, lines=[_bend_restored(z, sigma) for z in found.lines])


def _bend_restored(z: ComplexArray, sigma: float) -> ComplexArray:
    if len(z) < _LEAST_BENT:
        return z
    at = resample(z)
    smooth = _wrapped(at, max(_SETTLE, 2.0 * sigma) / STEP / 2)
    first = (np.roll(smooth, -1) - np.roll(smooth, 1)) / (2 * STEP)
    second = (np.roll(smooth, -1) - 2 * smooth + np.roll(smooth, 1)) / STEP**2
    speed = np.maximum(np.abs(first), 1e-6)
    bend = (first.conj() * second).imag / speed**3
    tightest = maximum_filter1d(np.abs(bend), round(_BESIDE * sigma / STEP) | 1, mode="wrap")
    gentle = np.clip(2.0 - tightest * sigma / _TIGHT, 0.0, 1.0)
    return np.asarray(at - 1j * first / speed * (0.5 * sigma**2 * bend * gentle))


def gap_noise(grey: Grey, field: Grey, level: float, blur: float) -> float:
    """Sigma (px) by which lines stray because a picture of few colours lacks greys its edges want.

    A pixel of `grey` stands for true values half-way to the next greys there are, a stretch of g codes: sigma
    g / sqrt(12). Where it lies at the edge, near `level` in `field`, the picture climbs by c / (s sqrt(2 pi)) a
    pixel: c the contrast about it, s the sigma it is blurred by.
    """
    climb = climbs(grey, 3)
    low, high = np.percentile(field, (2, 98))
    steep = climb > 0.4 * np.percentile(climb, 99)
    at_edge = (np.abs(field.astype(np.float32) - level) < 0.25 * (high - low)) & steep
    shown = np.flatnonzero(np.bincount(grey.ravel(), minlength=256))
    if len(shown) < 3 or not at_edge.any():
        return 0.0
    codes, contrast = grey[at_edge], climb[at_edge].astype(float)
    k = np.clip(np.searchsorted(shown, codes), 1, len(shown) - 2)
    gap = (shown[k + 1] - shown[k - 1]) / 2 / contrast
    return _ALIKE * math.sqrt(float(np.mean(gap**2)) / 12.0) * blur * math.sqrt(2 * math.pi)


def _coding(light: FloatArray) -> FloatArray:
    """How fast codes grow with light; 0 beyond what a screen shows."""
    inside = (light >= 0.0) & (light <= 1.0)
    steep = np.where(light <= 0.0031308, 12.92, 1.055 / 2.4 * np.maximum(light, 1e-12) ** (1 / 2.4 - 1.0))
    return np.where(inside, 255.0 * steep, 0.0)


def step(t: FloatArray, sigma: float) -> tuple[FloatArray, FloatArray, FloatArray]:
    """A step from 0 to 1 at 0 seen through a 1 px box and a Gaussian of `sigma` px, and its slopes by t and by sigma.

    The integral of the Gaussian's distribution function over the pixel: with F(x) = x Phi(x/s) + s phi(x/s),
    F(t + 1/2) - F(t - 1/2). F grows with x by Phi(x/s) and with s by phi(x/s).
    """
    after, before = (_area(x, sigma) for x in (t + 0.5, t - 0.5))
    value, along, wider = (a - b for a, b in zip(after, before, strict=True))
    return value, along, wider


def _area(x: FloatArray, sigma: float) -> tuple[FloatArray, FloatArray, FloatArray]:
    """F of `step` at x, Phi and phi. Farther out F is x or nothing, to one part in a thousand million."""
    area, total, bell = np.maximum(x, 0.0), (x > 0).astype(np.float64), np.zeros(x.shape)
    near = np.abs(x) < _FAR_OUT * sigma
    u = x[near] / sigma
    phi = np.exp(-0.5 * u**2) / math.sqrt(2 * math.pi)
    below = 0.5 * (1 + erf(u / math.sqrt(2)))
    area[near], total[near], bell[near] = sigma * (u * below + phi), below, phi
    return area, total, bell


def _fit(t: FloatArray, values: FloatArray, shown: _Shown, blur: float) -> tuple[float, float]:
    """Mean squared miss of the blurred step near the edge, and its sigma.

    The line the distances are from was found in codes, which favours codes: each profile may therefore move
    by itself, as far as it says so more clearly than noise does.
    """
    aside = np.zeros((len(t), 1))
    shift, sigma = 0.0, max(blur, 0.3)
    for _ in range(2):
        shift, sigma = _nearest_step(t - aside, values, shown, (shift, sigma))
        aside = aside + _own_shifts(t - aside - shift, values, shown, sigma)
    off = t - aside - shift
    left = shown(step(off, sigma)[0])[0] - values
    left = np.abs(left[np.abs(off) < 2.5 * math.hypot(sigma, 0.3)])
    # Some profiles meet something else: their misses say nothing of the space.
    return float(np.mean(np.minimum(left, np.quantile(left, 0.97)) ** 2)), sigma


def _nearest_step(
    t: FloatArray, values: FloatArray, shown: _Shown, start: tuple[float, float]
) -> tuple[float, float]:
    """The shift and the sigma of the step that lies nearest to all profiles, from `start` on.

    Newton's way over two numbers, held back where it leads astray (Levenberg, Marquardt). A miss of f codes counts
    2 _TAME^2 (sqrt(1 + (f / _TAME)^2) - 1): as its square where it is small, only as itself where something else is
    in the profile's way.
    """

    def missed(p: FloatArray) -> tuple[float, FloatArray, FloatArray]:
        """What the misses count, its slope by both numbers (2,), and how fast that grows (2, 2), curves left out."""
        share, along, wider = step(t - p[0], float(p[1]))
        seen, steep = shown(share)
        left = (seen - values).ravel()
        slopes = np.stack([(-steep * along).ravel(), (steep * wider).ravel()])
        far = 1.0 + (left / _TAME) ** 2
        root = np.sqrt(far)
        return float((root - 1.0).sum()), slopes @ (left / root), (slopes / (far * root)) @ slopes.T

    p, held = np.array(start), 1e-3
    now = missed(p)
    for _ in range(_MOST_STEPS):
        left = now[2] + held * np.diag(np.diag(now[2]) + 1e-9)
        there = np.clip(p - np.linalg.solve(left, now[1]), *_LIMITS)
        then = missed(there)
        if then[0] > now[0]:
            held *= 30.0
            continue
        settled = float(np.abs(there - p).max()) < _STILL
        p, now, held = there, then, held / 10.0
        if settled:
            break
    return float(p[0]), float(p[1])


def _own_shifts(t: FloatArray, values: FloatArray, shown: _Shown, sigma: float) -> FloatArray:
    """(n, 1): how far each profile wants to move (px), one Gauss-Newton step, held back by the noise."""
    share, along, _ = step(t, sigma)
    model, steep = shown(share)
    slope = steep * along
    left = model - values
    power = (slope**2).sum(axis=1, keepdims=True)
    held = float(np.median(left**2)) / _STRAY**2
    return np.asarray(np.clip((left * slope).sum(axis=1, keepdims=True) / (power + held + 1e-9), -0.5, 0.5))


def _places(
    lines: list[ComplexArray], reach: int, alone: float
) -> tuple[ComplexArray, ComplexArray, FloatArray] | None:
    """Points on the lines where they bend little, unit normals there (to the figure) and curvatures (1/px).

    No line comes nearer than `alone` px to either end of the profile laid across one of them.
    """
    long = [z for z in lines if len(z) >= max(6 * reach, 40)]
    if not long:
        return None
    kernel = gaussian(_SETTLE)
    loops = Loops.of(long, max(reach, len(kernel) // 2))
    smooth, along, length = course(loops, kernel)
    bend = np.angle(loops.beside(along, reach) * loops.beside(along, -reach).conj())
    chord = np.abs(loops.beside(smooth, reach) - loops.beside(smooth, -reach))
    curve = bend / np.maximum(chord, 1.0)
    plain = (np.abs(bend) < _BENT) & (length > 1.0)
    # Every so many of those on each line.
    number = np.cumsum(plain) - 1
    number -= np.repeat(number[loops.start] + ~plain[loops.start], loops.size)
    stride = max(1, sum(len(z) for z in lines) // _MOST_PROFILES)
    pick = np.flatnonzero(plain & (number % stride == 0))
    if len(pick) < _LEAST_PROFILES:
        return None
    # Averaging with a spread s pulls a line of curvature c inward by c s^2 / 2.
    pulled = curve[pick] * (_SETTLE * length[pick] / 6) ** 2 / 2
    place, normal = smooth[pick] - 1j * along[pick] * pulled, 1j * along[pick]
    ends = to_array(np.stack([place - reach * normal, place + reach * normal]).ravel())
    tree = cKDTree(to_array(loops.z), compact_nodes=False, balanced_tree=False)
    away, _ = tree.query(ends, distance_upper_bound=alone)
    free = (np.reshape(away, (2, -1)) >= alone).all(axis=0)
    return place[free], normal[free], curve[pick][free]


def course(loops: Loops, kernel: FloatArray) -> tuple[ComplexArray, ComplexArray, FloatArray]:
    """Lines averaged by a kernel, the unit ways along them, and how far apart (px) are the places that tell these:
    six samples from one another."""
    smooth = loops.correlated(kernel)
    along = loops.beside(smooth, 3) - loops.beside(smooth, -3)
    length = np.abs(along)
    return smooth, along / np.maximum(length, 1e-9), length


def gaussian(sigma: float) -> FloatArray:
    """Weights of a Gaussian of `sigma` samples over as many as matter."""
    return np.asarray(gaussians(np.array([sigma]))[0])


def gaussians(sigmas: FloatArray) -> FloatArray:
    """Weights of some Gaussians, each over as many samples as matter to it; (n, k)."""
    reach = np.round(4.0 * sigmas)
    away = np.arange(-reach.max(), reach.max() + 1)
    weights = np.exp(-0.5 * (away / sigmas[:, None]) ** 2)
    weights[np.abs(away) > reach[:, None]] = 0.0
    return np.asarray(weights / weights.sum(axis=1, keepdims=True))


def _wrapped(z: ComplexArray, sigma: float) -> ComplexArray:
    return gaussian_filter1d(z.real, sigma, mode="wrap") + 1j * gaussian_filter1d(z.imag, sigma, mode="wrap")


def _profiles(
    grey: Grey, at: ComplexArray, normal: ComplexArray, curve: FloatArray, reach: int
) -> tuple[FloatArray, FloatArray]:
    """Distances (n, k) of pixels to the edge, along its normal, and their values: a row or column of each."""
    height, width = grey.shape
    flat = np.abs(normal.real) >= np.abs(normal.imag)
    k = np.arange(-reach, reach + 1)
    col = np.floor(at.real).astype(int)[:, None] + np.where(flat[:, None], k, 0)
    row = np.floor(height - at.imag).astype(int)[:, None] + np.where(flat[:, None], 0, k)
    inside = (col >= 0) & (col < width) & (row >= 0) & (row < height)
    centre = (col + 0.5) + 1j * (height - row - 0.5)
    away = (centre - at[:, None]) * normal.conj()[:, None]
    t = away.real - curve[:, None] * away.imag**2 / 2
    values = grey[np.clip(row, 0, height - 1), np.clip(col, 0, width - 1)].astype(np.float64)
    whole = inside.all(axis=1)
    order = np.argsort(t[whole], axis=1)
    return np.take_along_axis(t[whole], order, 1), np.take_along_axis(values[whole], order, 1)


def grain_of(grey: Grey) -> float:
    """Sigma of the noise in most of a picture, from second differences along some of its rows."""
    rows = grey[:: max(1, len(grey) // 100)].astype(np.float32)
    if rows.shape[1] < 3:
        return 0.0
    return float(np.median(np.abs(rows[:, :-2] - 2 * rows[:, 1:-1] + rows[:, 2:]))) / 0.6745 / math.sqrt(6.0)


def _plateaus(
    values: FloatArray, reach: int, grain: float
) -> tuple[FloatArray, FloatArray, NDArray[np.bool_]]:
    """Values the profiles settle at on either side, and which profiles are a clear single step.

    Where another edge is within reach they don't settle: their ends climb more than noise and ringing do. Noise
    is what the ends themselves show, but not much more than the picture's `grain` (sigma): where most of them
    meet another edge they show that.
    """
    few = max(2, reach // 3)
    low, high = values[:, :few].mean(axis=1), values[:, -few:].mean(axis=1)
    span = np.abs(high - low)
    # Differences two pixels apart see noise, but little of a slope that light falls off by.
    noise = float(np.median(np.abs(values[:, 2 : few + 2] - values[:, :few]))) / 0.6745 / math.sqrt(2)
    noise = min(noise, 0.5 + _GRAINS * grain)
    spread = np.maximum(values[:, :few].std(axis=1), values[:, -few:].std(axis=1))
    settled = spread < np.maximum(2.0, _UNSETTLED * span) + 2 * min(noise, 0.15 * float(np.median(span)))
    # What goes up and down again between its ends has more than one step.
    single = span > _SINGLE * np.ptp(values, axis=1)
    return low, high, settled & single & (span > 0.75 * np.quantile(span, 0.75))
