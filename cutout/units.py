"""Lengths as people write them, to and from millimetres."""

from __future__ import annotations

import math
import re
from decimal import Decimal
from fractions import Fraction
from typing import Literal

from cutout.errors import UnitError

Units = Literal["mm", "in"]

MM_PER_INCH = 25.4  # exactly, since 1959
_PER_UNIT = {"mm": 1.0, "cm": 10.0, "m": 1000.0, "in": MM_PER_INCH, "ft": 12 * MM_PER_INCH}
_NAMES = {
    "in": "\" ″ ” '' inch inches in.",
    "ft": "' ′ ’ foot feet ft.",
    "mm": "millimetre millimetres millimeter millimeters",
    "cm": "centimetre centimetres centimeter centimeters",
}
_ALIASES = {name: unit for unit, names in _NAMES.items() for name in names.split()}
_VULGAR = dict(zip("½¼¾⅛⅜⅝⅞⅓⅔", "1/2 1/4 3/4 1/8 3/8 5/8 7/8 1/3 2/3".split(), strict=True))
FARTHEST = 100_001.0
"""No length in a workshop is more (mm): 100 m, and what rounding adds."""
_LONGEST = 60
"""No length a person writes is longer (characters)."""
_NUMBER = r"(?:\d+(?:\.\d*)?|\.\d+)"
_QUANTITY = rf"(?P<whole>{_NUMBER})?(?:(?:\s*-\s*|\s+)?(?P<num>\d+)\s*/\s*(?P<den>\d+))?"
_SINGLE = re.compile(rf"(?P<sign>[+-])?\s*{_QUANTITY}\s*(?P<unit>[^\d\s.,/+-][^\d]*)?")
_FRACTION_ONLY = re.compile(
    r"(?P<sign>[+-])?\s*(?P<num>\d+)\s*/\s*(?P<den>\d+)\s*(?P<unit>[^\d\s.,/+-][^\d]*)?"
)
_THOUSANDS = re.compile(r"\s*[+-]?([1-9]\d{0,2}),(\d{3})\s*([a-zA-Z]*)\s*")
"""A comma with three digits behind it parts thousands to some and decimals to others."""
_FEET_INCHES = re.compile(r"(?P<feet>\d+)\s*(?:'|′|’|ft\.?|feet|foot)\s*-?\s*(?P<rest>[\d.].*)")


def parse_length(text: str, default: Units | None = None, *, what: str = "length") -> float:
    """Millimetres of a length as people write it: 400mm, 40cm, 18in, 14-1/2", 1/8", 2'6".

    `default` gives the unit of a bare number; without it a bare number is refused. `what` names the
    quantity in the message. Raises UnitError.
    """
    text = " ".join(text.split())
    value = _parse(text, default, what)
    if not math.isfinite(value):
        raise UnitError(f'{what} "{text}" is not a number: write it like 400mm or 14-1/2in.')
    if abs(value) > FARTHEST:
        raise UnitError(f'{what} "{text}" is more than 100 m: look at its unit.')
    return value


def spelled(mm: float) -> str:
    """A number of mm as people would type it, without loss: never 1e-10."""
    return f"{Decimal(repr(float(mm))):f}mm"


def parse_positive(text: str, default: Units | None = None, *, what: str = "length") -> float:
    """Like `parse_length`, but refuses zero and negative lengths. Raises UnitError."""
    value = parse_length(text, default, what=what)
    if value <= 0:
        raise UnitError(f'{what} is "{text}": it must be more than zero.')
    return value


def parse_size(text: str, default: Units | None = None, *, what: str = "size") -> tuple[float, float]:
    """Width and height in mm of "500x700mm", "20in x 30in" or 18"x24"; one unit may serve both."""
    text = " ".join(text.split())
    parts = re.split(r"\s*[x×X*]\s*", text)
    if len(parts) != 2 or not all(parts):
        raise UnitError(f'{what} "{text}": write width x height, like 500x700mm or 20x30in.')
    first, second = parts
    if _bare(first):
        first += _unit_of(second)
    elif _bare(second):
        second += _unit_of(first)
    return parse_positive(first, default, what=f"{what} width"), parse_positive(
        second, default, what=f"{what} height"
    )


def format_length(mm: float, units: Units = "mm") -> str:
    """A length for people: 368 mm, 3.2 mm, 14-1/2 in (nearest 1/64, decimals below that)."""
    if units == "mm":
        digits = 0 if abs(mm) >= 100 else 1 if abs(mm) >= 1 else 2
        text = f"{mm:.{digits}f}"
        if "." in text:
            text = text.rstrip("0").rstrip(".")
        return f"{'0' if text == '-0' else text} mm"
    return f"{_inches(mm / MM_PER_INCH)} in"


