"""A smooth chain of cubics through a run of samples, all of them fitted together.

Every joint has one place and one velocity, shared by the two cubics that meet there; given where along
the chain each sample lies, both follow from one linear least-squares problem. Sample places and chain
improve each other in turn.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.linalg import cho_factor, cho_solve

from cutout.geom.curve import ComplexArray, Cubic, FloatArray, run_length, stations

_TOGETHER = 12
"""At most this many cubics are fitted in one problem; its cost grows with the square."""

_ROUNDS = 3  # of fitting; by trial: later ones move no sample
_PULL = 0.3  # towards its place by length, where samples alone would leave a free joint adrift. By trial
_ASIDE = 0.2
"""Weight of a miss along the curve: samples may slide along it, but not freely."""


@dataclass(frozen=True, slots=True)
class Joint:
    """Where two curves meet, and the direction they share there (0 where they need not share one)."""

    at: complex
    along: complex = 0j


@dataclass(frozen=True, slots=True)
class Chain:
    """A chain of cubics to be fitted: samples, knots among them, what ties it down, and tolerance (px)."""

    z: ComplexArray
    knots: tuple[int, ...]
    start: Joint | None
    end: Joint | None
    tol: float


def fit_chains(chains: Sequence[Chain]) -> list[list[Cubic]]:
    """The cubics of each chain; see `fit_chain`."""
    return [fit_chain(c.z, c.knots, c.start, c.end, c.tol) for c in chains]


def fit_chain(
    z: ComplexArray, knots: Sequence[int], start: Joint | None, end: Joint | None, tol: float
) -> list[Cubic]:
    """Cubics through samples z, meeting at the samples numbered `knots` (first and last included).

    start, end: where the chain is tied down; both None closes it on itself (z[0] == z[-1]). Knots are
    added where a cubic misses a sample by over tol.
    """
    knots = list(knots)
    if len(knots) - 1 > _TOGETHER:
        half = len(knots) // 2
        return _halves(z, knots, half, start, end, tol)
    for _ in range(8):
        cubics, worst, where = _solve(z, knots, start, end)
        extra = [k for k in range(len(cubics)) if worst[k] > tol and knots[k + 1] - knots[k] >= 8]
        if not extra:
            break
        added = [_between(knots[k], knots[k + 1], where[k]) for k in extra]
        knots = sorted({*knots, *added})
        if len(knots) - 1 > 2 * _TOGETHER:
            return _halves(z, knots, len(knots) // 2, start, end, tol)
    return cubics


def local_joint(z: ComplexArray, k: int, closed: bool = False) -> Joint:
    """Place and direction at sample k, by a local cubic over up to 8 px each way."""
    n = len(z)
    reach = 16 if closed else min(16, k, n - 1 - k)
    t = np.arange(-reach, reach + 1)
    points = z[(k + t) % (n - 1)] if closed else z[k + t]
    degree = 3 if reach >= 6 else 2 if reach >= 2 else min(1, reach)
    if degree == 0:
        return Joint(complex(z[k]))
    c = np.linalg.lstsq(np.vander(t / reach, degree + 1, increasing=True), points, rcond=None)[0]
    return Joint(complex(c[0]), complex(c[1] / max(abs(c[1]), 1e-12)))


def _halves(
    z: ComplexArray, knots: list[int], half: int, start: Joint | None, end: Joint | None, tol: float
) -> list[Cubic]:
    middle = local_joint(z, knots[half])
    if start is None or end is None:
        start = end = local_joint(z, 0, closed=True)
    first = fit_chain(z[: knots[half] + 1], knots[: half + 1], start, middle, tol)
    rest = [k - knots[half] for k in knots[half:]]
    return first + fit_chain(z[knots[half] :], rest, middle, end, tol)


def _between(first: int, last: int, where: int) -> int:
    """A new knot where the miss is worst, but in the middle half of its piece."""
    quarter = max(3, (last - first) // 4)
    return min(max(where, first + quarter), last - quarter)


def _solve(
    z: ComplexArray, knots: list[int], start: Joint | None, end: Joint | None
) -> tuple[list[Cubic], list[float], list[int]]:
    """The chain, and of each cubic the worst miss (px) and the sample it happens at."""
    pieces = [z[a : b + 1] for a, b in itertools.pairwise(knots)]
    lengths = [run_length(p) for p in pieces]
    places = [stations(p) / max(s, 1e-12) for p, s in zip(pieces, lengths, strict=True)]
    columns = _Columns(z, knots, start, end)
    normals = [_across(p) for p in pieces]
    cubics: list[Cubic] = []
    worst: list[float] = []
    where: list[int] = []
    for _ in range(_ROUNDS):
        ends = columns.solve(pieces, places, lengths, normals)
        cubics, worst, where = [], [], []
        for k, (p, length) in enumerate(zip(pieces, lengths, strict=True)):
            (p0, v0), (p1, v1) = ends[k], ends[k + 1]
            cubic = Cubic(p0, p0 + v0 * length / 3, p1 - v1 * length / 3, p1)
            places[k], miss, normals[k] = _nearest(cubic, p, places[k])
            at = int(np.argmax(miss))
            cubics.append(cubic)
            worst.append(float(miss[at]))
            where.append(knots[k] + at)
    return cubics, worst, where


class _Columns:
    """The unknowns of a chain: real numbers, each moving the joints along a fixed complex way."""

    def __init__(self, z: ComplexArray, knots: list[int], start: Joint | None, end: Joint | None) -> None:
        pieces = len(knots) - 1
        closed = start is None or end is None
        self.joints: list[list[tuple[int, int, complex]]] = []
        self.fixed: list[complex] = []
        count = 0
        for k in range(pieces + 1):
            tied = (start if k == 0 else end if k == pieces else None) if not closed else None
            if closed and k == pieces:
                self.joints.append(self.joints[0])
                self.fixed.append(self.fixed[0])
                continue
            ways: list[tuple[int, complex]] = [] if tied else [(0, 1 + 0j), (0, 1j)]
            ways += [(1, tied.along)] if tied and tied.along else [(1, 1 + 0j), (1, 1j)]
            self.joints.append([(count + i, part, way) for i, (part, way) in enumerate(ways)])
            self.fixed.append(tied.at if tied else 0j)
            count += len(ways)
        self.count = count
        self.places = [complex(z[k]) for k in knots]
        self.speeds = [_heading(z, k, closed) for k in knots]

    def solve(
        self,
        pieces: list[ComplexArray],
        places: list[FloatArray],
        lengths: list[float],
        normals: list[ComplexArray],
    ) -> list[tuple[complex, complex]]:
        """Place and velocity of every joint, least misses across the samples' directions."""
        left = np.zeros((self.count, self.count))
        right = np.zeros(self.count)
        # A weak pull of every joint to its sample and of its speed to one keeps short pieces tame.
        for joint, place, speed in zip(self.joints, self.places, self.speeds, strict=True):
            for i, part, way in joint:
                left[i, i] += _PULL
                right[i] += _PULL * ((speed if part else place) * way.conjugate()).real
        for k, (p, t, length, across) in enumerate(zip(pieces, places, lengths, normals, strict=True)):
            basis = _hermite(t, length)
            target = p - basis[0] * self.fixed[k] - basis[2] * self.fixed[k + 1]
            terms = [(i, basis[part] * way) for i, part, way in self.joints[k]]
            terms += [(i, basis[2 + part] * way) for i, part, way in self.joints[k + 1]]
            index = [i for i, _ in terms]
            turned = np.stack([c * across.conj() for _, c in terms], axis=1)
            aim = target * across.conj()
            # After the turn the real part is the miss across the curve, the imaginary part along it.
            a = np.concatenate([turned.real, _ASIDE * turned.imag])
            b = np.concatenate([aim.real, _ASIDE * aim.imag])
            np.add.at(left, np.ix_(index, index), a.T @ a)
            np.add.at(right, index, a.T @ b)
        x = cho_solve(cho_factor(left), right)
        out = []
        for fixed, ways in zip(self.fixed, self.joints, strict=True):
            place = fixed + sum((way * x[i] for i, part, way in ways if part == 0), 0j)
            out.append((complex(place), complex(sum((way * x[i] for i, part, way in ways if part == 1), 0j))))
        return out


