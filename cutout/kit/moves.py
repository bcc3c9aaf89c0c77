"""What the moves of a saw take, so that a plan can be made for time."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

from cutout.errors import KitError
from cutout.kit.data import load


@dataclass(frozen=True, slots=True)
class Moves:
    """Seconds each move of one kind of saw takes.

    lift: out of a kerf and into another one; drop_in: into a hole or where waste has fallen, the saw at hand;
    thread: a blade unclamped and passed through a hole (only where `threads`: such a saw can't be lifted out of the
    panel at all); turn: on the spot, in a hole or in fallen waste; hole: marked and drilled; change: another drill.
    back: how many times as fast a blade goes back in its own kerf as it cuts. allowance: wood (mm) that may stay
    on the waste side of the line for the file.
    """

    saw: str
    lift: float
    drop_in: float
    thread: float
    turn: float
    hole: float
    change: float
    back: float
    threads: bool
    allowance: float
    source: str

    @property
    def spins(self) -> bool:
        """Whether the blade is turned on the spot in its own kerf: a thin one, held at both ends.

        Source: Creative Woodworks & Crafts, January 2005, p. 22 (scroll saw); other frame saws the same way, common
        practice.
        """
        return self.threads

    def __post_init__(self) -> None:
        times = (self.lift, self.drop_in, self.thread, self.turn, self.hole, self.change)
        if not all(t >= 0 for t in times) or self.back <= 0 or self.allowance < 0:
            raise KitError(
                "times and the allowance can't be negative, and a blade must go back at some speed."
            )


@cache
def moves() -> dict[str, Moves]:
    """The moves of every kind of saw, by the saw's name as blades have it."""
    return {entry["saw"]: Moves(**entry) for entry in load("moves").values()}


def moves_of(saw: str) -> Moves:
    """The moves of one kind of saw. Raises KitError."""
    if saw not in moves():
        raise KitError(f'no times are known for a "{saw}": use one of {", ".join(moves())}.')
    return moves()[saw]
