"""Data files of the kit, one TOML per kind, each value with its source; and the user's own file over them.

The user's file holds the same tables ([[bit]], [[machine]], [[blade]], [[wood]]) with the same keys. Lengths may
be written there as people write them, in quotes; a name that the kit has too is taken from the user's file.
"""

from __future__ import annotations

import os
import sys
import tomllib
from collections.abc import Mapping
from dataclasses import MISSING, fields
from functools import cache
from importlib import resources
from pathlib import Path
from typing import Any, TypeVar, cast

from cutout.errors import KitError, UnitError, shown
from cutout.units import parse_positive

T = TypeVar("T")

OWN_TABLES = ("bit", "machine", "blade", "wood")
"""Tables a user's own kit file may hold."""
_OWN_SOURCE = "your own kit file"


@cache
def load(name: str) -> dict[str, Any]:
    """The parsed data file `name`.toml."""
    return tomllib.loads(resources.files(__name__).joinpath(f"{name}.toml").read_text("utf-8"))


def choose(kind: str, wanted: str, known: Mapping[str, Any]) -> str:
    """`wanted` if it is a key of `known`, case and spaces forgiven. Raises KitError listing what there is."""
    key = wanted.strip().lower().replace(" ", "-")
    if key in known:
        return key
    raise KitError(f'unknown {kind} "{wanted}": use one of {", ".join(known)} (`cutout kit` lists them).')


def own_path() -> Path:
    """Where the user's own kit file is looked for: CUTOUT_KIT, else kit.toml among the user's settings."""
    if named := os.environ.get("CUTOUT_KIT"):
        return Path(named)
    return settings_folder() / "kit.toml"


def settings_folder() -> Path:
    """Where this system keeps a user's settings (XDG base directories elsewhere than on Windows and macOS)."""
    if sys.platform == "win32":
        base = Path(os.environ.get("APPDATA") or Path.home() / "AppData" / "Roaming")
    elif sys.platform == "darwin":
        base = Path.home() / "Library" / "Application Support"
    else:
        base = Path(os.environ.get("XDG_CONFIG_HOME") or Path.home() / ".config")
    return base / "cutout"


def table(file: str, key: str, cls: type[T]) -> dict[str, T]:
    """Every entry [[key]] of a data file, and of the user's own file, by name. Raises KitError."""
    return {**_shipped(file, key, cast(Any, cls)), **own(key, cls)}


def own(key: str, cls: type[T]) -> dict[str, T]:
    """The entries [[key]] of the user's own file; none when there is no such file. Raises KitError."""
    path = own_path()
    try:
        stamp = path.stat()
    except OSError:
        return {}
    return dict(_own(path, (stamp.st_mtime_ns, stamp.st_size), key, cast(Any, cls)))


@cache
def _shipped(file: str, key: str, cls: Any) -> dict[str, Any]:
    return {entry["name"]: cls(**entry) for entry in load(file)[key]}


@cache
def _own(path: Path, stamp: tuple[int, int], key: str, cls: Any) -> dict[str, Any]:
    """`stamp` (time and size of the file) makes a changed file be read again."""
    entries = _parsed(path).get(key, [])
    if not isinstance(entries, list) or not all(isinstance(entry, dict) for entry in entries):
        raise KitError(f"{shown(path)}: write each {key} as a table of its own, under [[{key}]].")
    return {made[0]: made[1] for made in (_entry(path, key, cls, entry) for entry in entries)}


def _parsed(path: Path) -> dict[str, Any]:
    try:
        data = tomllib.loads(path.read_text("utf-8"))
    except (OSError, UnicodeDecodeError) as error:
        raise KitError(f"{shown(path)}: your own kit file can't be read ({type(error).__name__}).") from error
    except tomllib.TOMLDecodeError as error:
        raise KitError(f"{shown(path)}: {str(error)[:1].lower()}{str(error)[1:]}.") from error
    if odd := [name for name in data if name not in OWN_TABLES]:
        raise KitError(f'{shown(path)}: unknown table "{odd[0]}": use {", ".join(OWN_TABLES)}.')
    return data


def _entry(path: Path, key: str, cls: type[T], entry: dict[str, Any]) -> tuple[str, T]:
    """One entry of the user's file as a value, its lengths in mm. Raises KitError with the file's name."""
    name = entry.get("name")
    if not isinstance(name, str) or not name.strip():
        raise KitError(f"{shown(path)}: every {key} needs a name.")
    called = f'{shown(path)}, {key} "{name}"'
    known = {field.name: field for field in fields(cls)}  # type: ignore[arg-type]
    if odd := [word for word in entry if word not in known]:
        raise KitError(f'{called}: unknown setting "{odd[0]}": use {", ".join(known)}.')
    full = {"title": name, "source": _OWN_SOURCE, **entry}
    missing = [
        n for n, f in known.items() if n not in full and f.default is MISSING and f.default_factory is MISSING
    ]
    if missing:
        raise KitError(f"{called}: it needs {', '.join(missing)}.")
    try:
        made = cls(**{n: _value(called, n, v, str(known[n].type)) for n, v in full.items() if n in known})
    except (TypeError, ValueError) as error:
        raise KitError(f"{called}: a value is not what it should be ({error}).") from error
    except KitError as error:
        raise KitError(f"{shown(path)}: {error}") from error
    return name.strip().lower().replace(" ", "-"), made


def _value(called: str, name: str, value: Any, kind: str) -> Any:
    """A value of the file as its field takes it; a length in quotes becomes mm."""
    if "tuple[float, float]" in kind:
        if not isinstance(value, list) or len(value) != 2:
            raise KitError(f'{called}: {name} needs two lengths, like ["600mm", "400mm"].')
        return tuple(float(_value(called, name, part, "float")) for part in value)
    if not kind.startswith(("float", "int")):
        wanted: type = bool if kind == "bool" else str
        if not isinstance(value, wanted):
            raise KitError(
                f"{called}: {name} is {'true or false' if kind == 'bool' else 'a text in quotes'}."
            )
        return value
    if isinstance(value, str):
        try:
            return parse_positive(value, what=name)
        except UnitError as error:
            raise KitError(f"{called}: {error}") from error
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise KitError(f"{called}: {name} is a number, or a length in quotes.")
    return value
