"""What is printed on the test card and where: the printer and the reader of its photograph both go by this.

Coordinates in mm, y up, origin at the lower left corner of the frame that the four marks stand in. The card is
the same on every paper; the marks say which ladder of arcs it holds and which paper it was printed on.
"""

from __future__ import annotations

import cmath
import math
from dataclasses import dataclass
from functools import cache
from typing import Literal

import numpy as np
import shapely

from cutout.errors import KitError
from cutout.geom.curve import ComplexArray, FloatArray, to_array
from cutout.kit import Paper

WIDTH, HEIGHT = 186.0, 250.0
"""The frame: it fits A4 and Letter with room for the printer's margins."""
SCRAP = 5.0
"""How far outside the frame the scrap's edge lies, where the saw comes in."""
MARK, RIM = 12.0, 2.0
"""Side of a mark, and the black rim round its four by four cells."""
DOT = 3.0
"""Diameter of the dots between the marks, by which the lens is found."""
SQUARE = (68.0, 100.0, 50.0)
"""The check square: its lower left corner and its side."""
LINE, LINE_GREY = 0.25, 0.65
"""Width and grey of the lines to saw by. They are pale so that what is left of one is not taken for the slot."""
CLEAR = 4.0
"""Paper kept free of anything else on both sides of a line to saw."""

Kind = Literal["along", "across", "arc", "turned", "met"]
CardPaper = Literal["a4", "letter", "other"]
PAPERS: tuple[CardPaper, ...] = ("a4", "letter", "other")

LADDERS: tuple[tuple[float, ...], ...] = (
    (50.0, 40.0, 32.0, 26.0, 21.0, 17.0, 13.5, 11.0),
    (20.0, 16.0, 13.0, 10.5, 8.5, 7.0, 5.5, 4.5),
    (8.0, 6.5, 5.2, 4.2, 3.4, 2.8, 2.2, 1.8),
    (3.0, 2.4, 2.0, 1.6, 1.3, 1.0, 0.8, 0.6),
)
"""Radii of the arcs (mm), each about a fifth tighter than the one before."""

_WORDS = (
    0x0575,
    0x06F0,
    0x0B91,
    0x1F57,
    0x25A7,
    0x28F0,
    0x31EA,
    0x34D0,
    0x3C12,
    0x4DCE,
    0x5892,
    0x5CF9,
    0x6342,
    0x67D5,
    0x6C41,
    0x6E67,
    0x7551,
    0x82FC,
    0x86E6,
    0x87A5,
    0x8FC4,
    0x91CC,
    0x9311,
    0x950F,
    0x980E,
    0x98BD,
    0x9A84,
    0x9B79,
    0x9CC5,
    0xA0F6,
    0xA829,
    0xA8EC,
    0xA90A,
    0xAB94,
    0xC16A,
    0xC541,
    0xCBDC,
    0xCCEB,
    0xD4B6,
    0xD690,
    0xDF61,
    0xE2E4,
    0xE60B,
    0xE915,
    0xE998,
    0xEAC7,
    0xFA53,
    0xFE0E,
)
"""Cells of the marks, one bit each: twelve cards times four corners. Any two of them, turned in any way, differ in
at least four cells, and so do the turns of one: one cell misread is put right, two are noticed."""


@dataclass(frozen=True, slots=True)
class Trail:
    """A line to saw: a start, a direction, and runs of (length, curvature); curvature is positive to the left."""

    start: complex
    heading: float
    runs: tuple[tuple[float, float], ...]

    @property
    def length(self) -> float:
        """Its whole length (mm)."""
        return sum(length for length, _ in self.runs)

    def at(self, s: FloatArray) -> tuple[ComplexArray, ComplexArray]:
        """Places and unit directions at arc lengths s (n,), which lie within the trail."""
        z = np.empty(len(s), dtype=complex)
        way = np.empty(len(s), dtype=complex)
        here, angle, done = self.start, self.heading, 0.0
        for k, (length, bend) in enumerate(self.runs):
            last = k == len(self.runs) - 1
            here_on = (s >= done - 1e-9) & (
                (s <= done + length + 1e-9) if last else (s < done + length - 1e-9)
            )
            u = s[here_on] - done
            z[here_on] = here + cmath.exp(1j * angle) * _run(u, bend)
            way[here_on] = np.exp(1j * (angle + bend * u))
            here += cmath.exp(1j * angle) * complex(_run(np.array([length]), bend)[0])
            angle += bend * length
            done += length
        return z, way

    def points(self, step: float = 0.25) -> FloatArray:
        """The line as points (n, 2) about `step` mm apart."""
        return to_array(self.at(np.linspace(0.0, self.length, max(2, math.ceil(self.length / step) + 1)))[0])


