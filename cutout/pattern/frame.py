"""From what people measure on a frame to the panel that fits it, and to the parts of it that stay clear."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from shapely import MultiPolygon, Point, Polygon, box

from cutout.errors import LayoutError
from cutout.geom.outline import as_multi
from cutout.pattern.panel import Panel, Zone


@dataclass(frozen=True, slots=True)
class Frame:
    """A frame as measured, mm. opening: clear width and height. reach: room behind the lip on the left, right,
    top and bottom, 0 where the panel sits in the opening itself. reveal: gap all round, so that the panel comes
    out and goes in (3 mm or 1/8 in: common practice).
    """

    opening: tuple[float, float]
    reach: tuple[float, float, float, float] = (0.0, 0.0, 0.0, 0.0)
    reveal: float = 3.0

    def __post_init__(self) -> None:
        if min(self.opening) <= 0:
            raise LayoutError("the frame's opening must be more than zero each way.")
        if min(self.reach) < 0 or self.reveal < 0:
            raise LayoutError("the reach behind the frame's lip and the reveal can't be negative.")
        if min(self.size) <= 0:
            raise LayoutError("the reveal leaves nothing of the panel: make it smaller.")

    @property
    def size(self) -> tuple[float, float]:
        """Width and height to cut: the opening plus the room behind the lip less the reveal, on each side."""
        left, right, top, bottom = self.reach
        width, height = self.opening
        return width + left + right - 2 * self.reveal, height + top + bottom - 2 * self.reveal

    @property
    def hidden(self) -> tuple[float, float, float, float]:
        """Width of the strip behind the lip on the left, right, top and bottom of the panel."""
        left, right, top, bottom = (max(r - self.reveal, 0.0) for r in self.reach)
        return left, right, top, bottom

    @property
    def visible(self) -> Polygon:
        """The part of the panel seen in the frame's opening, in panel coordinates."""
        left, right, top, bottom = self.hidden
        width, height = self.size
        if left + right >= width or top + bottom >= height:
            raise LayoutError("the lip would hide the whole panel: check the opening and the reach.")
        return box(left, bottom, width - right, height - top)

    def zones(self) -> tuple[Zone, ...]:
        """The strips behind the lip, which no cut may enter; empty for a panel that sits in the opening."""
        width, height = self.size
        strips = as_multi(box(0.0, 0.0, width, height).difference(self.visible))
        return () if strips.is_empty else (Zone("frame's lip", strips),)


def rectangle_zone(name: str, at: tuple[float, float], size: tuple[float, float]) -> Zone:
    """A keep-out rectangle by its lower left corner and size (mm)."""
    return Zone(name, MultiPolygon([box(at[0], at[1], at[0] + size[0], at[1] + size[1])]))


def round_zone(name: str, at: tuple[float, float], diameter: float) -> Zone:
    """A keep-out circle by its centre and diameter (mm): a screw, a hinge's pin."""
    return Zone(name, MultiPolygon([Point(at).buffer(diameter / 2, quad_segs=32)]))


def clear_area(panel: Panel) -> Polygon:
    """The largest rectangle-bounded area to lay figures out in: the panel less strips along its edges.

    Only zones that reach from side to side count as strips; a screw in the middle stays a matter for the checks.
    """
    x0, y0, x1, y1 = 0.0, 0.0, panel.width, panel.height
    for zone in panel.zones:
        for part in _strips(zone.area, panel):
            a0, b0, a1, b1 = part
            if b0 <= 0 and b1 >= panel.height:
                x0, x1 = (max(x0, a1), x1) if a0 <= 0 else (x0, min(x1, a0))
            elif a0 <= 0 and a1 >= panel.width:
                y0, y1 = (max(y0, b1), y1) if b0 <= 0 else (y0, min(y1, b0))
    if x1 <= x0 or y1 <= y0:
        raise LayoutError("the keep-out zones leave no room for a figure: check them.")
    return box(x0, y0, x1, y1)


def clear_of_edges(area: Polygon, panel: Panel, edge: float) -> Polygon:
    """An area less what lies within `edge` mm of the panel's own edges. Raises LayoutError where nothing is left."""
    x0, y0, x1, y1 = area.bounds
    x0, y0 = max(x0, edge), max(y0, edge)
    x1, y1 = min(x1, panel.width - edge), min(y1, panel.height - edge)
    if x1 <= x0 or y1 <= y0:
        raise LayoutError("the panel is too small: its edges leave no room for a figure.")
    return box(x0, y0, x1, y1)


def _strips(area: MultiPolygon, panel: Panel) -> Sequence[tuple[float, float, float, float]]:
    """Bounding boxes of edge strips: for a ring of strips, one box for each side it covers."""
    out = []
    for part in area.geoms:
        if part.interiors:
            hole = Polygon(part.interiors[0]).bounds
            w, h = panel.width, panel.height
            out += [
                (0.0, 0.0, hole[0], h),
                (hole[2], 0.0, w, h),
                (0.0, 0.0, w, hole[1]),
                (0.0, hole[3], w, h),
            ]
        elif abs(part.area - part.envelope.area) < 1e-6:
            out.append(part.bounds)
    return [b for b in out if b[2] - b[0] > 1e-9 and b[3] - b[1] > 1e-9]
