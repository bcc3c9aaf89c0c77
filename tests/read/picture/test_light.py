"""Edges that mix light and edges that mix codes; pictures without a figure; pens on tinted paper."""

from __future__ import annotations

import io

import numpy as np
import pytest
from PIL import Image, ImageCms, ImageDraw
from scipy.ndimage import gaussian_filter
from skimage import data

from cutout.errors import ReadError
from cutout.geom.curve import FloatArray
from cutout.geom.outline import Outline
from cutout.read.options import ReadOptions
from cutout.read.picture.decode import decode, encoded
from cutout.read.picture.edge import coded, linear, step
from cutout.read.picture.reader import read_picture

RADIUS = 70.0
SIDE = 200


def disc(blur: float) -> FloatArray:
    """Share of each pixel inside a disc of RADIUS px off the pixel grid, seen through a Gaussian."""
    fine = 8
    at = (np.arange(SIDE * fine) + 0.5) / fine
    inside = np.hypot(at[None, :] - 100.3, at[:, None] - 99.6) < RADIUS
    share = inside.reshape(SIDE, fine, SIDE, fine).mean(axis=(1, 3))
    return gaussian_filter(share, blur) if blur else share


def saved(codes: FloatArray, kind: str = "PNG", **how: object) -> bytes:
    out = io.BytesIO()
    Image.fromarray(np.clip(np.round(codes), 0, 255).astype(np.uint8)).save(out, kind, **how)
    return out.getvalue()


def traced(picture: bytes, **how: object) -> Outline:
    return read_picture(picture, "test", ReadOptions(**how))  # type: ignore[arg-type]


def off(outline: Outline) -> float:
    """How much larger than the true disc, px of radius."""
    (ring,) = outline.rings
    return float(np.sqrt(abs(ring.area) / np.pi) - RADIUS)


def said(outline: Outline, kind: str) -> str:
    return " ".join(note.text for note in outline.notes if note.kind == kind)


def test_codes_and_light_by_the_standard() -> None:
    """IEC 61966-2-1: code 188 shows half the light of 255, 128 about 21.6 %, 64 about 5.1 %, 10 0.30 %."""
    assert linear(np.array([10, 64, 128, 188, 255])) == pytest.approx(
        [0.0030353, 0.0512695, 0.2158605, 0.5028865, 1.0], abs=1e-6
    )
    assert coded(linear(np.arange(256))) == pytest.approx(np.arange(256), abs=1e-3)


def test_the_step_is_a_box_and_a_gaussian() -> None:
    """Against the same worked out by adding up a fine grid."""
    fine = np.arange(-12, 12, 0.001)
    edge = gaussian_filter((fine > 0).astype(float), 800)
    for at in (-1.5, -0.4, 0.0, 0.7):
        inside = np.abs(fine - at) < 0.5
        assert step(np.array([at]), 0.8)[0] == pytest.approx(edge[inside].mean(), abs=2e-3)


@pytest.mark.parametrize("blur", [0.0, 0.8, 1.5, 3.0])
@pytest.mark.parametrize("kind", ["PNG", "JPEG"])
def test_a_disc_has_its_size_whichever_way_its_edge_is_mixed(blur: float, kind: str) -> None:
    share = disc(blur)
    how = {"quality": 88} if kind == "JPEG" else {}
    by_light = traced(saved(coded(0.75 - 0.71 * share), kind, **how))
    by_codes = traced(saved(230 - 200 * share, kind, **how))
    # Blurring a disc draws its half-way line inward by s^2 / 2 R, in whichever space: 0.064 px at most here. That is
    # taken back.
    assert abs(off(by_light)) < 0.03
    assert abs(off(by_codes)) < 0.03
    assert "in light" in said(by_light, "edges")
    assert "between the grey codes" in said(by_codes, "edges")


def test_a_light_disc_on_dark_too() -> None:
    found = traced(saved(coded(0.04 + 0.71 * disc(1.2))))
    assert abs(off(found)) < 0.04
    assert "in light" in said(found, "edges")


