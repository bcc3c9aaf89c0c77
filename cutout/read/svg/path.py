"""Path data and basic shapes as runs of segments in the element's own units, y down."""

from __future__ import annotations

import cmath
import math
import re
from collections.abc import Callable
from dataclasses import dataclass, field, replace

from cutout.geom.curve import Arc, Cubic, Line, Segment
from cutout.read.svg.affine import Affine
from cutout.read.svg.number import NUMBER, length_px, numbers_of


@dataclass(frozen=True, slots=True)
class SubPath:
    """One run of segments; `start` matters for runs without any (a dot with a round or square cap)."""

    start: complex
    segments: tuple[Segment, ...]
    closed: bool


_COMMAND = re.compile(r"[\s,]*([MmZzLlHhVvCcSsQqTtAa])")
_SPACE = re.compile(r"[\s,]*")
_TAKES = {"M": 2, "Z": 0, "L": 2, "H": 1, "V": 1, "C": 6, "S": 4, "Q": 4, "T": 2, "A": 7}


def parse_path(text: str) -> tuple[tuple[SubPath, ...], bool]:
    """Sub-paths of a `d` attribute, and whether it was right to its end.

    As SVG asks, a path is drawn up to the first thing in it that can't be read.
    """
    builder, at, command = _Builder(), 0, ""
    while True:
        found = _COMMAND.match(text, at)
        if found:
            command, at = found[1], found.end()
        else:
            at = _after_space(text, at)
            if at == len(text):
                return builder.finish(), True
        first = not builder.begun
        if not command or (not found and command in "Zz") or (first and command not in "Mm"):
            return builder.finish(), False
        values = _arguments(text, at, command.upper())
        if values is None:
            return builder.finish(), False
        numbers, at = values
        builder.draw(command, numbers)
        command = {"M": "L", "m": "l"}.get(command, command)


def _after_space(text: str, at: int) -> int:
    found = _SPACE.match(text, at)
    return found.end() if found else at


def _arguments(text: str, at: int, command: str) -> tuple[list[float], int] | None:
    numbers: list[float] = []
    for n in range(_TAKES[command]):
        at = _after_space(text, at)
        if command == "A" and n in (3, 4):
            if text[at : at + 1] not in ("0", "1"):
                return None
            numbers.append(float(text[at]))
            at += 1
        else:
            found = NUMBER.match(text, at)
            if not found or not math.isfinite(float(found[0])):
                return None
            numbers.append(float(found[0]))
            at = found.end()
    return numbers, at


@dataclass(slots=True)
class _Builder:
    here: complex = 0j
    start: complex = 0j
    cubic_handle: complex | None = None
    quadratic_handle: complex | None = None
    run: list[Segment] = field(default_factory=list)
    done: list[SubPath] = field(default_factory=list)
    open: bool = False
    begun: bool = False

    def draw(self, command: str, n: list[float]) -> None:
        base = self.here if command.islower() else 0j
        kind = command.upper()
        cubic, quadratic = self.cubic_handle, self.quadratic_handle
        self.cubic_handle = self.quadratic_handle = None
        if kind == "M":
            self._end(closed=False)
            self.here = self.start = base + complex(n[0], n[1])
            self.open = self.begun = True
            return
        if kind == "Z":
            self._close()
            return
        self.open = True
        match kind:
            case "L":
                self._line(base + complex(n[0], n[1]))
            case "H":
                self._line(complex(base.real + n[0], self.here.imag))
            case "V":
                self._line(complex(self.here.real, base.imag + n[0]))
            case "C":
                self._cubic(*(base + complex(n[i], n[i + 1]) for i in (0, 2, 4)))
            case "S":
                c1 = self.here if cubic is None else 2 * self.here - cubic
                self._cubic(c1, base + complex(n[0], n[1]), base + complex(n[2], n[3]))
            case "Q":
                self._quadratic(base + complex(n[0], n[1]), base + complex(n[2], n[3]))
            case "T":
                c = self.here if quadratic is None else 2 * self.here - quadratic
                self._quadratic(c, base + complex(n[0], n[1]))
            case "A":
                end = base + complex(n[5], n[6])
                self.run.extend(elliptical(self.here, end, n[0], n[1], n[2], bool(n[3]), bool(n[4])))
                self.here = end

    def finish(self) -> tuple[SubPath, ...]:
        self._end(closed=False)
        return tuple(self.done)

    def _line(self, end: complex) -> None:
        if end != self.here:
            self.run.append(Line(self.here, end))
            self.here = end

    def _cubic(self, c1: complex, c2: complex, end: complex) -> None:
        if not self.here == c1 == c2 == end:
            self.run.append(Cubic(self.here, c1, c2, end))
        self.here, self.cubic_handle = end, c2

    def _quadratic(self, c: complex, end: complex) -> None:
        handle_out, handle_in = self.here + (c - self.here) * 2 / 3, end + (c - end) * 2 / 3
        self._cubic(handle_out, handle_in, end)
        self.cubic_handle, self.quadratic_handle = None, c

    def _close(self) -> None:
        if self.open:
            self._line(self.start)
            self._end(closed=True)
        self.here = self.start

    def _end(self, *, closed: bool) -> None:
        if self.open:
            self.done.append(SubPath(self.start, tuple(self.run), closed))
        self.run, self.open = [], False


