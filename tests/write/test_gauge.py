from __future__ import annotations

import pypdfium2 as pdfium
import pytest

from cutout.draw.paint import PT
from cutout.kit import Kit, bit, blade, blades, drills, paper, wood
from cutout.write.gauge import gauge_pdf, ladder


def kit_with(name: str) -> Kit:
    return Kit(blade(name), drills("metric"), bit("6mm"), wood("red-oak"))


@pytest.mark.parametrize("name", sorted(blades()))
@pytest.mark.parametrize("units", ["mm", "in"])
def test_the_ladder_reaches_past_the_expected_radius_on_both_sides(name: str, units: str) -> None:
    kit = kit_with(name)
    radii = ladder(kit, units)  # type: ignore[arg-type]
    expected = kit.blade.turning_radius
    assert list(radii) == sorted(radii, reverse=True)
    assert len(radii) >= 4
    assert radii[0] > expected
    assert radii[-1] < max(expected, 1.6)


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
    for radius in ladder(kit, "mm", 210.0 - 16):
        assert f"{radius:g} mm" in words


def test_arcs_are_true_to_size() -> None:
    """Half circles of 16, 12, 10 and 8 mm, found among the page's own paths by pypdfium2."""
    page = pdfium.PdfDocument(gauge_pdf(kit_with("jigsaw-narrow"), paper("a4"), "mm"))[1]
    widths = [(x1 - x0) / PT for x0, _, x1, _ in (o.get_bounds() for o in page.get_objects() if o.type == 2)]
    for radius in (16.0, 12.0, 10.0, 8.0):
        # The reader's bounds reach the line's own width, 0.25 mm, past it on both sides.
        assert any(abs(w - 2 * radius - 0.5) < 0.02 for w in widths), radius


def test_same_bytes_again() -> None:
    kit = kit_with("coping")
    assert gauge_pdf(kit, paper("letter"), "in") == gauge_pdf(kit, paper("letter"), "in")


@pytest.mark.parametrize("name", ["60x60mm", "roll 24in"])
def test_small_and_endless_papers(name: str) -> None:
    assert len(pdfium.PdfDocument(gauge_pdf(kit_with("jigsaw"), paper(name), "in"))) >= 2
