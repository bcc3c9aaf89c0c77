from __future__ import annotations

import math
import re
from collections.abc import Callable
from dataclasses import replace
from io import BytesIO
from pathlib import Path

import numpy as np
import pdfplumber
import pypdfium2 as pdfium
import pytest
import shapely
import shapely.affinity
from fontTools.ttLib import TTFont
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import MultiPolygon

from cutout.draw import fonts
from cutout.draw.fonts import PT
from cutout.draw.lettered import HEIGHT
from cutout.draw.paint import Paint
from cutout.geom.curve import Similarity
from cutout.geom.outline import Outline, Ring, from_region
from cutout.pattern import Panel, Zone
from cutout.saw.model import CORNER, EDGE, Hole, Leg
from cutout.write.cutsheet.flow import Flow
from cutout.write.drawing import Drawing
from cutout.write.steps import by_leg
from cutout.write.template.annotate import annotate
from cutout.write.template.template import sheet_turn, template_pdf, template_sheets, tiling_of
from cutout.write.template.tiling import MARGIN, is_beside
from cutout.write.work import Work
from tests.asking import asking
from tests.figures import SEEDS


def texts(pdf: bytes) -> list[str]:
    return [page.get_textpage().get_text_range() for page in pdfium.PdfDocument(pdf)]


def test_what_the_first_pages_say(work: Work) -> None:
    pages = texts(template_pdf(work))
    check, map_page = (" ".join(page.split()) for page in pages[:2])
    for wanted in ("100 mm", "4 in", "100 %", "0.5 %", "141 mm", "5.66 in"):
        assert wanted in check
    for wanted in ("1 sheet of A4", "SHOW FACE", "edge of the panel", "NOT READY TO CUT: settle 1 thing"):
        assert wanted in map_page
    everything = " ".join(" ".join(pages).split())
    for caution in work.cautions:
        assert caution in everything


def test_every_sheet_names_itself_and_its_neighbours(work: Work) -> None:
    small = asking(work, paper="120x130mm")
    tiling = tiling_of(Drawing.of(small))
    pages = texts(template_pdf(small))[-len(tiling.sheets) :]
    for sheet, text in zip(tiling.sheets, pages, strict=True):
        assert sheet.name in text
        for a, b in tiling.joins:
            if sheet.name in (a.name, b.name):
                other = b.name if a.name == sheet.name else a.name
                assert other in text.split("joins", 1)[1]


def test_holes_are_labelled_in_the_unit_of_the_drills(work: Work) -> None:
    inch = replace(work, kit=replace(work.kit, drills=replace(work.kit.drills, unit="in")))
    assert "5/16 in" in texts(template_pdf(inch))[-1]
    assert "3 mm 8 mm" in " ".join(texts(template_pdf(work))[-1].split())


@pytest.mark.parametrize("name", ["60x60mm", "100x150mm", "a4", "tabloid", "roll 610mm", "300x300mm"])
def test_any_paper_works(work: Work, name: str) -> None:
    odd = asking(work, paper=name)
    pdf = template_pdf(odd)
    assert template_sheets(odd)["sheets"] >= 1
    whole = " ".join(" ".join(texts(pdf)).split())
    assert "How to check" in whole
    assert "licensed practice come first" in whole


def test_no_sheet_is_spent_on_empty_panel(make_work: Callable[..., Work], star_outline: Outline) -> None:
    """A star 160 mm across takes as many sheets on a big panel as on a small one."""
    small = template_sheets(make_work(outline=star_outline, panel=Panel(240.0, 240.0, 18.0)))
    large = template_sheets(make_work(outline=star_outline, panel=Panel(900.0, 900.0, 18.0)))
    assert small["sheets"] == large["sheets"]


def test_a_job_without_holes_or_legs_is_a_plain_pattern(
    make_work: Callable[..., Work], star_outline: Outline
) -> None:
    assert template_pdf(make_work(outline=star_outline, panel=Panel(240.0, 240.0, 18.0, None)))


def test_titles_in_other_scripts_do_no_harm(work: Work) -> None:
    pages = texts(template_pdf(replace(work, title="鷺 и réveil")))
    assert "? ? réveil" in pages[0]


