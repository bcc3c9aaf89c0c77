"""The step across an edge, and greys counted instead of copied, against general ways to the same."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.optimize import least_squares

from cutout.read.picture import edge
from cutout.read.picture.classes import histogram, quantiles


@pytest.mark.parametrize(("shift", "sigma", "strays"), [(0.0, 0.6, 0), (0.4, 1.5, 0), (-0.8, 3.0, 12)])
def test_the_nearest_step_is_the_one_a_general_optimiser_finds(
    shift: float, sigma: float, strays: int
) -> None:
    """scipy's least squares with the same loss, from the same start."""
    draw = np.random.default_rng(5)
    t = np.sort(draw.uniform(-9, 9, (60, 19)), axis=1)
    values = 20 + 200 * edge.step(t - shift, sigma)[0] + draw.normal(0, 4, t.shape)
    values[:strays] = draw.uniform(0, 255, (strays, t.shape[1]))

    def shown(share: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        return 20 + 200 * share, np.full(share.shape, 200.0)

    general = least_squares(
        lambda p: (20 + 200 * edge.step(t - p[0], p[1])[0] - values).ravel(),
        [0.0, 1.0],
        bounds=(edge._LIMITS[0], edge._LIMITS[1]),
        loss="soft_l1",
        f_scale=edge._TAME,
        xtol=1e-12,
        ftol=1e-12,
    )
    assert edge._nearest_step(t, values, shown, (0.0, 1.0)) == pytest.approx(general.x, abs=1e-4)


@pytest.mark.parametrize("size", [1, 2, 57, 4000])
def test_quantiles_of_counted_greys_are_those_of_the_greys(size: int) -> None:
    greys = np.random.default_rng(size).integers(3, 250, size).astype(np.uint8)
    counts = histogram(greys)
    assert counts.tolist() == np.bincount(greys, minlength=256).tolist()
    shares = (0.02, 0.3, 0.5, 0.98)
    assert quantiles(counts, shares) == pytest.approx(np.quantile(greys.astype(float), shares))


@pytest.mark.parametrize(
    ("blur", "evidence", "told"), [(0.1, 0.1, False), (1.0, 0.1, True), (1.0, -0.1, True)]
)
def test_blurred_edges_settle_light_or_codes_by_less(blur: float, evidence: float, told: bool) -> None:
    fit = edge.EdgeFit(np.exp(evidence), 1.0, 100, blur)
    assert fit.sure == told
    assert fit.light_mixed(camera=False) == (told and evidence > 0)
