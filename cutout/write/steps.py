"""How the plan's lettered steps are named on paper."""

from __future__ import annotations

from collections.abc import Iterable

import shapely

from cutout.saw.model import HELD, Step


def falls(step: Step) -> bool:
    """Whether a piece comes free in this step that is to be held."""
    return bool((shapely.area(shapely.get_parts(step.drops)) >= HELD).any())


def is_drilling(step: Step) -> bool:
    """Whether the step is for the drill alone."""
    return bool(step.holes) and not step.legs


def by_leg(steps: Iterable[Step]) -> dict[int, Step]:
    """The step of each leg, by the leg's number."""
    return {order: step for step in steps for order in step.legs}


def mark_of(step: Step, order: int) -> str:
    """What is written at a cut: the step's letter where it begins, the letter and the cut's number at the others, so
    that no number of a cut is taken for that of a hole."""
    return step.letter if order == step.legs[0] else f"{step.letter}{order}"
