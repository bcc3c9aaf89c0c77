"""What the user owns, and the physics of each: blades, drills, bits, woods, papers."""

from cutout.kit.bit import Bit, bit, bits
from cutout.kit.blade import Blade, blade, blades, turning_radius
from cutout.kit.drill import DrillSet, drill_sets, drills
from cutout.kit.kit import Kit, Limits
from cutout.kit.mine import Measured, as_measured, fitting, measured_in, mine_path
from cutout.kit.moves import Moves, moves, moves_of
from cutout.kit.paper import Paper, paper, papers
from cutout.kit.wood import Board, Wood, boards, hankinson, wood, woods

__all__ = [
    "Bit",
    "Blade",
    "Board",
    "DrillSet",
    "Kit",
    "Limits",
    "Measured",
    "Moves",
    "Paper",
    "Wood",
    "as_measured",
    "bit",
    "bits",
    "blade",
    "blades",
    "boards",
    "drill_sets",
    "drills",
    "fitting",
    "hankinson",
    "measured_in",
    "mine_path",
    "moves",
    "moves_of",
    "paper",
    "papers",
    "turning_radius",
    "wood",
    "woods",
]  # fmt: skip
