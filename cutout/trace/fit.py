"""Few lines, arcs and cubics through a dense ring of samples, corners kept sharp."""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass

import numpy as np
from scipy.ndimage import gaussian_filter1d
from scipy.spatial import cKDTree

from cutout.geom.curve import Arc, ComplexArray, Line, Segment, stations, to_array
from cutout.geom.outline import Ring
from cutout.trace.chain import Joint, fit_chain, local_joint
from cutout.trace.corners import STEP, Corner, find_corners, jitter, lasting, resample
from cutout.trace.pieces import Kind, Piece, cut

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


def fit_ring(
    z: ComplexArray,
    tol: float,
    blur: float = 0.5,
    smooth: float = 0.0,
    noise: float = 0.0,
    closer: float = 1.0,
    restore: bool = True,
    told: Told | None = None,
) -> Ring:
    """A ring of few segments within about `tol` of the closed dense polyline z (all in the same unit, px).

    blur: sigma (px) of the Gaussian the picture's edges are blurred by; corners are restored accordingly.
    noise: least sigma (px) of the line across itself, where more is known than the line shows.
    smooth: details shorter than about this (px) are smoothed away, without shrinking the ring; corners that
    show at this scale keep their places.
    closer: share of the tolerance, including what noise adds to it, to make do with.
    restore: whether corners are drawn out to where their flanks meet; if not they stay on the line z.
    told: what the picture tells of the line beside its points.
    """
    samples = resample(z)
    seen = jitter(samples)
    tol = closer * max(tol, _EXTREME * seen, 2.5 * noise)
    noise = max(closer * max(seen, noise), _LEAST_NOISE)
    corners = _all_corners(samples, blur, noise, told or Told())
    # The blur makes neighbouring samples err together, which lets noise pass for shape.
    noise *= _KINDRED * math.sqrt(2 * max(blur, 0.5))
    if corners and blur > _UNBLURRED and not _knows(samples, told) and _is_round(samples, tol, noise):
        # Where the blur hides how sudden a turn is, small discs seem to have corners.
        corners = []
    if not restore:
        corners = [_on_line(samples, c) for c in corners]
    corners = corners if len(corners) > 1 or len(samples) > 40 else []
    if smooth > 0:
        corners = lasting(samples, corners, smooth, noise)
    if not corners:
        return _smooth_ring(_smoothed(samples, smooth) if smooth > 0 else samples, tol, noise)
    runs = _runs(samples, corners)
    if smooth > 0:
        runs = [_smoothed_run(run, smooth) for run in runs]
    fitted = [_carriers(run, cut(run, tol, noise, STEP)) for run in runs]
    return Ring(_joined(fitted, corners, tol, restore))


def _all_corners(z: ComplexArray, blur: float, noise: float, told: Told) -> list[Corner]:
    """Corners as the picture's blur leaves them; where it has been taken out, as a sharp picture does; those told."""
    corners = find_corners(z, blur, noise)
    if told.sharp is not None and blur > _UNBLURRED:
        away, _ = told.sharp.query(to_array(z), distance_upper_bound=_AT)
        clear = np.isfinite(away)
        if clear.any():
            corners = [c for c in corners if not clear[c.index]]
            corners += [c for c in find_corners(z, _UNBLURRED, noise) if clear[c.index]]
    known = _known(z, told.apexes) if told.apexes is not None else []
    bare = _known(z, told.rounds) if told.rounds is not None else []
    beside = max(_BESIDE, _BESIDE_BLURS * blur)
    if known or bare:
        corners = known + [c for c in corners if not any(_near(z, c, k, beside) for k in known + bare)]
    return sorted(corners, key=lambda c: c.index)


def _knows(z: ComplexArray, told: Told | None) -> bool:
    """Whether the picture has told corners of this ring."""
    return told is not None and told.apexes is not None and bool(_known(z, told.apexes))


def _near(z: ComplexArray, one: Corner, two: Corner, reach: float) -> bool:
    """Whether two corners are so near to each other, straight or along the ring."""
    apart = (one.index - two.index) % len(z)
    return abs(one.apex - two.apex) < reach or min(apart, len(z) - apart) * STEP < reach


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


def _runs(z: ComplexArray, corners: list[Corner]) -> list[ComplexArray]:
    """The samples between neighbouring corners, apexes at both ends, rounded samples left out."""
    n = len(z)
    runs = []
    for here, there in zip(corners, corners[1:] + corners[:1], strict=True):
        first = here.index + here.after
        last = there.index - there.before + (n if there.index <= here.index else 0)
        inner = z[np.arange(first, last + 1) % n]
        runs.append(_evened(np.concatenate([[here.apex], inner, [there.apex]])))
    return runs


def _evened(run: ComplexArray) -> ComplexArray:
    """The open polyline at equal steps of about STEP."""
    s = stations(run)
    at = np.linspace(0.0, s[-1], max(4, round(s[-1] / STEP) + 1))
    return np.interp(at, s, run.real) + 1j * np.interp(at, s, run.imag)


@dataclass(frozen=True, slots=True)
class _Carrier:
    """A piece's samples with the line (point, direction) or circle (centre, radius) they lie on."""

    kind: Kind
    z: ComplexArray
    point: complex = 0j
    along: complex = 0j
    radius: float = 0.0


def _carriers(run: ComplexArray, pieces: list[Piece]) -> list[_Carrier]:
    return [_carrier(run[p.first : p.last + 1], p.kind) for p in pieces]


