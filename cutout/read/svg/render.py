"""Drawings that go beyond plain painting: drawn by resvg."""

from __future__ import annotations

import math
from copy import deepcopy
from dataclasses import dataclass, replace
from io import BytesIO
from typing import Any
from xml.etree import ElementTree
from xml.etree.ElementTree import Element

import numpy as np
import resvg_py
from numpy.typing import NDArray
from PIL import Image

from cutout.errors import ReadError
from cutout.read.svg.circles import refuse_circles
from cutout.read.svg.compose import extent
from cutout.read.svg.document import Document
from cutout.read.svg.number import PX_PER_INCH
from cutout.read.svg.pasted import refuse_large_pictures
from cutout.read.svg.view import root_view
from cutout.read.svg.walk import Drawing

COARSE_SIDE = 600
"""Pixels for finding out what is where."""

Grey = NDArray[np.float32]
Box = tuple[float, float, float, float]
"""min x, min y, max x, max y in page px, y down."""


@dataclass(frozen=True, slots=True)
class Rendering:
    """Part of the page in pixels: colour over white (h, w, 3) and opacity (h, w), 0..1.

    unit: px of the page per pixel. corner: page px of the top left, x + iy, y down.
    """

    over_white: Grey
    opaque: Grey
    unit: float
    corner: complex = 0j

    @property
    def light(self) -> Grey:
        """Lightness over white (h, w), 0 black .. 1 white, as pictures are judged (BT.601)."""
        return np.asarray(self.over_white @ np.array([0.299, 0.587, 0.114], dtype=np.float32))

    def rim(self, values: NDArray[Any]) -> NDArray[Any]:
        """Values of the pixels along the four sides."""
        return np.concatenate([values[0], values[-1], values[:, 0], values[:, -1]])

    def drawn(self) -> Box | None:
        """What holds everything that is painted at all, a pixel to spare."""
        marked = self.opaque > 0.02
        rows, columns = np.flatnonzero(marked.any(axis=1)), np.flatnonzero(marked.any(axis=0))
        if len(rows) == 0:
            return None
        height, width = marked.shape
        low = complex(max(columns[0] - 2, 0), max(rows[0] - 2, 0)) * self.unit + self.corner
        high = complex(min(columns[-1] + 3, width), min(rows[-1] + 3, height)) * self.unit + self.corner
        return low.real, low.imag, high.real, high.imag


def render(
    document: Document, drawing: Drawing, name: str, *, side: int, box: Box | None = None
) -> Rendering:
    """Pixels of the page or a box of it, `side` of them along the longer side. Raises ReadError.

    The text handed to the renderer holds no reference to anything outside itself.
    """
    if box is None and drawing.page:
        box = (0.0, 0.0, *drawing.page)
    png, unit = rendered_png(document, drawing, name, side=side, box=box)
    try:
        image = Image.open(BytesIO(png)).convert("RGBA")
    except OSError as error:
        raise ReadError(f"{name}: it can't be rendered ({error}).") from error
    rgba = np.asarray(image).astype(np.float32) / np.float32(255)
    opaque = rgba[..., 3]
    over_white = rgba[..., :3] * opaque[..., None] + (1 - opaque[..., None])
    corner = complex(box[0], box[1]) if box else 0j
    return Rendering(over_white, opaque, unit, corner)


def rendered_png(
    document: Document, drawing: Drawing, name: str, *, side: int, box: Box | None
) -> tuple[bytes, float]:
    """The page or a box of it as a PNG, `side` pixels along the longer side, and px of the page per pixel.

    All of what is drawn where there is neither box nor page. Raises ReadError.
    """
    refuse_circles(document, name)
    refuse_large_pictures(document, name)
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
    except ValueError as error:
        raise ReadError(f"{name}: it can't be rendered ({str(error).splitlines()[0]}).") from error
    return bytes(png), _unit(box, side) if box else 1.0


def shows_text(document: Document, drawing: Drawing, name: str) -> bool:
    """Whether the page looks different with its text than without. Raises ReadError.

    The renderer leaves out, without a word, whatever it finds no font for.
    """
    bare = deepcopy(document.root)
    for parent in list(bare.iter()):
        for child in [c for c in parent if c.tag == "text"]:
            parent.remove(child)
    box = (0.0, 0.0, *drawing.page) if drawing.page else None
    without = replace(document, root=bare)
    try:
        seen, missed = (render(d, drawing, name, side=COARSE_SIDE, box=box) for d in (document, without))
    except ReadError:
        if box is None:
            return True  # Without a page and without its text there may be nothing to size a picture by.
        raise
    if seen.opaque.shape != missed.opaque.shape:
        return True
    return any(
        float(np.abs(a - b).max()) > 0.02
        for a, b in ((seen.over_white, missed.over_white), (seen.opaque, missed.opaque))
    )


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
        for place in ("x", "y"):  # They move an inner svg, but not a whole page.
            root.attrib.pop(place, None)
        unit = _unit(box, side)
        columns, rows = (max(1, math.ceil((box[i + 2] - box[i]) / unit - 1e-6)) for i in (0, 1))
        view = f"{box[0]!r} {box[1]!r} {columns * unit!r} {rows * unit!r}"
        window = Element("svg", {"width": str(columns), "height": str(rows), "viewBox": view})
        window.append(root)
        root = window
    root.set("xmlns", "http://www.w3.org/2000/svg")
    return ElementTree.tostring(root, encoding="unicode")
