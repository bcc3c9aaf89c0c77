"""What is left of a guess once evidence has been weighed: a mean of all it allows, and how well it explains it.

Tries are drawn from a normal distribution and weighed by how likely each is, and the distribution is moved to where
the weight lies; first with the evidence softened, then with less and less softness (population Monte Carlo). The
same tries are drawn every time, so the same picture gives the same outline.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from cutout.geom.curve import FloatArray

_TRIES = 160
"""Tries at each softness: the mean of six numbers is then good to a tenth of their spread."""

_LEAST_SPREAD = 0.03
"""Spread below which the tries are never narrowed, so that a few of them don't end it."""


@dataclass(frozen=True, slots=True)
class Weighed:
    """Mean of a guess's numbers (k,), and the log of the mean likelihood of what was seen."""

    mean: FloatArray
    evidence: float


def weighed(
    likely: Callable[[FloatArray, float], FloatArray],
    mean: FloatArray,
    spread: FloatArray,
    soft: Sequence[float],
) -> Weighed:
    """The mean of numbers whose log density `likely` gives, for tries (n, k) and a softness; (n,).

    mean, spread: (k,) where to begin and how far around.
    """
    rng = np.random.default_rng(0)
    covariance, evidence = np.diag(spread**2), 0.0
    for softness in soft:
        root = np.linalg.cholesky(covariance)
        normal = rng.standard_normal((_TRIES, len(mean)))
        normal[0] = 0.0
        tries = mean + normal @ root.T
        drawn = (
            -0.5 * (normal**2).sum(axis=1)
            - float(np.log(np.diag(root)).sum())
            - 0.5 * len(mean) * math.log(2 * math.pi)
        )
        log = likely(tries, softness) - drawn
        most = float(log.max())
        weight = np.exp(log - most)
        evidence = most + math.log(float(weight.mean()))
        weight /= weight.sum()
        mean = weight @ tries
        off = tries - mean
        covariance = (weight[:, None] * off).T @ off + _LEAST_SPREAD**2 * np.eye(len(mean))
    return Weighed(mean, evidence)
