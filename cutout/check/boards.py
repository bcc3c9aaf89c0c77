"""Panels glued up from boards: how many, where the glue lines fall, and how far the panel moves."""

from __future__ import annotations

import cmath
import math
from dataclasses import dataclass

import numpy as np
import shapely
from shapely import LineString

from cutout.finding import Facts, Finding
from cutout.kit import Wood
from cutout.pattern import Panel
from cutout.units import read_alike

SHIFT = 2.0
"""Glue lines are shifted by steps of this (mm) to come clear of webs."""


@dataclass(frozen=True, slots=True)
class Jams(Facts):
    """The panel moves more than the reveal lets it; size: by how much, limit: both reveals. change: percent."""

    change: float


def board_count(width: float, board: float) -> int:
    """Boards of actual width `board` (mm) side by side that make `width` mm, edges taken as straight already."""
    return max(1, math.ceil(width / board - 1e-9))


def across_grain(panel: Panel) -> float:
    """Size of the panel across its grain (mm), 0 for sheet goods; for a slanting grain of its whole extent."""
    return extent_across(panel.grain, panel.width, panel.height)


def extent_across(grain: float | None, width: float, height: float) -> float:
    """Size across the grain (radians) of a rectangle (mm), 0 where there is none."""
    return 0.0 if grain is None else width * abs(math.sin(grain)) + height * abs(math.cos(grain))


def glue_lines(panel: Panel) -> tuple[LineString, ...]:
    """Where boards meet, drawn over the panel, along the grain; none for one piece or sheet goods.

    Full boards are glued up and trimmed on both sides, alike unless `Panel.seams` shifts the lines.
    """
    if panel.grain is None or panel.board is None:
        return ()
    count = board_count(across_grain(panel) + 2 * abs(panel.seams), panel.board)
    along = cmath.exp(1j * panel.grain)
    middle = complex(*panel.middle)
    reach = math.hypot(panel.width, panel.height)
    offsets = (np.arange(1, count) - count / 2) * panel.board + panel.seams
    ends = middle + 1j * along * offsets[:, None] + along * np.array([-reach, reach])
    lines = shapely.linestrings(np.stack([ends.real, ends.imag], axis=-1))
    inside = (shapely.intersection(line, panel.polygon) for line in np.asarray(lines).tolist())
    return tuple(line for line in inside if isinstance(line, LineString) and line.length > 0)


def boards_in(panel: Panel) -> int:
    """How many boards the panel is glued up from, as its glue lines lie; 1 for one piece."""
    return len(glue_lines(panel)) + 1


def shifts(panel: Panel) -> tuple[float, ...]:
    """Where the glue lines could lie instead (mm, see `Panel.seams`): nearest first, within the boards there are.

    Where the boards leave nothing to spare, one more board lets the lines lie anywhere: those shifts come last.
    """
    if panel.grain is None or panel.board is None:
        return ()
    across = across_grain(panel)
    spare = (board_count(across, panel.board) * panel.board - across) / 2
    steps = np.arange(SHIFT, panel.board / 2, SHIFT)
    within = steps[steps <= spare + 1e-9]
    beyond = steps[steps > spare + 1e-9]
    return tuple(float(s * sign) for part in (within, beyond) for s in part for sign in (1.0, -1.0))


def movement(width: float, wood: Wood, change: float) -> float | None:
    """How much wider or narrower (mm) solid wood `width` mm across the grain gets for `change` % of moisture.

    width * C_T * change, flat-sawn. Source: Wood Handbook FPL-GTR-190, chapter 13. Nothing for sheet goods;
    None where the wood's C_T is not listed.
    """
    if not wood.has_grain:
        return 0.0
    return None if wood.tangential is None else width * wood.tangential * change


def movement_finding(panel: Panel, wood: Wood, change: float, reveal: float) -> Finding | None:
    """A `kit` finding where the panel's movement takes up more than the reveal on both its sides together.

    change: of moisture, in percent. reveal: gap on each side (mm). None when it fits or is not known.
    """
    moved = movement(across_grain(panel), wood, change)
    if moved is None or moved <= 2 * reveal:
        return None
    if read_alike(moved / 2, reveal):
        return None  # no larger than can be said: nothing to act on
    return Finding(
        kind="kit", severity="care", at=panel.middle, size=moved, limit=2 * reveal, facts=Jams(change)
    )
