"""Slots with torn edges, hardly wider than the blur: drawn as a picture and blurred, not by the reader's model."""

from __future__ import annotations

import numpy as np
import pytest
from photo import slow_noise
from scipy.ndimage import gaussian_filter, uniform_filter1d

from cutout.gauge.card import cuts
from cutout.gauge.reading import _kerf
from cutout.gauge.sight import Blur, Sight
from cutout.gauge.slot import REACH, STEP, Slot, _edges
from cutout.geom.curve import FloatArray

FINE = 0.05
"""Millimetres of a dot of the drawing."""


def torn_slot(width: float, torn: float, sigma: float, seed: int) -> Slot:
    """Stations on a slot beside its line, with edges torn by `torn` (sigma, mm), blurred by `sigma` (mm)."""
    trail = cuts(1)[0].trails[0]
    rng = np.random.default_rng(seed)
    t = np.arange(-REACH, REACH + FINE / 4, FINE / 4)
    rows = int(trail.length / FINE)
    left, right = (torn * slow_noise(rows, FINE, 0.15, rng) for _ in range(2))
    middle = 1.2
    inside = (t > middle - width / 2 - left[:, None]) & (t < middle + width / 2 + right[:, None])
    dark = gaussian_filter(inside.astype(float), (sigma / FINE, 4 * sigma / FINE))
    dark += 0.35 * gaussian_filter(np.where(np.abs(t) < 0.125, 1.0, 0.0), 4 * sigma / FINE)
    seen = dark[:: round(STEP / FINE)]
    calm = uniform_filter1d(seen, 3, axis=0, mode="nearest")
    blur = Blur(1.0, 0.04, 0.0)
    found: FloatArray = np.array(
        [_edges(t, d, c, sigma, blur) or (np.nan, np.nan) for d, c in zip(seen, calm, strict=True)]
    )
    s = np.arange(len(seen), dtype=np.float64) * STEP
    return Slot(trail, s, found.sum(axis=1) / 2, found[:, 1] - found[:, 0], 0, 0, sigma)


@pytest.mark.parametrize(("width", "sigma"), [(0.7, 0.3), (0.9, 0.3)])
def test_tears_finer_than_the_blur_are_not_taken_for_width(width: float, sigma: float) -> None:
    """By the blur alone such a slot came out up to 0.05 mm too wide."""
    see = Sight(Blur(1.0, 0.04, 0.0), 0.1, 0.05)
    off = []
    for seed in range(3):
        value, why = _kerf(torn_slot(width, 0.1, sigma, seed), see, "kerf")
        assert value is not None, why
        off.append(value.value - width)
        assert abs(off[-1]) < value.sure
    assert abs(float(np.mean(off))) < 0.02
