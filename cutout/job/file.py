"""Job files: TOML in, TOML out, comments kept; errors name the line and suggest what was meant."""

from __future__ import annotations

import difflib
import math
import os
import re
import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import tomlkit
from pydantic import BaseModel, ValidationError
from tomlkit.exceptions import TOMLKitError

from cutout.errors import CutoutError, JobError, shown
from cutout.job.fields import entry_of, hints, kind_in, model_in, with_files
from cutout.job.schema import LENGTH, Job
from cutout.regular import read_whole
from cutout.units import MM_PER_INCH, Units, parse_length, spelled

_Path = tuple[str | int, ...]


MOST = 4 * 2**20
"""No job file is longer (bytes)."""


def load_job(path: Path) -> Job:
    """The job in a TOML file. Raises JobError with the line and a suggestion."""
    return parse_job(job_text(path), path.name)


def job_text(path: Path) -> str:
    """The text of a job file. Raises JobError."""
    try:
        return read_whole(path, MOST).decode("utf-8").replace("\r\n", "\n")
    except UnicodeDecodeError as error:
        raise JobError(f"{shown(path)}: can't be read: it is not text.") from error
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise JobError(f"{shown(path)}: can't be read: {reason}.") from error


def parse_job(text: str, name: str = "job.toml") -> Job:
    """The job in TOML text; `name` is used in messages. Raises JobError."""
    text = text.removeprefix("\ufeff")
    try:
        data = tomllib.loads(text)
    except RecursionError as error:
        raise JobError(f"{name}: not a job: brackets within brackets without end.") from error
    except tomllib.TOMLDecodeError as error:
        hint = _unquoted(text)
        raise JobError(f"{name}: not valid TOML: {str(error)[0].lower()}{str(error)[1:]}.{hint}") from error
    except ValueError as error:  # Python refuses to turn thousands of digits into a number
        raise JobError(f"{name}: holds a number with thousands of digits: write a shorter one.") from error
    return job_from(data, name, lines=_line_numbers(text))


def job_from(
    data: Mapping[str, Any],
    name: str = "job",
    bare: Units | None = None,
    lines: Mapping[_Path, int] | None = None,
    called: Mapping[str, str] | None = None,
) -> Job:
    """A validated job from plain data; `bare` is the unit of bare numbers, by default the job's `units`.

    called: what to call settings by their dotted path instead, for who gave them as flags.
    Raises JobError naming the first field that is wrong.
    """
    units = bare or data.get("units")
    try:
        return Job.model_validate(data, context={"units": units if units in ("mm", "in") else None})
    except ValidationError as error:
        first = min(error.errors(), key=lambda e: _line_of(e["loc"], lines or {}) or 0)
        if (flag := _called(first["loc"], called or {})) is not None:
            raise JobError(f"{flag}: {_sentence(first)}") from error
        line = _line_of(first["loc"], lines or {})
        where = f"{name}, line {line}" if line else name
        raise JobError(f"{where}: {_dotted(first['loc'])}: {_sentence(first)}") from error
    except CutoutError as error:
        raise JobError(f"{name}: {error}") from error


def dump_job(job: Job, original: str | None = None) -> str:
    """The job as TOML, lengths with their unit. With `original` its text, comments and order are kept.

    Only what differs from the defaults is written, or what `original` already says.
    """
    units = job.units or "mm"
    if original is None:
        document = tomlkit.document()
        document.add(tomlkit.comment("A cutout job; `cutout make` this file to repeat it."))
    else:
        try:
            document = tomlkit.parse(original.removeprefix("\ufeff"))
        except TOMLKitError as error:
            raise JobError(f"job file: can't be kept up to date: {error}.") from error
    _merge(document, _spell(job, units), _spell(job, units, defaults=True), units)
    return tomlkit.dumps(document)


