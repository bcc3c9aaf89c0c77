"""What falls, by its shape: a tip, a strip, a round piece; told from the outline, never from what it depicts."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Literal, TypeAlias

import numpy as np
import shapely
from shapely import Polygon

from cutout.geom.where import place_in

Shape: TypeAlias = Literal["main piece", "tip", "strip", "round piece", "small piece", "piece"]

_MAIN = 0.4
"""From this share of its opening on a piece is the main one."""
_SMALL = 0.02, 300.0
"""A piece is small below this share of its opening, or below this area (mm^2)."""
_SHARP, _SHARP_STRIP = math.radians(65), math.radians(35)
"""A piece whose hull has a corner up to this angle ends in a tip; a strip, whose end may be aslant, up to this."""
_STRIP = 3.0
"""A piece so many times as long as it is wide is a strip."""
_LONG = 4.0
"""A tip so many times as long as it is wide is a long one."""
_ROUND = 0.93
"""Share of the least circle round it that a round piece fills."""
_CORNERS = 0.02
"""Corners are looked for after so much of a piece's length is smoothed away."""
_NUMBERS = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine")


def pieces_name(pieces: Sequence[Polygon], whole: float, box: Sequence[float]) -> str:
    """Pieces that fall together, in a few words: "two tips at the right", "main piece in the middle and 3 more".

    whole: area of the opening they are of (mm^2). box: that opening's bounds.
    """
    largest = max(pieces, key=lambda p: p.area)
    shapes = [shape_of(p, whole) for p in pieces]
    if len(pieces) > 1 and len(set(shapes)) == 1:
        return f"{_numbered(shapes[0], len(pieces))} {_at(shapely.union_all(list(pieces)), box)}"
    rest = f" and {len(pieces) - 1} more" if len(pieces) > 1 else ""
    return f"{_sized(largest, shape_of(largest, whole))} {_at(largest, box)}{rest}"


def shape_of(piece: Polygon, whole: float) -> Shape:
    """The shape of one piece of an opening so large (mm^2)."""
    if piece.area >= _MAIN * whole:
        return "main piece"
    if piece.area < max(_SMALL[0] * whole, _SMALL[1]):
        return "small piece"
    if piece.area > _ROUND * math.pi * float(shapely.minimum_bounding_radius(piece)) ** 2:
        return "round piece"
    slender = _slenderness(piece) >= _STRIP
    if _sharpest(piece) <= (_SHARP_STRIP if slender else _SHARP):
        return "tip"
    return "strip" if slender else "piece"


def _at(geometry: shapely.Geometry, box: Sequence[float]) -> str:
    place = place_in(geometry, box)
    return f"{'in' if place == 'middle' else 'at'} the {place}"


def _sized(piece: Polygon, shape: Shape) -> str:
    return f"long {shape}" if shape == "tip" and _slenderness(piece) >= _LONG else shape


def _numbered(shape: Shape, number: int) -> str:
    return f"{_NUMBERS[number] if number < len(_NUMBERS) else number} {shape}s"


def _slenderness(piece: Polygon) -> float:
    """Length over width of the least rectangle round a piece."""
    box = shapely.get_coordinates(shapely.minimum_rotated_rectangle(piece))
    sides = sorted(np.hypot(*np.diff(box[:3], axis=0).T).tolist())
    return float(sides[1] / max(sides[0], 1e-9))


def _sharpest(piece: Polygon) -> float:
    """Least angle (radians) of the hull's corners, fine wobbles and roundings left out."""
    hull = shapely.convex_hull(piece)
    corners = shapely.get_coordinates(hull.simplify(_CORNERS * hull.length / 2))[:-1]
    if len(corners) < 3:
        return 0.0
    z = corners[:, 0] + 1j * corners[:, 1]
    turned = np.abs(np.angle((np.roll(z, -1) - z) / (z - np.roll(z, 1))))
    return float(math.pi - turned.max())
