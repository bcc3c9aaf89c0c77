"""Drawing on PDF pages in millimetres."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from io import BytesIO
from typing import Any

import shapely
from reportlab import rl_config
from reportlab.pdfgen.canvas import Canvas

from cutout.draw import fonts
from cutout.draw.box import Box
from cutout.draw.shapes import cubics
from cutout.geom.curve import Line
from cutout.geom.outline import Ring
from cutout.units import MM_PER_INCH

PT = 72 / MM_PER_INCH
"""Points per millimetre."""

_PLACES = 2
"""Decimals of a point in paths: 0.002 mm at most off, and half as much to store."""

# Streams as bytes: as text, the default, they take a quarter more.
rl_config.useA85 = 0

HATCH = (0.9, 5.0, 0.1, 0.72)
"""How the waste is shown: its tint; slanting lines over it, their distance and width (mm) and grey.

The tint is light enough to write on and to spare ink, dark enough to survive a copier; one that drops it keeps
the lines.
"""
TWIN = 0.4
"""How far each of two thin lines lies from the line between them (mm)."""


class Paint:
    """A PDF being drawn; every coordinate and width in mm, y up, text sizes in points.

    scale: what the printer makes of 1 along a sheet's short and long side; everything is drawn so much larger
    or smaller that it comes out true. The file holds no date and no random id, and asks readers to print
    without scaling.
    """

    def __init__(
        self, title: str, scale: tuple[float, float] = (1.0, 1.0), face: fonts.Face = fonts.SANS
    ) -> None:
        fonts.register()
        self._scale = scale
        self.face = face
        self._bookmarks = 0
        self._grey = 0.0
        self._buffer = BytesIO()
        # The first font is named so that no page begins with one that is not embedded.
        font: Any = face.plain
        self.canvas = Canvas(
            self._buffer, pageCompression=1, invariant=1, pdfVersion=(1, 7), initialFontName=font
        )
        self.canvas.setTitle(title)
        self.canvas.setAuthor("")
        self.canvas.setSubject("")
        self.canvas.setCreator("cutout")
        self.canvas.setProducer("cutout")
        self.canvas.setViewerPreference("PrintScaling", "None")
        self.canvas.setViewerPreference("DisplayDocTitle", "true")
        self.canvas.setCatalogEntry("Lang", "en")

    def page(self, width: float, height: float) -> None:
        """Start a page that measures this when it is printed; finish the one before with `end_page`."""
        across, up = self._scale if width <= height else self._scale[::-1]
        self.canvas.setPageSize((width / across * PT, height / up * PT))
        if self._scale != (1.0, 1.0):
            self.canvas.scale(1 / across, 1 / up)

    def bookmark(self, title: str) -> None:
        """An entry in the reader's list of pages, which leads to this page."""
        self._bookmarks += 1
        key = f"page{self._bookmarks}"
        self.canvas.bookmarkPage(key)
        self.canvas.addOutlineEntry(title, key, 0)

    def end_page(self) -> None:
        """Finish the page."""
        self.canvas.showPage()

    def bytes(self) -> bytes:
        """The finished file."""
        self.canvas.save()
        return self._buffer.getvalue()

    def pen(
        self, width: float, grey: float = 0.0, dash: Sequence[float] = (), *, round_ends: bool = False
    ) -> None:
        """Line width, grey (0 black .. 1 white) and dash of what is drawn next."""
        self.canvas.setLineWidth(width * PT)
        self.canvas.setStrokeGray(grey)
        self.canvas.setDash([d * PT for d in dash])
        self.canvas.setLineCap(1 if round_ends else 0)
        self.canvas.setLineJoin(1)

    def fill(self, grey: float) -> None:
        """Grey of what is filled or written next."""
        self._grey = grey
        self.canvas.setFillGray(grey)

    def line(self, x0: float, y0: float, x1: float, y1: float) -> None:
        """A straight line."""
        self.canvas.line(x0 * PT, y0 * PT, x1 * PT, y1 * PT)

    def rect(self, box: Box, *, stroke: bool = True, fill: bool = False) -> None:
        """A rectangle."""
        x0, y0, x1, y1 = (v * PT for v in box)
        self.canvas.rect(x0, y0, x1 - x0, y1 - y0, stroke=int(stroke), fill=int(fill))

    def circle(self, x: float, y: float, radius: float, *, stroke: bool = True, fill: bool = False) -> None:
        """A circle."""
        self.canvas.circle(x * PT, y * PT, radius * PT, stroke=int(stroke), fill=int(fill))

    def ring(self, box: Box, *, fill: bool = False) -> None:
        """A circle in a square box; in a wider one a ring with straight sides."""
        x0, y0, x1, y1 = (v * PT for v in box)
        self.canvas.roundRect(x0, y0, x1 - x0, y1 - y0, min(x1 - x0, y1 - y0) / 2, stroke=1, fill=int(fill))

    def rounded(self, box: Box, radius: float) -> None:
        """A filled rectangle with round corners."""
        x0, y0, x1, y1 = (v * PT for v in box)
        self.canvas.roundRect(x0, y0, x1 - x0, y1 - y0, radius * PT, stroke=0, fill=1)

    def wedge(self, x: float, y: float, radius: float, start: float, extent: float) -> None:
        """A filled sector of a circle, from `start` over `extent` degrees counter-clockwise."""
        r = radius * PT
        self.canvas.wedge(x * PT - r, y * PT - r, x * PT + r, y * PT + r, start, extent, stroke=0, fill=1)

    def twin(self, x0: float, y0: float, x1: float, y1: float) -> None:
        """Two thin grey lines, one on each side of the line given, which runs along x or y."""
        self.pen(0.1, 0.35)
        dx, dy = (TWIN, 0.0) if x0 == x1 else (0.0, TWIN)
        self.line(x0 - dx, y0 - dy, x1 - dx, y1 - dy)
        self.line(x0 + dx, y0 + dy, x1 + dx, y1 + dy)

    def polyline(self, points: Iterable[Sequence[float]]) -> None:
        """An open run through points."""
        path = self.canvas.beginPath()
        for n, (x, y) in enumerate(points):
            (path.lineTo if n else path.moveTo)(_points(x), _points(y))
        self.canvas.drawPath(path, stroke=1, fill=0)

    def polygon(self, points: Iterable[Sequence[float]], *, stroke: bool = False, fill: bool = True) -> None:
        """A closed run through points."""
        path = self.canvas.beginPath()
        for n, (x, y) in enumerate(points):
            (path.lineTo if n else path.moveTo)(_points(x), _points(y))
        path.close()
        self.canvas.drawPath(path, stroke=int(stroke), fill=int(fill))

    def lines(self, geometry: shapely.Geometry) -> None:
        """Every line in a geometry."""
        for part in shapely.get_parts(geometry):
            self.polyline(shapely.get_coordinates(part).tolist())

    def rings(self, rings: Iterable[Ring], *, stroke: bool, fill: bool) -> None:
        """Closed rings as one path, even-odd; arcs as cubics."""
        self.canvas.drawPath(self._closed(rings), stroke=int(stroke), fill=int(fill), fillMode=0)

    def _closed(self, rings: Iterable[Ring]) -> Any:
        path = self.canvas.beginPath()
        for ring in rings:
            if not ring.segments:
                continue
            path.moveTo(*_place(ring.segments[0].start))
            for segment in ring.segments:
                for run in cubics(segment):
                    if isinstance(run, Line):
                        path.lineTo(*_place(run.end))
                    else:
                        path.curveTo(*_place(run.c1), *_place(run.c2), *_place(run.end))
            path.close()
        return path

    def hatch(
        self, rings: Iterable[Ring], box: Box, tint: float, apart: float, width: float, grey: float
    ) -> None:
        """Closed rings (even-odd) filled with a tint, and within a box lines at 45 degrees over it, `apart` mm apart.

        The path is stored once, for the filling and as the window on the lines.
        """
        x0, y0, x1, y1 = box
        self.canvas.saveState()
        self.fill(tint)
        self.canvas.clipPath(self._closed(rings), stroke=0, fill=1, fillMode=0)
        self.pen(width, grey)
        path = self.canvas.beginPath()
        step = apart * math.sqrt(2)
        for n in range(math.floor((x0 - y1) / step), math.ceil((x1 - y0) / step) + 1):
            # Each line is x - y = n * step, counted from the origin, so that hatches of any box join up.
            path.moveTo(_points(y0 + n * step), _points(y0))
            path.lineTo(_points(y1 + n * step), _points(y1))
        self.canvas.drawPath(path, stroke=1, fill=0)
        self.canvas.restoreState()

    def text(
        self, x: float, y: float, text: str, size: float, *, bold: bool = False, align: str = "left"
    ) -> None:
        """One line of text, its baseline starting (or centred, or ending) at x, y."""
        font = self.face.bold if bold else self.face.plain
        text = fonts.plain(text, font)
        self.canvas.setFont(font, size)
        width = fonts.text_width(text, font, size)
        shift = {"left": 0.0, "centre": width / 2, "right": width}[align]
        if bold and self.face.heavier:
            # Filled and gone over with the pen: a bold letter of a face that has only one weight.
            self.canvas.saveState()
            self.canvas.setLineWidth(size * self.face.heavier)
            self.canvas.setStrokeGray(self._grey)
            self.canvas.setDash([])
            self.canvas.drawString(x * PT - shift, y * PT, text, mode=2)
            self.canvas.restoreState()
            return
        self.canvas.drawString(x * PT - shift, y * PT, text)

    def upright(
        self, x: float, y: float, text: str, size: float, *, bold: bool = False, align: str = "left"
    ) -> None:
        """One line of text that reads from below upwards, its baseline through x, y."""
        self.canvas.saveState()
        self.canvas.translate(x * PT, y * PT)
        self.canvas.rotate(90)
        self.text(0, 0, text, size, bold=bold, align=align)
        self.canvas.restoreState()

    def width(self, text: str, size: float, *, bold: bool = False) -> float:
        """Width (mm) of a line of text."""
        font = self.face.bold if bold else self.face.plain
        return fonts.text_width(fonts.plain(text, font), font, size) / PT

    def arrow_head(self, x: float, y: float, angle: float, length: float = 2.0) -> None:
        """A filled arrow head, its tip at x, y, pointing along `angle` (radians)."""
        tip = complex(x, y)
        back = tip - length * complex(math.cos(angle), math.sin(angle))
        side = 0.35 * length * complex(-math.sin(angle), math.cos(angle))
        corners = (tip, back + side, back - side)
        self.polygon([(z.real, z.imag) for z in corners])


def _points(mm: float) -> float:
    return round(mm * PT, _PLACES)


def _place(z: complex) -> tuple[float, float]:
    return _points(z.real), _points(z.imag)
