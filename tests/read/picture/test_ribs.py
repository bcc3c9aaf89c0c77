"""Narrow parts: how dark and how wide they are, where no pixel shows the figure's own grey."""

import io
import math

import numpy as np
import pytest
from PIL import Image
from scipy.ndimage import gaussian_filter

from cutout.geom.outline import Outline
from cutout.read.options import ReadOptions
from cutout.read.picture.edge import coded
from cutout.read.picture.likeness import FINE, coarse, drawn
from cutout.read.picture.reader import read_picture

LENGTH = 60.0


def bars(width: float) -> list[np.ndarray]:
    box = np.array([-LENGTH / 2 - 0.5j * width, LENGTH / 2 - 0.5j * width])
    box = np.concatenate([box, -box])
    return [box * np.exp(1j * turn) + 45.3 + 40.6j + 80 * k for k, turn in enumerate((0.1, 0.5, 1.2))]


def traced(width: float, blur: float, noise: float = 0.0, light: bool = False) -> Outline:
    share = coarse(gaussian_filter(drawn(bars(width), (80, 250)), blur * FINE))
    grey = coded(0.7 - 0.66 * share) if light else 240 - 210 * share
    grey = grey + np.random.default_rng(5).normal(0.0, noise, grey.shape) if noise else grey
    out = io.BytesIO()
    Image.fromarray(np.clip(np.round(grey), 0, 255).astype(np.uint8)).save(out, "PNG")
    return read_picture(out.getvalue(), "bars", ReadOptions(speck=0.0, fill="as drawn"))


def widths(found: Outline) -> list[float]:
    """Areas of the figures over the bars' length: a blur's width more or less at the ends."""
    return [abs(ring.area) / LENGTH for ring in found.rings]


@pytest.mark.parametrize(
    ("width", "blur", "noise", "off"),
    [(3.0, 1.0, 0.0, 0.1), (4.0, 2.0, 0.0, 0.15), (6.0, 2.0, 8.0, 0.15), (9.0, 3.0, 0.0, 0.2)],
)
def test_bars_under_three_blurs_wide_are_as_wide_as_drawn(
    width: float, blur: float, noise: float, off: float
) -> None:
    found = traced(width, blur, noise)
    assert len(found.rings) == 3
    assert widths(found) == pytest.approx([width] * 3, abs=off)
    assert not any(note.kind == "narrow lines" for note in found.notes)


def test_bars_of_a_photo_are_told_to_mix_light_by_both_their_edges() -> None:
    found = traced(7.0, 1.0, light=True)
    assert any("half-way in light" in note.text for note in found.notes)
    assert widths(found) == pytest.approx([7.0] * 3, abs=0.15)


def test_where_a_line_is_narrower_than_the_blur_its_width_is_said_to_be_a_guess() -> None:
    found = traced(2.0, 2.0, noise=2.0)
    assert len(found.rings) == 3
    (note,) = (note for note in found.notes if note.kind == "narrow lines")
    share = float(note.text.split("some ")[1].split(" %")[0]) / 100
    assert 0.04 < share < 0.6
    # Not sure, but far from the line four times as wide that half its own height would make.
    assert all(abs(math.log(width / 2.0)) < 3 * share for width in widths(found))
