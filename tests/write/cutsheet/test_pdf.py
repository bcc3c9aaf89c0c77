"""The cut sheet as a PDF says what the page says, to an independent reader."""

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

from cutout.draw import fonts
from cutout.write.cutsheet.opening import opening_svg
from cutout.write.cutsheet.page import cut_sheet
from cutout.write.cutsheet.pdf import cut_sheet_pdf
from cutout.write.work import Work
from tests.asking import asking


def words_of(text: str) -> str:
    return "".join(text.split())


def test_every_line_of_the_page_is_in_the_pdf(work: Work) -> None:
    html = cut_sheet(work).decode("utf-8")
    body = re.sub(r"<svg.*?</svg>|<summary>.*?</summary>", "", html[html.index("<main>") :], flags=re.DOTALL)
    lines = [
        unescape(re.sub(r"<[^>]+>", "", part))
        for part in re.split(r"</(?:td|th|li|p|h[123]|dt|dd|caption)>|<br>", body)
    ]
    with pdfplumber.open(BytesIO(cut_sheet_pdf(work))) as document:
        cells = [c or "" for p in document.pages for t in p.extract_tables() for row in t for c in row]
        text = words_of(" ".join([*(page.extract_text() for page in document.pages), *cells]))
    missing = [line for line in lines if fonts.plain(words_of(line)) not in text]
    assert missing == []


def test_pictures_of_the_panel_and_of_each_opening_are_there(work: Work) -> None:
    pages = pdfium.PdfDocument(cut_sheet_pdf(work))
    pictures = sum(
        1 for page in pages for thing in page.get_objects() if thing.type == pdfium.raw.FPDF_PAGEOBJ_IMAGE
    )
    assert pictures == 2 + len(work.pattern.openings)
    first = np.asarray(pages[0].render(scale=1).to_pil())
    assert len(np.unique(first.reshape(-1, 3), axis=0)) > 10


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
            assert (re.search(rf'class="opening"[^>]*>{leg.order}</text>', svg) is not None) == (
                leg.opening == opening.id
            )
        for hole in work.plan.holes:
            if hole.opening == opening.id:
                assert re.search(rf'class="number"[^>]*>{hole.id}</text>', svg)
