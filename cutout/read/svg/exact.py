"""The silhouette worked out from the marks themselves, with its curves kept."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Protocol

import shapely
from shapely import MultiPolygon, Polygon

from cutout.geom.outline import Note, Ring, as_multi
from cutout.read.curves import CurveBook
from cutout.read.options import ReadOptions
from cutout.read.svg.compose import Regions, extent, paint_over
from cutout.read.svg.number import MM_PER_PX
from cutout.read.svg.page import DARK, NEAR, Ground, PaintedRule, distance, fades, ground_of, page_box, rules
from cutout.read.svg.paint import Paint, tone
from cutout.read.svg.shading import with_bodies
from cutout.read.svg.walk import Drawing, Mark

FLATTENING_SHARE = 1 / 80_000
"""Flattening tolerance against the longer side, where the size on the wood is not known: 0.005 mm on 400."""

WORTH_SAYING = 0.05
"""Share of the figure's area from which on it is worth a note."""

HARDLY = 0.03
"""Share of all that is drawn under which what does not fade is no figure by itself."""

Layers = list[tuple[shapely.Geometry, bool]]


@dataclass(frozen=True, slots=True)
class Figure:
    """The figure found; rings where it was traced, else a region with the curves it is made of."""

    region: MultiPolygon
    notes: tuple[Note, ...] = ()
    book: CurveBook | None = None
    rings: tuple[Ring, ...] = ()
    dropped: int = 0


class Rule(Protocol):
    """Decides what a paint does to the figure."""

    def side(self, paint: Paint) -> bool | None:
        """True: figure; False: clears to background; None: changes nothing."""


@dataclass(frozen=True, slots=True)
class DarkRule:
    """The silhouette is whatever is darker than a grey level 0..1 on a white page."""

    level: float

    def side(self, paint: Paint) -> bool | None:
        """By the side of the level it is on over white and over black alike."""
        found = tone(paint, self.level)
        return None if found == "through" else found == "dark"


def painted(drawing: Drawing, options: ReadOptions) -> Figure:
    """Whatever is painted in another colour than the page's; by the first rule that shows anything."""
    box = extent(drawing.marks) or (0.0, 0.0, 1.0, 1.0)
    coarse = Regions(CurveBook(1e-4 * max(box[2] - box[0], box[3] - box[1], 1e-6)))
    ground = None if options.invert is False else ground_of(drawing, coarse)
    marks = drawing.marks[ground.index + 1 :] if ground else drawing.marks
    for rule, text in rules(ground):
        if isinstance(rule, PaintedRule) and not rule.fading:
            marks = with_bodies(marks, rule, coarse)
        work = _Work.of(drawing, marks, rule, options)
        figure = work.on_page(drawing, paint_over(work.layers))
        if figure.region.is_empty or _is_all_shading(marks, rule, figure.region, coarse):
            continue
        notes = [*figure.notes, *([Note("light drawing", text)] if text else [])]
        notes += [*ground_notes(ground, options), *work.colours(figure.region)]
        if isinstance(rule, PaintedRule):
            notes += [*work.shadows(drawing, marks, rule, figure.region)]
        if options.invert is True and not (ground and ground.is_dark):
            region = as_multi(shapely.difference(_ground_box(drawing, figure.region), figure.region))
            return Figure(region, tuple(notes), work.book)
        notes += [*_whole_page(drawing, figure.region, work)]
        return Figure(figure.region, tuple(notes), work.book)
    return Figure(MultiPolygon())


def darker(drawing: Drawing, level: float, options: ReadOptions) -> Figure:
    """Whatever is darker than the level; light on dark where the dark runs round the page."""
    work = _Work.of(drawing, drawing.marks, DarkRule(level), options)
    figure = work.on_page(drawing, paint_over(work.layers))
    ground = _ground_box(drawing, figure.region)
    if options.invert is True or (options.invert is None and _is_ground(figure.region, ground, work.layers)):
        region = as_multi(shapely.difference(ground, figure.region))
        return Figure(region, (*figure.notes, *inverted(options)), work.book)
    return figure