def test_grain_arrow_points_along_the_grain_and_stands_in_wood(make_work: Callable[..., Work]) -> None:
    for degrees in (0, 30, 90, 120):
        for back in (False, True):
            work = asking(make_work(panel=Panel(240.0, 180.0, 18.0, math.radians(degrees))), back=back)
            drawing = Drawing.of(work)
            grain = annotate(drawing, tiling_of(drawing)).grain
            assert grain is not None
            (x0, y0), (x1, y1) = grain
            shown = math.degrees(math.atan2(y1 - y0, x1 - x0)) % 180
            wanted = (180 - degrees if back else degrees) % 180
            assert min(abs(shown - wanted), 180 - abs(shown - wanted)) < 1e-6
            assert drawing.wood.contains(shapely.LineString(grain))


def test_arrows_point_the_way_of_the_saw(work: Work) -> None:
    """Each arrow's direction agrees with the leg's own where it stands."""
    drawing = Drawing.of(work)
    notes = annotate(drawing, tiling_of(drawing))
    lines = [shapely.LineString(leg.path) for leg in work.plan.legs]
    assert len(notes.arrows) >= len(lines)
    for arrow in notes.arrows:
        middle = np.array(arrow.tip) - 2.5 * np.array([math.cos(arrow.angle), math.sin(arrow.angle)])
        spot = shapely.Point(middle)
        fits = []
        for line in lines:
            if line.distance(spot) < 4:
                at = line.project(spot)
                a, b = line.interpolate(max(at - 2, 0)), line.interpolate(at + 2)
                way = math.atan2(b.y - a.y, b.x - a.x)
                fits.append(math.cos(way - arrow.angle) > 0.8)
        assert any(fits)


def test_a_leg_that_ends_at_an_earlier_cut_has_a_bar(work: Work) -> None:
    drawing = Drawing.of(work)
    ends = sum(leg.ends.kind == "leg" for leg in work.plan.legs)
    assert len(annotate(drawing, tiling_of(drawing)).stops) == ends > 0


def test_a_leg_outside_the_panel_is_still_on_paper(
    make_work: Callable[..., Work], star_outline: Outline
) -> None:
    """A blade that enters from the edge starts in the air beside the panel."""
    work = make_work(outline=star_outline, panel=Panel(240.0, 240.0, 18.0), keep="figure")
    path = np.array([[-20.0, 120.0], [60.0, 120.0]])
    plan = replace(work.plan, legs=(Leg(1, 1, path, EDGE, CORNER),))
    drawing = Drawing.of(replace(work, plan=plan))
    windows = shapely.union_all([shapely.box(*s.window) for s in tiling_of(drawing).sheets])
    assert windows.covers(shapely.LineString(path))


@settings(deadline=None, max_examples=10)
@given(seed=SEEDS, holes=st.integers(0, 40))
def test_crowded_drawings_never_overlap_their_labels(
    make_work: Callable[..., Work], seed: int, holes: int
) -> None:
    rng = np.random.default_rng(seed)
    turns = np.linspace(0, 2 * math.pi, 60, endpoint=False)
    radius = 60 + 25 * rng.random(60)
    ring = Ring.of_points(np.column_stack([120 + radius * np.cos(turns), 110 + radius * np.sin(turns)]))
    work = make_work(outline=Outline((ring,), 1.0), panel=Panel(240.0, 220.0, 18.0))
    drilled = tuple(
        Hole(n + 1, (float(x), float(y)), 5.0, ("relief",), 1)
        for n, (x, y) in enumerate(80 + 70 * rng.random((holes, 2)))
    )
    drawing = Drawing.of(replace(work, plan=replace(work.plan, holes=drilled)))
    notes = annotate(drawing, tiling_of(drawing))
    boxes = [shapely.box(*p.box) for p in notes.placed]
    discs = [shapely.Point(h.at).buffer(2.4) for h in drilled]
    for n, box in enumerate(boxes):
        assert not box.intersects(drawing.cuts)
        assert not any(box.intersects(disc) for disc in discs)
        assert not any(box.intersects(other) for other in boxes[n + 1 :])
    named = {p.label.text for p in notes.placed} | {label.text for label in notes.left_out}
    assert {str(h.id) for h in drilled} <= named


