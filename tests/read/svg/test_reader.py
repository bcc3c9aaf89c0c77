"""What an SVG paints, by areas that can be worked out on paper."""

from __future__ import annotations

import gzip
import io
import math
from typing import Any

import numpy as np
import pytest
import resvg_py
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image

from cutout.errors import ReadError
from cutout.geom.curve import Arc, Cubic, Line
from cutout.geom.outline import Outline
from cutout.read.options import ReadOptions
from cutout.read.svg import pixels as svg_pixels
from cutout.read.svg import render as svg_render
from cutout.read.svg.reader import read_svg
from cutout.say.source import sentence

OPEN = '<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink" viewBox="0 0 100 100">'


def outline(body: str, head: str = OPEN, **options: Any) -> Outline:
    return read_svg(f"{head}{body}</svg>".encode(), "drawing.svg", ReadOptions(**options))


def area(body: str, **options: Any) -> float:
    return float(outline(body, **options).region(1e-4).area)


def kinds(found: Outline) -> set[str]:
    return {note.kind for note in found.notes}


DISC = math.pi * 400
LETTERS = '<svg xmlns="http://www.w3.org/2000/svg" width="9" height="9"><text y="9">H</text></svg>'
NEEDS_A_FONT = pytest.mark.skipif(
    not np.asarray(Image.open(io.BytesIO(bytes(resvg_py.svg_to_bytes(svg_string=LETTERS))))).any(),
    reason="this machine has no fonts",
)
BENT = 80 * 10 + 40 * 10 - 25
"""Two legs of 80 and 40, 10 wide, that share a quarter of the square at their corner."""


@pytest.mark.parametrize(
    ("body", "expected"),
    [
        ('<circle cx="50" cy="50" r="20"/>', DISC),
        ('<path d="M10 10h80v80h-80zM30 30h40v40h-40z"/>', 6400),
        ('<path d="M10 10h80v80h-80zM30 30v40h40v-40z"/>', 4800),
        ('<path fill-rule="evenodd" d="M10 10h80v80h-80zM30 30h40v40h-40z"/>', 4800),
        ('<path style="fill-rule:evenodd" d="M10 10h80v80h-80zM30 30h40v40h-40z"/>', 4800),
        ('<polyline points="10,10 90,10 90,90"/>', 3200),
        ('<rect width="40" height="40"/><rect x="20" width="40" height="40"/>', 2400),
        ('<rect width="40" height="40"/><rect x="10" y="10" width="20" height="20" fill="white"/>', 1200),
        ('<rect x="10" y="10" width="20" height="20" fill="#fff"/><rect width="40" height="40"/>', 1600),
        ('<rect width="40" height="40" fill="none"/><rect width="10" height="10"/>', 100),
        ('<g display="none"><rect width="40" height="40"/></g><rect width="10" height="10"/>', 100),
        (
            '<g visibility="hidden"><rect width="9" height="9"/>'
            '<rect visibility="visible" width="5" height="5"/></g>',
            25,
        ),
        ('<g opacity="0"><rect width="40" height="40"/></g><rect width="10" height="10"/>', 100),
        ('<rect width="40" height="40" fill-opacity="0.05"/><rect x="50" width="10" height="10"/>', 100),
        ('<g fill="white"><rect width="40" height="40"/><rect width="10" height="10" fill="red"/></g>', 100),
        ('<g color="navy" fill="currentColor"><rect width="4" height="5"/></g>', 20),
        (
            '<g transform="translate(10 10)"><g transform="scale(2 3)"><rect width="4" height="5"/></g></g>',
            120,
        ),
        ('<rect width="10" height="10" transform="skewX(45)"/>', 100),
        (
            '<defs><rect id="a" width="10" height="10"/></defs><use xlink:href="#a"/><use href="#a" x="50"/>',
            200,
        ),
        (
            '<symbol id="s" viewBox="0 0 10 10"><rect width="10" height="10"/></symbol>'
            '<use href="#s" width="20" height="20"/>',
            400,
        ),
        (
            '<svg x="10" y="10" width="20" height="20" viewBox="0 0 10 10"><rect width="99" height="99"/></svg>',
            400,
        ),
        (
            '<clipPath id="c"><circle cx="50" cy="50" r="20"/></clipPath>'
            '<g clip-path="url(#c)"><rect width="100" height="100"/></g>',
            DISC,
        ),
        (
            '<clipPath id="c"><rect width="50" height="100"/></clipPath>'
            '<circle cx="50" cy="50" r="20" clip-path="url(#c)"/>',
            DISC / 2,
        ),
        (
            "<style>.k{fill:white} rect.k#z{fill:black !important} circle{display:none}</style>"
            '<rect class="k" id="z" width="10" height="10" style="fill:white"/><circle r="9"/>',
            100,
        ),
        (
            "<style>g > rect:nth-child(2){fill:none}</style>"
            '<g><rect width="10" height="10"/><rect x="20" width="10" height="10"/></g>',
            100,
        ),
        (
            '<switch><rect requiredExtensions="x" width="50" height="50"/><rect width="5" height="5"/></switch>',
            25,
        ),
        (
            '<linearGradient id="g"><stop stop-color="#111"/><stop offset="1" stop-color="#444"/></linearGradient>'
            '<rect width="10" height="10" fill="url(#g)"/>',
            100,
        ),
        ('<rect width="10" height="10" fill="url(#none) black"/>', 100),
    ],
)
def test_painted_area(body: str, expected: float) -> None:
    found = outline(body)
    assert found.region(1e-4).area == pytest.approx(expected, rel=2e-4)
    assert "rendered" not in kinds(found)


