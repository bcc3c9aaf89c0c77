"""Figure apart from background: by transparency, by grey or by colour, at a level that can be trusted."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageChops, ImageFilter

from cutout.errors import NoFigureError, ReadError
from cutout.geom.outline import Note
from cutout.read.options import ReadOptions
from cutout.read.picture.classes import Grey, Split, histogram, on_plateaus, quantiles, split_classes
from cutout.read.picture.clear import is_figure
from cutout.read.picture.decode import Picture, as_grey
from cutout.read.picture.light import EVEN, evenness, flattened, paper_light
from cutout.read.picture.veil import covered

_SMALL = 400
"""Decisions are taken on a picture reduced to about this many pixels across."""

_LEAST_CONTRAST = 20.0
"""Codes of 255 between figure and ground below which they can't be told apart. Common practice, no source."""
_TOO_GREY = 0.30
"""Share of pixels between the two classes from which a picture is none of two tones. Common practice, no source."""
_SOFTENING = 0.8
"""Sigma (px) of the blur that melts grain: less than a pixel, so that corners stay. Common practice, no source."""

_CLEARER = 0.002
"""Gain in the share of variance that two classes explain for which the light is divided out."""

_WORTH = 0.1
"""Share of a gain in clarity by which more of the picture may lie between the classes for it."""

_AT_BORDER = 0.10
"""Share of a side of the picture along which a figure may lie before it is worth a word."""


@dataclass(frozen=True)
class Field:
    """Values (h, w) that are high in the figure, the level of its edge, and what was decided on the way.

    stepped: the picture was black and white only, so its edges come in steps of whole pixels. exact: the level
    follows from what was asked or from transparency, not from how grey mixes. softened: sigma (px) of the Gaussian
    the values were blurred by here. sides: what ground and figure settle at, where lone edges have told it. bits:
    which pixels were figure, in a picture of black and white only. clear: the ground is transparent. plateaus: what
    ground and figure settle at away from their edges, where the level lies half-way between.
    """

    values: Grey
    level: float
    notes: tuple[Note, ...] = ()
    stepped: bool = False
    exact: bool = False
    softened: float = 0.0
    sides: tuple[float, float] | None = None
    bits: NDArray[np.bool_] | None = None
    clear: bool = False
    plateaus: tuple[float, float] | None = None

    def settled(self) -> tuple[float, float]:
        """What the values of ground and figure settle at."""
        known = self.sides or self.plateaus
        if known is not None:
            return known
        split = on_plateaus(self.values, split_classes(self.values))
        return split.low, split.high


def find_figure(picture: Picture, name: str, options: ReadOptions) -> Field:
    """The figure of a picture. Raises ReadError where it can't be told from the background."""
    if picture.alpha is not None and _shape_in_alpha(picture):
        return _from_alpha(picture.alpha, name, options)
    colour = _on_white(picture)
    grey = picture.grey if picture.alpha is None else np.asarray(as_grey(colour))
    if isinstance(options.threshold, int):
        return _fixed(grey, options.threshold, name, options)
    if options.threshold is not None or options.invert is not None:
        return _softened(_from_grey(grey, name, options))
    for found in _candidates(colour, grey, name, options):
        field = _softened(found)
        if is_figure(field.values, field.level, _left(field)):
            return field
    raise NoFigureError(
        f"{name}: no clear figure here: what would be traced runs through shades and texture. Mark the figure by a "
        "box round it (within) or by strokes on it and on the ground (marked), crop the picture, or use another one. "
        "With a threshold set by hand it is traced as it is."
    )


def _candidates(colour: Image.Image, grey: Grey, name: str, options: ReadOptions) -> Iterator[Field]:
    """Ways to tell the figure apart, likeliest first; only the first is worked out where it does."""
    ways = _colour_ways(colour, grey) if colour.mode == "RGB" else ((), ())
    for way in ways[0]:
        yield from way()
    refused: ReadError | None = None
    try:
        yield _from_grey(grey, name, options)
    except ReadError as error:
        refused = error
    for way in ways[1]:
        yield from way()
    if refused is not None:
        raise refused


