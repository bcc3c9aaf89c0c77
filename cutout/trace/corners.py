"""True corners of a densely sampled ring whose corners the picture has rounded off.

A picture is a blurred likeness: whatever its edge does within a pixel or two of a corner is the blur's
doing. So a corner is looked for, and placed, from the two flanks that lead up to it.
"""

from __future__ import annotations

import math
from bisect import bisect
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import correlate1d, gaussian_filter1d, maximum_filter1d

from cutout.geom.curve import ComplexArray, FloatArray

IntArray = NDArray[np.int64]

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


@dataclass(frozen=True, slots=True)
class Loops:
    """Rings of samples STEP apart, one after the other: the first sample of each, and how many it has.

    wide: samples of all rings, each gone on round for as many samples at either end as is looked aside; inner: places
    of the samples themselves among those.
    """

    z: ComplexArray
    start: IntArray
    size: IntArray
    wide: IntArray
    inner: IntArray

    @classmethod
    def of(cls, rings: Sequence[ComplexArray], reach: int) -> Loops:
        """The same of some rings that are looked at by up to `reach` samples aside."""
        size = np.array([len(z) for z in rings], dtype=np.int64)
        start = np.cumsum(size) - size
        padded = size + 2 * reach
        ring = np.repeat(np.arange(len(size)), padded)
        along = np.arange(len(ring)) - (np.cumsum(padded) - padded + reach)[ring]
        inner = np.flatnonzero((along >= 0) & (along < size[ring]))
        wide = np.asarray(start[ring] + along % size[ring], dtype=np.int64)
        return cls(np.concatenate(rings), start, size, wide, inner)

    @property
    def ring(self) -> IntArray:
        """The ring each sample is of."""
        return np.repeat(np.arange(len(self.size)), self.size)

    def at(self, ring: IntArray, number: IntArray) -> ComplexArray:
        """Samples of rings by their numbers, counted on round and round."""
        return self.z[self.start[ring] + number % self.size[ring]]

    def beside(self, values: NDArray[Any], by: int) -> NDArray[Any]:
        """Of values of all samples the one `by` samples on from each."""
        return np.asarray(values[self.wide[self.inner + by]])

    def correlated(self, kernel: FloatArray) -> ComplexArray:
        """Sums of the samples about each one, weighted by the kernel."""
        wide = self.z[self.wide]
        out = np.empty(len(self.inner), dtype=np.complex128)
        out.real = correlate1d(wide.real, kernel)[self.inner]
        out.imag = correlate1d(wide.imag, kernel)[self.inner]
        return out

    def parts(self, values: NDArray[Any]) -> list[NDArray[Any]]:
        """Values of all samples ring by ring."""
        return np.split(values, self.start[1:])


def resample(z: ComplexArray, step: float = STEP) -> ComplexArray:
    """The closed polyline through `z` at equal steps of about `step` along it; at least 8 points."""
    return resampled([z], step)[0]


def resampled(lines: Sequence[ComplexArray], step: float = STEP) -> list[ComplexArray]:
    """Each of some closed polylines at equal steps of about `step` along it; at least 8 points each."""
    s, first, total, points = _strung([np.append(z, z[0]) for z in lines])
    many = np.maximum(8, np.round(total / step).astype(np.int64))
    return _spread(points, s, first, many, total / many)


def evened(runs: Sequence[ComplexArray]) -> list[ComplexArray]:
    """Each of some open polylines at equal steps of about STEP, ends included; at least 4 points each."""
    s, first, total, points = _strung(runs)
    many = np.maximum(4, np.round(total / STEP).astype(np.int64) + 1)
    return _spread(points, s, first, many, total / (many - 1))


def _strung(lines: Sequence[ComplexArray]) -> tuple[FloatArray, FloatArray, FloatArray, ComplexArray]:
    """Polylines one after the other: length up to each point, to each line's start, of each line, and the points."""
    ends = np.cumsum([len(z) for z in lines])
    points = np.concatenate(lines)
    steps = np.abs(np.diff(points))
    # From one line's end to the next one's start it is a step that nothing is asked of.
    steps[ends[:-1] - 1] = STEP
    s = np.concatenate([[0.0], np.cumsum(steps)])
    first = s[np.concatenate([[0], ends[:-1]])]
    return s, first, s[ends - 1] - first, points


