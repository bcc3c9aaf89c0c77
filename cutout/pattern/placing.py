"""How a shape lies: moved to the origin, and of its four turns and their mirror images always the same one.

Nothing in a plan knows left from right or up from down, nor does mending; neither must depend on how the figure lies
on the panel. Worked out where every such shape lies alike, they can't.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TypeVar

import numpy as np
import shapely
from shapely import MultiPolygon, Polygon

from cutout.geom.curve import (
    Arc,
    ComplexArray,
    Cubic,
    FloatArray,
    Line,
    Segment,
    Similarity,
    to_array,
    to_complex,
)
from cutout.geom.outline import Letter, Outline, Ring
from cutout.pattern.layout import assembled
from cutout.pattern.panel import Panel, Zone
from cutout.pattern.pattern import Opening, Pattern

STEPS = 2.0**20
"""A shape is rounded to so many steps a millimetre: what turning and moving adds is less. A power of two, for then
what is drawn in tenths of a millimetre or in parts of an inch never lies half way between two steps."""
SPOT_PLACES = 4
"""Places behind the point that spots are told to (mm)."""
_COARSE = 100.0
"""Steps a millimetre for telling its turns and mirror images apart."""
_APART = 0.1
"""A figure nearer to the panel's edge than this (mm) is taken to come to it."""
_SAME_ANGLE = 9
"""Places behind the point (radians) that a direction is rounded to."""


Shape = TypeVar("Shape", Polygon, MultiPolygon)


@dataclass(frozen=True, slots=True)
class Placing:
    """How a shape comes from the panel to where it is worked on: mirrored top to bottom or not, turned, moved.

    turn: a unit in one of the four directions. origin: where, after that, the zero of that place lies; mm.
    """

    turn: complex = 1 + 0j
    mirrored: bool = False
    origin: complex = 0j

    @property
    def similarity(self) -> Similarity:
        """The same for curves."""
        return Similarity(self.turn, -self.origin, self.mirrored)

    def there(self, z: ComplexArray) -> ComplexArray:
        """From the panel to where it is worked on."""
        return np.asarray((z.conj() if self.mirrored else z) * self.turn - self.origin)

    def back(self, z: ComplexArray) -> ComplexArray:
        """From where it is worked on to the panel."""
        z = (z + self.origin) * self.turn.conjugate()
        return np.asarray(z.conj() if self.mirrored else z)

    def spot_there(self, at: tuple[float, float]) -> tuple[float, float]:
        """One place on the panel, where it is worked on."""
        z = complex(self.there(np.array(complex(*at))))
        return z.real, z.imag

    def spot_back(self, at: tuple[float, float]) -> tuple[float, float]:
        """One place there, on the panel; to a ten-thousandth of a millimetre."""
        z = complex(self.back(np.array(complex(*at))))
        return round(z.real, SPOT_PLACES), round(z.imag, SPOT_PLACES)

    def angle_there(self, angle: float) -> float:
        """The direction (radians) something has there."""
        return (-angle if self.mirrored else angle) + math.atan2(self.turn.imag, self.turn.real)

    def angle_back(self, turned: float) -> float:
        """An angle to the left, on the panel."""
        return -turned if self.mirrored else turned

    def rounded(self, xy: FloatArray) -> FloatArray:
        """Points (n, 2) there, to the step."""
        return _stepped(to_array(self.there(to_complex(xy))))

    def region_there(self, region: Shape) -> Shape:
        """A region there, to the step; its rings in an order and from a start that its shape alone decides."""
        return shapely.normalize(shapely.transform(region, self.rounded))

    def panel_there(self, panel: Panel) -> Panel:
        """The panel there, its edges to the step."""
        (x0, y0), (x1, y1) = self._corners(panel)
        grain, halves = panel.grain, 0
        if grain is not None:
            grain, halves = _direction(self.angle_there(grain))
        flipped = self.mirrored != bool(halves % 2)
        return replace(
            panel,
            width=x1 - x0,
            height=y1 - y0,
            lower_left=(x0, y0),
            grain=grain,
            seams=-panel.seams if flipped else panel.seams,
            zones=tuple(self._zone(z) for z in panel.zones),
            drawn=tuple(self._zone(z) for z in panel.drawn),
        )

    def pattern_there(self, pattern: Pattern, reach: float = math.inf) -> Pattern:
        """The whole pattern there, figure and curves to the step, on as much of the panel as is within reach.

        The same shape gives the same pattern to the last bit, wherever it lay.
        """
        outline = stepped_outline(pattern.outline.transform(self.similarity))
        figure = shapely.normalize(shapely.transform(outline.region(), _stepped))
        panel = within_reach(self.panel_there(pattern.panel), outline.bounds, reach)
        return assembled(outline, figure, panel, pattern.keep_mode, pattern.kerf)

    def _corners(self, panel: Panel) -> list[list[float]]:
        """Lower left and upper right of the panel there."""
        x0, y0 = panel.lower_left
        ends = self.rounded(np.array([[x0, y0], [x0 + panel.width, y0 + panel.height]]))
        return [ends.min(axis=0).tolist(), ends.max(axis=0).tolist()]

    def _zone(self, zone: Zone) -> Zone:
        return Zone(zone.name, self.region_there(zone.area))


