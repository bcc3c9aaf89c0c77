"""The two backends show one scene alike: SVG by resvg, PDF by pypdfium2, compared by their pixels."""

from __future__ import annotations

from xml.etree import ElementTree

import numpy as np
import pypdfium2 as pdfium
import pytest
import shapely
from PIL import Image

from cutout.draw import fonts, looks
from cutout.draw.looks import SOLID, Look
from cutout.draw.paint import Paint
from cutout.draw.raster import raster
from cutout.draw.scene import (
    Area,
    Disc,
    Item,
    Layer,
    Scene,
    Words,
    arrow_head,
    lines,
    plus,
    polygon,
    rectangle,
    region,
    ring,
    sector,
    span,
)
from cutout.draw.signs import dimension, disc, drill_sign, hand, pin_sign, tie
from cutout.draw.svg import items_svg, layers_svg
from cutout.geom.curve import Cubic, Line
from cutout.geom.outline import Ring

BOX = (0.0, 0.0, 40.0, 30.0)
SCALE = 12.0
"""Pixels to the mm."""

LEAF = Ring((Cubic(5 + 5j, 15 - 5j, 30 + 0j, 35 + 25j), Line(35 + 25j, 5 + 5j)))
ALL_LOOKS = {name: look for name, look in vars(looks).items() if isinstance(look, Look)}


def as_svg(*items: Item) -> np.ndarray:
    over = raster(Scene(BOX, (Layer("all", items),)), SCALE)
    paper = Image.new("RGB", over.size, "white")
    paper.paste(over, (0, 0), over)
    return np.asarray(paper).astype(int)


def as_pdf(*items: Item) -> np.ndarray:
    paint = Paint("scene", face=fonts.SANS)
    paint.page(BOX[2], BOX[3])
    paint.draw(items)
    paint.end_page()
    page = pdfium.PdfDocument(paint.bytes())[0]
    shown = page.render(scale=SCALE / fonts.PT).to_pil().convert("RGB")
    return np.asarray(shown.resize((round(BOX[2] * SCALE), round(BOX[3] * SCALE)))).astype(int)


def apart(*items: Item) -> float:
    """Share of the ink that one backend shows and the other has not within a pixel."""
    svg, pdf = (
        np.asarray(Image.fromarray(p.min(axis=2).astype(np.uint8))) < 200
        for p in (as_svg(*items), as_pdf(*items))
    )
    assert svg.any() and pdf.any()

    def grown(ink: np.ndarray) -> np.ndarray:
        padded = np.pad(ink, 1)
        return np.any([np.roll(padded, (a, b), (0, 1)) for a in (-1, 0, 1) for b in (-1, 0, 1)], axis=0)[
            1:-1, 1:-1
        ]

    return max((svg & ~grown(pdf)).sum() / svg.sum(), (pdf & ~grown(svg)).sum() / pdf.sum())


@pytest.mark.parametrize(
    "items",
    [
        (Area(looks.AWAY, (LEAF,)),),
        (Area(looks.WASTE, (LEAF,)), span(looks.START, (5, 5), (35, 25))),
        (region(looks.AWAY, shapely.box(5, 5, 30, 25) - shapely.Point(15, 15).buffer(5)),),
        (
            ring(looks.RIM, (5, 5, 30, 15)),
            ring(looks.SOLID, (5, 18, 13, 26)),
            sector(SOLID, (25, 22), 5, 90, 90),
        ),
        (Disc(looks.BOX, (20, 15), 8), plus(looks.START, (20, 15), 11), arrow_head(35, 5, 2.0, 4.0)),
        (lines(looks.START, shapely.MultiLineString([[(2, 2), (30, 3)], [(4, 8), (20, 25), (38, 8)]])),),
        (*drill_sign((10, 15), 4, 0), *drill_sign((22, 15), 4, 2), *drill_sign((34, 15), 4, 5)),
        (*pin_sign((6, 6)), *hand(12, 5, 10.0), *tie((25, 5), (38, 15))),
        (*dimension((3, 4), (37, 4), ""), *dimension((4, 8), (4, 28), "")),
        (polygon(looks.MUST, ((5, 5), (20, 5), (12, 20))), rectangle(looks.CARE, (22, 5, 35, 18))),
    ],
)
def test_both_backends_show_the_same(items: tuple[Item, ...]) -> None:
    assert apart(*items) < 0.004


def test_words_stand_at_the_same_place_in_both() -> None:
    words = (Words("8 up", (20, 15), 5.0, align="centre"), Words("7", (6, 4), 5.0, upright=True))
    centres = [np.argwhere(shown.min(axis=2) < 128) for shown in (as_svg(*words), as_pdf(*words))]
    assert np.abs(centres[0].mean(axis=0) - centres[1].mean(axis=0)).max() < 1.5
    for (low, high), (other_low, other_high) in zip(
        *[(c.min(axis=0), c.max(axis=0)) for c in centres], strict=False
    ):
        assert abs(int(low) - int(other_low)) < 3 and abs(int(high) - int(other_high)) < 3
    assert as_pdf(*disc((20, 15), "AB"))[15 * 12, 20 * 12 - 40].max() < 60, "white in a black disc"


def test_lines_that_may_lie_side_by_side_differ_in_grey_too() -> None:
    """Edge, middle, glue line, zone, cut across the waste: no two alike in weight, dashes and ends together."""
    kinds = [looks.EDGE, looks.MIDDLE, looks.SEAM, looks.ZONE, looks.LEG, looks.TRIM, looks.DRAWN]
    assert len({(look.width, look.dash, look.round_ends) for look in kinds}) == len(kinds)
    assert all(isinstance(look.ink, float) for look in kinds), "greys"


@pytest.mark.parametrize("name", ALL_LOOKS)
def test_every_look_can_be_drawn_by_both(name: str) -> None:
    look = ALL_LOOKS[name]
    if look.width == 0 and look.fill is None:
        pytest.fail("it draws nothing")
    box = rectangle(look, (5, 5, 30, 20))
    if look.fill != 1.0 or look.width:
        assert as_pdf(box).min() < 250 and as_svg(box).min() < 250


def test_the_svg_is_well_formed_and_says_what_each_thing_is() -> None:
    items = (Words("a<b&c", (1, 1), 3.0), Area(looks.WASTE, (LEAF,), "leaf-1"), *drill_sign((5, 5), 2, 1))
    text = layers_svg([Layer("things", items)], 30.0)
    root = ElementTree.fromstring(f"<svg>{text}</svg>")
    assert root.find("g").attrib == {"class": "things"}
    assert [e.text for e in root.iter("text")] == ["a<b&c"]
    assert [e.attrib["class"] for e in root.find("g")][:2] == ["words", "waste"]
    assert items_svg([], 0.0) == ""
