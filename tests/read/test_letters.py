"""Letters from fonts made for the test, whose every coordinate is known, and from an installed one."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import shapely
import shapely.affinity
from fontTools.feaLib.builder import addOpenTypeFeaturesFromString
from fontTools.fontBuilder import FontBuilder
from fontTools.pens.t2CharStringPen import T2CharStringPen
from fontTools.pens.ttGlyphPen import TTGlyphPen
from fontTools.ttLib import newTable
from fontTools.ttLib.tables._k_e_r_n import KernTable_format_0

from cutout.errors import ReadError
from cutout.geom.curve import Cubic, Line
from cutout.geom.outline import Outline
from cutout.read.letters import Lettering, read_text

Box = tuple[int, int, int, int]

GLYPHS: dict[str, tuple[int, list[Box]]] = {
    ".notdef": (500, []),
    "space": (300, []),
    "H": (600, [(100, 0, 500, 700)]),
    "I": (300, [(100, 0, 200, 700)]),
    # Two contours of the same sense that overlap, as variable fonts have them.
    "X": (700, [(100, 0, 400, 700), (300, 200, 600, 500)]),
}
CMAP = {32: "space", ord("H"): "H", ord("I"): "I", ord("X"): "X"}


def draw(pen: Any, box: Box) -> None:
    x0, y0, x1, y1 = box
    pen.moveTo((x0, y0))
    for point in ((x0, y1), (x1, y1), (x1, y0)):
        pen.lineTo(point)
    pen.closePath()


def font(
    path: Path, *, cff: bool = False, cap: int | None = 700, feature: str = "", kern: bool = False
) -> Path:
    builder = FontBuilder(1000, isTTF=not cff)
    builder.setupGlyphOrder(list(GLYPHS))
    builder.setupCharacterMap(CMAP)
    shapes = {}
    for name, (width, boxes) in GLYPHS.items():
        pen: Any = T2CharStringPen(width, None) if cff else TTGlyphPen(None)
        for box in boxes:
            draw(pen, box)
        shapes[name] = pen.getCharString() if cff else pen.glyph()
    if cff:
        builder.setupCFF("Test", {}, shapes, {})
    else:
        builder.setupGlyf(shapes)
    builder.setupHorizontalMetrics({n: (w, b[0][0] if b else 0) for n, (w, b) in GLYPHS.items()})
    builder.setupHorizontalHeader(ascent=800, descent=-200)
    builder.setupNameTable({"familyName": "Test", "styleName": "Regular"})
    builder.setupOS2(sCapHeight=cap or 0, version=4)
    builder.setupPost()
    if feature:
        addOpenTypeFeaturesFromString(builder.font, feature)
    if kern:
        builder.font["kern"] = table = newTable("kern")
        part = KernTable_format_0()
        part.kernTable = {("H", "I"): -80}
        part.coverage, part.version, part.format, part.tupleIndex = 1, 0, 0, None
        table.version, table.kernTables = 0, [part]
    builder.save(path)
    return path


def boxes(found: Outline) -> list[tuple[float, ...]]:
    outers = [r.points() for r in found.rings if r.area > 0]
    return sorted(tuple(round(float(v), 6) for v in (*p.min(axis=0), *p.max(axis=0))) for p in outers)


@pytest.mark.parametrize("cff", [False, True])
def test_places_and_cap_height(tmp_path: Path, cff: bool) -> None:
    """Cap height 70 mm of a 700 unit capital: 0.1 mm a unit, the line of 900 units centred."""
    found = read_text("HI", font(tmp_path / "a.ttf", cff=cff), Lettering(cap_height=70.0))
    assert found.scale == 1.0
    assert boxes(found) == [(-35, 0, 5, 70), (25, 0, 35, 70)]


def test_cap_height_is_measured_where_the_font_does_not_state_it(tmp_path: Path) -> None:
    found = read_text("H", font(tmp_path / "a.ttf", cap=None), Lettering(cap_height=140.0))
    assert found.bounds[3] - found.bounds[1] == pytest.approx(140)


def test_without_cap_height_there_is_no_true_size(tmp_path: Path) -> None:
    assert read_text("H", font(tmp_path / "a.ttf"), Lettering()).scale is None


PAIR = "feature kern { pos H I -50; pos I H 30; } kern;"
CLASSES = "@L = [H X]; @R = [I]; feature kern { pos H I -10; pos @L @R -60; } kern;"


@pytest.mark.parametrize(
    ("text", "feature", "kern", "gap"),
    [
        ("HI", "", False, 20.0),
        ("HI", PAIR, False, 15.0),
        ("HI", CLASSES, False, 19.0),
        ("XI", CLASSES, False, 14.0),
        ("HI", "", True, 12.0),
        ("HI", PAIR, True, 15.0),
    ],
)
def test_kerning(tmp_path: Path, text: str, feature: str, kern: bool, gap: float) -> None:
    """GPOS pairs, GPOS classes (a listed pair wins), the kern table, GPOS before the kern table."""
    found = read_text(text, font(tmp_path / "a.ttf", feature=feature, kern=kern), Lettering(cap_height=70.0))
    left, right = boxes(found)
    assert right[0] - left[2] == pytest.approx(gap)


def test_overlapping_contours_are_one(tmp_path: Path) -> None:
    (ring,) = read_text("X", font(tmp_path / "a.ttf"), Lettering(cap_height=70.0)).rings
    assert ring.area == pytest.approx(30 * 70 + 20 * 30)
    assert all(isinstance(s, Line) for s in ring.segments)


def test_lines_are_centred_one_pitch_apart(tmp_path: Path) -> None:
    """The font asks for 1000 units from base line to base line: 100 mm."""
    found = read_text("H\n\n I ", font(tmp_path / "a.ttf"), Lettering(cap_height=70.0))
    assert boxes(found) == [(-20, 200, 20, 270), (-5, 0, 5, 70)]


@pytest.mark.parametrize(
    ("text", "says"),
    [("HA", r'"A" \(U\+0041\)'), ("", "no text"), (" \n ", "no text")],
)
def test_missing_letters_and_no_text(tmp_path: Path, text: str, says: str) -> None:
    with pytest.raises(ReadError, match=says):
        read_text(text, font(tmp_path / "a.ttf"), Lettering(cap_height=70.0))


def test_font_files_that_are_none(tmp_path: Path) -> None:
    junk = tmp_path / "junk.ttf"
    junk.write_bytes(b"no font at all" * 20)
    cut = font(tmp_path / "cut.ttf")
    cut.write_bytes(cut.read_bytes()[:400])
    for path in (junk, cut, tmp_path, tmp_path / "none.ttf"):
        with pytest.raises(ReadError) as caught:
            read_text("H", path, Lettering(cap_height=10.0))
        assert "\n" not in str(caught.value)


INSTALLED = sorted(Path("/usr/share/fonts").rglob("DejaVuSerif.ttf"))


@pytest.mark.skipif(not INSTALLED, reason="needs an installed serif font")
def test_a_real_font_keeps_its_curves() -> None:
    found = read_text("Sage & Äö8", INSTALLED[0], Lettering(cap_height=40.0))
    made = [type(s) for r in found.rings for s in r.segments]
    assert set(made) == {Line, Cubic} and len(made) < 400
    holes = [r for r in found.rings if r.area < 0]
    assert len(holes) == 8  # one each in a, g, e, &, A and o, two in 8


SANS = next(iter(Path("/usr/share/fonts").rglob("DejaVuSans.ttf")), None)
needs_sans = pytest.mark.skipif(SANS is None, reason="needs an installed sans-serif font")


@needs_sans
def test_letters_that_change_with_their_neighbours_are_set() -> None:
    """Arabic letters join: the word is fewer pieces than its letters set apart; Hebrew runs to the left."""
    assert SANS is not None
    word, letters = "مكتب", "م ك ت ب"
    one = read_text(word, SANS, Lettering(cap_height=40.0)).region()
    apart = read_text(letters, SANS, Lettering(cap_height=40.0)).region()
    assert len(one.geoms) < len(apart.geoms)
    hebrew = read_text("של", SANS, Lettering(cap_height=40.0))
    assert [x.letter for x in sorted(hebrew.letters, key=lambda x: x.foot.real)] == ["ל", "ש"]
    with pytest.raises(ReadError, match="mixes letters"):
        read_text("Tor של", SANS, Lettering(cap_height=40.0))


def test_spacing_is_in_cap_heights(tmp_path: Path) -> None:
    """A tenth of 70 mm between the letters, none before the first or after the last."""
    plain = boxes(read_text("HI", font(tmp_path / "a.ttf"), Lettering(cap_height=70.0)))
    wide = boxes(read_text("HI", font(tmp_path / "a.ttf"), Lettering(cap_height=70.0, spacing=0.1)))
    assert wide[1][0] - wide[0][2] == pytest.approx(plain[1][0] - plain[0][2] + 7.0)
    assert (wide[0][0] + 10 + wide[1][2] + 10) / 2 == pytest.approx(10.0)


@pytest.mark.parametrize(("side", "left"), [("left", -45.0 + 10), ("right", 45.0 - 30 + 10)])
def test_sides_of_lines(tmp_path: Path, side: str, left: float) -> None:
    """Lines of 90 and 30 mm: the short one's stem, 10 mm from its origin, at either end of the long one."""
    found = read_text("HI\nI", font(tmp_path / "a.ttf"), Lettering(cap_height=70.0, side=side))  # type: ignore[arg-type]
    low = [b for b in boxes(found) if b[1] == 0]
    assert low[0][0] == pytest.approx(left)


