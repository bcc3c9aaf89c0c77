"""Running text, drawings and rows down the columns of printed pages."""

from __future__ import annotations

from collections.abc import Callable

from cutout.draw import fonts
from cutout.draw.box import Box
from cutout.draw.fonts import PT
from cutout.draw.paint import Paint
from cutout.draw.tagged import Role
from cutout.write.template.tiling import MARGIN

LEADING = 1.32
"""Line distance over type size."""


class Flow:
    """Fills columns from the top; takes a new page, one column wide, when the last one is full."""

    def __init__(self, paint: Paint, page: tuple[float, float]) -> None:
        self._paint = paint
        self._page = page
        self._columns: list[Box] = []
        self._y = 0.0
        self._open = False

    @property
    def whole(self) -> Box:
        """The printable part of a page (mm)."""
        return (MARGIN, MARGIN, self._page[0] - MARGIN, self._page[1] - MARGIN)

    @property
    def column(self) -> Box:
        """What is left of the column being filled (mm)."""
        x0, y0, x1, _ = self._columns[0]
        return (x0, y0, x1, self._y)

    def new_page(self) -> None:
        """Finish the page, if one is open, and start another with one column."""
        self.close()
        self._paint.page(*self._page)
        self._open = True
        self.columns([self.whole])

    def columns(self, boxes: list[Box]) -> None:
        """Divide what is left of the page into these columns, filled in this order."""
        self._columns = list(boxes)
        self._y = boxes[0][3]

    def next_column(self) -> None:
        """Go on at the top of the next column, where there is one on this page."""
        if len(self._columns) > 1:
            self.columns(self._columns[1:])

    def close(self) -> None:
        """Finish the open page."""
        if self._open:
            self._paint.end_page()
            self._open = False

    def space(self, height: float) -> None:
        """Leave `height` mm free, unless at the top of a column."""
        if self._y < self._columns[0][3]:
            self._y -= height

    def block(self, height: float, draw: Callable[[Box], None]) -> None:
        """Give `draw` a box of this height (mm), whole, in this column or the next."""
        self._need(height)
        x0, _, x1, _ = self._columns[0]
        self._y -= height
        draw((x0, self._y, x1, self._y + height))

    def text(
        self,
        text: str,
        size: float | None = None,
        *,
        bold: bool = False,
        indent: float = 0.0,
        mark: str = "",
        role: Role = "P",
    ) -> None:
        """A paragraph, in the size of running text unless given, broken into lines.

        `mark` stands before its first line, within the indent. It goes on in the next column only where it takes
        more than half of one. role: what it is to a reader aloud."""
        with self._paint.part(role):
            self._text(text, size or self._paint.face.text, bold, indent, mark)

    def _text(self, text: str, size: float, bold: bool, indent: float, mark: str) -> None:
        font = self._paint.face.bold if bold else self._paint.face.plain
        step = size * LEADING / PT
        x0, y0, x1, y1 = self._columns[0]
        whole = len(fonts.wrap(text, font, size, (x1 - x0 - indent) * PT)) * step
        if whole <= (y1 - y0) / 2:
            self._need(whole)
        first = True
        rest = text
        while rest:
            x0, _, x1, _ = self._columns[0]
            lines = fonts.wrap(rest, font, size, (x1 - x0 - indent) * PT)
            for n, line in enumerate(lines):
                columns = len(self._columns)
                page_before = self._columns[0]
                self._need(step)
                if self._columns[0] != page_before or len(self._columns) != columns:
                    rest = " ".join(lines[n:])
                    break
                self._y -= step
                baseline = self._y + 0.25 * size / PT
                if first and mark:
                    self._paint.text(self._columns[0][0], baseline, mark, size, bold=True)
                first = False
                self._paint.text(self._columns[0][0] + indent, baseline, line, size, bold=bold)
            else:
                return

    def heading(self, text: str, size: float | None = None) -> None:
        """A heading with room above it, kept together with two lines of what follows."""
        size = size or 4 / 3 * self._paint.face.text
        self.space(2.5)
        self._need(3 * size * LEADING / PT)
        self.text(text, size, bold=True, role="H2")
        self.space(0.8)

    def _need(self, height: float) -> None:
        """Go on to the next column or page when `height` mm no longer fit; a block taller than a page stays."""
        while self._y - height < self._columns[0][1] - 1e-6:
            fresh = self._y >= self._columns[0][3] - 1e-6
            if len(self._columns) > 1:
                self.columns(self._columns[1:])
            elif fresh and self._columns[0] == self.whole:
                return
            else:
                self.new_page()
