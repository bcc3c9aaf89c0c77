"""The silhouette from the pixels of a rendered drawing, for what can't be worked out from its marks."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import binary_dilation, binary_erosion, convolve, maximum_filter
from shapely import MultiPolygon

from cutout.geom.curve import ComplexArray, Similarity
from cutout.geom.outline import Note, Outline
from cutout.read.options import ReadOptions
from cutout.read.svg.document import Document
from cutout.read.svg.exact import Figure, colour_notes, ground_notes, inverted
from cutout.read.svg.number import MM_PER_PX
from cutout.read.svg.page import DARK, NEAR, Ground
from cutout.read.svg.plain import without_shading
from cutout.read.svg.render import COARSE_SIDE, Box, Grey, Rendering, render
from cutout.read.svg.style import Colour
from cutout.read.svg.walk import Drawing
from cutout.trace.iso import IsoLines, iso_lines
from cutout.trace.rings import fit_lines

FINE = 2.0
"""Pixels to one tolerance on the wood: an edge is found to a tenth of a pixel, this leaves room to spare."""

SIDES = (600, 1600)
"""Fewest and most pixels along the longer side of what is rendered for tracing."""

LEAST_SPECK = 3.0
"""Rings less than this across (px) say nothing about a shape, whatever their size on the wood."""

MOST_POINTS = 12_000
"""Points in all lines that are fitted in seconds; beyond, fewer pixels serve, down to the fewest."""

AROUND = np.ones((3, 3), dtype=bool)
"""A pixel and its eight neighbours."""

Mask = NDArray[np.bool_]


def painted_traced(document: Document, drawing: Drawing, name: str, options: ReadOptions) -> Figure:
    """Whatever differs from the page's colour: white, or the one that runs round the rim."""
    plain = without_shading(document, drawing)
    page = render(plain, drawing, name, side=COARSE_SIDE)
    box = page.drawn()
    if box is None:  # Nothing but shading: then that is the figure.
        plain = document
        page = render(plain, drawing, name, side=COARSE_SIDE)
        box = page.drawn()
    if box is None:
        return Figure(MultiPolygon())
    ground = None if options.invert is False or drawing.page is None else _rim_ground(page)
    swap = options.invert is True and not (ground and ground.is_dark)
    whole = ground is not None or options.invert is True or drawing.page is None

    def draw(side: int) -> tuple[Rendering, Grey]:
        fine = render(plain, drawing, name, side=side, box=None if whole else box)
        mask, away = _figure_mask(fine, ground)
        field = coverage(mask, away, fine.opaque)
        return fine, np.asarray(1 - field, dtype=np.float32) if swap else field

    mask, _ = _figure_mask(page, ground)
    notes = [_rendered(drawing.beyond)]
    if float(page.over_white[mask].min(initial=1.0)) > 1 - NEAR:
        notes.append(Note("light drawing", "the drawing is white: whatever is painted counts as the figure."))
    notes += [*ground_notes(ground, options), *colour_notes(float((page.light[mask] < DARK).mean()))]
    return _figure(draw, _side(box, drawing, options), 0.5, notes, drawing, options)


def darker_traced(
    document: Document,
    drawing: Drawing,
    name: str,
    level: float,
    beyond: dict[str, int],
    options: ReadOptions,
) -> Figure:
    """Whatever is darker than the level; light on dark where the dark runs round the page."""
    page = render(document, drawing, name, side=COARSE_SIDE)
    box = page.drawn()
    if box is None:
        return Figure(MultiPolygon())
    painted_light = bool(((page.light >= level) & (page.opaque > 0.5)).any())
    dark_rim = bool((page.rim(page.light) < level).mean() >= 0.95) and painted_light
    light = options.invert is True or (options.invert is None and dark_rim)
    whole = light or drawing.page is None

    def draw(side: int) -> tuple[Rendering, Grey]:
        fine = render(document, drawing, name, side=side, box=None if whole else box)
        return fine, fine.light if light else 1 - fine.light

    notes = [_rendered(beyond), *(inverted(options) if light else ())]
    edge = level if light else 1 - level
    return _figure(draw, _side(box, drawing, options), edge, notes, drawing, options)


def _figure_mask(fine: Rendering, ground: Ground | None) -> tuple[Mask, Grey]:
    """Pixels that hold any of the figure, and how far each is from the page; in a white drawing, its opacity."""
    for away in _differences(fine, ground):
        if (away >= NEAR).any():
            return away >= NEAR, away
    return fine.opaque >= 0.5, fine.opaque


def coverage(mask: Mask, away: Grey, opaque: Grey) -> Grey:
    """How much of each pixel the figure covers, (h, w) 0..1.

    mask: pixels that hold any of the figure. away: their difference from the page's colour. opaque: their
    opacity. A pixel on the figure's edge mixes it with the page; how far its colour, or on a transparent
    page its opacity, has come towards that of the pixels further in says how much of each.
    """
    inner = mask & binary_erosion(mask, AROUND, border_value=1)
    edge = binary_dilation(mask, AROUND) & ~inner
    clear = edge & (opaque < 0.99)
    seen = np.where(clear, opaque, away)
    full = np.maximum(np.where(clear, _further_in(opaque, inner, mask), _further_in(away, inner, mask)), NEAR)
    return np.asarray(np.where(edge, np.clip(seen / full, 0, 1), mask), dtype=np.float32)


