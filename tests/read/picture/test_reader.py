"""Pictures of every sort people bring: formats, light, colour, transparency, broken files."""

from __future__ import annotations

import io
import struct
from typing import Any

import numpy as np
import pytest
import shapely
from PIL import Image, ImageDraw
from skimage.transform import ProjectiveTransform, warp

from cutout.errors import ReadError
from cutout.geom.outline import Outline
from cutout.read.options import ReadOptions
from cutout.read.picture.reader import read_picture
from cutout.say.source import sentence

SIZE = (120, 90)
PLAIN = ReadOptions()


def kite(size: tuple[int, int] = SIZE, ground: Any = 255, figure: Any = 0, mode: str = "L") -> Image.Image:
    """A kite, taller on the right, drawn eight times finer."""
    w, h = size[0] * 8, size[1] * 8
    fine = Image.new(mode, (w, h), ground)
    ImageDraw.Draw(fine).polygon(
        [(w * 0.15, h * 0.5), (w * 0.6, h * 0.12), (w * 0.88, h * 0.5), (w * 0.6, h * 0.88)], fill=figure
    )
    return fine.reduce(8)


def saved(image: Image.Image, kind: str = "PNG", **how: object) -> bytes:
    out = io.BytesIO()
    image.save(out, kind, **how)
    return out.getvalue()


def read(data: bytes, options: ReadOptions = PLAIN) -> Outline:
    return read_picture(data, "test", options)


def overlap(one: Outline, two: Outline) -> float:
    a, b = one.region(), two.region()
    return float(shapely.intersection(a, b).area / shapely.union(a, b).area)


def said(outline: Outline, kind: str) -> str:
    return " ".join(sentence(note, "mm") for note in outline.notes if note.kind == kind)


@pytest.fixture(scope="module")
def plain() -> Outline:
    return read(saved(kite()))


def test_the_kite_is_four_lines_where_it_was_drawn(plain: Outline) -> None:
    (ring,) = plain.rings
    assert len(ring.segments) == 4
    assert ring.area == pytest.approx(120 * 90 * 0.73 * 0.76 / 2, rel=0.02)
    assert plain.bounds == pytest.approx((18, 10.8, 105.6, 79.2), abs=0.5)
    assert plain.scale is None


@pytest.mark.parametrize("kind", ["PNG", "JPEG", "WEBP", "TIFF", "BMP", "GIF"])
@pytest.mark.parametrize("mode", ["1", "L", "RGB", "P"])
def test_formats_and_modes(plain: Outline, kind: str, mode: str) -> None:
    image = kite().convert(mode)
    if (kind == "JPEG" and mode in "1P") or (kind == "WEBP" and mode in "1P"):
        image = image.convert("L")
    assert overlap(read(saved(image, kind)), plain) > 0.97


def test_cmyk(plain: Outline) -> None:
    assert overlap(read(saved(kite().convert("RGB").convert("CMYK"), "JPEG", quality=95)), plain) > 0.97
    assert overlap(read(saved(kite().convert("RGB").convert("CMYK"), "TIFF")), plain) > 0.97


@pytest.mark.parametrize("kind", ["PNG", "TIFF"])
@pytest.mark.parametrize("top", [65535, 4095])
def test_sixteen_bits_are_scaled_not_clipped(plain: Outline, kind: str, top: int) -> None:
    grey = np.asarray(kite(), dtype=np.float64) / 255
    deep = Image.fromarray((0.3 * top + 0.6 * top * grey).astype(np.uint16))
    assert overlap(read(saved(deep, kind)), plain) > 0.985


def test_only_the_first_frame_of_a_moving_picture(plain: Outline) -> None:
    frames = [kite(), Image.new("L", SIZE, 255)]
    data = saved(frames[0], "GIF", save_all=True, append_images=frames[1:])
    assert overlap(read(data), plain) > 0.97


