"""Figure apart from background: by transparency, by grey or by colour, at a level that can be trusted."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageChops, ImageFilter

from cutout.errors import ReadError
from cutout.geom.outline import Note
from cutout.read.options import ReadOptions
from cutout.read.picture.decode import Picture
from cutout.read.picture.light import EVEN, evenness, flattened, paper_light

Grey = NDArray[np.uint8]

_SMALL = 400
"""Decisions are taken on a picture reduced to about this many pixels across."""

_LEAST_CONTRAST = 20.0
_TOO_GREY = 0.30
_SOFTENING = 0.8

_CLEARER = 0.002
"""Gain in the share of variance that two classes explain for which the light is divided out."""

_FINE = 1600
"""Plateaus are looked for in a picture reduced to at most about this many pixels across."""

_FLATTEST = 0.25
"""Share of a class's pixels, those that differ least from their neighbours, that show its plateau."""

_AT_BORDER = 0.10
"""Share of a side of the picture along which a figure may lie before it is worth a word."""


@dataclass(frozen=True)
class Field:
    """Values (h, w) that are high in the figure, the level of its edge, and what was decided on the way.

    stepped: the picture was black and white only, so its edges come in steps of whole pixels. exact: the level
    follows from what was asked or from transparency, not from how grey mixes.
    """

    values: Grey
    level: float
    notes: tuple[Note, ...] = ()
    stepped: bool = False
    exact: bool = False


@dataclass(frozen=True)
class _Split:
    """Two classes of grey: medians, the level between, how clearly they part and how many lie between."""

    low: float
    high: float
    level: float
    clarity: float
    between: float

    @property
    def contrast(self) -> float:
        return self.high - self.low


def find_figure(picture: Picture, name: str, options: ReadOptions) -> Field:
    """The figure of a picture. Raises ReadError where it can't be told from the background."""
    if picture.alpha is not None and _shape_in_alpha(picture):
        return _from_alpha(picture.alpha, name, options)
    colour = _on_white(picture)
    grey = colour if colour.mode == "L" else colour.convert("L")
    if isinstance(options.threshold, int):
        return _fixed(grey, options.threshold, name, options)
    field = None
    if colour.mode == "RGB" and options.threshold is None and options.invert is None:
        field = _from_colour(colour, grey)
    return _softened(field or _from_grey(np.asarray(grey), name, options))


def border_notes(field: Field) -> tuple[Note, ...]:
    """Says so where the figure lies along one of the picture's sides over a long stretch.

    Background that was taken for figure does: ground, a wall, a shadow at the edge of a scan. A figure cut off by
    the picture does too, and so may one with a straight foot; hence nothing is left out.
    """
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
    seen = np.asarray(_reduced(picture.colour.convert("L")))[opaque]
    light, dark = (seen > 216).mean(), (seen < 128).mean()
    return not (light > 0.3 and dark > 0.02)


def _from_alpha(alpha: Image.Image, name: str, options: ReadOptions) -> Field:
    values = np.asarray(alpha)
    if options.invert:
        values = 255 - values
    text = "The shape was taken from the picture's transparency."
    return _softened(Field(values, 127.5, (Note("threshold", text),), exact=True))


def _on_white(picture: Picture) -> Image.Image:
    if picture.alpha is None:
        return picture.colour
    white = Image.new(picture.colour.mode, picture.colour.size, "white")
    return Image.composite(picture.colour, white, picture.alpha)


def _fixed(grey: Image.Image, threshold: int, name: str, options: ReadOptions) -> Field:
    values = np.asarray(grey)
    border = _border(values)
    light = options.invert if options.invert is not None else bool((border <= threshold).mean() > 0.5)
    note = Note("threshold", f"Threshold as given: grey {threshold} of 255, {_sense(light)}.")
    return replace(_oriented(values, float(threshold) + 0.5, light, (note,)), exact=True)


def _from_grey(grey: Grey, name: str, options: ReadOptions) -> Field:
    small = np.asarray(_reduced(Image.fromarray(grey)))
    split = _split(small)
    light = options.invert if options.invert is not None else _background_dark(small, split.level)
    even = 1.0
    if split.contrast >= 8:
        lit = paper_light(small, not light)
        even = evenness(lit)
        if options.threshold == "local" or _uneven(small, lit, light, split, even):
            return _local(grey, lit, light, even, name, forced=options.threshold == "local")
    _check(split, name)
    split = _on_plateaus(grey, split)
    text = f"One threshold for the whole picture: grey {split.level:.0f} of 255, {_sense(light)}."
    return _oriented(grey, split.level, light, (Note("threshold", text),))


