"""What an SVG's page looks like before anything is drawn on it, and which paints stand out from it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import shapely
import shapely.affinity
from shapely import Polygon

from cutout.read.svg.compose import Regions, extent
from cutout.read.svg.number import PX_PER_INCH
from cutout.read.svg.paint import Paint
from cutout.read.svg.style import WHITE, Colour
from cutout.read.svg.walk import Drawing, Mark, Stroke

NEAR = 0.08
"""Difference in red, green or blue, of 1, up to which a colour counts as the page's: #ebebeb is still white."""

FADED = 0.1
"""Opacity below which a shading has faded to nothing."""

OLD_INCH = 90.0
"""px to the inch of drawing programs before CSS fixed it at 96: their pages, stated in mm, look larger than drawn.
From memory; 744.09 of 793.70 px for an A4 page of 210 mm is a common sight in clip art."""

COLOURLESS = 0.15
"""Spread of red, green and blue under which a shade is a grey."""

DARK = 0.5
"""Lightness under which a ground is dark, so that white on it is a figure."""


@dataclass(frozen=True, slots=True)
class PaintedRule:
    """The silhouette is whatever is painted in another colour than the page's; the page's colour clears it.

    page: the colours of the page. near: difference up to which a colour is the page's. fading: whether
    greys that fade to nothing count.
    """

    page: tuple[Colour, ...] = (WHITE,)
    near: float = NEAR
    fading: bool = False

    def side(self, paint: Paint) -> bool | None:
        """True where the paint is figure, False where it clears to the page, None where it changes nothing."""
        if not self.fading and fades(paint):
            return None
        found = {self._shade(shade) for shade in paint.shades}
        if True in found:
            return True
        return False if found == {False} else None

    def _shade(self, shade: Colour) -> bool | None:
        apart = min(distance(shade, colour) for colour in self.page)
        if shade.alpha * apart >= self.near:
            return True
        return False if apart < self.near and shade.alpha > 1 - self.near else None


@dataclass(frozen=True, slots=True)
class EverythingRule:
    """Whatever is painted, in any colour, is the silhouette."""

    def side(self, paint: Paint) -> bool | None:
        """Always figure."""
        return True


def fades(paint: Paint) -> bool:
    """Whether it runs out to nothing and is grey, or known to be soft: a shadow, glow or gloss, not a body."""
    if paint.body or paint.soft:
        return paint.soft
    return (runs_out(paint) or pales(paint)) and all(
        max(s.rgb) - min(s.rgb) < COLOURLESS for s in paint.shades
    )


def runs_out(paint: Paint) -> bool:
    """Whether it grows transparent until nothing is left of it."""
    return len(paint.shades) > 1 and min(shade.alpha for shade in paint.shades) < FADED


def pales(paint: Paint) -> bool:
    """Whether it pales from a middle outwards to white, which on a white page is nothing, too."""
    if paint.ramp is None or not paint.ramp.radial or len(paint.shades) < 2:
        return False
    rim = paint.ramp.shades[-1]
    return rim.alpha * distance(rim, WHITE) < FADED / 2


def distance(one: Colour, other: Colour) -> float:
    """Greatest difference in red, green or blue; 0..1."""
    return max(abs(a - b) for a, b in zip(one.rgb, other.rgb, strict=True))


@dataclass(frozen=True, slots=True)
class Ground:
    """A mark that fills the page behind everything else."""

    index: int
    colours: tuple[Colour, ...]

    @property
    def is_white(self) -> bool:
        """Whether it looks like no ground at all."""
        return all(distance(c, WHITE) < NEAR for c in self.colours)

    @property
    def is_dark(self) -> bool:
        """Whether white stands out from it as a figure would."""
        return max(c.grey for c in self.colours) < DARK


def page_box(drawing: Drawing) -> Polygon:
    """The page in px, y up; where none is stated, what holds all that is drawn."""
    if drawing.page:
        return shapely.box(0, -drawing.page[1], drawing.page[0], 0)
    return shapely.box(*(extent(drawing.marks) or (0.0, 0.0, 0.0, 0.0)))


def ground_of(drawing: Drawing, regions: Regions) -> Ground | None:
    """The last mark that fills the page with opaque paint and has something of another colour over it.

    The first mark of all may be a veil: there is only the white page to shine through it.
    """
    pages = _pages(drawing)
    for index in range(len(drawing.marks) - 1, -1, -1):
        mark = drawing.marks[index]
        if not any(_fills(mark, page, regions, first=index == 0) for page in pages):
            continue
        ground = Ground(index, tuple(_on_white(shade) for shade in mark.paint.shades))
        rule = PaintedRule(ground.colours)
        over = drawing.marks[index + 1 :]
        return ground if any(rule.side(m.paint) for m in over) else None
    return None


def _pages(drawing: Drawing) -> tuple[Polygon, ...]:
    """The page, and the one that programs meant which took an inch for 90 px."""
    page = page_box(drawing)
    if not drawing.unscaled:
        return (page,)
    return page, shapely.affinity.scale(page, OLD_INCH / PX_PER_INCH, OLD_INCH / PX_PER_INCH, origin=(0, 0))


def _on_white(shade: Colour) -> Colour:
    red, green, blue = (1 - shade.alpha * (1 - part) for part in shade.rgb)
    return Colour((red, green, blue))


def _fills(mark: Mark, page: Polygon, regions: Regions, *, first: bool) -> bool:
    opaque = all(shade.alpha >= 1 - NEAR for shade in mark.paint.shades)
    if isinstance(mark.draws, Stroke) or not (opaque or (first and len(mark.paint.shades) == 1)):
        return False
    x0, y0, x1, y1 = page.bounds
    a0, b0, a1, b1 = extent([mark]) or (x1, y1, x0, y0)
    spare = 0.005 * max(x1 - x0, y1 - y0)
    if not (a0 <= x0 + spare and b0 <= y0 + spare and a1 >= x1 - spare and b1 >= y1 - spare):
        return False
    return bool(shapely.intersection(regions.of(mark), page).area >= 0.995 * page.area)


def rules(ground: Ground | None) -> Iterator[tuple[PaintedRule | EverythingRule, str | None]]:
    """Rules to try in turn until one shows a figure, each with what to say about it."""
    if ground is not None and not ground.is_white:
        if not ground.is_dark:
            yield PaintedRule((*ground.colours, WHITE)), None
        yield PaintedRule(ground.colours), None
        yield PaintedRule(ground.colours, fading=True), None
        return
    yield PaintedRule(), None
    yield PaintedRule(fading=True), None
    pale = "everything in the drawing is nearly white: whatever is not quite white counts as the figure."
    yield PaintedRule(near=0.004, fading=True), pale
    yield EverythingRule(), "the drawing is white: whatever is painted counts as the figure."
