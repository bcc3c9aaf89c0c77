"""True corners of a densely sampled ring whose corners the picture has rounded off.

A picture is a blurred likeness: whatever its edge does within a pixel or two of a corner is the blur's
doing. So a corner is looked for, and placed, from the two flanks that lead up to it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import correlate1d, gaussian_filter1d

from cutout.geom.curve import ComplexArray, FloatArray, stations

STEP = 0.5
"""Distance between the samples of a ring in pixels."""

_LEAST_TURN = math.radians(24)  # less is no corner but a curve drawn small: by trial on pictures
_NEAR = 3.0
"""Length (px) of flank beside its rounding that shows how much a corner turns by itself."""

_LASTS = 0.45
"""Share of its turn that a corner has at the scale of smoothing if it is more than a ripple."""

_BLUNT = math.radians(50)  # corners that turn less must be sudden, too: by trial on pictures
_LENGTHS, _FARTHEST, _STEADY = (1.5, 3.0, 6.0), 12.0, 0.05
"""Lengths (px) of flanks by which corners are noticed, as long as noise is no more than such a share of them; and the
one where it is more than that of each: along pixel rows a black-and-white picture's line goes in long steps."""

_REACH, _LONGER = 10.0, 60.0
"""Greatest length (px) of flank used to place a corner, and what a pixel of noise adds to it: a flank in steps of
whole pixels may run for a dozen pixels from one to the next."""


@dataclass(frozen=True, slots=True)
class Corner:
    """A corner near sample `index`, its apex, and how many samples before and after it are rounded off."""

    index: int
    apex: complex
    before: int
    after: int


def resample(z: ComplexArray, step: float = STEP) -> ComplexArray:
    """The closed polyline through `z` at equal steps of about `step` along it; at least 8 points."""
    closed = np.append(z, z[0])
    s = stations(closed)
    n = max(8, round(s[-1] / step))
    at = np.arange(n) * (s[-1] / n)
    return np.asarray(np.interp(at, s, closed.real) + 1j * np.interp(at, s, closed.imag))


def jitter(z: ComplexArray) -> float:
    """Noise of the samples across the line (px): what local parabolas over 9 and over 25 samples leave.

    The quieter part of the ring counts, so that corners and tight curves do not; the line's own wobble
    from the pixel grid does.
    """
    if len(z) < 60:
        return 0.05
    ahead = np.roll(z, -3) - np.roll(z, 3)
    ahead /= np.maximum(np.abs(ahead), 1e-9)
    found = 0.0
    for reach in (4, 12):
        kernel = _kernel(-reach, reach, 2, 0)
        across = np.abs(((z - _wrap(z, kernel)) * ahead.conj()).imag)
        # 30 % of a normal variable lie within 0.385 sigma; the parabola takes its share of the noise.
        share = 1 - float(kernel[reach])
        found = max(found, float(np.quantile(across, 0.3)) / 0.385 / math.sqrt(share))
    return found


