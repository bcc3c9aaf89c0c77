"""Raster pictures in, an outline out: decoded, straightened, split into figure and background, traced."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace

import numpy as np

from cutout.errors import NoFigureError, ReadError
from cutout.geom.curve import ComplexArray, FloatArray
from cutout.geom.outline import Note, Outline
from cutout.read.options import ReadOptions
from cutout.read.picture.bends import bends_told
from cutout.read.picture.closed_lines import fill_lines
from cutout.read.picture.decode import Picture, decode
from cutout.read.picture.edge import bends_restored, fit_edges, gap_noise, grain_of, in_light, settled
from cutout.read.picture.ends import ends_restored
from cutout.read.picture.figure import Field, border_notes, find_figure
from cutout.read.picture.marked import Apart, told_apart
from cutout.read.picture.retouch import retouched
from cutout.read.picture.ribs import fit_ribs, settled_ribs
from cutout.read.picture.straight import CLEARLY, GRAINY, SWAYING, TELLING, straighter
from cutout.read.picture.straighten import straightened
from cutout.read.picture.thin import unblurred
from cutout.read.picture.together import found_together
from cutout.read.specks import Share
from cutout.trace.iso import STEPPED, IsoLines, iso_lines
from cutout.trace.rings import fit_lines
from cutout.units import format_length

_LEAST_SPECK = 2.0
"""Rings less than this across (px) are grain, whatever size they would have on the wood."""

_PIXEL_BLUR = 0.15
"""What a pixel's own width adds to the blur (px) that an edge seems to have, about, where it is blurred
itself."""

_LEAST_BLUR = 0.1
"""Sigma (px) of the sharpest edges drawing programs make, beside the pixel's own width."""

_COARSE_PIXEL = 1.0
"""A pixel this large on the wood (mm) is worth a word: its steps and guesses become visible."""


def read_picture(data: bytes, name: str, options: ReadOptions, mm: float | None = None) -> Outline:
    """The silhouette in a picture's bytes; y up, in pixels, or set straight where `options` says how.

    mm: what a pixel measures, where what holds the picture says so; it sizes specks and tolerance only.
    Raises ReadError where the bytes are not a picture or no figure can be told from its background.
    """
    field, found, scale, notes = _lines(data, name, options)
    if not found.lines:
        raise ReadError(f"{name}: there is no figure in this picture: choose another threshold or picture.")
    known = mm if scale is None else scale
    mm_per_px = _mm_per_px(found.lines, known, options)
    least = max(options.speck / mm_per_px, _LEAST_SPECK)
    lines, dropped = _without_specks(found.lines, least, options.speck)
    if not lines:
        raise ReadError(
            f"{name}: everything in this picture is smaller than {format_length(options.speck)}: make the "
            "silhouette larger or keep smaller specks."
        )
    lines, filled = fill_lines(lines, options.fill)
    rings = fit_lines(replace(found, lines=lines), options.tolerance / mm_per_px, options.smooth)
    if not rings:
        raise ReadError(
            f"{name}: the figure is too thin to have an outline: use a larger or sharper picture."
        )
    said = (
        *notes,
        *field.notes,
        *border_notes(field),
        *dropped,
        *filled,
        *_coarse(mm_per_px, known, options),
    )
    return Outline(rings, scale, said)


def _lines(
    data: bytes, name: str, options: ReadOptions
) -> tuple[Field, IsoLines, float | None, tuple[Note, ...]]:
    picture = decode(data, name)
    straight = straightened(picture, name, options)
    if straight is not None:
        # Who straightens a picture photographed it, whether the file still says so or not.
        picture = replace(straight.picture, camera=True)
    apart = told_apart(picture, options, name)
    # Who marks a figure on a busy ground photographed it, too.
    picture = replace(picture, camera=picture.camera or apart is not None)
    field, found = _edges(picture, name, options, apart)
    touched = retouched(field, options, name)
    if touched is not field:
        field, found = touched, replace(iso_lines(touched.values, touched.level), noise=found.noise)
    if straight is None:
        return field, found, None, ()
    *lines, sharp, apexes, rounds = straight.lines([*found.lines, found.sharp, found.apexes, found.rounds])
    found = replace(found, lines=lines, sharp=sharp, apexes=apexes, rounds=rounds)
    return field, found, straight.scale, straight.notes


def _edges(picture: Picture, name: str, options: ReadOptions, apart: Apart | None) -> tuple[Field, IsoLines]:
    """The figure and the lines round it, half-way in codes or in light, as the edges themselves tell."""

    def figure(picture: Picture) -> Field:
        return find_figure(picture, name, options) if apart is None else apart.field(picture)

    field = figure(picture)
    found = iso_lines(field.values, field.level)
    if field.stepped:
        return field, bends_told(field, ends_restored(field, replace(found, noise=STEPPED), field.softened))
    if picture.palette:
        found = replace(found, noise=gap_noise(picture.grey, field.values, field.level, found.blur))
    if field.exact:
        return field, ends_restored(field, found, max(found.blur - _PIXEL_BLUR, _LEAST_BLUR))
    lone = fit_edges(picture.grey, found)
    fit = fit_ribs(picture.grey, found) if lone is None else lone
    light = picture.camera if fit is None else fit.light_mixed(picture.camera)
    sure = fit is not None and fit.sure
    doubtful = fit is None or fit.doubtful
    lit = _lit(picture, figure, found.noise, light and picture.camera) if light or doubtful else None
    if lit is None and light:
        # Shaded drawings may seem to mix light, and show their figure in codes only.
        sure, light = False, False
    # Edges near to one another sway for other reasons, too.
    if lit is not None and doubtful and fit is lone and found.blur < SWAYING:
        waver = straighter(found.lines, lit[1].lines)
        if abs(waver) > (CLEARLY if sure or grain_of(picture.grey) > GRAINY else TELLING):
            sure, light = True, waver > 0
    if light and lit is not None:
        field, found = lit
    sides = settled(field.values, field.level, found)
    if sides is not None:
        field = replace(field, level=sum(sides) / 2, sides=sides)
        found = replace(iso_lines(field.values, field.level), noise=found.noise)
    field, found = _sharpened(field, found, None if lone is None else math.hypot(lone.blur, field.softened))
    return replace(field, notes=(*field.notes, _edge_note(sure, light))), found


