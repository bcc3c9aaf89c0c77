"""SVG and SVGZ files: the dark area they paint, with its curves kept."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import shapely
from shapely import MultiPolygon, Polygon

from cutout.errors import ReadError
from cutout.geom.outline import Note, Outline, Ring, as_multi
from cutout.read.curves import CurveBook
from cutout.read.options import ReadOptions
from cutout.read.specks import counted, is_hairline, is_speck, without_specks
from cutout.read.svg_compose import Regions, extent, paint_over
from cutout.read.svg_document import Document, parse_document
from cutout.read.svg_number import MM_PER_PX
from cutout.read.svg_paint import Paint, steady, tone
from cutout.read.svg_render import COARSE_SIDE, render, traced
from cutout.read.svg_walk import Drawing, Mark, walk

MIDDLE = 0.5
"""Grey that parts dark from light where nobody says otherwise."""

NEARLY_WHITE = 0.96
FLATTENING_SHARE = 1 / 80_000
"""Flattening tolerance against the longer side, where the size on the wood is not known: 0.005 mm on 400."""


@dataclass(frozen=True, slots=True)
class _Figure:
    """The figure at one level; rings where it was traced, else a region with the curves it is made of."""

    region: MultiPolygon
    notes: tuple[Note, ...]
    book: CurveBook | None = None
    rings: tuple[Ring, ...] = ()
    dropped: int = 0


def read_svg(data: bytes, name: str, options: ReadOptions) -> Outline:
    """The silhouette in an SVG or gzipped SVG, in px of its page, y up; `scale` where it states a true size.

    Raises ReadError when it is no readable SVG, too large, or paints nothing.
    """
    document = parse_document(data, name)
    drawing = walk(document, name)
    if not drawing.marks and not drawing.beyond:
        raise ReadError(f"{name}: {_why_empty(drawing, document)}")
    figure = _figure(document, drawing, name, options)
    # Without a page a renderer sizes its pixels by what is drawn, and the true size is lost.
    sized = drawing.physical and (figure.book is not None or drawing.page is not None)
    scale = MM_PER_PX if sized else None
    notes = (*figure.notes, *_notes(document, drawing, options))
    return _finish(figure, scale, notes, name, options)


def _why_empty(drawing: Drawing, document: Document) -> str:
    if drawing.left_out or document.outside:
        return "all it shows is linked from outside or in a form that can't be drawn here; nothing is left."
    return "it paints nothing; is everything in it hidden or without fill and stroke?"


def _figure(document: Document, drawing: Drawing, name: str, options: ReadOptions) -> _Figure:
    """The figure at the given level, or at the first automatic level that shows anything."""
    for level, note in _levels(drawing, options):
        beyond = drawing.beyond | _beyond_at(drawing.marks, level)
        if beyond:
            figure = _traced(document, drawing, name, level, beyond, options)
        else:
            figure = _exact(drawing, level, options)
        if figure.region.area > 0:
            return replace(figure, notes=(*figure.notes, *note))
        if figure.dropped:
            raise ReadError(_all_specks(name, options))
    raise ReadError(f"{name}: nothing in it is dark enough to be a silhouette, or it lies off the page.")


def _levels(drawing: Drawing, options: ReadOptions) -> Iterator[tuple[float | None, tuple[Note, ...]]]:
    """Levels to try in turn; None counts everything painted."""
    if isinstance(options.threshold, int):
        yield options.threshold / 255, ()
        return
    yield MIDDLE, ()
    over_white = [s.alpha * s.grey + 1 - s.alpha for m in drawing.marks for s in m.paint.shades]
    tinted = [grey for grey in over_white if MIDDLE <= grey < NEARLY_WHITE]
    text = "everything in the drawing is light: whatever is not white counts as the figure."
    lifted = max(NEARLY_WHITE, (max(tinted, default=0.0) + 1) / 2)
    yield lifted, (Note("light drawing", text),)
    yield None, (Note("light drawing", "the drawing is white: whatever is painted counts as the figure."),)


def _beyond_at(marks: list[Mark], level: float | None) -> dict[str, int]:
    """Paints that only pixels can tell at this level."""
    if level is None:
        return {}
    found: dict[str, int] = {}
    by_tone = [(tone(m.paint, level), m.paint) for m in marks]
    mixed = sum(t == "mixed" for t, _ in by_tone)
    if mixed:
        found["shading from dark to light"] = mixed
    through = [paint for t, paint in by_tone if t == "through"]
    grounds = {1.0} | {s.grey for t, p in by_tone if t != "through" for s in p.shades}
    if len(through) > 1 or any(not steady(p, grounds, level) for p in through):
        found["part-transparent paint"] = len(through)
    return found


def _exact(drawing: Drawing, level: float | None, options: ReadOptions) -> _Figure:
    """The dark region from the marks themselves."""
    painted = [(mark, _is_dark(mark.paint, level)) for mark in drawing.marks]
    dark_marks = [mark for mark, dark in painted if dark]
    book = CurveBook(_tolerance(drawing, dark_marks, options))
    regions = Regions(book)
    marks = [mark for mark, dark in painted if dark is not None]
    layers = [(regions.of(mark), bool(_is_dark(mark.paint, level))) for mark in marks] if dark_marks else []
    dark = paint_over(layers)
    notes: list[Note] = []
    page = shapely.box(0, -drawing.page[1], drawing.page[0], 0) if drawing.page else None
    if page is not None and not shapely.covers(page, dark):
        inside = as_multi(shapely.intersection(dark, page))
        if inside.area < 0.999 * dark.area:
            notes.append(Note("page", "part of the drawing lies off its page and was left out."))
        dark = inside
    ground = page if page is not None else shapely.box(*dark.bounds) if not dark.is_empty else Polygon()
    if options.invert is True or (options.invert is None and _is_ground(dark, ground, layers)):
        dark = as_multi(shapely.difference(ground, dark))
        notes.extend(_inverted(options))
    elif not isinstance(options.threshold, int) and level == MIDDLE:
        notes.extend(_light_parts(marks, layers, dark, ground))
    return _Figure(dark, tuple(notes), book)


def _light_parts(
    marks: list[Mark], layers: list[tuple[shapely.Geometry, bool]], dark: MultiPolygon, ground: Polygon
) -> Iterator[Note]:
    """Says so where much of a coloured drawing is too light to count."""
    tinted = [_is_dark(mark.paint, NEARLY_WHITE) is True for mark in marks]
    if tinted == [is_dark for _, is_dark in layers] or dark.is_empty:
        return
    shown = paint_over([(region, t) for (region, _), t in zip(layers, tinted, strict=True)])
    yield from _too_light(1 - dark.area / shapely.intersection(shown, ground).area)


def _too_light(part: float) -> Iterator[Note]:
    if part > 0.05:
        text = (
            f"{part:.0%} of what is painted is lighter than middle grey and counts as background; "
            f"threshold {NEARLY_WHITE * 255:.0f} takes it in."
        )
        yield Note("light parts", text)


def _is_dark(paint: Paint, level: float | None) -> bool | None:
    """Whether a paint counts as dark; None where it changes nothing."""
    if level is None:
        return True
    found = tone(paint, level)
    return None if found == "through" else found == "dark"


def _is_ground(dark: MultiPolygon, ground: Polygon, layers: list[tuple[shapely.Geometry, bool]]) -> bool:
    """Whether the dark runs along the rim of the ground while light shapes are painted on it."""
    rim = ground.exterior
    if dark.is_empty or shapely.intersection(dark, rim).length < 0.95 * rim.length:
        return False
    return any(not is_dark and shapely.intersects(region, ground) for region, is_dark in layers)


def _inverted(options: ReadOptions) -> list[Note]:
    if options.invert:
        return []
    return [Note("light on dark", "light shapes on a dark ground: the light shapes count as the figure.")]


def _traced(
    document: Document,
    drawing: Drawing,
    name: str,
    level: float | None,
    beyond: dict[str, int],
    options: ReadOptions,
) -> _Figure:
    """The figure from pixels: a coarse look at the page first, then only the part that is drawn on, finely."""
    named = ", ".join(sorted(beyond))
    notes = [Note("rendered", f"drawn as pixels and traced, because the file uses: {named}.")]
    page = render(document, drawing, name, side=COARSE_SIDE)
    inverted = level is not None and (
        options.invert is True or (options.invert is None and page.dark_edge(level))
    )
    box = page.drawn()
    if box is None:
        return _Figure(MultiPolygon(), ())
    fine = render(document, drawing, name, box=None if inverted or drawing.page is None else box)
    scale = MM_PER_PX if drawing.physical and drawing.page else None
    if level is None:
        rings, dropped = traced(fine, fine.opaque, 0.5, scale, options)
    elif inverted:
        rings, dropped = traced(fine, fine.light, level, scale, options)
        notes.extend(_inverted(options))
    else:
        rings, dropped = traced(fine, 1 - fine.light, 1 - level, scale, options)
        if options.threshold is None:
            notes.extend(
                _too_light(1 - float((page.light < level).sum() / (page.light < NEARLY_WHITE).sum()))
            )
    return _Figure(Outline(rings).region(fine.unit / 20), tuple(notes), None, rings, dropped)


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


def _notes(document: Document, drawing: Drawing, options: ReadOptions) -> Iterator[Note]:
    if document.outside:
        links = counted(
            document.outside, "link to something outside the file was", "links outside the file were"
        )
        yield Note("left out", f"{links} not followed.")
    for what, count in sorted(drawing.left_out.items()):
        yield Note("left out", f"{what} can't be drawn here and was left out ({count}).")
    if drawing.damaged:
        text = (
            f"{drawing.damaged} elements hold something unreadable and were drawn as far as they make sense."
        )
        yield Note("damaged", text)
    if options.threshold == "local":
        yield Note("option", "a local threshold is for photos; here middle grey parts dark from light.")
    if options.corners is not None or options.sheet is not None:
        yield Note("option", "corners and sheet are for photos; this drawing needs no straightening.")


def _finish(
    figure: _Figure, scale: float | None, notes: tuple[Note, ...], name: str, options: ReadOptions
) -> Outline:
    """Specks dropped and counted, curves put back."""
    mm = _mm_per_unit(figure.region, scale, options)
    least = options.speck / mm if mm else 0.0
    region, dropped = without_specks(figure.region, least)
    dropped = replace(dropped, specks=dropped.specks + figure.dropped)
    if region.is_empty:
        raise ReadError(_all_specks(name, options))
    notes = (*notes, *dropped.notes(options.speck))
    if figure.book is not None:
        return Outline(figure.book.rings(region), scale, notes)
    rings = tuple(r for r in figure.rings if not _is_dropped(r, least))
    return Outline(rings, scale, notes)


def _is_dropped(ring: Ring, least: float) -> bool:
    polygon = ring.polygon(least / 20 or 0.01)
    return is_speck(polygon, least) or (ring.area < 0 and is_hairline(polygon, least))


def _all_specks(name: str, options: ReadOptions) -> str:
    return f"{name}: every piece of it is less than {options.speck:g} mm across at this size: make it larger."


def _mm_per_unit(region: MultiPolygon, scale: float | None, options: ReadOptions) -> float | None:
    x0, y0, x1, y1 = region.bounds
    if options.width:
        return options.width / (x1 - x0)
    if options.height:
        return options.height / (y1 - y0)
    return scale
