"""The back of the panel at full size: what is painted there, its hardware, the backing sheet and its screws."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import shapely
from shapely import MultiPolygon

from cutout.check.boards import movement
from cutout.job.set_up import hardware_zones
from cutout.kit.wood import woods
from cutout.pattern import Zone
from cutout.pattern.hardware import Screw, backing_bounds, backing_screws
from cutout.units import format_length
from cutout.write.work import Work

_ON_BACK = "drawn on the back"


@dataclass(frozen=True, slots=True)
class OnBack:
    """What belongs on the panel's back. areas: by their own names; centres: of what is bored or screwed (mm)."""

    areas: tuple[Zone, ...]
    centres: tuple[tuple[float, float], ...]


def on_the_back(work: Work) -> OnBack:
    """Areas painted on the back, hardware, the backing sheet, and the holes in it for its screws."""
    painted = tuple(
        Zone(zone.name.removesuffix(_ON_BACK).strip(), zone.area)
        for zone in work.pattern.panel.drawn
        if zone.name.endswith(_ON_BACK)
    )
    pieces = tuple(zip(work.job.panel.hardware, hardware_zones(work.job), strict=True))
    hardware = tuple(
        Zone(f"{part.what} {format_length(part.across, work.units)}", zone.area) for part, zone in pieces
    )
    screws = backing_holes(work)
    areas = (*painted, *_sheet(work), *hardware, *_holes(work, screws))
    return OnBack(areas, (*(part.at for part, _ in pieces), *(screw.at for screw in screws)))


def _sheet(work: Work) -> Iterator[Zone]:
    bounds = _bounds(work)
    if bounds is not None:
        yield Zone("backing sheet", MultiPolygon([shapely.box(*bounds)]))


def _bounds(work: Work) -> tuple[float, float, float, float] | None:
    """The backing sheet on the panel (mm); None where there is none."""
    if work.job.backing is None or work.pattern.waste.is_empty:
        return None
    return backing_bounds(work.pattern, work.job.backing.overlap)


def backing_holes(work: Work) -> tuple[Screw, ...]:
    """Screws of the backing with the holes they want in it; none where it is not screwed on."""
    backing, bounds = work.job.backing, _bounds(work)
    if backing is None or bounds is None or backing.screws is None:
        return ()
    panel = work.pattern.panel
    # A wood that the kit has no figure for, which the cut sheet says, is given slots for the one that moves most.
    known = (movement(1.0, w, work.job.panel.moisture_change) for w in (work.kit.wood, *woods().values()))
    strain = next(known)
    if strain is None:
        strain = max(filter(None, known), default=0.0)
    return backing_screws(
        bounds, backing.overlap / 2, backing.screws, backing.screw_spacing, panel.grain, strain
    )


def _holes(work: Work, screws: tuple[Screw, ...]) -> Iterator[Zone]:
    bored = work.job.backing.screws if work.job.backing else None
    for screw in screws:
        across = format_length(bored or 0.0, work.units)
        length = format_length((bored or 0.0) + 2 * screw.travel, work.units)
        slot = f"slot {across.rsplit(' ', 1)[0]} x {length}"
        yield Zone(slot if screw.travel else f"hole {across}", screw.hole)