def _uneven(small: Grey, lit: NDArray[np.float64], light: bool, split: _Split, even: float) -> bool:
    """Whether dividing the light out parts figure and background more clearly than leaving it in."""
    if even >= EVEN:
        return False
    flat = _split(flattened(small, lit, not light))
    return (
        flat.contrast > _LEAST_CONTRAST
        and flat.clarity > split.clarity + _CLEARER
        and flat.between <= split.between + _CLEARER
    )


def _local(grey: Grey, lit: NDArray[np.float64], light: bool, even: float, name: str, forced: bool) -> Field:
    flat = flattened(grey, lit, not light)
    split = _split(np.asarray(_reduced(Image.fromarray(flat))))
    _check(split, name)
    split = _on_plateaus(flat, split)
    why = "as asked" if forced else f"the light falls to {100 * even:.0f} % across the picture"
    share = split.level / 230.0
    text = f"Local threshold ({why}): {100 * share:.0f} % of the paper's brightness nearby, {_sense(light)}."
    # The flattened picture has light paper in either case.
    return _oriented(flat, split.level, False, (Note("threshold", text),))


def _from_colour(colour: Image.Image, grey: Image.Image) -> Field | None:
    """The figure by colour, or None where grey tells it apart as well.

    First along the line from the background's colour to the figure's, which keeps edges in proportion;
    else, for a figure of many colours, by the difference from the background.
    """
    small = np.asarray(_reduced(colour)).astype(float)
    border = _border(small)
    ground = np.median(border, axis=0)
    if np.median(np.abs(border - ground).max(axis=1)) > 12:
        return None
    plain = np.asarray(_reduced(grey))
    by_grey = _merit(np.abs(plain.astype(float) - float(np.median(_border(plain)))))
    apart = np.abs(small - ground).max(axis=2)
    by_difference = _merit(apart)
    figure = small[apart > _split(apart.astype(np.uint8)).level]
    if len(figure) < 4:
        return None
    way = np.median(figure, axis=0) - ground
    size = float(way @ way)
    if size < _LEAST_CONTRAST**2:
        return None
    by_axis = _merit(np.clip(20 + (small - ground) @ way * (200.0 / size), 0, 255))
    if by_axis > 1.25 * by_grey and by_axis >= 0.8 * by_difference:
        matrix = way * (200.0 / size)
        offset = 20.0 - float(ground @ matrix)
        values = np.asarray(colour.convert("L", (*matrix.tolist(), offset)))
        how = "by colour, half-way between the background's and the figure's"
    elif by_difference > 1.25 * by_grey:
        flat = Image.new("RGB", colour.size, tuple(round(float(v)) for v in ground))
        r, g, b = ImageChops.difference(colour, flat).split()
        values = np.asarray(ImageChops.lighter(ImageChops.lighter(r, g), b))
        how = "by how far its colour is from the background's"
    else:
        return None
    split = _split(np.asarray(_reduced(Image.fromarray(values))))
    if split.contrast < _LEAST_CONTRAST or split.between > _TOO_GREY:
        return None
    split = _on_plateaus(values, split)
    return Field(values, split.level, (Note("threshold", f"The figure was told from the background {how}."),))


def _merit(values: NDArray[np.float64]) -> float:
    """How many times the spread inside the classes their medians are apart."""
    split = _split(np.clip(values, 0, 255).astype(np.uint8))
    flat = values.ravel()
    inside = np.where(flat > split.level, np.abs(flat - split.high), np.abs(flat - split.low))
    return split.contrast / (6.0 + float(np.mean(np.minimum(inside, 60))) * 1.5)


def _split(values: Grey) -> _Split:
    """Two classes by Otsu's threshold, then the level half-way between their medians.

    Half-way is where the picture's edge lies; Otsu's own level leans towards the larger class. It stands
    only where the half-way level would run through more pixels than it does.
    """
    counts = np.bincount(np.asarray(values).ravel(), minlength=256).astype(float)
    total = counts.sum()
    grey = np.arange(256.0)
    below, mass = np.cumsum(counts), np.cumsum(counts * grey)
    mean = mass[-1] / total
    with np.errstate(divide="ignore", invalid="ignore"):
        between = (mean * below - mass) ** 2 / (below * (total - below))
    between[~np.isfinite(between)] = 0.0
    if between.max() <= 0:
        return _Split(mean, mean, mean, 0.0, 1.0)
    best = np.flatnonzero(between >= between.max() * (1 - 1e-9))
    otsu = float(best.mean())
    k = min(int(otsu), 254)
    low, high = _median(counts[: k + 1], 0), _median(counts[k + 1 :], k + 1)
    halfway = (low + high) / 2
    window = max(2.0, 0.06 * (high - low))
    level = halfway + 0.0
    if _near(counts, halfway, window) > 3 * _near(counts, otsu, window) + 0.005 * total:
        level = otsu + 0.5
    spread = float((counts * (grey - mean) ** 2).sum())
    clarity = float(between.max()) * total / spread if spread > 0 else 0.0
    return _Split(low, high, level, clarity, _near(counts, level, 0.2 * (high - low)) / total)


