"""Blur told from the marks: marks drawn and blurred by other means than those that read them."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.ndimage import gaussian_filter
from scipy.signal import fftconvolve

from cutout.gauge.camera import Fitted, fit
from cutout.gauge.card import HEIGHT, MARK, RIM, WIDTH, Card, cells, mark_boxes, word
from cutout.gauge.marks import Found, Mark
from cutout.gauge.sight import sight
from tests.gauge.photo import disc

CARD = Card(1, "a4")
FINE = 8
"""Pixels a millimetre."""
PAD = 5
"""Paper round the frame (mm)."""


def card_of_marks(paper: float, ink: float) -> np.ndarray:
    """The card with its four marks and nothing else, row 0 at the top."""
    light = np.full(((round(HEIGHT) + 2 * PAD) * FINE, (round(WIDTH) + 2 * PAD) * FINE), paper)
    cell = round((MARK - 2 * RIM) / 4 * FINE)
    for corner, (x0, y0, _, _) in enumerate(mark_boxes()):
        black = np.pad(
            np.kron(cells(word(CARD, corner)), np.ones((cell, cell), bool)),
            round(RIM * FINE),
            constant_values=True,
        )
        row, column = round((HEIGHT - y0 - MARK + PAD) * FINE), round((x0 + PAD) * FINE)
        light[row : row + len(black), column : column + len(black)] = np.where(black, ink, paper)
    return light


def seen(light: np.ndarray) -> Found:
    """The card as it would have been found in that picture."""
    size = (light.shape[1], light.shape[0])

    def at(xy: np.ndarray) -> np.ndarray:
        return (np.column_stack([xy[:, 0], HEIGHT - xy[:, 1]]) + PAD) * FINE

    xy = np.array([[x, y] for x in (0.0, 90.0, WIDTH) for y in (0.0, 120.0, HEIGHT)])
    fitted: Fitted = fit(xy, at(xy), size)
    marks = tuple(
        Mark(CARD.number, k, 0, at(np.array([[x0, y0], [x1, y0], [x1, y1], [x0, y1]])))
        for k, (x0, y0, x1, y1) in enumerate(mark_boxes())
    )
    return Found(CARD, fitted, np.zeros((0, 2)), marks, 0.05)


@pytest.mark.parametrize("sigma", [0.8, 3.0, 7.0])
def test_a_gaussian_is_told(sigma: float) -> None:
    light = gaussian_filter(card_of_marks(0.7, 0.05), sigma)
    see = sight(light.astype(np.float32), seen(light))
    # Between two pixels an edge is a ramp one pixel long.
    assert see.blur.sigma == pytest.approx(np.sqrt(sigma**2 + 1 / 12), rel=0.02)
    assert see.blur.disc <= 0.5
    assert see.ink == pytest.approx(0.05 / 0.7, abs=0.005)
    assert see.pixel == pytest.approx(1 / FINE, rel=0.001)


@pytest.mark.parametrize("radius", [6.0, 11.0])
def test_a_lens_out_of_focus_makes_discs(radius: float) -> None:
    light = fftconvolve(card_of_marks(0.7, 0.05) - 0.7, disc(radius), mode="same") + 0.7
    see = sight(light.astype(np.float32), seen(light))
    assert see.blur.sigma == pytest.approx(radius / 2, rel=0.03)
    assert see.blur.disc >= 0.9


def test_marks_that_are_not_alike_make_the_blur_less_sure() -> None:
    """One side of the picture is less sharp than the other, as of a card held askew."""
    sharp = card_of_marks(0.7, 0.05)
    half = sharp.shape[1] // 2
    light = np.hstack([gaussian_filter(sharp, 2.0)[:, :half], gaussian_filter(sharp, 3.0)[:, half:]])
    see = sight(light.astype(np.float32), seen(light))
    assert 2.0 < see.blur.sigma < 3.1
    assert see.blur.sure == pytest.approx(0.2, abs=0.05)
    alike = gaussian_filter(sharp, 2.5)
    assert sight(alike.astype(np.float32), seen(alike)).blur.sure < 0.05
