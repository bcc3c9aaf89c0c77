"""Pieces and pinholes too small to cut, and the words that say how many were left out."""

from __future__ import annotations

from dataclasses import dataclass

from shapely import MultiPolygon, Polygon

from cutout.geom.outline import Note, polygons_of
from cutout.units import count

HAIRLINE = 0.1
"""Width of a hairline against the least size across: seams between abutting shapes, a tenth of a speck wide."""


MUCH = 0.2
"""Share of the area drawn from which on its loss is no dust any more."""


@dataclass(frozen=True, slots=True)
class Share:
    """What was left out as specks beside what is kept: pieces and area. Dust is many pieces and little area."""

    gone: int = 0
    gone_area: float = 0.0
    kept: int = 0
    kept_area: float = 0.0

    @property
    def is_most(self) -> bool:
        """More pieces than are kept, and area that counts."""
        return self.gone > self.kept and self.gone_area > MUCH * (self.gone_area + self.kept_area)

    def notes(self, least_mm: float) -> tuple[Note, ...]:
        """A word where most of what is drawn was left out."""
        if not self.is_most:
            return ()
        text = (
            f"{self.gone} of the {self.gone + self.kept} pieces drawn are less than {{}} across at this size and "
            "were left out: most of the drawing is lost."
        )
        return (Note("lost", text, (least_mm,)),)


@dataclass(frozen=True, slots=True)
class Dropped:
    """How many specks (small all over) and hairlines (holes long, but far too narrow) were left out."""

    specks: int = 0
    hairlines: int = 0
    share: Share = Share()

    def notes(self, least_mm: float) -> tuple[Note, ...]:
        """What to say about them; `least_mm` is the size across under which a piece is a speck."""
        found = []
        if self.specks:
            what = count(self.specks, "piece or pinhole", "pieces and pinholes")
            were = "was" if self.specks == 1 else "were"
            found.append(Note("speck", f"{what} less than {{}} across {were} left out.", (least_mm,)))
        if self.hairlines:
            what = count(self.hairlines, "hairline was", "hairlines were")
            text = f"{what} left out: less than {{}} wide, most likely seams."
            found.append(Note("hairline", text, (least_mm * HAIRLINE,)))
        return (*found, *self.share.notes(least_mm))


def without_specks(region: MultiPolygon, least: float) -> tuple[MultiPolygon, Dropped]:
    """The region less pieces and holes that are specks and holes that are hairlines, and how many those were.

    least: size across of the smallest piece to keep, in the region's units; 0 keeps all but the slivers of
    no width that rounding leaves between touching shapes.
    """
    kept: list[Polygon] = []
    specks = hairlines = gone = 0
    gone_area = 0.0
    for polygon in polygons_of(region):
        if not _has_width(polygon):
            continue
        if is_speck(polygon, least):
            specks += 1
            gone += 1
            gone_area += polygon.area
            continue
        holes = [h for h in map(Polygon, polygon.interiors) if _has_width(h)]
        large = [h for h in holes if not is_speck(h, least)]
        wide = [h for h in large if not is_hairline(h, least)]
        specks += len(holes) - len(large)
        hairlines += len(large) - len(wide)
        kept.append(Polygon(polygon.exterior, [h.exterior for h in wide]))
    region_kept = MultiPolygon(kept)
    return region_kept, Dropped(specks, hairlines, Share(gone, gone_area, len(kept), region_kept.area))


def is_speck(polygon: Polygon, least: float) -> bool:
    """Whether the longer side of its bounding box is under `least`."""
    x0, y0, x1, y1 = polygon.bounds
    return bool(max(x1 - x0, y1 - y0) < least)


def is_hairline(polygon: Polygon, least: float) -> bool:
    """Whether its mean width, area over half the length round it, is under a tenth of `least`."""
    return bool(2 * polygon.area < HAIRLINE * least * polygon.length)


def _has_width(polygon: Polygon) -> bool:
    return bool(polygon.area > 1e-9 * polygon.length**2)