def _spread(
    points: ComplexArray, s: FloatArray, first: FloatArray, many: IntArray, step: FloatArray
) -> list[ComplexArray]:
    """So many points of each line that starts at length `first`, so far apart."""
    starts = np.cumsum(many) - many
    number = np.arange(int(many.sum())) - np.repeat(starts, many)
    at = np.repeat(first, many) + number * np.repeat(step, many)
    out = np.empty(len(at), dtype=np.complex128)
    out.real, out.imag = np.interp(at, s, points.real), np.interp(at, s, points.imag)
    return np.split(out, starts[1:])


_JITTERS = (4, 12)
"""Samples to each side of one that a parabola is laid through, to see how far it is off."""

_TOO_FEW, _UNKNOWN = 60, 0.05
"""Samples a ring has at least that shows its noise, and what is taken for it (px) where it has fewer."""


def jitters(loops: Loops) -> FloatArray:
    """Noise of each ring's samples across the line (px): what local parabolas over 9 and over 25 samples leave.

    The quieter part of the ring counts, so that corners and tight curves do not; the line's own wobble
    from the pixel grid does.
    """
    ahead = loops.beside(loops.z, 3) - loops.beside(loops.z, -3)
    ahead /= np.maximum(np.abs(ahead), 1e-9)
    found = np.zeros(len(loops.size))
    for reach in _JITTERS:
        kernel = _kernel(-reach, reach, 2, 0)
        across = np.abs(((loops.z - loops.correlated(kernel)) * ahead.conj()).imag)
        # 30 % of a normal variable lie within 0.385 sigma; the parabola takes its share of the noise.
        share = 0.385 * math.sqrt(1 - float(kernel[reach]))
        found = np.maximum(found, np.array([_lower(part, 0.3) for part in loops.parts(across)]) / share)
    return np.where(loops.size < _TOO_FEW, _UNKNOWN, found)


def _lower(values: FloatArray, share: float) -> float:
    """The value that this share of them lies below, in proportion between two of them."""
    at = share * (len(values) - 1)
    k = int(at)
    low, high = np.partition(values, (k, k + 1))[k : k + 2].tolist()
    return float(low + (high - low) * (at - k))


