"""The notes as a PDF: made of the same parts as cutsheet.html, set in type by reportlab, their pictures from scenes.

The parts are read back from HTML, so that the two never say different things. Only what our own pages are made of is
known here: sections, headings, paragraphs, lists, tables and pictures.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from functools import partial
from html import escape
from html.parser import HTMLParser
from io import BytesIO
from types import MappingProxyType
from typing import Any

from reportlab.lib.colors import HexColor
from reportlab.lib.styles import ParagraphStyle
from reportlab.platypus import (
    CondPageBreak,
    Flowable,
    Paragraph,
    SimpleDocTemplate,
    Spacer,
    Table,
    TableStyle,
)

from cutout.draw import fonts
from cutout.draw.fonts import PT
from cutout.draw.paint import Pen, for_readers
from cutout.draw.scene import Scene
from cutout.draw.tagged import TaggedCanvas
from cutout.write.cutsheet.page import notes
from cutout.write.cutsheet.picture import PICTURE, panel_picture
from cutout.write.dated import printed_date
from cutout.write.work import Work

_MARGIN = 14 * PT
_PADDING = 6.0
"""What the library leaves inside a page's margins, on each side (pt)."""
_PICTURE = 120 * PT
"""Height of a picture at most."""
_UPRIGHT = 1.15
"""A picture narrower than this, in heights, has words beside it."""
_SHARE = 0.48
"""Width of such a picture at most, in widths of the page."""
_BESIDE = 1.4
"""Words beside a picture reach down so far at most, in heights of the tallest picture."""
_KEPT = 60 * PT
"""Room that a heading wants under it, for a first bit of what it is over."""
_VOID = frozenset(("meta", "br", "link", "img"))
_INK, _RULE, _SHADE = HexColor("#111111"), HexColor("#999999"), HexColor("#f0f0f0")


@dataclass(slots=True)
class Node:
    """An element: its name, attributes, what is in it, text as strings; for a picture its scene."""

    name: str
    attributes: dict[str, str | None] = field(default_factory=dict)
    inside: list[Node | str] = field(default_factory=list)
    scene: Scene | None = None

    def find(self, name: str) -> Iterator[Node]:
        """Elements of a name anywhere inside, outermost first; none inside one found."""
        for child in self.inside:
            if isinstance(child, Node):
                if child.name == name:
                    yield child
                else:
                    yield from child.find(name)

    def text(self) -> str:
        """All its words, pictures left out."""
        words = [c if isinstance(c, str) else "" if c.name == "svg" else c.text() for c in self.inside]
        return re.sub(r"\s+", " ", "".join(words)).strip()


class _Reader(HTMLParser):
    """HTML to nodes; scenes: of the pictures, by their id."""

    def __init__(self, scenes: Mapping[str, Scene]) -> None:
        super().__init__(convert_charrefs=True)
        self._scenes = scenes
        self.root = Node("root")
        self._open = [self.root]

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        node = Node(tag, dict(attrs))
        if tag == "svg":
            node.scene = self._scenes.get(node.attributes.get("id") or "")
        self._open[-1].inside.append(node)
        if tag not in _VOID:
            self._open.append(node)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self._open[-1].inside.append(Node(tag, dict(attrs)))

    def handle_endtag(self, tag: str) -> None:
        if len(self._open) > 1 and self._open[-1].name == tag:
            self._open.pop()

    def handle_data(self, data: str) -> None:
        self._open[-1].inside.append(data)


def cut_sheet_pdf(work: Work) -> bytes:
    """The notes on the template's paper (A4 where that is a roll). Same work, same bytes."""
    foot = " ".join(filter(None, (fonts.plain(work.title), printed_date(work.job))))
    picture = panel_picture(work)
    html, scenes = notes(work, picture), {PICTURE: picture.scene}
    return set_in_type(html, f"{work.title}: notes", f"{foot}: notes", _page(work), scenes)


def set_in_type(
    html: bytes,
    title: str,
    foot: str,
    size: tuple[float, float],
    scenes: Mapping[str, Scene] = MappingProxyType({}),
) -> bytes:
    """One of our own pages as a PDF; size: of its sheets (pt); foot: what stands under each, before its number;
    scenes: of its pictures by their id, those without one are left out."""
    fonts.register()
    reader = _Reader(scenes)
    reader.feed(html.decode("utf-8"))
    (main,) = reader.root.find("main")
    room = size[0] - 2 * (_MARGIN + _PADDING)
    story = [f for node in main.inside if isinstance(node, Node) for f in _flowables(node, room)]
    out = BytesIO()
    document = SimpleDocTemplate(
        out,
        pagesize=size,
        title=title,
        author="",
        subject="",
        creator="cutout",
        producer="cutout",
        leftMargin=_MARGIN,
        rightMargin=_MARGIN,
        topMargin=_MARGIN,
        bottomMargin=_MARGIN,
    )
    under = partial(_foot, foot)
    document.build(_headings_kept(story), onFirstPage=under, onLaterPages=under, canvasmaker=_canvas)
    return out.getvalue()


