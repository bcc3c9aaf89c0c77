"""A smooth chain of cubics through a run of samples, all of them fitted together.

Every joint has one place and one velocity, shared by the two cubics that meet there; given where along
the chain each sample lies, both follow from one linear least-squares problem. Sample places and chain
improve each other in turn.
"""

from __future__ import annotations

import itertools
from collections.abc import Generator, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any, TypeAlias

import numpy as np
from numpy.typing import NDArray

from cutout.geom.curve import ComplexArray, Cubic, FloatArray

IntArray = NDArray[np.int64]

_TOGETHER = 12
"""At most this many cubics are fitted in one problem; its cost grows with the square."""

_ROUNDS = 3  # of fitting; by trial: later ones move no sample
_PULL = 0.3  # towards its place by length, where samples alone would leave a free joint adrift. By trial
_LEAST_SPEED = 0.1
"""Least speed, as a share of the samples' own, of a curve where it is tied to a way: below 0 it would turn back."""
_ASIDE = 0.2
"""Weight of a miss along the curve: samples may slide along it, but not freely."""


@dataclass(frozen=True, slots=True)
class Joint:
    """Where two curves meet, and the direction they share there (0 where they need not share one)."""

    at: complex
    along: complex = 0j


@dataclass(frozen=True, slots=True)
class Chain:
    """A chain of cubics to be fitted through samples z, and its tolerance (px).

    knots: numbers of the samples that cubics meet at, first and last included; more are added where a cubic misses a
    sample by over the tolerance. start, end: where the chain is tied down; both None closes it on itself
    (z[0] == z[-1]).
    """

    z: ComplexArray
    knots: tuple[int, ...]
    start: Joint | None
    end: Joint | None
    tol: float

    @property
    def closed(self) -> bool:
        """Whether it ends where it starts."""
        return self.start is None or self.end is None


def fit_chains(chains: Sequence[Chain]) -> list[list[Cubic]]:
    """The cubics of each chain. What all chains ask for next is solved together."""
    done: list[list[Cubic]] = [[] for _ in chains]
    asked = {k: (fitting, next(fitting)) for k, fitting in enumerate(map(_fitting, chains))}
    while asked:
        found = _solve([problem for _, problem in asked.values()])
        for (k, (fitting, _)), solution in zip(list(asked.items()), found, strict=True):
            try:
                asked[k] = (fitting, fitting.send(solution))
            except StopIteration as stopped:
                done[k] = stopped.value
                del asked[k]
    return done


_Fitting: TypeAlias = Generator[Chain, "_Solution", list[Cubic]]
"""Chains to be solved as they are, one after the other, solutions sent back, and the cubics at last."""


def _fitting(chain: Chain) -> _Fitting:
    """Knots are added where a cubic misses a sample by more than the tolerance."""
    knots = list(chain.knots)
    if len(knots) - 1 > _TOGETHER:
        return (yield from _halves(chain, knots))
    for _ in range(8):
        found = yield replace(chain, knots=tuple(knots))
        worst, where = found.worst, found.where
        extra = [k for k in range(len(worst)) if worst[k] > chain.tol and knots[k + 1] - knots[k] >= 8]
        if not extra:
            break
        added = [_between(knots[k], knots[k + 1], where[k]) for k in extra]
        knots = sorted({*knots, *added})
        if len(knots) - 1 > 2 * _TOGETHER:
            return (yield from _halves(chain, knots))
    return found.cubics


def local_joint(z: ComplexArray, k: int, closed: bool = False) -> Joint:
    """Place and direction at sample k, by a local cubic over up to 8 px each way."""
    n = len(z)
    reach = 16 if closed else min(16, k, n - 1 - k)
    t = np.arange(-reach, reach + 1)
    points = z[(k + t) % (n - 1)] if closed else z[k + t]
    degree = 3 if reach >= 6 else 2 if reach >= 2 else min(1, reach)
    if degree == 0:
        return Joint(complex(z[k]))
    place, along = (_local(reach, degree) @ points).tolist()
    return Joint(place, along / max(abs(along), 1e-12))


@lru_cache(maxsize=64)
def _local(reach: int, degree: int) -> FloatArray:
    """Weights (2, 2 reach + 1) of samples about one for the place and way there of a least-squares polynomial."""
    t = np.arange(-reach, reach + 1) / reach
    return np.asarray(np.linalg.pinv(np.vander(t, degree + 1, increasing=True))[:2])


def _halves(chain: Chain, knots: list[int]) -> _Fitting:
    half, start, end = len(knots) // 2, chain.start, chain.end
    at = knots[half]
    middle = local_joint(chain.z, at)
    if start is None or end is None:
        start = end = local_joint(chain.z, 0, closed=True)
    rest = tuple(k - at for k in knots[half:])
    first = yield from _fitting(Chain(chain.z[: at + 1], tuple(knots[: half + 1]), start, middle, chain.tol))
    second = yield from _fitting(Chain(chain.z[at:], rest, middle, end, chain.tol))
    return first + second