@pytest.mark.parametrize(
    ("attributes", "expected"),
    [
        ("", BENT + 25),
        ('stroke-linejoin="bevel"', BENT + 12.5),
        ('stroke-linejoin="round"', BENT + 25 * math.pi / 4),
        ('stroke-miterlimit="1.2"', BENT + 12.5),
        ('stroke-linecap="square"', BENT + 25 + 2 * 50),
        ('stroke-linecap="round"', BENT + 25 + 25 * math.pi),
        ('stroke-dasharray="20 20"', 3 * 200),
        ('stroke-dasharray="20 20" stroke-dashoffset="20"', 3 * 200),
        ('stroke-dasharray="30"', 300 + 300),
    ],
)
def test_stroke_of_a_bent_line(attributes: str, expected: float) -> None:
    """Two legs with one right-angled corner, width 10; caps, joins and dashes by SVG's rules."""
    body = f'<path d="M10 10h80v40" fill="none" stroke="black" stroke-width="10" {attributes}/>'
    assert area(body) == pytest.approx(expected, rel=1e-3)


def test_stroke_is_scaled_with_its_element() -> None:
    line = '<path d="M0 10h10" stroke="#000" stroke-width="2" transform="scale(3 4)"/>'
    assert area(line) == pytest.approx(30 * 8)
    fixed = line.replace("stroke-width", 'vector-effect="non-scaling-stroke" stroke-width')
    assert area(fixed) == pytest.approx(30 * 2)


def test_closed_stroke_has_no_caps_and_a_hole() -> None:
    found = outline('<rect x="10" y="10" width="50" height="50" fill="none" stroke="#000" stroke-width="4"/>')
    assert [round(r.area, 6) for r in found.rings] == [54**2, -(46**2)]


def test_dot_of_a_run_without_length() -> None:
    assert area('<path d="M9 9z" stroke="#000" stroke-width="4" stroke-linecap="square"/>') == 16
    with pytest.raises(ReadError):
        area('<path d="M9 9z" stroke="#000" stroke-width="4"/>')


def test_curves_survive_where_nothing_touches_them() -> None:
    found = outline(
        '<circle cx="30" cy="30" r="20"/><path d="M60 60C70 40 90 40 90 60C90 80 70 80 60 60z"/>', width=400
    )
    made = [[type(s) for s in ring.segments] for ring in found.rings]
    assert sorted(len(m) for m in made) == [2, 2]
    assert {t for m in made for t in m} == {Arc, Cubic}


