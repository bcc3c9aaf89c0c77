"""Points and narrow ends, whose corners lie nearer to each other than a picture can show: shapes known exactly."""

from __future__ import annotations

import io
import math

import numpy as np
import pytest
from PIL import Image
from scipy.ndimage import gaussian_filter
from shapely import LineString, Polygon
from shapely.geometry.polygon import orient

from cutout.geom.curve import FloatArray
from cutout.geom.outline import Outline
from cutout.read.options import ReadOptions
from cutout.read.picture.ends import _swallowed, _uncrossed
from cutout.read.picture.ends_shapes import Laid
from cutout.read.picture.likeness import coarse, drawn, windings
from cutout.read.picture.reader import read_picture

TIP, WAY = complex(75.3, 40.4), complex(math.cos(0.4), math.sin(0.4))


def traced(z: np.ndarray, blur: float, noise: float = 0.0, light: bool = False) -> Outline:
    share = gaussian_filter(coarse(drawn([z], (90, 100))), blur)
    codes = (30 + 205 * share if light else 235 - 205 * share) + np.random.default_rng(2).normal(
        0, noise, share.shape
    )
    out = io.BytesIO()
    Image.fromarray(np.clip(np.round(codes), 0, 255).astype(np.uint8)).save(out, "PNG")
    return read_picture(out.getvalue(), "ends", ReadOptions(speck=0.0, fill="as drawn"))


def leaf(length: float, width: float) -> np.ndarray:
    """A leaf with its tip at TIP, counter-clockwise: two parabolas, pointed at both ends."""
    t = np.linspace(0.0, 1.0, 60)
    bow = 2 * width * t * (1 - t)
    one, two = -length * t - 1j * bow, -length * t + 1j * bow
    return np.asarray(TIP + WAY * np.concatenate([two, one[-2:0:-1]]))


def corners(found: Outline) -> np.ndarray:
    return np.array([p for ring in found.rings for p, _ in ring.corners(math.radians(25))])


@pytest.mark.parametrize(
    ("blur", "noise", "off"),
    [(0.1, 0.0, 0.2), (0.7, 8.0, 1.0), (2.0, 1.0, 0.8)],
    ids=["clean", "noise", "blur"],
)
@pytest.mark.parametrize("light", [False, True])
def test_a_curved_point_reaches_to_its_tip(blur: float, noise: float, off: float, light: bool) -> None:
    """A tip of 23 degrees: a clean picture's half-way line stops 2.5 px short of it, a soft one's 5 px."""
    z = leaf(60.0, 6.0)
    seen = corners(traced(z, blur, noise, light))
    for tip in (TIP, TIP - 60.0 * WAY):
        assert np.abs(seen - tip).min() < off
    assert len(seen) == 2


@pytest.mark.parametrize(("blur", "noise"), [(0.1, 0.0), (1.0, 3.0)])
def test_a_narrow_bar_keeps_both_corners_of_its_ends(blur: float, noise: float) -> None:
    z = np.array([-55.3 - 1.6j, -1.6j, 1.6j, -55.3 + 1.6j]) * WAY + TIP
    seen = corners(traced(z, blur, noise))
    assert len(seen) == 4
    assert np.abs(seen[:, None] - z[None, :]).min(axis=0).max() < 0.5


def test_a_bar_three_blurs_wide_keeps_its_corners_beside_others_and_reaches_its_width() -> None:
    """No edge of the picture is alone: neither figure nor ground shows its own grey."""
    bars = [np.array([-0.5j, 60 - 0.5j, 60 + 5.7j, 5.7j]) + 20 + 18j + 12j * k for k in range(5)]
    turn = np.exp(0.1j)
    truth = np.array([(bar - 45 - 45j) * turn + 50 + 45j for bar in bars])
    share = gaussian_filter(coarse(drawn(list(truth), (90, 100))), 2.0)
    out = io.BytesIO()
    Image.fromarray(np.round(235 - 205 * share).astype(np.uint8)).save(out, "PNG")
    found = read_picture(out.getvalue(), "bars", ReadOptions(speck=0.0, fill="as drawn"))
    seen = corners(found)
    assert len(seen) == 20
    assert np.abs(seen[:, None] - truth.ravel()[None, :]).min(axis=0).max() < 0.35
    assert sum(ring.area for ring in found.rings) == pytest.approx(5 * 60 * 6.2, rel=0.025)


