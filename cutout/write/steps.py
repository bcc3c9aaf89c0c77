"""How the plan's lettered steps are named on paper."""

from __future__ import annotations

from collections.abc import Iterable

import shapely

from cutout.saw.model import HELD, Plan, Step


def falls(step: Step) -> bool:
    """Whether a piece comes free in this step that is to be held."""
    return bool((shapely.area(shapely.get_parts(step.drops)) >= HELD).any())


def is_drilling(step: Step) -> bool:
    """Whether the step is for the drill alone."""
    return bool(step.holes) and not step.legs


def is_whole(step: Step, plan: Plan) -> bool:
    """Whether the step saws an opening from beginning to end, and nothing else."""
    of = {leg.opening for leg in plan.legs if leg.order in step.legs}
    return len(of) == 1 and sum(leg.opening in of for leg in plan.legs) == len(step.legs)


def by_leg(steps: Iterable[Step]) -> dict[int, Step]:
    """The step of each leg, by the leg's number."""
    return {order: step for step in steps for order in step.legs}
