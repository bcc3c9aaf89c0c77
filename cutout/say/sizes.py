"""At what size each blade manages, in words."""

from __future__ import annotations

from cutout.amend.size import BladeSize, Sizes
from cutout.say.words import Words
from cutout.units import Units


def size_lines(found: Sizes, webs: float | None, units: Units, capital: float = 0.0) -> str:
    """A small table for people: blade, and the smallest width of the silhouette it manages.

    webs: the width (mm) from which on the webs hold, None where they did at none that was tried. capital: height of
    a capital over the width of the words, 0 where there are none.
    """
    words = Words(units)
    width = max(len(row.blade.title) for row in found.rows)
    lines = ["Smallest width at which the checks find no stop for each blade, unmended (to about 3 %):"]
    lines += [
        f"  {row.blade.title:<{width}}  {smallest(row, found.most, units, capital)}" for row in found.rows
    ]
    largest = found.largest.title if found.largest else "none without mending"
    lines.append(f"Largest blade for {words.length(found.width)}: {largest}.")
    lines.append(
        "Well above these widths a cut needs few holes; near them it takes many and short cuts, and only the plan "
        "shows whether it can be sawn."
    )
    lines.append(_webs(webs, found, words))
    return "\n".join(lines)


def smallest(row: BladeSize, most: float, units: Units, capital: float = 0.0) -> str:
    """The smallest width a blade manages; most: the largest that was tried (mm); capital: as for `size_lines`."""
    words = Words(units)
    if row.smallest is None:
        return f"more than {words.length(most)}"
    high = f", capitals {words.length(capital * row.smallest)} high" if capital else ""
    return f"{words.length(row.smallest)}{high}{' or less' if row.below else ''}"


def _webs(webs: float | None, found: Sizes, words: Words) -> str:
    if webs is None:
        return f"Some webs are too weak up to {words.length(found.most)}: mend them."
    if webs <= found.width:
        return "Its webs hold at this size, whatever the blade."
    return (
        f"Its webs hold, whatever the blade, from {words.length(webs)} wide on; below that they need mending."
    )