def test_curves_survive_in_part_where_shapes_overlap() -> None:
    """Two overlapping discs: four crossing stubs, the rest stays on arcs of radius 20."""
    (ring,) = outline('<circle cx="40" cy="50" r="20"/><circle cx="60" cy="50" r="20"/>', width=400).rings
    arcs = [s for s in ring.segments if isinstance(s, Arc)]
    assert len(ring.segments) < 16 and all(a.radius == pytest.approx(20, rel=1e-6) for a in arcs)
    assert sum(abs(a.sweep) * a.radius for a in arcs) > 0.95 * ring.length


def test_rings_keep_the_promise() -> None:
    found = outline('<path d="M10 10h80v80h-80zM30 30h40v40h-40zM40 40h20v20h-20z" fill-rule="evenodd"/>')
    assert [r.area > 0 for r in found.rings].count(True) == 2
    outer = max(found.rings, key=lambda r: r.area)
    # y up: the drawing's top edge (y 10) is the highest.
    assert outer.points()[:, 1].max() == pytest.approx(-10)


@pytest.mark.parametrize(
    ("head", "scale", "width"),
    [
        ('<svg width="50mm" height="50mm" viewBox="0 0 100 100">', 25.4 / 96, 5.0),
        ('<svg width="4in" height="4in" viewBox="0 0 100 100">', 25.4 / 96, 10.16),
        ('<svg width="100mm" viewBox="0 0 100 50">', 25.4 / 96, 10.0),
        ('<svg width="96" height="96" viewBox="0 0 96 96">', None, 10.0),
        ('<svg width="96px" height="96px">', None, 10.0),
        ('<svg width="100%" height="100%" viewBox="0 0 100 100">', None, 10.0),
        ("<svg>", None, 10.0),
    ],
)
def test_true_size(head: str, scale: float | None, width: float) -> None:
    """100 mm = 377.95 px at 96 px to the inch (CSS); px, percent and bare numbers state no true size."""
    found = outline('<rect x="5" y="5" width="10" height="10"/>', head)
    x0, _, x1, _ = found.bounds
    assert found.scale == (pytest.approx(scale) if scale else None)
    assert (x1 - x0) * (scale or 1) == pytest.approx(width)


@pytest.mark.parametrize(
    ("ratio", "size"),
    [("", (50, 50)), ("none", (100, 50)), ("xMinYMin slice", (100, 50)), ("xMaxYMax meet", (50, 50))],
)
def test_preserve_aspect_ratio(ratio: str, size: tuple[float, float]) -> None:
    head = f'<svg width="100" height="50" viewBox="0 0 10 10" preserveAspectRatio="{ratio}">'
    x0, y0, x1, y1 = outline('<rect width="10" height="10"/>', head).bounds
    assert (x1 - x0, y1 - y0) == pytest.approx(size)


def test_light_shapes_on_a_dark_ground() -> None:
    body = '<rect width="100" height="100"/><circle cx="50" cy="50" r="20" fill="#eee"/>'
    found = outline(body)
    assert found.region(1e-4).area == pytest.approx(DISC, rel=1e-3)
    assert "light on dark" in kinds(found)
    assert area(body, invert=False) == pytest.approx(10000 - DISC, rel=1e-3)
    plain = '<circle cx="50" cy="50" r="20"/>'
    assert area(plain, invert=True) == pytest.approx(10000 - DISC, rel=1e-3)


def test_a_dark_page_with_holes_is_no_ground() -> None:
    assert area('<path d="M0 0h100v100h-100zM30 30v40h40v-40z"/>') == pytest.approx(8400)


@pytest.mark.parametrize(("fill", "noted"), [("#fe8", False), ("#f4f4f4", True), ("white", True)])
def test_drawings_without_anything_dark(fill: str, noted: bool) -> None:
    found = outline(f'<circle cx="50" cy="50" r="20" fill="{fill}"/>')
    assert found.region(1e-4).area == pytest.approx(DISC, rel=1e-3)
    assert ("light drawing" in kinds(found)) == noted


