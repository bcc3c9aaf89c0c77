"""From the tree to marks: what is painted, in which order, and which features go beyond plain painting."""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from typing import Literal
from xml.etree.ElementTree import Element

from cutout.errors import ReadError
from cutout.read.fill import FillRule
from cutout.read.svg.affine import IDENTITY, Affine, parse_transform, translation
from cutout.read.svg.document import Document
from cutout.read.svg.number import is_physical, length_px
from cutout.read.svg.paint import PICTURE, Paint, paint_of
from cutout.read.svg.path import SubPath, shape_paths
from cutout.read.svg.style import BLACK, Style, StyleSheet, reference, share
from cutout.read.svg.view import aspect_of, root_view, view_box

MAX_VISITS = 30_000
"""Elements drawn, each `use` counted as often as it is drawn."""
MAX_DEPTH = 240
"""Elements in one another, over what `document` lets in by what `use` adds: a quarter of Python's depth of calls."""
MAX_SEGMENTS = 300_000
"""Segments of all paths, as drawn: a bound on time, far over what one would saw. Common practice, no source."""

_SHAPES = frozenset(("path", "rect", "circle", "ellipse", "line", "polyline", "polygon"))
_CONTAINERS = frozenset(("g", "a", "svg", "switch"))
_LEFT_OUT = {"foreignObject": "embedded web content", "flowRoot": "text that flows in a frame"}


@dataclass(frozen=True, slots=True)
class Stroke:
    """How a stroke is drawn; lengths in the element's units. miter: greatest ratio of mitre to width."""

    width: float
    cap: Literal["butt", "round", "square"] = "butt"
    join: Literal["miter", "round", "bevel"] = "miter"
    miter: float = 4.0
    dashes: tuple[float, ...] = ()
    offset: float = 0.0


@dataclass(frozen=True, slots=True)
class ClipShape:
    """A filled shape that lets through what it covers; paths in their own units, mapped by `to_root`."""

    paths: tuple[SubPath, ...]
    to_root: Affine
    rule: FillRule = "nonzero"


Clip = tuple[ClipShape, ...]
"""What is let through is the union of the shapes."""


@dataclass(frozen=True, slots=True)
class Mark:
    """One painted fill or stroke; paths in the element's units, y down, mapped to page px by `to_root`."""

    paths: tuple[SubPath, ...]
    to_root: Affine
    paint: Paint
    draws: FillRule | Stroke
    clips: tuple[Clip, ...] = ()


@dataclass(frozen=True, slots=True)
class Placed:
    """A picture made of pixels: its `data:` address, and the place for it in units mapped to page px by `to_root`.

    corner: x + iy. width, height: None where the picture's own counts. aspect: words of its `preserveAspectRatio`.
    over: how many marks lie under it.
    """

    link: str
    corner: complex
    width: float | None
    height: float | None
    aspect: tuple[str, ...]
    to_root: Affine
    clips: tuple[Clip, ...]
    over: int

    def box(self, width: float, height: float) -> tuple[float, float, float, float]:
        """x, y, width and height of the place for a picture of these sides."""
        across, down = self.width, self.height
        if across is None:
            across = width if down is None else down * width / height
        return self.corner.real, self.corner.imag, across, across * height / width if down is None else down


@dataclass(slots=True)
class Drawing:
    """Everything the file paints. page: width and height in px, None when it states none.

    unscaled: its page is so many mm or points wide and what is drawn has units of its own, with nothing to tie them.
    beyond: features that need rendering; left_out, damaged: how often something was skipped or cut short.
    """

    page: tuple[float, float] | None
    physical: bool
    unscaled: bool = False
    marks: list[Mark] = field(default_factory=list)
    pictures: list[Placed] = field(default_factory=list)
    beyond: dict[str, int] = field(default_factory=dict)
    left_out: dict[str, int] = field(default_factory=dict)
    damaged: int = 0


@dataclass(frozen=True, slots=True)
class _State:
    style: Style
    to_root: Affine
    alpha: float
    clips: tuple[Clip, ...]
    view: tuple[float, float]
    depth: int = 0
    through: tuple[Element, ...] = ()


def walk(document: Document, name: str) -> Drawing:
    """Every mark of the document in painting order. Raises ReadError when it is too large or nested."""
    root = document.root
    try:
        page, to_root, view = root_view(root)
    except ReadError as error:
        raise ReadError(f"{name}: {error}") from error
    physical = is_physical(root.get("width")) or is_physical(root.get("height"))
    drawing = Drawing(page, physical, physical and root.get("viewBox") is None)
    walker = _Walker(document, StyleSheet(document), drawing, name)
    if _visits(root, document, {}, frozenset()) > MAX_VISITS:
        raise ReadError(f"{name}: draws more than {MAX_VISITS} elements; too much for a silhouette.")
    walker.element(root, _State({}, to_root, 1.0, (), view))
    return drawing


