"""The printed pages, read back by a PDF renderer that is not ours, joined and compared with the pattern.

pypdfium2 renders the template at 300 dpi; the sheets are joined by the register crosses found in the
pixels alone; resvg renders pattern.svg. Both pictures must show the same waste.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from dataclasses import replace
from io import BytesIO
from xml.etree import ElementTree

import numpy as np
import pdfplumber
import pypdfium2 as pdfium
import pytest
import resvg_py
import shapely
from PIL import Image
from scipy import ndimage, signal

from cutout.errors import WriteError
from cutout.geom.curve import Similarity
from cutout.geom.outline import Outline, Ring
from cutout.pattern import Panel
from cutout.write.drawing import Drawing
from cutout.write.svg import pattern_svg
from cutout.write.template.template import outline_pdf, template_pdf, template_sheets, tiling_of
from cutout.write.template.tiling import MARGIN, STRIP, Sheet
from cutout.write.work import Work
from tests.asking import asking

DPI = 300
PX = DPI / 25.4


def pages_of(pdf: bytes, dpi: float = DPI) -> list[np.ndarray]:
    document = pdfium.PdfDocument(pdf)
    return [np.asarray(page.render(scale=dpi / 72, grayscale=True).to_pil()) for page in document]


def dark(page: np.ndarray) -> np.ndarray:
    return (page < 128).astype(np.float32)


def crosses(page: np.ndarray) -> np.ndarray:
    """(n, 2) x, y in pixels of register crosses: a cross with a small square, found by its shape alone."""
    arm, box = round(3.0 * PX), 1.2 * PX
    y, x = np.mgrid[-arm - 3 : arm + 4, -arm - 3 : arm + 4]
    on_square = (np.abs(np.maximum(np.abs(x), np.abs(y)) - box) <= 1.2) & (
        np.maximum(np.abs(x), np.abs(y)) < box + 2
    )
    on_cross = ((np.abs(x) <= 1.2) | (np.abs(y) <= 1.2)) & (np.maximum(np.abs(x), np.abs(y)) <= arm)
    kernel = np.where(on_square | on_cross, 1.0, 0.0)
    score = signal.fftconvolve(dark(page), kernel[::-1, ::-1], mode="same") / kernel.sum()
    around = signal.fftconvolve(dark(page), np.ones_like(kernel), mode="same") / kernel.size
    peak = (score == ndimage.maximum_filter(score, 41)) & (score > 0.75) & (around < 0.35)
    labels, n = ndimage.label(ndimage.binary_dilation(peak, iterations=3))
    return np.array(
        [
            _centre(page, (float(y), float(x)))
            for y, x in ndimage.center_of_mass(peak, labels, range(1, n + 1))
        ]
    ).reshape(-1, 2)


def _centre(page: np.ndarray, at: tuple[float, float]) -> tuple[float, float]:
    """Sub-pixel centre of a cross: the middle of ink along each arm, its outer third only."""
    cy, cx = (round(v) for v in at)
    near, far, half = round(1.7 * PX), round(2.8 * PX), 4
    ink = 255.0 - page.astype(float)
    rows = np.r_[cy - far : cy - near, cy + near : cy + far]
    across = ink[rows, cx - half : cx + half + 1].sum(axis=0)
    down = ink[cy - half : cy + half + 1, np.r_[cx - far : cx - near, cx + near : cx + far]].sum(axis=1)
    offsets = np.arange(-half, half + 1)
    return cx + float(across @ offsets / across.sum()), cy + float(down @ offsets / down.sum())


def waste_in(page: np.ndarray) -> np.ndarray:
    """Where the page is tinted as waste; ink drawn over it takes the tint of the nearest paper."""
    tint = np.abs(page.astype(int) - 230) <= 4
    known = tint | (page > 250)
    known = ndimage.binary_erosion(known, iterations=1)
    nearest = ndimage.distance_transform_edt(~known, return_distances=False, return_indices=True)
    return tint[tuple(nearest)]


@pytest.fixture(scope="module")
def small(make_work: Callable[..., Work]) -> Work:
    """The invented pattern on sheets of 130 x 120 mm: six sheets, quick to render."""
    work = make_work()
    return asking(work, paper="120x130mm")


def sheets_of(work: Work) -> list[np.ndarray]:
    return pages_of(template_pdf(work))[-template_sheets(work)["sheets"] :]


def shown_on_both(first: Sheet, second: Sheet, a: np.ndarray, b: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Crosses of two sheets that lie on each other, found within 2 mm; both (n, 2) in pixels."""
    (ax, _, _, ay), (bx, _, _, by) = first.window, second.window
    about = np.array([bx - ax, ay - by]) * PX
    pairs = np.abs(a[:, None] - b[None] - about).max(axis=2) < 2 * PX
    return a[np.nonzero(pairs)[0]], b[np.nonzero(pairs)[1]]


