"""Numbers, number lists and lengths as SVG writes them."""

from __future__ import annotations

import math
import re

from cutout.units import MM_PER_INCH

PX_PER_INCH = 96.0
"""CSS and SVG: the px is 1/96 in."""

MM_PER_PX = MM_PER_INCH / PX_PER_INCH

NUMBER = re.compile(r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?")
_LENGTH = re.compile(rf"\s*({NUMBER.pattern})\s*([a-zA-Z]*|%)\s*")
_PHYSICAL = {
    "in": PX_PER_INCH,
    "mm": 1 / MM_PER_PX,
    "cm": 10 / MM_PER_PX,
    "q": 0.25 / MM_PER_PX,
    "pt": PX_PER_INCH / 72,
    "pc": PX_PER_INCH / 6,
}
_RELATIVE = {"em": 1.0, "rem": 1.0, "ex": 0.5, "ch": 0.5}
"""Times the font size."""


def numbers_of(text: str) -> list[float] | None:
    """The numbers of a list parted by white space, commas or nothing at all; None if anything else is in it."""
    if NUMBER.sub(" ", text).replace(",", " ").strip():
        return None
    return [float(n) for n in NUMBER.findall(text)]


def length_px(text: str | None, of: float, font_size: float = 16.0) -> float | None:
    """A length in px; `of` is what percentages refer to. None when it is absent or unreadable."""
    found = _LENGTH.fullmatch(text) if text else None
    if not found:
        return None
    value, unit = float(found[1]), found[2].lower()
    factor = 1.0 if unit in ("", "px") else of / 100 if unit == "%" else _PHYSICAL.get(unit)
    if factor is None:
        factor = _RELATIVE[unit] * font_size if unit in _RELATIVE else None
    return value * factor if factor is not None and math.isfinite(value * factor) else None


def is_physical(text: str | None) -> bool:
    """Whether a length names a unit that exists on a ruler; px counts as none, it only means "screen"."""
    found = _LENGTH.fullmatch(text) if text else None
    return bool(found) and found[2].lower() in _PHYSICAL if found else False