def test_teeth_close_to_one_another_keep_tips_and_notches_under_a_blur() -> None:
    teeth = [complex(84 - 18 * k, y) for k in range(1, 5) for y in (62, 38)]
    z = np.array([12 + 12j, 84 + 12j, 84 + 38j, *teeth[:-1]])
    seen = corners(traced(z, 2.0))
    assert np.abs(seen[:, None] - z[None, :]).min(axis=0).max() < 0.5


@pytest.mark.parametrize("turn", [0.2, 0.5, 1.1])
def test_ends_of_bars_in_black_and_white_are_square(turn: float) -> None:
    """The bits alone tell so: none of a round end or of a point would be as they are."""
    z = (np.array([-30 - 2.6j, 30 - 2.6j, 30 + 2.6j, -30 + 2.6j])) * np.exp(1j * turn) + 50.2 + 44.7j
    share = coarse(drawn([z], (90, 100)))
    out = io.BytesIO()
    Image.fromarray(share < 0.5).save(out, "PNG")
    seen = corners(read_picture(out.getvalue(), "bits", ReadOptions(speck=0.0, fill="as drawn")))
    assert len(seen) == 4
    assert np.abs(seen[:, None] - z[None, :]).min(axis=0).max() < 0.8


def test_a_narrow_part_with_a_round_end_gets_no_corners() -> None:
    end = Polygon(LineString([(-50, 0), (0, 0)]).buffer(1.8).exterior)
    xy = np.asarray(orient(end).exterior.coords)[:-1]
    found = traced((xy[:, 0] + 1j * xy[:, 1]) * WAY + TIP - 3, 0.1)
    assert len(corners(found)) == 0
    assert found.rings[0].area == pytest.approx(end.area, rel=0.01)


def covered(z: np.ndarray) -> FloatArray:
    """Exact share of each pixel within a closed line; rows from the top, some paper all round."""
    z = z - complex(z.real.min(), z.imag.min()) + 8 + 8j
    return np.asarray(windings([z], (math.ceil(z.imag.max()) + 9, math.ceil(z.real.max()) + 9))[0])


def seen_in(picture: Image.Image) -> np.ndarray:
    out = io.BytesIO()
    picture.save(out, "PNG")
    return corners(read_picture(out.getvalue(), "ends", ReadOptions(speck=0.0, fill="as drawn")))


def off(z: np.ndarray, seen: np.ndarray, which: list[int]) -> FloatArray:
    """How far the corner seen nearest to each of these points is from it."""
    z = z - complex(z.real.min(), z.imag.min()) + 8 + 8j
    return np.asarray(np.abs(seen[:, None] - z[which]).min(axis=0))


def test_points_in_black_and_white_lie_in_the_middle_of_where_they_may() -> None:
    """Tips of 23 degrees may lie a pixel and more ahead or back; the nearest line of any kind is 0.8 px off (RMS)."""
    away = []
    for k in range(6):
        z = leaf(70.0, 7.0) * np.exp(0.55j * k) + complex(0.3 * k, 0.7 * k)
        away += off(z, seen_in(Image.fromarray(covered(z) < 0.5)), [0, 59]).tolist()
    assert math.sqrt(np.mean(np.square(away))) < 0.5
    assert max(away) < 1.2


def test_points_with_long_straight_flanks_in_black_and_white_lie_where_those_meet() -> None:
    """By what six pixels to both sides of where an end's arms begin tell, the second one lay a pixel off."""
    for k in (5, 6):
        wide = 70 * math.tan(math.radians(17.5))
        z = np.array([0j, -70 + 1j * wide, -70 - 1j * wide]) * np.exp(0.41j * k) + complex(0.3 * k, 0.7 * k)
        assert off(z, seen_in(Image.fromarray(covered(z) < 0.5)), [0])[0] < 0.5


def test_round_ends_in_black_and_white_get_no_corners_but_polygons_keep_theirs() -> None:
    half = np.exp(1j * np.linspace(-math.pi / 2, math.pi / 2, 40))
    eight = 30 * np.exp(2j * math.pi * np.arange(8) / 8)
    few = 0
    for k in range(6):
        round_ = np.concatenate([15 + 11 * half, -15 - 11 * half]) * np.exp(0.37j * k)
        few += len(seen_in(Image.fromarray(covered(round_ + complex(0.3 * k % 1, 0.7 * k % 1)) < 0.5)))
        assert len(seen_in(Image.fromarray(covered(eight * np.exp(0.17j * k)) < 0.5))) == 8
    assert few <= 1