def _headings_kept(story: Iterable[Flowable]) -> list[Flowable]:
    """The story with each break for want of room moved before the headings of what wants it."""
    done: list[Any] = []
    for flowable in story:
        place = len(done)
        while isinstance(flowable, CondPageBreak) and place and done[place - 1].getKeepWithNext():
            place -= 1
        done.insert(place, flowable)
    return done


def _canvas(*arguments: Any, **options: Any) -> TaggedCanvas:
    first: Any = fonts.PLAIN
    canvas = TaggedCanvas(
        *arguments, **(options | {"invariant": 1, "pageCompression": 1, "initialFontName": first})
    )
    for_readers(canvas)
    return canvas


def _page(work: Work) -> tuple[float, float]:
    paper = work.paper
    if paper.height is None or min(paper.width, paper.height) < 180 or max(paper.width, paper.height) > 300:
        return 210 * PT, 297 * PT
    return min(paper.width, paper.height) * PT, max(paper.width, paper.height) * PT


def _foot(words: str, canvas: Any, document: Any) -> None:
    canvas.saveState()
    canvas.setFont(fonts.PLAIN, 7)
    canvas.drawString(_MARGIN + _PADDING, _MARGIN * 0.55, f"{words}, page {document.page}")
    canvas.restoreState()


def _style(size: float, bold: bool = False, **more: Any) -> ParagraphStyle:
    return ParagraphStyle(
        f"s{size}{bold}",
        fontName=fonts.BOLD if bold else fonts.PLAIN,
        fontSize=size,
        leading=size * 1.35,
        textColor=_INK,
        **more,
    )


# Sizes in points. Taste.
_PLAIN, _CELL, _HEAD = _style(8.5, spaceAfter=4), _style(7.5), _style(7.5, bold=True)
_TITLES = {
    "h1": _style(16, bold=True, spaceAfter=6, keepWithNext=1, role="H1"),
    "h2": _style(12, bold=True, spaceBefore=9, spaceAfter=4, keepWithNext=1, role="H2"),
    "h3": _style(9.5, bold=True, spaceBefore=5, spaceAfter=2, keepWithNext=1, role="H3"),
}
_CAPTION = _style(8.5, bold=True, spaceBefore=5, spaceAfter=2, keepWithNext=1)  # as what stands under it


class _Read(Paragraph):
    """A paragraph that says to a reader aloud what it is: its style has the role."""

    def draw(self) -> None:
        """Draw it; called by the page."""
        canvas: Any = self.canv
        with canvas.within(canvas.element(getattr(self.style, "role", "P"))):
            super().draw()


def _words(text: str, style: ParagraphStyle, **more: Any) -> Paragraph:
    return _Read(escape(fonts.plain(text)), style, **more)


def _flowables(node: Node, width: float) -> list[Flowable]:
    """A node as what goes down the page."""
    match node.name:
        case "h1" | "h2" | "h3":
            room = [CondPageBreak(28 * PT), _Bookmark(node.text())] if node.name == "h2" else []
            return [*room, _words(node.text(), _TITLES[node.name])]
        case "p":
            return [_words(node.text(), _PLAIN)]
        case "ul":
            return [_item(item) for item in node.find("li")]
        case "dl":
            return [_facts(node, width), Spacer(0, 4)]
        case "table":
            return _table(node, width)
        case "svg":
            return [] if node.scene is None else [_Drawn(node, node.scene, width), Spacer(0, 5)]
        case "summary" | "script":
            return []
        case "div" if node.attributes.get("class") == "pair":
            return _pair(node, width)
        case _:
            return [f for child in node.inside if isinstance(child, Node) for f in _flowables(child, width)]


def _item(item: Node) -> Paragraph:
    """A line of a list; the swatch before its words, if there is one, as a stretch of its colour."""
    colour = next((r.attributes.get("fill") for s in item.find("svg") for r in s.find("rect")), None)
    if colour is None:
        return _words(item.text(), _PLAIN, bulletText="-")
    patch = f'<font backColor="{colour}">{"&nbsp;" * 6}</font>'
    return _Read(f"{patch} {escape(fonts.plain(item.text()))}", _PLAIN)


def _facts(node: Node, width: float) -> Table:
    heads = [_words(t.text(), _HEAD) for t in node.find("dt")]
    facts = [_words(d.text(), _CELL) for d in node.find("dd")]
    table = Table(list(zip(heads, facts, strict=True)), colWidths=[0.2 * width, 0.8 * width])
    table.setStyle(TableStyle([("VALIGN", (0, 0), (-1, -1), "TOP"), ("LEFTPADDING", (0, 0), (0, -1), 0)]))
    return table


