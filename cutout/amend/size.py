"""At what size, with what blade: the smallest silhouette each blade manages, and the blade for this size."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

from cutout import check as checks
from cutout.check import Check
from cutout.errors import LayoutError
from cutout.geom.curve import Similarity
from cutout.geom.outline import Outline
from cutout.kit import Blade, Kit, blades
from cutout.pattern import Keep, Panel, Pattern, cut_pattern

Build = Callable[[float, Blade], Pattern]
"""The pattern whose silhouette is so many mm wide, for a blade."""

OF_BLADE: tuple[Check, ...] = (checks.kit, checks.narrow_opening, checks.tight_corner, checks.tight_curve)
"""Checks that stop one blade and not another, cheapest first."""
OF_WOOD: tuple[Check, ...] = (checks.thin_web, checks.short_grain)
"""Checks that stop all blades alike until webs are wide enough. Loose pieces need bridges at any size."""
STEP, UP, DOWN = 1.6, 5, 6
"""Ratio of one width tried to the next, and how many are tried at most above or below the one asked about."""
RESOLUTION = 0.03
"""The smallest width is found to within this share of itself."""


@dataclass(frozen=True, slots=True)
class BladeSize:
    """One blade and the smallest width (mm) of the silhouette at which nothing stops it.

    smallest: None where it was stopped at every width tried; `below` tells that even the least width tried
    (which then is `smallest`) did not stop it. manages: whether the width asked about does not.
    """

    blade: Blade
    smallest: float | None
    below: bool
    manages: bool


@dataclass(frozen=True, slots=True)
class Sizes:
    """One row per blade, for a silhouette `width` mm wide; the largest blade that manages it, if any.

    most: the largest width tried (mm).
    """

    width: float
    most: float
    rows: tuple[BladeSize, ...]
    largest: Blade | None


def sizes(build: Build, width: float, kit: Kit, choices: Iterable[Blade] | None = None) -> Sizes:
    """The smallest width each blade manages with the drills of `kit`, and the widest blade for `width` mm.

    From `width` on, widths STEP apart are tried, downwards as long as nothing stops the blade, upwards as long
    as something does; the last step is halved to within RESOLUTION. Every width tried from the smallest up to
    `width` is free of stops; a web that was a mere tuft may still become one at some much larger size.
    choices: blades to try, by default all of the data file.
    """
    rows = []
    for blade in blades().values() if choices is None else choices:
        search = _Search(build, replace(kit, blade=blade), OF_BLADE)
        good, bad = search.bracket(width)
        rows.append(
            BladeSize(blade, search.between(good, bad), bad is None, good is not None and good <= width)
        )
    able = [row.blade for row in rows if row.manages]
    largest = max(able, key=lambda b: (b.width, b.name), default=None)
    return Sizes(width, width * STEP**UP, tuple(rows), largest)


def webs_hold_from(build: Build, width: float, kit: Kit) -> float | None:
    """The smallest width (mm) at which the wood's webs hold unmended, sought from `width` as in `sizes`.

    None where they do not hold at any width tried. Nothing at all stops a blade from the larger of this and its
    own smallest width on.
    """
    search = _Search(build, kit, OF_WOOD)
    return search.between(*search.bracket(width))


def scaled(outline: Outline, panel: Panel, keep: Keep) -> Build:
    """Patterns of one placed outline at other widths, on a panel that grows or shrinks with them."""
    x0, _, x1, _ = outline.bounds

    @lru_cache(maxsize=64)
    def build(width: float, kerf: float) -> Pattern:
        by = width / (x1 - x0)
        board = Panel(panel.width * by, panel.height * by, panel.thickness, panel.grain, layers=panel.layers)
        return cut_pattern(outline.transform(Similarity(by + 0j)), board, keep, kerf)

    return lambda width, blade: build(width, blade.kerf if keep == "both" else 1.0)


def with_own(own: Blade) -> Sequence[Blade]:
    """Every blade of the data file, the user's own (measured) one in place of the listed one."""
    return [own if b.name == own.name else b for b in blades().values()]


@dataclass(frozen=True, slots=True)
class _Search:
    """A search for the smallest width at which no finding of some checks is a stop."""

    build: Build
    kit: Kit
    checks: tuple[Check, ...]

    def bracket(self, width: float) -> tuple[float | None, float | None]:
        """(good, bad): neighbouring widths of the ladder, the upper free of stops and the lower not.

        Down from `width` where that is good, else up from it; None where the ladder ends before.
        """
        at = width
        if self.stopped(at):
            for _ in range(UP):
                at, bad = at * STEP, at
                if not self.stopped(at):
                    return at, bad
            return None, at
        for _ in range(DOWN):
            at, good = at / STEP, at
            if self.stopped(at):
                return good, at
        return at, None

    def between(self, good: float | None, bad: float | None) -> float | None:
        """The smallest width free of stops between one that is and a smaller one that is not."""
        while bad is not None and good is not None and good > bad * (1 + RESOLUTION):
            middle = math.sqrt(good * bad)
            if self.stopped(middle):
                bad = middle
            else:
                good = middle
        return good

    def stopped(self, width: float) -> bool:
        """Whether anything looked for stops the work at this width; what is too small to be laid out can't be cut."""
        try:
            made = self.build(width, self.kit.blade)
        except LayoutError:
            return True
        return any(f.severity == "stop" for check in self.checks for f in check(made, self.kit))
