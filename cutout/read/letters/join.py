"""What holds the letters of a figure together: neighbours that overlap, a bar under each line, a frame."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import shapely
from shapely import LineString, box

from cutout.geom.outline import as_multi
from cutout.read.letters.setting import Lettering, Line, Placed, bent

_STEPS = 24
"""Halvings while neighbours are moved together; the last is far below what can be sawn."""
_DEEPEST = 0.2
"""Letters are pushed into each other by at most this many cap heights: more would hide them."""
RUN_TOGETHER = 0.6
"""Letters that touch over more than this many cap heights look like one: stems side by side."""
_CLOSER = 0.01  # cap heights that letters are moved beyond touching, so that what joins them has an area
_LAP = 0.03
"""A bar reaches this many cap heights above the base line, so that flat feet stand in it."""


def welded(
    letters: Sequence[Placed], regions: Sequence[shapely.Geometry], joint: float, capital: float
) -> tuple[list[float], list[tuple[int, int]], list[tuple[int, int]]]:
    """How far (mm) each letter moves left so that it overlaps those before it in its word.

    Also the pairs that don't hold, and those whose stems run together. joint: how high (mm) the common part must be.
    Straight lines only.
    """
    moves: list[float] = []
    weak: list[tuple[int, int]] = []
    merged: list[tuple[int, int]] = []
    moved: list[shapely.Geometry] = []
    gone = 0.0
    for k, (letter, region) in enumerate(zip(letters, regions, strict=True)):
        same = [j for j in range(k) if letters[j].word == letter.word and letters[j].line == letter.line]
        if not k or letters[k - 1].line != letter.line:
            gone = 0.0
        if same and letter.glyph.advance > 0:
            before = shapely.union_all([moved[j] for j in same])
            extra, holds = _together(before, _moved(region, gone), joint, capital)
            gone += extra
            if not holds:
                weak.append((k - 1, k))
            elif _held(before, _moved(region, gone + _CLOSER * capital)) > RUN_TOGETHER * capital:
                merged.append((k - 1, k))
        moves.append(gone)
        moved.append(_moved(region, gone))
    return moves, weak, merged


def _together(
    before: shapely.Geometry, region: shapely.Geometry, joint: float, capital: float
) -> tuple[float, bool]:
    """The least further move to the left at which the common part is `joint` high; whether it ever is."""
    if _held(before, _moved(region, 0.0)) >= joint:
        return 0.0, True
    low, high = 0.0, shapely.distance(before, region) + _DEEPEST * capital
    if _held(before, _moved(region, high)) < joint:
        return high, False
    for _ in range(_STEPS):
        middle = (low + high) / 2
        if _held(before, _moved(region, middle)) >= joint:
            high = middle
        else:
            low = middle
    return high, True


def _held(before: shapely.Geometry, region: shapely.Geometry) -> float:
    """Height (mm) of the parts two letters share, all together: two places hold better than one."""
    parts = shapely.get_parts(shapely.intersection(before, region))
    if len(parts) == 0:
        return 0.0
    sizes = shapely.bounds(parts)
    return float((sizes[:, 3] - sizes[:, 1]).sum())


def _moved(region: shapely.Geometry, left: float) -> shapely.Geometry:
    return shapely.transform(region, lambda xy: xy - np.array([left, 0.0]))


def shifted(letters: Sequence[Placed], moves: Sequence[float]) -> list[Placed]:
    """The letters moved left."""
    return [replace(letter, foot=letter.foot - move) for letter, move in zip(letters, moves, strict=True)]


def bars(
    lines: Sequence[Line], letters: Sequence[shapely.Geometry], asked: Lettering, capital: float
) -> list[shapely.Geometry]:
    """The bar under each line of text, and the frame round all; straight or along the arc. mm."""
    joint = asked.joint * capital
    if asked.arc is not None:
        return [_round_bar(line, asked.arc, joint, capital) for line in lines if line.glyphs]
    x0, _, x1, y1 = shapely.union_all(list(letters)).bounds
    out = joint if asked.join == "frame" else 0.0
    under = [
        box(x0 - out, line.base + _LAP * capital - joint, x1 + out, line.base + _LAP * capital)
        for line in lines
    ]
    if asked.join != "frame":
        return list(under)
    low = lines[-1].base + _LAP * capital - joint
    whole = box(x0 - 2 * out, low, x1 + 2 * out, y1 + out)
    inner = box(x0 - out, low + joint, x1 + out, y1)
    return [*under, as_multi(whole.difference(inner))]


def _round_bar(line: Line, arc: float, joint: float, capital: float) -> shapely.Geometry:
    middle = line.base + _LAP * capital - joint / 2
    half = line.width / 2 + joint / 2
    turned = half / (arc + line.base)
    ends = np.linspace(-turned, turned, max(16, round(abs(turned) * 180)))
    z = [bent(complex(a * (arc + middle), middle), arc)[0] for a in ends.tolist()]
    return LineString([(p.real, p.imag) for p in z]).buffer(joint / 2, cap_style="flat", quad_segs=32)