def relocated(job: Job, old: Path, new: Path) -> Job:
    """The same job with the paths in it, relative to folder `old`, made relative to folder `new`."""

    def move(name: str) -> str:
        if Path(name).is_absolute():
            return name
        return Path(os.path.relpath((old / name).resolve(), new.resolve())).as_posix()

    return with_files(job, move)


def _spell(part: BaseModel, units: Units, *, defaults: bool = False) -> dict[str, Any]:
    """Plain data of a part, lengths as text with a unit; `defaults`: also fields that hold their default."""
    out: dict[str, Any] = {}
    of = hints(type(part))
    for name, field in type(part).model_fields.items():
        value = getattr(part, name)
        if isinstance(value, BaseModel):
            inner = _spell(value, units, defaults=defaults)
            if inner or field.get_default() is None:
                out[name] = inner
        elif defaults or value != field.get_default():
            out[name] = _plain_value(value, of[name], units, defaults)
    return out


def _plain_value(value: Any, annotation: Any, units: Units, defaults: bool) -> Any:
    if isinstance(value, BaseModel):
        return _spell(value, units, defaults=defaults)
    if isinstance(value, tuple | list):
        return [_plain_value(v, entry_of(annotation, n), units, defaults) for n, v in enumerate(value)]
    if kind_in(annotation) == LENGTH and isinstance(value, float | int):
        return _length_text(float(value), units)
    return value


def _length_text(mm: float, units: Units) -> str:
    """A length without loss: in the job's units where that is exact, else in mm."""
    if not math.isfinite(mm):
        raise JobError(f"a length of {mm} can't be kept: give a number.")
    inches = round(mm / MM_PER_INCH, 6)
    if units == "in" and abs(inches * MM_PER_INCH - mm) < 1e-9:
        return f"{inches:.6f}".rstrip("0").rstrip(".") + "in"
    return f"{mm:.9f}".rstrip("0").rstrip(".") + "mm" if abs(mm) >= 1e-6 or mm == 0 else spelled(mm)


def _merge(target: Any, wanted: Mapping[str, Any], full: Mapping[str, Any], units: Units) -> None:
    """Make a TOML table say what is wanted, touching only what differs; `full` also holds the defaults."""
    for key in [k for k in target if k not in wanted]:
        value = full.get(key)
        if isinstance(target[key], Mapping) and isinstance(value, Mapping):
            _merge(target[key], {}, value, units)
        elif value is None or not _same(target[key], value, units):
            del target[key]
    for key, value in wanted.items():
        old = target.get(key)
        if isinstance(value, Mapping):
            if not isinstance(old, Mapping):
                target[key] = tomlkit.table()
            _merge(target[key], value, full[key], units)
        elif value and isinstance(value, list) and isinstance(value[0], Mapping):
            _merge_tables(target, key, value, full[key], units)
        elif old is None or not _same(old, value, units):
            target[key] = value


def _merge_tables(target: Any, key: str, wanted: list[Any], full: list[Any], units: Units) -> None:
    old = target.get(key)
    tables = old if isinstance(old, list) else None
    if tables is None or len(tables) > len(wanted):
        target[key] = tables = tomlkit.aot()
    for n, value in enumerate(wanted):
        if n >= len(tables):
            tables.append(tomlkit.table())
        _merge(target[key][n], value, full[n], units)


def _same(old: Any, new: Any, units: Units) -> bool:
    """Equal as plain data; "40cm" and "400mm" count as the same length so that the user's wording stays."""
    plain = old.unwrap() if hasattr(old, "unwrap") else old
    if plain == new:
        return True
    if isinstance(plain, list | tuple) and isinstance(new, list | tuple) and len(plain) == len(new):
        return all(_same(a, b, units) for a, b in zip(plain, new, strict=True))
    if isinstance(plain, str | int | float) and isinstance(new, str) and not isinstance(plain, bool):
        return _mm(str(plain), units) is not None and _mm(str(plain), units) == _mm(new, units)
    return False