@pytest.mark.parametrize("orientation", range(2, 9))
def test_cameras_that_note_how_they_were_held(plain: Outline, orientation: int) -> None:
    undo = {2: 0, 3: 3, 4: 1, 5: 5, 6: 2, 7: 6, 8: 4}  # Image.Transpose that the note undoes
    turned = kite().transpose(Image.Transpose(undo[orientation]))
    exif = Image.Exif()
    exif[274] = orientation
    assert overlap(read(saved(turned, "JPEG", exif=exif, quality=95)), plain) > 0.97


@pytest.mark.parametrize("hard", [False, True])
@pytest.mark.parametrize(("inside", "outside"), [(1.0, 0.0), (0.6, 0.0), (1.0, 0.4), (0.85, 0.3)])
def test_a_glass_and_a_soft_shadow_leave_the_edge_where_it_is(
    inside: float, outside: float, hard: bool
) -> None:
    """A disc of 40 px whose right is opaque and whose left is a veil, on a shadow that fades to the right."""
    y, x = (np.mgrid[0:800, 0:960] + 0.5) / 8
    within = np.hypot(x - 60.2, y - 49.7) < 40.0
    share = within.reshape(100, 8, 120, 8).mean(axis=(1, 3))
    share = np.round(share) if hard else share
    fall = np.linspace(0.0, 1.0, 120)
    alpha = share * (inside + (1 - inside) * fall) + (1 - share) * outside * (1 - fall)
    image = Image.new("L", (120, 100), 90)
    image.putalpha(Image.fromarray(np.round(255 * alpha).astype(np.uint8)))
    (ring,) = read(saved(image)).rings
    off = np.abs(ring.complex_points(0.001) - complex(60.2, 100 - 49.7)) - 40.0
    assert float(np.abs(off).max()) < (0.15 if hard else 0.03)


def test_transparency_is_the_shape_whatever_colour_it_has(plain: Outline) -> None:
    for colour in ("white", "black", "red"):
        image = Image.new("RGB", SIZE, colour)
        image.putalpha(kite(ground=0, figure=255))
        outline = read(saved(image))
        assert overlap(outline, plain) > 0.98
        assert "transparency" in said(outline, "threshold")


def test_a_drawing_on_a_sheet_with_clear_margins_is_still_the_drawing(plain: Outline) -> None:
    image = kite().convert("RGB")
    alpha = Image.new("L", SIZE, 0)
    ImageDraw.Draw(alpha).rounded_rectangle((2, 2, SIZE[0] - 3, SIZE[1] - 3), 10, fill=255)
    image.putalpha(alpha)
    assert overlap(read(saved(image)), plain) > 0.98


def test_a_clear_colour_in_a_palette(plain: Outline) -> None:
    image = kite(ground=0, figure=255).point(lambda v: 1 if v > 127 else 0).convert("P")
    image.putpalette([255, 255, 255, 250, 250, 250])
    assert overlap(read(saved(image, "GIF", transparency=0)), plain) > 0.97


def test_light_on_dark_is_found_out_and_can_be_overruled(plain: Outline) -> None:
    dark = saved(kite(ground=10, figure=240))
    assert overlap(read(dark), plain) > 0.99
    assert "light figure on dark" in said(read(dark), "threshold")
    ground = read(dark, ReadOptions(invert=False))
    assert ground.region().area == pytest.approx(120 * 90 - plain.region().area, rel=0.01)


def test_a_threshold_that_is_given_is_used() -> None:
    steps = np.full((60, 60), 255, np.uint8)
    steps[10:50, 10:50] = 150
    steps[20:40, 20:40] = 20
    assert read(saved(Image.fromarray(steps)), ReadOptions(threshold=200)).region().area == pytest.approx(
        1600, rel=0.02
    )
    small = read(saved(Image.fromarray(steps)), ReadOptions(threshold=80))
    assert small.region().area == pytest.approx(400, rel=0.03)
    assert "grey 80 of 255" in said(small, "threshold")