def find_corners(z: ComplexArray, blur: float, noise: float) -> list[Corner]:
    """Corners of a ring of equally spaced samples (STEP apart) whose picture has blur sigma `blur` px.

    A place counts as a corner where the direction turns by 24 degrees or more between flanks that curve
    less, and where the line runs as near to the point in which the flanks meet as blurring a sharp corner
    would leave it. Blurred by a Gaussian of sigma s, the half-way line of a corner of angle a misses its
    apex by about 0.75 s / tan(a / 2) (worked out numerically; exact at 90 degrees to 3 %).
    """
    if len(z) < 16:
        return []
    candidates = _candidates(z, blur, noise)
    corners = _placed(z, candidates, blur, noise)
    kept = [c.index for c in corners]
    lost = sorted(set(candidates) - set(kept))
    if not lost:
        return corners
    # A candidate that falls away leaves its neighbours longer flanks to be placed by.
    corners = _placed(z, kept, blur, noise)
    for index in lost:
        room = min(((index - k) % len(z) for k in kept), default=len(z))
        room = min(room, *((k - index) % len(z) for k in kept), len(z) // 2)
        corners.extend(_blunt(z, index, room, blur, noise))
    return sorted(corners, key=lambda c: c.index)


def lasting(z: ComplexArray, corners: list[Corner], reach: float, noise: float) -> list[Corner]:
    """The corners that are more than ripples or detail at a scale of `reach` px.

    Smoothed by a Gaussian of that sigma, the line still turns from one and a half sigmas before a lone corner to
    as many after it by most of the corner's own turn. Where others nearby turn back it does not: such corners are
    dropped. Those kept lie where their long flanks meet, which ripples move less than short ones.
    """
    n, far = len(z), min(max(4.0, reach / STEP), len(z) / 12)
    even = gaussian_filter1d(z.real, far, mode="wrap") + 1j * gaussian_filter1d(z.imag, far, mode="wrap")
    away = round(1.5 * far)
    ways = np.roll(even, -1) - np.roll(even, 1)
    kept = []
    for k, corner in enumerate(corners):
        turn = _chord_turn(z, corner, max(corner.before, corner.after) + round(_NEAR / STEP))
        before, after = ways[(corner.index - away) % n], ways[(corner.index + away) % n]
        if abs(np.angle(before.conj() * after)) >= max(_LEAST_TURN, _LASTS * turn):
            kept.append(k)
    at = [corners[k].index for k in kept]
    rooms = [(b - a) % n or n for a, b in zip(at, at[1:] + at[:1], strict=True)]
    return [
        _settled(z, corners[k], min(round(far), rooms[i - 1] // 2), min(round(far), rooms[i] // 2), noise)
        for i, k in enumerate(kept)
    ]


def _settled(z: ComplexArray, corner: Corner, before: int, after: int, noise: float) -> Corner:
    """The corner where flanks of so many samples meet; as it is where that is farther off than ripples take it."""
    left = _flank(z, corner.index, -corner.before, -max(before, corner.before + 3), noise)
    right = _flank(z, corner.index, corner.after, max(after, corner.after + 3), noise)
    meeting = _meet(left, right, corner.apex) if left is not None and right is not None else None
    if meeting is None or abs(meeting[0] - corner.apex) > 1.0 + 6.0 * noise:
        return corner
    return replace(corner, apex=meeting[0])


def _chord_turn(z: ComplexArray, corner: Corner, far: int) -> float:
    """How much (radians) the mean ways to and from the corner turn over `far` samples each."""
    t = np.arange(1, min(far, len(z) // 3) + 1)
    before, after = ((z[(corner.index + s * t) % len(z)] - corner.apex).mean() for s in (-1, 1))
    return abs(math.atan2((-before.conjugate() * after).imag, (-before.conjugate() * after).real))


def _candidates(z: ComplexArray, blur: float, noise: float) -> list[int]:
    """Samples where the direction turns most between straight flanks, short ones first.

    Longer flanks see corners that noise hides from short ones, but blunt pairs of near corners into one.
    """
    found: list[int] = []
    n = len(z)
    for length in [long for long in _LENGTHS if noise <= _STEADY * long] or [_FARTHEST]:
        gap = max(1, round(1.6 * blur / STEP))
        reach = gap + max(3, round(length / STEP))
        if 2 * reach + 1 > n:
            continue
        for peak in _peaks(_turns(z, gap, reach), max(2, round(max(1.2, 2.4 * blur) / STEP))):
            apart = [min((peak - other) % n, (other - peak) % n) for other in found]
            if not apart or min(apart) > reach:
                found.append(peak)
    return sorted(found)


def _turns(z: ComplexArray, gap: int, reach: int) -> FloatArray:
    """Absolute turn (radians) at each sample between straight flanks gap..reach samples away."""
    ahead, behind = _wrap(z, _kernel(gap, reach, 1, 1)), _wrap(z, _kernel(-reach, -gap, 1, 1))
    turned: FloatArray = np.abs(np.angle(ahead * behind.conj()))
    return turned


def _peaks(values: FloatArray, window: int) -> list[int]:
    """Samples above the least turn that no other within the window exceeds; of equals the first."""
    size = min(window, len(values) - 1)
    round_ = np.concatenate([values[-size:], values, values[:size]])
    spans = np.lib.stride_tricks.sliding_window_view(round_, size).max(axis=1)
    before, after = spans[: len(values)], spans[size + 1 :]
    peak = (values > before) & (values >= after) & (values >= _LEAST_TURN)
    found: list[int] = np.flatnonzero(peak).tolist()
    return found


def _placed(z: ComplexArray, candidates: list[int], blur: float, noise: float) -> list[Corner]:
    n = len(z)
    corners = []
    for k, index in enumerate(candidates):
        room_before = (index - candidates[k - 1]) % n or n
        room_after = (candidates[(k + 1) % len(candidates)] - index) % n or n
        corner = _place(z, index, room_before, room_after, blur, noise)
        if corner is not None:
            corners.append(corner)
    return corners


def _blunt(z: ComplexArray, index: int, room: int, blur: float, noise: float) -> list[Corner]:
    """Both corners of a bar too narrow for them to be told apart, where `index` is the middle of its end.

    The sides are found well away from the end, which is taken to be square; its place is the line's own,
    for the middle of an end two blurs wide or more is hardly moved by the blur.
    """
    first, last = round(3.5 / STEP), round(3.5 / STEP) + round(6.0 / STEP)
    if last + 2 > room:
        return []
    left, right = _flank(z, index, -first, -last, noise), _flank(z, index, first, last, noise)
    if left is None or right is None:
        return []
    one, two = left.direction(-first), right.direction(first)
    one, two = one / abs(one), two / abs(two)
    if (one * two.conjugate()).real > -0.9:
        return []
    axis = (one - two) / abs(one - two)
    near = z[np.arange(index - first, index + first + 1) % len(z)]
    tip = float((near * axis.conjugate()).real.max())
    apexes = []
    for flank, way, at in ((left, one, -first), (right, two, first)):
        start = flank.at(at)
        apexes.append(start + way * ((tip - (start * axis.conjugate()).real) / (way * axis.conjugate()).real))
    width = abs(apexes[1] - apexes[0])
    sharp = 0.75 * blur
    missed = [float(np.abs(near - apex).min()) for apex in apexes]
    if not 1.2 * blur < width < 5.0 or max(missed) > 1.7 * sharp + 0.12 + 2.0 * noise:
        return []
    half, n = max(1, round(width / 2 / STEP)), len(z)
    cut = max(1, round(2.2 * blur / STEP))
    return [
        Corner((index - half) % n, apexes[0], cut, half),
        Corner((index + half) % n, apexes[1], half, cut),
    ]


def _place(
    z: ComplexArray, index: int, room_before: int, room_after: int, blur: float, noise: float
) -> Corner | None:
    """The corner at `index`, or None where the line is only bent."""
    gap, apex, turn = 2.2 * blur, complex(z[index]), math.pi / 2
    before = after = 1
    spans = ((-1, -1), (1, 1))
    for _ in range(2):
        reach = gap / max(math.sin(min(math.pi - turn, math.pi / 2)), 0.25)
        before, after = _cut(reach, room_before), _cut(reach, room_after)
        spans = ((-before, -_far(before, room_before, noise)), (after, _far(after, room_after, noise)))
        left, right = (_flank(z, index, *span, noise) for span in spans)
        if left is None or right is None:
            return None
        meeting = _meet(left, right, apex)
        if meeting is None:
            return None
        apex, turn = meeting
    if turn < _LEAST_TURN or (turn < _BLUNT and not _sudden(z, index, spans, turn, noise)):
        return None
    near = z[np.arange(index - before - 2, index + after + 3) % len(z)]
    tip = complex(near[np.argmin(np.abs(near - apex))])
    missed, sharp = abs(apex - tip), 0.75 * blur * math.tan(turn / 2)
    if missed > 1.7 * sharp + 0.12 + 2.0 * noise:
        return None
    # Flanks of a fine point meet far out and uncertainly: no farther than the blur accounts for.
    most = 1.3 * sharp + 0.3
    if missed > most and turn > math.radians(125):
        apex = tip + (apex - tip) * (most / missed)
    return Corner(index, apex, before, after)


def _sudden(
    z: ComplexArray, index: int, spans: tuple[tuple[int, int], ...], turn: float, noise: float
) -> bool:
    """Whether a small turn happens at the corner itself: parabolas through the flanks must show it too.

    On flanks too short for parabolas only a clean line is believed.
    """
    if min(abs(b - a) for a, b in spans) * STEP < 8.0:
        return noise < 0.05 or turn > math.radians(36)
    ways = []
    for a, b in spans:
        t = np.arange(min(a, b), max(a, b) + 1)
        ways.append(_fit(t, z[(index + t) % len(z)], 2)[1])
    bent = math.atan2((ways[0].conjugate() * ways[1]).imag, (ways[0].conjugate() * ways[1]).real)
    return abs(bent) > 0.4 * turn


def _cut(reach: float, room: int) -> int:
    return max(1, min(round(reach / STEP), round(0.36 * room)))


def _far(cut: int, room: int, noise: float) -> int:
    """Where the flank ends: short of the next corner's rounding, at most _REACH and _LONGER beyond the gap."""
    reach = _REACH + _LONGER * noise
    return max(cut + 1, min(cut + round(reach / STEP), room - max(1, min(cut, round(0.36 * room)))))


@dataclass(frozen=True, slots=True)
class _Flank:
    """x(t), y(t) as one complex polynomial in samples from the corner: coefficients, lowest first."""

    c: tuple[complex, complex, complex]

    def at(self, t: float) -> complex:
        return self.c[0] + t * (self.c[1] + t * self.c[2])

    def direction(self, t: float) -> complex:
        return self.c[1] + 2 * t * self.c[2]


def _flank(z: ComplexArray, index: int, first: int, last: int, noise: float) -> _Flank | None:
    """A straight line through the flank, or a parabola where a line leaves clearly more than noise."""
    t = np.arange(min(first, last), max(first, last) + 1, dtype=float)
    points = z[(index + t.astype(int)) % len(z)]
    if len(t) < 2:
        return None
    line = _fit(t, points, 1)
    if len(t) >= 7:
        bend = _fit(t, points, 2)
        direction = line[1] / max(abs(line[1]), 1e-12)
        left_line = _rms(points, t, line, direction)
        left_bend = _rms(points, t, bend, direction)
        if left_line > 1.5 * left_bend + 0.3 * noise and left_line > 0.03:
            return _Flank((bend[0], bend[1], bend[2]))
    return _Flank((line[0], line[1], 0j))


def _fit(t: NDArray[Any], points: ComplexArray, degree: int) -> list[complex]:
    solved: list[complex] = (_solver(int(t[0]), int(t[-1]), degree) @ points).tolist()
    return solved


@lru_cache(maxsize=4096)
def _solver(first: int, last: int, degree: int) -> FloatArray:
    """Matrix from points at whole numbers first..last to a least-squares polynomial's coefficients."""
    basis = np.vander(np.arange(first, last + 1, dtype=float), degree + 1, increasing=True)
    return np.asarray(np.linalg.pinv(basis), dtype=np.float64)


def _rms(points: ComplexArray, t: FloatArray, c: list[complex], direction: complex) -> float:
    curve = c[0] + t * (c[1] + t * c[2]) if len(c) == 3 else c[0] + t * c[1]
    off = ((points - curve) * direction.conjugate()).imag
    return math.sqrt(float(off @ off) / len(off))


def _meet(left: _Flank, right: _Flank, near: complex) -> tuple[complex, float] | None:
    """Where the flanks meet nearest to t = 0, by Newton from there, and how sharply they turn (radians)."""
    s = t = 0.0
    for _ in range(4):
        a, b = left.direction(s), right.direction(t)
        cross = (a.conjugate() * b).imag
        if abs(cross) < 0.2 * abs(a) * abs(b):
            return None
        between = right.at(t) - left.at(s)
        s += (between.conjugate() * b).imag / cross
        t += (between.conjugate() * a).imag / cross
        if abs(s) > 60 or abs(t) > 60:
            return None
    a, b = left.direction(s), right.direction(t)
    turn = abs(math.atan2((a.conjugate() * b).imag, (a.conjugate() * b).real))
    return (left.at(s) + right.at(t)) / 2, turn


@lru_cache(maxsize=256)
def _kernel(first: int, last: int, degree: int, derivative: int) -> FloatArray:
    """Weights over samples first..last (to be laid over the whole span -m..m) that give a least-squares
    polynomial's value or first derivative at 0; returned for offsets -m..m with zeros elsewhere."""
    offsets = np.arange(first, last + 1)
    basis = np.vander(offsets.astype(float), degree + 1, increasing=True)
    weights = np.linalg.pinv(basis)[derivative]
    m = int(np.abs(offsets).max())
    full = np.zeros(2 * m + 1)
    full[offsets + m] = weights
    return full


def _wrap(z: ComplexArray, kernel: FloatArray) -> ComplexArray:
    return correlate1d(z.real, kernel, mode="wrap") + 1j * correlate1d(z.imag, kernel, mode="wrap")
