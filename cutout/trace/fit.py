"""Few lines, arcs and cubics through a dense ring of samples, corners kept sharp."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d
from scipy.spatial import cKDTree

from cutout.geom.curve import Arc, ComplexArray, FloatArray, Line, Segment, to_array
from cutout.geom.outline import Ring
from cutout.trace.chain import Chain, Joint, fit_chains, local_joint
from cutout.trace.corners import STEP, Corner, Loops, aside, corners_of, evened, jitters, lasting, resampled
from cutout.trace.iso import IsoLines
from cutout.trace.pieces import IntArray, Kind, Piece, cut_all

_EXTREME = 5.0
"""The noisiest of some thousand samples lie about this many sigmas off."""

_KINDRED = 1.2
"""How much larger noise is than its jitter shows, blur apart; by measurement on pictures of known shapes."""

_UNBLURRED, _AT = 0.6, 1.0
"""Sigma (px) of the blur left where it has been taken out, and how near (px) a sample lies to such a place."""

_ROUGHLY = 1.2
"""An arc drawn to its joints stands at most half so far (px) off the middle of the piece it is for."""

_TRULY = 1.5
"""How many tolerances off its samples an arc is that is drawn to its joints; else cubics are drawn."""

_BESIDE, _BESIDE_BLURS = 2.5, 2.5
"""No other corner is believed so near (px, sigmas of blur) to one that is known."""

_LEAST_NOISE = 0.035
"""Wobble (px) of an iso-line of a clean picture, below which nothing is worth a segment."""


@dataclass(frozen=True, slots=True)
class Told:
    """What a picture tells of its lines beside their points: places at which the blur has been taken out of them,
    places that are corners, and places near which there is none; None where there are no such places."""

    sharp: cKDTree | None = None
    apexes: cKDTree | None = None
    rounds: cKDTree | None = None

    @classmethod
    def of(cls, sharp: ComplexArray, apexes: ComplexArray, rounds: ComplexArray) -> Told:
        """The same from places (n,)."""
        return cls(*(cKDTree(to_array(z)) if len(z) else None for z in (sharp, apexes, rounds)))


def fit_rings(
    lines: Sequence[ComplexArray],
    tol: float,
    blur: float = 0.5,
    smooth: float = 0.0,
    noise: float = 0.0,
    closer: float = 1.0,
    restore: bool = True,
    told: Told | None = None,
) -> list[Ring]:
    """Rings of few segments, each within about `tol` of its closed dense polyline; all in the same unit, px.

    lines: of one picture, fitted in batches; each is (n,).
    blur: sigma (px) of the Gaussian the picture's edges are blurred by; corners are restored accordingly.
    noise: least sigma (px) of the lines across themselves, where more is known than they show.
    smooth: details shorter than about this (px) are smoothed away, without shrinking the rings; corners that
    show at this scale keep their places.
    closer: share of the tolerance, including what noise adds to it, to make do with.
    restore: whether corners are drawn out to where their flanks meet; if not they stay on their line.
    told: what the picture tells of the lines beside their points.
    """
    if not lines:
        return []
    samples = resampled(lines)
    loops = Loops.of(samples, aside(blur))
    seen = jitters(loops)
    tols = closer * np.maximum(np.maximum(tol, _EXTREME * seen), 2.5 * noise)
    noises = np.maximum(closer * np.maximum(seen, noise), _LEAST_NOISE)
    corners = _all_corners(loops, samples, blur, noises, told or Told())
    # The blur makes neighbouring samples err together, which lets noise pass for shape.
    rough = noises * (_KINDRED * math.sqrt(2 * max(blur, 0.5)))
    circles = _circles(samples)
    blurred = blur > _UNBLURRED
    for k, z in enumerate(samples):
        if corners[k] and blurred and not _knows(z, told) and circles.fit(k, z, tols[k], rough[k]):
            # Where the blur hides how sudden a turn is, small discs seem to have corners.
            corners[k] = []
        if not restore:
            corners[k] = [_on_line(z, c) for c in corners[k]]
        if len(corners[k]) < 2 and len(z) <= 40:
            corners[k] = []
        if smooth > 0:
            # What was worked out for the noise of neighbours is the noise of the line that is smoothed.
            corners[k] = lasting(z, corners[k], smooth, float(rough[k]))
    angular = [k for k, found in enumerate(corners) if found]
    plain = [k for k, found in enumerate(corners) if not found]
    drawn: list[Drawn] = [[] for _ in lines]
    for k, parts in zip(
        angular,
        _angular(
            [samples[k] for k in angular],
            [corners[k] for k in angular],
            tols[angular],
            rough[angular],
            smooth,
            restore,
        ),
        strict=True,
    ):
        drawn[k] = parts
    evened = [_smoothed(samples[k], smooth) if smooth > 0 else samples[k] for k in plain]
    for k, parts in zip(plain, _smooth_rings(evened, tols[plain], rough[plain]), strict=True):
        drawn[k] = parts
    return _as_rings(drawn)


Drawn = list[Segment | Chain]
"""A ring's parts in order: segments, and chains of cubics still to be fitted."""


