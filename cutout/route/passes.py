"""From a pattern to the passes that cut it."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace

import shapely
from shapely import MultiPolygon

from cutout.geom.arcfit import fit_rings
from cutout.geom.outline import Ring, as_multi, polygons_of
from cutout.kit import Bit, Feeds, Kit, feeds
from cutout.pattern import Pattern
from cutout.route import findings, offset
from cutout.route.findings import Left
from cutout.route.model import Pass, Settings, Tab, ToolPath
from cutout.route.offset import Run, Space
from cutout.route.order import order
from cutout.route.prove import prove, prove_tiles
from cutout.route.tabs import Piece, beside, pieces, place_tabs
from cutout.route.tiles import tiles
from cutout.route.track import from_middle_of_longest

_MARGIN = 4.5
"""How far past the panel's edge a bit may run, in radii: its own width twice over, and a little."""
_CHIPS = 4.0
"""A piece of waste no larger than this many squares of a tab's length is cut to chips, not held."""
_TOUCH = 2e-3
"""Wood left beside what stays is joined to it across a crack of rounding this wide (mm)."""
_WIDEST_FINISH = 3.0
"""In corners the finishing turn may meet this many times the wood that was left for it."""
_WORTH = 0.05
"""Wood (mm^2) a smaller bit must take away to be sent into a corner."""


@dataclass(frozen=True, eq=False, slots=True)
class _Cut:
    """What one bit does in one space: its runs, waste that comes out whole, what it leaves, where it goes.

    rough: runs beside the outline that leave wood for the finishing turn.
    """

    space: Space
    bit: Bit
    runs: tuple[Run, ...]
    slugs: MultiPolygon
    left: MultiPolygon
    centre: MultiPolygon
    rough: tuple[Run, ...] = ()


@dataclass(frozen=True, eq=False, slots=True)
class _Held:
    """Runs with their fitted rings and tabs, and the loose parts that found no room for tabs."""

    runs: tuple[Run, ...]
    rings: tuple[Ring, ...]
    tabs: tuple[tuple[Tab, ...], ...]
    short: tuple[Piece, ...]


def tool_path(pattern: Pattern, kit: Kit, settings: Settings | None = None) -> ToolPath:
    """The router's path for a pattern: offset, fitted with lines and arcs, held by tabs, ordered, proved.

    The kit's bit goes round every opening; its smaller bit, where there is one, cuts what the first one
    left. What no bit reaches and every part without room for tabs is a finding to take care of; a path that
    fails its proof is one that stops.
    """
    settings = settings or Settings()
    asked, pattern = pattern, offset.finely(pattern)
    spaces = offset.spaces(pattern, _MARGIN * kit.bit.radius)
    rough = [_outline_cut(space, pattern, kit.bit, settings.finish) for space in spaces]
    small = kit.small_bit if kit.small_bit and kit.small_bit.diameter < kit.bit.diameter else None
    fine = [[*_corner_cuts(cut, small)] if small else [] for cut in rough]
    left = [_left_by(cut, corners) for cut, corners in zip(rough, fine, strict=True)]
    held = _hold(pattern, rough, left, kit, settings)
    runs = (*held.runs, *(run for corners in fine for cut in corners for run in cut.runs))
    rings = (*held.rings, *_rings(runs[len(held.runs) :], settings))
    tabs = (*held.tabs, *(() for _ in rings[len(held.rings) :]))
    passes, travel = _ordered(runs, rings, tabs, pattern.panel.thickness, settings)
    driven = _driven(passes, kit, settings)
    dealt = (
        tiles(passes, pattern, kit, settings) if settings.tiles and findings.too_large(pattern, kit) else ()
    )
    places = [p for trio in zip(rough, fine, left, strict=True) for p in _measured(*trio, small)]
    said = (
        *findings.layout(pattern, kit),
        *findings.machine(pattern, kit, driven, settings, dealt),
        *findings.unfinished([cut.space for cut in rough if cut.runs and not cut.rough], settings),
        *findings.corners(places),
        *findings.gaps(places),
        *findings.loose(held.short),
    )
    unreached = _union(left)
    length = math.fsum(p.ring.length * len(p.depths) for p in passes)
    path = ToolPath(passes, unreached, said, 0.0, travel, length, 0.0, settings, driven, dealt)
    path = replace(path, minutes=_minutes(path, kit.machine.rapid))
    proof = prove(asked, path)
    return replace(path, gouge=proof.gouge, findings=(*proof.findings, *prove_tiles(asked, path), *said))


