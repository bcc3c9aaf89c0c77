from __future__ import annotations

import pypdfium2 as pdfium
import pytest

from cutout.draw.fonts import PT
from cutout.errors import KitError
from cutout.gauge.card import HEIGHT, WIDTH, card_for, cells, dots, mark_boxes, word
from cutout.kit import Kit, paper
from cutout.write.gauge import gauge_pdf
from tests.kits import kit_of


def kit_with(name: str) -> Kit:
    return kit_of(name, "red-oak")


@pytest.mark.parametrize("name", ["jigsaw", "jigsaw-narrow", "scroll-fine"])
def test_the_card_says_what_to_do(name: str) -> None:
    kit = kit_with(name)
    document = pdfium.PdfDocument(gauge_pdf(kit, paper("a4"), "mm"))
    words = " ".join(" ".join(page.get_textpage().get_text_range() for page in document).split())
    wanted = (
        "100 mm",
        "4 in",
        "Kerf",
        "Turning radius",
        "--turning-radius",
        "--kerf",
        "turning_radius =",
        "Clamp",
    )
    for text in wanted:
        assert text in words
    for radius in card_for(kit.blade.turning_radius, paper("a4")).radii:
        assert f"R {radius:g} mm" in words


@pytest.mark.parametrize("name", ["a4", "letter"])
def test_marks_and_dots_are_where_the_reader_looks_for_them(name: str) -> None:
    """The page as pypdfium2 draws it, at 10 dots a millimetre: cells black or white, a dot black in its middle."""
    kit, sheet = kit_with("jigsaw-narrow"), paper(name)
    card = card_for(kit.blade.turning_radius, sheet)
    page = pdfium.PdfDocument(gauge_pdf(kit, sheet, "mm"))[1]
    ink = page.render(scale=10 / PT, grayscale=True).to_numpy()
    ink = ink.reshape(ink.shape[:2])
    ox, oy = (sheet.width - WIDTH) / 2, ((sheet.height or 0) - HEIGHT) / 2

    def black(x: float, y: float) -> bool:
        return bool(ink[round(ink.shape[0] - (oy + y) * 10 - 0.5), round((ox + x) * 10 - 0.5)] < 100)

    for corner, (x0, _, _, y1) in enumerate(mark_boxes()):
        seen = [[black(x0 + 3 + 2 * c, y1 - 3 - 2 * r) for c in range(4)] for r in range(4)]
        assert seen == cells(word(card, corner)).tolist()
        assert black(x0 + 0.3, y1 - 0.3)
        assert not black(x0 - 0.3, y1 + 0.3)
    for x, y in dots(card.ladder).tolist():
        assert [black(x + d, y) for d in (-1.7, -1.3, 0, 1.3, 1.7)] == [False, True, True, True, False]


def test_same_bytes_again() -> None:
    kit = kit_with("coping")
    assert gauge_pdf(kit, paper("letter"), "in") == gauge_pdf(kit, paper("letter"), "in")


def test_endless_paper_holds_the_card_and_small_paper_is_refused() -> None:
    assert len(pdfium.PdfDocument(gauge_pdf(kit_with("jigsaw"), paper("roll 24in"), "in"))) >= 3
    with pytest.raises(KitError, match="A4 or Letter"):
        gauge_pdf(kit_with("jigsaw"), paper("60x60mm"), "mm")