def _as_rings(drawn: list[Drawn]) -> list[Ring]:
    """The rings, with all chains fitted."""
    fitted = iter(fit_chains([part for parts in drawn for part in parts if isinstance(part, Chain)]))
    return [
        Ring(
            tuple(
                segment
                for part in parts
                for segment in (next(fitted) if isinstance(part, Chain) else (part,))
            )
        )
        for parts in drawn
    ]


def _angular(
    samples: list[ComplexArray],
    corners: list[list[Corner]],
    tols: FloatArray,
    noises: FloatArray,
    smooth: float,
    restore: bool,
) -> list[Drawn]:
    """Parts of rings with corners."""
    if not samples:
        return []
    runs = _runs(samples, corners)
    if smooth > 0:
        runs = [_smoothed_run(run, smooth) for run in runs]
    many = [len(found) for found in corners]
    carriers = iter(_carriers(runs, cut_all(runs, np.repeat(tols, many), np.repeat(noises, many), STEP)))
    return [
        _joined([next(carriers) for _ in found], found, float(tol), restore)
        for found, tol in zip(corners, tols, strict=True)
    ]


def _all_corners(
    loops: Loops, samples: list[ComplexArray], blur: float, noise: FloatArray, told: Told
) -> list[list[Corner]]:
    """Corners as the picture's blur leaves them; where it has been taken out, as a sharp picture does; those told."""
    corners = corners_of(loops, blur, noise)
    if told.sharp is not None and blur > _UNBLURRED:
        away, _ = told.sharp.query(to_array(loops.z), distance_upper_bound=_AT)
        clear = loops.parts(np.isfinite(away))
        if any(some.any() for some in clear):
            sharp = corners_of(loops, _UNBLURRED, noise)
            beside = max(_BESIDE, _BESIDE_BLURS * blur)
            corners = [
                _of_both(z, dull, fine, some, beside)
                for z, dull, fine, some in zip(samples, corners, sharp, clear, strict=True)
            ]
    if told.apexes is not None or told.rounds is not None:
        beside = max(_BESIDE, _BESIDE_BLURS * blur)
        corners = [_beside_known(z, found, told, beside) for z, found in zip(samples, corners, strict=True)]
    return [sorted(found, key=lambda c: c.index) for found in corners]


def found_corners(found: IsoLines) -> tuple[Loops, list[list[Corner]]]:
    """Samples of a picture's lines, and their corners as `fit_rings` finds them, those told among them."""
    samples = resampled(found.lines)
    loops = Loops.of(samples, aside(found.blur))
    noises = np.maximum(np.maximum(jitters(loops), found.noise), _LEAST_NOISE)
    told = Told.of(found.sharp, found.apexes, found.rounds)
    return loops, _all_corners(loops, samples, found.blur, noises, told)