def joined_places(small: Work, pages: list[np.ndarray]) -> dict[str, np.ndarray]:
    """Offset in pixels of every sheet against the first, from crosses on the pixels of both."""
    tiling = tiling_of(Drawing.of(small))
    names = [s.name for s in tiling.sheets]
    found = {name: crosses(page) for name, page in zip(names, pages, strict=True)}
    places = {names[0]: np.zeros(2)}
    joins = list(tiling.joins)
    while len(places) < len(names):
        for first, second in joins:
            for known, other in ((first.name, second.name), (second.name, first.name)):
                if known in places and other not in places:
                    a, b = shown_on_both(first, second, found[first.name], found[second.name])
                    assert len(a) >= 2, (first.name, second.name, a, b)
                    shift = a - b
                    assert np.ptp(shift, axis=0).max() < 0.1 * PX, "the crosses agree to 0.1 mm"
                    offset = shift.mean(axis=0)
                    places[other] = places[known] + (offset if known == first.name else -offset)
    return places


@pytest.mark.parametrize("back", [False, True])
def test_joined_sheets_give_back_the_pattern(small: Work, back: bool) -> None:
    """Symmetric difference of printed and wanted waste under 0.15 mm x outline length; for the back, mirrored.

    0.043 mm was measured when this was written; half a pixel of 300 dpi is 0.042 mm.
    """
    work = asking(small, back=back)
    pages = sheets_of(work)
    places = joined_places(work, pages)
    corner = np.floor(np.min(list(places.values()), axis=0)).astype(int)
    far = np.ceil(np.max(list(places.values()), axis=0)).astype(int)
    height, width = pages[0].shape
    printed = np.zeros((far[1] - corner[1] + height, far[0] - corner[0] + width), dtype=bool)
    for name, page in zip([s.name for s in tiling_of(Drawing.of(work)).sheets], pages, strict=True):
        x, y = np.round(places[name] - corner).astype(int)
        printed[y : y + height, x : x + width] |= waste_in(page)
    wanted = _wanted(pattern_svg(work))
    wanted = wanted[:, ::-1] if back else wanted
    shown = _laid_on(printed, wanted)
    length = float(shapely.length(small.pattern.waste))
    difference = np.count_nonzero(shown != wanted) / PX**2
    assert difference < 0.15 * length, f"{difference / length:.3f} mm along the outline"
    assert np.count_nonzero(printed) / PX**2 == pytest.approx(small.pattern.waste.area, rel=0.01)


def _wanted(svg: bytes) -> np.ndarray:
    """Waste of pattern.svg as resvg draws it, at the same resolution; holes and legs taken out."""
    root = ElementTree.fromstring(svg)
    for group in root.findall("{*}g"):
        if group.get("id") != "waste":
            root.remove(group)
    text = ElementTree.tostring(root, encoding="unicode")
    png = resvg_py.svg_to_bytes(svg_string=text, dpi=DPI, background="white")
    return np.asarray(Image.open(BytesIO(bytes(png))).convert("L")) < 236


def _laid_on(printed: np.ndarray, wanted: np.ndarray) -> np.ndarray:
    """The printed waste shifted onto the wanted one by whole pixels: where the joined sheets lie is free."""
    (top, left), (y, x) = (
        np.array([np.flatnonzero(m.any(axis=1))[0], np.flatnonzero(m.any(axis=0))[0]])
        for m in (printed, wanted)
    )
    around = max(wanted.shape)
    padded = np.pad(printed, around)

    def laid(dy: int, dx: int) -> np.ndarray:
        first, second = around + top - y + dy, around + left - x + dx
        return padded[first : first + wanted.shape[0], second : second + wanted.shape[1]]

    shifts = ((dy, dx) for dy in range(-3, 4) for dx in range(-3, 4))
    return laid(*min(shifts, key=lambda shift: np.count_nonzero(laid(*shift) != wanted)))


def test_check_squares_are_true_to_size(make_work: Callable[..., Work]) -> None:
    """100 mm = 283.4646 pt = 3.93701 in and 4 in = 101.6 mm (fact 15: ISO 32000 user unit), to 0.1 mm in the pixels;
    the slanting line of the 100 mm square is 141.42 mm."""
    work = make_work(panel=Panel(190.0, 260.0, 18.0))
    page = (pages_of(template_pdf(work))[0] < 128).astype(np.uint8)
    across = _line_positions(_runs(page, axis=0).sum(axis=0)) / PX
    down = _line_positions(_runs(page, axis=1).sum(axis=1)) / PX
    assert across[1] - across[0] == pytest.approx(100.0, abs=0.1)
    assert across[2] - across[0] == pytest.approx(101.6, abs=0.1)
    assert down[1] - down[0] == pytest.approx(100.0, abs=0.1)
    assert down[3] - down[2] == pytest.approx(101.6, abs=0.1)