def read_alike(a: float, b: float) -> bool:
    """Whether two lengths (mm) come out the same once they are rounded for people, in the finer unit.

    "3 mm wide: 3 mm would be sound" helps nobody. The reader's unit plays no part: what is found never does.
    """
    return format_length(a, "mm") == format_length(b, "mm")


def format_rule(mm: float, units: Units = "mm") -> str:
    """A length as it is read off a rule or tape, not one to be given back to the program: 368 mm, 14-1/2 in.

    Inches to the nearest 1/32 up to six, 1/16 up to 36, then whole ones.
    """
    if units == "mm":
        return format_length(mm, units)
    inches = abs(mm) / MM_PER_INCH
    parts = 32 if inches < 6 else 16 if inches < 36 else 1
    nearest = round(mm / MM_PER_INCH * parts) / parts * MM_PER_INCH
    return format_length(nearest, units)


def format_size(width: float, height: float, units: Units = "mm", *, rule: bool = False) -> str:
    """Width x height for people: 500 x 700 mm, 14-1/2 x 20 in. rule: as read off a rule, like `format_rule`."""
    say = format_rule if rule else format_length
    first, unit = say(width, units).rsplit(" ", 1)
    return f"{first} x {say(height, units).rsplit(' ', 1)[0]} {unit}"


def format_minutes(minutes: float) -> str:
    """An estimate of time for people: 8 min, 40 min, 1 h 20 min; from a quarter of an hour on to five minutes."""
    step = 1 if minutes < 15 else 5
    hours, rest = divmod(max(1, step * round(minutes / step)), 60)
    return " ".join(filter(None, (f"{hours} h" if hours else "", f"{rest} min" if rest else "")))


def count(n: int, one: str, many: str = "") -> str:
    """A number with its noun: 1 hole, 3 holes; `many` where the plural is not formed with an s."""
    return f"{n} {one if n == 1 else many or one + 's'}"


def _inches(value: float) -> str:
    sign = "-" if value < 0 else ""
    value = abs(value)
    nearest = Fraction(round(value * 64), 64)
    if nearest == 0 and value > 0:
        return f"{sign}{value:.3f}"
    whole, rest = divmod(nearest, 1)
    if rest == 0:
        return f"{sign}{whole}"
    return f"{sign}{whole}-{rest}" if whole else f"{sign}{rest}"


def _bare(text: str) -> bool:
    return bool(re.fullmatch(r"[\d\s./½¼¾⅛⅜⅝⅞⅓⅔-]+", text))


def _unit_of(text: str) -> str:
    found = re.search(r"[^\d\s./-]+\s*$", text)
    return found.group(0).strip() if found else ""


def _parse(text: str, default: Units | None, what: str) -> float:
    if len(text) > _LONGEST:
        raise UnitError(
            f'{what} "{text[:20]}..." is not a length: write it like 400mm, 40cm, 14-1/2in or 2\'6".'
        )
    if thousands := _THOUSANDS.fullmatch(text):
        whole, rest, unit = thousands.groups()
        ways = f"{whole}{rest}{unit or 'mm'} or {whole}.{rest}{unit or 'mm'}"
        raise UnitError(f'{what} "{text}" may be read two ways: write {ways}.')
    clean = (
        text.strip().replace(",", ".") if re.fullmatch(r"\s*\d+,\d+\s*[a-zA-Z]*\s*", text) else text.strip()
    )
    for glyph, plain in _VULGAR.items():
        clean = clean.replace(glyph, f" {plain}")
    clean = clean.strip()
    if found := _FEET_INCHES.fullmatch(clean):
        return float(found["feet"]) * _PER_UNIT["ft"] + _parse(found["rest"], "in", what)
    found = _FRACTION_ONLY.fullmatch(clean) or _SINGLE.fullmatch(clean)
    if not found or not (found.groupdict().get("whole") or found["num"]):
        raise UnitError(f'{what} "{text}" is not a length: write it like 400mm, 40cm, 14-1/2in or 2\'6".')
    value = float(found.groupdict().get("whole") or 0)
    if found["num"]:
        if int(found["den"]) == 0:
            raise UnitError(f'{what} "{text}" divides by zero: write it like 14-1/2in.')
        value += int(found["num"]) / int(found["den"])
    factor = _factor((found["unit"] or "").strip(), default, text, what)
    return (-value if found["sign"] == "-" else value) * factor


def _factor(unit: str, default: Units | None, text: str, what: str) -> float:
    if not unit:
        if default is None:
            raise UnitError(f'{what} is "{text}": give a unit, e.g. "{text}mm" or "{text}in".')
        return _PER_UNIT[default]
    name = _ALIASES.get(unit.lower(), unit.lower())
    if name not in _PER_UNIT:
        raise UnitError(f'{what} "{text}": unknown unit "{unit}", use mm, cm, m, in or ft.')
    return _PER_UNIT[name]