def test_every_colour_is_figure_and_white_clears_it() -> None:
    """A yellow wing with a dark rim, a white spot on it, and a pale veil that changes nothing."""
    wing = '<rect x="10" y="10" width="40" height="40" fill="#fd0" stroke="#000" stroke-width="4"/>'
    spot = '<rect x="20" y="20" width="10" height="10" fill="#f5f5f5"/>'
    veil = '<rect x="15" y="15" width="30" height="30" fill="white" fill-opacity=".6"/>'
    found = outline(wing + spot + veil)
    assert found.region(1e-4).area == pytest.approx(44**2 - 100, rel=1e-3)
    (note,) = [n for n in found.notes if n.kind == "colours"]
    light = 1 - (44**2 - 36**2) / (44**2 - 100)
    assert f"{light:.0%} of it is lighter" in note.text and "hreshold 128" in note.text
    assert area(wing + spot, threshold=128) == pytest.approx(44**2 - 36**2, rel=1e-3)
    assert "colours" not in kinds(outline('<circle cx="50" cy="50" r="20" fill="#fd0"/>'))


def test_colour_that_fills_the_page_is_background() -> None:
    """A black cat with white eyes on a yellow page; a white one on blue."""
    page = '<rect width="100" height="100" fill="{}"/>'
    eyes = '<circle cx="50" cy="50" r="20"/><rect x="45" y="45" width="4" height="4" fill="#fff"/>'
    found = outline(page.format("#fd0") + eyes)
    assert found.region(1e-4).area == pytest.approx(DISC - 16, rel=1e-3)
    assert "ground" in kinds(found)
    assert area(page.format("#fd0") + eyes, invert=False) == pytest.approx(10000 - 16, rel=1e-3)
    white = '<circle cx="50" cy="50" r="20" fill="#fff"/>'
    assert area(page.format("#24a") + white) == pytest.approx(DISC, rel=1e-3)
    assert area(page.format("#fd0") + white) == pytest.approx(DISC, rel=1e-3)


def test_painted_to_the_rim_is_said() -> None:
    sky = '<rect width="100" height="60" fill="#8cf"/><rect y="60" width="100" height="40" fill="#182"/>'
    assert "border" in kinds(outline(sky))
    assert "border" not in kinds(outline('<rect width="100" height="100"/>'))


FADE = (
    '<radialGradient id="g"><stop stop-color="{}"/><stop offset="1" stop-color="{}" stop-opacity="{}"/>'
    "</radialGradient>"
)


def test_shaded_bodies_are_whole() -> None:
    """A ball lit to white in its middle is a ball; a gloss over it and a soft shadow under it are neither."""
    ball = '<circle cx="50" cy="50" r="20" fill="url(#g)"/>'
    assert area(FADE.format("#fff", "#c00", 1) + ball) == pytest.approx(DISC, rel=1e-3)
    red = '<circle cx="50" cy="50" r="20" fill="#c00"/>'
    gloss = '<circle cx="45" cy="45" r="9" fill="url(#g)"/>'
    assert area(FADE.format("#fff", "#fff", 0) + red + gloss) == pytest.approx(DISC, rel=1e-3)
    shadow = '<ellipse cx="50" cy="72" rx="30" ry="8" fill="url(#g)"/>'
    shaded = outline(FADE.format("#000", "#000", 0) + shadow + red)
    assert shaded.region(1e-4).area == pytest.approx(DISC, rel=1e-3)
    assert "shading" in kinds(shaded)
    # A grey that pales to the page's white is as good a shadow as one that runs out.
    assert area(FADE.format("#c8c8c8", "#fff", 1) + shadow + red) == pytest.approx(DISC, rel=1e-3)
    alone = outline(FADE.format("#000", "#000", 0) + shadow)
    assert alone.region(1e-4).area == pytest.approx(math.pi * 240, rel=1e-3)
    lined = '<ellipse cx="50" cy="20" rx="30" ry="8" fill="url(#g)" stroke="#333" stroke-width="0.02"/>'
    for stops in (("#ccc", "#ccc", 0), ("#c8c8c8", "#fff", 1)):
        found = area(FADE.format(*stops) + lined + red)
        assert found == pytest.approx(DISC + math.pi * 240, rel=5e-3), "nobody outlines a shadow"
    ray = '<rect x="10" y="10" width="50" height="5" fill="url(#k)"/>'
    assert area(GREY.replace("#666", "#fc0") + red + ray) == pytest.approx(DISC + 250, rel=1e-3)


