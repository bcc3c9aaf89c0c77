"""The panel a pattern is cut in."""

from __future__ import annotations

import math
from dataclasses import dataclass

from shapely import MultiPolygon, Polygon, box

from cutout.errors import LayoutError, Length

TOUCHING = 1e-3
"""What is this near to something (mm), like the panel's edge, touches it: a tenth of the working resolution."""


@dataclass(frozen=True)
class Panel:
    """A board or glued-up boards; mm, origin at the lower left seen from the show face.

    lower_left: where that is, while a pattern is worked on elsewhere than on its panel.
    grain: direction of the grain in radians from the x axis, None for sheet goods.
    zones: keep-out areas (lips, hinges, screws) with what each is, which the pattern must stay clear of.
    drawn: lines or figures drawn on a face ("stile's edge on the back"), which openings should not cut through.
    board: actual width (mm) of the boards it is glued up from, edge to edge along the grain; None: one piece.
    layers: panels that lie one on the other and are sawn at once.
    seams: how far (mm) the glue lines lie from where they would stand evenly, across the grain, to the left of it.
    Raises LayoutError for sizes no panel can have.
    """

    width: float
    height: float
    thickness: float
    grain: float | None = math.pi / 2
    zones: tuple[Zone, ...] = ()
    drawn: tuple[Zone, ...] = ()
    board: float | None = None
    seams: float = 0.0
    layers: int = 1
    lower_left: tuple[float, float] = (0.0, 0.0)

    def __post_init__(self) -> None:
        for name in ("width", "height", "thickness", "board"):
            value = getattr(self, name)
            if value is not None and not (math.isfinite(value) and value > 0):
                raise LayoutError(f"panel {name} is ", Length(value), ": it must be more than zero.")

    @property
    def sawn(self) -> float:
        """Thickness (mm) that the blade goes through: that of all layers together."""
        return self.thickness * self.layers

    @property
    def polygon(self) -> Polygon:
        """The whole panel as a rectangle."""
        x0, y0 = self.lower_left
        return box(x0, y0, x0 + self.width, y0 + self.height)

    @property
    def middle(self) -> tuple[float, float]:
        """Where its middle is."""
        x0, y0 = self.lower_left
        return x0 + self.width / 2, y0 + self.height / 2


@dataclass(frozen=True)
class Zone:
    """An area of the panel that no cut may enter, and its name ("lip", "hinge")."""

    name: str
    area: MultiPolygon
