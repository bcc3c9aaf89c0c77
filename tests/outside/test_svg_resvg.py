"""What `read_svg` makes of drawings against the pixels of resvg, an independent SVG renderer.

Both are judged by one rule: luma under one half over white (BT.601 weights, as pictures are judged) where a
threshold is asked for, else any colour that is not nearly white.
"""

from __future__ import annotations

from io import BytesIO
from pathlib import Path

import numpy as np
import pytest
import resvg_py
from numpy.typing import NDArray
from PIL import Image

from cutout.geom.outline import Outline
from cutout.read.options import ReadOptions
from cutout.read.svg.reader import read_svg

SIDE = 800
Box = tuple[float, float, float, float]
CLIP_ART = Path("/usr/share/openclipart/svg")


def dark(body: str, window: Box) -> NDArray[np.bool_]:
    """Dark pixels of a window (x, y, width, height) on a drawing."""
    return luma_of(pixels(body, window)) < 0.5


def coloured(body: str, window: Box) -> NDArray[np.bool_]:
    """Pixels that differ from white by a twelfth or more in one of red, green and blue."""
    return np.asarray(pixels(body, window).min(axis=2) <= 0.92)


def luma_of(over_white: NDArray[np.float64]) -> NDArray[np.float64]:
    """Lightness of pixels (h, w, 3)."""
    return np.asarray(over_white @ [0.299, 0.587, 0.114])


def pixels(body: str, window: Box) -> NDArray[np.float64]:
    """Colours over white (h, w, 3) of a window on a drawing."""
    x, y, width, height = window
    unit = max(width, height) / SIDE
    columns, rows = round(width / unit), round(height / unit)
    view = f"{x} {y} {columns * unit} {rows * unit}"
    head = f'<svg xmlns="http://www.w3.org/2000/svg" width="{columns}" height="{rows}" viewBox="{view}">'
    png = resvg_py.svg_to_bytes(svg_string=f"{head}{body}</svg>", dpi=96.0)
    rgba = np.asarray(Image.open(BytesIO(bytes(png))).convert("RGBA"), dtype=np.float64) / 255
    alpha = rgba[..., 3:]
    return np.asarray(rgba[..., :3] * alpha + 1 - alpha)


def filled(outline: Outline, window: Box) -> NDArray[np.bool_]:
    """The outline as one flat even-odd path, rendered by the same renderer in the same window."""
    fine = window[2] / SIDE / 40
    runs = [" ".join(f"{x:.5f} {-y:.5f}" for x, y in ring.points(fine)) for ring in outline.rings]
    return dark(f'<path fill-rule="evenodd" d="{" ".join(f"M{run}z" for run in runs)}"/>', window)


def overlap(svg: str, threshold: int | None = 128) -> float:
    """Intersection over union of what is read and what is rendered, in a window round what is read."""
    outline = read_svg(svg.encode(), "drawing.svg", ReadOptions(width=400, speck=0, threshold=threshold))
    x0, y0, x1, y1 = outline.bounds
    window = (x0 - 2, -y1 - 2, x1 - x0 + 4, y1 - y0 + 4)
    expected = (dark if threshold else coloured)(svg[svg.index("<svg") :], window)
    got = filled(outline, window)
    return float((expected & got).sum() / (expected | got).sum())