def _between(first: int, last: int, where: int) -> int:
    """A new knot where the miss is worst, but in the middle half of its piece."""
    quarter = max(3, (last - first) // 4)
    return min(max(where, first + quarter), last - quarter)


@dataclass(frozen=True, slots=True)
class _Solution:
    """A chain's cubics, and of each of them the worst miss (px) and the sample it happens at."""

    cubics: list[Cubic]
    worst: list[float]
    where: list[int]


def _solve(chains: Sequence[Chain]) -> list[_Solution]:
    """Each chain fitted with the knots it has."""
    pieces = _Pieces.of(chains)
    systems = [_System.of(chains, which) for which in _alike(chains)]
    t, across = pieces.shares(), pieces.normals()
    for _ in range(_ROUNDS):
        sums = pieces.sums(t, across)
        ends: ComplexArray = np.empty((len(pieces.start), 2, 2), dtype=np.complex128)
        for system in systems:
            ends[system.piece] = system.solved(*(part[system.piece] for part in sums))
        handles = ends[:, :, 1] * pieces.length[:, None] / 3
        at = ends[:, :, 0]
        cubics = np.stack([at[:, 0], at[:, 0] + handles[:, 0], at[:, 1] - handles[:, 1], at[:, 1]], axis=1)
        t, miss, across = pieces.nearest(cubics, t)
    worst = np.maximum.reduceat(miss, pieces.start)
    hits = np.flatnonzero(miss == pieces.spread(worst))
    where = hits[np.searchsorted(hits, pieces.start)] - pieces.start
    drawn = [Cubic(*points) for points in (cubics + pieces.origin[:, None]).tolist()]
    out, first = [], 0
    for chain in chains:
        part = slice(first, first + len(chain.knots) - 1)
        places = [k + i for k, i in zip(chain.knots, where[part].tolist(), strict=False)]
        out.append(_Solution(drawn[part], worst[part].tolist(), places))
        first = part.stop
    return out


def _alike(chains: Sequence[Chain]) -> list[list[int]]:
    """Numbers of the chains of as many cubics each, closed ones and others apart."""
    groups: dict[tuple[int, bool], list[int]] = {}
    for k, chain in enumerate(chains):
        groups.setdefault((len(chain.knots), chain.closed), []).append(k)
    return list(groups.values())


@dataclass(frozen=True, slots=True)
class _Pieces:
    """Samples of all cubics of all chains, one cubic after the other, as seen from each chain's first sample.

    start, size: first sample and number of samples of each cubic; length: of its samples (px); origin: of its chain.
    """

    z: ComplexArray
    start: IntArray
    size: IntArray
    length: FloatArray
    origin: ComplexArray

    @classmethod
    def of(cls, chains: Sequence[Chain]) -> _Pieces:
        """The same of the chains' own samples; neighbours share the one they meet at."""
        parts = [c.z[a : b + 1] - c.z[0] for c in chains for a, b in itertools.pairwise(c.knots)]
        size = np.array([len(part) for part in parts])
        start = np.cumsum(size) - size
        z = np.concatenate(parts)
        steps = np.abs(np.diff(z, prepend=z[0]))
        steps[start] = 0.0
        origin = np.repeat([c.z[0] for c in chains], [len(c.knots) - 1 for c in chains])
        return cls(z, start, size, np.add.reduceat(steps, start), origin)

    def spread(self, values: NDArray[Any]) -> NDArray[Any]:
        """A value of each cubic for each of its samples."""
        return np.repeat(values, self.size, axis=0)

    def shares(self) -> FloatArray:
        """How far along its cubic each sample lies, 0..1."""
        steps = np.abs(np.diff(self.z, prepend=self.z[0]))
        steps[self.start] = 0.0
        s = np.cumsum(steps)
        return np.asarray((s - self.spread(s[self.start])) / self.spread(np.maximum(self.length, 1e-12)))

    def normals(self) -> ComplexArray:
        """Unit ways across the samples."""
        number = np.arange(len(self.z))
        first = self.spread(self.start)
        before = np.maximum(number - 1, first)
        after = np.minimum(number + 1, first + self.spread(self.size) - 1)
        along = self.z[after] - self.z[before]
        return np.asarray(1j * along / np.maximum(np.abs(along), 1e-12))

    def sums(self, t: FloatArray, across: ComplexArray) -> tuple[FloatArray, FloatArray]:
        """Least squares of the misses of each cubic: matrix (n, 8, 8) and right side (n, 8).

        Unknown: x, y of start place, start velocity, end place, end velocity. A miss across the curve counts in
        full, one along it _ASIDE.
        """
        basis = _hermite(t, self.spread(self.length))
        nx, ny = across.real, across.imag
        # Squared misses of d: (d . n)^2 + _ASIDE^2 (|d|^2 - (d . n)^2).
        xx, xy, yy = ((1 - _ASIDE**2) * part for part in (nx * nx, nx * ny, ny * ny))
        weights = ((0, 0, xx + _ASIDE**2), (0, 1, xy), (1, 1, yy + _ASIDE**2))
        left = np.empty((len(self.start), 4, 2, 4, 2))
        right = np.empty((len(self.start), 4, 2))
        x, y = self.z.real, self.z.imag
        aims = (weights[0][2] * x + xy * y, xy * x + weights[2][2] * y)
        for i in range(4):
            for a, aim in enumerate(aims):
                right[:, i, a] = np.add.reduceat(basis[i] * aim, self.start)
            for j in range(i, 4):
                both = basis[i] * basis[j]
                for a, b, weight in weights:
                    total = np.add.reduceat(both * weight, self.start)
                    left[:, i, a, j, b] = left[:, i, b, j, a] = total
                    left[:, j, a, i, b] = left[:, j, b, i, a] = total
        return left.reshape(-1, 8, 8), right.reshape(-1, 8)

    def nearest(self, cubics: ComplexArray, t: FloatArray) -> tuple[FloatArray, FloatArray, ComplexArray]:
        """Parameters moved one Newton step nearer to the samples, the misses there and the unit normals."""
        at, first, second = self._bezier(cubics, t)
        left = at - self.z
        speed = first.real**2 + first.imag**2
        bottom = speed + (left * second.conj()).real
        t = t - (left * first.conj()).real / np.maximum(bottom, 0.3 * speed + 1e-9)
        # A cubic's parameters lie above all of the ones before it, so that one pass keeps each in order.
        above = self.spread(2.0 * np.arange(len(self.start)))
        t = np.maximum.accumulate(np.clip(t, 0.0, 1.0) + above) - above
        at, first, _ = self._bezier(cubics, t)
        across = 1j * first / np.maximum(np.abs(first), 1e-9)
        return t, np.abs(((at - self.z) * across.conj()).real), across

    def _bezier(self, p: ComplexArray, t: FloatArray) -> tuple[ComplexArray, ComplexArray, ComplexArray]:
        """Points, first and second derivatives of the cubics (n, 4) at their samples' t."""
        d = np.diff(p) * 3
        dd = np.diff(d) * 2
        # Powers of t, the lowest first.
        c0, c1, c2 = p[:, 0], d[:, 0], dd[:, 0] / 2
        c3 = (dd[:, 1] - dd[:, 0]) / 6
        a, b, c, e = (self.spread(part) for part in (c0, c1, c2, c3))
        return a + t * (b + t * (c + t * e)), b + t * (2 * c + t * (3 * e)), 2 * c + t * (6 * e)


@dataclass(frozen=True, slots=True)
class _System:
    """Linear systems of chains of as many cubics each: every joint has a place and a velocity, x and y of each.

    piece: numbers of their cubics (chains, cubics). turn: (chains, 2, 2, 2), ways that the first and the last joint's
    velocities are told in, the first one along what ties them down. tied: which unknowns are known, by the ways;
    value: what they are; pull, aim: weight and value that the others are drawn to.
    """

    piece: IntArray
    closed: bool
    turn: FloatArray
    tied: NDArray[np.bool_]
    value: FloatArray
    pull: FloatArray
    aim: FloatArray

    @classmethod
    def of(cls, all_chains: Sequence[Chain], which: list[int]) -> _System:
        """The same of some of the chains, all of as many cubics and closed or not."""
        counts = np.array([len(c.knots) - 1 for c in all_chains])
        firsts = (np.cumsum(counts) - counts)[which]
        chains = [all_chains[k] for k in which]
        cubics, closed = int(counts[which[0]]), chains[0].closed
        joints = cubics if closed else cubics + 1
        aim = np.array([[_drawn_to(c, k) for k in c.knots[:joints]] for c in chains])
        shape = (len(chains), joints, 2, 2)
        aim = np.stack([aim.real, aim.imag], axis=3)
        pull, tied, value = np.full(shape, _PULL), np.zeros(shape, dtype=bool), np.zeros(shape)
        turn = np.broadcast_to(np.eye(2), (len(chains), 2, 2, 2)).copy()
        if closed:
            # The first joint is the last one, too, and drawn to its place as both.
            pull[:, 0] *= 2.0
        else:
            for n, chain in enumerate(chains):
                for side, joint in enumerate((chain.start, chain.end)):
                    assert joint is not None
                    at = joint.at - complex(chain.z[0])
                    tied[n, -side, 0] = True
                    value[n, -side, 0] = at.real, at.imag
                    if joint.along:
                        way = joint.along
                        turn[n, side] = (way.real, way.imag), (-way.imag, way.real)
                        tied[n, -side, 1, 1] = True
        size = (len(chains), 4 * joints)
        for side in (0, -1) if not closed else ():
            aim[:, side, 1] = np.einsum("nab,nb->na", turn[:, side], aim[:, side, 1])
        return cls(
            firsts[:, None] + np.arange(cubics),
            closed,
            turn,
            tied.reshape(size),
            value.reshape(size),
            pull.reshape(size),
            aim.reshape(size),
        )

    def solved(self, left: FloatArray, right: FloatArray) -> ComplexArray:
        """Places and velocities of both ends of each cubic (chains, cubics, 2, 2), from the cubics' own sums."""
        many, size = self.aim.shape
        whole, side = np.zeros((many, size, size)), np.zeros((many, size))
        places = [(4 * k + np.arange(8)) % size for k in range(self.piece.shape[1])]
        for k, at in enumerate(places):
            # A single closed cubic meets itself: its places come twice.
            for i, row in enumerate(at.tolist()):
                for j, column in enumerate(at.tolist()):
                    whole[:, row, column] += left[:, k, i, j]
                side[:, row] += right[:, k, i]
        self._turned(whole, side)
        free = ~self.tied
        number = np.arange(size)
        whole[:, number, number] += np.where(free, self.pull, 0.0)
        side += np.where(free, self.pull * self.aim, 0.0)
        side -= np.einsum("nab,nb->na", whole, self.value)
        x = self._least(whole, side, free) + self.value
        back = self._backward(x)
        some = back.any(axis=1)
        if some.any():
            # With a single bound broken the best that keeps it lies on it.
            value = np.where(back, _LEAST_SPEED, 0.0)[some]
            left = side[some] - np.einsum("nab,nb->na", whole[some], value)
            x[some] = self._least(whole[some], left, (free & ~back)[some]) + self.value[some] + value
        if not self.closed:
            for end in (0, 1):
                part = slice(2, 4) if end == 0 else slice(size - 2, size)
                x[:, part] = np.einsum("nba,nb->na", self.turn[:, end], x[:, part])
        parts = x.reshape(many, -1, 2, 2)
        joints = parts[..., 0] + 1j * parts[..., 1]
        after = np.roll(joints, -1, axis=1) if self.closed else joints[:, 1:]
        return np.stack([joints[:, : self.piece.shape[1]], after], axis=2)

    @staticmethod
    def _least(whole: FloatArray, side: FloatArray, free: NDArray[np.bool_]) -> FloatArray:
        """Solutions of systems in what is free; 0 elsewhere."""
        number = np.arange(side.shape[1])
        left = np.where(free[:, :, None] & free[:, None, :], whole, 0.0)
        left[:, number, number] += ~free
        return np.asarray(np.linalg.solve(left, np.where(free, side, 0.0)[:, :, None])[:, :, 0])

    def _backward(self, x: FloatArray) -> NDArray[np.bool_]:
        """Which unknowns x are speeds, along ways that ends are tied to, at which curves would turn back there."""
        back = np.zeros(x.shape, dtype=bool)
        if not self.closed:
            for along, aside in ((2, 3), (-2, -1)):
                back[:, along] = self.tied[:, aside] & (x[:, along] < _LEAST_SPEED)
        return back

    def _turned(self, whole: FloatArray, side: FloatArray) -> None:
        """The systems with the ends' velocities told along and across what ties them down."""
        if self.closed:
            return
        size = side.shape[1]
        for end in (0, 1):
            part = slice(2, 4) if end == 0 else slice(size - 2, size)
            turn = self.turn[:, end]
            whole[:, part] = turn @ whole[:, part]
            whole[:, :, part] = whole[:, :, part] @ turn.swapaxes(1, 2)
            side[:, part] = np.einsum("nab,nb->na", turn, side[:, part])


def _drawn_to(chain: Chain, k: int) -> tuple[complex, complex]:
    """Place of sample k as seen from the chain's first, and the unit direction of the samples about it."""
    z = chain.z
    n = len(z) - 1
    ahead, behind = ((k + 3) % n, (k - 3) % n) if chain.closed else (min(k + 3, n), max(k - 3, 0))
    d = complex(z[ahead] - z[behind])
    return complex(z[k] - z[0]), d / max(abs(d), 1e-12)


def _hermite(t: FloatArray, length: FloatArray) -> list[FloatArray]:
    """Weights of start place, start velocity, end place, end velocity (per unit of arc length)."""
    u = 1 - t
    return [u * u * (1 + 2 * t), length * t * u * u, t * t * (1 + 2 * u), -length * t * t * u]