def _runs(page: np.ndarray, axis: int) -> np.ndarray:
    """Only what belongs to straight ink at least 95 mm long (a morphological opening)."""
    size = round(95 * PX)
    worn = ndimage.minimum_filter1d(page, size, axis=axis, mode="constant")
    return ndimage.maximum_filter1d(worn, size, axis=axis, mode="constant")


def _line_positions(profile: np.ndarray) -> np.ndarray:
    labels, n = ndimage.label(profile > 0)
    return np.array(ndimage.center_of_mass(profile, labels, range(1, n + 1))).ravel()


def test_the_reader_is_asked_not_to_scale(small: Work) -> None:
    """ISO 32000 12.2: /ViewerPreferences << /PrintScaling /None >>; and no /UserUnit anywhere, which two
    renderers were seen to ignore."""
    pdf = template_pdf(small)
    assert pdfium.raw.FPDF_VIEWERREF_GetPrintScaling(pdfium.PdfDocument(pdf)) == 0
    assert b"/UserUnit" not in pdf


def test_every_font_is_embedded(small: Work) -> None:
    """Each font dictionary has a descriptor with its font file; none of the standard 14 is relied on."""
    pdf = template_pdf(small)
    fonts = re.findall(rb"/BaseFont\s*/([^\s/]+)", pdf)
    assert fonts
    assert all(re.match(rb"[A-Z]{6}\+", font) for font in fonts), fonts
    assert len(re.findall(rb"/FontFile2", pdf)) == len(set(fonts))


def test_page_size_is_the_papers(make_work: Callable[..., Work]) -> None:
    """A4 is 210 x 297 mm (ISO 216), 595.28 x 841.89 pt at 1/72 in; one way up or the other."""
    document = pdfium.PdfDocument(template_pdf(make_work()))
    for page in document:
        assert sorted(page.get_size()) == pytest.approx([210 * 72 / 25.4, 297 * 72 / 25.4], abs=0.01)


def test_the_back_is_said_on_every_sheet_and_drawn_mirrored(small: Work) -> None:
    """Common practice, no source: a template for the back is the mirror image; its words are not."""
    back = asking(small, back=True)
    document = pdfium.PdfDocument(template_pdf(back))
    sheets = template_sheets(back)["sheets"]
    texts = [page.get_textpage().get_text_range() for page in document]
    assert all("MIRRORED, glue on the BACK" in text for text in texts[-sheets:])
    assert "edge of the panel" in " ".join(" ".join(texts[-sheets:]).split())
    front, mirrored = Drawing.of(small), Drawing.of(back)
    width = small.pattern.panel.width
    flipped = shapely.transform(front.cuts, lambda xy: np.column_stack([width - xy[:, 0], xy[:, 1]]))
    assert shapely.hausdorff_distance(flipped, mirrored.cuts) < 1e-9


def test_the_same_job_gives_the_same_bytes(small: Work) -> None:
    assert template_pdf(small) == template_pdf(small)


def test_a_detailed_pattern_stays_small(make_work: Callable[..., Work]) -> None:
    """One shared drawing: nine sheets of a 4,000-point outline take under 400 kB."""
    angles = np.linspace(0, 2 * math.pi, 4000, endpoint=False)
    radius = 220 + 25 * np.cos(37 * angles)
    ring = Ring.of_points(np.column_stack([250 + radius * np.cos(angles), 250 + radius * np.sin(angles)]))
    work = make_work(outline=Outline((ring,), 1.0), panel=Panel(500.0, 500.0, 18.0))
    assert template_sheets(work)["sheets"] >= 6
    assert len(template_pdf(work)) < 400_000


def test_similarity_is_the_identity_for_the_show_face(small: Work) -> None:
    assert Drawing.of(small).frame == Similarity()


@pytest.mark.parametrize("name", ["a4", "letter"])
def test_a_printer_that_is_off_is_made_up_for(make_work: Callable[..., Work], name: str) -> None:
    """Printed 1 % small across and 2 % large along, the largest square of the first page measures the same.

    Its bounds as pypdfium2 reads them; plain arithmetic.
    """
    true, off = make_work(paper_name=name), make_work(paper_name=name, print_scale=(0.99, 1.02))
    width, height = largest_path(template_pdf(true))
    assert width == pytest.approx(height, abs=0.01)
    page = tiling_of(Drawing.of(off)).page
    across, up = (0.99, 1.02) if page[0] < page[1] else (1.02, 0.99)
    wide, high = largest_path(template_pdf(off))
    assert (wide * across, high * up) == pytest.approx((width, height), abs=0.05)