def _sharpened(field: Field, found: IsoLines, blur: float | None) -> tuple[Field, IsoLines]:
    """Field and lines with what a Gaussian of `blur` px does to bends, narrow parts and ends taken back;
    where no edge is alone (None), the narrow parts tell the blur and the level."""
    if blur is not None:
        return field, _restored(field, found, blur)
    ribs = settled_ribs(field.values, found)
    if ribs is not None:
        sides = (ribs.low, ribs.high)
        level = replace(field, level=sum(sides) / 2, sides=sides, notes=(*field.notes, *ribs.notes))
        again = replace(iso_lines(level.values, level.level), noise=found.noise)
        # Parts so narrow that they never reach the level are found from where they were seen.
        start = again if len(again.lines) >= len(found.lines) else found
        sharp = _restored(level, start, ribs.blur, ribs.high - ribs.low)
        # Faint lines fall to pieces in noise; then what is seen of them is all there is to go by.
        if len(sharp.lines) <= len(found.lines):
            return level, sharp
    together = found_together(field, found)
    if together is not None:
        field, found, blur = together
    return field, _restored(field, found, blur)


def _restored(field: Field, found: IsoLines, blur: float | None, contrast: float | None = None) -> IsoLines:
    about = max(found.blur - _PIXEL_BLUR, _LEAST_BLUR) if blur is None else blur
    found = bends_restored(found, about)
    return ends_restored(field, unblurred(field, found, blur, contrast), about)


def _lit(
    picture: Picture, figure: Callable[[Picture], Field], noise: float, believed: bool
) -> tuple[Field, IsoLines] | None:
    """Field and lines half-way in light; None where no figure is to be seen so, unless light is believed
    in."""
    try:
        field = figure(in_light(picture))
    except NoFigureError:
        if believed:
            raise
        return None
    return field, replace(iso_lines(field.values, field.level), noise=noise)


def _edge_note(sure: bool, light: bool) -> Note:
    where = (
        "half-way in light, as a lens mixes it"
        if light
        else "half-way between the grey codes, as drawing programs mix them"
    )
    why = (
        "the edges themselves show it"
        if sure
        else "the edges don't tell; " + ("it was taken by a camera" if light else "taken for a drawing")
    )
    return Note("edges", f"Edges were placed {where} ({why}).")


def _mm_per_px(lines: list[ComplexArray], scale: float | None, options: ReadOptions) -> float:
    """Size of a pixel on the wood; 1 where nothing says it."""
    x0, x1, y0, y1 = _spans(lines).T
    size = np.maximum(x1 - x0, y1 - y0)
    large = size > 0.02 * size.max()
    if options.width is not None:
        return options.width / float(x1[large].max() - x0[large].min())
    if options.height is not None:
        return options.height / float(y1[large].max() - y0[large].min())
    return scale if scale is not None else 1.0


def _without_specks(
    lines: list[ComplexArray], least: float, mm: float
) -> tuple[list[ComplexArray], tuple[Note, ...]]:
    """Lines at least `least` px across, and a note that counts the others."""
    x0, x1, y0, y1 = _spans(lines).T
    keep = np.maximum(x1 - x0, y1 - y0) >= least
    if keep.all():
        return lines, ()
    counts = {"speck": 0, "pinhole": 0}
    areas = np.array([_area(z) for z in lines])
    for k in np.flatnonzero(~keep).tolist():
        counts["speck" if areas[k] > 0 else "pinhole"] += 1
    said = " and ".join(f"{n} {what}{'s' if n > 1 else ''}" for what, n in counts.items() if n)
    were = "was" if sum(counts.values()) == 1 else "were"
    note = Note("speck", f"{said} smaller than {{}} {were} left out.", (mm,))
    gone = areas[~keep]
    share = Share(
        int((gone > 0).sum()),
        float(gone.clip(0).sum()),
        int((areas[keep] > 0).sum()),
        float(areas[keep].sum()),
    )
    return [z for z, kept in zip(lines, keep.tolist(), strict=True) if kept], (note, *share.notes(mm))


def _area(z: ComplexArray) -> float:
    """Signed area within a closed line, px^2; above 0 where it runs counter-clockwise."""
    return float((z.conj() * np.roll(z, -1)).imag.sum()) / 2


def _spans(lines: list[ComplexArray]) -> FloatArray:
    """min x, max x, min y, max y of each line; (n, 4)."""
    z = np.concatenate(lines)
    starts = np.cumsum([0, *(len(line) for line in lines[:-1])])
    parts = [f.reduceat(v, starts) for v in (z.real, z.imag) for f in (np.minimum, np.maximum)]
    return np.stack(parts, axis=1)


def _coarse(mm_per_px: float, scale: float | None, options: ReadOptions) -> tuple[Note, ...]:
    known = scale is not None or options.width is not None or options.height is not None
    if not known or mm_per_px <= _COARSE_PIXEL:
        return ()
    text = "One pixel of the picture is {} on the wood: a larger picture would give a truer outline."
    return (Note("coarse picture", text, (mm_per_px,)),)
