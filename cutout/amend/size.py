"""At what size, with what blade: the smallest silhouette each blade manages, and the blade for this size."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace

from cutout.check.finding import CHECKS
from cutout.geom.curve import Similarity
from cutout.geom.outline import Outline
from cutout.kit import Blade, Kit, blades
from cutout.pattern import Keep, Panel, Pattern, cut_pattern
from cutout.units import format_length

Build = Callable[[float, Blade], Pattern]
"""The pattern whose silhouette is so many mm wide, for a blade."""

SIZED = ("narrow opening", "thin web", "tight corner", "tight curve")
"""Kinds of finding that size can cure; loose pieces need bridges at any size."""
LEAST, MOST, STEP = 20.0, 4000.0, 1.25
"""Widths tried (mm), and the ratio of one to the next."""
RESOLUTION = 0.01
"""The smallest width is found to within this share of itself."""


@dataclass(frozen=True, slots=True)
class BladeSize:
    """One blade: the smallest width (mm) of the silhouette from which upward it meets no stop, None for never.

    manages: whether the width asked about is at least that.
    """

    blade: Blade
    smallest: float | None
    manages: bool


@dataclass(frozen=True, slots=True)
class Sizes:
    """One row per blade in the kit's order, for a silhouette `width` mm wide, and the largest blade that does."""

    width: float
    rows: tuple[BladeSize, ...]
    largest: Blade | None


def sizes(build: Build, width: float, kit: Kit, choices: Iterable[Blade] | None = None) -> Sizes:
    """The smallest width each blade manages with the drills of `kit`, and the widest blade for `width` mm.

    A width counts when no finding of a kind in SIZED stops the work there nor at any larger width tried (a
    ladder of widths STEP apart, up to MOST); the last rung is then halved to within RESOLUTION.
    """
    rows = []
    for blade in blades().values() if choices is None else choices:
        smallest = _smallest(build, replace(kit, blade=blade))
        rows.append(BladeSize(blade, smallest, smallest is not None and smallest <= width * (1 + RESOLUTION)))
    able = [row.blade for row in rows if row.manages]
    return Sizes(width, tuple(rows), max(able, key=lambda b: (b.width, b.name), default=None))


def size_lines(outline: Outline, panel: Panel, keep: Keep, kit: Kit) -> str:
    """A small table for people: blade, the smallest width of this silhouette it manages, in the kit's units.

    outline: placed on the panel, in mm. For larger widths the panel is taken to grow with it.
    """
    x0, _, x1, _ = outline.bounds
    found = sizes(scaled(outline, panel, keep), x1 - x0, kit, _with_own(kit.blade))
    width = max(len(row.blade.title) for row in found.rows)
    lines = ["Smallest width of this silhouette that each blade manages without a stop (to about 1 %):"]
    for row in found.rows:
        size = "none" if row.smallest is None else format_length(row.smallest, kit.units)
        mark = "  manages this size" if row.manages else ""
        lines.append(f"  {row.blade.title:<{width}}  {size:>12}{mark}")
    largest = found.largest.title if found.largest else "none of these blades"
    lines.append(f"Largest blade for {format_length(found.width, kit.units)}: {largest}.")
    return "\n".join(lines)


def scaled(outline: Outline, panel: Panel, keep: Keep) -> Build:
    """Patterns of one placed outline at other widths, on a panel that grows or shrinks with them."""
    x0, _, x1, _ = outline.bounds

    def build(width: float, blade: Blade) -> Pattern:
        by = width / (x1 - x0)
        board = replace(panel, width=panel.width * by, height=panel.height * by, zones=())
        return cut_pattern(outline.transform(Similarity(by + 0j)), board, keep, blade.kerf)

    return build


def _with_own(own: Blade) -> list[Blade]:
    """Every blade of the data file, the user's own (measured) one in place of the listed one."""
    return [own if b.name == own.name else b for b in blades().values()]


def _smallest(build: Build, kit: Kit) -> float | None:
    rungs = math.ceil(math.log(MOST / LEAST) / math.log(STEP))
    good: float | None = None
    bad = LEAST / STEP
    for rung in range(rungs, -1, -1):
        width = LEAST * STEP**rung
        if _stopped(build(width, kit.blade), kit):
            bad = width
            break
        good = width
    while good is not None and good > bad * (1 + RESOLUTION):
        middle = math.sqrt(good * bad)
        if _stopped(build(middle, kit.blade), kit):
            bad = middle
        else:
            good = middle
    return good


def _stopped(pattern: Pattern, kit: Kit) -> bool:
    return any(f.severity == "stop" for kind in SIZED for f in CHECKS[kind](pattern, kit))