def test_threshold_moves_the_line() -> None:
    body = '<rect width="10" height="10" fill="#666"/><rect x="50" width="10" height="10" fill="#aaa"/>'
    assert area(body) == pytest.approx(200)
    assert area(body, threshold=128) == pytest.approx(100)
    with pytest.raises(ReadError):
        area(body, threshold=50)


def test_off_the_page_is_cut_off_and_said() -> None:
    found = outline('<rect x="90" y="0" width="50" height="10"/>')
    assert found.region().area == pytest.approx(100)
    assert "page" in kinds(found)


def test_specks_are_dropped_and_counted() -> None:
    dots = "".join(f'<circle cx="{x}" cy="90" r="0.2"/>' for x in (10, 20, 30))
    hole = '<path d="M0 0h50v50h-50zM5 5v.3h.3v-.3z"/>'
    found = outline(dots + hole, width=100, speck=2.0)
    assert len(found.rings) == 1
    assert [sentence(n, "mm") for n in found.notes if n.kind == "speck"] == [
        "4 pieces and pinholes less than 2 mm across were left out."
    ]
    assert len(outline(dots + hole, width=100, speck=0.0).rings) == 5


def test_hairline_seams_are_closed_and_said() -> None:
    """Two halves that miss each other by 0.1 mm inside a frame: the seam goes, a slot of 1 mm stays."""
    frame = '<path fill-rule="evenodd" d="M0 0h100v100h-100zM10 10h80v80h-80z"/>'
    halves = '<path d="M10 10h{0}v80h-{0}zM50 10h40v80h-40z"/>'
    seam = outline(frame + halves.format(39.9), width=100)
    assert len(seam.rings) == 1
    assert [sentence(n, "mm") for n in seam.notes] == [
        "1 hairline was left out: less than 0.2 mm wide, most likely seams."
    ]
    assert len(outline(frame + halves.format(39.0), width=100).rings) == 2
    assert len(outline(frame + halves.format(39.9), width=100, speck=0.0).rings) == 2


@pytest.mark.parametrize(
    ("body", "feature"),
    [
        pytest.param('<text x="5" y="60" font-size="60">IH</text>', "text", marks=NEEDS_A_FONT),
        (
            '<filter id="f"><feGaussianBlur stdDeviation="1"/></filter>'
            '<rect x="20" y="20" width="40" height="40" filter="url(#f)"/>',
            "filter",
        ),
        (
            '<mask id="m"><rect width="50" height="100" fill="white"/></mask>'
            '<rect x="20" y="20" width="60" height="40" mask="url(#m)"/>',
            "mask",
        ),
        (
            '<pattern id="p" width="20" height="20" patternUnits="userSpaceOnUse"><rect width="10" height="20"/>'
            '</pattern><rect x="20" y="20" width="60" height="40" fill="url(#p)"/>',
            "pattern",
        ),
        (
            '<marker id="a" markerWidth="9" markerHeight="9"><rect width="3" height="3"/></marker>'
            '<path d="M10 10L50 50" stroke="#000" stroke-width="6" marker-end="url(#a)"/>',
            "marker",
        ),
    ],
)
def test_what_goes_beyond_is_rendered_and_named(body: str, feature: str) -> None:
    found = outline(body, width=200)
    (note,) = [n for n in found.notes if n.kind == "rendered"]
    assert feature in note.text
    assert found.region().area > 10


def test_text_that_does_not_show_is_said() -> None:
    """Wholly transparent here; on a machine without fonts any text goes the same way."""
    hidden = '<text x="5" y="60" font-size="60" fill-opacity="0">IH</text>'
    found = outline(hidden + '<rect x="5" y="80" width="80" height="10"/>', width=200)
    assert any("its text does not show" in n.text for n in found.notes)
    with pytest.raises(ReadError, match="its text does not show"):
        outline(hidden, width=200)


GREY = (
    '<linearGradient id="k"><stop offset="0" stop-color="#666"/>'
    '<stop offset="1" stop-color="#666" stop-opacity="0"/></linearGradient>'
)


