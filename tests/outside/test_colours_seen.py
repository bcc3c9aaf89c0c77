"""The colours of the width map as they are seen by eyes that lack one sort of cones, and in a grey print.

Matrices for severity 1.0 in linear light: Machado, Oliveira and Fernandes, "A physiologically-based model for
simulation of color vision deficiency" (IEEE TVCG 15, 2009), as published with that paper. Light of sRGB and CIELAB:
IEC 61966-2-1 and CIE 15 (D65).
"""

from __future__ import annotations

from itertools import combinations, pairwise

import numpy as np
import pytest

from cutout.draw.heat import COLOURS

APART = 19.0
"""Least distance in CIELAB between two steps; 2.3 is just seen, side by side (from memory). Our own choice."""

SEEN = {
    "all cones": [[1, 0, 0], [0, 1, 0], [0, 0, 1]],
    "no long ones": [
        [0.152286, 1.052583, -0.204868],
        [0.114503, 0.786281, 0.099216],
        [-0.003882, -0.048116, 1.051998],
    ],
    "no middle ones": [
        [0.367322, 0.860646, -0.227968],
        [0.280085, 0.672501, 0.047413],
        [-0.011820, 0.042940, 0.968881],
    ],
    "no short ones": [
        [1.255528, -0.076749, -0.178779],
        [-0.078411, 0.930809, 0.147602],
        [0.004733, 0.691367, 0.303900],
    ],
    "a grey print": [[0.2126, 0.7152, 0.0722]] * 3,
}
XYZ = [
    [0.4124564, 0.3575761, 0.1804375],
    [0.2126729, 0.7151522, 0.0721750],
    [0.0193339, 0.1191920, 0.9503041],
]
WHITE = [0.95047, 1.0, 1.08883]


def light(colour: str) -> np.ndarray:
    """Linear red, green and blue of a colour like #a0b0c0."""
    code = np.array([int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)])
    return np.where(code <= 0.04045, code / 12.92, ((code + 0.055) / 1.055) ** 2.4)


def lab(linear: np.ndarray) -> np.ndarray:
    """CIELAB of linear light; what no screen shows is clipped."""
    t = np.array(XYZ) @ np.clip(linear, 0, 1) / WHITE
    x, y, z = np.where(t > 216 / 24389, np.cbrt(t), (24389 / 27 * t + 16) / 116)
    return np.array([116 * y - 16, 500 * (x - y), 200 * (y - z)])


def test_the_scale_is_right() -> None:
    """White is 100, 0, 0; sRGB red is 53.24, 80.09, 67.20 (published tables, D65)."""
    assert lab(light("#ffffff")) == pytest.approx([100, 0, 0], abs=0.01)
    assert lab(light("#ff0000")) == pytest.approx([53.24, 80.09, 67.20], abs=0.02)


@pytest.mark.parametrize("eye", SEEN)
def test_no_two_steps_look_alike(eye: str) -> None:
    seen = [lab(np.array(SEEN[eye]) @ light(colour)) for colour in COLOURS]
    assert min(float(np.linalg.norm(a - b)) for a, b in combinations(seen, 2)) > APART
    assert all(b[0] > a[0] + 10 for a, b in pairwise(seen)), "lighter is wider for every eye"