@pytest.mark.parametrize("size", [(120, 90), (400, 300)])
def test_uneven_light_is_divided_out(size: tuple[int, int]) -> None:
    even = kite(size, ground=235, figure=40)
    light = np.linspace(1.0, 0.40, size[0])[None, :] * np.linspace(1.0, 0.8, size[1])[:, None]
    dim = Image.fromarray((np.asarray(even) * light).astype(np.uint8))
    outline = read(saved(dim))
    assert overlap(outline, read(saved(even))) > 0.985
    assert "Local threshold" in said(outline, "threshold")


def test_a_local_threshold_can_be_asked_for(plain: Outline) -> None:
    outline = read(saved(kite()), ReadOptions(threshold="local"))
    assert overlap(outline, plain) > 0.98
    assert "as asked" in said(outline, "threshold")


@pytest.mark.parametrize(
    ("ground", "figure"), [((110, 160, 90), (190, 110, 120)), ((250, 220, 30), (240, 240, 250))]
)
def test_colours_as_light_as_each_other_are_told_apart(
    plain: Outline, ground: object, figure: object
) -> None:
    outline = read(saved(kite(ground=ground, figure=figure, mode="RGB")))
    assert overlap(outline, plain) > 0.97
    assert "background" in said(outline, "threshold")


def test_a_figure_of_many_colours_on_a_plain_ground(plain: Outline) -> None:
    mask = kite(ground=0, figure=255)
    patches = Image.new("RGB", SIZE, (200, 30, 30))
    ImageDraw.Draw(patches).rectangle((50, 0, 80, 90), fill=(250, 210, 40))
    ImageDraw.Draw(patches).rectangle((80, 0, 120, 90), fill=(20, 90, 200))
    image = Image.composite(patches, Image.new("RGB", SIZE, (235, 240, 235)), mask)
    assert overlap(read(saved(image)), plain) > 0.95


def test_specks_are_dropped_and_counted_in_size_on_the_wood() -> None:
    image = kite((240, 180))
    draw = ImageDraw.Draw(image)
    for x in (5, 20, 35):
        draw.rectangle((x, 5, x + 2, 7), fill=0)
    draw.rectangle((140, 90, 143, 93), fill=255)
    small = read(saved(image), ReadOptions(width=100.0, speck=3.0))
    assert len(small.rings) == 1
    assert "3 specks and 1 pinhole smaller than 3 mm were left out." in said(small, "speck")
    large = read(saved(image), ReadOptions(width=100.0, speck=0.2))
    assert len(large.rings) == 5
    assert said(large, "speck") == ""


def test_thin_parts_are_kept() -> None:
    image = kite((240, 180))
    ImageDraw.Draw(image).line((20, 170, 220, 170), fill=0, width=2)
    outline = read(saved(image), ReadOptions(width=200.0, speck=5.0))
    assert len(outline.rings) == 2
    assert min(r.area for r in outline.rings) == pytest.approx(400, rel=0.05)


def test_grain_makes_no_islands() -> None:
    rough = np.asarray(kite((240, 180), ground=200, figure=60), float) + np.random.default_rng(1).normal(
        0, 14, (180, 240)
    )
    outline = read(saved(Image.fromarray(np.clip(rough, 0, 255).astype(np.uint8))), ReadOptions(width=240.0))
    assert len(outline.rings) == 1
    assert len(outline.rings[0].segments) <= 8


def test_ground_that_runs_off_the_picture_is_said_and_kept() -> None:
    """A dark bird in a light sky over a darker band of grass as wide as the picture."""
    photo = Image.new("L", (240, 160), 200)
    draw = ImageDraw.Draw(photo)
    draw.polygon([(90, 40), (150, 40), (120, 75)], fill=30)
    draw.rectangle([0, 110, 240, 160], fill=70)
    found = read(saved(photo))
    text = said(found, "border")
    assert "left (31 % of that side), right (31 % of that side) and bottom (100 % of that side)" in text
    assert "crop the picture" in text
    assert found.region().area == pytest.approx(240 * 50 + 60 * 35 / 2, rel=0.02)


