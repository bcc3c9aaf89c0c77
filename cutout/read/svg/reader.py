"""SVG and SVGZ files: the silhouette they paint, with its curves kept."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from shapely import MultiPolygon

from cutout.errors import Length, ReadError
from cutout.geom.outline import Note, Outline, Ring
from cutout.read.options import ReadOptions
from cutout.read.specks import is_hairline, is_speck, without_specks
from cutout.read.svg.document import Document, parse_document
from cutout.read.svg.embedded import is_nothing_but_pictures, read_embedded
from cutout.read.svg.exact import Figure, darker, painted
from cutout.read.svg.number import MM_PER_PX
from cutout.read.svg.paint import steady, tone
from cutout.read.svg.render import shows_text
from cutout.read.svg.walk import Drawing, Mark, walk
from cutout.units import count

_TEXT_LOST = (
    "its text does not show: no font on this machine draws it, or it is hidden; "
    "turn it into paths in the program that drew it."
)


def read_svg(data: bytes, name: str, options: ReadOptions) -> Outline:
    """The silhouette in an SVG or gzipped SVG, in px of its page, y up; `scale` where it states a true size.

    Raises ReadError when it is no readable SVG, too large, or paints nothing.
    """
    document = parse_document(data, name)
    drawing = walk(document, name)
    if not drawing.marks and not drawing.beyond:
        raise ReadError(f"{name}: {_why_empty(drawing, document)}")
    if is_nothing_but_pictures(drawing):
        found = read_embedded(document, drawing, name, options)
        return replace(found, notes=(*found.notes, *_notes(document, drawing, name)))
    figure = _figure(document, drawing, name, options)
    # Without a page a renderer sizes its pixels by what is drawn, and the true size is lost.
    sized = drawing.physical and (figure.book is not None or drawing.page is not None)
    scale = MM_PER_PX if sized else None
    notes = (*figure.notes, *_notes(document, drawing, name), *_idle(options))
    return _finish(figure, scale, notes, name, options)


def _why_empty(drawing: Drawing, document: Document) -> str:
    if drawing.left_out or document.outside:
        return "all it shows is linked from outside or in a form that can't be drawn here; nothing is left."
    return "it paints nothing; is everything in it hidden or without fill and stroke?"


def _figure(document: Document, drawing: Drawing, name: str, options: ReadOptions) -> Figure:
    """The figure by the threshold given, or else whatever is painted."""
    if isinstance(options.threshold, int):
        level = options.threshold / 255
        beyond = drawing.beyond | _beyond_at(drawing.marks, level)
        if beyond:
            # Here and below: loaded by drawings that only pixels can tell alone.
            from cutout.read.svg.pixels import darker_traced

            figure = darker_traced(document, drawing, name, level, beyond, options)
        else:
            figure = darker(drawing, level, options)
        empty = "nothing in it is darker than the threshold, or it lies off the page."
    else:
        if drawing.beyond:
            from cutout.read.svg.pixels import painted_traced

            figure = painted_traced(document, drawing, name, options)
        else:
            figure = painted(drawing, options)
        empty = "nothing in it stands out from the page, or it lies off the page."
    if figure.region.area <= 0:
        if "text" in drawing.beyond and not shows_text(document, drawing, name):
            raise ReadError(f"{name}: {_TEXT_LOST}")
        raise ReadError(*(_all_specks(name, options) if figure.dropped else (f"{name}: {empty}",)))
    return figure


def _beyond_at(marks: list[Mark], level: float) -> dict[str, int]:
    """Paints that only pixels can tell at this level."""
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


def _notes(document: Document, drawing: Drawing, name: str) -> Iterator[Note]:
    if document.outside:
        links = count(
            document.outside, "link to something outside the file was", "links outside the file were"
        )
        yield Note("left out", f"{links} not followed.")
    if "text" in drawing.beyond and not shows_text(document, drawing, name):
        yield Note("left out", _TEXT_LOST)
    for what, many in sorted(drawing.left_out.items()):
        yield Note("left out", f"{what} can't be drawn here and was left out ({many}).")
    if drawing.damaged:
        text = f"{count(drawing.damaged, 'element')} could not be read to the end: drawn as far as it makes sense."
        yield Note("damaged", text)


def _idle(options: ReadOptions) -> Iterator[Note]:
    """Options that do nothing for a drawing."""
    if options.threshold == "local":
        yield Note(
            "option", "a local threshold is for photos; here whatever is painted counts as the figure."
        )
    if options.corners is not None or options.sheet is not None:
        yield Note("option", "corners and sheet are for photos; this drawing needs no straightening.")
    if options.by_hand:
        yield Note(
            "option", "touched, crop, marked and within are for photos; this drawing was taken as it is."
        )


def _finish(
    figure: Figure, scale: float | None, notes: tuple[Note, ...], name: str, options: ReadOptions
) -> Outline:
    """Specks dropped and curves put back."""
    mm = _mm_per_unit(figure.region, scale, options)
    least = options.speck / mm if mm else 0.0
    region, dropped = without_specks(figure.region, least)
    dropped = replace(dropped, specks=dropped.specks + figure.dropped)
    if region.is_empty:
        raise ReadError(*_all_specks(name, options))
    notes = (*notes, *dropped.notes(options.speck))
    if figure.book is not None:
        return Outline(figure.book.rings(region), scale, notes)
    rings = tuple(r for r in figure.rings if not _is_dropped(r, least))
    return Outline(rings, scale, notes)


def _is_dropped(ring: Ring, least: float) -> bool:
    polygon = ring.polygon(least / 20 or 0.01)
    return is_speck(polygon, least) or (ring.area < 0 and is_hairline(polygon, least))


def _all_specks(name: str, options: ReadOptions) -> tuple[str | Length, ...]:
    said = " across at this size: make it larger."
    return f"{name}: every piece of it is less than ", Length(options.speck), said


def _mm_per_unit(region: MultiPolygon, scale: float | None, options: ReadOptions) -> float | None:
    x0, y0, x1, y1 = region.bounds
    if options.width:
        return options.width / (x1 - x0)
    if options.height:
        return options.height / (y1 - y0)
    return scale