@dataclass(frozen=True, slots=True)
class _Work:
    """The marks that matter under a rule, and the region and side of each."""

    marks: list[Mark]
    layers: Layers
    book: CurveBook
    regions: Regions

    @classmethod
    def of(cls, drawing: Drawing, marks: list[Mark], rule: Rule, options: ReadOptions) -> _Work:
        sides = [(mark, side) for mark in marks if (side := rule.side(mark.paint)) is not None]
        shown = [mark for mark, side in sides if side]
        book = CurveBook(_tolerance(drawing, shown, options))
        regions = Regions(book)
        layers = [(regions.of(mark), side) for mark, side in sides] if shown else []
        return cls([mark for mark, _ in sides], layers, book, regions)

    def on_page(self, drawing: Drawing, region: MultiPolygon) -> Figure:
        """What of the region lies on the page."""
        page = page_box(drawing)
        if drawing.page is None or shapely.covers(page, region):
            return Figure(region, (), self.book)
        inside = as_multi(shapely.intersection(region, page))
        cut = inside.area < 0.999 * region.area
        note = Note("page", "part of the drawing lies off its page and was left out.")
        return Figure(inside, (note,) if cut else (), self.book)

    def colours(self, figure: MultiPolygon) -> Iterator[Note]:
        """Says what counted where strong darks and lighter colours are painted side by side."""
        dark = [side and is_dark(mark.paint) for mark, (_, side) in zip(self.marks, self.layers, strict=True)]
        if dark == [side for _, side in self.layers] or not any(dark):
            return
        shown = paint_over([(region, d) for (region, _), d in zip(self.layers, dark, strict=True)])
        yield from colour_notes(shapely.intersection(shown, figure).area / figure.area)

    def shadows(
        self, drawing: Drawing, marks: list[Mark], rule: PaintedRule, figure: MultiPolygon
    ) -> Iterator[Note]:
        """Says so where soft shading that was left out would have made the figure larger."""
        soft = [mark for mark in marks if fades(mark.paint)] if not rule.fading else []
        beside = [mark for mark in soft if PaintedRule(rule.page, rule.near, fading=True).side(mark.paint)]
        if not beside:
            return
        region = shapely.intersection(
            shapely.union_all([self.regions.of(m) for m in beside]), page_box(drawing)
        )
        if shapely.difference(region, figure).area > WORTH_SAYING * figure.area:
            yield Note(
                "shading", "soft shading that fades to nothing was left out; threshold 235 takes it in."
            )


def _is_all_shading(marks: list[Mark], rule: Rule, figure: MultiPolygon, coarse: Regions) -> bool:
    """Whether nearly all that is drawn fades to nothing: then that is the figure, not its shadow."""
    if not isinstance(rule, PaintedRule) or rule.fading or not any(fades(mark.paint) for mark in marks):
        return False
    counts = replace(rule, fading=True)
    layers = [(coarse.of(mark), side) for mark in marks if (side := counts.side(mark.paint)) is not None]
    return bool(figure.area < HARDLY * paint_over(layers).area)


def is_dark(paint: Paint) -> bool:
    """Whether it is a strong dark on average over its shades, on white."""
    greys = [s.alpha * s.grey + 1 - s.alpha for s in paint.shades]
    return sum(greys) < DARK * len(greys)


def colour_notes(dark: float) -> Iterator[Note]:
    """What to say where the share `dark` of the figure is darker than middle grey."""
    if WORTH_SAYING < dark < 1 - WORTH_SAYING:
        text = (
            f"everything painted counts as the figure, white apart; {1 - dark:.0%} of it is lighter than "
            "middle grey. Threshold 128 keeps the dark parts alone, another grey those darker than it; invert "
            "swaps figure and background."
        )
        yield Note("colours", text)


def ground_notes(ground: Ground | None, options: ReadOptions) -> Iterator[Note]:
    """What to say about a page painted in one colour."""
    if ground is None or ground.is_white:
        return
    if not ground.is_dark:
        text = "the colour that fills the page counts as background; no-invert makes it part of the figure."
        yield Note("ground", text)
        return
    yield from inverted(options)


def inverted(options: ReadOptions) -> Iterator[Note]:
    """What to say about light shapes on a dark ground where nobody asked for them."""
    if not options.invert:
        yield Note("light on dark", "light shapes on a dark ground: the light shapes count as the figure.")


def _whole_page(drawing: Drawing, figure: MultiPolygon, work: _Work) -> Iterator[Note]:
    """Says so where shapes of several colours together fill the page to its rim."""
    colours = [
        c for m, (_, side) in zip(work.marks, work.layers, strict=True) if side for c in m.paint.shades
    ]
    if drawing.page is None or all(distance(c, colours[0]) < NEAR for c in colours):
        return
    rim = page_box(drawing).exterior
    if shapely.intersection(figure, rim).length > 0.95 * rim.length:
        text = (
            "the drawing is painted to the rim of its page, so that the figure's outline is the page's: take "
            "the background out of the drawing, or choose a threshold."
        )
        yield Note("border", text)


def _ground_box(drawing: Drawing, figure: MultiPolygon) -> Polygon:
    if drawing.page:
        return page_box(drawing)
    return shapely.box(*figure.bounds) if not figure.is_empty else Polygon()


def _is_ground(dark: MultiPolygon, ground: Polygon, layers: Layers) -> bool:
    """Whether the dark runs along the rim of the ground while light shapes are painted on it."""
    rim = ground.exterior
    if dark.is_empty or shapely.intersection(dark, rim).length < 0.95 * rim.length:
        return False
    return any(not is_dark and shapely.intersects(region, ground) for region, is_dark in layers)


def _tolerance(drawing: Drawing, marks: list[Mark], options: ReadOptions) -> float:
    """Flattening tolerance in px of the page: half of 0.01 mm on the wood, or a share of the drawing."""
    box = extent(marks) or (0.0, 0.0, 1.0, 1.0)
    width, height = box[2] - box[0], box[3] - box[1]
    if drawing.page:
        width, height = min(width, drawing.page[0]), min(height, drawing.page[1])
    fine = max(width, height) * FLATTENING_SHARE
    if options.width:
        fine = 0.005 * width / options.width
    elif options.height:
        fine = 0.005 * height / options.height
    elif drawing.physical:
        fine = 0.005 / MM_PER_PX
    return max(fine, 1e-6 * max(width, height), 1e-9)
