"""What lines and signs look like, handed to the page: a style sheet of properties and the signs as path data.

Nothing is declared here: both are made from the looks and the signs that paper and preview are drawn with. What is
the page's own (colours of its themes, signs that paper has not) stands in its style sheet.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from cutout.draw import looks
from cutout.draw.lettered import TRIANGLE, octagon, triangle
from cutout.draw.looks import Look
from cutout.draw.scene import Area, Item, Run, arrow_head
from cutout.draw.signs import tie
from cutout.draw.svg import colour, number, polyline_path, ring_path
from cutout.units import MM_PER_INCH

PX = 96 / MM_PER_INCH
"""Pixels to the mm as CSS has them (Values and Units 4: 96 to the inch), so that lines are as wide as on paper."""
_LEAST = 1.0
"""Width of the finest line (pixels): a screen shows none finer, only paler."""

_HALF = 7.0
"""Half the width of a finding's sign (pixels). Taste: a finger's width holds three of them."""
_TIE, _TIE_BAR = 14.0, 6.0
"""Half the length of a bridge's sign, and half its bars (pixels): as far as a finger takes hold of it. Taste."""
_ARROW_TIP, _ARROW = 26.0, 10.0
"""Where the tip of the arrow that a step begins with lies, beyond its disc, and its length (pixels). Taste."""


def stylesheet() -> bytes:
    """`:root` with four properties a look: --NAME-width, -dash (both pixels), -ink and -fill, -cap for round ends.

    NAME: the name the look is declared by, in small letters.
    """
    every = ((name, look) for name, look in vars(looks).items() if isinstance(look, Look))
    said = (f"  {' '.join(_properties(name.lower().replace('_', '-'), look))}\n" for name, look in every)
    return f":root {{\n{''.join(said)}}}\n".encode()


def _properties(name: str, look: Look) -> Iterator[str]:
    if look.width:
        yield f"--{name}-width: {number(max(_LEAST, look.width * PX))}px;"
        yield f"--{name}-ink: {colour(look.ink)};"
        yield f"--{name}-dash: {' '.join(number(part * PX) for part in look.dash) or 'none'};"
        yield f"--{name}-cap: {'round' if look.round_ends else 'butt'};"
    if look.fill is not None:
        yield f"--{name}-fill: {colour(look.fill)};"


def signs() -> dict[str, str]:
    """Path data, y down, round the place a sign stands for (pixels).

    stop, care: of findings; bridge: a tie; arrow: of a step's beginning.
    """
    tall = 2 * _HALF / TRIANGLE
    return {
        "stop": _data([octagon((-_HALF, -_HALF, _HALF, _HALF))]),
        # A triangle's middle is a third up.
        "care": _data([triangle(-_HALF, -tall / 3 - 1, tall)]),
        "bridge": _data(tie((-_TIE, 0.0), (_TIE, 0.0), _TIE_BAR)),
        "arrow": _data([arrow_head(_ARROW_TIP, 0.0, 0.0, _ARROW)]),
    }


def _data(items: Iterable[Item]) -> str:
    return "".join(map(_of, items))


def _of(item: Item) -> str:
    match item:
        case Area(_, rings):
            return ring_path(rings, 0.0)
        case Run(_, paths):
            return "".join(polyline_path(path, 0.0) for path in paths)
        case _:
            raise ValueError("only areas and lines have a path here")
