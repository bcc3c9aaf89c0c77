"""Where the face of a panel on a plain ground ends in a photograph, looked for across its outline."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from cutout.gauge.camera import Camera
from cutout.gauge.ground import Laid
from cutout.gauge.light import Light
from cutout.gauge.marks import sample
from cutout.geom.curve import FloatArray

STEP = 0.5
"""Distance between stations along the outline (mm)."""
_LIT = 0.2
"""Share of the face's light by which a wall must differ from it, and from the ground."""
_GROUND = 0.7
"""What lies so far from face to ground, or further, is the ground, lit a little unevenly."""
_BLURRED = 2.5
"""An edge is blurred over so many pixels to either side."""


def _edge_at(share: Light, camera: Camera, places: FloatArray, out: FloatArray, reach: float) -> FloatArray:
    """How far out of the wood its edge lies at each place (n,), mm; nan where there is none within reach."""
    pixel = float(np.median(camera.mm_per_pixel(places)))
    step = max(pixel / 3, 0.02)
    t = np.arange(-reach, reach + step, step)
    values = sample(share, camera.pixels(places[:, None, :] + t[None, :, None] * out[:, None, :]))
    near = round(max(2.5 * pixel, 0.25) / step)
    found = np.full(len(places), np.nan)
    middle = len(t) // 2
    for k, row in enumerate(values):
        # The crossing nearest to the line of the level half-way between wood and what lies beyond it.
        for level in (0.5, None):
            if level is None:
                i = int(np.clip(round((found[k] + reach) / step), near, len(t) - near - 1))
                wide = 3 * near
                level = (
                    float(
                        np.median(row[max(i - wide, 0) : i - near + 1]) + np.median(row[i + near : i + wide])
                    )
                    / 2
                )
            over = row > level
            down = np.flatnonzero(over[:-1] & ~over[1:])
            if len(down) == 0:
                found[k] = np.nan
                break
            i = int(down[np.argmin(np.abs(down - middle))])
            found[k] = t[i] + step * (row[i] - level) / (row[i] - row[i + 1])
    return found


@dataclass(frozen=True)
class Steps:
    """Where the face ends at places (n,): at (mm out of the wood), begins (where its light begins to change), ground:
    whether the ground lies right beyond. nan where it could not be told."""

    at: FloatArray
    begins: FloatArray
    ground: np.ndarray


def first_steps(
    picture: Laid, camera: Camera, places: FloatArray, out: FloatArray, reach: FloatArray, wide: FloatArray
) -> Steps:
    """How far out of the wood (mm) the face ends: its light changes there, whatever lies beyond.

    reach: (n,) mm to either side in which that is looked for. wide: (n,) mm for which what lies right beyond is seen:
    the opening's wall, the panel's shadow on the ground, or the ground; it must be lit evenly, and clearly otherwise
    than the face.
    """
    n = len(places)
    found = Steps(np.full(n, np.nan), np.full(n, np.nan), np.zeros(n, dtype=bool))
    if not n:
        return found
    pixel = float(np.median(camera.mm_per_pixel(places)))
    step = max(pixel / 3, 0.02)
    near, ahead = math.ceil(_BLURRED * pixel / step), np.ceil(wide / 2 / step).astype(int)
    t = np.arange(-float(reach.max()) - 1.0, float((reach + wide).max()) + 2 * _BLURRED * pixel, step)
    rows = sample(picture.share, camera.pixels(places[:, None, :] + t[None, :, None] * out[:, None, :]))
    rows = _with_neighbours(rows, places)
    for k, row in enumerate(rows):
        begin, end = np.searchsorted(t, [-reach[k] - 1.0, -reach[k]])
        face = float(np.median(row[begin:end]))
        # In the face's own light: a share of a light ground is many times that of dark wood.
        change = (row - face) * picture.lift
        other = np.abs(change) > _LIT / 2
        lasting = other & np.roll(other, -1) & np.roll(other, -2) & np.roll(other, -3)
        over = np.flatnonzero(lasting & (t > -reach[k]) & (t < reach[k]))
        if len(over) == 0:
            continue
        half, level = _half_way(change, int(over[0]), near, int(ahead[k]))
        if half is not None and abs(level) >= _LIT:
            i = int(half)
            found.at[k] = t[i] + step * (half - i)
            found.begins[k] = t[over[0]]
            found.ground[k] = level < -_GROUND * face * picture.lift
    return found


def _with_neighbours(rows: FloatArray, places: FloatArray) -> FloatArray:
    """Each row (n, m) with those of the stations beside it, so that grain and noise count less."""
    beside = np.hypot(*np.diff(places, axis=0).T)[:, None] < 2 * STEP
    total, count = rows.copy(), np.ones((len(rows), 1))
    total[1:] += np.where(beside, rows[:-1], 0.0)
    total[:-1] += np.where(beside, rows[1:], 0.0)
    count[1:] += beside
    count[:-1] += beside
    return total / count


def _half_way(change: FloatArray, begins: int, near: int, ahead: int) -> tuple[float | None, float]:
    """Where, in samples, a row (n,) of changes from nought comes half-way to what it is right beyond, and what that
    is; None where that is not even. near: samples of blur; ahead: samples beyond the edge that are alike."""
    at, level = float(begins), 0.0
    # First roughly, from what lies a blur or two on; then from what lies right beyond the edge itself.
    for last in (2 * near, max(ahead, near + 2)):
        beyond = change[int(at) + near : int(at) + last]
        if len(beyond) < 2:
            return None, level
        level = float(np.median(beyond))
        if abs(level) < _LIT / 2:
            return None, level
        # The first of its crossings from where the light begins to change.
        over = np.flatnonzero(change[begins : int(at) + near] / level >= 0.5)
        i = begins + int(over[0]) - 1 if len(over) else -1
        if i < 0 or change[i] / level >= 0.5:
            return None, level
        at = i + float((level / 2 - change[i]) / (change[i + 1] - change[i]))
    even = np.subtract(*np.percentile(beyond, [85, 15])) <= 0.5 * abs(level)
    return (at if even else None), level


def ends_at(
    picture: Laid, camera: Camera, places: FloatArray, out: FloatArray, reach: float
) -> tuple[FloatArray, float]:
    """How far out of the wood (mm) the face ends at places (n,), nan where it can't be told; at what share of them a
    shadow lies beyond.

    Half-way from wood to ground is the face's end unless a shadow lies between them. Where one does, the step from
    face to shadow counts; one too narrow to show as such makes the change begin further from its middle than at most
    places, and those are left out.
    """
    edge = _edge_at(picture.share, camera, places, out, reach)
    pixel = float(np.median(camera.mm_per_pixel(places))) if len(places) else 1.0
    blurred = _BLURRED * pixel
    all_alike = np.ones(len(places))
    first = first_steps(picture, camera, places, out, reach * all_alike, 2 * blurred * all_alike)
    plain = first.ground & (np.abs(first.at - edge) < blurred)
    if plain.any():
        lead = edge - first.begins
        plain &= lead < float(np.percentile(lead[plain], 25)) + 0.4 * pixel
    off = np.where(plain, edge, np.where(first.ground, np.nan, first.at))
    return off, float((np.isfinite(first.at) & ~first.ground).mean()) if len(places) else 0.0