def test_wrapping_keeps_every_word_and_the_width() -> None:
    fonts.register()
    text = "a few words and one Donaudampfschifffahrtsgesellschaft that is long"
    for width in (40.0, 80.0, 200.0):
        lines = fonts.wrap(text, fonts.PLAIN, 9, width)
        assert "".join("".join(lines).split()) == "".join(text.split())
        assert all(fonts.text_width(line, fonts.PLAIN, 9) <= width for line in lines)


def test_no_label_lands_on_paper_that_is_not_printed(make_work: Callable[..., Work]) -> None:
    """Holes crowded beside a sheet that is left out: their numbers keep off it."""
    turns = np.linspace(0, 2 * math.pi, 400, endpoint=False)
    circle = np.column_stack([np.cos(turns), np.sin(turns)])
    rings = (Ring.of_points(200 + 190 * circle), Ring.of_points((200 + 186 * circle)[::-1]))
    work = make_work(outline=Outline(rings, 1.0), panel=Panel(400.0, 400.0, 18.0), paper_name="150x165mm")
    blank = min(tiling_of(Drawing.of(work)).blank, key=lambda sheet: sheet.column)
    x, y = blank.window[0] - 5, (blank.window[1] + blank.window[3]) / 2
    spots = [(x - 6.0 * (n % 5), y - 24 + 6.0 * (n // 5)) for n in range(45)]
    drilled = tuple(Hole(n + 1, at, 5.0, ("relief",), 1) for n, at in enumerate(spots))
    drawing = Drawing.of(replace(work, plan=replace(work.plan, holes=drilled)))
    tiling = tiling_of(drawing)
    assert blank in tiling.blank
    notes = annotate(drawing, tiling)
    windows = [shapely.box(*s.window) for s in tiling.sheets]
    for placed in notes.placed:
        assert any(window.contains(shapely.box(*placed.box)) for window in windows)
    assert notes.grain is not None
    assert any(window.contains(shapely.LineString(notes.grain)) for window in windows)


def test_zones_and_bridges_are_named(make_work: Callable[..., Work]) -> None:
    zone = Zone("hinge", MultiPolygon([shapely.box(0, 0, 30, 60)]))
    work = make_work(panel=Panel(240.0, 180.0, 18.0, zones=(zone,)))
    words = texts(template_pdf(work))[-1]
    assert "keep clear: hinge" in words
    assert "bridge 1" in words


@pytest.mark.parametrize("used", [0.0, 60.0, 84.0, 88.0, 92.0, 96.0])
def test_a_short_paragraph_stays_in_one_column(used: float) -> None:
    """However much of the first of two columns is taken, four lines stay together; a text longer than a
    column goes on in the next."""
    paint = Paint("columns")
    flow = Flow(paint, (220.0, 114.0))
    flow.new_page()
    flow.columns([(7.0, 7.0, 107.0, 107.0), (113.0, 7.0, 213.0, 107.0)])
    flow.block(used, lambda box: None)
    flow.text("first " + "measured from the panel's edges to the nearest cut " * 4 + "last", 9)
    flow.close()
    page = pdfium.PdfDocument(paint.bytes())[0].get_textpage()
    lefts = [page.get_charbox(page.search(word).get_next()[0])[0] for word in ("first", "last")]
    middle = 110 / 25.4 * 72
    assert (lefts[0] < middle) == (lefts[1] < middle)


def test_a_long_text_fills_both_columns() -> None:
    paint = Paint("columns")
    flow = Flow(paint, (220.0, 114.0))
    flow.new_page()
    flow.columns([(7.0, 7.0, 107.0, 107.0), (113.0, 7.0, 213.0, 107.0)])
    flow.text("first " + "measured from the panel's edges to the nearest cut " * 60 + "last", 9)
    flow.close()
    page = pdfium.PdfDocument(paint.bytes())[0].get_textpage()
    lefts = [page.get_charbox(n)[0] for n in range(page.count_chars())]
    assert min(lefts) < 30 and max(lefts) > 113 / 25.4 * 72


def test_where_a_trimmed_edge_falls_is_not_drawn_like_a_zone(work: Work) -> None:
    """Two solid lines, one on each side of the place, where a zone is one dotted line."""
    small = asking(work, paper="120x130mm")
    words = " ".join(" ".join(texts(template_pdf(small))).split())
    assert "falls between the two thin lines" in words
    assert "two thin lines: the next sheet's edge falls between them" in words
    assert "dots:" not in words
    tiling = tiling_of(Drawing.of(small))
    right = next(a for a, b in tiling.joins if is_beside(a, b))
    scale = 8
    number = len(pdfium.PdfDocument(template_pdf(small))) - len(tiling.sheets) + tiling.sheets.index(right)
    picture = pdfium.PdfDocument(template_pdf(small))[number].render(scale=scale, grayscale=True).to_numpy()
    picture = picture.reshape(picture.shape[:2])
    mm = scale * 72 / 25.4
    edge = tiling.page[0] - MARGIN - tiling.overlap
    spots = [
        picture[200:-400, round((edge + d - 0.1) * mm) : round((edge + d + 0.1) * mm)].min(axis=1)
        for d in (-0.4, 0.4)
    ]
    assert all((column < 230).mean() > 0.98 for column in spots)


@pytest.mark.parametrize("degrees", [0.0, 30.0, 75.0])
@pytest.mark.parametrize("back", [False, True])
def test_a_turned_drawing_is_the_same_drawing(work: Work, degrees: float, back: bool) -> None:
    """Turned back, every ring, hole and middle line lies where it lies unturned; the page shows it there."""
    straight = Drawing.of(asking(work, back=back))
    turned = Drawing.of(asking(work, back=back, sheet_turn=math.radians(degrees)))

    def undone(geometry: shapely.Geometry) -> shapely.Geometry:
        return shapely.affinity.rotate(geometry, -degrees, origin=(0, 0))

    middles = zip(straight.middles, turned.middles, strict=True)
    for one, two in ((straight.cuts, turned.cuts), (straight.board, turned.board), *middles):
        assert shapely.hausdorff_distance(one, undone(two)) < 1e-6
    for hole in work.plan.holes:
        away = shapely.Point(straight.at(hole.at)).distance(undone(shapely.Point(turned.at(hole.at))))
        assert away < 1e-6
    pages = texts(template_pdf(asking(work, back=back, sheet_turn=math.radians(degrees))))
    lying = re.search(r"left [^.]*", " ".join(pages[1].split()))
    assert lying is not None
    assert lying[0] in " ".join(texts(template_pdf(asking(work, back=back)))[1].split())


def test_the_drawing_is_turned_only_where_that_saves_sheets(make_work: Callable[..., Work]) -> None:
    """A long slot along the diagonal: along the sheets it takes fewer."""
    slot = shapely.affinity.rotate(shapely.box(0, 0, 790, 12), 45, origin=(0, 0))
    outline = Outline(from_region(MultiPolygon([shapely.affinity.translate(slot, 60, 50)])), 1.0)
    work = asking(make_work(outline, panel=Panel(700.0, 700.0, 18.0)), paper="a4")
    turn = sheet_turn(work)
    assert turn > 0
    assert template_sheets(replace(work, sheet_turn=turn))["sheets"] < template_sheets(work)["sheets"]
    assert sheet_turn(make_work()) == 0.0, "one sheet is enough either way"


def test_a_sheet_s_text_is_what_can_be_read_on_it(work: Work) -> None:
    """Every character of a page's text layer lies within the page; what stands in the window lies within the window.

    A screen reader or a search would otherwise find on one sheet what is printed on another.
    """
    small = asking(work, paper="120x130mm")
    tiling = tiling_of(Drawing.of(small))
    document = pdfium.PdfDocument(template_pdf(small))
    for number, sheet in enumerate(tiling.sheets, start=len(document) - len(tiling.sheets)):
        page = document[number]
        width, height = page.get_size()
        layer = page.get_textpage()
        for n in range(layer.count_chars()):
            x0, y0, x1, y1 = layer.get_charbox(n)
            assert 0 <= x0 <= x1 <= width and 0 <= y0 <= y1 <= height
        words = layer.get_text_range()
        assert f"sheet {tiling.sheets.index(sheet) + 1} of {len(tiling.sheets)}" in words
        for other in tiling.sheets:
            assert words.count(f"{other.name} sheet") == (other == sheet)


def test_numbers_and_words_are_as_high_as_an_arm_s_length_asks(work: Work) -> None:
    """No capital or figure under 2.8 mm anywhere in the file, 3.5 mm for numbers of holes and letters of steps
    (ISO 9241-3 as quoted online: 16 minutes of arc at least, 20 to 22 preferred, here at 600 mm). The height of
    capitals is read from the font by fontTools, the size on the page by pdfplumber."""
    face = TTFont(Path(fonts.__file__).parent / "lettering" / "routed-gothic-narrow.ttf")
    capital = face["OS/2"].sCapHeight / face["head"].unitsPerEm
    with pdfplumber.open(BytesIO(template_pdf(work))) as pdf:
        heights = [
            (c["text"], (c["height"] if c["upright"] else c["width"]) * capital / 72 * 25.4)
            for page in pdf.pages
            for c in page.chars
        ]
    assert min(height for _, height in heights) > 2.79
    on_sheet = annotate(Drawing.of(work), tiling_of(Drawing.of(work))).placed
    assert all(HEIGHT[p.label.style] == 3.5 for p in on_sheet if p.label.style in ("plain", "bold", "disc"))


def test_the_file_has_a_title_and_a_bookmark_for_every_sheet(work: Work) -> None:
    small = asking(work, paper="120x130mm")
    document = pdfium.PdfDocument(template_pdf(small))
    assert document.get_metadata_value("Title") == "invented leaf: template"
    pages = [(mark.get_title(), mark.get_dest().get_index()) for mark in document.get_toc()]
    first = len(document) - len(tiling_of(Drawing.of(small)).sheets)
    for n, sheet in enumerate(tiling_of(Drawing.of(small)).sheets):
        assert (f"Sheet {sheet.name}", first + n) in pages


def test_a_step_is_named_on_every_sheet_it_crosses(work: Work) -> None:
    """A leg with 12 mm or more well inside a sheet has its letter or number there, whole."""
    small = asking(work, paper="120x130mm")
    drawing = Drawing.of(small)
    tiling = tiling_of(drawing)
    notes = annotate(drawing, tiling)
    steps = by_leg(small.plan.steps)
    crossing = 0
    for sheet in tiling.sheets:
        shown = {p.label.text for p in notes.on(sheet)}
        inside = shapely.box(*sheet.window).buffer(-1.0)
        for leg in small.plan.legs:
            here = shapely.LineString(drawing.path(leg.path)).intersection(inside)
            if here.length > 30.0:
                crossing += here.length < shapely.LineString(leg.path).length - 30.0
                step = steps[leg.order]
                assert (step.letter if leg.order == step.legs[0] else f"{step.letter}{leg.order}") in shown
    assert crossing > 1


def test_for_a_weak_printer_all_lines_but_the_outline_are_heavier(make_work: Callable[..., Work]) -> None:
    """Widths as pdfplumber reads them: each line that is there as usual is there so much wider."""

    def widths(**settings: float) -> list[float]:
        with pdfplumber.open(BytesIO(template_pdf(asking(make_work(), **settings)))) as document:
            page = document.pages[2]
            return sorted(
                {round(thing["linewidth"], 2) for thing in (*page.lines, *page.curves, *page.rects)}
            )

    usual, heavy, outline = widths(), widths(weight=2.0), 0.2 * PT
    assert any(abs(w - outline) < 0.02 for w in heavy), "the outline as it was asked for"
    assert max(heavy) == pytest.approx(2 * max(usual), abs=0.02)


def test_no_sheet_is_printed_for_a_way_in_from_the_edge_alone(
    make_work: Callable[..., Work], star_outline: Outline
) -> None:
    """A star 160 mm across amid a panel of 700 mm goes on one sheet of A4; the end of its way in is there,
    and the page before says where the rest is."""
    middle = star_outline.transform(Similarity(1 + 0j, 230 + 230j))
    work = make_work(outline=replace(middle, scale=1.0), panel=Panel(700.0, 700.0, 18.0), keep="figure")
    outline = shapely.get_coordinates(work.pattern.figure.geoms[0].exterior)
    way = np.vstack([[outline[0, 0], 700.0], outline])
    work = replace(work, plan=replace(work.plan, legs=(Leg(1, 1, way, EDGE, EDGE),)))
    drawing = Drawing.of(work)
    (sheet,) = tiling_of(drawing).sheets
    assert sheet.window[3] > outline[0, 1] + 14.0, "15 mm of it are shown"
    with pdfplumber.open(BytesIO(template_pdf(work))) as document:
        assert "begin them where the shop drawing shows" in document.pages[1].extract_text().replace(
            "\n", " "
        )
