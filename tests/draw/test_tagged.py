"""What a reader aloud is told of a PDF's parts, as PDFium reads its structure."""

from __future__ import annotations

import ctypes
from collections.abc import Callable, Iterator
from io import BytesIO

import pdfplumber
import pypdfium2 as pdfium
import pytest

from cutout.draw.paint import Paint
from cutout.write.cutsheet.pdf import cut_sheet_pdf
from cutout.write.shopdrawing.shopdrawing import shop_drawing_pdf
from cutout.write.template.template import template_pdf
from cutout.write.work import Work


def parts(page: pdfium.PdfPage) -> Iterator[tuple[str, str]]:
    """Role and description of every part on a page, in reading order."""
    tree = pdfium.raw.FPDF_StructTree_GetForPage(page)
    (document,) = (
        pdfium.raw.FPDF_StructTree_GetChildAtIndex(tree, n)
        for n in range(pdfium.raw.FPDF_StructTree_CountChildren(tree))
    )
    for n in range(pdfium.raw.FPDF_StructElement_CountChildren(document)):
        part = pdfium.raw.FPDF_StructElement_GetChildAtIndex(document, n)
        if part:
            yield (
                words(pdfium.raw.FPDF_StructElement_GetType, part),
                words(pdfium.raw.FPDF_StructElement_GetAltText, part),
            )
    pdfium.raw.FPDF_StructTree_Close(tree)


def words(of: Callable[..., int], part: object) -> str:
    """What PDFium answers in UTF-16."""
    room = of(part, None, 0)
    buffer = ctypes.create_string_buffer(max(room, 2))
    of(part, buffer, room)
    return buffer.raw[: max(room - 2, 0)].decode("utf-16-le")


@pytest.mark.parametrize("made", [template_pdf, shop_drawing_pdf, cut_sheet_pdf])
def test_every_word_is_in_a_part_and_every_picture_is_described(
    work: Work, made: Callable[[Work], bytes]
) -> None:
    content = made(work)
    found = [part for page in pdfium.PdfDocument(content) for part in parts(page)]
    assert found[0][0] == "H1" and {"H2", "P", "Figure"} <= {role for role, _ in found}
    assert all(alt for role, alt in found if role == "Figure")
    with pdfplumber.open(BytesIO(content)) as document:
        # The foot of a page of notes is none of its text.
        letters = [c for page in document.pages for c in page.chars if c["size"] > 7.2]
    assert letters and all(c["mcid"] is not None for c in letters if c["text"].strip())


def test_what_goes_on_overleaf_is_one_paragraph_still() -> None:
    paint = Paint("two pages")
    with paint.part("P"):
        for line in ("first line", "second line"):
            paint.page(100.0, 100.0)
            paint.text(10.0, 50.0, line, 10.0)
            paint.end_page()
    pages = list(pdfium.PdfDocument(paint.bytes()))
    assert [list(parts(page)) for page in pages] == [[("P", "")], [("P", "")]]


def test_a_file_without_words_is_not_said_to_have_parts() -> None:
    paint = Paint("rule")
    paint.page(100.0, 100.0)
    paint.line(10.0, 10.0, 90.0, 10.0)
    paint.end_page()
    assert b"StructTreeRoot" not in paint.bytes()