def test_greys_a_palette_lacks_make_no_ripples() -> None:
    """Six greys for a soft disc: its half-way line hops, but the outline is a circle still."""
    few = np.array([20, 25, 60, 150, 190, 225])
    codes = 225 - 205 * disc(1.5)
    nearest = np.abs(codes[..., None] - few).argmin(axis=2).astype(np.uint8)
    image = Image.fromarray(nearest, "P")
    image.putpalette(np.repeat(few, 3).astype(np.uint8).tobytes())
    out = io.BytesIO()
    image.save(out, "PNG")
    found = traced(out.getvalue())
    assert len(found.rings[0].segments) <= 4
    assert abs(off(found)) < 0.35


def test_where_the_edges_do_not_tell_the_camera_decides() -> None:
    """Black and white along the pixel rows, softened by nothing: no edge to look at."""
    plain = np.full((60, 60), 230.0)
    plain[20:40, 20:40] = 30.0
    exif = Image.Exif()
    exif[271] = "an invented maker"
    assert decode(saved(plain, "JPEG", exif=exif), "test").camera
    assert not decode(saved(plain, "JPEG"), "test").camera
    rough = plain + np.random.default_rng(3).normal(0, 6, plain.shape)
    assert "taken by a camera" in said(traced(saved(rough, "JPEG", exif=exif, quality=50)), "edges")
    assert "taken for a drawing" in said(traced(saved(rough, "JPEG", quality=50)), "edges")


def linear_profile() -> bytes:
    """sRGB's profile with its three curves replaced by one of gamma 1 (ICC.1:2022, 10.6 curveType, count 0)."""
    raw = bytearray(ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes())
    count = int.from_bytes(raw[128:132], "big")
    for k in range(count):
        entry = 132 + 12 * k
        if raw[entry : entry + 4] in (b"rTRC", b"gTRC", b"bTRC"):
            at = int.from_bytes(raw[entry + 4 : entry + 8], "big")
            raw[at : at + 12] = b"curv" + bytes(8)
            raw[entry + 8 : entry + 12] = (12).to_bytes(4, "big")
    return bytes(raw)


def test_a_profile_that_says_what_codes_mean_is_heeded() -> None:
    """The same light stored without a curve and a profile that says so: code 128 is shown as 188."""
    flat = Image.new("RGB", (8, 8), (128, 128, 128))
    out = io.BytesIO()
    flat.save(out, "PNG", icc_profile=linear_profile())
    assert decode(out.getvalue(), "test").grey[4, 4] == pytest.approx(188, abs=1)
    out = io.BytesIO()
    flat.save(out, "PNG", icc_profile=b"nonsense")
    assert decode(out.getvalue(), "test").grey[4, 4] == 128


def test_a_picture_whose_channels_are_alike_is_a_grey_one() -> None:
    """Large enough for only some of its pixels to be looked at; a red dot in it makes it one of colours."""
    image = Image.new("RGB", (1600, 1500), (200, 200, 200))
    assert decode(encoded(image), "test").colour.mode == "L"
    image.paste((250, 90, 90), (700, 700, 705, 705))
    assert decode(encoded(image), "test").colour.mode == "RGB"


@pytest.mark.parametrize("name", ["coffee", "astronaut", "moon", "coins", "rocket", "clock", "brick"])
def test_no_clear_figure_is_said(name: str) -> None:
    """Photographs of things that come with scikit-image."""
    picture = encoded(getattr(data, name)())
    with pytest.raises(ReadError, match="no clear figure here"):
        traced(picture)


def lattice(margin: int, grain: float) -> bytes:
    """Bars 9 px wide, 40 px apart, both ways; with paper round them, or cut off by the picture's rim."""
    y, x = np.mgrid[:240, :240] - 15
    bars = ((x % 40 < 9) | (y % 40 < 9)).astype(float)
    if margin:
        bars[:margin] = bars[-margin:] = bars[:, :margin] = bars[:, -margin:] = 0.0
    return saved(230 - 180 * bars + np.random.default_rng(4).normal(0, grain, bars.shape))