def test_lines_closer_together(tmp_path: Path) -> None:
    found = read_text("H\nI", font(tmp_path / "a.ttf"), Lettering(cap_height=70.0, pitch=0.9))
    assert max(b[1] for b in boxes(found)) == pytest.approx(90.0)


@pytest.mark.parametrize("arc", [200.0, -200.0])
def test_along_an_arc_feet_stand_on_the_circle(tmp_path: Path, arc: float) -> None:
    """Middles of the feet are on the circle, heads outside it over the top and inside it along the bottom."""
    found = read_text("HIH", font(tmp_path / "a.ttf"), Lettering(cap_height=70.0, arc=arc))
    for x in found.letters:
        middle = x.foot + x.along / 2
        assert abs(middle) == pytest.approx(200.0)
        assert abs(middle + x.up) == pytest.approx(200.0 + math.copysign(70.0, arc))
    upright = found.letters[1]
    assert upright.up == pytest.approx(70j)
    assert (upright.foot + upright.along / 2).imag == pytest.approx(arc)
    with pytest.raises(ReadError, match="does not go round"):
        read_text("HIHHHHHH", font(tmp_path / "a.ttf"), Lettering(cap_height=70.0, arc=60.0))


def test_welded_letters_are_one_piece_that_shares_the_joint(tmp_path: Path) -> None:
    """H, I and H are bars here: they meet over the whole height, words stay apart."""
    found = read_text("HIH H", font(tmp_path / "a.ttf"), Lettering(cap_height=70.0, join="weld", joint=0.5))
    assert len(found.region().geoms) == 2
    # Straight stems side by side read as one block: that is said.
    assert [n for n in found.notes if "run together" in n.text]