def depths(thickness: float, bit: Bit, settings: Settings) -> tuple[float, ...]:
    """z of each turn (mm, negative): equal steps no deeper than the bit allows, the last one through."""
    whole = thickness + settings.breakthrough
    n = math.ceil(whole / bit.depth_per_pass - 1e-9)
    return tuple(-whole * (k + 1) / n for k in range(n))


def _driven(passes: Iterable[Pass], kit: Kit, settings: Settings) -> tuple[Feeds, ...]:
    """How each bit is driven at each depth of turn that occurs, least first."""
    turns = sorted({(p.bit.name, p.turn): p for p in passes}.items(), key=lambda item: item[0])
    return tuple(feeds(p.bit, kit.wood, kit.machine, p.turn, settings.feed_limit) for _, p in turns)


def _outline_cut(space: Space, pattern: Pattern, bit: Bit, finish: float) -> _Cut:
    centre = offset.grow(space.region, -bit.radius)
    if centre.is_empty and (spot := offset.bore(space.region, bit)) is not None:
        centre = MultiPolygon([spot])
    runs = tuple(offset.contours(space, centre, pattern, bit))
    inner, rough = centre, tuple[Run, ...]()
    if finish > 0:
        wide = offset.grow(space.region, -bit.radius - finish)
        if shapely.difference(centre, offset.grow(wide, _WIDEST_FINISH * finish)).is_empty:
            inner = wide
            rough = tuple(
                replace(run, purpose="roughing") for run in offset.contours(space, wide, pattern, bit)
            )
            runs = tuple(replace(run, purpose="finish") for run in runs)
    slugs = offset.grow(inner, -bit.radius)
    left = shapely.intersection(offset.rest(space.region, centre, bit.radius), pattern.panel.polygon)
    return _Cut(space, bit, runs, slugs, as_multi(left), centre, rough)


def _corner_cuts(cut: _Cut, bit: Bit) -> Iterator[_Cut]:
    """What a smaller bit does about what a larger one left: round every such place, waste there to chips."""
    for space in offset.corner_spaces(cut.space, _worth_cutting(cut), bit):
        centre = offset.grow(space.region, -bit.radius)
        rooms = [room for room in polygons_of(centre) if _takes(room, cut.left, bit)]
        runs = [run for room in rooms for run in offset.around(room, space.opening, bit, "corners")]
        slugs = shapely.intersection(offset.grow(MultiPolygon(rooms), -bit.radius), cut.left)
        runs += [r for slug in polygons_of(slugs) for r in offset.clearing(slug, space.opening, bit)]
        if runs:
            yield _Cut(space, bit, tuple(runs), MultiPolygon(), MultiPolygon(), MultiPolygon(rooms))


def _worth_cutting(cut: _Cut) -> MultiPolygon:
    places = findings.measured(cut.left, [(cut.centre, cut.bit.radius)], cut.space.opening)
    return MultiPolygon([place.area for place in places])


def _takes(room: shapely.Polygon, left: MultiPolygon, bit: Bit) -> bool:
    return bool(shapely.area(shapely.intersection(offset.grow(room, bit.radius), left)) > _WORTH)


def _left_by(cut: _Cut, corners: Sequence[_Cut]) -> MultiPolygon:
    """What stays of a space when both bits are through."""
    left: shapely.Geometry = cut.left
    for corner in corners:
        left = offset.rest(left, corner.centre, corner.bit.radius)
    return as_multi(left)


