"""The notes as a PDF, to an independent reader: what they say, and what they leave to the other papers."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace
from html import unescape
from io import BytesIO

import numpy as np
import pdfplumber
import pypdfium2 as pdfium
import pytest
from PIL import ImageColor

from cutout.draw import fonts
from cutout.draw.looks import AWAY, BOARD
from cutout.write.cutsheet.file_spots import file_places
from cutout.write.cutsheet.html import listed, section, table
from cutout.write.cutsheet.opening import opening_svg
from cutout.write.cutsheet.page import cut_sheet, notes
from cutout.write.cutsheet.pdf import cut_sheet_pdf, set_in_type
from cutout.write.work import Work
from tests.asking import asking


def words_of(text: str) -> str:
    return "".join(text.split())


def lines_of(html: bytes) -> list[str]:
    """What stands in each paragraph, cell and heading."""
    page = html.decode("utf-8")
    body = re.sub(r"<(svg|script|summary).*?</\1>", "", page[page.index("<main>") :], flags=re.DOTALL)
    parts = re.split(r"</(?:td|th|li|p|h[123]|dt|dd|caption)>|<br>", body)
    return [line for part in parts if (line := unescape(re.sub(r"<[^>]+>", "", part)).strip())]


def test_every_line_of_the_notes_is_in_the_pdf(work: Work) -> None:
    with pdfplumber.open(BytesIO(cut_sheet_pdf(work))) as document:
        cells = [c or "" for p in document.pages for t in p.extract_tables() for row in t for c in row]
        text = words_of(" ".join([*(page.extract_text() for page in document.pages), *cells]))
    missing = [line for line in lines_of(notes(work)) if fonts.plain(words_of(line)) not in text]
    assert missing == []


def test_what_the_shop_drawing_says_is_not_said_again(work: Work) -> None:
    """Steps and cautions stand on the shop drawing and the template, measures of cuts on the page for a screen."""
    said, whole = lines_of(notes(work)), lines_of(cut_sheet(work))
    for step in work.plan.steps:
        assert not any(work.told(step).text in line for line in said)
        assert any(work.told(step).text in line for line in whole)
    assert not any(line.startswith("Clamp") for line in said)
    for finding in work.findings:
        if not finding.cleared:
            assert any(work.said(finding).text in line for line in said)


def test_spots_for_the_file_are_told_by_place(make_work: Callable[..., Work]) -> None:
    """Two spots beside each other are one place, one far off another; every spot is in one, and on the picture."""
    work = make_work()
    one = work.plan.left_over[0]
    x, y = one.at
    spots = (one, replace(one, at=(x + 1.0, y), depth=1.25), replace(one, at=(x + 60.0, y + 50.0)))
    several = replace(work, plan=replace(work.plan, left_over=spots))
    places = file_places(several)
    assert sorted(len(place.spots) for place in places) == [1, 2]
    assert sorted(s.at for place in places for s in place.spots) == sorted(s.at for s in spots)
    page = notes(several).decode()
    assert "2 spots, 1.2 mm deep at most" in page and "1 spot, 0.8 mm deep<" in page
    (dots,) = re.findall(r'<g class="files">(.*?)</g></g>', page)
    (letters,) = re.findall(r'<g class="names-balloon">(.*?)</g></g>', page)
    assert dots.count("<circle") == 3 and re.findall(r">(\w)</text>", letters) == ["a", "b"]
    assert file_places(replace(work, plan=replace(work.plan, left_over=()))) == ()


def test_no_heading_stands_alone_at_a_pages_foot() -> None:
    """Under more and more lines every heading and caption comes near the foot of a page once."""
    rows = [("1", "so much"), ("2", "so little")]
    tables = section("b", "Short", table("Two rows", ("No.", "What"), rows))
    tables += (
        section("c", "Long", table("Many rows", ("No.", "What"), rows * 12))
        + "<h3>Third</h3><ul><li>Last</li></ul>"
    )
    for many in range(4, 40):
        page = f"<main>{section('a', 'First', listed(['one line'] * many))}{tables}</main>".encode()
        with pdfplumber.open(BytesIO(set_in_type(page, "t", "foot", (420.0, 595.0)))) as document:
            for sheet in document.pages:
                lines = [line for line in sheet.extract_text_lines() if "foot, page" not in line["text"]]
                last = lines[-1]["chars"][0]
                assert not ("Bold" in last["fontname"] and last["size"] > 8.0), (many, lines[-1]["text"])


def test_the_picture_is_there_and_no_pixels(work: Work) -> None:
    """The panel's wood and its waste in their own colours, in the share the pattern has."""
    pages = pdfium.PdfDocument(cut_sheet_pdf(work))
    kinds = {thing.type for page in pages for thing in page.get_objects()}
    assert pdfium.raw.FPDF_PAGEOBJ_PATH in kinds and pdfium.raw.FPDF_PAGEOBJ_IMAGE not in kinds
    first = np.asarray(pages[0].render(scale=2).to_pil().convert("RGB")).astype(int)
    wood, waste = (
        int((np.abs(first - ImageColor.getrgb(str(look.fill))).max(axis=2) < 3).sum())
        for look in (BOARD, AWAY)
    )
    assert waste / (waste + wood) == pytest.approx(work.pattern.waste.area / (240 * 180), abs=0.03)


@pytest.mark.parametrize(
    ("name", "size"), [("letter", (612.0, 792.0)), ("a4", (595.28, 841.89)), ("roll 900mm", (595.28, 841.89))]
)
def test_it_is_printed_on_the_papers_of_a_home_printer(
    make_work: Callable[..., Work], name: str, size: tuple[float, float]
) -> None:
    page = pdfium.PdfDocument(cut_sheet_pdf(asking(make_work(), paper=name)))[0]
    assert page.get_size() == pytest.approx(size, abs=0.1)


def test_same_bytes_again_and_odd_titles_do_no_harm(work: Work) -> None:
    assert cut_sheet_pdf(work) == cut_sheet_pdf(work)
    assert cut_sheet_pdf(replace(work, title="<b>&\u4e2d")).startswith(b"%PDF")


def test_a_little_picture_numbers_every_leg_it_has_room_for(work: Work) -> None:
    for opening in work.pattern.openings:
        svg = opening_svg(work, opening)
        for leg in work.plan.legs:
            bold = re.search(rf'font-weight="700">{leg.order}</text>', svg)
            assert (bold is not None) == (leg.opening == opening.id)
        for hole in work.plan.holes:
            if hole.opening == opening.id:
                assert re.search(rf'text-anchor="start">{hole.id}</text>', svg)
