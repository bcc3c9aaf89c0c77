"""What the user measured on their own saws: mine.toml, beside the kit and before it.

One table [[measured]] for each blade in each wood and thickness. Other tables in the file are left alone.
"""

from __future__ import annotations

import datetime
import math
import tomllib
from dataclasses import MISSING, dataclass, fields, replace
from functools import lru_cache
from pathlib import Path
from typing import Any

from cutout.errors import KitError, shown
from cutout.kit.blade import Blade
from cutout.kit.data import settings_folder
from cutout.units import format_length

TABLE = "measured"
_MOST_ALLOWED = 2.0
"""More wood than this (mm) is not left for a file."""
_MONTHS = (
    "January",
    "February",
    "March",
    "April",
    "May",
    "June",
    "July",
    "August",
    "September",
    "October",
    "November",
    "December",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Measured:
    """One blade on one saw in one wood; lengths in mm, feed in mm a minute, entry (letting the blade in) and hole
    (drilling one) in seconds, date as ISO 8601. None: not measured.

    kerf_sure, bias: how sure the kerf is, and how far right of the line the hand saws; wander: how far it strays
    from that."""

    blade: str
    date: str
    kerf: float | None = None
    kerf_sure: float | None = None
    radius: float | None = None
    bias: float | None = None
    wander: float | None = None
    feed: float | None = None
    entry: float | None = None
    hole: float | None = None
    wood: str = ""
    thickness: float | None = None
    photo: str = ""

    def __post_init__(self) -> None:
        try:
            datetime.date.fromisoformat(self.date)
        except (TypeError, ValueError) as error:
            raise KitError(f'the date "{self.date}" is not a date: write it like 2026-11-26.') from error
        for name in ("kerf", "kerf_sure", "radius", "wander", "feed", "entry", "hole", "thickness"):
            value = getattr(self, name)
            if value is not None and not (
                math.isfinite(value) and value >= 0 and (value > 0 or name == "wander")
            ):
                raise KitError(f"{name} is {value}: it must be more than zero.")

    @property
    def key(self) -> tuple[str, str, float | None]:
        """What a later measurement of the same replaces: blade, wood, thickness."""
        return (self.blade, self.wood, self.thickness)

    @property
    def allowance(self) -> float | None:
        """Wood (mm) for the file that covers the hand's bias and wander, rounded up to a tenth; None: not
        measured."""
        if self.bias is None or self.wander is None:
            return None
        return min(math.ceil((abs(self.bias) + self.wander) * 10 - 1e-9) / 10, _MOST_ALLOWED)

    def said(self) -> str:
        """Where its values are from, for people."""
        day = datetime.date.fromisoformat(self.date)
        what = " ".join(
            w
            for w in (self.wood.replace("-", " "), format_length(self.thickness) if self.thickness else "")
            if w
        )
        return f"measured on your saw, {day.day} {_MONTHS[day.month - 1]} {day.year}" + (
            f", in {what}" if what else ""
        )


def mine_path() -> Path:
    """Where measured values are kept, among the user's settings."""
    return settings_folder() / "mine.toml"


def measured_in(path: Path, *, must: bool = False) -> tuple[Measured, ...]:
    """What a file holds, in its order; nothing where there is no file, unless it `must` be there. Raises KitError."""
    try:
        stamp = path.stat()
    except FileNotFoundError as error:
        if must:
            raise KitError(f"{shown(path)}: there is no such file of measured values.") from error
        return ()
    except OSError as error:
        raise KitError(f"{shown(path)}: can't be read: {error.strerror}.") from error
    return _read(path, (stamp.st_mtime_ns, stamp.st_size))


@lru_cache(maxsize=16)
def _read(path: Path, stamp: tuple[int, int]) -> tuple[Measured, ...]:
    """`stamp`: time and size of the file, so that a changed one is read again."""
    try:
        data = tomllib.loads(path.read_text("utf-8"))
    except (OSError, UnicodeDecodeError) as error:
        raise KitError(f"{shown(path)}: can't be read as text.") from error
    except tomllib.TOMLDecodeError as error:
        raise KitError(f"{shown(path)}: not valid TOML: {str(error)[:1].lower()}{str(error)[1:]}.") from error
    entries = data.get(TABLE, [])
    if not isinstance(entries, list) or not all(isinstance(e, dict) for e in entries):
        raise KitError(f"{shown(path)}: write each measurement as a table of its own, under [[{TABLE}]].")
    return tuple(_entry(path, n, entry) for n, entry in enumerate(entries, 1))


def _entry(path: Path, number: int, entry: dict[str, Any]) -> Measured:
    where = f"{shown(path)}, [[{TABLE}]] no. {number}"
    known = {f.name: f for f in fields(Measured)}
    for name, value in entry.items():
        if name not in known:
            raise KitError(f'{where}: unknown setting "{name}": use {", ".join(known)}.')
        text = str(known[name].type).startswith("str")
        if text != isinstance(value, str) or (
            not text and (isinstance(value, bool) or not isinstance(value, int | float))
        ):
            raise KitError(f"{where}: {name} is {'a text in quotes' if text else 'a number, in mm'}.")
    if missing := [n for n, f in known.items() if f.default is MISSING and n not in entry]:
        raise KitError(f"{where}: it needs {' and '.join(missing)}.")
    try:
        return Measured(**entry)
    except KitError as error:
        raise KitError(f"{where}: {error}") from error


def fitting(
    known: tuple[Measured, ...], blade: str, wood: str = "", thickness: float | None = None
) -> Measured | None:
    """The measurement of a blade that comes nearest: the same wood first, then the nearest thickness, then the
    latest."""
    of_blade = [m for m in known if m.blade == blade]
    if not of_blade:
        return None

    def far(m: Measured) -> float:
        if thickness is None or m.thickness is None:
            return math.inf
        return abs(math.log(m.thickness / thickness))

    best = min((m.wood != wood, far(m)) for m in of_blade)
    return max((m for m in of_blade if (m.wood != wood, far(m)) == best), key=lambda m: m.date)


def as_measured(blade: Blade, found: Measured) -> Blade:
    """The blade with the user's own values over the kit's."""
    changes: dict[str, Any] = {"measured_note": found.said()}
    if found.kerf is not None:
        # A slot narrower than the listed body shows that the listed body is not this blade's.
        changes |= {"kerf": found.kerf, "body": min(blade.body, 0.9 * found.kerf)}
    if found.radius is not None:
        changes |= {"radius": found.radius, "radius_from": "measured"}
    return replace(blade, **changes)


def with_measured(text: str, found: Measured, *, replacing: bool) -> str:
    """The text of a mine.toml with one measurement more, the rest as it was. Raises KitError where one of the same
    blade, wood and thickness is there already and may not be replaced."""
    import tomlkit

    document = tomlkit.parse(text) if text.strip() else tomlkit.document()
    if not text.strip():
        document.add(
            tomlkit.comment(
                "What you measured on your own saws; mm, mm a minute, seconds. `cutout kit` lists it."
            )
        )
    entries = document.get(TABLE)
    if entries is None:
        entries = tomlkit.aot()
        document.add(TABLE, entries)
    same = [k for k, e in enumerate(entries) if _key(dict(e)) == found.key]
    if same and not replacing:
        old = entries[same[0]]
        raise KitError(
            f"{found.blade} has been measured in this wood and thickness before ({old.get('date')}): --replace "
            "puts the new values in its place."
        )
    table = tomlkit.table()
    for field in fields(found):
        value = getattr(found, field.name)
        if value not in (None, ""):
            table.add(field.name, round(value, 3) if isinstance(value, float) else value)
    if same:
        entries[same[0]] = table
    else:
        entries.append(table)
    return tomlkit.dumps(document)


def _key(entry: dict[str, Any]) -> tuple[str, str, float | None]:
    thickness = entry.get("thickness")
    return (
        str(entry.get("blade")),
        str(entry.get("wood", "")),
        None if thickness is None else float(thickness),
    )
