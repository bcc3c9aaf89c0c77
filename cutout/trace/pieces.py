"""Cutting a run of samples into as few lines, circular runs and cubics as its noise allows.

Every candidate piece is judged on the same small number of samples, so thousands of them are fitted in
one go; a shortest path over the possible joints then picks the cheapest chain.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from cutout.geom.curve import ComplexArray, FloatArray

IntArray = NDArray[np.int64]
Kind = Literal["line", "arc", "cubic"]
KINDS: tuple[Kind, ...] = ("line", "arc", "cubic")

_SAMPLES = 24
"""Points of a piece on which its fit is judged: three for each co-ordinate of a cubic."""
_SHARES: FloatArray = np.linspace(0.0, 1.0, _SAMPLES)
_CHUNK = 20_000
"""Pieces judged at once, which bounds the memory it takes."""
_ABSURD = 1e12
"""Stands for a cost without bound, where the difference of two such is asked."""
_PRICE: FloatArray = np.array([9.0, 15.0, 20.0])
"""What one more piece of each kind costs, in units of squared noise; about ln(n) for each free number."""


@dataclass(frozen=True, slots=True)
class Piece:
    """Samples first..last of a run stand for one curve of this kind."""

    first: int
    last: int
    kind: Kind


def cut(z: ComplexArray, tol: float, noise: float, step: float) -> list[Piece]:
    """The cheapest chain of pieces over the whole open run z.

    tol: no sample further off its piece (px); noise: sigma of the samples across the run (px); step:
    distance between samples (px).
    """
    whole = _costs(z, np.array([0]), np.array([len(z) - 1]), tol, noise, step)[0]
    if np.isfinite(whole[:2]).any() or len(z) < 8 or whole.min() <= 2 * _PRICE.min():
        kind = int(np.argmin(whole)) if np.isfinite(whole).any() else 0
        return [Piece(0, len(z) - 1, KINDS[kind])]
    joints = _joints(len(z), step)
    pieces = _cheapest(z, joints, tol, noise, step)
    for _ in range(4):
        count = len(pieces)
        pieces = _merged(z, pieces, tol, noise, step)
        pieces = _slid(z, pieces, int(joints[1] - joints[0]), tol, noise, step)
        pieces = _without_some(z, pieces, tol, noise, step)
        if len(pieces) == count:
            break
    if whole.min() <= _costs_of(z, pieces, tol, noise, step).sum():
        return [Piece(0, len(z) - 1, "cubic")]
    return pieces


def _joints(n: int, step: float) -> IntArray:
    """Possible joints: every 2 px on short runs, up to every 6 px on long ones; both ends among them."""
    spacing = min(max(n * step / 80, 2.0), 6.0) / step
    return np.round(np.linspace(0, n - 1, max(2, round(n / spacing) + 1))).astype(np.int64)


def _spans(m: int) -> tuple[IntArray, IntArray]:
    """Pairs of joints a piece may lie between: all short ones, longer ones on ever coarser grids."""
    first, last = [], []
    size, least, most = 1, 1, 16
    while True:
        at = np.arange(0, m, size)
        for length in range(least, most + 1):
            a = at[at + length * size < m]
            first.append(a)
            last.append(a + length * size)
            # A piece may also start or end at the run's own ends, wherever the coarse grid lies.
            tail = m - 1 - length * size
            if size > 1 and tail >= 0 and tail % size:
                first.append(np.array([tail]))
                last.append(np.array([m - 1]))
        if most * size >= m:
            break
        size, least = size * 2, 9
    return np.concatenate(first), np.concatenate(last)


def _cheapest(z: ComplexArray, joints: IntArray, tol: float, noise: float, step: float) -> list[Piece]:
    first, last = _spans(len(joints))
    if not ((first == 0) & (last == len(joints) - 1)).any():
        first, last = np.append(first, 0), np.append(last, len(joints) - 1)
    cost = _costs(z, joints[first], joints[last], tol, noise, step)
    kind, price = np.argmin(cost, axis=1), cost.min(axis=1)
    order = np.argsort(last, kind="stable")
    first, last, kind, price = first[order], last[order], kind[order], price[order]
    bounds = np.searchsorted(last, np.arange(len(joints) + 1))
    best = np.full(len(joints), np.inf)
    best[0] = 0.0
    came = np.zeros(len(joints), dtype=np.int64)
    # Each joint's best chain depends on those before it, hence the loop.
    for j in range(1, len(joints)):
        span = slice(bounds[j], bounds[j + 1])
        totals = best[first[span]] + price[span]
        k = int(np.argmin(totals))
        best[j], came[j] = totals[k], bounds[j] + k
    pieces = []
    j = len(joints) - 1
    while j > 0:
        k = came[j]
        pieces.append(Piece(int(joints[first[k]]), int(joints[j]), KINDS[kind[k]]))
        j = int(first[k])
    return pieces[::-1]


def _merged(z: ComplexArray, pieces: list[Piece], tol: float, noise: float, step: float) -> list[Piece]:
    """Neighbours joined where one piece does for less; joins what the coarse grid had to part."""
    while len(pieces) > 1:
        first = np.array([p.first for p in pieces[:-1]])
        last = np.array([p.last for p in pieces[1:]])
        together = _costs(z, first, last, tol, noise, step)
        apart = _costs_of(z, pieces, tol, noise, step)
        # A price beyond any real one keeps two impossible ways comparable.
        gains = (np.minimum(apart[:-1] + apart[1:], _ABSURD) - together.min(axis=1)).tolist()
        kinds = [KINDS[k] for k in np.argmin(together, axis=1).tolist()]
        taken: set[int] = set()
        for k in sorted(range(len(gains)), key=lambda k: (-gains[k], k)):
            if gains[k] > 0 and not taken & {k - 1, k + 1}:
                taken.add(k)
        if not taken:
            break
        pieces = [
            Piece(p.first, pieces[k + 1].last, kinds[k]) if k in taken else p
            for k, p in enumerate(pieces)
            if k - 1 not in taken
        ]
    return pieces


@dataclass(frozen=True, slots=True)
class _Meeting:
    """Two pieces that meet at sample `joint`, of these kinds, and what both cost together."""

    joint: int
    kinds: tuple[Kind, Kind]
    cost: float


def _slid(
    z: ComplexArray, pieces: list[Piece], reach: int, tol: float, noise: float, step: float
) -> list[Piece]:
    """Every joint moved by up to `reach` samples to where its two pieces cost least, every other one at once."""
    pieces = list(pieces)
    offsets = np.arange(-reach, reach + 1)
    for parity in (1, 2):
        right = list(range(parity, len(pieces), 2))
        if not right:
            continue
        first = np.array([pieces[k - 1].first for k in right])
        joint = np.array([pieces[k].first for k in right])
        last = np.array([pieces[k].last for k in right])
        room = ((last - first) >= 6)[:, None]
        at = np.where(
            room, np.clip(joint[:, None] + offsets, first[:, None] + 2, last[:, None] - 2), joint[:, None]
        )
        for k, best in zip(right, _meetings(z, first, at, last, tol, noise, step), strict=True):
            if np.isfinite(best.cost):
                pieces[k - 1] = Piece(pieces[k - 1].first, best.joint, best.kinds[0])
                pieces[k] = Piece(best.joint, pieces[k].last, best.kinds[1])
    return pieces


def _without_some(z: ComplexArray, pieces: list[Piece], tol: float, noise: float, step: float) -> list[Piece]:
    """Pieces left out where their neighbours can meet somewhere within them for less."""
    while len(pieces) > 2:
        inner = range(1, len(pieces) - 1)
        first = np.array([pieces[k - 1].first for k in inner])
        last = np.array([pieces[k + 1].last for k in inner])
        low = np.array([pieces[k].first for k in inner])
        high = np.array([pieces[k].last for k in inner])
        at = np.round(low[:, None] + (high - low)[:, None] * np.linspace(0, 1, 9)).astype(np.int64)
        found = _meetings(z, first, at, last, tol, noise, step)
        old = _costs_of(z, pieces, tol, noise, step)
        gains = [float(old[k - 1 : k + 2].sum()) - found[k - 1].cost for k in inner]
        taken: set[int] = set()
        for k in sorted(inner, key=lambda k: (-gains[k - 1], k)):
            if gains[k - 1] > 0 and not taken & set(range(k - 2, k + 3)):
                taken.add(k)
        if not taken:
            break
        out = list(pieces)
        for k in taken:
            best = found[k - 1]
            out[k - 1] = Piece(pieces[k - 1].first, best.joint, best.kinds[0])
            out[k + 1] = Piece(best.joint, pieces[k + 1].last, best.kinds[1])
        pieces = [p for k, p in enumerate(out) if k not in taken]
    return pieces


def _meetings(
    z: ComplexArray, first: IntArray, at: IntArray, last: IntArray, tol: float, noise: float, step: float
) -> list[_Meeting]:
    """The best of the joints at[k] (candidates of row k) for pieces first[k]..joint..last[k], for each k."""
    rows, many = at.shape
    flat = at.ravel()
    starts, ends = np.append(np.repeat(first, many), flat), np.append(flat, np.repeat(last, many))
    one, two = np.split(_costs(z, starts, ends, tol, noise, step), 2)
    total = (one.min(axis=1) + two.min(axis=1)).reshape(rows, many)
    best = np.argmin(total, axis=1)
    return [
        _Meeting(
            int(at[k, b]),
            (KINDS[int(np.argmin(one[k * many + b]))], KINDS[int(np.argmin(two[k * many + b]))]),
            float(total[k, b]),
        )
        for k, b in enumerate(best.tolist())
    ]


def _costs_of(z: ComplexArray, pieces: list[Piece], tol: float, noise: float, step: float) -> FloatArray:
    first, last = np.array([p.first for p in pieces]), np.array([p.last for p in pieces])
    kind = np.array([KINDS.index(p.kind) for p in pieces])
    found: FloatArray = _costs(z, first, last, tol, noise, step)[np.arange(len(pieces)), kind]
    return found


def _costs(
    z: ComplexArray, first: IntArray, last: IntArray, tol: float, noise: float, step: float
) -> FloatArray:
    """(n, 3): cost of samples first..last as a line, arc or cubic; infinite where one misses by over tol.

    Shortest pieces are never infinite, so that a chain always exists.
    """
    parts = [
        _some_costs(z, first[k : k + _CHUNK], last[k : k + _CHUNK], tol, noise, step)
        for k in range(0, len(first), _CHUNK)
    ]
    return np.concatenate(parts)


def _some_costs(
    z: ComplexArray, first: IntArray, last: IntArray, tol: float, noise: float, step: float
) -> FloatArray:
    span = last - first
    # In place wherever it can be: it is the passes over all samples of all pieces that take the time.
    at = span[:, None] * _SHARES
    at += first[:, None]
    low = np.minimum(at.astype(np.int64), len(z) - 2)
    at -= low
    points = z[low]
    points += at * np.diff(z)[low]
    points -= points.mean(axis=1, keepdims=True)
    # Samples closer than about two pixels share their noise, so they do not count each for itself.
    independent = np.maximum(span * step / 2.0, 1.0)
    cost: FloatArray = np.empty((len(first), len(KINDS)))
    for k, off in enumerate((_off_line, _off_circle, _off_cubic)):
        miss = off(points)
        worst = np.maximum(miss.max(axis=1), -miss.min(axis=1))
        miss *= miss
        cost[:, k] = _PRICE[k] + independent * miss.mean(axis=1) / noise**2
        cost[worst > tol, k] = np.inf
    # Three numbers fit four points nearly always: a short cubic says nothing a line does not.
    cost[span * step < 4.0, 2] = np.inf
    short = span * step <= 2.6
    cost[short, 0] = np.minimum(cost[short, 0], 1e6)
    return cost


def _off_line(c: ComplexArray) -> FloatArray:
    """Distances of centred points (n, k) from their least-squares lines."""
    along = np.exp(0.5j * np.angle((c * c).sum(axis=1)))
    off: FloatArray = (c * along.conj()[:, None]).imag
    return off


def _off_circle(c: ComplexArray) -> FloatArray:
    """Distances of centred points (n, k) from least-squares circles (Kasa's linear fit)."""
    u, v = c.real, c.imag
    w = u * u + v * v
    suu, suv, svv = (u * u).sum(1), (u * v).sum(1), (v * v).sum(1)
    su, sv = (u * w).sum(1) / 2, (v * w).sum(1) / 2
    det = suu * svv - suv * suv
    straight = np.abs(det) < 1e-9 * (suu + svv) ** 2
    det[straight] = 1.0
    centre = (su * svv - sv * suv) / det + 1j * (sv * suu - su * suv) / det
    radius = np.sqrt(np.abs(centre) ** 2 + w.mean(1))
    off: FloatArray = np.abs(c - centre[:, None]) - radius[:, None]
    off[straight] = np.inf
    return off


_T = np.linspace(-1.0, 1.0, _SAMPLES)
_BASIS = np.asarray(np.polynomial.legendre.legvander(_T, 3), dtype=np.float64)
_SOLVE = np.asarray(np.linalg.pinv(_BASIS), dtype=np.float64)
_SLOPE: FloatArray = np.stack(
    [np.polynomial.legendre.legval(_T, np.polynomial.legendre.legder(np.eye(4)[k])) for k in range(4)], axis=1
)


def _off_cubic(c: ComplexArray) -> FloatArray:
    """Distances across the curve of points (n, k) from least-squares cubics in arc length."""
    coefficients = c @ _SOLVE.T
    left = c - coefficients @ _BASIS.T
    along = coefficients @ _SLOPE.T
    off: FloatArray = (left * along.conj()).imag / np.maximum(np.abs(along), 1e-9)
    return off
