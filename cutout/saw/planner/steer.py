"""Along a line as it lies: where every step may turn the blade just as the line does, no other run need be sought."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from cutout.geom.curve import ComplexArray, FloatArray

NEAR = 0.02
"""A run no further (mm) off its line than this is as good as any: it is a fifth of a pencil line."""
_STEEPEST = 1.5
"""No step begins at a larger angle (radians) to the way there: its arc would come back."""


@dataclass(frozen=True, eq=False, slots=True)
class Frame:
    """Stations (n,) of a line, each seen from its own direction: how the line turned since the one before (radians),
    the step from there (complex, mm), and between what offsets (mm, waste positive) the blade may pass."""

    turn: FloatArray
    step: ComplexArray
    low: FloatArray
    high: FloatArray


def steered(
    frame: Frame, radius: float, widest: float, bent: float
) -> tuple[FloatArray, FloatArray, FloatArray] | None:
    """Offset, heading against the line and curvature of the way there, (n,) each, of a chain of arcs along the line.

    It begins on the line and along it; every arc arrives along it. None where one would be tighter than `radius`
    (mm), lie more than NEAR off, turn by more than `widest` (radians), or bulge over its chord so that curvature
    times its length squared passes `bent` (mm).

    Seen from a station an arc of curvature k from heading p over the way a arrives at heading h with
    sin h = sin p + k a, and its chord lies at the mean of the two.
    """
    turn, step = frame.turn.tolist(), frame.step.tolist()
    low = np.maximum(frame.low, -NEAR).tolist()
    high = np.minimum(frame.high, NEAR).tolist()
    if not low[0] <= 0.0 <= high[0]:
        return None
    most = math.sin(widest)
    o = h = 0.0
    states = [(o, h, 0.0)]
    for i in range(1, len(turn)):
        sine = math.sin(turn[i])
        way = step[i].real + sine * o
        side = step[i].imag - math.cos(turn[i]) * o
        p = turn[i] + h
        p -= 2 * math.pi * round(p / (2 * math.pi))
        k = -p / max(abs(step[i]), 1e-9)
        begins = math.sin(p)
        ends = begins + k * way
        if abs(k) * radius > 1 or abs(p) > _STEEPEST or way <= 0 or abs(ends) >= most:
            return None
        o = way * (begins + ends) / (math.cos(p) + math.sqrt(1 - ends * ends)) - side
        h = math.asin(ends)
        half = (h - p) / 2
        length = way / math.cos(p + half) * (half / math.sin(half) if half else 1.0)
        if not low[i] <= o <= high[i] or abs(k) * length * length > bent:
            return None
        states.append((o, h, k))
    offset, heading, curvature = np.array(states).T
    return offset, heading, curvature
