"""A DXF file as text: layers, closed polylines, circles and words in the frame of their version.

Group codes, bulges and flags as in the published DXF reference. The frames, everything an empty drawing needs, are
made by docs/dxf_frames.py; the tests have what is written here read and audited by the library that made them.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from functools import cache
from pathlib import Path
from typing import TypeAlias

Vertex: TypeAlias = tuple[float, float, float]
"""A corner of a polyline: x, y, and the bulge of what follows it (the tangent of a quarter of the arc's angle)."""

VERSIONS = ("R2010", "R12")
MM, INCHES, NO_UNIT = 4, 1, 0
"""Units, by the numbers of the format; R12 knows none."""
_FRAMES = Path(__file__).parent / "frames"
_ENCODINGS = {"R2010": "utf-8", "R12": "cp1252"}


@cache
def _frame(version: str) -> tuple[int, str, str]:
    """The first handle that is free in a version, what stands for a layer, and all round the drawing."""
    first, rest = (_FRAMES / f"{version}.txt").read_text("utf-8").split("\n", 1)
    layer, frame = rest.split("\n\n", 1)
    return int(first, 16), f"{layer}\n", frame


class DxfFile:
    """A drawing being put together; lengths in its own unit. Layers come before what lies on them."""

    def __init__(self, version: str, unit: int) -> None:
        """version: one of VERSIONS. unit: one of MM, INCHES and, for R12, NO_UNIT."""
        self.version, self.unit = version, unit
        self._next, self._layer, self._around = _frame(version)
        self._layers: list[str] = []
        self._parts: list[str] = []

    def layer(self, name: str, colour: int) -> None:
        """Add a layer; colour: its number in the format's table."""
        marks = {"handle": self._handle(), "name": name, "colour": str(colour)}
        self._layers.append(_filled(self._layer, marks))

    def closed(self, layer: str, points: Sequence[Vertex]) -> None:
        """Add a closed polyline whose arcs are bulges; R12 gets the older POLYLINE."""
        if self.version == "R12":
            self._polyline(layer, points)
            return
        vertices = [f" 10\n{x}\n 20\n{y}\n" + (f" 42\n{bulge}\n" if bulge else "") for x, y, bulge in points]
        begins = self._begun("LWPOLYLINE", layer, "AcDbPolyline")
        self._parts.append("".join([begins, f" 90\n{len(points)}\n 70\n1\n", *vertices]))

    def _polyline(self, layer: str, points: Sequence[Vertex]) -> None:
        self._parts.append(self._begun("POLYLINE", layer) + " 66\n1\n 10\n0.0\n 20\n0.0\n 30\n0.0\n 70\n1\n")
        ends = self._begun("SEQEND", layer)
        for x, y, bulge in points:
            bent = f" 42\n{bulge}\n" if bulge else ""
            self._parts.append(self._begun("VERTEX", layer) + f" 10\n{x}\n 20\n{y}\n 30\n0.0\n{bent} 70\n0\n")
        self._parts.append(ends)

    def circle(self, layer: str, x: float, y: float, radius: float) -> None:
        """Add a circle round (x, y)."""
        begins = self._begun("CIRCLE", layer, "AcDbCircle")
        self._parts.append(f"{begins} 10\n{x}\n 20\n{y}\n 30\n0.0\n 40\n{radius}\n")

    def text(self, layer: str, words: str, x: float, y: float, height: float) -> None:
        """Add a line of words whose left lower corner is (x, y)."""
        begins, ends = self._begun("TEXT", layer, "AcDbText"), self._is_a("AcDbText")
        line = re.sub(r"[\r\n]", "", words).rstrip("^")
        self._parts.append(f"{begins} 10\n{x}\n 20\n{y}\n 30\n0.0\n 40\n{height}\n  1\n{line}\n{ends}")

    def _begun(self, kind: str, layer: str, name: str = "") -> str:
        """How an entity begins. name: of its class, where the version has classes."""
        belongs = "" if self.version == "R12" else f"330\n17\n{self._is_a('AcDbEntity')}"
        return f"  0\n{kind}\n  5\n{self._handle()}\n{belongs}  8\n{layer}\n{self._is_a(name)}"

    def _is_a(self, name: str) -> str:
        return "" if self.version == "R12" or not name else f"100\n{name}\n"

    def _handle(self) -> str:
        self._next += 1
        return f"{self._next - 1:X}"

    def data(self) -> bytes:
        """The file; letters its encoding has not are written by their number."""
        layers = self._around.count("  0\nLAYER\n") + len(self._layers)
        marks = {
            "unit": str(self.unit),
            "metric": str(int(self.unit == MM)),
            "count": str(layers),
            "layers": "".join(self._layers),
        }
        after = {f"after {n}": f"{self._next + n:X}" for n in range(4)}
        made = _filled(self._around, {**marks, **after, "entities": "".join(self._parts)})
        return re.sub(r"[^\x00-\x7f]", self._shown, made).encode(_ENCODINGS[self.version])

    def _shown(self, letter: re.Match[str]) -> str:
        try:
            letter[0].encode(_ENCODINGS[self.version])
        except UnicodeEncodeError:
            return f"\\U+{ord(letter[0]):04x}"
        return letter[0]


def _filled(text: str, marks: dict[str, str]) -> str:
    """Text with what stands for its marks."""
    return re.sub("<<(.*?)>>", lambda mark: marks[mark[1]], text)