def _of_both(
    z: ComplexArray, dull: list[Corner], fine: list[Corner], clear: NDArray[np.bool_], beside: float
) -> list[Corner]:
    """Fine corners where samples are clear and dull ones elsewhere, each once.

    At the border of what is clear a corner's index may lie on one side for the one and on the other for the other:
    it would be there twice, or not at all.
    """
    kept = [c for c in fine if clear[c.index]]
    # A dull one that lies in what is clear is gone there unless a fine one is found beside it.
    told = [c for c in dull if not clear[c.index] or any(_same(z, c, f, beside) for f in fine)]
    return kept + [c for c in told if not any(_same(z, c, k, beside) for k in kept)]


def _same(z: ComplexArray, one: Corner, two: Corner, reach: float) -> bool:
    """Whether two corners are so near to each other both straight and along the ring."""
    return abs(one.apex - two.apex) < reach and _apart(z, one, two) < reach


def _apart(z: ComplexArray, one: Corner, two: Corner) -> float:
    """Length (px) of ring between two corners, the shorter way."""
    apart = (one.index - two.index) % len(z)
    return min(apart, len(z) - apart) * STEP


def _beside_known(z: ComplexArray, corners: list[Corner], told: Told, beside: float) -> list[Corner]:
    """The corners told of a ring, and those found that are not too near to them or to where none are."""
    known = _known(z, told.apexes) if told.apexes is not None else []
    bare = _known(z, told.rounds) if told.rounds is not None else []
    return known + [c for c in corners if not any(_near(z, c, k, beside) for k in known + bare)]


def _knows(z: ComplexArray, told: Told | None) -> bool:
    """Whether the picture has told corners of this ring."""
    return told is not None and told.apexes is not None and bool(_known(z, told.apexes))


def _near(z: ComplexArray, one: Corner, two: Corner, reach: float) -> bool:
    """Whether two corners are so near to each other, straight or along the ring."""
    return abs(one.apex - two.apex) < reach or _apart(z, one, two) < reach


def _known(z: ComplexArray, places: cKDTree) -> list[Corner]:
    """The places told that lie on the ring, as corners of it."""
    found = places.query(to_array(z), distance_upper_bound=2 * STEP)
    away, which = np.asarray(found[0]), np.asarray(found[1])
    near = np.flatnonzero(np.isfinite(away))
    nearest = {}
    for k in near[np.argsort(-away[near], kind="stable")].tolist():
        nearest[int(which[k])] = k
    return [Corner(k, complex(*places.data[place]), 1, 1) for place, k in nearest.items()]


def _on_line(z: ComplexArray, corner: Corner) -> Corner:
    """The corner moved to the sample nearest its apex."""
    near = np.arange(corner.index - corner.before - 1, corner.index + corner.after + 2) % len(z)
    k = int(near[np.argmin(np.abs(z[near] - corner.apex))])
    return Corner(k, complex(z[k]), 1, 1)


def _smoothed(z: ComplexArray, sigma: float) -> ComplexArray:
    """Gaussian smoothing along the ring, with the shrinking it causes taken back to first order (2G - GG)."""
    return _smoothed_by(z, min(sigma / STEP, len(z) / 12))


def _smoothed_run(run: ComplexArray, sigma: float) -> ComplexArray:
    """The same along a run between corners, whose ends stay: it is continued beyond them turned by half a turn.

    Short runs are smoothed less: a bow from corner to corner keeps 99 % of its height.
    """
    chord = run[0] + (run[-1] - run[0]) * np.linspace(0.0, 1.0, len(run))
    off = run - chord
    # Off its chord the run and its continuation close on themselves, and both ends are at rest.
    reach = min(sigma / STEP, len(run) / 8)
    smooth: ComplexArray = chord + _smoothed_by(np.concatenate([off, -off[-2:0:-1]]), reach)[: len(run)]
    return smooth


def _smoothed_by(z: ComplexArray, reach: float) -> ComplexArray:
    once = _averaged(z, reach)
    return once + _averaged(z - once, reach)


def _averaged(z: ComplexArray, reach: float) -> ComplexArray:
    return gaussian_filter1d(z.real, reach, mode="wrap") + 1j * gaussian_filter1d(z.imag, reach, mode="wrap")