def _heading(z: ComplexArray, k: int, closed: bool) -> complex:
    """Unit direction of the samples about number k."""
    n = len(z) - 1
    ahead, behind = ((k + 3) % n, (k - 3) % n) if closed else (min(k + 3, n), max(k - 3, 0))
    d = complex(z[ahead] - z[behind])
    return d / max(abs(d), 1e-12)


def _hermite(t: FloatArray, length: float) -> list[FloatArray]:
    """Weights of start place, start velocity, end place, end velocity (per unit of arc length)."""
    u = 1 - t
    return [u * u * (1 + 2 * t), length * t * u * u, t * t * (1 + 2 * u), -length * t * t * u]


def _across(z: ComplexArray) -> ComplexArray:
    along = np.gradient(z) if len(z) > 2 else np.full(len(z), z[-1] - z[0])
    return 1j * along / np.maximum(np.abs(along), 1e-12)


def _nearest(cubic: Cubic, z: ComplexArray, t: FloatArray) -> tuple[FloatArray, FloatArray, ComplexArray]:
    """Parameters moved one Newton step nearer to the samples, the misses there and the unit normals."""
    p = np.array([cubic.start, cubic.c1, cubic.c2, cubic.end])
    at, first, second = _bezier(p, t)
    left = at - z
    bottom = np.abs(first) ** 2 + (left * second.conj()).real
    t = t - (left * first.conj()).real / np.maximum(bottom, 0.3 * np.abs(first) ** 2 + 1e-9)
    t = np.maximum.accumulate(np.clip(t, 0.0, 1.0))
    at, first, _ = _bezier(p, t)
    across = 1j * first / np.maximum(np.abs(first), 1e-9)
    return t, np.abs(((at - z) * across.conj()).real), across


def _bezier(p: ComplexArray, t: FloatArray) -> tuple[ComplexArray, ComplexArray, ComplexArray]:
    """Points, first and second derivatives of a cubic at t."""
    u = 1 - t
    at = u**3 * p[0] + 3 * u**2 * t * p[1] + 3 * u * t**2 * p[2] + t**3 * p[3]
    d = np.diff(p) * 3
    dd = np.diff(d) * 2
    return at, u**2 * d[0] + 2 * u * t * d[1] + t**2 * d[2], u * dd[0] + t * dd[1]