def _table(node: Node, width: float) -> list[Flowable]:
    """A table with its caption; its columns as wide as their longest words ask for."""
    caption = next((c.text() for c in node.find("caption")), "")
    rows = [[c for c in row.inside if isinstance(c, Node)] for row in node.find("tr")]
    if not rows:
        return []
    texts = [[_cell(cell) for cell in row] for row in rows]
    widths = _widths(texts, width)
    cells = [
        [_words(text, _HEAD if cell.name == "th" else _CELL) for cell, text in zip(row, line, strict=True)]
        for row, line in zip(rows, texts, strict=True)
    ]
    table = Table(cells, colWidths=widths, repeatRows=1, hAlign="LEFT")
    table.setStyle(
        TableStyle(
            [
                ("GRID", (0, 0), (-1, -1), 0.3, _RULE),
                ("BACKGROUND", (0, 0), (-1, 0), _SHADE),
                ("VALIGN", (0, 0), (-1, -1), "TOP"),
                ("TOPPADDING", (0, 0), (-1, -1), 1.5),
                ("BOTTOMPADDING", (0, 0), (-1, -1), 2.5),
                ("LEFTPADDING", (0, 0), (-1, -1), 3),
                ("RIGHTPADDING", (0, 0), (-1, -1), 3),
            ]
        )
    )
    head = [_words(caption, _CAPTION)] if caption else []
    if len(rows) <= 12:
        # Its caption is kept with it, and so it is kept whole.
        return [*head, table, Spacer(0, 5)]
    # Too long to be kept whole: what stands over it is kept with its first rows by the room asked for.
    return [CondPageBreak(_KEPT), *head, Spacer(0, 0), table, Spacer(0, 5)]


def _cell(cell: Node) -> str:
    """A cell's words; a line break in it reads as a space."""
    return re.sub(r"\s+", " ", " ".join(c if isinstance(c, str) else c.text() for c in cell.inside)).strip()


def _widths(texts: list[list[str]], width: float) -> list[float]:
    """Columns as wide as their longest cell, up to a share of the page; the widest gives way first."""
    columns = zip(*texts, strict=True)
    wanted = [max(fonts.text_width(t, fonts.BOLD, 7.5) for t in column) + 8 for column in columns]
    if sum(wanted) <= width:
        return wanted
    narrow = [w for w in wanted if w <= width / len(wanted)]
    left = (width - sum(narrow)) / max(len(wanted) - len(narrow), 1)
    return [w if w <= width / len(wanted) else left for w in wanted]


class _Bookmark(Flowable):
    """An entry in the reader's list of parts, which leads to what follows."""

    def __init__(self, title: str) -> None:
        super().__init__()
        self._title = title
        self.keepWithNext = 1
        self.width = self.height = 0.0

    def draw(self) -> None:
        """Set it; called by the page."""
        self.canv.bookmarkPage(self._title)
        self.canv.addOutlineEntry(self._title, self._title, 0)


class _Drawn(Flowable):
    """A scene, as large as goes into a width (pt) and a picture's height."""

    def __init__(self, picture: Node, scene: Scene, width: float) -> None:
        super().__init__()
        self._alt = next((title.text() for title in picture.find("title")), "")
        x0, y0, x1, y1 = scene.box
        self._scene = scene
        self._scale = min(width / (x1 - x0), _PICTURE / (y1 - y0)) / PT
        self.width, self.height = (v * self._scale * PT for v in (x1 - x0, y1 - y0))

    def draw(self) -> None:
        """Draw it; called by the page."""
        x0, y0, _, _ = self._scene.box
        canvas: Any = self.canv
        canvas.scale(self._scale, self._scale)
        canvas.translate(-x0 * PT, -y0 * PT)
        with canvas.within(canvas.element("Figure", self._alt)):
            Pen(canvas, fonts.LETTERING).draw(self._scene.items)


def _pair(node: Node, width: float) -> list[Flowable]:
    """A picture with its words: beside each other where the picture is upright and the words are few."""
    (picture,) = node.find("svg")
    words = [c for c in node.inside if isinstance(c, Node) and c is not picture]
    if picture.scene is not None:
        drawn = _Drawn(picture, picture.scene, _SHARE * width)
        wide = width - drawn.width - 12
        beside = [f for word in words for f in _flowables(word, wide) if not isinstance(f, CondPageBreak)]
        canvas = _canvas(BytesIO())
        tall = sum(f.wrapOn(canvas, wide, 1e6)[1] + f.getSpaceBefore() + f.getSpaceAfter() for f in beside)
        if drawn.width < _UPRIGHT * drawn.height and tall < _BESIDE * _PICTURE:
            table = Table([[drawn, beside]], colWidths=[width - wide, wide])
            table.setStyle(
                TableStyle([("VALIGN", (0, 0), (-1, -1), "TOP"), ("LEFTPADDING", (0, 0), (-1, -1), 0)])
            )
            return [table]
    return [f for part in (picture, *words) for f in _flowables(part, width)]
