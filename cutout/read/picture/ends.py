"""Ends of narrow parts: points and bar ends, whose corners lie nearer to each other than the picture can show.

The half-way line of a fine point stops where the point is about a pixel wide, and rounds the end of a narrow bar to a
bow. Its flanks are known from farther back, though, and so is how much of each pixel about the end is covered. So the
end is looked for whose blurred likeness is the picture: two flanks that meet, or two flanks with a straight end or a
half circle between them.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import TypeAlias

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.ndimage import maximum_filter1d, minimum_filter1d
from scipy.spatial import cKDTree

from cutout.geom.curve import ComplexArray, FloatArray, stations, to_array
from cutout.read.picture.bits import Flanks, allowed
from cutout.read.picture.edge import gaussian
from cutout.read.picture.figure import Field
from cutout.read.picture.likeness import winding, windings
from cutout.trace.iso import IsoLines

_PIXEL = 0.29
"""Sigma (px) of a pixel's own width."""

_NARROW = 0.66
"""Chord over length of line about an end: 83 degrees between straight flanks, or a bar two thirds as wide
as the stretch is long."""

_BLUNT = 0.8
"""The same of corners up to 106 degrees, which the line itself shows: they are laid anew where it leaves doubt."""

_DOUBTED, _STILL = (1.7, 2.6), 0.02
"""How many times as far from where its flanks meet as a sharp corner's, about, a line may run, at least and at
most, to leave doubt whether it is one; and up to which noise (share of contrast) that tells anything."""

_HALF, _HALF_BLURS = 4.0, (3.0, 5.0)
"""Lengths (px, and in sigmas of the blur) of line to each side of an end by which it is noticed: points by the
shorter one, ends of bars whose corners only just blur into each other by the longer. By trial."""
_SHORT = 4.0
"""A closed line of fewer such halves is too short to tell its ends apart."""

_ARM, _ARM_BLURS = 7.0, 5.0
"""The same by which it is laid anew. By trial."""

_BITS_ARM, _BITS_SHARE = 32.0, 0.9
"""The same (px) in a picture of black and white, whose flanks tell their way by where they step from row to row, and
what share of the room there is."""

_BITS_FLANKS, _STRAY = (12.0, 24.0, 48.0, 96.0), 0.25
"""Lengths (px) of line beyond where the arms begin that tell their place and way there in a picture of black and
white: the longest one that a parabola runs along within such a root mean square (px), as steps of a pixel make it."""

_FLANK = 6.0
"""Length (px) of line to both sides of where the arms begin that gives their place and way."""

_SHARE, _SHARED = 0.6, 0.5
"""The same as a share of the arm, at most; and what share of the line to the next such place an arm may be long."""

_SHORTEST = 5.0
"""Arms shorter than this (px) tell nothing."""

_MOST_ENDS = 60
"""In a picture with more such places they are texture, and stay as they are."""

_CLEAR, _BEYOND, _ASIDE = 3.0, 3.0, 1.5
"""How far the picture is looked at about an end (sigmas of its blur), how far ahead of the line's own tip (px), and
how near to other lines (px)."""

_LEAST_SEEN = 20
"""With fewer pixels to be seen about an end nothing is told of it."""

_ROUNDS, _NUDGE, _STRIDE, _SETTLED = 8, 0.05, 2.0, 0.02
"""Steps of the fit at most; the change (px) that slopes are taken over; the longest step, and the last one."""

_AHEAD = 2.5
"""How far beyond the line's own tip (px) a point is looked for from, where that is not to be found from the tip."""

_FITS, _NOISES = 0.035, 2.0
"""Root mean square miss (share of full contrast) of a likeness that fits, at least, and in sigmas of noise."""

_LIKE, _TELLING = 0.07, 0.5
"""The same of one that does in a picture whose compression left more than noise, if it misses so much less than the
line as it was."""

_STRICT = 10.0
"""What a pixel weighs that is black where it would be less than half covered, or white where more, by the share."""

_DENIED = 0.1
"""Area (px^2) denied by bits up to which an end with corners is believed; beyond it a round one is looked for."""

_SEEN = 6.0
"""Width (px) of an end from which on its corners are seen one by one; what bits allow may as well be round."""

_CRUMB = 4.0
"""A closed line less across (px) is a crumb if it lies in an end."""

_STIFF = 0.2
"""What a flank that bows by a pixel counts, as if so large a share of a pixel's contrast were missed: what
compression leaves of a point would bow it by pixels."""

_LOST, _NO_WORSE, _LEFT = 1.0, 1.3, 0.09
"""How far (px) a point reaches beyond the tip of the line, where the picture has lost its last pixels; how many
times as much as that line it may miss the picture, and by how much at most (share of contrast)."""