@pytest.mark.skipif(not INSTALLED, reason="needs an installed serif font")
def test_welded_round_letters_share_at_least_the_joint() -> None:
    one = read_text("o", INSTALLED[0], Lettering(cap_height=40.0)).region()
    two = read_text("oo", INSTALLED[0], Lettering(cap_height=40.0, join="weld", joint=0.2))
    assert len(two.region().geoms) == 1
    step = two.letters[1].foot - two.letters[0].foot
    shared = one.intersection(shapely.affinity.translate(one, step.real))
    parts = np.array(shapely.bounds(shapely.get_parts(shared))).reshape(-1, 4)
    assert 7.99 < (parts[:, 3] - parts[:, 1]).sum() < 8.6


@pytest.mark.parametrize("arc", [None, 300.0, -300.0])
def test_a_bar_makes_one_piece(tmp_path: Path, arc: float | None) -> None:
    """70 mm letters on a bar 0.2 cap heights high, which reaches 2.1 mm above the base line."""
    found = read_text(
        "HI H", font(tmp_path / "a.ttf"), Lettering(cap_height=70.0, join="bar", joint=0.2, arc=arc)
    )
    assert len(found.region().geoms) == 1
    if arc is None:
        assert found.bounds[1] == pytest.approx(0.03 * 70 - 14.0)


def test_a_frame_holds_every_line(tmp_path: Path) -> None:
    region = read_text("HI\nI", font(tmp_path / "a.ttf"), Lettering(cap_height=70.0, join="frame")).region()
    assert len(region.geoms) == 1
    for wrong in ("weld", "frame"):
        with pytest.raises(ReadError, match="join them by a bar"):
            read_text("HI", font(tmp_path / "a.ttf"), Lettering(cap_height=70.0, join=wrong, arc=300.0))