def corners_of(loops: Loops, blur: float, noise: FloatArray) -> list[list[Corner]]:
    """Corners of each of some rings whose picture has blur sigma `blur` px, and whose own noise (px) is given.

    A place counts as a corner where the direction turns by 24 degrees or more between flanks that curve
    less, and where the line runs as near to the point in which the flanks meet as blurring a sharp corner
    would leave it. Blurred by a Gaussian of sigma s, the half-way line of a corner of angle a misses its
    apex by about 0.75 s / tan(a / 2) (worked out numerically; exact at 90 degrees to 3 %).
    """
    candidates = _candidates(loops, blur, noise)
    corners = _placed(loops, candidates, blur, noise)
    kept = [[c.index for c in found] for found in corners]
    lost = [sorted(set(some) - set(few)) for some, few in zip(candidates, kept, strict=True)]
    # A candidate that falls away leaves its neighbours longer flanks to be placed by.
    again = _placed(loops, [few if gone else [] for few, gone in zip(kept, lost, strict=True)], blur, noise)
    corners = [new if gone else old for old, new, gone in zip(corners, again, lost, strict=True)]
    for ring, blunt in _blunt(loops, lost, kept, blur, noise):
        corners[ring].extend(blunt)
    return [sorted(found, key=lambda c: c.index) for found in corners]


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
    before, after = (
        np.minimum(round(far), np.array(part, dtype=np.int64) // 2)
        for part in (rooms[-1:] + rooms[:-1], rooms)
    )
    return _settled(z, [corners[k] for k in kept], before, after, noise)


def _settled(
    z: ComplexArray, corners: list[Corner], before: IntArray, after: IntArray, noise: float
) -> list[Corner]:
    """Corners where flanks of so many samples meet; as they are where that is farther off than ripples take it."""
    if not corners:
        return []
    loops, ring = Loops.of([z], 0), np.zeros(len(corners), dtype=np.int64)
    index, cut_before, cut_after = np.array([(c.index, c.before, c.after) for c in corners]).T
    noises = np.full(len(corners), noise)
    left = _Flanks.of(loops, ring, index, -np.maximum(before, cut_before + 3), -cut_before, noises)
    right = _Flanks.of(loops, ring, index, cut_after, np.maximum(after, cut_after + 3), noises)
    apex, _, meets = _meet(left, right)
    near = meets & (np.abs(apex - [c.apex for c in corners]) <= 1.0 + 6.0 * noise)
    return [
        replace(corner, apex=at) if can else corner
        for corner, at, can in zip(corners, apex.tolist(), near.tolist(), strict=True)
    ]


def _chord_turn(z: ComplexArray, corner: Corner, far: int) -> float:
    """How much (radians) the mean ways to and from the corner turn over `far` samples each."""
    t = np.arange(1, min(far, len(z) // 3) + 1)
    before, after = ((z[(corner.index + s * t) % len(z)] - corner.apex).mean() for s in (-1, 1))
    return abs(math.atan2((-before.conjugate() * after).imag, (-before.conjugate() * after).real))


def aside(blur: float) -> int:
    """How many samples aside of one are looked at to find noise and corners in a picture of blur sigma `blur` px."""
    return max(_JITTERS[-1], _gap(blur) + max(3, round(_FARTHEST / STEP)), _window(blur) + 1)


def _gap(blur: float) -> int:
    """Samples beside a corner that its blur reaches."""
    return max(1, round(1.6 * blur / STEP))


def _window(blur: float) -> int:
    """Samples to each side among which a candidate turns most."""
    return max(2, round(max(1.2, 2.4 * blur) / STEP))


def _candidates(loops: Loops, blur: float, noise: FloatArray) -> list[list[int]]:
    """Of each ring the samples where the direction turns most between straight flanks, short ones first.

    Longer flanks see corners that noise hides from short ones, but blunt pairs of near corners into one.
    """
    found: list[list[int]] = [[] for _ in loops.size]
    ring, sizes = loops.ring, loops.size.tolist()
    number = np.arange(len(ring)) - loops.start[ring]
    steady = {length: noise <= _STEADY * length for length in _LENGTHS}
    steady[_FARTHEST] = ~np.any(list(steady.values()), axis=0)
    for length, told in steady.items():
        gap = _gap(blur)
        reach = gap + max(3, round(length / STEP))
        fit = told & (2 * reach + 1 <= loops.size) & (loops.size >= _SHORTEST)
        if not fit.any():
            continue
        peaks = np.flatnonzero(_peaks(loops, _turns(loops, gap, reach), _window(blur)) & fit[ring])
        for k, peak in zip(ring[peaks].tolist(), number[peaks].tolist(), strict=True):
            some = found[k]
            at = bisect(some, peak)
            # Only the next ones either way, round and round, can be nearer than that.
            if not some or reach < min(
                (peak - some[at - 1]) % sizes[k], (some[at % len(some)] - peak) % sizes[k]
            ):
                some.insert(at, peak)
    return found


_SHORTEST = 16
"""Rings of fewer samples have no corners to be told."""


def _turns(loops: Loops, gap: int, reach: int) -> FloatArray:
    """Absolute turn (radians) at each sample between straight flanks gap..reach samples away."""
    ahead = loops.correlated(_kernel(gap, reach, 1, 1))
    behind = loops.correlated(_kernel(-reach, -gap, 1, 1))
    turned: FloatArray = np.abs(np.angle(ahead * behind.conj()))
    return turned


def _peaks(loops: Loops, values: FloatArray, window: int) -> NDArray[np.bool_]:
    """Samples above the least turn that no other within the window exceeds; of equals the first."""
    wide = values[loops.wide]
    sizes = np.minimum(window, loops.size - 1)
    peak = values >= _LEAST_TURN
    for size in np.unique(sizes).tolist():
        most = maximum_filter1d(wide, size)
        # The filter's window begins half its size before its place.
        before = most[loops.inner - size + size // 2]
        after = most[loops.inner + 1 + size // 2]
        own = True if (sizes == size).all() else (sizes == size)[loops.ring]
        peak &= ((values > before) & (values >= after)) | np.logical_not(own)
    return peak


def _placed(loops: Loops, candidates: list[list[int]], blur: float, noise: FloatArray) -> list[list[Corner]]:
    """Those of the candidates of each ring that are corners."""
    corners: list[list[Corner]] = [[] for _ in candidates]
    ring = np.repeat(np.arange(len(candidates)), [len(some) for some in candidates])
    if not len(ring):
        return corners
    index = np.array([k for some in candidates for k in some])
    n = loops.size[ring]
    before = np.array([b for some in candidates for b in some[-1:] + some[:-1]])
    after = np.array([a for some in candidates for a in some[1:] + some[:1]])
    before, after = ((room + n - 1) % n + 1 for room in (index - before, after - index))
    for k in range(0, len(ring), _AT_ONCE):
        some = slice(k, k + _AT_ONCE)
        rooms = before[some], after[some]
        for number, corner in _place(loops, ring[some], index[some], rooms, blur, noise[ring[some]]):
            corners[number].append(corner)
    return corners


_AT_ONCE = 4096
"""Corners placed at once, which bounds the memory it takes."""


def _place(
    loops: Loops,
    ring: IntArray,
    index: IntArray,
    rooms: tuple[IntArray, IntArray],
    blur: float,
    noise: FloatArray,
) -> Iterator[tuple[int, Corner]]:
    """Rings and corners at samples `index` of them, without those where the line is only bent.

    rooms: samples to the candidates before and after each.
    """
    gap, turn = 2.2 * blur, np.full(len(ring), math.pi / 2)
    real = np.ones(len(ring), dtype=bool)
    for _ in range(2):
        reach = gap / np.maximum(np.sin(np.minimum(math.pi - turn, math.pi / 2)), 0.25)
        before, after = (_cut(reach, room) for room in rooms)
        left = _Flanks.of(loops, ring, index, -_far(before, rooms[0], noise), -before, noise)
        right = _Flanks.of(loops, ring, index, after, _far(after, rooms[1], noise), noise)
        apex, turn, meets = _meet(left, right)
        real &= meets
        turn = np.where(real, turn, 0.0)
    real &= turn >= _LEAST_TURN
    real &= (turn >= _BLUNT) | _sudden(left, right, turn, noise)
    off = np.arange(-int(before.max()) - 2, int(after.max()) + 3)
    near = loops.at(ring[:, None], index[:, None] + off)
    away = np.abs(near - apex[:, None])
    away[(off < -before[:, None] - 2) | (off > after[:, None] + 2)] = np.inf
    closest = np.argmin(away, axis=1)[:, None]
    tip = np.take_along_axis(near, closest, 1)[:, 0]
    missed, sharp = np.take_along_axis(away, closest, 1)[:, 0], 0.75 * blur * np.tan(turn / 2)
    real &= missed <= 1.7 * sharp + 0.12 + 2.0 * noise
    # Flanks of a fine point meet far out and uncertainly: no farther than the blur accounts for.
    most = 1.3 * sharp + 0.3
    held = (missed > most) & (turn > math.radians(125))
    apex = np.where(held, tip + (apex - tip) * (most / np.maximum(missed, 1e-12)), apex)
    parts = (part[real].tolist() for part in (ring, index, apex, before, after))
    for number, *corner in zip(*parts, strict=True):
        yield number, Corner(*corner)


def _blunt(
    loops: Loops, lost: list[list[int]], kept: list[list[int]], blur: float, noise: FloatArray
) -> Iterator[tuple[int, list[Corner]]]:
    """Rings and both corners of bars too narrow for them to be told apart, where one of the candidates `lost` is the
    middle of such a bar's end.

    The sides are found well away from the end, which is taken to be square; its place is the line's own,
    for the middle of an end two blurs wide or more is hardly moved by the blur.
    """
    first, last = round(3.5 / STEP), round(3.5 / STEP) + round(6.0 / STEP)
    places = []
    for k, gone in enumerate(lost):
        n = int(loops.size[k])
        for i in gone:
            room = min((min((i - other) % n, (other - i) % n) for other in kept[k]), default=n)
            if last + 2 <= min(room, n // 2):
                places.append((k, i))
    if not places:
        return
    ring, index = np.array(places).T
    one, two = (np.full(len(ring), size) for size in (first, last))
    left = _Flanks.of(loops, ring, index, -two, -one, noise[ring])
    right = _Flanks.of(loops, ring, index, one, two, noise[ring])
    ways = [flank.direction(np.asarray(t)) for flank, t in ((left, -one), (right, one))]
    ways = [way / np.maximum(np.abs(way), 1e-12) for way in ways]
    axis = (ways[0] - ways[1]) / np.maximum(np.abs(ways[0] - ways[1]), 1e-12)
    near = loops.at(ring[:, None], index[:, None] + np.arange(-first, first + 1))
    tip = (near * axis.conj()[:, None]).real.max(axis=1)
    narrow = (ways[0] * ways[1].conj()).real <= -0.9
    apexes = []
    for flank, way, t in zip((left, right), ways, (-one, one), strict=True):
        start, ahead = flank.at(t), (way * axis.conj()).real
        ahead = np.where(np.abs(ahead) > 1e-9, ahead, 1.0)
        apexes.append(start + way * ((tip - (start * axis.conj()).real) / ahead))
    width = np.abs(apexes[1] - apexes[0])
    missed = np.max([np.abs(near - apex[:, None]).min(axis=1) for apex in apexes], axis=0)
    real = narrow & (1.2 * blur < width) & (width < 5.0)
    real &= missed <= 1.7 * 0.75 * blur + 0.12 + 2.0 * noise[ring]
    half = np.maximum(1, np.round(width / 2 / STEP)).astype(np.int64)
    cut = max(1, round(2.2 * blur / STEP))
    for k in np.flatnonzero(real).tolist():
        n, i, aside = int(loops.size[ring[k]]), int(index[k]), int(half[k])
        yield (
            int(ring[k]),
            [
                Corner((i - aside) % n, complex(apexes[0][k]), cut, aside),
                Corner((i + aside) % n, complex(apexes[1][k]), aside, cut),
            ],
        )


def _sudden(left: _Flanks, right: _Flanks, turn: FloatArray, noise: FloatArray) -> NDArray[np.bool_]:
    """Whether small turns happen at the corners themselves: parabolas through the flanks must show them too.

    On flanks too short for parabolas only a clean line is believed.
    """
    short = np.minimum(left.count, right.count) - 1 < 8.0 / STEP
    bent = np.abs(np.angle(left.bent.conj() * right.bent))
    return np.where(short, (noise < 0.05) | (turn > math.radians(36)), bent > 0.4 * turn)


def _cut(reach: FloatArray, room: IntArray) -> IntArray:
    most = np.minimum(np.round(reach / STEP), np.round(0.36 * room))
    return np.asarray(np.maximum(1, most), dtype=np.int64)


def _far(cut: IntArray, room: IntArray, noise: FloatArray) -> IntArray:
    """Where the flank ends: short of the next corner's rounding, at most _REACH and _LONGER beyond the gap."""
    long = np.round((_REACH + _LONGER * noise) / STEP).astype(np.int64)
    beside = np.minimum(cut, np.round(0.36 * room).astype(np.int64))
    most = np.minimum(cut + long, room - np.maximum(1, beside))
    return np.asarray(np.maximum(cut + 1, most), dtype=np.int64)


@dataclass(frozen=True, slots=True)
class _Flanks:
    """x(t), y(t) of flanks as complex polynomials in samples from their corners: coefficients (3, n), lowest first.

    bent: direction at the corner of a parabola through the flank, whether that was taken or not; count: its samples.
    """

    c: ComplexArray
    bent: ComplexArray
    count: IntArray

    @classmethod
    def of(
        cls,
        loops: Loops,
        ring: IntArray,
        index: IntArray,
        first: IntArray,
        last: IntArray,
        noise: FloatArray,
    ) -> _Flanks:
        """Straight lines through samples first..last from `index`, or parabolas where lines leave clearly more than
        noise. Least squares, samples counted from each flank's middle, where the sums of odd powers are none."""
        count = last - first + 1
        number = np.arange(int(count.max()))
        t = first[:, None] + number
        seen = number < count[:, None]
        origin = loops.at(ring, index)
        points = np.where(seen, loops.at(ring[:, None], index[:, None] + t) - origin[:, None], 0.0)
        middle = (first + last) / 2
        u = np.where(seen, t - middle[:, None], 0.0)
        u2 = u * u
        s2, s4 = u2.sum(axis=1), (u2 * u2).sum(axis=1)
        p0, p1, p2 = points.sum(axis=1), (u * points).sum(axis=1), (u2 * points).sum(axis=1)
        slope = p1 / np.maximum(s2, 0.5)
        left_over = s4 - s2 * s2 / count
        bow = np.where(count >= 3, (p2 - s2 / count * p0) / np.where(left_over > 0, left_over, 1.0), 0.0)
        ways = slope.conj() / np.maximum(np.abs(slope), 1e-12)
        level = (p0 / count)[:, None] + u * slope[:, None] - points
        miss_line = _rms(level, ways, seen, count)
        miss_bend = _rms(level + (u2 - (s2 / count)[:, None]) * bow[:, None], ways, seen, count)
        taken = (count >= 7) & (miss_line > 1.5 * miss_bend + 0.3 * noise) & (miss_line > 0.03)
        bent = slope - 2 * bow * middle
        some = np.where(taken, bow, 0.0)
        c0 = origin + p0 / count - some * s2 / count - slope * middle + some * middle**2
        return cls(np.stack([c0, slope - 2 * some * middle, some]), bent, count)

    def at(self, t: NDArray[Any]) -> ComplexArray:
        """Points."""
        return np.asarray(self.c[0] + t * (self.c[1] + t * self.c[2]))

    def direction(self, t: NDArray[Any]) -> ComplexArray:
        """Derivatives."""
        return np.asarray(self.c[1] + 2 * t * self.c[2])


def _rms(off: ComplexArray, ways: ComplexArray, seen: NDArray[np.bool_], count: IntArray) -> FloatArray:
    """Root mean square of what lies across conjugate ways (n,), over those of (n, k) that are seen."""
    across = np.where(seen, (off * ways[:, None]).imag, 0.0)
    return np.asarray(np.sqrt((across**2).sum(axis=1) / count))


def _meet(left: _Flanks, right: _Flanks) -> tuple[ComplexArray, FloatArray, NDArray[np.bool_]]:
    """Where flanks meet nearest to t = 0, by Newton from there, how much they turn (radians), and whether they do."""
    s, t = np.zeros(len(left.count)), np.zeros(len(left.count))
    meets = (left.count > 1) & (right.count > 1)
    for _ in range(4):
        a, b = left.direction(s), right.direction(t)
        cross = (a.conj() * b).imag
        meets &= np.abs(cross) >= 0.2 * np.abs(a) * np.abs(b)
        cross = np.where(meets, cross, 1.0)
        between = right.at(t) - left.at(s)
        s = np.where(meets, s + (between.conj() * b).imag / cross, 0.0)
        t = np.where(meets, t + (between.conj() * a).imag / cross, 0.0)
        meets &= (np.abs(s) <= 60) & (np.abs(t) <= 60)
    a, b = left.direction(s), right.direction(t)
    return (left.at(s) + right.at(t)) / 2, np.abs(np.angle(a.conj() * b)), meets


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