def _left(field: Field) -> float:
    """Sigma of the grain left in a field, in its units."""
    low, high = quantiles(histogram(field.values[::7, ::7]), (0.02, 0.98))
    return 0.0 if field.stepped else _grain(field.values) * max(high - low, 1.0)


def border_notes(field: Field) -> tuple[Note, ...]:
    """Says so where the figure lies along one of the picture's sides over a long stretch.

    Background that was taken for figure does: ground, a wall, a shadow at the edge of a scan. A figure cut off by
    the picture does too, and so may one with a straight foot; hence nothing is left out. A picture with a clear
    ground has no such background; it ends where its figure does.
    """
    if field.clear:
        return ()
    values = field.values
    sides = {"left": values[:, 0], "right": values[:, -1], "top": values[0], "bottom": values[-1]}
    shares = {side: _longest_run(line > field.level) / len(line) for side, line in sides.items()}
    long = [
        f"{side} ({100 * share:.0f} % of that side)" for side, share in shares.items() if share > _AT_BORDER
    ]
    if not long:
        return ()
    text = (
        f"The figure runs off the picture's edge on the {_listed(long)}. That was kept as part of it; if it is "
        "background, crop the picture, or draw round the subject and fill it in."
    )
    return (Note("border", text),)


def _longest_run(inside: NDArray[np.bool_]) -> int:
    steps = np.flatnonzero(np.diff(np.concatenate([[False], inside, [False]])))
    return int((steps[1::2] - steps[::2]).max(initial=0))


def _listed(parts: list[str]) -> str:
    return " and ".join([", ".join(parts[:-1]), parts[-1]] if len(parts) > 1 else parts)


def _shape_in_alpha(picture: Picture) -> bool:
    """Whether the opaque part is the shape, rather than a sheet the shape is drawn on."""
    assert picture.alpha is not None
    alpha = np.asarray(_reduced(picture.alpha))
    opaque = alpha > 127
    if opaque.mean() > 0.995 or not opaque.any():
        return False
    seen = np.asarray(_reduced(as_grey(picture.colour)))[opaque]
    light, dark = (seen > 216).mean(), (seen < 128).mean()
    return not (light > 0.3 and dark > 0.02)


def _from_alpha(alpha: Image.Image, name: str, options: ReadOptions) -> Field:
    values = covered(np.asarray(alpha))
    if options.invert:
        values = 255 - values
    text = "The shape was taken from the picture's transparency."
    return _softened(Field(values, 127.5, (Note("threshold", text),), exact=True, clear=True))


def _on_white(picture: Picture) -> Image.Image:
    if picture.alpha is None:
        return picture.colour
    white = Image.new(picture.colour.mode, picture.colour.size, "white")
    return Image.composite(picture.colour, white, picture.alpha)


def _fixed(values: Grey, threshold: int, name: str, options: ReadOptions) -> Field:
    border = _border(values)
    light = options.invert if options.invert is not None else bool((border <= threshold).mean() > 0.5)
    note = Note("threshold", f"Threshold as given: grey {threshold} of 255, {_sense(light)}.")
    level = float(threshold) + 0.5
    if light:
        return Field(values, level, (note,), exact=True)
    return Field(255 - values, 255.0 - level, (note,), exact=True)


def _from_grey(grey: Grey, name: str, options: ReadOptions) -> Field:
    small = np.asarray(_reduced(Image.fromarray(grey)))
    split = split_classes(small)
    light = options.invert if options.invert is not None else _background_dark(small, split.level)
    even = 1.0
    if split.contrast >= 8:
        lit = paper_light(small, not light)
        even = evenness(lit)
        if options.threshold == "local" or _uneven(small, lit, light, split, even):
            return _local(grey, lit, light, even, name, forced=options.threshold == "local")
    _check(split, name)
    split = on_plateaus(grey, split)
    text = f"One threshold for the whole picture: grey {split.level:.0f} of 255, {_sense(light)}."
    return _oriented(grey, split, light, (Note("threshold", text),))