def _runs(samples: list[ComplexArray], corners: list[list[Corner]]) -> list[ComplexArray]:
    """The samples between neighbouring corners of each ring, apexes at both ends, rounded samples left out."""
    runs = []
    for z, found in zip(samples, corners, strict=True):
        n = len(z)
        for here, there in zip(found, found[1:] + found[:1], strict=True):
            first = here.index + here.after
            last = there.index - there.before + (n if there.index <= here.index else 0)
            inner = z[first : last + 1] if first >= 0 and last < n else z[np.arange(first, last + 1) % n]
            runs.append(np.concatenate([[here.apex], inner, [there.apex]]))
    return evened(runs)


@dataclass(frozen=True, slots=True)
class _Carrier:
    """A piece's samples with the line (point, direction) or circle (centre, radius) they lie on."""

    kind: Kind
    z: ComplexArray
    point: complex = 0j
    along: complex = 0j
    radius: float = 0.0


def _carriers(runs: list[ComplexArray], pieces: list[list[Piece]]) -> list[list[_Carrier]]:
    """What the pieces of each run lie on."""
    flat = [(run[p.first : p.last + 1], p.kind) for run, some in zip(runs, pieces, strict=True) for p in some]
    # The outermost samples of a piece belong half to its neighbour.
    inner = [z[1:-1] if len(z) > 6 else z for z, _ in flat]
    lines = _lines([z for z, (_, kind) in zip(inner, flat, strict=True) if kind == "line"])
    arcs = _circles([z for z, (_, kind) in zip(inner, flat, strict=True) if kind == "arc"])
    line, arc = iter(lines), iter(zip(arcs.centre.tolist(), arcs.radius.tolist(), strict=True))
    found = iter([_carrier(z, kind, line, arc) for z, kind in flat])
    return [[next(found) for _ in some] for some in pieces]


def _carrier(
    z: ComplexArray,
    kind: Kind,
    lines: Iterator[tuple[complex, complex]],
    arcs: Iterator[tuple[complex, float]],
) -> _Carrier:
    """A piece on the next of the lines or arcs, if it is of their kind."""
    if kind == "line":
        centre, along = next(lines)
        return _Carrier(kind, z, centre, -along if (along.conjugate() * (z[-1] - z[0])).real < 0 else along)
    if kind == "arc":
        centre, radius = next(arcs)
        return _Carrier(kind, z, centre, 0j, radius)
    return _Carrier(kind, z)


def _lines(parts: list[ComplexArray]) -> list[tuple[complex, complex]]:
    """Middle and unit way, either way, of the least-squares line through each part's points."""
    if not parts:
        return []
    groups = _Groups.of(parts)
    middle, off = groups.centred()
    along = np.exp(0.5j * np.angle(groups.sums(off * off)))
    return list(zip(middle.tolist(), along.tolist(), strict=True))


@dataclass(frozen=True, slots=True)
class _Groups:
    """Points of some parts, one after the other: the first of each part, and how many it has."""

    z: ComplexArray
    start: IntArray
    size: IntArray

    @classmethod
    def of(cls, parts: Sequence[ComplexArray]) -> _Groups:
        """The same from the parts."""
        size = np.array([len(part) for part in parts], dtype=np.int64)
        z = np.concatenate(parts) if parts else np.zeros(0, dtype=np.complex128)
        return cls(z, np.cumsum(size) - size, size)

    def sums(self, values: NDArray[Any]) -> NDArray[Any]:
        """Sum of the values of each part."""
        return np.asarray(np.add.reduceat(values, self.start))

    def spread(self, values: NDArray[Any]) -> NDArray[Any]:
        """A value of each part for each of its points."""
        return np.repeat(values, self.size)

    def centred(self) -> tuple[ComplexArray, ComplexArray]:
        """Middle of each part, and its points as seen from there."""
        middle = self.sums(self.z) / self.size
        return np.asarray(middle, dtype=np.complex128), np.asarray(self.z - self.spread(middle))