def test_a_figure_clear_of_the_edges_or_touching_them_briefly_is_fine(plain: Outline) -> None:
    assert not said(plain, "border")
    stem = kite()
    ImageDraw.Draw(stem).rectangle([60, 60, 65, 90], fill=0)
    assert not said(read(saved(stem)), "border")
    ImageDraw.Draw(stem).rectangle([60, 60, 75, 90], fill=0)
    assert "bottom (13 % of that side)" in said(read(saved(stem)), "border")


def test_a_coarse_picture_is_said_to_be_one() -> None:
    assert "on the wood" in said(read(saved(kite()), ReadOptions(width=600.0)), "coarse picture")


PHOTO = (900, 700)
QUAD = np.array([(150.0, 90.0), (760.0, 150.0), (820.0, 600.0), (90.0, 560.0)])


def photo_of_sheet(sheet: tuple[float, float] = (297.0, 210.0)) -> bytes:
    """A white sheet with a black 150 x 100 mm rectangle 50 mm from its left and top, on a brown table."""
    drawn = np.full((int(sheet[1]) * 4, int(sheet[0]) * 4), 1.0)
    drawn[200:600, 200:800] = 0.08
    target = np.array([(0, 0), (sheet[0] * 4, 0), (sheet[0] * 4, sheet[1] * 4), (0, sheet[1] * 4)]) - 0.5
    to_sheet = ProjectiveTransform.from_estimate(QUAD - 0.5, target)
    seen = warp(drawn, to_sheet, output_shape=PHOTO[::-1], cval=-1.0, order=1)
    inside = warp(np.ones_like(drawn), to_sheet, output_shape=PHOTO[::-1], cval=0.0)
    rgb = np.array([0.45, 0.33, 0.22])[None, None, :] * (1 - inside[..., None]) + (
        np.clip(seen, 0, 1)[..., None] * 0.93 * inside[..., None]
    )
    return saved(Image.fromarray((np.clip(rgb, 0, 1) * 255).astype(np.uint8)))


def assert_true_rectangle(outline: Outline) -> None:
    assert outline.scale is not None
    x0, y0, x1, y1 = (v * outline.scale for v in outline.bounds)
    assert x1 - x0 == pytest.approx(150, abs=0.6)
    assert y1 - y0 == pytest.approx(100, abs=0.6)
    assert outline.region().area * outline.scale**2 == pytest.approx(15_000, rel=0.008)


def test_four_marked_corners_set_a_photo_straight_and_give_its_scale() -> None:
    corners = tuple((float(x), float(y)) for x, y in QUAD)
    outline = read(photo_of_sheet(), ReadOptions(corners=corners, sheet=(297.0, 210.0)))
    assert_true_rectangle(outline)
    assert "four corners" in said(outline, "straightened")


def test_a_sheet_of_known_size_is_found_by_itself() -> None:
    for sheet in ((297.0, 210.0), (210.0, 297.0)):
        outline = read(photo_of_sheet(), ReadOptions(sheet=sheet))
        assert_true_rectangle(outline)
        assert "sheet found" in said(outline, "straightened")


def test_a_figure_beside_the_sheet_takes_its_scale_from_it() -> None:
    image = Image.new("L", (800, 500), 110)
    draw = ImageDraw.Draw(image)
    draw.rectangle((50, 60, 50 + 296, 60 + 209), fill=240)
    draw.rectangle((450, 200, 450 + 199, 200 + 149), fill=15)
    outline = read(saved(image), ReadOptions(sheet=(297.0, 210.0)))
    assert outline.scale == pytest.approx(1.0, rel=0.01)
    assert outline.region().area * (outline.scale or 0) ** 2 == pytest.approx(200 * 150, rel=0.02)