DRAWINGS = {
    "nested transforms": """<g transform="translate(30 20) rotate(20)"><g transform="skewX(25) scale(1.2 .7)">
        <rect x="10" y="5" width="40" height="30" rx="8" ry="12" stroke="#000" stroke-width="5" fill="#fff"/>
        <path d="M20 50q10 -20 20 0t20 0 20 0v9h-60z"/></g></g>""",
    "arcs with flags run together": """<path d="M20 50a30 20 25 1130 10 8 8-40 00 15 9zm30-30a9 9 0 01.5.5z"/>
        <path d="M10 80A25 10 -30 10 60 90A5 5 0 0 1 70 90"/>""",
    "nonzero and even-odd stars": """<path d="M25 5L40 50 3 20H47L10 50z"/>
        <path fill-rule="evenodd" transform="translate(50 40)" d="M25 5L40 50 3 20H47L10 50z"/>""",
    "joins and caps": """<g fill="none" stroke="#000" stroke-width="7"><path d="M10 40L25 10 40 40"/>
        <path stroke-linejoin="round" stroke-linecap="round" d="M60 40L75 10 90 40"/>
        <path stroke-linejoin="bevel" stroke-linecap="square" d="M10 90L25 60 40 90"/>
        <path stroke-miterlimit="2" d="M60 90L66 60 72 90C80 60 90 60 92 92"/></g>""",
    "dashes": """<g fill="none" stroke="#000" stroke-width="4"><circle cx="50" cy="50" r="40"
        stroke-dasharray="12 6 3" stroke-dashoffset="5"/><path d="M25 30h50v40h-50z" stroke-dasharray="8.5"
        stroke-linecap="round"/></g>""",
    "stroke under a slanting scale": """<path transform="matrix(2 .5 -.8 .6 20 15)" fill="none" stroke="#000"
        stroke-width="5" d="M5 10C10 40 25 -20 30 30l-20 40"/>""",
    "white over dark, dark over white": """<circle cx="50" cy="50" r="45"/><circle cx="50" cy="50" r="35"
        fill="#fff"/><path d="M20 45h60v10h-60z"/><ellipse cx="50" cy="50" rx="9" ry="14" fill="#eee"/>""",
    "clips in clips": """<clipPath id="a"><path d="M50 5L95 95H5z"/></clipPath><clipPath id="b"><circle cx="50"
        cy="60" r="35"/></clipPath><g clip-path="url(#a)"><g clip-path="url(#b)" transform="rotate(10 50 50)">
        <rect width="100" height="100"/><rect x="45" width="10" height="100" fill="#fff"/></g></g>""",
    "use and symbol": """<defs><path id="p" d="M0 0h10l-5 12z"/></defs><use href="#p" x="10" y="10"/>
        <use href="#p" transform="translate(50 20) scale(3 -1.5)"/><symbol id="s" viewBox="0 0 20 10">
        <circle cx="10" cy="5" r="8"/></symbol><use href="#s" x="20" y="50" width="60" height="40"/>""",
    "style rules": """<style>.a, #b { fill: #222 } g .a { fill: none; stroke: #000; stroke-width: 3pt }
        rect { fill: #ddd !important }</style><g><circle class="a" cx="30" cy="30" r="20"/></g>
        <circle id="b" cx="70" cy="60" r="25"/><rect x="60" y="50" width="20" height="20"
        style="fill: #000"/>""",
}


@pytest.mark.parametrize("name", DRAWINGS)
def test_own_drawings(name: str) -> None:
    head = f'<svg xmlns="http://www.w3.org/2000/svg" width="{SIDE}" height="{SIDE}" viewBox="0 0 100 100">'
    assert overlap(f"{head}{DRAWINGS[name]}</svg>") > 0.996


MASKED = """<mask id="m"><rect width="100" height="100" fill="#fff"/><circle cx="50" cy="50" r="15"/></mask>
    <path d="M10 20h80v60h-80z" mask="url(#m)"/>"""
FADING = """<linearGradient id="g" x2="0" y2="1"><stop stop-color="#000"/><stop offset="1" stop-color="#fff"/>
    </linearGradient><circle cx="50" cy="50" r="40" fill="url(#g)"/>"""
GLOSSY = """<circle cx="50" cy="50" r="40" fill="#333"/><g fill="#fff" fill-opacity=".4">
    <circle cx="40" cy="40" r="20"/><circle cx="55" cy="45" r="20"/></g>"""


@pytest.mark.parametrize("body", [MASKED, FADING, GLOSSY], ids=["mask", "gradient", "two veils"])
def test_what_is_rendered_and_traced(body: str) -> None:
    """The same comparison where the reader itself goes by pixels, at a scale of its own."""
    head = f'<svg xmlns="http://www.w3.org/2000/svg" width="{SIDE}" height="{SIDE}" viewBox="0 0 100 100">'
    assert overlap(f"{head}{body}</svg>") > 0.99


ANIMALS = (
    "animals/bat_orlando_karam_.svg",
    "animals/bugs/farfalla_contorno_archit_01.svg",
    "animals/mammals/cartoon_squirrel_mike_sm1.svg",
    "animals/mammals/raccoon_ganson.svg",
    "animals/lizard_guillaume_boitel_.svg",
)


@pytest.mark.skipif(
    not CLIP_ART.is_dir(), reason="needs the openclipart-svg package (public domain clip art)"
)
@pytest.mark.parametrize("path", ANIMALS)
def test_clip_art(path: str) -> None:
    """Drawings by others, from Debian's openclipart-svg; 0.97 leaves room for hairlines of one pixel."""
    text = (CLIP_ART / path).read_text("utf-8")
    assert overlap(text) > 0.97


COLOURED = (
    "animals/bugs/farfalla_semplice_archit_01.svg",
    "animals/mammals/raccoon_ganson.svg",
    "animals/rana01_architetto_france_01.svg",
    "food/watermelon_james_kilfige_01.svg",
    "plants/leaf_01.svg",
)


@pytest.mark.skipif(
    not CLIP_ART.is_dir(), reason="needs the openclipart-svg package (public domain clip art)"
)
@pytest.mark.parametrize("path", COLOURED)
def test_coloured_clip_art(path: str) -> None:
    """Coloured drawings by others: every pixel that is not nearly white belongs to the silhouette."""
    text = (CLIP_ART / path).read_text("utf-8")
    assert overlap(text, threshold=None) > 0.97
