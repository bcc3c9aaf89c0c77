"""Drawings that go beyond plain painting: drawn by resvg, then traced."""

from __future__ import annotations

import math
from copy import deepcopy
from dataclasses import dataclass, replace
from io import BytesIO
from xml.etree import ElementTree
from xml.etree.ElementTree import Element

import numpy as np
import resvg_py
from numpy.typing import NDArray
from PIL import Image

from cutout.errors import ReadError
from cutout.geom.curve import ComplexArray, Similarity
from cutout.geom.outline import Ring
from cutout.read.iso import iso_lines
from cutout.read.options import ReadOptions
from cutout.read.svg_compose import extent
from cutout.read.svg_document import Document
from cutout.read.svg_number import PX_PER_INCH
from cutout.read.svg_view import root_view
from cutout.read.svg_walk import Drawing
from cutout.read.trace import fit_lines

LONG_SIDE = 2000
"""Pixels along the longer side of what is rendered for tracing."""
COARSE_SIDE = 600
"""Pixels for finding out what is where."""

Grey = NDArray[np.float32]


Box = tuple[float, float, float, float]
"""min x, min y, max x, max y in page px, y down."""


@dataclass(frozen=True, slots=True)
class Rendering:
    """Part of the page in pixels: lightness over white (0 black .. 1 white), opacity.

    unit: px of the page per pixel. corner: page px of the top left, x + iy, y down.
    """

    light: Grey
    opaque: Grey
    unit: float
    corner: complex = 0j

    def dark_edge(self, level: float) -> bool:
        """Whether the rim is dark nearly all the way round while something light is painted inside."""
        rim = np.concatenate([self.light[0], self.light[-1], self.light[:, 0], self.light[:, -1]])
        painted_light = (self.light >= level) & (self.opaque > 0.5)
        return bool((rim < level).mean() >= 0.95 and painted_light.any())

    def drawn(self) -> Box | None:
        """What holds everything that differs from white or is painted at all, a pixel to spare."""
        marked = (self.light < 0.98) | ((self.opaque > 0.02) & bool(self.light.min() > 0.98))
        rows, columns = np.flatnonzero(marked.any(axis=1)), np.flatnonzero(marked.any(axis=0))
        if len(rows) == 0:
            return None
        height, width = marked.shape
        low = complex(max(columns[0] - 2, 0), max(rows[0] - 2, 0)) * self.unit + self.corner
        high = complex(min(columns[-1] + 3, width), min(rows[-1] + 3, height)) * self.unit + self.corner
        return low.real, low.imag, high.real, high.imag


def render(
    document: Document, drawing: Drawing, name: str, *, side: int = LONG_SIDE, box: Box | None = None
) -> Rendering:
    """Pixels of the page or a box of it, `side` of them along the longer side. Raises ReadError.

    The text handed to the renderer holds no reference to anything outside itself.
    """
    if box is None and drawing.page:
        box = (0.0, 0.0, *drawing.page)
    try:
        # Without a dpi the renderer takes every length in points, inches or millimetres for nothing.
        png = resvg_py.svg_to_bytes(
            svg_string=serialised(document, box, side),
            dpi=PX_PER_INCH,
            skip_system_fonts="text" not in drawing.beyond,
            # Where the file states no page the renderer takes what is drawn for it: fix its longer side.
            width=None if box or _is_tall(drawing) else side,
            height=side if not box and _is_tall(drawing) else None,
        )
        image = Image.open(BytesIO(bytes(png))).convert("RGBA")
    except (ValueError, OSError) as error:
        raise ReadError(f"{name}: it can't be rendered ({str(error).splitlines()[0]}).") from error
    rgba = np.asarray(image).astype(np.float32) / np.float32(255)
    luma = rgba[..., :3] @ np.array([0.299, 0.587, 0.114], dtype=np.float32)
    opaque: Grey = rgba[..., 3]
    light = np.asarray(luma * opaque + 1 - opaque, dtype=np.float32)
    corner = complex(box[0], box[1]) if box else 0j
    return Rendering(light, opaque, _unit(box, side) if box else 1.0, corner)


def traced(
    rendering: Rendering, figure: Grey, level: float, scale: float | None, options: ReadOptions
) -> tuple[tuple[Ring, ...], int]:
    """Rings round the figure (1 = figure) of a rendering, and how many specks were left out before fitting.

    Page px, y up, the page's top left at the origin. scale: mm per page px where the file states it.
    """
    found = iso_lines(figure, level)
    lines = [z for z in found.lines if len(z) > 3]
    if not lines:
        return (), 0
    mm = _mm_per_pixel(lines, scale * rendering.unit if scale else None, options)
    least = options.speck / mm if mm else 0.0
    large = [z for z in lines if max(np.ptp(z.real), np.ptp(z.imag)) >= least]
    tolerance = float(np.clip(options.tolerance / mm, 0.1, 1.0)) if mm else 0.5
    rings = fit_lines(replace(found, lines=large), tolerance, options.smooth)
    down = rendering.corner.conjugate() - 1j * rendering.unit * figure.shape[0]
    to_page = Similarity(complex(rendering.unit), down)
    return tuple(ring.transform(to_page) for ring in rings), len(lines) - len(large)


def _mm_per_pixel(lines: list[ComplexArray], stated: float | None, options: ReadOptions) -> float | None:
    z = np.concatenate(lines)
    if options.width:
        return options.width / float(np.ptp(z.real))
    if options.height:
        return options.height / float(np.ptp(z.imag))
    return stated


def _is_tall(drawing: Drawing) -> bool:
    drawn = extent(drawing.marks)
    return drawn is not None and drawn[3] - drawn[1] > drawn[2] - drawn[0]


def _unit(box: Box, side: int) -> float:
    return max(box[2] - box[0], box[3] - box[1]) / side


def serialised(document: Document, box: Box | None, side: int) -> str:
    """The document as text for a renderer; a box of its page `side` pixels long, or all of it where None.

    The box is laid in a window of whole pixels, because the renderer rounds odd sizes and stretches to fit.
    """
    root = deepcopy(document.root)
    if box:
        page, _, _ = root_view(root)
        if page:
            root.set("width", repr(page[0]))
            root.set("height", repr(page[1]))
        unit = _unit(box, side)
        columns, rows = (max(1, math.ceil((box[i + 2] - box[i]) / unit - 1e-6)) for i in (0, 1))
        view = f"{box[0]!r} {box[1]!r} {columns * unit!r} {rows * unit!r}"
        window = Element("svg", {"width": str(columns), "height": str(rows), "viewBox": view})
        window.append(root)
        root = window
    root.set("xmlns", "http://www.w3.org/2000/svg")
    return ElementTree.tostring(root, encoding="unicode")
