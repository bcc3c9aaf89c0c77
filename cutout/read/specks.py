"""Pieces and pinholes too small to cut."""

from __future__ import annotations

from shapely import MultiPolygon, Polygon

from cutout.geom.outline import Note, polygons_of


def is_speck(polygon: Polygon, least: float) -> bool:
    """Whether the longer side of its bounding box is under `least`."""
    x0, y0, x1, y1 = polygon.bounds
    return max(x1 - x0, y1 - y0) < least


def without_specks(region: MultiPolygon, least: float) -> tuple[MultiPolygon, int]:
    """The region less pieces and holes under `least` across, and how many those were.

    Slivers that rounding leaves between touching shapes go too, uncounted.
    """
    kept, dropped = [], 0
    for polygon in polygons_of(region):
        if polygon.area <= 1e-9 * polygon.length**2:
            continue
        if is_speck(polygon, least):
            dropped += 1
            continue
        holes = [Polygon(h) for h in polygon.interiors]
        solid = [h for h in holes if h.area > 1e-9 * h.length**2]
        open_ = [h for h in solid if not is_speck(h, least)]
        dropped += len(solid) - len(open_)
        kept.append(Polygon(polygon.exterior, [h.exterior for h in open_]))
    return MultiPolygon(kept), dropped


def speck_note(dropped: int, least_mm: float) -> tuple[Note, ...]:
    """What to say about dropped specks; nothing where there were none."""
    if not dropped:
        return ()
    what = "1 piece or pinhole" if dropped == 1 else f"{dropped} pieces and pinholes"
    were = "was" if dropped == 1 else "were"
    return (Note("speck", f"{what} less than {least_mm:g} mm across {were} left out."),)


def counted(n: int, one: str, many: str) -> str:
    """A count with its noun and verb: "1 gap was", "3 gaps were"."""
    return f"{n} {one if n == 1 else many}"
