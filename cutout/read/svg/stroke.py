"""Strokes as regions: width, caps, joins and dashes as SVG defines them."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from itertools import pairwise
from typing import Literal

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import LinearRing, LineString, MultiPolygon, Point, Polygon

from cutout.geom import curve
from cutout.geom.curve import ComplexArray, stations
from cutout.read.curves import flattened
from cutout.read.svg.path import SubPath
from cutout.read.svg.walk import Stroke

CORNER = math.radians(8)
"""Turns below this count as part of a curve; a mitre there would stand out by 0.0024 of half the width."""

MAX_DASHES = 20_000
"""Dashes of one line: more are no drawing, and each is a shape to be joined with all others."""

_CAPS: dict[str, Literal["flat", "round", "square"]] = {"butt": "flat", "round": "round", "square": "square"}


@dataclass(frozen=True, slots=True)
class _Run:
    """Vertices of one stretch to stroke; `corner` says which vertices are true corners."""

    z: ComplexArray
    corner: NDArray[np.bool_]
    closed: bool


def stroke_region(paths: Iterable[SubPath], stroke: Stroke, tol: float) -> shapely.Geometry:
    """The region a stroke covers, in the units of the paths, within about `tol`."""
    half = stroke.width / 2
    pieces: list[shapely.Geometry] = []
    for path in paths:
        run = _run(path, tol)
        if len(run.z) < 2:
            pieces.extend(_dot(path.start, stroke, tol))
            continue
        for part in _dashed(run, stroke):
            pieces.extend(_stroked(part, half, stroke, tol))
    return shapely.union_all(pieces) if pieces else MultiPolygon()


def _run(path: SubPath, tol: float) -> _Run:
    parts: list[ComplexArray] = []
    joints: list[int] = []
    count = 0
    for segment in path.segments:
        z = flattened(segment, tol)
        parts.append(z[:-1])
        joints.append(count)
        count += len(z) - 1
    z = np.concatenate([*parts, [path.segments[-1].end]]) if path.segments else np.array([path.start])
    moved = np.append(True, z[1:] != z[:-1])
    corner = np.zeros(len(z), dtype=bool)
    corner[joints] = True
    # A vertex left out because the run stands still hands its joint on to the one before it.
    index = np.cumsum(moved) - 1
    merged = np.zeros(int(moved.sum()), dtype=bool)
    np.logical_or.at(merged, index, corner)
    return _Run(z[moved], _true_corners(z[moved], merged, path.closed), path.closed)


def _true_corners(z: ComplexArray, joint: NDArray[np.bool_], closed: bool) -> NDArray[np.bool_]:
    if len(z) < 2:
        return joint
    step = np.diff(z)
    into = np.append(step[-1:], step) if closed else np.append(step[:1], step)
    out = np.append(step, step[:1]) if closed else np.append(step, step[-1:])
    sharp = np.abs(np.angle(out * into.conj())) > CORNER
    return np.asarray(joint & sharp)


def _dashed(run: _Run, stroke: Stroke) -> Iterator[_Run]:
    """The run, or the stretches of it that dashes leave."""
    if not stroke.dashes:
        yield run
        return
    along = stations(run.z)
    total, period = float(along[-1]), sum(stroke.dashes)
    if total / period * len(stroke.dashes) > MAX_DASHES:
        yield run
        return
    at = -(stroke.offset % period)
    k = 0
    while at < total:
        end = at + stroke.dashes[k % len(stroke.dashes)]
        if k % 2 == 0 and end > 0 and end - at > 0:
            yield _stretch(run, along, max(at, 0.0), min(end, total))
        at, k = end, k + 1


def _stretch(run: _Run, along: NDArray[np.float64], a: float, b: float) -> _Run:
    inner = (along > a) & (along < b)
    ends = np.interp([a, b], along, run.z.real) + 1j * np.interp([a, b], along, run.z.imag)
    z = np.concatenate([ends[:1], run.z[inner], ends[1:]])
    return _Run(z, np.concatenate([[False], run.corner[inner], [False]]), False)


def _stroked(run: _Run, half: float, stroke: Stroke, tol: float) -> Iterator[shapely.Geometry]:
    quad = _quad_segs(half, tol)
    if stroke.join == "round" or not run.corner.any():
        xy = curve.to_array(run.z)
        line = LinearRing(xy) if run.closed and len(xy) > 3 else LineString(xy)
        yield shapely.buffer(line, half, quad_segs=quad, cap_style=_CAPS[stroke.cap], join_style="round")
        return
    yield from shapely.buffer(_smooth_runs(run), half, quad_segs=quad, cap_style="flat", join_style="round")
    yield from _joins(run, half, stroke)
    if not run.closed and stroke.cap != "butt":
        yield from _caps(run, half, stroke, quad)


def _smooth_runs(run: _Run) -> NDArray[np.object_]:
    """Line strings between true corners; a closed run starts at a corner so that none is cut elsewhere."""
    z, corner = run.z, run.corner.copy()
    if run.closed:
        first = int(np.argmax(corner[:-1]))
        z = np.concatenate([z[first:-1], z[: first + 1]])
        corner = np.concatenate([corner[first:-1], corner[: first + 1]])
    cuts = [0, *(np.flatnonzero(corner[1:-1]) + 1).tolist(), len(z) - 1]
    parts = [z[a : b + 1] for a, b in pairwise(cuts)]
    return np.array([LineString(curve.to_array(p)) for p in parts], dtype=object)


def _joins(run: _Run, half: float, stroke: Stroke) -> Iterator[shapely.Geometry]:
    """Wedges that fill the outer side of each corner: mitres where the limit allows, else bevels."""
    z = run.z
    indices = np.flatnonzero(run.corner[:-1] if run.closed else run.corner)
    for i in indices.tolist():
        before = z[i - 1] if i else z[-2]
        into, out = _unit(z[i] - before), _unit(z[i + 1] - z[i])
        turn = math.atan2((into.conjugate() * out).imag, (into.conjugate() * out).real)
        side = -1j if turn > 0 else 1j
        a, b = z[i] + side * into * half, z[i] + side * out * half
        # The wedge reaches a hair back into both neighbours so that no crack is left between them.
        hair = 1e-4 * half
        corner = [z[i] - into * hair, a - into * hair, a]
        if stroke.join == "miter" and 1 / max(math.cos(turn / 2), 1e-9) <= stroke.miter:
            corner.append(z[i] + side * _unit(into + out) * half / math.cos(turn / 2))
        corner += [b, b + out * hair, z[i] + out * hair]
        yield shapely.make_valid(Polygon(curve.to_array(np.array(corner))))


def _caps(run: _Run, half: float, stroke: Stroke, quad: int) -> Iterator[shapely.Geometry]:
    for end, away in ((run.z[0], run.z[0] - run.z[1]), (run.z[-1], run.z[-1] - run.z[-2])):
        if stroke.cap == "round":
            yield shapely.buffer(Point(end.real, end.imag), half, quad_segs=quad)
        else:
            out = _unit(complex(away)) * half
            corners = [end - out * 1e-4 + 1j * out, end + out + 1j * out, end + out - 1j * out]
            corners.append(end - out * 1e-4 - 1j * out)
            yield Polygon(curve.to_array(np.array(corners)))


def _dot(at: complex, stroke: Stroke, tol: float) -> Iterator[shapely.Geometry]:
    """What a run of no length leaves: a disc or a square under its cap, nothing under a butt cap."""
    half = stroke.width / 2
    if stroke.cap == "round":
        yield shapely.buffer(Point(at.real, at.imag), half, quad_segs=_quad_segs(half, tol))
    elif stroke.cap == "square":
        yield shapely.box(at.real - half, at.imag - half, at.real + half, at.imag + half)


def _quad_segs(radius: float, tol: float) -> int:
    """Chords per quarter turn so that the sagitta stays within tol."""
    step = 2 * math.acos(max(1 - tol / radius, 0.0)) if radius > 0 else math.pi / 2
    return min(max(math.ceil(math.pi / 2 / max(step, 1e-3)), 4), 256)


def _unit(d: complex) -> complex:
    return d / abs(d) if d else 1 + 0j