_AT_EDGES = 0.6
"""Root of the share of the pixels about an end that its edges run through."""

_MUCH = 0.7
"""Greatest log of how much more or less blurred a place may be than the whole picture."""

_PLAIN = 0.35
"""Least distance from the level, as a share of full contrast, at which no edge is near."""

_LEAST_PLAIN = 100
"""So few pixels tell no noise."""

_BETTER = 0.6
"""Share of the squared misses of the line as it was that is left at most, noise apart."""

_SURER, _MUCH_SURER = 1.1, 1.6
"""A point is believed in before an end with two corners, unless it misses so many times as much; and either before a
round end, a point by far: it is one with its last pixel off."""

_BAR = 0.7
"""Share of the distance between its flanks that a bar's end is wide, at least."""

_TOLD = 1.5
"""Width (px) from which on a round end can be told from a point."""

_STEP = 0.5
"""How near to one another (px) points of a round end are drawn: half a pixel is nearer than the picture shows."""


def ends_restored(field: Field, found: IsoLines, sigma: float) -> IsoLines:
    """The lines with points and narrow ends laid anew, their corners named, where the picture shows them well enough.

    sigma: of the Gaussian that the values are blurred by (px), the pixels' own width apart.
    """
    blur = math.hypot(sigma, _PIXEL)
    halves = [_HALF + k * blur for k in _HALF_BLURS]

    def noticed(halves: Sequence[float], most: float) -> Iterator[tuple[int, int]]:
        # What the picture's rim cuts off has its end there, and shows none.
        every = _noticed(found.lines, halves, most)
        return (at for at in every if not _at_rim(found.lines[at[0]][at[1]], field.values.shape))

    places = list(itertools.islice(noticed(halves, _NARROW), _MOST_ENDS + 1))
    if len(places) > _MOST_ENDS:
        return found
    blunt = _beside(found.lines, list(noticed(halves[:1], _BLUNT)), places, 1.5 * halves[0])
    if not places and not blunt:
        return found
    view = _View.of(field, found, sigma)
    far = _ARM + _ARM_BLURS * blur
    laid: dict[int, list[_Laid]] = {}
    rooms = _rooms(found.lines, places + blunt)
    for n, ((k, i), room) in enumerate(zip(places + blunt, rooms, strict=True)):
        arm = min(far, room) if field.bits is None else min(_BITS_ARM, _BITS_SHARE * room)
        arms = _arms(found.lines[k], i, arm, () if field.bits is None else _BITS_FLANKS)
        if arms is None or (n >= len(places) and not view.doubts(k, arms, found.blur)):
            continue
        best = view.best(k, arms)
        if best is not None:
            laid.setdefault(k, []).append(best)
    laid = {k: kept for k, ends in laid.items() if (kept := _uncrossed(found.lines[k], ends))}
    if not laid:
        return found
    ends = [end for those in laid.values() for end in those]
    gone = _swallowed(found.lines, ends)
    lines = [_spliced(z, laid[k]) if k in laid else z for k, z in enumerate(found.lines) if k not in gone]
    apexes = np.array([p for end in ends for p in end.corners], dtype=np.complex128)
    rounds = np.array(
        [end.points[len(end.points) // 2] for end in ends if not end.corners], dtype=np.complex128
    )
    return replace(found, lines=lines, apexes=apexes, rounds=rounds)


def _uncrossed(z: ComplexArray, ends: list[_Laid]) -> list[_Laid]:
    """The ends that can be laid into the line, one after the other, without crossing it.

    A line so fine that it crosses itself by its points may be mended by its ends; that it does so elsewhere is not
    their fault.
    """
    if shapely.LinearRing(to_array(_spliced(z, ends))).is_simple:
        return ends
    kept: list[_Laid] = []
    for end in ends:
        p = end.points
        # It meets the rest at both its ends, where it begins a little farther on.
        own = shapely.LineString(
            to_array(np.array([0.9 * p[0] + 0.1 * p[1], *p[1:-1], 0.1 * p[-2] + 0.9 * p[-1]]))
        )
        rest = shapely.LinearRing(to_array(_spliced(z, [*kept, replace(end, points=end.points[:0])])))
        if own.is_simple and not own.intersects(rest):
            kept.append(end)
    return kept


def _swallowed(lines: list[ComplexArray], ends: list[_Laid]) -> set[int]:
    """Numbers of the crumbs that a fine point had come apart into, and which its end takes in."""
    crumbs = [k for k, z in enumerate(lines) if max(np.ptp(z.real), np.ptp(z.imag)) < _CRUMB]
    middles = [shapely.Point(z.real, z.imag) for z in (lines[k].mean() for k in crumbs)]
    around = [shapely.Polygon(to_array(end.points)).buffer(_ASIDE) for end in ends]
    return {k for k, at in zip(crumbs, middles, strict=True) if any(end.contains(at) for end in around)}


def _beside(
    lines: list[ComplexArray], places: list[tuple[int, int]], known: list[tuple[int, int]], reach: float
) -> list[tuple[int, int]]:
    """The places that lie farther than `reach` (px) from those known on the same line."""
    return [
        (k, i)
        for k, i in places
        if all(k != line or abs(lines[k][i] - lines[k][at]) > reach for line, at in known)
    ]


def _noticed(lines: list[ComplexArray], halves: Sequence[float], most: float) -> Iterator[tuple[int, int]]:
    """Line and point at the middle of each stretch of twice a half (px) whose ends lie so close together, by its
    length."""
    for k, z in enumerate(lines):
        s = stations(np.append(z, z[0]))
        total = float(s[-1])
        taken: list[tuple[float, float]] = []
        for half in halves:
            if total < _SHORT * half:
                continue
            chord = np.abs(_at(z, s, s[:-1] + half) - _at(z, s, s[:-1] - half)) / (2 * half)
            narrow = np.flatnonzero(chord < most)
            for at, room in taken:
                narrow = narrow[_along(s[narrow], at, total) > max(room, half)]
            while len(narrow):
                i = int(narrow[np.argmin(chord[narrow])])
                yield k, i
                taken.append((float(s[i]), 1.5 * half))
                narrow = narrow[_along(s[narrow], float(s[i]), total) > 1.5 * half]


def _at_rim(at: complex, shape: tuple[int, ...]) -> bool:
    """Whether a place lies on the rim of a picture of a shape, or within a pixel of it."""
    return min(at.real, shape[1] - at.real, at.imag, shape[0] - at.imag) < 1.0


def _rooms(lines: list[ComplexArray], places: list[tuple[int, int]]) -> list[float]:
    """Length of line (px) from each place half-way to the next one on the same line."""
    rooms = [math.inf] * len(places)
    for k in {line for line, _ in places}:
        s = stations(np.append(lines[k], lines[k][0]))
        own = [n for n, (line, _) in enumerate(places) if line == k]
        at = s[[places[n][1] for n in own]]
        for n, here in zip(own, at.tolist(), strict=True):
            others = _along(at, here, float(s[-1]))
            rooms[n] = _SHARED * float(others[others > 0].min(initial=math.inf))
    return rooms


def _along(s: FloatArray, at: float, total: float) -> FloatArray:
    """How far places s along a closed line of length `total` are from the one at `at`, the shorter way."""
    return np.abs((s - at + total / 2) % total - total / 2)


def _at(z: ComplexArray, s: FloatArray, where: FloatArray) -> ComplexArray:
    """Points of the closed line at lengths `where` along it, taken round and round."""
    closed = np.append(z, z[0])
    where = where % s[-1]
    return np.asarray(np.interp(where, s, closed.real) + 1j * np.interp(where, s, closed.imag))


@dataclass(frozen=True, slots=True)
class _Arms:
    """An end of a line: points first..last (counted on past the line's seam) are to be laid anew.

    start, end: where the flanks come from, px; into, out: their unit ways there, towards the tip and from it;
    tip: the line's own.
    """

    first: int
    last: int
    start: complex
    end: complex
    into: complex
    out: complex
    tip: complex

    @property
    def middle(self) -> complex:
        """Half-way between the places the flanks come from."""
        return (self.start + self.end) / 2

    @property
    def axis(self) -> complex:
        """Unit way half-way between the flanks', towards the tip."""
        way = self.into - self.out
        return way / max(abs(way), 1e-9)


def _arms(z: ComplexArray, i: int, arm: float, farther: Sequence[float] = ()) -> _Arms | None:
    """The flanks that lead up to point i from `arm` px away; None where the line is too short for them.

    farther: lengths (px) of line beyond where they begin that tell more of them, where they go on as parabolas do.
    """
    middle = len(z) // 2
    turned = np.roll(z, middle - i)
    s = stations(turned)
    s -= s[middle]
    arm = min(arm, 0.3 * float(s[-1] - s[0]) - _FLANK)
    flank = min(_FLANK, _SHARE * arm)
    left, right = np.abs(s + arm) < flank, np.abs(s - arm) < flank
    if arm < _SHORTEST or min(left.sum(), right.sum()) < 6:
        return None
    start, into = _flank(turned[left], s[left] + arm)
    end, out = _flank(turned[right], s[right] - arm)
    for length in farther:
        start, into = _long_flank(turned, s + arm, flank, length) or (start, into)
        back = _long_flank(turned[::-1], arm - s[::-1], flank, length)
        end, out = (end, out) if back is None else (back[0], -back[1])
    first, last = int(np.searchsorted(s, -arm)), int(np.searchsorted(s, arm)) - 1
    return _Arms(first + i - middle, last + i - middle, start, end, into, out, complex(turned[middle]))


def _flank(z: ComplexArray, t: FloatArray) -> tuple[complex, complex]:
    """Place and unit way at t = 0 of a parabola through points at lengths t along a line."""
    c = np.linalg.lstsq(np.vander(t, 3, increasing=True), z, rcond=None)[0]
    return complex(c[0]), complex(c[1] / max(abs(c[1]), 1e-12))


def _long_flank(
    z: ComplexArray, t: FloatArray, flank: float, length: float
) -> tuple[complex, complex] | None:
    """The same from points at -length < t < flank; None where those go another way, or are not as many."""
    some = (t > -length) & (t < flank)
    if t[0] > -length:
        return None
    place, way = _flank(z[some], t[some])
    off = (z[some] - place) * way.conjugate()
    missed = np.polynomial.Polynomial.fit(off.real, off.imag, 2)(off.real) - off.imag
    return (place, way) if math.sqrt(float(np.mean(missed**2))) < _STRAY else None


@dataclass(frozen=True, slots=True)
class _Fit:
    """A shape laid over the picture: its root mean square miss, its points, its corners and its numbers."""

    missed: float
    points: ComplexArray
    corners: tuple[complex, ...]
    numbers: FloatArray


@dataclass(frozen=True, slots=True)
class _Laid:
    """What stands for points first..last of a line, and which of it are corners."""

    first: int
    last: int
    points: ComplexArray
    corners: tuple[complex, ...]


_Shape: TypeAlias = Callable[[_Arms, FloatArray], tuple[ComplexArray, tuple[complex, ...]]]


def _point(arms: _Arms, p: FloatArray) -> tuple[ComplexArray, tuple[complex, ...]]:
    """Flanks that meet; p: where (along the axis and aside of it, from the line's tip) and how far each bows, px."""
    apex = arms.tip + arms.axis * complex(p[0], p[1])
    one, two = _bow(arms.start, apex, p[2]), _bow(apex, arms.end, p[3])
    return np.concatenate([one, two[1:]]), (apex,)


def _cut_off(arms: _Arms, p: FloatArray) -> tuple[ComplexArray, tuple[complex, ...]]:
    """Straight flanks and a straight end; p: both corners' places, along the axis and aside of it, px."""
    one, two = (arms.tip + arms.axis * complex(a, b) for a, b in ((p[0], p[1]), (p[2], p[3])))
    runs = (_bow(arms.start, one, 0.0), _bow(one, two, 0.0)[1:], _bow(two, arms.end, 0.0)[1:])
    return np.concatenate(runs), (one, two)


def _rounded(arms: _Arms, p: FloatArray) -> tuple[ComplexArray, tuple[complex, ...]]:
    """Straight flanks and a half circle between them; p: corners of the square round it, as of an end cut off."""
    one, two = (arms.tip + arms.axis * complex(a, b) for a, b in ((p[0], p[1]), (p[2], p[3])))
    middle, half = (one + two) / 2, (two - one) / 2
    into = (one - arms.start) / max(abs(one - arms.start), 1e-9) - (arms.end - two) / max(
        abs(arms.end - two), 1e-9
    )
    ahead = into / max(abs(into), 1e-9) * abs(half)
    turn = np.linspace(0.0, math.pi, max(9, round(math.pi * abs(half) / _STEP)))
    cap = middle - ahead - half * np.cos(turn) + ahead * np.sin(turn)
    runs = (_bow(arms.start, complex(cap[0]), 0.0), cap[1:], _bow(complex(cap[-1]), arms.end, 0.0)[1:])
    return np.concatenate(runs), ()


def _width(rounded: ComplexArray) -> float:
    """How wide an end rounded off is, by its points: its cap is the part of them that turns."""
    turns = np.abs(np.angle(np.diff(rounded)[1:] / np.diff(rounded)[:-1]))
    cap = np.flatnonzero(turns > 1e-3)
    return float(abs(rounded[cap[-1] + 1] - rounded[cap[0] + 1])) if len(cap) > 1 else 0.0


def _bow(a: complex, b: complex, height: float) -> ComplexArray:
    """A parabola from a to b that stands `height` to the right of its chord's middle, at steps of about _STEP."""
    t, left = _even(max(3, round(abs(b - a) / _STEP) + 1))
    straight = a + (b - a) * t
    if not height:
        return np.asarray(straight)
    way = (b - a) / max(abs(b - a), 1e-9)
    return np.asarray(straight - 1j * way * (4 * height) * t * left)


def _drawn(z: ComplexArray) -> ComplexArray:
    """Straight runs from point to point, at steps of about _STEP."""
    runs = [_bow(complex(a), complex(b), 0.0) for a, b in itertools.pairwise(z)]
    return np.concatenate([runs[0], *(run[1:] for run in runs[1:])])


def _square(arms: _Arms) -> FloatArray:
    """Corners where the flanks, gone on straight, come level with the line's own tip."""
    out: list[float] = []
    for at, way in ((arms.start, arms.into), (arms.end, -arms.out)):
        ahead = max((way * arms.axis.conjugate()).real, 0.5)
        t = ((arms.tip - at) * arms.axis.conjugate()).real / ahead
        out += [0.0, ((at + way * t - arms.tip) * arms.axis.conjugate()).imag]
    return np.array(out)


def _is_bar(corners: tuple[complex, ...], arms: _Arms) -> bool:
    """Whether an end with two corners is about as wide as its flanks are apart."""
    return abs(corners[1] - corners[0]) > _BAR * abs(arms.end - arms.start)


def _nearer(one: _Fit, two: _Fit) -> _Fit:
    return one if one.missed <= two.missed else two


def _across(corners: tuple[complex, ...], axis: complex) -> bool:
    """Whether an end lies across its part rather than along a flank."""
    way = (corners[-1] - corners[0]) * axis.conjugate()
    return abs(way.real) < abs(way.imag)


@dataclass(frozen=True, slots=True)
class _View:
    """The picture as shares of full contrast, how it is blurred (px), its noise (share), and all its lines.

    bits: which pixels are figure, in a picture of black and white only.
    """

    values: NDArray[np.uint8]
    low: float
    contrast: float
    sigma: float
    noise: float
    lines: list[ComplexArray]
    boxes: list[tuple[complex, complex]]
    bits: NDArray[np.bool_] | None

    @classmethod
    def of(cls, field: Field, found: IsoLines, sigma: float) -> _View:
        contrast = max(2.0 * (field.settled()[1] - field.level), 1.0)
        # A line known to be off by so much is met by a picture that is off by as much times its slope there.
        blur = math.hypot(sigma, _PIXEL)
        steps = _AT_EDGES * found.noise / (blur * math.sqrt(2 * math.pi))
        noise = math.hypot(_noise(field.values, field.level, contrast, blur) / contrast, steps)
        return cls(
            field.values,
            field.level - contrast / 2,
            contrast,
            sigma,
            noise,
            found.lines,
            [_box(z) for z in found.lines],
            field.bits,
        )

    def doubts(self, k: int, arms: _Arms, blur: float) -> bool:
        """Whether line k runs so far from where its flanks meet that nobody knows whether that is a sharp corner."""
        cross = (arms.into.conjugate() * arms.out).imag
        if self.bits is not None or self.noise > _STILL or abs(cross) < 0.2:
            return False
        meeting = arms.start + arms.into * (((arms.end - arms.start).conjugate() * arms.out).imag / cross)
        z = self.lines[k]
        own = z[np.arange(arms.first, arms.last + 1) % len(z)]
        missed = float(np.abs(_drawn(own) - meeting).min())
        sharp = 0.75 * blur * math.tan(math.acos((arms.into.conjugate() * arms.out).real) / 2)
        return _DOUBTED[0] * sharp < missed < _DOUBTED[1] * sharp

    def best(self, k: int, arms: _Arms) -> _Laid | None:
        """The end of line k as it is likeliest, or None where none fits so well that it is to be believed."""
        z = self.lines[k]
        window = self._window(k, arms)
        if window.seen.sum() < _LEAST_SEEN:
            return None
        own = z[np.arange(arms.first, arms.last + 1) % len(z)]
        by_bits = None if window.bits is None else self._by_bits(window, own)
        return by_bits or self._likeliest(window, own)

    def _by_bits(self, window: _Window, own: ComplexArray) -> _Laid | None:
        """The end as the bits of a black-and-white picture allow it."""
        arms = window.arms
        strict = replace(window, strict=True)
        point, square = window.fitted(_point, np.zeros(4)), window.fitted(_cut_off, _square(arms))
        flanks = Flanks(arms.start, arms.end, arms.into, arms.out, arms.tip, arms.axis)
        drawn, corners = allowed(flanks, window.denied, point.numbers, square.numbers)
        middle = drawn[1:-1] if corners == 2 else drawn[len(drawn) // 2 : len(drawn) // 2 + 1]
        points = _drawn(drawn)
        best = _Fit(strict.rms(strict.missed(points)), points, tuple(middle.tolist()), point.numbers)
        wide = corners == 2 and abs(middle[1] - middle[0]) > _SEEN
        if not wide and window.denied(drawn[None])[0] < _DENIED:
            return _Laid(arms.first, arms.last, best.points, best.corners)
        rounded = strict.fitted(_rounded, _square(arms))
        if _MUCH_SURER * rounded.missed < best.missed and _width(rounded.points) > _TOLD:
            best = rounded
        return self._believed(best, strict.rms(strict.missed(own)), arms)

    def _likeliest(self, window: _Window, own: ComplexArray) -> _Laid | None:
        """The end seen in a window as it is likeliest; own: the line's points that it would stand for."""
        arms = window.arms
        was = window.rms(window.missed(own))
        best = window.fitted(_point, np.zeros(4))
        if best.missed > max(_FITS, _NOISES * self.noise):
            # From the line's own tip it may have come to rest short of where it belongs.
            best = _nearer(best, window.fitted(_point, np.array([_AHEAD, 0.0, 0.0, 0.0])))
        square = window.fitted(_cut_off, _square(arms))
        if square.missed < best.missed and not _across(square.corners, arms.axis):
            # An end that lies along a flank is a point, which may be looked for from there.
            ahead = max(
                ((c - arms.tip) * arms.axis.conjugate() for c in square.corners), key=lambda at: at.real
            )
            best = _nearer(best, window.fitted(_point, np.array([ahead.real, ahead.imag, 0.0, 0.0])))
        # Its last pixels tell little of an end that runs out between two flanks; a bar's run side by side.
        surer = (1.0 if window.strict else _SURER) if _is_bar(square.corners, arms) else _MUCH_SURER
        if _across(square.corners, arms.axis) and surer * square.missed < best.missed:
            best = square
        # A point cut off or rounded within its last pixel looks like one that is not.
        rounded = window.fitted(_rounded, _square(arms))
        surer = _SURER if len(best.corners) == 2 and not window.strict else _MUCH_SURER
        if surer * rounded.missed < best.missed and _width(rounded.points) > _TOLD:
            best = rounded
        return self._believed(best, was, arms)

    def _believed(self, best: _Fit, was: float, arms: _Arms) -> _Laid | None:
        """The end if it fits and is clearly better than the line was, which missed by `was`."""
        missed = best.missed
        fits = missed < max(_FITS, _NOISES * self.noise) or missed < min(_LIKE, _TELLING * was)
        better = missed**2 - self.noise**2 < _BETTER * max(was**2 - self.noise**2, 0.0)
        if not (fits and better) and len(best.corners) == 1:
            # What compression has left of a fine point is no picture of it; its flanks still meet where they do.
            ahead = ((best.corners[0] - arms.tip) * arms.axis.conjugate()).real
            fits = better = missed < min(_LEFT, _NO_WORSE * was) and ahead > _LOST
        return _Laid(arms.first, arms.last, best.points, best.corners) if fits and better else None

    def _window(self, k: int, arms: _Arms) -> _Window:
        """Pixels about an end, beyond where its arms begin, that no other line runs through."""
        z = self.lines[k]
        n = len(z)
        own, rest = (
            z[np.arange(arms.first, arms.last + 1) % n],
            z[np.arange(arms.last + 1, arms.first + n) % n],
        )
        reach = _CLEAR * self.sigma + 1.0
        around = np.concatenate([own, [arms.start, arms.end, arms.tip + _BEYOND * arms.axis]])
        height, width = self.values.shape[:2]
        left = max(math.floor(around.real.min() - 2 * reach), 0)
        right = min(math.ceil(around.real.max() + 2 * reach), width)
        low = max(math.floor(around.imag.min() - 2 * reach), 0)
        high = min(math.ceil(around.imag.max() + 2 * reach), height)
        corner = complex(left, low)
        values = self.values[height - high : height - low, left:right]
        rows, columns = np.indices(values.shape)
        centre = (columns + 0.5) + 1j * (high - low - rows - 0.5)
        seen = ((centre + corner - arms.middle) * arms.axis.conjugate()).real > 0.5
        # What lies beyond the window would show at its rim.
        seen &= _away(around - corner, centre) < reach
        # A closed line wholly aside of the window goes round none of it.
        size = complex(values.shape[1], values.shape[0])
        others = [
            line - corner
            for j, (line, (one, two)) in enumerate(zip(self.lines, self.boxes, strict=True))
            if j != k and _meets(one - corner, two - corner, size)
        ]
        others.append(rest - corner)
        near = np.concatenate(others)
        near = near[
            (np.abs(near.real - values.shape[1] / 2) < values.shape[1] / 2 + _ASIDE)
            & (np.abs(near.imag - values.shape[0] / 2) < values.shape[0] / 2 + _ASIDE)
        ]
        if len(near):
            seen &= _away(near, centre) > _ASIDE
        ground = winding(others, values.shape, 1)
        share = (values.astype(np.float64) - self.low) / self.contrast
        bits = None if self.bits is None else self.bits[height - high : height - low, left:right]
        return _Window(
            corner, share, seen, ground, complex(rest[-1]), complex(rest[0]), self.sigma, arms, bits
        )


def _box(z: ComplexArray) -> tuple[complex, complex]:
    """Lower left and upper right corner of what points span."""
    return complex(z.real.min(), z.imag.min()), complex(z.real.max(), z.imag.max())


def _meets(one: complex, two: complex, size: complex) -> bool:
    """Whether the box from `one` to `two` comes near the one from 0 to `size`."""
    return (
        one.real < size.real + _ASIDE
        and two.real > -_ASIDE
        and one.imag < size.imag + _ASIDE
        and two.imag > -_ASIDE
    )


def _away(places: ComplexArray, from_: ComplexArray) -> FloatArray:
    """How far each of an array of points is from the nearest of the places."""
    away, _ = cKDTree(to_array(places)).query(to_array(from_.ravel()))
    return np.reshape(away, from_.shape)


def _noise(values: NDArray[np.uint8], level: float, contrast: float, blur: float) -> float:
    """Sigma of the values where no edge is near, on the side of the level they vary more on.

    Edges show in a row for three times their blur (px); in pictures all of whose parts are narrow nearer ones count.
    """
    sample = values[:: max(1, values.shape[0] // 200)].astype(np.float32) - level
    steps = np.abs(np.diff(sample, axis=1))
    for reach in (3.0 * blur, 1.5 * blur, 0.0):
        size = 2 * math.ceil(reach) + 2
        above, below = minimum_filter1d(sample, size, axis=1), maximum_filter1d(sample, size, axis=1)
        sides = (above[:, 1:] > _PLAIN * contrast, below[:, 1:] < -_PLAIN * contrast)
        found = [float(np.quantile(steps[side], 0.68)) for side in sides if side.sum() > _LEAST_PLAIN]
        if found:
            return max(found) / math.sqrt(2)
    return 0.0


@dataclass(frozen=True, slots=True)
class _Window:
    """Pixels about an end: lower left corner, shares covered, which of them count, and what else covers them.

    ground: winding of all other lines round the pixels, and of the rest of this one, from `behind` to `before`.
    bits: which pixels are figure, in a picture of black and white only; strict: whether what they say has to be so.
    """

    corner: complex
    share: FloatArray
    seen: NDArray[np.bool_]
    ground: FloatArray
    before: complex
    behind: complex
    sigma: float
    arms: _Arms
    bits: NDArray[np.bool_] | None = None
    strict: bool = False

    def missed(self, points: ComplexArray) -> FloatArray:
        """Likeness less picture at each pixel that counts, for points from one arm to the other."""
        return np.asarray(self._missed(self._covered([points]), 0.0)[0])

    def _covered(self, each: Sequence[ComplexArray]) -> FloatArray:
        """Share of each pixel that is covered, for each of some lines between the arms; (n, rows, columns)."""
        rings = [np.concatenate([[self.before], points, [self.behind]]) - self.corner for points in each]
        return np.asarray((self.ground + windings(rings, self.share.shape)).clip(0.0, 1.0))

    def _missed(self, covered: FloatArray, blurrier: float) -> FloatArray:
        """Misses (n, m) at pixels covered so, if the place is exp(blurrier) times as blurred as `sigma` says.

        A strict window's own misses follow: by how much each pixel is covered beyond a half, or short of it, that its
        bit denies.
        """
        sigma = self.sigma * math.exp(min(max(blurrier, -_MUCH), _MUCH))
        down, across = (_blur(n, sigma) for n in self.share.shape)
        likeness = down @ covered @ across.T
        missed = np.asarray((likeness - self.share)[:, self.seen])
        if self.bits is None or not self.strict:
            return missed
        return np.concatenate([missed, _STRICT * self._denied(covered)], axis=1)

    def denied(self, ends: ComplexArray) -> FloatArray:
        """Area (px^2) of all that bits deny of each of the ends (n, k)."""
        return np.asarray(self._denied(self._covered(list(ends))).sum(axis=1))

    def _denied(self, covered: FloatArray) -> FloatArray:
        """By how much pixels covered so (n, h, w) go beyond a half, or short of it, that bits deny; (n, m)."""
        assert self.bits is not None
        return np.asarray(np.where(self.bits, 0.5 - covered, covered - 0.5).clip(0.0)[:, self.seen])

    def rms(self, missed: FloatArray) -> float:
        """Root mean square of the misses for each pixel that counts."""
        return math.sqrt(float((missed**2).sum() / self.seen.sum()))

    def fitted(self, shape: _Shape, p: FloatArray) -> _Fit:
        """Least root mean square miss, from parameters p on, and the shape that has it."""
        p = np.append(p, 0.0)
        if self.strict:
            # Denied pixels have no slope where there are none: the likeness leads there.
            p, _ = replace(self, strict=False)._descended(shape, p)
        p, missed = self._descended(shape, p)
        return _Fit(self.rms(missed), *shape(self.arms, p[:-1]), p[:-1])

    def _descended(self, shape: _Shape, p: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Parameters of least squares from p on, and their misses (Levenberg, Marquardt)."""
        covered, missed = self._tried(shape, p)
        held = 1e-3
        for _ in range(_ROUNDS):
            slopes = self._slopes(shape, p, covered, missed)
            left, right = slopes @ slopes.T, slopes @ missed
            for _ in range(4):
                step = np.linalg.solve(left + held * np.diag(np.diag(left) + 1e-6), -right).clip(
                    -_STRIDE, _STRIDE
                )
                then, after = self._tried(shape, p + step)
                if (after**2).sum() <= (missed**2).sum():
                    break
                held *= 30.0
            else:
                break
            p, covered, missed, held = p + step, then, after, max(held / 10.0, 1e-3)
            if np.abs(step).max() < _SETTLED:
                break
        return p, missed[:-2] if shape is _point else missed

    def _tried(self, shape: _Shape, p: FloatArray) -> tuple[FloatArray, FloatArray]:
        """What parameters p cover (1, rows, columns), and their misses (m,)."""
        covered = self._covered([shape(self.arms, p[:-1])[0]])
        return covered, self._stiff(shape, self._missed(covered, float(p[-1])), p[None])[0]

    def _slopes(self, shape: _Shape, p: FloatArray, covered: FloatArray, missed: FloatArray) -> FloatArray:
        """How fast the misses (m,) at p, where pixels are covered so, grow with each of the parameters; (n, m)."""
        nudged = p + _NUDGE * np.eye(len(p))
        moved = self._missed(self._covered([shape(self.arms, q[:-1])[0] for q in nudged[:-1]]), float(p[-1]))
        blurred = self._missed(covered, float(nudged[-1, -1]))
        then = self._stiff(shape, np.concatenate([moved, blurred]), nudged)
        return np.asarray((then - missed) / _NUDGE)

    @staticmethod
    def _stiff(shape: _Shape, missed: FloatArray, p: FloatArray) -> FloatArray:
        """Misses (n, m) and, behind those of a point, how far its flanks are bent; p: its parameters (n, k)."""
        return np.concatenate([missed, _STIFF * p[:, 2:4]], axis=1) if shape is _point else missed


@lru_cache(maxsize=256)
def _blur(size: int, sigma: float) -> FloatArray:
    """Weights (size, size) of a Gaussian over a row of pixels, which goes on beyond its ends as they are."""
    weights = gaussian(sigma)
    reach = len(weights) // 2
    # A row too many in each line shifts the weights by one from line to line.
    wide = np.zeros((size, size + 2 * reach + 1))
    wide[:, : 2 * reach + 1] = weights
    wide = wide.ravel()[: size * (size + 2 * reach)].reshape(size, size + 2 * reach)
    inner = wide[:, reach : reach + size]
    inner[:, 0] += wide[:, :reach].sum(axis=1)
    inner[:, -1] += wide[:, reach + size :].sum(axis=1)
    return inner


@lru_cache(maxsize=1024)
def _even(count: int) -> tuple[FloatArray, FloatArray]:
    """So many even shares from 0 to 1, and the same of what is left."""
    t = np.linspace(0.0, 1.0, count)
    return t, 1 - t


def _spliced(z: ComplexArray, ends: list[_Laid]) -> ComplexArray:
    """The closed line with each end in place of the points it stands for."""
    n = len(z)
    keep = np.ones(n, dtype=bool)
    for end in ends:
        keep[np.arange(end.first, end.last + 1) % n] = False
    begin = int(np.flatnonzero(keep)[0])
    parts, last = [], begin
    for end in sorted(ends, key=lambda e: (e.first - begin) % n):
        first = begin + (end.first - begin) % n
        parts += [z[np.arange(last, first) % n], end.points]
        last = first + end.last - end.first + 1
    parts.append(z[np.arange(last, begin + n) % n])
    return np.concatenate(parts)