def test_a_grey_body_that_fades_is_whole_where_its_edges_show() -> None:
    """A box grey on the left and clear on the right: framed by a line it is one; a soft shadow beside it is none."""
    box = '<rect x="20" y="20" width="50" height="40" fill="url(#k)"/>'
    frame = '<rect x="20" y="20" width="50" height="40" fill="none" stroke="#000" stroke-width="2"/>'
    shadow = '<ellipse cx="50" cy="72" rx="30" ry="8" fill="url(#g)"/>'
    framed = outline(GREY + FADE.format("#000", "#000", 0) + shadow + box + frame)
    assert framed.region(1e-4).area == pytest.approx(52 * 42, rel=1e-6)
    assert "shading" in kinds(framed)
    turned = box.replace("/>", ' transform="rotate(30 45 40)"/>')
    other = '<rect x="2" y="2" width="12" height="12"/>'
    tilted = outline(GREY + other + turned)
    assert tilted.region(1e-4).area == pytest.approx(50 * 40 + 144, rel=1e-6)
    # The same where the drawing has to be rendered.
    pattern = '<pattern id="p" width=".1" height=".1"><rect width="9" height="9"/></pattern>'
    drawn = outline(GREY + pattern + other.replace("/>", ' fill="url(#p)"/>') + turned)
    assert "rendered" in kinds(drawn)
    assert drawn.region(1e-2).area == pytest.approx(50 * 40 + 144, rel=3e-3)
    # Laid along the page instead of along the box, the same gradient never comes to show.
    far = GREY.replace('id="k"', 'id="k" gradientUnits="userSpaceOnUse" x1="-90" x2="-80"')
    assert outline(far + other + turned).region(1e-4).area == pytest.approx(144, rel=1e-6)


BLUE = (
    '<radialGradient id="b"><stop offset="0" stop-color="#36c"/>'
    '<stop offset="1" stop-color="#58d" stop-opacity="0"/></radialGradient>'
)


@pytest.mark.parametrize(
    ("shape", "counts"),
    [
        ('<ellipse cx="50" cy="72" rx="30" ry="8" fill="url(#b)"/>', False),
        ('<rect x="20" y="66" width="60" height="12" fill="url(#b)" stroke="#36c" stroke-width="2"/>', True),
        ('<rect x="20" y="66" width="60" height="12" fill="url(#edged)"/>', True),
    ],
)
def test_a_coloured_glow_is_told_from_a_coloured_body(shape: str, counts: bool) -> None:
    """A soft blue shadow under a box shows no edge of its own; what shows one, or has a line round it, is a body."""
    edged = BLUE.replace('id="b"', 'id="edged" cx="0" r="2"')
    box = '<rect x="20" y="20" width="50" height="40" fill="#c30"/>'
    found = outline(BLUE + edged + shape + box).region(1e-3)
    assert (found.bounds[1] < -70) == counts
    assert ("shading" in kinds(outline(BLUE + edged + shape + box))) != counts
    # The same where the drawing has to be rendered.
    pattern = '<pattern id="p" width=".1" height=".1"><rect width="9" height="9"/></pattern>'
    drawn = outline(BLUE + edged + pattern + shape + box.replace("#c30", "url(#p)"), width=30.0)
    assert (drawn.region(1e-2).bounds[1] < -70) == counts


def test_coloured_gloss_fills_no_white_sign() -> None:
    veil = BLUE.replace('stop-color="#36c"', 'stop-color="#fc0" stop-opacity=".4"')
    sign = '<rect x="30" y="30" width="30" height="30" fill="#fff"/>'
    gloss = '<circle cx="35" cy="35" r="30" fill="url(#b)"/>'
    assert outline(f'{veil}<rect x="10" y="10" width="80" height="80"/>{sign}{gloss}').region(
        1e-3
    ).area == pytest.approx(6400 - 900, rel=1e-6)


