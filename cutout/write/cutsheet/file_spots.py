"""Spots that stay for a file, those near each other as one place with a letter."""

from __future__ import annotations

from dataclasses import dataclass
from string import ascii_lowercase

import shapely

from cutout.geom.where import place_in
from cutout.saw.model import LeftOver
from cutout.saw.planner.steps import letter
from cutout.units import MM_PER_INCH, Units, count
from cutout.write.work import Work

_NEAR = 0.03
"""Spots this near each other, in lengths of the panel's longer side, are filed in one go."""


@dataclass(frozen=True, slots=True)
class FilePlace:
    """Spots near each other. name: their letter on the picture; where: opening and part of it, in words."""

    name: str
    where: str
    spots: tuple[LeftOver, ...]

    @property
    def at(self) -> tuple[float, float]:
        """The deepest spot (mm)."""
        return max(self.spots, key=lambda spot: spot.depth).at


def file_places(work: Work) -> tuple[FilePlace, ...]:
    """Spots joined by nearness, from the top down and left to right."""
    left = work.plan.left_over
    if not left:
        return ()
    points = shapely.points([spot.at for spot in left])
    reach = _NEAR * max(work.pattern.panel.width, work.pattern.panel.height)
    near = shapely.get_parts(shapely.union_all(shapely.buffer(points, reach)))
    row = max(2 * reach, 1.0)
    blobs = sorted(near.tolist(), key=lambda b: (-round(b.centroid.y / row), b.centroid.x))
    return tuple(
        FilePlace(
            letter(n, ascii_lowercase),
            _where(work, blob),
            tuple(s for s, p in zip(left, points, strict=True) if blob.contains(p)),
        )
        for n, blob in enumerate(blobs)
    )


def _where(work: Work, blob: shapely.Polygon) -> str:
    openings = work.pattern.openings
    if not openings:
        return ""
    nearest = min(openings, key=lambda opening: shapely.distance(opening.region, blob.centroid))
    part = place_in(blob, nearest.region.bounds)
    return f"opening {nearest.id}, {part}" if len(openings) > 1 else part


def depth_words(place: FilePlace, units: Units) -> str:
    """How many spots, and how deep the deepest is."""
    deepest = max(spot.depth for spot in place.spots)
    deep = f"{deepest / MM_PER_INCH:.3f} in" if units == "in" else f"{deepest:.1f} mm"
    return f"{count(len(place.spots), 'spot')}, {deep} deep{' at most' if len(place.spots) > 1 else ''}"
