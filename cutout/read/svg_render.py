"""Drawings that go beyond plain painting: drawn by resvg, then traced."""

from __future__ import annotations

from copy import deepcopy
from dataclasses import dataclass
from io import BytesIO
from typing import Any
from xml.etree import ElementTree

import numpy as np
import resvg_py
from numpy.typing import NDArray
from PIL import Image

from cutout.errors import ReadError
from cutout.geom.curve import Similarity
from cutout.geom.outline import Ring
from cutout.read.options import ReadOptions
from cutout.read.svg_document import Document
from cutout.read.svg_number import PX_PER_INCH
from cutout.read.svg_walk import Drawing
from cutout.read.trace import trace

LONG_SIDE = 2400
"""Pixels along the longer side of the rendered page."""

Grey = NDArray[np.float32]


@dataclass(frozen=True, slots=True)
class Rendering:
    """The page in pixels: lightness over white (0 black .. 1 white), opacity, and px of the page per pixel."""

    light: Grey
    opaque: Grey
    unit: float

    def dark_edge(self, level: float) -> bool:
        """Whether the page's rim is dark nearly all the way round while something light is painted inside."""
        rim = np.concatenate([self.light[0], self.light[-1], self.light[:, 0], self.light[:, -1]])
        painted_light = (self.light >= level) & (self.opaque > 0.5)
        return bool((rim < level).mean() >= 0.95 and painted_light.any())


def render(document: Document, drawing: Drawing, name: str) -> Rendering:
    """Pixels of the document. It holds no reference to anything outside itself. Raises ReadError."""
    text = serialised(document, drawing)
    sized: dict[str, Any] = {"width": LONG_SIDE}
    if drawing.page and drawing.page[1] > drawing.page[0]:
        sized = {"height": LONG_SIDE}
    try:
        png = resvg_py.svg_to_bytes(
            svg_string=text, dpi=PX_PER_INCH, skip_system_fonts="text" not in drawing.beyond, **sized
        )
        image = Image.open(BytesIO(bytes(png))).convert("RGBA")
    except (ValueError, OSError) as error:
        raise ReadError(f"{name}: it can't be rendered ({str(error).splitlines()[0]}).") from error
    rgba = np.asarray(image).astype(np.float32) / np.float32(255)
    luma = rgba[..., :3] @ np.array([0.299, 0.587, 0.114], dtype=np.float32)
    opaque: Grey = rgba[..., 3]
    unit = (drawing.page[0] / image.width) if drawing.page else 1.0
    return Rendering(np.asarray(luma * opaque + 1 - opaque, dtype=np.float32), opaque, unit)


def traced(figure: Grey, level: float, unit: float, options: ReadOptions) -> tuple[Ring, ...]:
    """Rings round the figure (1 = figure) in page px, y up, the page's top left at the origin."""
    rings = trace(figure, level, _tolerance_px(figure, level, options), options.smooth)
    to_page = Similarity(complex(unit), complex(0, -unit * figure.shape[0]))
    return tuple(ring.transform(to_page) for ring in rings if ring.segments)


def _tolerance_px(figure: Grey, level: float, options: ReadOptions) -> float:
    inside = figure > level
    columns, rows = np.flatnonzero(inside.any(axis=0)), np.flatnonzero(inside.any(axis=1))
    if len(columns) == 0:
        return 0.5
    if options.width:
        mm_per_pixel = options.width / (columns[-1] - columns[0] + 1)
    elif options.height:
        mm_per_pixel = options.height / (rows[-1] - rows[0] + 1)
    else:
        return 0.5
    return float(np.clip(options.tolerance / mm_per_pixel, 0.1, 1.0))


def serialised(document: Document, drawing: Drawing) -> str:
    """The document as text for a renderer; no reference leads outside it."""
    root = deepcopy(document.root)
    root.set("xmlns", "http://www.w3.org/2000/svg")
    if drawing.page:
        root.set("width", repr(drawing.page[0]))
        root.set("height", repr(drawing.page[1]))
    return ElementTree.tostring(root, encoding="unicode")