def _mm(text: str, units: Units) -> float | None:
    try:
        return round(parse_length(text, units), 6)
    except CutoutError:
        return None


def _unquoted(text: str) -> str:
    """What is most often wrong: a length without quotes."""
    found = re.search(r"^\s*\w+\s*=\s*(\d[\d./ -]*(?:mm|cm|m|in|ft|\"|'))\s*(?:#.*)?$", text, re.MULTILINE)
    return f' Put quotes round {found[1]}, like "{found[1]}".' if found else ""


def _line_numbers(text: str) -> dict[_Path, int]:
    """Line of each table and key of a TOML text, as written by people (one key a line)."""
    lines: dict[_Path, int] = {}
    counts: dict[_Path, int] = {}
    table: _Path = ()
    for number, line in enumerate(text.splitlines(), 1):
        if found := re.match(r"\s*\[\[([^\]]+)\]\]", line):
            path: _Path = tuple(k.strip().strip('"') for k in found[1].split("."))
            counts[path] = counts.get(path, -1) + 1
            table = (*path, counts[path])
            lines.setdefault(table, number)
        elif found := re.match(r"\s*\[([^\]]+)\]\s*(#.*)?$", line):
            table = tuple(k.strip().strip('"') for k in found[1].split("."))
            lines.setdefault(table, number)
        elif found := re.match(r"\s*([\w\".-]+)\s*=", line):
            key = tuple(k.strip().strip('"') for k in found[1].split("."))
            lines.setdefault((*table, *key), number)
    return lines


def _line_of(loc: _Path, lines: Mapping[_Path, int]) -> int | None:
    """Line of a field, or of the nearest thing around it that has one."""
    return next((lines[loc[:n]] for n in range(len(loc), 0, -1) if loc[:n] in lines), None)


_PLAIN = {
    "model_type": "write it as a table of settings, like [panel]",
    "model_attributes_type": "write it as a table of settings, like [panel]",
    "dict_type": "write it as a table of settings, like [panel]",
    "tuple_type": "write it as a list, in brackets or as [[figures]] is",
    "float_parsing": "write a number",
    "float_type": "write a number",
    "int_parsing": "write a whole number",
    "int_type": "write a whole number",
}
"""What kind of thing a setting wants, for people who don't know the names of types."""


def _dotted(loc: _Path) -> str:
    """A field by name, entries counted from 1; what the validator says of the types it tried is left out."""
    known = [part for n, part in enumerate(loc) if isinstance(part, int) or _is_field(loc[:n], part)]
    return ".".join(str(part + 1) if isinstance(part, int) else part for part in known)


def _called(loc: _Path, called: Mapping[str, str]) -> str | None:
    """The name a field goes by where it was given as a flag."""
    path = ".".join(str(part) for part in loc)
    return next((flag for at, flag in called.items() if path == at or path.startswith(f"{at}.")), None)


def _is_field(loc: _Path, part: str) -> bool:
    return not loc or not re.fullmatch(r"float|int|str|literal\[.*\]|function.*", part)


def _sentence(error: Any) -> str:
    """What is wrong with a field, and what was perhaps meant."""
    message = _PLAIN.get(error["type"]) or str(error["msg"]).removeprefix("Value error, ")
    if error["type"] == "extra_forbidden":
        known = _fields_at(tuple(error["loc"])[:-1])
        near = difflib.get_close_matches(str(error["loc"][-1]), known, 1)
        hint = f'did you mean "{near[0]}"?' if near else f"use one of {', '.join(sorted(known))}."
        return f"there is no such setting; {hint}"
    return message[0].lower() + message[1:] + ("" if message.endswith((".", "?")) else ".")


def _fields_at(loc: _Path) -> list[str]:
    model: Any = Job
    for part in loc:
        if isinstance(part, str):
            model = model_in(hints(model).get(part)) if part in model.model_fields else None
        if model is None:
            return []
    return list(model.model_fields)