def _visits(
    element: Element, document: Document, known: dict[Element, int], above: frozenset[Element]
) -> int:
    """Elements that drawing this one comes by, `use` followed: known before anything is drawn, however many."""
    if element in known or element in above or len(above) > MAX_DEPTH:
        return known.get(element, 1)
    inside = above | {element}
    ways = list(element) if element.tag in _CONTAINERS or element.tag == "symbol" else []
    if element.tag == "use":
        target = document.by_id.get((element.get("href") or "").removeprefix("#"))
        ways = [] if target is None else [target]
    counted = (way for way in ways if way.tag in _SHAPES | _CONTAINERS | {"use", "symbol"})
    known[element] = 1 + sum(_visits(way, document, known, inside) for way in counted)
    return known[element]


@dataclass(slots=True)
class _Walker:
    document: Document
    sheet: StyleSheet
    drawing: Drawing
    name: str
    visits: int = 0
    segments: int = 0

    def element(self, element: Element, state: _State) -> None:
        tag = element.tag
        drawn = tag in _SHAPES or tag in _CONTAINERS or tag in ("use", "text", "image") or tag in _LEFT_OUT
        if not drawn:
            return
        self._count(state.depth)
        style = self.sheet.of(element, state.style)
        alpha = state.alpha * share(style.get("opacity"))
        if style.get("display") == "none" or alpha <= 0.0:
            return
        inner = self._inner(element, style, alpha, state)
        if inner is None:
            return
        before = len(self.drawing.marks), sum(self.drawing.beyond.values())
        if tag in _SHAPES:
            self._shape(element, inner)
        elif tag == "use":
            self._use(element, inner)
        elif tag == "svg" and state.depth:
            self._nested(element, element, inner)
        elif tag in _CONTAINERS:
            self._children(element, inner)
        else:
            self._foreign(element, inner)
        if before != (len(self.drawing.marks), sum(self.drawing.beyond.values())):
            self._effects(style)

    def _count(self, depth: int) -> None:
        self.visits += 1
        if self.visits > MAX_VISITS:
            raise ReadError(f"{self.name}: draws more than {MAX_VISITS} elements; too much for a silhouette.")
        if depth > MAX_DEPTH:
            raise ReadError(f"{self.name}: elements nested more than {MAX_DEPTH} deep.")

    def _inner(self, element: Element, style: Style, alpha: float, state: _State) -> _State | None:
        """The state inside the element; None where nothing can show."""
        text = style.get("transform") or (element.get("transform") if element.tag != "svg" else None)
        step = parse_transform(text)
        if step is None:
            self.drawing.damaged += 1
            step = IDENTITY
        to_root = state.to_root.of(step)
        if not to_root.finite or abs(to_root.determinant) < 1e-18:
            return None
        inner = replace(state, style=style, to_root=to_root, alpha=alpha, depth=state.depth + 1)
        return self._clipped(style, inner)

    def _children(self, element: Element, state: _State) -> None:
        children = _chosen(element) if element.tag == "switch" else element
        for child in children:
            self.element(child, state)

    def _shape(self, element: Element, state: _State) -> None:
        if state.style.get("visibility", "visible") != "visible":
            return
        paths, whole = shape_paths(element.tag, element.get, state.view, _font_size(state.style))
        self.drawing.damaged += not whole
        paths = tuple(p for p in paths if _sane(p))
        self.segments += sum(len(p.segments) for p in paths)
        if self.segments > MAX_SEGMENTS:
            raise ReadError(f"{self.name}: more than {MAX_SEGMENTS} curves; too much for a silhouette.")
        if not paths:
            return
        marks = [self._fill(paths, state), self._stroke(paths, state)]
        if state.style.get("paint-order", "normal").strip().startswith("stroke"):
            marks.reverse()
        shown = [m for m in marks if m is not None]
        self.drawing.marks.extend(shown)
        if shown and element.tag in ("path", "line", "polyline", "polygon"):
            self._markers(state.style)

    def _fill(self, paths: tuple[SubPath, ...], state: _State) -> Mark | None:
        style = state.style
        paint = self._paint(style.get("fill"), Paint((BLACK,)), "fill-opacity", state)
        areal = tuple(p for p in paths if p.segments)
        if paint is None or not areal:
            return None
        rule: FillRule = "evenodd" if style.get("fill-rule") == "evenodd" else "nonzero"
        return Mark(areal, state.to_root, paint, rule, state.clips)

    def _stroke(self, paths: tuple[SubPath, ...], state: _State) -> Mark | None:
        style = state.style
        paint = self._paint(style.get("stroke"), None, "stroke-opacity", state)
        if paint is None:
            return None
        diagonal = math.hypot(*state.view) / math.sqrt(2)
        width = length_px(style.get("stroke-width"), diagonal, _font_size(style))
        width = 1.0 if width is None else width
        if width <= 0:
            return None
        stroke = _stroke_style(style, width, diagonal)
        if style.get("vector-effect") == "non-scaling-stroke":
            paths = tuple(_mapped(p, state.to_root) for p in paths)
            return Mark(paths, IDENTITY, paint, stroke, state.clips)
        return Mark(paths, state.to_root, paint, stroke, state.clips)

    def _paint(self, value: str | None, default: Paint | None, opacity: str, state: _State) -> Paint | None:
        paint = paint_of(value, default, state.style, self.sheet, self.document)
        if paint is None:
            return None
        paint = paint.faded(state.alpha * share(state.style.get(opacity)))
        if all(shade.alpha < 1 / 512 for shade in paint.shades):
            return None
        if paint.beyond:
            self._note_beyond(paint.beyond)
        return paint

    def _use(self, element: Element, state: _State) -> None:
        target = self.document.by_id.get((element.get("href") or "").removeprefix("#"))
        if target is None or target in state.through:
            self.drawing.damaged += 1
            return
        w, h = state.view
        x, y = length_px(element.get("x"), w) or 0.0, length_px(element.get("y"), h) or 0.0
        inner = replace(state, to_root=state.to_root.of(translation(x, y)), through=(*state.through, target))
        if target.tag in ("symbol", "svg"):
            style = self.sheet.of(target, inner.style)
            alpha = inner.alpha * share(style.get("opacity"))
            within = self._inner(target, style, alpha, inner)
            if style.get("display") != "none" and within is not None:
                self._nested(target, element, within)
        else:
            self.element(target, inner)

    def _nested(self, element: Element, sized_by: Element, state: _State) -> None:
        """A viewport inside the page: an inner svg, or a symbol sized by the use that draws it."""
        w, h = state.view

        def side(name: str, of: float) -> float:
            own = length_px(sized_by.get(name), of)
            return own if own is not None else (length_px(element.get(name), of) or of)

        width, height = side("width", w), side("height", h)
        if width <= 0 or height <= 0:
            return
        placed = state.to_root
        if sized_by is element:
            x, y = length_px(element.get("x"), w) or 0.0, length_px(element.get("y"), h) or 0.0
            placed = placed.of(translation(x, y))
        fit, view = view_box(element, width, height)
        clips = state.clips
        if state.style.get("overflow", "hidden") in ("hidden", "scroll"):
            clips = (*clips, (_box_clip(width, height, placed),))
        self._children(element, replace(state, to_root=placed.of(fit), view=view, clips=clips))

    def _clipped(self, style: Style, state: _State) -> _State | None:
        link = reference(style.get("clip-path"))
        if link is None:
            return state
        clip = self.document.by_id.get(link[0])
        if clip is None or clip.tag != "clipPath":
            return state
        shapes: list[ClipShape] = []
        if not self._clip_shapes(clip, state, shapes):
            self._note_beyond("clip path")
            return state
        return replace(state, clips=(*state.clips, tuple(shapes))) if shapes else None

    def _clip_shapes(self, clip: Element, state: _State, shapes: list[ClipShape]) -> bool:
        """Collects what a clip path lets through; False if it needs more than plain shapes."""
        style = self.sheet.of(clip, {})
        step = parse_transform(clip.get("transform"))
        if clip.get("clipPathUnits") == "objectBoundingBox" or style.get("clip-path", "none") != "none":
            return False
        base = state.to_root.of(step or IDENTITY)
        return all(self._clip_child(child, style, base, state, shapes) for child in clip)

    def _clip_child(
        self, child: Element, parent: Style, base: Affine, state: _State, shapes: list[ClipShape]
    ) -> bool:
        style = self.sheet.of(child, parent)
        if style.get("display") == "none" or style.get("visibility", "visible") != "visible":
            return True
        base = base.of(parse_transform(child.get("transform")) or IDENTITY)
        if child.tag == "use":
            target = self.document.by_id.get((child.get("href") or "").removeprefix("#"))
            if target is None or target.tag not in _SHAPES:
                return target is None
            w, h = state.view
            shift = translation(length_px(child.get("x"), w) or 0.0, length_px(child.get("y"), h) or 0.0)
            return self._clip_child(target, style, base.of(shift), state, shapes)
        if child.tag == "text" or style.get("clip-path", "none") != "none":
            return False
        if child.tag in _SHAPES:
            paths, _ = shape_paths(child.tag, child.get, state.view, _font_size(style))
            rule: FillRule = "evenodd" if style.get("clip-rule") == "evenodd" else "nonzero"
            areal = tuple(p for p in paths if p.segments and _sane(p))
            shapes.append(ClipShape(areal, base, rule))
        return True

    def _foreign(self, element: Element, state: _State) -> None:
        style = state.style
        if style.get("visibility", "visible") != "visible":
            return
        if element.tag in _LEFT_OUT:
            if _has_text(element) or element.tag == "foreignObject":
                what = _LEFT_OUT[element.tag]
                self.drawing.left_out[what] = self.drawing.left_out.get(what, 0) + 1
        elif element.tag == "image":
            self._image(element, state)
        elif _has_text(element):
            self._note_beyond("text")

    def _image(self, element: Element, state: _State) -> None:
        link = element.get("href")
        if not link:
            return
        (w, h), size = state.view, _font_size(state.style)
        x, y = (length_px(element.get(a), of, size) or 0.0 for a, of in (("x", w), ("y", h)))
        width, height = (length_px(element.get(a), of, size) for a, of in (("width", w), ("height", h)))
        if (width is not None and width <= 0) or (height is not None and height <= 0):
            return
        place = (complex(x, y), width, height, aspect_of(element), state.to_root, state.clips)
        self.drawing.pictures.append(Placed(link, *place, len(self.drawing.marks)))
        self._note_beyond(PICTURE)

    def _effects(self, style: Style) -> None:
        """Notes effects on something that is drawn."""
        if (style.get("filter") or "none") != "none":
            self._note_beyond("filter")
        if reference(style.get("mask")):
            self._note_beyond("mask")
        if (style.get("mix-blend-mode") or "normal") != "normal":
            self._note_beyond("blend mode")

    def _markers(self, style: Style) -> None:
        for where in ("marker-start", "marker-mid", "marker-end"):
            link = reference(style.get(where))
            if link and link[0] in self.document.by_id:
                self._note_beyond("marker")

    def _note_beyond(self, what: str) -> None:
        self.drawing.beyond[what] = self.drawing.beyond.get(what, 0) + 1