def test_bars_in_black_and_white_keep_all_their_corners() -> None:
    for k in range(6):
        z = np.array([-55 - 1.3j, -1.3j, 1.3j, -55 + 1.3j]) * np.exp(0.2j + 0.5j * k)
        seen = seen_in(Image.fromarray(covered(z) < 0.5))
        assert len(seen) == 4
        assert off(z, seen, [0, 1, 2, 3]).max() < 0.6


@pytest.mark.parametrize("degrees", [1.6, 5.2, 7.6])
def test_right_angles_near_the_pixel_rows_stay_sharp(degrees: float) -> None:
    """The half-way line cuts such a corner by more than most roundings do."""
    for k in range(6):
        shift = complex(0.37 * k % 1, 0.61 * k % 1)
        z = np.array([-20 - 15j, 20 - 15j, 20 + 15j, -20 + 15j]) * np.exp(1j * math.radians(degrees))
        frame = np.array([-30 - 25j, 30 - 25j, 30 + 25j, -30 + 25j])
        share = 1.0 - windings([frame + 36 + 32j, (z + 36 + 32j + shift)[::-1]], (64, 72)).sum(axis=0).clip(
            0, 1
        )
        seen = seen_in(Image.fromarray(np.round(20 + 215 * share).astype(np.uint8)))
        assert np.abs(seen[:, None] - (z + 36 + 32j + shift)).min(axis=0).max() < 0.1


def test_crumbs_that_a_point_had_come_apart_into_go_with_its_end() -> None:
    end = Laid(10, 20, np.array([0 + 0j, 12 + 1j, 0 + 2j]), (12 + 1j,))
    crumb = np.array([9 + 0.6j, 11 + 0.6j, 10 + 1.6j])
    assert _swallowed([crumb, crumb + 9j, 5 * crumb], [end]) == {0}


def test_a_line_that_crosses_itself_elsewhere_keeps_its_ends() -> None:
    z = np.concatenate([np.arange(40) + 0j, 40 - np.arange(40) + 4j])
    z[[20, 21]] = z[[21, 20]]
    z[60] = 20 - 1j
    within = Laid(38, 41, np.array([38 + 0j, 44 + 2j, 38 + 4j]), (44 + 2j,))
    assert _uncrossed(z, [within]) == [within]


def test_likeness_of_a_square_is_its_share_of_each_pixel() -> None:
    z = np.array([1.25 + 1j, 3.0 + 1j, 3.0 + 2.5j, 1.25 + 2.5j])
    seen: FloatArray = coarse(drawn([z], (4, 5)))
    # Rows from the top, so that y 1..2 is the third of four.
    assert seen[2] == pytest.approx([0, 0.75, 1, 0, 0], abs=1e-9)
    assert seen[1] == pytest.approx([0, 0.375, 0.5, 0, 0], abs=1e-9)


def test_an_end_that_would_make_its_line_cross_itself_is_left_as_it_was() -> None:
    z = np.concatenate(
        [np.arange(40) + 0j, 40 + 1j * np.arange(4), 40 - np.arange(40) + 4j, 4j - 1j * np.arange(4)]
    )
    across = Laid(15, 25, np.array([15 + 0j, 20 + 9j, 25 + 0j]), (20 + 9j,))  # through the other side
    within = Laid(38, 45, np.array([38 + 0j, 44 + 2j, 38 + 4j]), (44 + 2j,))
    assert _uncrossed(z, [across, within]) == [within]


@pytest.mark.parametrize("height", [2, 4, 6])
def test_a_bar_that_runs_off_the_picture_ends_at_its_rim(height: int) -> None:
    """What would lie beyond is not in the picture: neither a point nor a square end is looked for there."""
    grey = np.random.default_rng(1).integers(0, 3, (48, 64)).astype(np.uint8)
    grey[:height] = 255
    out = io.BytesIO()
    Image.fromarray(grey).save(out, "PNG")
    (ring,) = read_picture(out.getvalue(), "bar.png", ReadOptions()).rings
    x0, y0, x1, y1 = Outline((ring,), None).bounds
    assert (x0, y0, x1, y1) == pytest.approx((0.0, 48.0 - height, 64.0, 48.0), abs=0.15)
