"""Drawing on PDF pages in millimetres."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import replace
from io import BytesIO
from itertools import chain
from typing import Any

import numpy as np
from reportlab import rl_config
from reportlab.pdfgen.canvas import Canvas
from reportlab.pdfgen.pathobject import PDFPathObject

from cutout.draw import fonts
from cutout.draw.box import Box
from cutout.draw.fonts import PT
from cutout.draw.looks import Hatch, Ink, Look, rgb
from cutout.draw.scene import Area, Disc, Item, Run, Words, hatching
from cutout.draw.tagged import Element, Role, TaggedCanvas
from cutout.geom.curve import Arc, FloatArray, Line, arc_cubics
from cutout.geom.outline import Ring

_PLACES = 2
"""Decimals of a point in paths: 0.002 mm at most off, and half as much to store."""

# Streams as bytes: as text, the default, they take a quarter more.
rl_config.useA85 = 0


class Pen:
    """Draws on a canvas; every coordinate and width in mm, y up, text sizes in points."""

    def __init__(self, canvas: Canvas, face: fonts.Face = fonts.SANS) -> None:
        fonts.register()
        self.canvas = canvas
        self.face = face
        self._filled: Ink = 0.0

    def pen(
        self, width: float, ink: Ink = 0.0, dash: Sequence[float] = (), *, round_ends: bool = False
    ) -> None:
        """Line width, ink and dash of what is drawn next."""
        self.canvas.setLineWidth(width * PT)
        _set(self.canvas.setStrokeGray, self.canvas.setStrokeColorRGB, ink)
        self.canvas.setDash([d * PT for d in dash])
        self.canvas.setLineCap(1 if round_ends else 0)
        self.canvas.setLineJoin(1)

    def fill(self, ink: Ink) -> None:
        """Ink of what is filled or written next."""
        self._filled = ink
        _set(self.canvas.setFillGray, self.canvas.setFillColorRGB, ink)

    def line(self, x0: float, y0: float, x1: float, y1: float) -> None:
        """A straight line."""
        self.canvas.line(x0 * PT, y0 * PT, x1 * PT, y1 * PT)

    def rect(self, box: Box, *, stroke: bool = True, fill: bool = False) -> None:
        """A rectangle."""
        x0, y0, x1, y1 = (v * PT for v in box)
        self.canvas.rect(x0, y0, x1 - x0, y1 - y0, stroke=int(stroke), fill=int(fill))

    def draw(self, *drawn: Iterable[Item]) -> None:
        """What a scene holds, in order."""
        for item in chain(*drawn):
            match item:
                case Words():
                    self._words(item)
                case Area(look, rings) if look.hatch:
                    self._hatched(look, look.hatch, rings)
                case Area(look, rings):
                    self._shape(look, self._closed(rings))
                case Run(look, paths):
                    self._shape(replace(look, fill=None), self._open(paths))
                case Disc(look, (x, y), radius):
                    path = self.canvas.beginPath()
                    path.circle(x * PT, y * PT, radius * PT)
                    self._shape(look, path)

    def _shape(self, look: Look, path: Any) -> None:
        if look.width:
            self.pen(look.width, look.ink, look.dash, round_ends=look.round_ends)
        if look.fill is not None:
            self.fill(look.fill)
        self.canvas.drawPath(path, stroke=int(look.width > 0), fill=int(look.fill is not None), fillMode=0)

    def _words(self, words: Words) -> None:
        self.fill(words.look.fill or 0.0)
        write = self.upright if words.upright else self.text
        write(*words.at, words.text, words.tall * fonts.PER_MM, bold=words.bold, align=words.align)

    def _open(self, paths: Iterable[FloatArray]) -> PDFPathObject:
        path = _Path()
        for points in paths:
            said = [f"{x!r} {y!r} l" for x, y in (np.round(points * PT, _PLACES) + 0.0).tolist()]
            if said:
                said[0] = f"{said[0][:-1]}m"
                path.add(" ".join(said))
        return path

    def _closed(self, rings: Iterable[Ring]) -> PDFPathObject:
        path = _Path()
        for ring in rings:
            if not ring.segments:
                continue
            said = [f"{_place(ring.segments[0].start)} m"]
            for segment in ring.segments:
                for run in arc_cubics(segment) if isinstance(segment, Arc) else (segment,):
                    if isinstance(run, Line):
                        said.append(f"{_place(run.end)} l")
                    else:
                        said.append(f"{_place(run.c1)} {_place(run.c2)} {_place(run.end)} c")
            path.add(" ".join(said))
            path.close()
        return path

    def _hatched(self, look: Look, hatch: Hatch, rings: Sequence[Ring]) -> None:
        """The path is stored once, for the filling and as the window on the lines."""
        if not any(ring.segments for ring in rings):
            return
        self.canvas.saveState()
        self.fill(look.fill or 0.0)
        self.canvas.clipPath(self._closed(rings), stroke=0, fill=1, fillMode=0)
        self.draw([hatching(look, hatch, rings)])
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
            _set(self.canvas.setStrokeGray, self.canvas.setStrokeColorRGB, self._filled)
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


class Paint(Pen):
    """A PDF being drawn.

    scale: what the printer makes of 1 along a sheet's short and long side; everything is drawn so much larger
    or smaller that it comes out true. The file holds no date and no random id, and asks readers to print
    without scaling. Every line of words is a paragraph for those who have it read aloud, unless `part` or `figure`
    says otherwise.
    """

    def __init__(
        self, title: str, scale: tuple[float, float] = (1.0, 1.0), face: fonts.Face = fonts.SANS
    ) -> None:
        fonts.register()
        self._scale = scale
        self._bookmarks = 0
        self._part: Element | None = None
        self._buffer = BytesIO()
        # The first font is named so that no page begins with one that is not embedded.
        font: Any = face.plain
        self._tags = TaggedCanvas(
            self._buffer, pageCompression=1, invariant=1, pdfVersion=(1, 7), initialFontName=font
        )
        super().__init__(self._tags, face)
        self.canvas.setTitle(title)
        self.canvas.setAuthor("")
        self.canvas.setSubject("")
        self.canvas.setCreator("cutout")
        self.canvas.setProducer("cutout")
        self.canvas.setViewerPreference("PrintScaling", "None")
        for_readers(self.canvas)

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

    @contextmanager
    def part(self, role: Role) -> Iterator[None]:
        """All words written meanwhile are one heading or paragraph; a part within a part belongs to it."""
        before = self._part
        self._part = before or self._tags.element(role)
        yield
        self._part = before

    @contextmanager
    def figure(self, alt: str) -> Iterator[None]:
        """All that is drawn meanwhile, on one page, is a picture; alt: what it shows, in words."""
        with self._tags.within(self._tags.element("Figure", alt)):
            yield

    def text(
        self, x: float, y: float, text: str, size: float, *, bold: bool = False, align: str = "left"
    ) -> None:
        """One line of text, its baseline starting (or centred, or ending) at x, y."""
        with self._tags.within(self._part or self._tags.element("P")):
            super().text(x, y, text, size, bold=bold, align=align)

    def end_page(self) -> None:
        """Finish the page."""
        self.canvas.showPage()

    def bytes(self) -> bytes:
        """The finished file."""
        self.canvas.save()
        return self._buffer.getvalue()


def for_readers(canvas: Canvas) -> None:
    """What a reader aloud wants to know of a file: its language, and that its title is its name."""
    canvas.setViewerPreference("DisplayDocTitle", "true")
    canvas.setCatalogEntry("Lang", "en")


def _set(grey: Callable[[float], None], colour: Callable[..., None], ink: Ink) -> None:
    """An ink by the canvas's own way for greys and for colours."""
    if isinstance(ink, str):
        colour(*(part / 255 for part in rgb(ink)))
    else:
        grey(ink)


def _place(z: complex) -> str:
    return f"{round(z.real * PT, _PLACES) + 0.0!r} {round(z.imag * PT, _PLACES) + 0.0!r}"


class _Path(PDFPathObject):
    """A path of numbers rounded already, which are written several times as fast as the library would."""

    def add(self, said: str) -> None:
        """A ring or line: operators of the format behind their numbers, which are rounded and no negative 0."""
        begin, move, rest = _shortest(said).partition(" m ")
        # The library wants to see how a path begins.
        for part in (f"{begin} m", rest) if move else (begin,):
            self._code_append(part)  # type: ignore[attr-defined]


def _shortest(said: str) -> str:
    """Numbers as the library writes them, shortest form: .5 for 0.5, 1 for 1.0."""
    return _BEFORE.sub(".", _AFTER.sub("", said))


_AFTER, _BEFORE = re.compile(r"\.0(?!\d)"), re.compile(r"(?<![-\d.])0\.")