@pytest.mark.parametrize(("margin", "grain"), [(0, 0.0), (12, 0.0), (12, 6.0)])
def test_a_lattice_that_was_drawn_is_a_figure(margin: int, grain: float) -> None:
    assert len(traced(lattice(margin, grain)).rings) > 25


def test_a_grainy_pattern_that_the_rim_cuts_off_all_round_is_none() -> None:
    with pytest.raises(ReadError, match="no clear figure here"):
        traced(lattice(0, 6.0))


def slanting(light: bool) -> bytes:
    """A box turned by 3.5 degrees, sharp to the pixel: each of its edges runs through few rows or columns."""
    fine = 8
    at = (np.arange(200 * fine) + 0.5) / fine - 100
    turn = np.exp(-1j * np.radians(3.5))
    z = (at[None, :] + 1j * at[:, None]) * turn
    share = (
        ((np.abs(z.real) < 61.3) & (np.abs(z.imag) < 40.7)).reshape(200, fine, 200, fine).mean(axis=(1, 3))
    )
    return saved(coded(0.8 - 0.77 * share) if light else 231 - 180 * share)


@pytest.mark.parametrize("light", [False, True])
def test_straight_edges_tell_light_from_codes_where_their_profiles_do_not(light: bool) -> None:
    found = traced(slanting(light))
    assert ("half-way in light" in said(found, "edges")) == light
    (ring,) = found.rings
    assert ring.area == pytest.approx(4 * 61.3 * 40.7, rel=3e-4)


def test_a_silhouette_is_clear_and_a_threshold_by_hand_overrules() -> None:
    """scikit-image's drawing of a horse; its photograph of coins."""
    assert len(traced(encoded(data.horse())).rings) == 2
    assert traced(encoded(data.coins()), threshold=120, width=400.0).rings


def pen(paper: tuple[int, ...], ink: tuple[int, ...], width: int, falls_to: float) -> bytes:
    """A wavy loop drawn with a pen, light falling off to the right, grain, JPEG."""
    size, rng = (1200, 900), np.random.default_rng(5)
    drawn = Image.new("L", (2 * size[0], 2 * size[1]))
    t = np.linspace(0, 2 * np.pi, 500)
    r = 0.7 * size[1] * (1 + 0.2 * np.sin(3 * t))
    points = [(size[0] + a * np.cos(b), size[1] + a * np.sin(b)) for a, b in zip(r, t, strict=True)]
    ImageDraw.Draw(drawn).line(points, fill=255, width=2 * width, joint="curve")
    share = gaussian_filter(np.asarray(drawn.reduce(2), dtype=float) / 255, 1.0)[..., None]
    light = linear(np.array(paper)) * (1 - share) + linear(np.array(ink)) * share
    codes = coded(light * np.linspace(1, falls_to, size[0])[None, :, None])
    grain = rng.normal(0, 4, codes.shape) + 8 * gaussian_filter(rng.normal(0, 1, size[::-1]), 1.5)[..., None]
    return saved(codes + grain, "JPEG", quality=85)


@pytest.mark.parametrize(
    ("paper", "ink", "width", "falls_to"),
    [
        ((240, 225, 190), (40, 60, 140), 3, 0.8),
        ((180, 150, 110), (90, 90, 90), 3, 0.8),
        ((180, 150, 110), (160, 60, 50), 3, 0.8),
        ((150, 190, 220), (160, 60, 50), 6, 1.0),
    ],
)
def test_a_thin_pen_line_is_a_line_or_a_word_never_thousands_of_specks(
    paper: tuple[int, ...], ink: tuple[int, ...], width: int, falls_to: float
) -> None:
    try:
        found = traced(pen(paper, ink, width, falls_to), width=300.0)
    except ReadError as error:
        assert "draw round the figure" in str(error) or "no clear figure" in str(error)
    else:
        assert len(found.rings) == 1  # the loop is filled
        assert "was filled" in said(found, "fill")
