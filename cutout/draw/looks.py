"""How each line, area and mark looks, on paper and on the screen: declared here once.

Lines differ by form and weight, not by their dashes alone, and all can be told apart in grey. Widths in mm. Thin
lines show places, heavy ones edges; line kinds follow ISO 128 where it has one (from memory).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeAlias

Ink: TypeAlias = float | str
"""A grey from 0 (black) to 1 (white), or a colour as #rrggbb."""


def rgb(ink: Ink) -> tuple[int, int, int]:
    """Red, green and blue of an ink, 0 to 255."""
    if isinstance(ink, str):
        return int(ink[1:3], 16), int(ink[3:5], 16), int(ink[5:7], 16)
    grey = round(255 * ink)
    return grey, grey, grey


@dataclass(frozen=True, slots=True, kw_only=True)
class Hatch:
    """Slanting lines over a filling: their distance, width (mm) and grey."""

    apart: float
    width: float
    grey: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Look:
    """How something is drawn. name: what it is. width: of its line (mm), 0 for none; dash: lengths on and off (mm).

    fill: of an area or of letters; None for none.
    """

    name: str
    width: float = 0.0
    ink: Ink = 0.0
    dash: tuple[float, ...] = ()
    round_ends: bool = False
    fill: Ink | None = None
    hatch: Hatch | None = None


EDGE = Look(name="edge", width=0.7)
"""The panel's edge: the heaviest line."""
EDGE_FINE = Look(name="edge", width=0.2, dash=(6, 2))
"""The same in a file that other programs go on with."""
MIDDLE = Look(name="middle", width=0.13, ink=0.35, dash=(9, 1.5, 0.4, 1.5))
"""A middle line: long dash and dot."""
SEAM = Look(name="seam", width=0.18, ink=0.2)
STITCH = Look(name="stitch", width=0.25, ink=0.1)
"""Pairs of strokes across a glue line."""
ZONE = Look(name="zone", width=0.45, ink=0.1, dash=(0.01, 1.6), round_ends=True)
"""The border of a part to keep clear of: round dots."""
DRAWN = Look(name="drawn", width=0.35)
"""What belongs on a face: a plain line."""
LEG = Look(name="leg", width=0.3, dash=(1.8, 1.0))
"""A stretch of sawing across the waste: the only short dashes on a template."""
LEG_SMALL = Look(name="leg", width=0.18, ink=0.25, dash=(0.9, 0.7))
"""The same where the panel is drawn smaller."""
ARROW = Look(name="arrow", width=0.35)
STOP = Look(name="stop", width=0.45)
"""A bar where a cut ends in an earlier one."""
START = Look(name="start", width=0.8)
"""What a step begins with."""
TRIM = Look(name="trim", width=0.25)
WINDOW = Look(name="window", width=0.1, ink=0.6)
"""The edge of a sheet's window that is not trimmed."""
TWIN = Look(name="twin", width=0.1, ink=0.35)
"""Two thin lines with the next sheet's edge between them."""
CROSS = Look(name="cross", width=0.2)
"""A register cross."""
RIM = Look(name="hole", width=0.25)
"""The rim of a hole, of a ring, of a box."""
FINE = Look(name="fine", width=0.13)
"""The cross through a hole; a line that a size is measured to."""
CENTRE = Look(name="centre", width=0.18)
"""Where a drill or a screw is set; the rim of a detail on the view."""
LEADER = Look(name="leader", width=0.13, ink=0.2)
MEASURE, TICK = Look(name="size", width=0.18), Look(name="tick", width=0.45)
"""The line of a dimension, and the strokes that end it."""
BRIDGE = Look(name="bridge", width=0.5)
WEAK = Look(name="weak", width=0.18)
BOX = Look(name="box", width=0.25, fill=1.0)
"""White with a thin rim, for a number to stand on."""
SOLID = Look(name="solid", fill=0.0)
PAPER = Look(name="paper", fill=1.0)
INK = Look(name="words", fill=0.0)

WASTE = Look(name="waste", fill=0.9, hatch=Hatch(apart=5.0, width=0.1, grey=0.72))
"""What is cut away, at full size: its tint is light enough to write on and to spare ink, dark enough to survive a
copier; one that drops it keeps the lines."""
WASTE_SMALL = Look(name="waste", fill=0.87)
CUT_SMALL = Look(name="cut", width=0.5)
"""The outline where the panel is drawn smaller; at full size it is as wide as the job says."""

BOARD = Look(name="board", width=0.3, fill="#f3e6cf")
AWAY = Look(name="waste", width=0.2, fill="#bdbdbd")
"""What is cut away, in a picture in colour."""
STRIP = Look(name="bridge", width=0.25, dash=(0.8, 0.6))
EASED = Look(name="eased", width=0.25, fill=1.0)
FILE = Look(name="file", fill=0.07)
MUST = Look(name="stop", width=0.3, ink="#8a1500", fill="#ffd2c8")
"""A finding that must be settled."""
CARE = Look(name="care", width=0.2, ink=1.0, fill="#7a5200")
"""A finding that needs care."""
SPOT = Look(name="spot", width=0.2, fill=1.0)
WOOD_EDGE = Look(name="edge", width=0.2, ink="#462d14")
"""Where the wood ends, in the picture of the finished panel."""
WALL = Look(name="wall", fill="#eeeeec")
"""Behind the panel, in pictures of it."""
WOOD, SHEET = Look(name="wood", fill="#e3c493"), Look(name="sheet", fill="#d3b68c")
"""Wood with a grain, and sheet goods, in that picture and on the page. Taste."""

SWEPT = Look(name="swept", fill=0.72)
"""Where a router's bit goes."""
CLAMPS = Look(name="clamps", width=0.15, ink=0.3, dash=(0.8, 0.8))
"""How near to that a screw or a clamp may come."""
AXIS = Look(name="axis", width=0.5)
PIECE = Look(name="piece", width=0.15, fill=0.88)
"""A panel laid out on a board."""