@dataclass(frozen=True, slots=True)
class _Circles:
    """Least-squares circles: centres and radii (n,)."""

    centre: ComplexArray
    radius: FloatArray

    def fit(self, k: int, z: ComplexArray, tol: float, noise: float) -> bool:
        """Whether samples lie on circle number k, noise apart."""
        off = np.abs(np.abs(z - self.centre[k]) - self.radius[k])
        return bool(off.max() <= tol and math.sqrt(float(np.mean(off**2))) < 1.6 * noise)


def _circles(parts: list[ComplexArray]) -> _Circles:
    """The circle through each part's points: a linear start, then Gauss-Newton on the distances."""
    if not parts:
        return _Circles(np.zeros(0, dtype=np.complex128), np.zeros(0))
    groups = _Groups.of(parts)
    middle, c = groups.centred()
    w = c.real**2 + c.imag**2
    one = _solved(groups, c.real, c.imag, w)
    centre = (one[0] + 1j * one[1]) / 2
    radius = np.sqrt(np.maximum(groups.sums(w) / groups.size + np.abs(centre) ** 2, 1e-12))
    for _ in range(4):
        out = c - groups.spread(centre)
        far = np.maximum(np.abs(out), 1e-9)  # a sample may lie on the centre itself
        left = far - groups.spread(radius)
        x, y = out.real / far, out.imag / far
        dx, dy = _solved(groups, x, y, left)
        means = [groups.sums(values) / groups.size for values in (left, x, y)]
        centre, radius = centre + dx + 1j * dy, radius + means[0] - dx * means[1] - dy * means[2]
    return _Circles(middle + centre, radius)


def _solved(groups: _Groups, x: FloatArray, y: FloatArray, left: FloatArray) -> tuple[FloatArray, FloatArray]:
    """What x and y are best multiplied by, in each group, to be like `left` but for a constant; least squares."""
    x, y, left = (v - groups.spread(groups.sums(v) / groups.size) for v in (x, y, left))
    xx, xy, yy, xl, yl = (groups.sums(a * b) for a, b in ((x, x), (x, y), (y, y), (x, left), (y, left)))
    det = xx * yy - xy * xy
    can = det > 1e-15 * (xx + yy) ** 2
    det = np.where(can, det, 1.0)
    return np.where(can, (xl * yy - yl * xy) / det, 0.0), np.where(can, (yl * xx - xl * xy) / det, 0.0)


def _joined(runs: list[list[_Carrier]], corners: list[Corner], tol: float, restore: bool) -> Drawn:
    """Parts of a ring with corners: run k goes from corner k to corner k + 1."""
    sharp = [_corner_joint(runs[k - 1][-1], runs[k][0], c.apex, tol, restore) for k, c in enumerate(corners)]
    out: Drawn = []
    for k, run in enumerate(runs):
        out.extend(_run_parts(run, sharp[k], sharp[(k + 1) % len(sharp)], tol))
    return out