def _measured(cut: _Cut, corners: Sequence[_Cut], left: MultiPolygon, small: Bit | None) -> Iterator[Left]:
    over = [(cut.centre, cut.bit.radius)]
    if small:
        over.append((_union([c.centre for c in corners]), small.radius))
    return findings.measured(left, over, cut.space.opening)


def _hold(
    pattern: Pattern, cuts: Sequence[_Cut], left: Sequence[MultiPolygon], kit: Kit, settings: Settings
) -> _Held:
    """The outline runs with tabs on every part that would come loose; waste too small for tabs to chips."""
    outline = [run for cut in cuts for run in cut.runs]
    rings = _rings(outline, settings)
    small = _CHIPS * (settings.tab_width + kit.bit.diameter) ** 2
    kept = shapely.union_all([offset.guarded(pattern), *shapely.buffer(list(left), _TOUCH, quad_segs=1)])
    wood = pieces(pattern, kept, ((cut.space.opening, cut.slugs) for cut in cuts))
    chips = [p for p in wood if p.waste and not p.held and p.area.area <= small]
    avoid = MultiPolygon()
    if kit.small_bit:
        reach = kit.small_bit.diameter + (settings.tab_width + kit.bit.diameter) / 2
        avoid = offset.grow(_union([cut.left for cut in cuts]), reach)
    while True:
        wood = tuple(p for p in wood if p not in chips)
        held = place_tabs(rings, wood, avoid, kit, pattern.panel.thickness, settings)
        short = [p for p in held.short if p.waste]
        if not short:
            break
        chips += short
    cleared = [run for p in chips for run in offset.clearing(p.area, p.opening, kit.bit)]
    rough = [run for cut in cuts for run in cut.rough]
    roughed = _rings(rough, settings)
    on_lines = [tab for tabs in held.tabs for tab in tabs]
    return _Held(
        (*rough, *outline, *cleared),
        (*roughed, *rings, *_rings(cleared, settings)),
        (*(beside(ring, on_lines, settings.finish) for ring in roughed), *held.tabs, *(() for _ in cleared)),
        held.short,
    )


def _ordered(
    runs: Sequence[Run],
    rings: Sequence[Ring],
    tabs: Sequence[tuple[Tab, ...]],
    thickness: float,
    settings: Settings,
) -> tuple[tuple[Pass, ...], float]:
    """Passes in cutting order, all of one bit before the next, and the travel between them (mm)."""
    bits = list(dict.fromkeys(run.bit for run in runs))
    turn, travel = order(rings, [2 * bits.index(run.bit) + (run.purpose == "finish") for run in runs])
    top = min(settings.tab_height, thickness / 3) - thickness
    passes = []
    for n, i in enumerate(turn):
        run = runs[i]
        steps = depths(thickness, run.bit, settings)
        steps = steps[-1:] if run.purpose == "finish" else steps
        passes.append(Pass(n + 1, run.opening, run.side, rings[i], run.bit, steps, tabs[i], top, run.purpose))
    return tuple(passes), travel


def _rings(runs: Sequence[Run], settings: Settings) -> list[Ring]:
    turned = [run.xy if settings.direction == "conventional" else run.xy[::-1] for run in runs]
    return from_middle_of_longest(fit_rings(turned, settings.tolerance))


def _minutes(path: ToolPath, rapid: float) -> float:
    """Cutting at the feed, ramps at theirs, and travel; what a machine needs to speed up is left out."""
    minutes = path.travel / rapid
    for p in [p for tile in path.tiles for p in tile.passes] or path.passes:
        driven, ramps = path.feeds_for(p), -p.depths[-1] / math.tan(path.settings.ramp)
        minutes += p.length * len(p.depths) / driven.feed + ramps / driven.ramp
    return minutes


def _union(regions: Sequence[MultiPolygon]) -> MultiPolygon:
    return as_multi(shapely.union_all(regions)) if regions else MultiPolygon()