def _box_clip(width: float, height: float, to_root: Affine) -> ClipShape:
    size = {"width": str(width), "height": str(height)}
    paths, _ = shape_paths("rect", size.get, (width, height), 16.0)
    return ClipShape(paths, to_root)


def _chosen(switch: Element) -> tuple[Element, ...]:
    """The first child of a switch whose conditions an ordinary English-speaking viewer meets."""
    for child in switch:
        languages = child.get("systemLanguage")
        spoken = languages is None or any(w.strip().startswith("en") for w in languages.split(","))
        if spoken and not child.get("requiredExtensions") and child.tag != "foreignObject":
            return (child,)
    return ()


def _stroke_style(style: Style, width: float, diagonal: float) -> Stroke:
    cap, join = style.get("stroke-linecap", "butt"), style.get("stroke-linejoin", "miter")
    size = _font_size(style)
    text = style.get("stroke-dasharray", "none")
    parts = [length_px(t, diagonal, size) for t in text.replace(",", " ").split()]
    lengths = [p for p in parts if p is not None and p >= 0]
    dashes = tuple(lengths) if len(lengths) == len(parts) and sum(lengths) > 0 else ()
    if len(dashes) % 2:
        dashes = dashes * 2
    miter = length_px(style.get("stroke-miterlimit"), 0.0)
    return Stroke(
        width,
        "round" if cap == "round" else "square" if cap == "square" else "butt",
        "round" if join == "round" else "bevel" if join == "bevel" else "miter",
        miter if miter is not None and miter >= 1 else 4.0,
        dashes,
        length_px(style.get("stroke-dashoffset"), diagonal, size) or 0.0,
    )


def _font_size(style: Style) -> float:
    return length_px(style.get("font-size"), 16.0) or 16.0


def _mapped(path: SubPath, by: Affine) -> SubPath:
    return SubPath(by(path.start), by.segments(path.segments), path.closed)


def _sane(path: SubPath) -> bool:
    """Whether all of it lies within what floats can hold with sense."""
    return all(max(abs(s.start), abs(s.end)) < 1e9 for s in path.segments) and abs(path.start) < 1e9


def _has_text(element: Element) -> bool:
    return any((text or "").strip() for text in element.itertext())