def _on_plateaus(grey: Grey, split: _Split) -> _Split:
    """The split with its level half-way between what figure and ground settle at away from their edges.

    Most of a thin figure's pixels are touched by its edges, so that its median lies short of its own grey; the
    flattest of them, the middles of its lines, are least touched.
    """
    if abs(split.level - (split.low + split.high) / 2) > 0.5:
        return split
    image = Image.fromarray(grey)
    factor = max(1, round(max(image.size) / _FINE))
    image = image.reduce(factor) if factor > 1 else image
    values = np.asarray(image)
    steep = np.asarray(
        ImageChops.subtract(image.filter(ImageFilter.MaxFilter(3)), image.filter(ImageFilter.MinFilter(3)))
    )
    low, high = (
        _settled(values[side], steep[side]) for side in (values <= split.level, values > split.level)
    )
    return replace(split, low=low, high=high, level=(low + high) / 2)


def _settled(values: Grey, steep: Grey) -> float:
    """Median of the values that are flattest, a quarter of them or more."""
    counts = np.cumsum(np.bincount(steep, minlength=256))
    limit = int(np.searchsorted(counts, _FLATTEST * counts[-1]))
    return float(np.median(values[steep <= limit]))


def _near(counts: NDArray[np.float64], level: float, window: float) -> float:
    return float(counts[max(0, round(level - window)) : round(level + window) + 1].sum())


def _median(counts: NDArray[np.float64], offset: int) -> float:
    if counts.sum() <= 0:
        return float(offset)
    return float(offset + np.searchsorted(np.cumsum(counts), counts.sum() / 2))


def _check(split: _Split, name: str) -> None:
    if split.contrast < 8:
        raise ReadError(f"{name}: there is nothing in this picture: use one in which a figure can be seen.")
    muddled = split.clarity < 0.75 and split.between > _TOO_GREY / 2
    if split.contrast < _LEAST_CONTRAST or split.between > _TOO_GREY or muddled:
        raise ReadError(
            f"{name}: the figure can't be told from the background: raise the contrast, crop the picture to "
            "the figure, or draw round the figure with a dark pen and fill it in."
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


def _oriented(values: Grey, level: float, light: bool, notes: tuple[Note, ...]) -> Field:
    if light:
        return Field(values, level, notes)
    return Field(255 - values, 255.0 - level, notes)


def _sense(light: bool) -> str:
    return "light figure on dark" if light else "dark figure on light"


def _softened(field: Field) -> Field:
    """Grain and the steps of black-and-white pictures blurred by less than a pixel, before they make islands."""
    grain = _grain(field.values)
    if grain < 0.03:
        return field
    image = Image.fromarray(field.values).filter(ImageFilter.GaussianBlur(_SOFTENING))
    return replace(field, values=np.asarray(image), stepped=grain >= 1.0)


def _grain(values: Grey) -> float:
    """Noise as a share of full contrast, from second differences on a few bands; 1 for black and white.

    The masks cancel whatever varies linearly; the median ignores the edges. Source of the 3x3 mask:
    Immerkaer, Fast noise variance estimation, 1996 (from memory); its sum of squares is 36.
    """
    height, width = values.shape
    bands = [values[top : top + 48] for top in np.linspace(0, max(0, height - 48), 6).astype(int)]
    sample = np.concatenate(bands)
    if np.count_nonzero(np.bincount(sample.ravel(), minlength=256)) <= 2:
        return 1.0
    if height < 5 or width < 5:
        return 0.0
    d = sample.astype(np.float32)
    across = d[:, :-2] - 2 * d[:, 1:-1] + d[:, 2:]
    both = across[:-2] - 2 * across[1:-1] + across[2:]
    low, high = np.percentile(d, (2, 98))
    return float(np.median(np.abs(both)) / 0.6745 / 6.0 / max(high - low, 1.0))


def _reduced(image: Image.Image) -> Image.Image:
    factor = max(1, round(max(image.size) / _SMALL))
    return image.reduce(factor) if factor > 1 else image
