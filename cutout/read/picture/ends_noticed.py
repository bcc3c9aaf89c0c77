"""Where narrow parts end, as an iso-line shows it, and the flanks that lead up to such a place."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from cutout.geom.curve import ComplexArray, FloatArray, stations

_SHORT = 4.0
"""A closed line of fewer such halves is too short to tell its ends apart."""

_FLANK = 6.0
"""Length (px) of line to both sides of where the arms begin that gives their place and way."""

_SHARE, _SHARED = 0.6, 0.5
"""The same as a share of the arm, at most; and what share of the line to the next such place an arm may be long."""

_STRAY = 0.25
"""Root mean square (px) by which a longer stretch of line may stray from a parabola, as steps of a pixel make it."""

_SHORTEST = 5.0
"""Arms shorter than this (px) tell nothing."""


def narrow_places(
    lines: list[ComplexArray], halves: Sequence[float], most: float
) -> Iterator[tuple[int, int]]:
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


def at_rim(at: complex, shape: tuple[int, ...]) -> bool:
    """Whether a place lies on the rim of a picture of a shape, or within a pixel of it."""
    return min(at.real, shape[1] - at.real, at.imag, shape[0] - at.imag) < 1.0


def rooms_of(lines: list[ComplexArray], places: list[tuple[int, int]]) -> list[float]:
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
class Arms:
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


def arms_of(z: ComplexArray, i: int, arm: float, farther: Sequence[float] = ()) -> Arms | None:
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
    return Arms(first + i - middle, last + i - middle, start, end, into, out, complex(turned[middle]))


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