def largest_path(content: bytes) -> tuple[float, float]:
    """Width and height (mm) of the largest path on the first page."""
    boxes = [o.get_bounds() for o in pdfium.PdfDocument(content)[0].get_objects() if o.type == 2]
    sizes = [((right - left) / 72 * 25.4, (top - bottom) / 72 * 25.4) for left, bottom, right, top in boxes]
    return max(sizes, key=lambda size: size[0] * size[1])


def test_print_scale_leaves_the_paper_as_it_is(make_work: Callable[..., Work]) -> None:
    sizes = {
        pdfium.PdfDocument(template_pdf(make_work(print_scale=scale)))[0].get_size()
        for scale in ((1.0, 1.0), (0.97, 1.03))
    }
    assert np.ptp([list(s) for s in sizes], axis=0).max() < 0.01


def test_a_roll_takes_one_scale(make_work: Callable[..., Work]) -> None:
    assert template_pdf(make_work(paper_name="roll 610mm", print_scale=(0.99, 0.99)))
    with pytest.raises(WriteError, match="one print scale"):
        template_pdf(make_work(paper_name="roll 610mm", print_scale=(0.99, 1.0)))


def _edge_profile(work: Work, spot: tuple[float, float], across: complex) -> tuple[float, float]:
    """Where ink begins and ends along a line through a spot of the outline (mm from it, waste positive)."""
    tiling = tiling_of(Drawing.of(work))
    (sheet,) = tiling.sheets
    page = pages_of(template_pdf(work), 1200)[-1]
    away = np.arange(-2.0, 2.0, 0.005)
    z = complex(*spot) + across * away
    x = (z.real - sheet.window[0] + MARGIN) * 1200 / 25.4
    y = page.shape[0] - (z.imag - sheet.window[1] + MARGIN + STRIP) * 1200 / 25.4
    ink = page[y.astype(int), x.astype(int)] < 100
    return float(away[ink].min()), float(away[ink].max())


@pytest.mark.parametrize("width", [0.2, 0.6, 1.2])
def test_the_line_is_as_wide_as_asked_and_lies_where_it_is_said_to(
    make_work: Callable[..., Work], width: float
) -> None:
    """Under the round window of the invented pattern (centre 185, 60, radius 22) nothing else is drawn."""
    plain = asking(make_work(), line=width, plan=replace(make_work().plan, holes=(), legs=()), paper="a3")
    spot, into_waste = (185.0, 38.0), 1j
    low, high = _edge_profile(plain, spot, into_waste)
    assert (low, high) == pytest.approx((-width / 2, width / 2), abs=0.04)
    low, high = _edge_profile(asking(plain, line_lies="keep"), spot, into_waste)
    assert (low, high) == pytest.approx((-width, 0.0), abs=0.04)


def test_a_second_reader_sees_the_same_pages(small: Work) -> None:
    """pdfplumber (on pdfminer, another parser than pdfium) finds every sheet's name, the outline and the hatch."""
    tiling = tiling_of(Drawing.of(small))
    with pdfplumber.open(BytesIO(template_pdf(small))) as document:
        pages = document.pages[-len(tiling.sheets) :]
        for sheet, page in zip(tiling.sheets, pages, strict=True):
            assert sheet.name in [word["text"] for word in page.extract_words()]
            assert float(page.width) * 25.4 / 72 == pytest.approx(tiling.page[0], abs=0.01)
        x0, y0, x1, y1 = tiling.sheets[0].window
        holes = [c for c in pages[0].curves if abs(c["x1"] - c["x0"] - 8 * 72 / 25.4) < 0.05]
        shown = [h for h in small.plan.holes if x0 < h.at[0] < x1 and y0 < h.at[1] < y1 and h.diameter == 8.0]
        mm = 25.4 / 72
        middles = [
            ((c["x0"] + c["x1"]) / 2 * mm - MARGIN + x0, (c["y0"] + c["y1"]) / 2 * mm - MARGIN - STRIP + y0)
            for c in holes
        ]
        for hole in shown:
            assert min(math.dist(hole.at, m) for m in middles) < 0.02
        slanting = [
            e for e in pages[0].lines if abs(abs(e["x1"] - e["x0"]) - abs(e["bottom"] - e["top"])) < 0.01
        ]
        assert len(slanting) > 20, "the waste is hatched"


def test_the_outline_to_trace_holds_no_holes_and_no_legs(small: Work) -> None:
    sheets = pdfium.PdfDocument(outline_pdf(small))
    text = " ".join(page.get_textpage().get_text_range() for page in sheets)
    assert "hole to drill" not in text
    assert "outline" in text
    assert "hole to drill 8 mm" in " ".join(
        p.get_textpage().get_text_range() for p in pdfium.PdfDocument(template_pdf(small))
    )