def _uneven(small: Grey, lit: NDArray[np.float64], light: bool, split: Split, even: float) -> bool:
    """Whether dividing the light out parts figure and background more clearly than leaving it in."""
    if even >= EVEN:
        return False
    flat = split_classes(flattened(small, lit, not light))
    gain = flat.clarity - split.clarity
    return (
        flat.contrast > _LEAST_CONTRAST
        and gain > _CLEARER
        and flat.between <= split.between + max(_CLEARER, _WORTH * gain)
    )


def _local(grey: Grey, lit: NDArray[np.float64], light: bool, even: float, name: str, forced: bool) -> Field:
    flat = flattened(grey, lit, not light)
    split = split_classes(np.asarray(_reduced(Image.fromarray(flat))))
    _check(split, name)
    split = on_plateaus(flat, split)
    why = "as asked" if forced else f"the light falls to {100 * even:.0f} % across the picture"
    share = split.level / 230.0
    text = f"Local threshold ({why}): {100 * share:.0f} % of the paper's brightness nearby, {_sense(light)}."
    # The flattened picture has light paper in either case.
    return _oriented(flat, split, False, (Note("threshold", text),))


_Way = Callable[[], Iterator[Field]]


def _colour_ways(colour: Image.Image, grey: Grey) -> tuple[tuple[_Way, ...], tuple[_Way, ...]]:
    """Ways by colour to be tried before grey, because they part the picture more clearly, and those after it.

    Along the line from the background's colour to the figure's, which keeps edges in proportion; or, for a
    figure of many colours, by the difference from the background.
    """
    small = np.asarray(_reduced(colour)).astype(float)
    border = _border(small)
    ground = np.median(border, axis=0)
    if np.median(np.abs(border - ground).max(axis=1)) > 12:
        return (), ()
    plain = np.asarray(_reduced(Image.fromarray(grey)))
    by_grey = _merit(np.abs(plain.astype(float) - float(np.median(_border(plain)))))
    apart = np.abs(small - ground).max(axis=2)
    by_difference = _merit(apart)
    figure = small[apart > split_classes(apart.astype(np.uint8)).level]
    if len(figure) < 4:
        return (), ()
    way = np.median(figure, axis=0) - ground
    size = float(way @ way)
    if size < _LEAST_CONTRAST**2:
        return (), ()

    def along() -> Iterator[Field]:
        matrix = way * (200.0 / size)
        offset = 20.0 - float(ground @ matrix)
        values = np.asarray(colour.convert("L", (*matrix.tolist(), offset)))
        yield from _told_apart(values, "by colour, half-way between the background's and the figure's")

    def difference() -> Iterator[Field]:
        flat = Image.new("RGB", colour.size, tuple(round(float(v)) for v in ground))
        r, g, b = ImageChops.difference(colour, flat).split()
        values = np.asarray(ImageChops.lighter(ImageChops.lighter(r, g), b))
        yield from _told_apart(values, "by how far its colour is from the background's")

    by_axis = _merit(np.clip(20 + (small - ground) @ way * (200.0 / size), 0, 255))
    if by_axis > 1.25 * by_grey and by_axis >= 0.8 * by_difference:
        return (along,), (difference,)
    if by_difference > 1.25 * by_grey:
        return (difference,), (along,)
    return (), (along, difference)


def _told_apart(values: Grey, how: str) -> Iterator[Field]:
    """The field at the level between its two classes, if they are apart."""
    split = split_classes(np.asarray(_reduced(Image.fromarray(values))))
    if split.contrast >= _LEAST_CONTRAST and split.between <= _TOO_GREY:
        split = on_plateaus(values, split)
        note = Note("threshold", f"The figure was told from the background {how}.")
        yield _oriented(values, split, True, (note,))


