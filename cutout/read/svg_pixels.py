"""The silhouette from the pixels of a rendered drawing, for what can't be worked out from its marks."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import binary_dilation, binary_erosion, convolve, maximum_filter
from shapely import MultiPolygon

from cutout.geom.curve import ComplexArray, Similarity
from cutout.geom.outline import Note, Outline, Ring
from cutout.read.iso import iso_lines
from cutout.read.options import ReadOptions
from cutout.read.svg_document import Document
from cutout.read.svg_exact import Figure, colour_notes, ground_notes, inverted
from cutout.read.svg_number import MM_PER_PX
from cutout.read.svg_page import DARK, NEAR, Ground
from cutout.read.svg_plain import without_shading
from cutout.read.svg_render import COARSE_SIDE, Box, Grey, Rendering, render
from cutout.read.svg_style import Colour
from cutout.read.svg_walk import Drawing
from cutout.read.trace import fit_lines

FINE = 2.0
"""Pixels to one tolerance on the wood: an edge is found to a tenth of a pixel, this leaves room to spare."""

SIDES = (600, 1600)
"""Fewest and most pixels along the longer side of what is rendered for tracing."""

LEAST_SPECK = 3.0
"""Rings less than this across (px) say nothing about a shape, whatever their size on the wood."""

AROUND = np.ones((3, 3), dtype=bool)

Mask = NDArray[np.bool_]


def painted_traced(document: Document, drawing: Drawing, name: str, options: ReadOptions) -> Figure:
    """Whatever differs from the page's colour: white, or the one that runs round the rim."""
    plain = without_shading(document, drawing)
    page = render(plain, drawing, name, side=COARSE_SIDE)
    box = page.drawn()
    if box is None:
        return Figure(MultiPolygon())
    ground = None if options.invert is False or drawing.page is None else _rim_ground(page)
    whole = ground is not None or options.invert is True or drawing.page is None
    fine = render(plain, drawing, name, side=_side(box, drawing, options), box=None if whole else box)
    notes = [_rendered(drawing.beyond)]
    for away in _differences(fine, ground):
        mask = away >= NEAR
        if mask.any():
            break
    else:
        away, mask = fine.opaque, fine.opaque >= 0.5
        notes.append(Note("light drawing", "the drawing is white: whatever is painted counts as the figure."))
    notes += [*ground_notes(ground, options), *colour_notes(float((fine.light[mask] < DARK).mean()))]
    field = coverage(mask, away, fine.opaque)
    if options.invert is True and not (ground and ground.is_dark):
        field = np.asarray(1 - field, dtype=np.float32)
    return _figure(fine, field, 0.5, notes, drawing, options)


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
    fine = render(document, drawing, name, side=_side(box, drawing, options), box=None if whole else box)
    notes = [_rendered(beyond)]
    if light:
        return _figure(fine, fine.light, level, [*notes, *inverted(options)], drawing, options)
    return _figure(fine, 1 - fine.light, 1 - level, notes, drawing, options)


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
    fine: Rendering, field: Grey, level: float, notes: list[Note], drawing: Drawing, options: ReadOptions
) -> Figure:
    scale = MM_PER_PX if drawing.physical and drawing.page else None
    rings, dropped = _rings(fine, field, level, scale, options)
    return Figure(Outline(rings).region(fine.unit / 20), tuple(notes), None, rings, dropped)


def _rings(
    fine: Rendering, field: Grey, level: float, scale: float | None, options: ReadOptions
) -> tuple[tuple[Ring, ...], int]:
    """Rings round the figure (1 = figure) of a rendering, and how many specks were left out before fitting.

    Page px, y up, the page's top left at the origin. scale: mm per page px where the file states it.
    """
    found = iso_lines(field, level)
    lines = [z for z in found.lines if len(z) > 3]
    if not lines:
        return (), 0
    mm = _mm_per_pixel(lines, scale * fine.unit if scale else None, options)
    least = max(options.speck / mm if mm else 0.0, LEAST_SPECK)
    large = [z for z in lines if max(np.ptp(z.real), np.ptp(z.imag)) >= least]
    tolerance = float(np.clip(options.tolerance / mm, 0.1, 1.0)) if mm else 0.5
    rings = fit_lines(replace(found, lines=large), tolerance, options.smooth)
    down = fine.corner.conjugate() - 1j * fine.unit * field.shape[0]
    to_page = Similarity(complex(fine.unit), down)
    return tuple(ring.transform(to_page) for ring in rings), len(lines) - len(large)


def _mm_per_pixel(lines: list[ComplexArray], stated: float | None, options: ReadOptions) -> float | None:
    z = np.concatenate(lines)
    if options.width:
        return options.width / float(np.ptp(z.real))
    if options.height:
        return options.height / float(np.ptp(z.imag))
    return stated
