"""Reading with a memory: moving a figure or changing a blade traces nothing anew."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable, Hashable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import Generic, TypeVar

from PIL import Image

from cutout.geom.outline import Outline
from cutout.read import read
from cutout.read.options import ReadOptions

FILL = 0.7
"""Share of the panel that a figure without a size of its own takes at first."""

_T = TypeVar("_T")


class Memory(Generic[_T]):
    """The last few answers, by their question."""

    def __init__(self, most: int) -> None:
        self._kept: OrderedDict[Hashable, _T] = OrderedDict()
        self._most = most

    def recall(self, question: Hashable, work_out: Callable[[], _T]) -> _T:
        """The answer remembered, or worked out now."""
        answer = self._kept[question] if question in self._kept else work_out()
        self._kept[question] = answer
        self._kept.move_to_end(question)
        if len(self._kept) > self._most:
            self._kept.popitem(last=False)
        return answer


class Reader:
    """`cutout.read.read` with a memory, to be used in its place."""

    def __init__(self, most: int = 12) -> None:
        self._exact: Memory[Outline] = Memory(most)
        self._latest: dict[Hashable, Outline] = {}
        self._near = False

    def __call__(self, path: Path, options: ReadOptions) -> Outline:
        """As `read`; within `near()` also an outline read for another size of the same figure."""
        try:
            about = path.stat()
        except OSError:
            return read(path, options)
        file = (path, about.st_mtime_ns, about.st_size)
        loose = (file, replace(options, width=None, height=None))
        if self._near and loose in self._latest:
            return self._latest[loose]
        outline = self._exact.recall((file, options), lambda: read(path, options))
        self._latest = {loose: outline, **{k: v for k, v in [*self._latest.items()][:3] if k != loose}}
        return outline

    @contextmanager
    def near(self) -> Iterator[None]:
        """While a slider moves: the outline for a size a moment ago, scaled, is as good as the eye can tell."""
        self._near = True
        try:
            yield
        finally:
            self._near = False


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
    width, height = _spans(reader(path, ReadOptions(width=across) if by_width else ReadOptions(height=up)))
    # The figure is not shaped like its picture: where the guess would stick out, the other side rules.
    if by_width:
        return (across, None) if height * across / width <= board[1] else (None, up)
    return (None, up) if width * up / height <= board[0] else (across, None)


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