def _merit(values: NDArray[np.float64]) -> float:
    """How many times the spread inside the classes their medians are apart."""
    split = split_classes(np.clip(values, 0, 255).astype(np.uint8))
    flat = values.ravel()
    inside = np.where(flat > split.level, np.abs(flat - split.high), np.abs(flat - split.low))
    return split.contrast / (6.0 + float(np.mean(np.minimum(inside, 60))) * 1.5)


def _check(split: Split, name: str) -> None:
    if split.contrast < 8:
        raise ReadError(f"{name}: there is nothing in this picture: use one in which a figure can be seen.")
    muddled = split.clarity < 0.75 and split.between > _TOO_GREY / 2
    if split.contrast < _LEAST_CONTRAST or split.between > _TOO_GREY or muddled:
        raise NoFigureError(
            f"{name}: the figure can't be told from the background: mark it by a box (within) or strokes (marked), "
            "raise the contrast, or draw round the figure with a dark pen and fill it in."
        )


def _background_dark(small: Grey, level: float) -> bool:
    """The border of a picture is background; where it is divided evenly, the larger part of the picture is."""
    share = float((_border(small) <= level).mean())
    if 0.4 < share < 0.6:
        return bool((small <= level).mean() > 0.5)
    return share >= 0.6


def _border(values: NDArray[Any]) -> NDArray[Any]:
    rim = max(1, min(values.shape[:2]) // 100)
    return np.concatenate(
        [
            v.reshape(-1, *values.shape[2:])
            for v in (values[:rim], values[-rim:], values[:, :rim], values[:, -rim:])
        ]
    )


def _oriented(values: Grey, split: Split, light: bool, notes: tuple[Note, ...]) -> Field:
    """The field of values that are split so, its figure the higher ones."""
    low, high, level = split.low, split.high, split.level
    if not light:
        values, low, high, level = 255 - values, 255.0 - high, 255.0 - low, 255.0 - level
    return Field(values, level, notes, plateaus=(low, high) if level == (low + high) / 2 else None)


def _sense(light: bool) -> str:
    return "light figure on dark" if light else "dark figure on light"


def _softened(field: Field) -> Field:
    """Grain and the steps of black-and-white pictures blurred by less than a pixel, before they make islands."""
    grain = _grain(field.values)
    if grain < 0.03:
        return field
    image = Image.fromarray(field.values).filter(ImageFilter.GaussianBlur(_SOFTENING))
    bits = field.values > field.level if grain >= 1.0 else None
    return replace(
        field,
        values=np.asarray(image),
        stepped=bits is not None,
        softened=_SOFTENING,
        bits=bits,
        plateaus=None,
    )


def _grain(values: Grey) -> float:
    """Noise as a share of full contrast, from second differences on a few bands; 1 for black and white.

    The masks cancel whatever varies linearly; the median ignores the edges. Source of the 3x3 mask:
    Immerkaer, Fast noise variance estimation, 1996 (from memory); its sum of squares is 36.
    """
    height, width = values.shape
    bands = [values[top : top + 48] for top in np.linspace(0, max(0, height - 48), 6).astype(int)]
    sample = np.concatenate(bands)
    counts = histogram(sample)
    if np.count_nonzero(counts) <= 2:
        return 1.0
    if height < 5 or width < 5:
        return 0.0
    d = sample.astype(np.int16)
    across = d[:, :-2] - 2 * d[:, 1:-1] + d[:, 2:]
    both = across[:-2] - 2 * across[1:-1] + across[2:]
    low, high = quantiles(counts, (0.02, 0.98))
    median = quantiles(np.bincount(np.abs(both).ravel()), (0.5,))[0]
    return median / 0.6745 / 6.0 / max(high - low, 1.0)


def _reduced(image: Image.Image) -> Image.Image:
    factor = max(1, round(max(image.size) / _SMALL))
    return image.reduce(factor) if factor > 1 else image
