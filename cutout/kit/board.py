"""Boards as the yard sells them, by name, by width, or from a list of one's own."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache

from cutout.errors import CutoutError, KitError
from cutout.kit.data import load
from cutout.units import MM_PER_INCH, Units, format_length, parse_positive, parse_size

ROUGH = 5.0
"""Planing takes this much (mm) off the thickness and the width of a rough-sawn board: common practice, no source."""
NARROWEST = 15.0
"""What is narrower than this (mm) is a strip, not a board; such a width is taken for a slip."""
FOOT = 12 * MM_PER_INCH


@dataclass(frozen=True, slots=True)
class Board:
    """A board: actual width and thickness in mm (thickness None: as the panel's).

    rough: as sawn, to be planed. nominal: inches by which the yard counts board feet, None: the actual size counts.
    price: for each metre of it, in the user's money. length: longest the user can have, mm.
    """

    name: str
    width: float
    thickness: float | None = None
    source: str = "given by you"
    rough: bool = False
    nominal: tuple[float, float] | None = None
    price: float | None = None
    length: float | None = None

    @property
    def usable(self) -> float:
        """Width (mm) that is left in a glued-up panel."""
        return self.width - (ROUGH if self.rough else 0.0)

    @property
    def planed(self) -> float | None:
        """Thickest (mm) it can be once planed."""
        return None if self.thickness is None else self.thickness - (ROUGH if self.rough else 0.0)

    def board_feet(self, length: float, thickness: float) -> float:
        """Board feet of `length` mm: nominal inches where it has them, else actual size. 1 = 12 x 12 x 1 in."""
        thick, wide = self.nominal or (
            (self.thickness or thickness) / MM_PER_INCH,
            self.width / MM_PER_INCH,
        )
        return thick * wide * (length / FOOT) / 12


@cache
def boards() -> dict[str, Board]:
    """The boards of the data file by name."""
    entries = load("boards")["board"]
    made = (Board(**{**e, "nominal": tuple(e["nominal"]) if "nominal" in e else None}) for e in entries)
    return {b.name: b for b in made}


def board(text: str, units: Units | None = None, own: Sequence[Board] = ()) -> Board:
    """A board by name (the user's own list first), by width like 90mm, or by width and thickness like 90x20mm.

    Raises KitError for what is none of these.
    """
    key = text.strip().lower().replace(" ", "-")
    known = {**boards(), **{b.name.strip().lower().replace(" ", "-"): b for b in own}}
    if key in known:
        return known[key]
    for parse in (_width, _width_and_thickness):
        try:
            found = parse(text, units)
        except CutoutError:
            continue
        if found.width >= NARROWEST:
            return found
    raise KitError(
        f'unknown board "{text}": give its actual width, like 90mm, or width and thickness, like 90x20mm, or use '
        f"one of {', '.join(known)} (`cutout kit` lists them)."
    )


def _width(text: str, units: Units | None) -> Board:
    width = parse_positive(text, units, what="board")
    return Board(f"{format_length(width, units or 'mm')} wide", width)


def _width_and_thickness(text: str, units: Units | None) -> Board:
    width, thickness = parse_size(text, units, what="board")
    name = f"{format_length(width, units or 'mm')} wide, {format_length(thickness, units or 'mm')} thick"
    return Board(name, width, thickness)
