"""What the user owns, and the physics of each: blades, drills, bits, woods, papers."""

from cutout.kit.bit import Bit, bit, bits
from cutout.kit.blade import Blade, blade, blades, turning_radius
from cutout.kit.board import Board, board, boards
from cutout.kit.drill import DrillSet, drill_sets, drills
from cutout.kit.feeds import ChipLoad, Feeds, chip_load, feeds
from cutout.kit.kit import Kit, Limits
from cutout.kit.machine import Machine, machine, machines
from cutout.kit.mine import Measured, as_measured, fitting, measured_in, mine_path
from cutout.kit.moves import Moves, moves, moves_of
from cutout.kit.paper import Paper, paper, papers
from cutout.kit.rule import Rule, rule, rules
from cutout.kit.wood import Wood, hankinson, wood, woods

__all__ = [
    "Bit",
    "Blade",
    "Board",
    "ChipLoad",
    "DrillSet",
    "Feeds",
    "Kit",
    "Limits",
    "Machine",
    "Measured",
    "Moves",
    "Paper",
    "Rule",
    "Wood",
    "as_measured",
    "bit",
    "bits",
    "blade",
    "blades",
    "board",
    "boards",
    "chip_load",
    "drill_sets",
    "drills",
    "feeds",
    "fitting",
    "hankinson",
    "machine",
    "machines",
    "measured_in",
    "mine_path",
    "moves",
    "moves_of",
    "paper",
    "papers",
    "rule",
    "rules",
    "turning_radius",
    "wood",
    "woods",
]