def _further_in(values: Grey, inner: Mask, mask: Mask) -> Grey:
    """Mean of the inner pixels around each; where there are none, the most of the figure's around it."""
    kernel = np.ones((3, 3), dtype=np.float32)
    total = convolve(np.where(inner, values, 0).astype(np.float32), kernel, mode="nearest")
    count = convolve(inner.astype(np.float32), kernel, mode="nearest")
    most = maximum_filter(np.where(mask, values, 0), size=3)
    return np.asarray(np.where(count > 0.5, total / np.maximum(count, 1), most), dtype=np.float32)


def _differences(fine: Rendering, ground: Ground | None) -> Iterator[Grey]:
    """How far each pixel is from the page's colour: first with white as the page's too, then without it.

    On a light ground whatever lies between it and white is page, for so do the edges of white on it.
    """
    if ground is None:
        yield np.asarray(1 - fine.over_white.min(axis=2), dtype=np.float32)
        return
    (colour,) = ground.colours
    page = np.array(colour.rgb, dtype=np.float32)
    if not ground.is_dark:
        way = 1 - page
        along = np.clip((fine.over_white - page) @ way / max(float(way @ way), 1e-9), 0, 1)
        between = page + along[..., None] * way
        yield np.asarray(np.abs(fine.over_white - between).max(axis=2), dtype=np.float32)
    yield np.asarray(np.abs(fine.over_white - page).max(axis=2), dtype=np.float32)


def _rim_ground(page: Rendering) -> Ground | None:
    """The colour that runs round the page's rim, unless it is white."""
    rim = page.rim(page.over_white)
    colour = np.median(rim, axis=0)
    if (np.abs(rim - colour).max(axis=1) < NEAR).mean() < 0.95:
        return None
    red, green, blue = (float(v) for v in colour)
    ground = Ground(0, (Colour((red, green, blue)),))
    differs = np.abs(page.over_white - colour).max(axis=2) >= NEAR
    return ground if not ground.is_white and differs.any() else None


def _rendered(beyond: dict[str, int]) -> Note:
    return Note(
        "rendered", f"drawn as pixels and traced, because the file uses: {', '.join(sorted(beyond))}."
    )


def _side(box: Box, drawing: Drawing, options: ReadOptions) -> int:
    """Pixels along the longer side that the job needs; the most where its size is not known."""
    width, height = box[2] - box[0], box[3] - box[1]
    if options.width:
        longer = options.width * max(1.0, height / width)
    elif options.height:
        longer = options.height * max(1.0, width / height)
    elif drawing.physical and drawing.page:
        longer = MM_PER_PX * max(width, height)
    else:
        return SIDES[1]
    return int(np.clip(FINE * longer / max(options.tolerance, 1e-3), *SIDES))


def _figure(
    draw: Callable[[int], tuple[Rendering, Grey]],
    side: int,
    level: float,
    notes: list[Note],
    drawing: Drawing,
    options: ReadOptions,
) -> Figure:
    """The figure (1 = figure) traced; drawn with fewer pixels again where its lines are very long."""
    scale = MM_PER_PX if drawing.physical and drawing.page else None
    fine, field = draw(side)
    lines = _lines(fine, field, level, scale, options)
    if lines.count > MOST_POINTS and side > SIDES[0]:
        fine, field = draw(max(SIDES[0], round(side * MOST_POINTS / lines.count)))
        lines = _lines(fine, field, level, scale, options)
    tolerance = float(np.clip(options.tolerance / lines.mm, 0.1, 1.0)) if lines.mm else 0.5
    down = fine.corner.conjugate() - 1j * fine.unit * field.shape[0]
    to_page = Similarity(complex(fine.unit), down)
    rings = tuple(r.transform(to_page) for r in fit_lines(lines.found, tolerance, options.smooth))
    return Figure(Outline(rings).region(fine.unit / 20), tuple(notes), None, rings, lines.dropped)


@dataclass(frozen=True, slots=True)
class _Lines:
    """Lines worth fitting, mm per pixel where it is known, and how many specks were left out."""

    found: IsoLines
    mm: float | None
    dropped: int

    @property
    def count(self) -> int:
        return sum(len(z) for z in self.found.lines)


def _lines(fine: Rendering, field: Grey, level: float, scale: float | None, options: ReadOptions) -> _Lines:
    """Lines round the figure without specks; scale: mm per page px where the file states it."""
    found = iso_lines(field, level)
    lines = [z for z in found.lines if len(z) > 3]
    mm = _mm_per_pixel(lines, scale * fine.unit if scale else None, options) if lines else None
    least = max(options.speck / mm if mm else 0.0, LEAST_SPECK)
    large = [z for z in lines if max(np.ptp(z.real), np.ptp(z.imag)) >= least]
    return _Lines(replace(found, lines=large), mm, len(lines) - len(large))


def _mm_per_pixel(lines: list[ComplexArray], stated: float | None, options: ReadOptions) -> float | None:
    z = np.concatenate(lines)
    if options.width:
        return options.width / float(np.ptp(z.real))
    if options.height:
        return options.height / float(np.ptp(z.imag))
    return stated