def elliptical(
    start: complex, end: complex, rx: float, ry: float, turn_deg: float, large: bool, sweep: bool
) -> tuple[Segment, ...]:
    """An SVG arc as circular arcs (rx = ry) or cubics. Source: SVG 1.1, appendix F.6."""
    rx, ry = abs(rx), abs(ry)
    if start == end:
        return ()
    if rx == 0 or ry == 0:
        return (Line(start, end),)
    turn = cmath.exp(1j * math.radians(turn_deg))
    to_circle = Affine.matrix(1 / rx, 0, 0, 1 / ry, 0, 0).of(Affine(turn.conjugate()))
    a, b = to_circle(start), to_circle(end)
    half = abs(b - a) / 2
    radius = max(1.0, half)
    rise = math.sqrt(max(radius**2 - half**2, 0.0))
    side = 1.0 if large != sweep else -1.0
    centre = (a + b) / 2 + side * rise * 1j * (b - a) / (2 * half)
    angle = cmath.phase((b - centre) / (a - centre))
    if sweep and angle < 0:
        angle += 2 * math.pi
    elif not sweep and angle > 0:
        angle -= 2 * math.pi
    if math.isclose(half, radius):
        angle = math.pi if sweep else -math.pi
    back = Affine(turn).of(Affine.matrix(rx, 0, 0, ry, 0, 0))
    middle = centre + (a - centre) * cmath.exp(0.5j * angle)
    bulge = math.tan(angle / 8)
    halves: tuple[Segment, ...] = (Arc(a, middle, bulge), Arc(middle, b, bulge))
    mapped = list(back.segments(halves))
    mapped[0] = replace(mapped[0], start=start)
    mapped[-1] = replace(mapped[-1], end=end)
    return tuple(mapped)


Lookup = Callable[[str], str | None]
"""The value of an attribute or property of the element, by name."""


def shape_paths(
    tag: str, get: Lookup, view: tuple[float, float], font_size: float
) -> tuple[tuple[SubPath, ...], bool]:
    """Sub-paths of a path or basic shape, and whether its attributes were readable to the end.

    `view` is the width and height of the nearest viewport, for percentages.
    """
    width, height = view
    diagonal = math.hypot(width, height) / math.sqrt(2)

    def value(name: str, of: float) -> float:
        return length_px(get(name), of, font_size) or 0.0

    def maybe(name: str, of: float) -> float | None:
        found = length_px(get(name), of, font_size)
        return found if found is not None and found >= 0 else None

    match tag:
        case "path":
            return parse_path(get("d") or "")
        case "rect":
            size = complex(value("width", width), value("height", height))
            corner = complex(value("x", width), value("y", height))
            return _rect(corner, size, maybe("rx", width), maybe("ry", height)), True
        case "circle":
            r = value("r", diagonal)
            return _ellipse(complex(value("cx", width), value("cy", height)), r, r), True
        case "ellipse":
            rx, ry = maybe("rx", width), maybe("ry", height)
            rx, ry = (ry if rx is None else rx) or 0.0, (rx if ry is None else ry) or 0.0
            return _ellipse(complex(value("cx", width), value("cy", height)), rx, ry), True
        case "line":
            a = complex(value("x1", width), value("y1", height))
            b = complex(value("x2", width), value("y2", height))
            return (SubPath(a, (Line(a, b),) if a != b else (), False),), True
        case "polyline" | "polygon":
            return _poly(get("points") or "", closed=tag == "polygon")
    return (), True


def _poly(text: str, *, closed: bool) -> tuple[tuple[SubPath, ...], bool]:
    numbers = numbers_of(text)
    right = numbers is not None and len(numbers) % 2 == 0
    if numbers is None:
        readable = re.match(rf"(?:[\s,]*{NUMBER.pattern})*", text)
        numbers = numbers_of(readable[0]) if readable else []
    flat = numbers or []
    z = [complex(x, y) for x, y in zip(flat[::2], flat[1::2], strict=False)]
    if not z:
        return (), right
    ends = [*z[1:], z[0]] if closed else z[1:]
    lines = tuple(Line(a, b) for a, b in zip(z, ends, strict=False) if a != b)
    return (SubPath(z[0], lines, closed),), right


def _ellipse(centre: complex, rx: float, ry: float) -> tuple[SubPath, ...]:
    if rx <= 0 or ry <= 0:
        return ()
    right, left = centre + rx, centre - rx
    run = (
        (Arc(right, left, 1.0), Arc(left, right, 1.0))
        if rx == ry
        else (
            *elliptical(right, left, rx, ry, 0, False, True),
            *elliptical(left, right, rx, ry, 0, False, True),
        )
    )
    return (SubPath(right, run, True),)


def _rect(corner: complex, size: complex, rx: float | None, ry: float | None) -> tuple[SubPath, ...]:
    w, h = size.real, size.imag
    if w <= 0 or h <= 0:
        return ()
    rx, ry = (ry if rx is None else rx) or 0.0, (rx if ry is None else ry) or 0.0
    rx, ry = min(rx, w / 2), min(ry, h / 2)
    run: list[Segment] = []
    if rx == 0 or ry == 0:
        z = [corner, corner + w, corner + size, corner + 1j * h]
        return (SubPath(z[0], tuple(Line(a, b) for a, b in zip(z, [*z[1:], z[0]], strict=True)), True),)
    ends = [
        (corner + rx, corner + w - rx),
        (corner + w + 1j * ry, corner + w + 1j * (h - ry)),
        (corner + w - rx + 1j * h, corner + rx + 1j * h),
        (corner + 1j * (h - ry), corner + 1j * ry),
    ]
    for k, (a, b) in enumerate(ends):
        if abs(b - a) > 1e-12:
            run.append(Line(a, b))
        run.extend(elliptical(b, ends[(k + 1) % 4][0], rx, ry, 0, False, True))
    return (SubPath(ends[0][0], tuple(run), True),)
