"""Papers to print on."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

from cutout.errors import KitError, UnitError
from cutout.kit.data import choose, load
from cutout.units import Units, parse_positive, parse_size


@dataclass(frozen=True, slots=True)
class Paper:
    """A sheet of paper, portrait, in mm; `height` None is a roll of that width."""

    name: str
    title: str
    width: float
    height: float | None
    source: str


@cache
def papers() -> dict[str, Paper]:
    """Every paper of the data file by name."""
    return {entry["name"]: Paper(**entry) for entry in load("papers")["paper"]}


def paper(text: str, default: Units | None = None) -> Paper:
    """A paper by name, a custom sheet like "300x420mm", or a roll like "roll 610mm". Raises KitError."""
    key = text.strip().lower()
    if key in papers():
        return papers()[key]
    try:
        if key.startswith("roll"):
            width = parse_positive(key[4:], default, what="roll")
            found = Paper("roll", f"roll {width:g} mm wide", width, None, "the user's own")
        elif "x" in key and any(c.isdigit() for c in key):
            width, height = sorted(parse_size(key, default, what="paper"))
            found = Paper("custom", f"{width:g} x {height:g} mm", width, height, "the user's own")
        else:
            return papers()[choose("paper", text, papers())]
    except UnitError as error:
        raise KitError(str(error)) from error
    if found.width < 60 or (found.height or 1e9) < 60:
        raise KitError(f'paper "{text}" is too small to hold marks and labels: 60 mm at least each way.')
    return found