@dataclass(frozen=True, slots=True)
class Cut:
    """One thing to saw. `radius` for arcs; a cut of kind `met` has two trails that meet at a corner."""

    kind: Kind
    trails: tuple[Trail, ...]
    radius: float = 0.0
    label: complex = 0j


@dataclass(frozen=True, slots=True)
class Card:
    """One test card. ladder: which of LADDERS; paper: what it is printed on."""

    ladder: int
    paper: CardPaper

    @property
    def number(self) -> int:
        """0..11, said by its marks."""
        return self.ladder * len(PAPERS) + PAPERS.index(self.paper)

    @property
    def radii(self) -> tuple[float, ...]:
        """Radii of its arcs (mm), largest first."""
        return LADDERS[self.ladder]

    @property
    def title(self) -> str:
        """Its name for people."""
        return f"card {'ABCD'[self.ladder]}"


def card_numbered(number: int) -> Card:
    """The card whose marks say `number`."""
    return Card(number // len(PAPERS), PAPERS[number % len(PAPERS)])


def card_for(radius: float, paper: Paper) -> Card:
    """The card whose ladder reaches on both sides of the turning radius (mm) that is expected. Raises KitError."""
    if paper.width < WIDTH + 14 or (paper.height or 1e9) < HEIGHT + 14:
        raise KitError(
            f"the test card needs paper of A4 or Letter size at least: {paper.title} is too small."
        )
    names: dict[str, CardPaper] = {"a4": "a4", "letter": "letter"}
    middle = [math.sqrt(radii[0] * radii[-1]) for radii in LADDERS]
    best = min(range(len(LADDERS)), key=lambda k: abs(math.log(max(radius, 0.3) / middle[k])))
    return Card(best, names.get(paper.name, "other"))


def word(card: Card, corner: int) -> int:
    """The 16 cells of a card's mark; corner 0 is the lower left, then counter-clockwise."""
    return _WORDS[4 * card.number + corner]


def cells(value: int) -> np.ndarray:
    """A mark's cells (4, 4) as booleans, True is black; row 0 is the top row."""
    return np.array([(value >> k) & 1 for k in range(16)], dtype=bool).reshape(4, 4)


@cache
def mark_words() -> dict[int, tuple[int, int]]:
    """{cells as a number: (card's number, corner)} of every mark."""
    return {value: divmod(k, 4) for k, value in enumerate(_WORDS)}


def mark_boxes() -> tuple[tuple[float, float, float, float], ...]:
    """The four marks' squares, lower left first, counter-clockwise."""
    low, right, top = 0.0, WIDTH - MARK, HEIGHT - MARK
    return tuple((x, y, x + MARK, y + MARK) for x, y in ((low, low), (right, low), (right, top), (low, top)))


@cache
def cuts(ladder: int) -> tuple[Cut, ...]:
    """Everything to saw on a card, in the order it is best sawn: slots, arcs from the largest, corners."""
    radii = LADDERS[ladder]
    below, above = radii[:4], radii[4:]
    arcs = [
        *_row(below, -SCRAP, up=True, x=MARK + 9.0),
        *_row(above, HEIGHT + SCRAP, up=False, x=MARK + 29.0),
    ]
    along = Trail(complex(MARK + 14.0, HEIGHT + SCRAP), -math.pi / 2, ((66.0, 0.0),))
    across = Trail(complex(-SCRAP, 163.0), 0.0, ((56.0, 0.0),))
    tip = complex(WIDTH - 34.0, 150.0)
    turned = (
        Trail(complex(WIDTH + SCRAP, tip.imag), math.pi, ((WIDTH + SCRAP - tip.real, 0.0),)),
        Trail(tip, math.pi / 2, ((24.0, 0.0),)),
    )
    point = complex(WIDTH - 34.0, 98.0)
    met = tuple(_towards(complex(WIDTH + SCRAP, point.imag + side), point) for side in (-20.0, 20.0))
    return (
        Cut("along", (along,), label=along.start + complex(-12.0, -71.0)),
        Cut("across", (across,), label=across.start + complex(12.0, -7.5)),
        *sorted(arcs, key=lambda c: -c.radius),
        Cut("turned", turned, label=tip + complex(8.0, -7.0)),
        Cut("met", met, label=point + complex(-14.0, -12.0)),
    )


@cache
def dots(ladder: int) -> FloatArray:
    """Centres (n, 2) of the dots: a grid, less those too near to anything else."""
    lines = [shapely.LineString(trail.points()) for cut in cuts(ladder) for trail in cut.trails]
    x, y, side = SQUARE
    taken = shapely.union_all(
        [
            *(shapely.buffer(line, CLEAR + DOT / 2 + 0.5) for line in lines),
            *(shapely.buffer(shapely.box(*box), 3.0 + DOT / 2) for box in mark_boxes()),
            *(
                shapely.convex_hull(shapely.MultiLineString([t.points() for t in c.trails]))
                for c in cuts(ladder)
                if c.kind == "met"
            ),
            shapely.box(x - 4, y - 34, x + side + 4, y + side + 6),
            *(
                shapely.box(c.label.real - 4, c.label.imag - 3, c.label.real + 26, c.label.imag + 6)
                for c in cuts(ladder)
            ),
        ]
    )
    across, up = np.meshgrid(np.linspace(2.5, WIDTH - 2.5, 14), np.linspace(2.5, HEIGHT - 2.5, 18))
    grid = np.column_stack([across.ravel(), up.ravel()])
    return grid[~shapely.intersects_xy(taken, grid[:, 0], grid[:, 1])]


def _run(u: FloatArray, bend: float) -> ComplexArray:
    """Places along a run that starts at 0 in direction +x."""
    if bend == 0:
        return u.astype(complex)
    return np.asarray((np.exp(1j * bend * u) - 1) / (1j * bend))


_ARC = 24.0
"""An arc is a quarter turn, or so long where a quarter turn would be longer (mm): several widths of a blade."""
_LEAD, _OUT = 12.0, 3.0
"""Straight run before an arc, so that the blade goes in square, and after it (mm)."""


def sweep(radius: float) -> float:
    """How far (radians) an arc of the ladder turns, first to the right and then as far to the left."""
    return min(math.pi / 2, _ARC / radius)


def arc_spans(radius: float) -> tuple[tuple[float, float], tuple[float, float]]:
    """Arc lengths along an arc's trail where its two halves begin and end."""
    half = radius * sweep(radius)
    return (_LEAD, _LEAD + half), (_LEAD + half, _LEAD + 2 * half)


def _row(radii: tuple[float, ...], base: float, *, up: bool, x: float) -> list[Cut]:
    """Arcs side by side, coming in from one edge of the scrap."""
    found = []
    for radius in radii:
        half = radius * sweep(radius)
        wide = 2 * radius * (1 - math.cos(sweep(radius)))
        first, second = (-1 / radius, 1 / radius) if up else (1 / radius, -1 / radius)
        runs = ((_LEAD, 0.0), (half, first), (half, second), (_OUT, 0.0))
        trail = Trail(complex(x, base), math.pi / 2 if up else -math.pi / 2, runs)
        end = trail.at(np.array([trail.length]))[0][0]
        found.append(Cut("arc", (trail,), radius, complex(end.real - 3.0, end.imag + (2.0 if up else -5.0))))
        x += wide + 2 * CLEAR + 1.0
    return found


def _towards(start: complex, end: complex) -> Trail:
    return Trail(start, cmath.phase(end - start), ((abs(end - start), 0.0),))
