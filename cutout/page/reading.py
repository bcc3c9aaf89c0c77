"""Reading with a memory: moving a figure or changing a blade traces nothing anew."""

from __future__ import annotations

import hashlib
import io
import itertools
import math
import pickle
from collections.abc import Hashable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import replace
from pathlib import Path

import numpy as np
import shapely
from PIL import Image, ImageOps

from cutout.errors import NoFigureError, ReadError
from cutout.geom.curve import ComplexArray, Line, to_array, to_complex
from cutout.geom.outline import Outline, Ring
from cutout.memory import Memory
from cutout.page.store import write_beside
from cutout.read import read
from cutout.read.options import ReadOptions
from cutout.read.picture.closed_lines import fill_lines
from cutout.read.picture.decode import MOST_PIXELS, decode
from cutout.read.picture.figure import find_figure
from cutout.read.picture.retouch import retouched
from cutout.trace.iso import iso_lines

FILL = 0.7
"""Share of the panel that a figure without a size of its own takes at first."""

SMALL = 120_000
"""Pixels of the copy that a large picture is looked at by: about what its figure has on a screen. Lines run between
pixels, so that they are truer than a pixel."""

_PIXELS_BEFORE = 1.5
"""A JPEG is opened at no less than so many times the sides of its copy: most of its decoding is left out."""

_STRAIGHT = 0.1
"""How far (px of the copy) straight runs may leave an edge that is only looked at."""

_CALM = 1
"""How often each point of such an edge is put between its neighbours."""

_LEAST_SPECK = 2.0
"""Less than this across (px of the copy) is grain."""

_PLAIN = {"1": "L", "L": "L", "LA": "LA", "P": "RGBA", "RGB": "RGB", "RGBA": "RGBA"}
"""Modes that can be shrunk, and the mode to do it in."""


class Reader:
    """`cutout.read.read` with a memory, to be used in its place.

    scratch: a private folder of this run through which processes share what they have read. most: outlines kept of
    each sort, more than one job has figures.
    """

    def __init__(self, most: int = 12) -> None:
        self.scratch: Path | None = None
        self._exact: Memory[Outline] = Memory(most)
        self._near: Memory[Outline] = Memory(most)
        self._is_near = False

    def __call__(self, path: Path, options: ReadOptions) -> Outline:
        """As `read`; within `near()` an outline good enough to look at."""
        try:
            about = path.stat()
        except OSError:
            return read(path, options)
        file = (str(path), about.st_mtime_ns, about.st_size)
        if not self._is_near:
            return self._exact.recall((file, options), lambda: self._shared(path, options, file))
        loose = replace(options, width=None, height=None)
        return self._near.recall((file, loose), lambda: self._read_small(path, options))

    @contextmanager
    def near(self) -> Iterator[None]:
        """For the eye only: a large picture is read from a small copy, and once for every size it is given."""
        self._is_near = True
        try:
            yield
        finally:
            self._is_near = False

    def _shared(self, path: Path, options: ReadOptions, file: Hashable) -> Outline:
        """What another process of this run has read, else read now and left for the others."""
        if self.scratch is None:
            return read(path, options)
        kept = self.scratch / f"{hashlib.sha256(repr((file, options)).encode()).hexdigest()}.outline"
        if kept.exists():
            # Written by a process of this run into a folder of this run: as trustworthy as the pipe to it.
            outline: Outline = pickle.loads(kept.read_bytes())
            return outline
        outline = read(path, options)
        write_beside(kept, pickle.dumps(outline))
        return outline

    def _read_small(self, path: Path, options: ReadOptions) -> Outline:
        """The outline from a copy with at most SMALL pixels; from the file itself where that is no help."""
        if self.scratch is not None and not options.corners and not options.sheet:
            small = _small_copy(path, self.scratch)
            if small is not None:
                # Lost in the small copy, or wrong altogether: the file itself will tell.
                with suppress(ReadError):
                    shrunk = _shrunk_options(options, small, path)
                    return read(small, shrunk) if options.smooth else _sketched(small, shrunk)
        return read(path, options)


def _sketched(path: Path, options: ReadOptions) -> Outline:
    """A picture's figure by straight runs along its edges, as its own greys have them: no curve is fitted.

    Raises ReadError where there is no figure.
    """
    picture = decode(path.read_bytes(), path.name)
    field = retouched(find_figure(picture, path.name, options), options, path.name)
    least = max(options.speck, _LEAST_SPECK)
    found = [
        z for z in iso_lines(field.values, field.level).lines if max(np.ptp(z.real), np.ptp(z.imag)) >= least
    ]
    lines, _ = fill_lines(found, options.fill)
    rings = tuple(ring for z in lines if (ring := _straight(z)).segments)
    if not rings:
        raise ReadError(
            f"{path.name}: there is no figure in this picture: choose another threshold or picture."
        )
    return Outline(rings)