def _smooth_rings(samples: list[ComplexArray], tols: FloatArray, noises: FloatArray) -> list[Drawn]:
    """Parts of rings without corners: circles, or pieces all joined smoothly."""
    if not samples:
        return []
    circles = _circles(samples)
    out: list[Drawn] = [[] for _ in samples]
    bent = [k for k, z in enumerate(samples) if not circles.fit(k, z, tols[k], noises[k])]
    # A first cut anywhere finds a good joint to start the second one from.
    closed = [np.append(samples[k], samples[k][0]) for k in bent]
    first = dict(zip(bent, cut_all(closed, tols[bent], noises[bent], STEP), strict=True))
    bent = [k for k in bent if [p.kind for p in first[k]] != ["arc"]]
    for k in set(range(len(samples))) - set(bent):
        out[k] = _circle_drawn(samples[k], complex(circles.centre[k]), float(circles.radius[k]))
    starts = [first[k][len(first[k]) // 2].first for k in bent]
    runs = [np.append(np.roll(samples[k], -i), samples[k][i]) for k, i in zip(bent, starts, strict=True)]
    pieces = cut_all(runs, tols[bent], noises[bent], STEP)
    for k, run, some, carriers in zip(bent, runs, pieces, _carriers(runs, pieces), strict=True):
        out[k] = _smooth_parts(run, some, carriers, float(tols[k]))
    return out


def _circle_drawn(z: ComplexArray, centre: complex, radius: float) -> Drawn:
    """A circle that runs the way the samples do, as two arcs."""
    turn = math.copysign(1.0, float((z.conj() * np.roll(z, -1)).imag.sum()))
    sides = (centre + radius, centre - radius)
    return [Arc(sides[0], sides[1], turn), Arc(sides[1], sides[0], turn)]


def _smooth_parts(run: ComplexArray, pieces: list[Piece], carriers: list[_Carrier], tol: float) -> Drawn:
    """Parts of a ring without corners that is no circle."""
    if len(pieces) == 1 or all(p.kind == "cubic" for p in pieces):
        knots = [0, *(p.last for p in pieces)] if len(pieces) > 1 else [0, len(run) // 2, len(run) - 1]
        return [Chain(run, tuple(knots), None, None, tol)]
    # Start where a straight or round piece starts, so that no chain of cubics goes through the seam.
    seam = next(k for k, c in enumerate(carriers) if c.kind != "cubic")
    carriers = carriers[seam:] + carriers[:seam]
    joints = [_smooth_joint(carriers[k - 1], carriers[k], tol) for k in range(len(carriers))]
    return _chained(carriers, [*joints, joints[0]], tol)


def _chained(pieces: list[_Carrier], joints: list[Joint], tol: float) -> Drawn:
    """Parts for pieces between joints; neighbouring cubics are fitted together."""
    out: Drawn = []
    k = 0
    while k < len(pieces):
        if pieces[k].kind != "cubic":
            out.extend(_segments(pieces[k], joints[k], joints[k + 1], tol))
            k += 1
            continue
        last = k
        while last + 1 < len(pieces) and pieces[last + 1].kind == "cubic":
            last += 1
        z, knots = _strung(pieces[k : last + 1])
        out.append(Chain(z, tuple(knots), joints[k], joints[last + 1], tol))
        k = last + 1
    return out


def _strung(pieces: list[_Carrier]) -> tuple[ComplexArray, list[int]]:
    z = np.concatenate([pieces[0].z, *(p.z[1:] for p in pieces[1:])])
    return z, np.cumsum([0, *(len(p.z) - 1 for p in pieces)]).tolist()


def _run_parts(pieces: list[_Carrier], start: complex, end: complex, tol: float) -> Drawn:
    joints = [Joint(start)]
    joints += [_smooth_joint(a, b, tol) for a, b in itertools.pairwise(pieces)]
    return _chained(pieces, [*joints, Joint(end)], tol)


def _corner_joint(left: _Carrier, right: _Carrier, apex: complex, tol: float, restore: bool) -> complex:
    """The crossing of the two carriers nearest the apex found from the flanks; else the apex, drawn onto
    the straight or round one."""
    crossings = _crossings(left, right)
    near = min(crossings, key=lambda p: abs(p - apex), default=None)
    if near is not None and abs(near - apex) <= (max(0.8, 2 * tol) if restore else 0.2):
        return near
    for piece in (left, right):
        if piece.kind != "cubic":
            onto = _project(piece, apex)
            if abs(onto - apex) <= (max(0.6, 2 * tol) if restore else 0.2):
                return onto
    return apex


def _crossings(a: _Carrier, b: _Carrier) -> list[complex]:
    if a.kind == "line" and b.kind == "line":
        cross = (a.along.conjugate() * b.along).imag
        if abs(cross) < 0.2:
            return []
        return [a.point + a.along * (((b.point - a.point).conjugate() * b.along).imag / cross)]
    if a.kind == "arc" and b.kind == "line":
        return _crossings(b, a)
    if a.kind == "line" and b.kind == "arc":
        foot = _project(a, b.point)
        rest = b.radius**2 - abs(foot - b.point) ** 2
        if rest <= 0.04 * b.radius**2:
            return []
        return [foot + a.along * math.sqrt(rest), foot - a.along * math.sqrt(rest)]
    if a.kind == "arc" and b.kind == "arc":
        between = b.point - a.point
        d = abs(between)
        if d < 1e-9:
            return []
        x = (d * d + a.radius**2 - b.radius**2) / (2 * d)
        rest = a.radius**2 - x * x
        if rest <= 0.04 * min(a.radius, b.radius) ** 2:
            return []
        unit = between / d
        return [a.point + unit * complex(x, y) for y in (math.sqrt(rest), -math.sqrt(rest))]
    return []


def _project(piece: _Carrier, p: complex) -> complex:
    if piece.kind == "line":
        return piece.point + piece.along * ((p - piece.point) * piece.along.conjugate()).real
    out = p - piece.point
    return piece.point + out * (piece.radius / max(abs(out), 1e-9))


def _smooth_joint(left: _Carrier, right: _Carrier, tol: float) -> Joint:
    """Where two pieces of a smooth run meet: on the line, else on the circle, else on the samples."""
    shared = complex(right.z[0])
    if left.kind == "line" and right.kind == "line":
        crossings = _crossings(left, right)
        at = crossings[0] if crossings and abs(crossings[0] - shared) < 2.0 + tol else shared
        return Joint(at, 0j)
    for piece, other in ((left, right), (right, left)):
        if piece.kind == "line":
            # A circle that touches the line does so at the foot of its centre.
            at = _project(piece, other.point if other.kind == "arc" else shared)
            if abs(at - shared) > 0.35 * min(len(piece.z), len(other.z)) * STEP:
                at = _project(piece, shared)
            return Joint(at, piece.along)
    for piece in sorted((p for p in (left, right) if p.kind == "arc"), key=lambda p: -len(p.z)):
        at = _project(piece, shared)
        return Joint(at, _arc_along(piece, at))
    return local_joint(np.concatenate([left.z[:-1], right.z]), len(left.z) - 1)


def _arc_along(arc: _Carrier, at: complex) -> complex:
    """Direction of travel on the arc's circle at a point of it."""
    out = (at - arc.point) / max(abs(at - arc.point), 1e-9)
    middle = arc.z[len(arc.z) // 2] - arc.z[0]
    sense = ((arc.z[0] - arc.point).conjugate() * middle).imag
    return out * (1j if sense >= 0 else -1j)


def _segments(piece: _Carrier, start: Joint, end: Joint, tol: float) -> Drawn:
    if abs(end.at - start.at) < 1e-6 and piece.kind != "cubic":
        return []
    if piece.kind == "line":
        return [Line(start.at, end.at)]
    if piece.kind == "arc":
        arc = _arc(piece, start, end)
        if arc is not None and _off(arc, piece.z) <= _TRULY * tol:
            return [arc]
    return [Chain(piece.z, (0, len(piece.z) - 1), start, end, tol)]


def _off(arc: Arc, z: ComplexArray) -> float:
    """How far (px) samples of a piece lie off the arc drawn for it; those at its ends belong half to others."""
    inner = z[2:-2] if len(z) > 8 else z
    return float(np.abs(np.abs(inner - arc.centre) - arc.radius).max())


def _arc(piece: _Carrier, start: Joint, end: Joint) -> Arc | None:
    """The arc between the joints nearest the piece's circle, tangent to smooth neighbours where it can be."""
    chord = end.at - start.at
    turn = _sweep(piece)
    bulges = [math.tan(turn / 4)]
    if start.along:
        bulges.append(math.tan(-_angle(start.along, chord) / -2))
    if end.along:
        bulges.append(math.tan(_angle(chord, end.along) / 2))
    tangent = bulges[1:] or bulges
    bulge = sum(tangent) / len(tangent)
    if abs(bulge) < 1e-6 or abs(chord) < 1e-6:
        return None
    arc = Arc(start.at, end.at, bulge)
    # The middle of the arc stands bulge times half the chord off it.
    if abs(bulge - bulges[0]) * abs(chord) > _ROUGHLY:
        return None
    return arc


def _sweep(piece: _Carrier) -> float:
    turned = np.angle((piece.z[1:] - piece.point) / (piece.z[:-1] - piece.point))
    return float(turned.sum())


def _angle(a: complex, b: complex) -> float:
    return math.atan2((a.conjugate() * b).imag, (a.conjugate() * b).real)
