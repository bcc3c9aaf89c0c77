"""The cut plan and its proof."""

from cutout.saw.planner.plan import plan
from cutout.saw.prove import prove

__all__ = ["plan", "prove"]