def placed(opening: Opening, panel: Panel) -> tuple[Opening, Panel, Placing]:
    """The opening as it is planned, the panel round it, and how it got there.

    The panel is another one only where the opening reaches its edge: else nothing of it matters but its thickness.
    """
    ways = _ways(opening.region)
    if opening.at_edge:
        region, placing = min(ways, key=lambda way: (_told_apart(way[0]), _lies(way[1].panel_there(panel))))
        return replace(opening, region=region), placing.panel_there(panel), placing
    region, placing = min(ways, key=lambda way: _told_apart(way[0]))
    return replace(opening, region=region), panel, placing


def placed_pattern(pattern: Pattern, reach: float = math.inf) -> tuple[Pattern, Placing]:
    """The pattern as it is mended, on as much of its panel as is within reach (mm), and how it got there."""
    ways = [
        (
            _told_apart(region),
            _lies(within_reach(placing.panel_there(pattern.panel), region.bounds, reach)),
            _told_apart(region, STEPS),
            n,
            placing,
        )
        for n, (region, placing) in enumerate(_ways(pattern.figure))
    ]
    placing = min(ways)[-1]
    return placing.pattern_there(pattern, reach), placing


def at_zero(pattern: Pattern, reach: float) -> tuple[Pattern, tuple[float, float]]:
    """A pattern that is cut out of its panel, away from the edge, moved to zero; and from where.

    On as much of the panel as is within reach (mm), without what a plan does not go by: curves, zones, boards. It is
    the same there to the last bit wherever it lay; turned or mirrored its openings have the same form.
    """
    zero = pattern.figure.bounds[:2]
    (x0, y0), (x1, y1) = Placing(origin=complex(*zero))._corners(pattern.panel)
    whole = replace(
        pattern.panel, width=x1 - x0, height=y1 - y0, lower_left=(x0, y0), zones=(), drawn=(), board=None
    )
    openings = tuple(replace(o, region=_as_planned(o, pattern.panel, zero)) for o in pattern.openings)
    waste = MultiPolygon([o.region for o in openings])
    if not waste.is_valid:
        return pattern, (0.0, 0.0)
    panel = within_reach(whole, waste.bounds, reach)
    made = assembled(Outline(()), waste, panel, pattern.keep_mode, pattern.kerf)
    return replace(made, figure=waste, waste=waste, openings=openings), zero


def _as_planned(opening: Opening, panel: Panel, zero: tuple[float, float]) -> Polygon:
    """An opening moved to zero, its form to the steps in which it is planned, however that lies."""
    local, _, placing = placed(opening, panel)
    back = replace(placing, origin=0j).back
    region = shapely.transform(local.region, lambda xy: to_array(back(to_complex(xy))) + 0.0)
    lies, wanted = (np.array([p.bounds[:2]]) for p in (region, opening.region))
    by = _stepped(wanted - zero) - lies
    return shapely.normalize(shapely.transform(region, lambda xy: xy + by))


