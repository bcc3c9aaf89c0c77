"""References that the renderer would never end with, and those that are no circle at all."""

from __future__ import annotations

import pytest

from cutout.errors import ReadError
from cutout.read.svg.circles import MOST_DEEP, refuse_circles
from cutout.read.svg.document import parse_document

CIRCLES = {
    "masks": '<mask id="a"><g mask="url(#b)"/></mask><mask id="b" style="mask:url(#a)"/>',
    "itself": '<clipPath id="a"><path clip-path="url(\'#a\')"/></clipPath>',
    "a pattern's href": '<pattern id="a" href="#b"/><pattern id="b" href="#a"/>',
    "a sheet": '<style>#b g{filter:url(#a)}</style><filter id="a"><feImage href="#b"/></filter><g id="b"><g/></g>',
    "copies": '<g id="a"><use href="#b"/></g><g id="b"><use href="#a"/></g>',
}
SOUND = {
    "a link": '<a id="a" href="#a"><path/></a>',
    "a gradient": '<linearGradient id="a" href="#b"/><linearGradient id="b" href="#a"/>',
    "one twice": '<clipPath id="a"/><g id="b"><path clip-path="url(#a)"/><path clip-path="url(#a)"/></g>',
    "what is not there": '<clipPath id="a"><path clip-path="url(#gone)"/></clipPath>',
}


def read(inside: str) -> None:
    text = f'<svg xmlns="http://www.w3.org/2000/svg">{inside}</svg>'
    refuse_circles(parse_document(text.encode(), "x.svg"), "x.svg")


def chain(count: int) -> str:
    links = (f'<mask id="m{k}"><path mask="url(#m{k + 1})"/></mask>' for k in range(count))
    return "".join(links)


@pytest.mark.parametrize("inside", CIRCLES.values(), ids=CIRCLES)
def test_a_circle_is_refused(inside: str) -> None:
    with pytest.raises(ReadError, match="is made of"):
        read(inside)


@pytest.mark.parametrize("inside", SOUND.values(), ids=SOUND)
def test_what_is_no_circle_is_not(inside: str) -> None:
    read(inside)


def test_masks_in_one_another_are_taken_up_to_a_depth() -> None:
    read(chain(MOST_DEEP))
    with pytest.raises(ReadError, match="deep: simplify"):
        read(chain(MOST_DEEP + 1))