@pytest.mark.parametrize(("opacity", "size"), [(1.0, 744.09449), (0.5, 744.09449), (1.0, 793.7008)])
def test_a_page_of_an_inch_of_90_px_has_its_ground_too(opacity: float, size: float) -> None:
    """210 mm are 744.09 px at 90 to the inch and 793.70 at 96; where a view box ties both, there is no doubt."""
    page = f'<rect width="{size}" height="{size}" fill="#fc0" opacity="{opacity}"/><circle cx="200" cy="200" r="90"/>'
    head = '<svg xmlns="http://www.w3.org/2000/svg" width="210mm" height="210mm"{}>'
    assert outline(page, head.format("")).region(0.01).area == pytest.approx(math.pi * 90**2, rel=1e-3)
    tied = outline(page, head.format(' viewBox="0 0 793.7008 793.7008"')).region(0.01)
    assert (tied.area > 500_000) == (size < 790)


def test_a_page_laid_on_a_desk_is_rendered_where_it_is() -> None:
    """x and y of the outermost svg element move nothing (SVG 2, 8.2)."""
    head = '<svg xmlns="http://www.w3.org/2000/svg" x="50" y="-40" width="100" height="100">'
    pattern = '<pattern id="p" width=".1" height=".1"><rect width="9" height="9"/></pattern>'
    found = outline(f'{pattern}<rect x="20" y="20" width="40" height="30" fill="url(#p)"/>', head)
    assert found.bounds == pytest.approx((20, -50, 60, -20), abs=0.2)


def test_a_drawing_of_nothing_but_shading_is_drawn() -> None:
    moon = '<circle cx="50" cy="50" r="30" fill="url(#g)"/>'
    mark = '<circle cx="50" cy="50" r="2"/>'
    found = outline(FADE.format("#555", "#555", 0) + moon + mark)
    assert found.region(1e-3).area == pytest.approx(math.pi * 30**2, rel=1e-3)
    still = '<filter id="f"><feOffset dx="0"/></filter>'
    drawn = outline(FADE.format("#555", "#555", 0) + still + moon.replace("/>", ' filter="url(#f)"/>'))
    assert math.pi * 20**2 < drawn.region(1e-2).area < math.pi * 30**2, "as far as it is seen"


def test_shading_is_rendered_for_a_threshold() -> None:
    """From black at the left to white at the right: the left half is darker than middle grey."""
    body = (
        '<linearGradient id="g"><stop stop-color="#000"/><stop offset="1" stop-color="#fff"/></linearGradient>'
        '<rect x="20" y="20" width="60" height="40" fill="url(#g)"/>'
    )
    found = outline(body, width=200, threshold=128)
    assert "shading from dark to light" in next(n.text for n in found.notes if n.kind == "rendered")
    assert found.region().area == pytest.approx(1200, rel=0.02)


PIXELS = '<mask id="m"><rect width="100" height="100" fill="white"/></mask><g mask="url(#m)">{}</g>'


@pytest.mark.parametrize("fill", ["#000", "#fd0", "#cde", "#c00"])
def test_rendered_edges_lie_where_they_are_drawn(fill: str) -> None:
    """Pale or dark, on a transparent page, a white one, or a coloured one: within a fifth of a pixel."""
    disc = '<circle cx="50.3" cy="49.6" r="{}" fill="{}"/><circle cx="50" cy="50" r="20" fill="#fff"/>'
    # The disc under the rim is smaller: coinciding edges cover more of their pixels when drawn twice.
    rim = '<circle cx="50.3" cy="49.6" r="39" fill="none" stroke="#000" stroke-width="2"/>'
    for page in (
        "",
        '<rect width="100" height="100" fill="#fff"/>',
        '<rect width="100" height="100" fill="#8e8"/>',
    ):
        for body in (disc.format(40, fill), disc.format(39, fill) + rim):
            found = outline(page + PIXELS.format(body), width=200, tolerance=0.5)
            outer, inner = sorted(found.rings, key=lambda ring: -ring.area)
            pixel = (100 if page else 80) / 800
            assert outer.area == pytest.approx(math.pi * 1600, abs=0.2 * pixel * outer.length)
            assert -inner.area == pytest.approx(DISC, abs=0.2 * pixel * inner.length)