def _straight(z: ComplexArray) -> Ring:
    """Straight runs along a closed line, the steps of its pixels smoothed away."""
    for _ in range(_CALM):
        z = (np.roll(z, 1) + 2 * z + np.roll(z, -1)) / 4
    line = shapely.LinearRing(to_array(z)) if len(z) > 3 else shapely.LinearRing()
    at = to_complex(shapely.get_coordinates(shapely.simplify(line, _STRAIGHT))).tolist()
    return Ring(tuple(Line(a, b) for a, b in itertools.pairwise(at)))


def first_size(reader: Reader, path: Path, board: tuple[float, float]) -> tuple[float | None, float | None]:
    """Width or height (mm) to give a new figure on a `board` of this width and height; reads it once if it can.

    None, None for a drawing that states its true size and fits. Raises ReadError.
    """
    across, up = round(FILL * board[0], 1), round(FILL * board[1], 1)
    shape = _picture_shape(path)
    if shape is None:
        outline = reader(path, ReadOptions())
        width, height = _spans(outline)
        if outline.scale is not None and width <= board[0] and height <= board[1]:
            return None, None
        return (across, None) if width * up >= height * across else (None, up)
    by_width = shape[0] * up >= shape[1] * across
    try:
        width, height = _spans(
            reader(path, ReadOptions(width=across) if by_width else ReadOptions(height=up))
        )
    except NoFigureError:
        # It can be marked by hand, once it is there.
        return (across, None) if by_width else (None, up)
    # The figure is not shaped like its picture: where the guess would stick out, the other side rules.
    if by_width:
        return (across, None) if height * across / width <= board[1] else (None, up)
    return (None, up) if width * up / height <= board[0] else (across, None)


def is_picture(path: Path) -> bool:
    """Whether a file is a raster picture, by its header."""
    return _picture_shape(path) is not None


def _shrunk_options(options: ReadOptions, small: Path, path: Path) -> ReadOptions:
    """Places in the picture's pixels as they lie in its small copy."""
    by = _longest(small) / _longest(path)
    spots = {
        name: tuple((x * by, y * by, across * by) for x, y, across in getattr(options, name))
        for name in ("touched", "marked")
    }
    boxes = {
        name: box and tuple(v * by for v in box)
        for name, box in (("crop", options.crop), ("within", options.within))
    }
    return replace(options, **spots, **boxes)  # type: ignore[arg-type]


def _longest(path: Path) -> int:
    return max(_picture_shape(path) or (1, 1))


def pixels_of(path: Path, scratch: Path | None) -> float:
    """Pixels of the picture for one unit of an outline that is read `near` from it."""
    small = None if scratch is None else _small_copy(path, scratch)
    return 1.0 if small is None else _longest(path) / _longest(small)


def upright_shape(path: Path) -> tuple[int, int] | None:
    """Width and height of a raster picture as a browser shows it, turned as its camera says; None for others."""
    try:
        with Image.open(path) as picture:
            return (
                ImageOps.exif_transpose(picture).size
                if picture.getexif().get(0x0112, 1) > 4  # orientations 5 to 8 lie on their side (Exif)
                else picture.size
            )
    except Exception:  # a guess only, as above
        return None


def _spans(outline: Outline) -> tuple[float, float]:
    x0, y0, x1, y1 = outline.bounds
    scale = outline.scale or 1.0
    return (x1 - x0) * scale, (y1 - y0) * scale


def _picture_shape(path: Path) -> tuple[int, int] | None:
    """Width and height of a raster picture by its header; None for anything else."""
    try:
        with Image.open(path) as picture:
            return picture.size
    except Exception:  # a guess only: whatever is wrong with the file, reading it will say
        return None


def _small_copy(path: Path, scratch: Path) -> Path | None:
    """A small copy of a large picture; None for other files and for kinds that can't simply be shrunk."""
    shape = _picture_shape(path)
    if shape is None or not SMALL < shape[0] * shape[1] <= MOST_PIXELS:
        return None
    about = path.stat()
    copy = scratch / f"{hashlib.sha256(repr((str(path), about.st_mtime_ns)).encode()).hexdigest()}.png"
    if not copy.exists():
        try:
            data = _shrunk(path, shape)
        except Exception:  # as above
            return None
        if data is None:
            return None
        write_beside(copy, data)
    return copy


def _shrunk(path: Path, shape: tuple[int, int]) -> bytes | None:
    with Image.open(path) as picture:
        if picture.mode not in _PLAIN:
            return None
        side = round(_PIXELS_BEFORE * max(_small_shape(shape)))
        picture.draft(None, (side, side))
        upright = ImageOps.exif_transpose(picture).convert(_PLAIN[picture.mode])
    upright.thumbnail(_small_shape(shape), Image.Resampling.BOX)
    out = io.BytesIO()
    upright.save(out, "PNG", compress_level=1)
    return out.getvalue()


def _small_shape(shape: tuple[int, int]) -> tuple[int, int]:
    by = math.sqrt(SMALL / (shape[0] * shape[1]))
    side = max(1, math.floor(max(shape) * by))
    return side, side
