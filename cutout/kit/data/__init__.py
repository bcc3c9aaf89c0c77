"""Data files of the kit, one TOML per kind, each value with its source."""

from __future__ import annotations

import tomllib
from functools import cache
from importlib import resources
from typing import Any


@cache
def load(name: str) -> dict[str, Any]:
    """The parsed data file `name`.toml."""
    return tomllib.loads(resources.files(__name__).joinpath(f"{name}.toml").read_text("utf-8"))


def choose(kind: str, wanted: str, known: dict[str, Any]) -> str:
    """`wanted` if it is a key of `known`, case and spaces forgiven. Raises KitError listing what there is."""
    from cutout.errors import KitError

    key = wanted.strip().lower().replace(" ", "-")
    if key in known:
        return key
    raise KitError(f'unknown {kind} "{wanted}": use one of {", ".join(known)} (`cutout kit` lists them).')