def test_rendered_highlights_are_no_holes() -> None:
    """The same ball, lit to white, where a text makes pixels necessary."""
    text = '<text x="2" y="98" font-size="9">I</text>'
    ball = FADE.format("#fff", "#c00", 1) + '<circle cx="50" cy="40" r="20" fill="url(#g)"/>'
    largest = max(outline(ball + text, width=200).rings, key=lambda ring: ring.area)
    assert largest.area == pytest.approx(DISC, rel=0.005)
    assert all(ring.area > 0 for ring in outline(ball + text, width=200).rings)


def test_rendered_white_and_light_on_dark() -> None:
    white = outline(PIXELS.format('<circle cx="50" cy="50" r="20" fill="#fff"/>'), width=200)
    assert white.region().area == pytest.approx(DISC, rel=0.005) and "light drawing" in kinds(white)
    dark = '<rect width="100" height="100" fill="#123"/><circle cx="50" cy="50" r="20" fill="#fff"/>'
    light = outline(PIXELS.format(dark), width=200)
    assert light.region().area == pytest.approx(DISC, rel=0.005) and "light on dark" in kinds(light)


def test_rendered_at_the_size_the_job_needs(monkeypatch: pytest.MonkeyPatch) -> None:
    """Coarse tolerances and small work take fewer pixels; there is a most."""
    sides: list[int] = []

    def spied(*args: Any, side: int, **more: Any) -> svg_render.Rendering:
        sides.append(side)
        return svg_render.render(*args, side=side, **more)

    monkeypatch.setattr(svg_pixels, "render", spied)
    body = PIXELS.format('<rect x="10" y="10" width="80" height="40"/>')
    for width, tolerance in ((400, 0.1), (100, 0.25), (20, 0.5)):
        outline(body, width=width, tolerance=tolerance)
    assert sides[1::2] == [1600, pytest.approx(800, rel=0.02), 600]


def test_rendered_place_and_size_match_the_page() -> None:
    """A mask that hides the right half: the left half of the square is left, to a hundredth of its size."""
    body = (
        '<mask id="m"><rect width="50" height="100" fill="white"/></mask>'
        '<rect x="20" y="20" width="60" height="40" mask="url(#m)"/>'
    )
    region = outline(body, width=200).region()
    assert region.symmetric_difference(shapely.box(20, -60, 50, -20)).area < 12


def test_rendered_without_a_page() -> None:
    """No viewBox and no size: the shape is right, a true size is not claimed."""
    mask = '<mask id="m"><rect width="50" height="300" fill="white"/></mask>'
    body = mask + '<rect y="20" width="90" height="200" mask="url(#m)"/>'
    found = outline(body, '<svg width="10mm">', width=50)
    x0, y0, x1, y1 = found.bounds
    assert (y1 - y0) / (x1 - x0) == pytest.approx(4, rel=0.01)
    assert found.scale is None


def test_gzip_is_the_same() -> None:
    text = f'{OPEN}<circle r="20" cx="50" cy="50"/></svg>'.encode()
    assert read_svg(gzip.compress(text), "a", ReadOptions()) == read_svg(text, "a", ReadOptions())


@settings(max_examples=20, deadline=None)
@given(
    turn=st.floats(-180, 180),
    scale=st.floats(0.2, 1.2),
    x=st.floats(-10, 10),
)
def test_moving_the_drawing_moves_the_outline(turn: float, scale: float, x: float) -> None:
    """A similarity on a group leaves shape and area factor: fills and strokes alike."""
    body = '<path d="M-20-10h40v20z" stroke="#000" stroke-width="3"/><circle r="4" fill="#fff"/>'
    head = '<svg viewBox="-100 -100 200 200">'
    plain = outline(body, head).region(1e-3)
    moved = outline(f'<g transform="translate({x}) rotate({turn}) scale({scale})">{body}</g>', head).region(
        1e-3
    )
    assert moved.area == pytest.approx(plain.area * scale**2, rel=1e-3)
    assert moved.length == pytest.approx(plain.length * scale, rel=1e-3)


def test_lines_stay_lines() -> None:
    (ring,) = outline('<rect x="5" y="5" width="20" height="20"/>', width=100).rings
    assert all(isinstance(s, Line) for s in ring.segments) and len(ring.segments) == 4