def test_corners_without_a_size_give_proportions_but_no_scale() -> None:
    corners = tuple((float(x), float(y)) for x, y in QUAD)
    outline = read(photo_of_sheet(), ReadOptions(corners=corners))
    assert outline.scale is None
    assert len(outline.rings) == 1


@pytest.mark.parametrize(
    ("corners", "what"),
    [
        (((0.0, 0.0), (50.0, 0.0), (50.0, 0.0), (0.0, 50.0)), "corners"),
        (((0.0, 0.0), (50.0, 50.0), (50.0, 0.0), (0.0, 50.0)), "corners"),
        (((0.0, 0.0), (500.0, 0.0), (500.0, 80.0), (0.0, 80.0)), "outside the picture"),
    ],
)
def test_corners_that_cannot_be_meant(corners: tuple[tuple[float, float], ...], what: str) -> None:
    with pytest.raises(ReadError, match=what):
        read(saved(kite()), ReadOptions(corners=corners))


def test_no_sheet_in_the_picture() -> None:
    with pytest.raises(ReadError, match="sheet"):
        read(saved(kite()), ReadOptions(sheet=(297.0, 210.0)))


@pytest.mark.parametrize("value", [0, 128, 255])
def test_an_empty_picture(value: int) -> None:
    with pytest.raises(ReadError, match="nothing in this picture"):
        read(saved(Image.new("L", SIZE, value)))


def test_a_figure_that_cannot_be_told_from_its_background() -> None:
    rng = np.random.default_rng(4)
    from scipy.ndimage import gaussian_filter

    scenery = gaussian_filter(rng.normal(0, 1, (200, 300)), 6)
    scenery = 128 + 60 * scenery / scenery.std()
    with pytest.raises(ReadError, match="mark it by a box"):
        read(saved(Image.fromarray(np.clip(scenery, 0, 255).astype(np.uint8))))


@pytest.mark.parametrize("kind", ["PNG", "JPEG", "WEBP", "TIFF", "BMP", "GIF"])
def test_a_file_cut_short(kind: str) -> None:
    rough = Image.fromarray(np.random.default_rng(1).integers(0, 255, (90, 120), dtype=np.uint8))
    data = saved(rough, kind)
    with pytest.raises(ReadError):
        read(data[: len(data) // 2])


@pytest.mark.parametrize("data", [b"", b"hello", b"\x89PNG\r\n\x1a\n", bytes(200)])
def test_something_else_altogether(data: bytes) -> None:
    with pytest.raises(ReadError):
        read(data)


def test_a_picture_too_large_to_be_meant_is_refused_before_it_is_unpacked() -> None:
    data = bytearray(saved(Image.new("L", (8, 8))))
    header = struct.pack(">II", 9500, 9500)
    data[16:24] = header
    import zlib

    data[29:33] = struct.pack(">I", zlib.crc32(bytes(data[12:29])))
    with pytest.raises(ReadError, match="million pixels"):
        read(bytes(data))


def test_the_same_picture_gives_the_same_outline_twice() -> None:
    data = photo_of_sheet()
    options = ReadOptions(sheet=(297.0, 210.0))
    assert read(data, options) == read(data, options)


def test_smoothing_takes_out_ripples() -> None:
    t = np.linspace(0, 2 * np.pi, 2000, endpoint=False)
    r = 480 * (1 + 0.012 * np.sin(60 * t))
    fine = Image.new("L", (1200, 1200), 255)
    ImageDraw.Draw(fine).polygon(
        [(600 + a * np.cos(b), 600 + a * np.sin(b)) for a, b in zip(r, t, strict=True)], fill=0
    )
    data = saved(fine.reduce(4))
    rippled = read(data, ReadOptions(width=240.0))
    calm = read(data, ReadOptions(width=240.0, smooth=1.0))
    assert len(calm.rings[0].segments) < len(rippled.rings[0].segments) / 4
    assert calm.region().area == pytest.approx(rippled.region().area, rel=0.01)
