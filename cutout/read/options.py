"""What a reader may be told."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from cutout.choices import FillHow


@dataclass(frozen=True, slots=True)
class ReadOptions:
    """How to read a source; everything optional.

    width, height: size of the silhouette on the wood in mm (either fixes the scale); with neither, and no
    size in the source, one unit counts as one mm until it is laid out.
    tolerance: greatest distance (mm on the wood) between the picture's edge and the fitted outline.
    speck: pieces and pinholes less than this across (mm on the wood) are dropped and counted in a note.
    threshold: 0..255 grey, or "local"; None chooses by itself. smooth: 0 (as drawn) .. 1 (strong).
    fill: "outline" fills closed thin lines of pictures, "as drawn" keeps them lines; None fills where nothing else
    can be meant.
    invert: True = light on dark, False = dark on light, None finds out.
    corners: four (x, y) picture pixels (y down, clockwise from top left) of a rectangle of `sheet` mm
    (width, height); `sheet` alone looks for a sheet of that size lying in the picture.
    touched: discs (x, y, across) in picture pixels from the top left, filled in, or rubbed out where across is
    below 0, in that order. crop: left, top, right, bottom in the same; what lies beyond is background.
    marked: discs in the same, laid on the figure, or on the ground where across is below 0; within: left, top, right,
    bottom of a box round the figure. Either tells figure from ground on a busy background.
    dxf_units: mm per drawing unit where the header does not say.
    """

    width: float | None = None
    height: float | None = None
    tolerance: float = 0.1
    speck: float = 2.0
    threshold: int | Literal["local"] | None = None
    smooth: float = 0.0
    invert: bool | None = None
    fill: FillHow | None = None
    corners: tuple[tuple[float, float], ...] | None = None
    sheet: tuple[float, float] | None = None
    touched: tuple[tuple[float, float, float], ...] = ()
    crop: tuple[float, float, float, float] | None = None
    marked: tuple[tuple[float, float, float], ...] = ()
    within: tuple[float, float, float, float] | None = None
    dxf_units: float | None = None

    @property
    def by_hand(self) -> bool:
        """Whether anything was touched or marked in the picture."""
        return bool(self.touched or self.marked) or self.crop is not None or self.within is not None
