"""Means over all that evidence allows, where they are known."""

from __future__ import annotations

import math

import numpy as np
import pytest

from cutout.read.picture.weighed import weighed


def test_half_a_normal_has_its_mean_and_half_the_likelihood() -> None:
    """A normal number known to be above nought: mean sqrt(2 / pi), and half of all tries agree."""

    def log(tries: np.ndarray, softness: float) -> np.ndarray:
        normal = -0.5 * tries[:, 0] ** 2 - 0.5 * math.log(2 * math.pi)
        return np.asarray(normal - np.maximum(-tries[:, 0], 0) / softness)

    found = weighed(log, np.zeros(1), np.ones(1), (0.3, 0.1, 0.01, 0.01))
    assert found.mean[0] == pytest.approx(math.sqrt(2 / math.pi), abs=0.1)
    assert found.evidence == pytest.approx(math.log(0.5), abs=0.15)
    again = weighed(log, np.zeros(1), np.ones(1), (0.3, 0.1, 0.01, 0.01))
    assert again.mean[0] == found.mean[0]