def within_reach(panel: Panel, bounds: tuple[float, float, float, float], reach: float) -> Panel:
    """As much of a panel as lies within reach (mm) of a figure with these bounds, to the step.

    All of it where the figure comes to its edge, which may part it, and where glue lines go by its width.
    """
    x0, y0 = panel.lower_left
    x1, y1 = x0 + panel.width, y0 + panel.height
    away = (bounds[0] - x0, bounds[1] - y0, x1 - bounds[2], y1 - bounds[3])
    if min(away) < _APART or (panel.board is not None and panel.grain is not None):
        return panel
    ends = np.array([bounds[:2], bounds[2:]]) + np.array([[-reach] * 2, [reach] * 2])
    if not np.isfinite(ends).all():
        return panel
    low, high = np.maximum(_stepped(ends[0]), (x0, y0)), np.minimum(_stepped(ends[1]), (x1, y1))
    room = shapely.box(*low, *high)
    return replace(
        panel,
        width=float(high[0] - low[0]),
        height=float(high[1] - low[1]),
        lower_left=(float(low[0]), float(low[1])),
        zones=tuple(z for z in panel.zones if shapely.intersects(z.area, room)),
        drawn=tuple(z for z in panel.drawn if shapely.intersects(z.area, room)),
    )


def _ways(region: Shape) -> list[tuple[Shape, Placing]]:
    """The eight ways in which a region may lie, each at the origin."""
    z = to_complex(shapely.get_coordinates(region))
    turns = [Placing(turn, mirrored) for mirrored in (False, True) for turn in (1, 1j, -1, -1j)]
    lying = [(placing, placing.there(z)) for placing in turns]
    ways = [replace(p, origin=complex(w.real.min(), w.imag.min())) for p, w in lying]
    return [(placing.region_there(region), placing) for placing in ways]


def _told_apart(region: shapely.Geometry, steps: float = _COARSE) -> bytes:
    """The same for the same shape; what else it says does not matter."""
    return bytes(np.rint(shapely.get_coordinates(region) * steps).astype(">i8").tobytes())


def _lies(panel: Panel) -> tuple[float, ...]:
    """What tells apart how a panel lies round a shape that looks the same several ways round."""
    grain = -1.0 if panel.grain is None else panel.grain
    xy = [shapely.get_coordinates(zone.area) for zone in (*panel.zones, *panel.drawn)]
    return (
        *panel.lower_left,
        panel.width,
        panel.height,
        grain,
        *np.concatenate([np.zeros((0, 2)), *xy]).ravel(),
    )


def stepped(region: MultiPolygon) -> MultiPolygon:
    """The region to the step, so that what rounding did to it on different ways is gone; as it is where that would
    spoil it."""
    rounded = shapely.transform(region, _stepped)
    return rounded if rounded.is_valid else region


def stepped_points(z: ComplexArray) -> ComplexArray:
    """Points (n,) to the step."""
    return to_complex(_stepped(to_array(z)))


def stepped_outline(outline: Outline) -> Outline:
    """The outline with the ends and handles of its curves to the step; runs that are shorter are left out."""
    rings = tuple(_stepped_ring(ring) for ring in outline.rings)
    letters = tuple(_stepped_letter(letter) for letter in outline.letters)
    return replace(outline, rings=rings, letters=letters)


def _stepped_ring(ring: Ring) -> Ring:
    found = [_stepped_run(s) for s in ring.segments]
    kept = tuple(s for s in found if s.start != s.end or isinstance(s, Cubic))
    return Ring(kept or tuple(found))


def _stepped_run(run: Segment) -> Segment:
    match run:
        case Line(start, end):
            return Line(_stepped_spot(start), _stepped_spot(end))
        case Arc(start, end, bulge):
            return Arc(_stepped_spot(start), _stepped_spot(end), bulge)
        case Cubic(a, b, c, d):
            return Cubic(_stepped_spot(a), _stepped_spot(b), _stepped_spot(c), _stepped_spot(d))


def _stepped_letter(letter: Letter) -> Letter:
    return Letter(
        letter.letter, _stepped_spot(letter.foot), _stepped_spot(letter.along), _stepped_spot(letter.up)
    )


def _stepped_spot(z: complex) -> complex:
    return complex(round(z.real * STEPS) / STEPS + 0.0, round(z.imag * STEPS) / STEPS + 0.0)


def _stepped(xy: FloatArray) -> FloatArray:
    # Adding nothing makes a zero of every negative zero: equal shapes are equal byte by byte.
    return np.asarray(np.rint(xy * STEPS) / STEPS + 0.0)


def _direction(angle: float) -> tuple[float, int]:
    """A direction without its sense, 0 to less than half a turn (radians), and how many half turns were left out.

    Along an axis it is exactly that.
    """
    quarters = round(angle / (math.pi / 2))
    rest = round(angle - quarters * math.pi / 2, _SAME_ANGLE)
    way = (quarters % 2) * math.pi / 2 + rest
    if way < 0:
        way += math.pi
    return way, round((angle - way) / math.pi)
