"""How large a figure is made, and what is said about the height of its letters."""

from __future__ import annotations

import math
from dataclasses import replace

from shapely import Polygon

from cutout.errors import LayoutError
from cutout.geom.outline import Note, Outline, capital_of
from cutout.job.schema import FigurePart
from cutout.pattern import Panel, Placement, place, turning
from cutout.units import Units, format_length

ROUNDING = 1e-6
"""Share by which a figure that is to fit is made smaller than its room, so that rounding does not push it out."""


def sized(outline: Outline, figure: FigurePart, panel: Panel, area: Polygon, units: Units = "mm") -> Outline:
    """The figure at its size, in panel millimetres, with a note on the height of its letters. Raises LayoutError.

    area: what a figure that is to fit may fill.
    """
    asked = _placement(outline, figure, area)
    most = _most(outline, figure, area)
    try:
        placed = place(outline, panel, asked, units)
    except LayoutError as error:
        if not outline.letters or outline.scale is None:
            raise
        capital = format_length(abs(outline.letters[0].up.imag) * most, units)
        raise LayoutError(
            f"{str(error).rstrip('.')}; the largest cap height that fits is {capital}."
        ) from error
    return replace(placed, notes=(*placed.notes, *_height_note(placed, figure)))


def _placement(outline: Outline, figure: FigurePart, area: Polygon) -> Placement:
    width, height = figure.width, figure.height
    if figure.fit:
        if width is not None or height is not None or figure.cap_height is not None:
            raise LayoutError(
                "a figure that is to fit takes its size from the panel: leave out width, height, cap_height."
            )
        x0, _, x1, _ = _turned(outline, figure).bounds
        width = _most(outline, figure, area) * (x1 - x0) * (1 - ROUNDING)
    return Placement(width, height, math.radians(figure.turn), figure.mirror, figure.at)


def _most(outline: Outline, figure: FigurePart, area: Polygon) -> float:
    """The largest scale at which the turned figure stays in the area, its margin kept."""
    x0, y0, x1, y1 = _turned(outline, figure).bounds
    a0, b0, a1, b1 = area.bounds
    room_x, room_y = a1 - a0 - 2 * figure.margin, b1 - b0 - 2 * figure.margin
    if min(room_x, room_y) <= 0:
        raise LayoutError("the margin leaves no room for the figure: make it smaller.")
    return min(room_x / (x1 - x0), room_y / (y1 - y0))


def _turned(outline: Outline, figure: FigurePart) -> Outline:
    return outline.transform(turning(math.radians(figure.turn), figure.mirror))


def _height_note(placed: Outline, figure: FigurePart) -> tuple[Note, ...]:
    """What height of letters was chosen where the user gave none."""
    capital = capital_of(placed)
    if capital is None or figure.cap_height is not None:
        return ()
    why = ", the largest that the panel takes" if figure.fit else ""
    letters = " ".join((figure.text or "").split()).replace("{", "{{").replace("}", "}}")
    return (Note("cap height", f'the capitals of "{letters}" are {{}} high{why}.', (capital,)),)
