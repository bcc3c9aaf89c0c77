"""Drawings that are nothing but a picture made of pixels: traced as that picture would be by itself."""

from __future__ import annotations

import io
from dataclasses import replace

import numpy as np
import shapely
from PIL import Image

from cutout.geom.outline import Note, Outline, Ring
from cutout.read.curves import CurveBook
from cutout.read.options import ReadOptions
from cutout.read.svg.affine import FLIP, Affine, translation
from cutout.read.svg.compose import Regions
from cutout.read.svg.document import Document
from cutout.read.svg.number import MM_PER_PX
from cutout.read.svg.page import PaintedRule
from cutout.read.svg.paint import PICTURE
from cutout.read.svg.pasted import Pasted, pasted, pictures_of, refuse_large_pictures
from cutout.read.svg.render import COARSE_SIDE, render, rendered_png
from cutout.read.svg.view import fitted
from cutout.read.svg.walk import Drawing, Placed

SIDES = (600, 4000)
"""Fewest and most pixels along the longer side of what has to be drawn anew."""

SPARE = 0.002
"""Share of its outline by which a clip may fall short of a picture and still show it whole."""


def is_nothing_but_pictures(drawing: Drawing) -> bool:
    """Whether all that a drawing shows are pictures made of pixels, on a white page or none."""
    rule = PaintedRule()
    shows = drawing.pictures or any(m.paint.beyond == PICTURE for m in drawing.marks)
    plain = not set(drawing.beyond) - {PICTURE, "mask", "clip path"}
    white = all(m.paint.beyond == PICTURE or rule.side(m.paint) is False for m in drawing.marks)
    return bool(shows) and plain and white


def read_embedded(document: Document, drawing: Drawing, name: str, options: ReadOptions) -> Outline:
    """The silhouette in the pictures a drawing consists of, in px of its page, y up. Raises ReadError.

    A picture that is shown whole is read from its own pixels; several, or what a clip leaves of one, from the
    page drawn with as many pixels as the largest of them has.
    """
    refuse_large_pictures(document, name)
    scale = MM_PER_PX if drawing.physical and drawing.page else None
    alone = _shown_whole(drawing)
    if alone is None:
        return _from_page(document, drawing, name, options, scale)
    picture, to_page = alone
    mm = scale * abs(to_page.determinant) ** 0.5 if scale else None
    found = _traced(picture.data, name, options, mm)
    said = Note(
        "embedded", "All there is in the drawing is a picture made of pixels: it was traced like any picture."
    )
    if options.corners is not None or options.sheet is not None:
        return replace(found, notes=(said, *found.notes))
    from_top = translation(0.0, picture.size[1]).of(FLIP)
    rings = _mapped(found.rings, FLIP.of(to_page).of(from_top))
    return Outline(rings, scale, (said, *found.notes))


def _traced(data: bytes, name: str, options: ReadOptions, mm: float | None) -> Outline:
    """The silhouette in a picture; mm: what one of its pixels measures."""
    # Loaded by drawings that hold a picture alone: that takes longer than most others take to read.
    from cutout.read.picture.reader import read_picture

    return read_picture(data, name, options, mm)


def _shown_whole(drawing: Drawing) -> tuple[Pasted, Affine] | None:
    """The only picture and where its pixels lie on the page (both y down), if nothing cuts or hides any of it."""
    if set(drawing.beyond) != {PICTURE} or len(drawing.pictures) != 1:
        return None
    (placed,) = drawing.pictures
    picture = pasted(placed.link)
    if picture is None or len(drawing.marks) > placed.over or any(m.paint.beyond for m in drawing.marks):
        return None
    width, height = picture.size
    x, y, across, down = placed.box(width, height)
    if "slice" in placed.aspect:
        return None
    fit = fitted((0.0, 0.0, width, height), placed.aspect, across, down)
    to_page = placed.to_root.of(translation(x, y)).of(fit)
    if abs(to_page.determinant) < 1e-18 or _is_cut(placed, to_page, (width, height)):
        return None
    return picture, to_page


def _is_cut(placed: Placed, to_page: Affine, size: tuple[int, int]) -> bool:
    """Whether a clip hides any of a picture."""
    flip = FLIP.of(to_page)
    ends = [flip(complex(x, y)) for x, y in ((0, 0), (size[0], 0), size, (0, size[1]))]
    shown = shapely.Polygon([(z.real, z.imag) for z in ends])
    spare = SPARE * shown.length
    regions = Regions(CurveBook(spare / 10))
    return any(not shapely.covers(shapely.buffer(regions.clip(c), spare), shown) for c in placed.clips)


def _from_page(
    document: Document, drawing: Drawing, name: str, options: ReadOptions, scale: float | None
) -> Outline:
    """Read from the page drawn as pixels; places in a picture's pixels mean nothing there."""
    longest = max((max(picture.size) for picture in pictures_of(document)), default=0)
    side = min(max(longest, SIDES[0]), SIDES[1])
    box = render(document, drawing, name, side=COARSE_SIDE).drawn() if drawing.page else None
    png, unit = rendered_png(document, drawing, name, side=side, box=box)
    png, left, height = _cropped(png)
    corner = complex(box[0], box[1]) if box else 0j
    corner += left * unit
    plain = replace(options, corners=None, sheet=None, touched=(), marked=(), crop=None, within=None)
    found = _traced(png, name, plain, scale * unit if scale else None)
    said = Note(
        "embedded", "All there is in the drawing are pictures made of pixels: they were drawn and traced."
    )
    notes = [said]
    if options.by_hand or options.corners is not None or options.sheet is not None:
        text = (
            "corners, sheet, touched, crop, marked and within count in the pixels of a single picture that nothing "
            "cuts: take the picture out of the drawing to use them."
        )
        notes.append(Note("option", text))
    at = corner.conjugate() - 1j * unit * height
    return Outline(_mapped(found.rings, Affine(complex(unit), 0j, at)), scale, (*notes, *found.notes))


def _cropped(png: bytes) -> tuple[bytes, complex, int]:
    """A PNG without its clear rim if all within is opaque, its corner in the old one (x + iy), and its height.

    A photo cut along straight sides was cropped; what is clear otherwise stays so and says what the shape is.
    """
    with Image.open(io.BytesIO(png)) as opened:
        image = opened.convert("RGBA")
    alpha = np.asarray(image.getchannel("A"))
    opaque = alpha == 255
    rows, columns = np.flatnonzero(opaque.any(axis=1)), np.flatnonzero(opaque.any(axis=0))
    if not len(rows) or not opaque[rows[0] : rows[-1] + 1, columns[0] : columns[-1] + 1].all():
        return png, 0j, image.height
    inner = image.crop((int(columns[0]), int(rows[0]), int(columns[-1]) + 1, int(rows[-1]) + 1)).convert(
        "RGB"
    )
    out = io.BytesIO()
    inner.save(out, "PNG")
    return out.getvalue(), complex(int(columns[0]), int(rows[0])), inner.height


def _mapped(rings: tuple[Ring, ...], to_page: Affine) -> tuple[Ring, ...]:
    mapped = (Ring(to_page.segments(ring.segments)) for ring in rings)
    return tuple(ring.reversed() if to_page.determinant < 0 else ring for ring in mapped)