def _carrier(z: ComplexArray, kind: Kind) -> _Carrier:
    # The outermost samples of a piece belong half to its neighbour.
    inner = z[1:-1] if len(z) > 6 else z
    if kind == "line":
        centre = complex(inner.mean())
        along = complex(np.exp(0.5j * np.angle(((inner - centre) ** 2).sum())))
        if (along.conjugate() * (z[-1] - z[0])).real < 0:
            along = -along
        return _Carrier(kind, z, centre, along)
    if kind == "arc":
        centre, radius = _circle(inner)
        return _Carrier(kind, z, centre, 0j, radius)
    return _Carrier(kind, z)


def _circle(z: ComplexArray) -> tuple[complex, float]:
    """Least-squares circle: a linear start, then Gauss-Newton on the distances."""
    middle = z.mean()
    c = z - middle
    a = np.column_stack([c.real, c.imag, np.ones(len(c))])
    x, y, k = np.linalg.lstsq(a, np.abs(c) ** 2, rcond=None)[0]
    centre, radius = complex(x / 2, y / 2), math.sqrt(max(k + (x * x + y * y) / 4, 1e-12))
    for _ in range(4):
        out = c - centre
        far = np.maximum(np.abs(out), 1e-9)  # a sample may lie on the centre itself
        a = np.column_stack([out.real / far, out.imag / far, np.ones(len(c))])
        dx, dy, dr = np.linalg.lstsq(a, far - radius, rcond=None)[0]
        centre, radius = centre + complex(dx, dy), radius + float(dr)
    return complex(middle) + centre, radius


def _joined(
    runs: list[list[_Carrier]], corners: list[Corner], tol: float, restore: bool
) -> tuple[Segment, ...]:
    """Segments of a ring with corners: run k goes from corner k to corner k + 1."""
    sharp = [_corner_joint(runs[k - 1][-1], runs[k][0], c.apex, tol, restore) for k, c in enumerate(corners)]
    out: list[Segment] = []
    for k, run in enumerate(runs):
        out.extend(_run_segments(run, sharp[k], sharp[(k + 1) % len(sharp)], tol))
    return tuple(out)


def _smooth_ring(z: ComplexArray, tol: float, noise: float) -> Ring:
    """A ring without corners: a circle, or pieces all joined smoothly."""
    centre, radius = _circle(z)
    round_enough = _is_round(z, tol, noise)
    # A first cut anywhere finds a good joint to start the second one from.
    pieces = [] if round_enough else cut(np.append(z, z[0]), tol, noise, STEP)
    if round_enough or [p.kind for p in pieces] == ["arc"]:
        turn = math.copysign(1.0, float((z.conj() * np.roll(z, -1)).imag.sum()))
        sides = (centre + radius, centre - radius)
        return Ring((Arc(sides[0], sides[1], turn), Arc(sides[1], sides[0], turn)))
    start = pieces[len(pieces) // 2].first
    run = np.append(np.roll(z, -start), z[start])
    pieces = cut(run, tol, noise, STEP)
    if len(pieces) == 1 or all(p.kind == "cubic" for p in pieces):
        knots = [0, *(p.last for p in pieces)] if len(pieces) > 1 else [0, len(run) // 2, len(run) - 1]
        return Ring(tuple(fit_chain(run, knots, None, None, tol)))
    # Start where a straight or round piece starts, so that no chain of cubics goes through the seam.
    carriers = _carriers(run, pieces)
    seam = next(k for k, c in enumerate(carriers) if c.kind != "cubic")
    carriers = carriers[seam:] + carriers[:seam]
    joints = [_smooth_joint(carriers[k - 1], carriers[k], tol) for k in range(len(carriers))]
    return Ring(tuple(_chained(carriers, [*joints, joints[0]], tol)))


def _is_round(z: ComplexArray, tol: float, noise: float) -> bool:
    """Whether the samples lie on a circle, noise apart."""
    centre, radius = _circle(z)
    off = np.abs(np.abs(z - centre) - radius)
    return bool(off.max() <= tol and math.sqrt(float(np.mean(off**2))) < 1.6 * noise)


def _chained(pieces: list[_Carrier], joints: list[Joint], tol: float) -> list[Segment]:
    """Segments of pieces between joints; neighbouring cubics are fitted together."""
    out: list[Segment] = []
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
        out.extend(fit_chain(z, knots, joints[k], joints[last + 1], tol))
        k = last + 1
    return out


def _strung(pieces: list[_Carrier]) -> tuple[ComplexArray, list[int]]:
    z = np.concatenate([pieces[0].z, *(p.z[1:] for p in pieces[1:])])
    return z, np.cumsum([0, *(len(p.z) - 1 for p in pieces)]).tolist()


def _run_segments(pieces: list[_Carrier], start: complex, end: complex, tol: float) -> list[Segment]:
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


def _segments(piece: _Carrier, start: Joint, end: Joint, tol: float) -> list[Segment]:
    if abs(end.at - start.at) < 1e-6 and piece.kind != "cubic":
        return []
    if piece.kind == "line":
        return [Line(start.at, end.at)]
    if piece.kind == "arc":
        arc = _arc(piece, start, end)
        if arc is not None and _off(arc, piece.z) <= _TRULY * tol:
            return [arc]
    return list(fit_chain(piece.z, [0, len(piece.z) - 1], start, end, tol))


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
