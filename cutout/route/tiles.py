"""A panel larger than the machine's bed, cut in tiles: which run is cut where, and pins that find the next place.

X0 Y0 is set once, for the first tile. Then pins are put where the spoil board was drilled, and the panel is laid on
them with holes that a tile before has drilled: so its place is known to the fit of a pin, whatever the hand does.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely
from numpy.typing import NDArray

from cutout.geom.curve import FloatArray
from cutout.geom.outline import Ring
from cutout.kit import Kit
from cutout.pattern import Pattern
from cutout.route.model import Pass, Settings, Tile
from cutout.route.track import Track

WALL = 4.0
"""Wood (mm) between a pin's hole and any cut, so that it stays firm: common practice, no source."""
FIT = 0.1
"""How loose (mm) a pin sits in a hole drilled for it: common practice, no source."""
APART = 50.0
"""The two pins of a tile stand at least so far (mm) apart: common practice, no source."""
_LAP = 30.0
"""How far (mm) neighbouring tiles reach over each other at least."""
_MORE = 3
"""So many tiles more than the fewest are tried to find room for the pins."""
_SAFE = 1.0
"""The bit's middle stays this far (mm) inside what the machine travels."""
_STEP = 0.5
"""Distance (mm) between the places of a run that are looked at."""
_GRID = 3.0
"""Places for pins are looked for so far apart (mm)."""
Box = tuple[float, float, float, float]


@dataclass(frozen=True, slots=True)
class _Stretch:
    tile: int
    part: tuple[float, float] | None


def tiles(passes: Sequence[Pass], pattern: Pattern, kit: Kit, settings: Settings) -> tuple[Tile, ...]:
    """The passes dealt out to tiles, in as few as give room for the pins; none where no number of them does.

    A run that one tile reaches all of is cut there whole; others are cut in as few stretches as can be, which lap
    over by the bit's diameter at each joint.
    """
    if not passes or kit.machine.bed is None:
        return ()
    low, high = _extent(passes)
    bed = kit.machine.bed
    room = _room(passes, pattern, kit, settings)
    fewest = [_fewest(high[k] - low[k], bed[k]) for k in (0, 1)]
    if any(n is None for n in fewest):
        return ()
    for more in sorted(itertools.product(range(_MORE + 1), repeat=2), key=sum):
        if any(m and n == 1 for n, m in zip(fewest, more, strict=True)):
            continue
        counts = [n + m for n, m in zip(fewest, more, strict=True) if n is not None]
        for first in (0, 1):
            reaches = _reaches(low, high, bed, counts, first)
            pinned = _pinned(reaches, room, kit.bit.diameter)
            if pinned is not None:
                dealt = _dealt(passes, reaches)
                return () if dealt is None else tuple(_made(reaches, pinned, dealt))
    return ()


def joint_error(tiles: Sequence[Tile]) -> float:
    """How far (mm) two tiles may be off where they meet: the pins' fit, as far as the tile reaches beyond them."""
    worst = 0.0
    for tile in tiles[1:]:
        a, b = np.array(tile.pins)
        x0, y0, x1, y1 = np.array(tile.reach) - np.array(tile.shift * 2)
        corners = np.array([[x0, y0], [x1, y0], [x1, y1], [x0, y1]])
        far = float(np.hypot(*(corners - (a + b) / 2).T).max())
        worst = max(worst, FIT / 2 + FIT * far / float(np.hypot(*(a - b))))
    return worst


def _extent(passes: Sequence[Pass]) -> tuple[FloatArray, FloatArray]:
    """Lower left and upper right of where the bits' middles go, the panel's zero among it."""
    xy = np.concatenate([p.ring.points() for p in passes])
    return np.minimum(xy.min(axis=0), 0.0) - _SAFE - _STEP, xy.max(axis=0) + _SAFE + _STEP


def _fewest(span: float, bed: float) -> int | None:
    if span <= bed:
        return 1
    return math.ceil((span - _LAP) / (bed - _LAP)) if bed > 2 * _LAP else None


def _reaches(
    low: FloatArray, high: FloatArray, bed: tuple[float, float], counts: Sequence[int], first: int
) -> tuple[Box, ...]:
    """The box each tile reaches, to and fro along x (first = 0) or y, so that the panel moves one way at a time."""
    starts = []
    for k in (0, 1):
        whole = max(high[k] - low[k] - bed[k], 0.0)
        starts.append(
            [float(low[k]) + math.ceil(whole * n / max(counts[k] - 1, 1)) for n in range(counts[k])]
        )
    found = []
    for row, v in enumerate(starts[1 - first]):
        for u in starts[first] if row % 2 == 0 else reversed(starts[first]):
            x, y = (u, v) if first == 0 else (v, u)
            found.append((x, y, x + bed[0], y + bed[1]))
    return tuple(found)


def _room(passes: Sequence[Pass], pattern: Pattern, kit: Kit, settings: Settings) -> shapely.Geometry:
    """Where the middle of a pin's hole may be on the panel."""
    swept = [
        shapely.buffer(shapely.LinearRing(p.ring.points(0.05)), p.bit.radius + kit.bit.radius + WALL)
        for p in passes
    ]
    board = shapely.buffer(pattern.panel.polygon, -kit.bit.radius - WALL)
    taken = shapely.union_all([*swept, *(zone.area for zone in pattern.panel.zones)])
    free = shapely.difference(board, taken)
    if settings.index_in == "anywhere":
        return free
    return shapely.Polygon() if pattern.keep_mode == "both" else shapely.intersection(free, pattern.waste)


def _pinned(
    reaches: Sequence[Box], room: shapely.Geometry, size: float
) -> tuple[tuple[tuple[float, float], ...], ...] | None:
    """Two holes on the panel for each tile after the first, as far apart as they go; None where there is no room.

    A tile before must reach them too, and no two holes may run into each other, in the panel or in the spoil board.
    """
    holes: list[tuple[tuple[float, float], ...]] = []
    drilled = np.empty((0, 2))
    boxes = [shapely.box(*_inside(reach)) for reach in reaches]
    for n in range(1, len(reaches)):
        both = shapely.intersection(shapely.union_all(boxes[:n]), boxes[n])
        spots = _grid(shapely.intersection(room, both))
        shift = np.array(reaches[n][:2]) - np.array(reaches[0][:2])
        spots = _clear_of(spots, np.array(holes).reshape(-1, 2), size)
        spots = _clear_of(spots - shift, drilled, size) + shift
        pair = _farthest(spots)
        if pair is None:
            return None
        holes.append(tuple((float(x), float(y)) for x, y in pair))
        drilled = np.vstack([drilled, pair - shift])
    return tuple(holes)


def _clear_of(spots: FloatArray, taken: FloatArray, size: float) -> FloatArray:
    """Those of places (n, 2) with wood between them and holes of this size at other places (m, 2)."""
    apart = np.hypot(*(spots[:, None, :] - taken[None]).transpose(2, 0, 1)).min(axis=1, initial=np.inf)
    return np.asarray(spots[apart > size + WALL])


def _inside(box: Box) -> Box:
    return box[0] + _SAFE, box[1] + _SAFE, box[2] - _SAFE, box[3] - _SAFE


def _grid(room: shapely.Geometry) -> FloatArray:
    if shapely.is_empty(room):
        return np.empty((0, 2))
    x0, y0, x1, y1 = shapely.bounds(room).tolist()
    x, y = np.meshgrid(np.arange(math.ceil(x0), x1, _GRID), np.arange(math.ceil(y0), y1, _GRID))
    spots = np.column_stack([x.ravel(), y.ravel()])
    return np.asarray(spots[shapely.contains_xy(room, spots[:, 0], spots[:, 1])])


def _farthest(spots: FloatArray) -> FloatArray | None:
    """The two of places (n, 2) that lie furthest apart, the lower left first; None where they are too near."""
    if len(spots) < 2:
        return None
    hull = shapely.get_coordinates(shapely.convex_hull(shapely.MultiPoint(spots)))
    apart = np.hypot(*(hull[:, None, :] - hull[None]).transpose(2, 0, 1))
    i, j = np.unravel_index(int(np.argmax(apart)), apart.shape)
    if apart[i, j] < APART:
        return None
    pair = hull[[i, j]]
    return pair if tuple(pair[0]) < tuple(pair[1]) else pair[::-1]


def _dealt(passes: Sequence[Pass], reaches: Sequence[Box]) -> list[list[Pass]] | None:
    """The passes of each tile in their order; None where a run can't be covered."""
    dealt: list[list[Pass]] = [[] for _ in reaches]
    for cut in passes:
        stretches = _stretches(cut.ring, reaches, cut.bit.diameter)
        if stretches is None:
            return None
        for one in stretches:
            dealt[one.tile].append(cut if one.part is None else replace(cut, part=one.part))
    return dealt


def _stretches(ring: Ring, reaches: Sequence[Box], lap: float) -> list[_Stretch] | None:
    """A ring in as few stretches as can be, each within one tile's reach; whole where one tile reaches all of it."""
    track = Track(ring)
    count = max(math.ceil(track.length / _STEP), 4)
    step = track.length / count
    point, _ = track.samples(np.arange(count, dtype=np.float64) * step)
    inside = np.array([_within(point.real, point.imag, _inside(box)) for box in reaches])
    for tile in np.flatnonzero(inside.all(axis=1)).tolist():
        return [_Stretch(tile, None)]
    ahead = np.array([_run_ahead(row) for row in inside])
    over = max(math.ceil(lap / step), 2)
    begins = np.flatnonzero((inside & ~np.roll(inside, 1, axis=1)).any(axis=0)).tolist()
    covers = [cover for k in begins if (cover := _cover(ahead, k, over)) is not None]
    if not covers:
        return None
    return [_Stretch(t, (a * step, b * step)) for t, a, b in min(covers, key=len)]


def _within(x: FloatArray, y: FloatArray, box: Box) -> NDArray[np.bool_]:
    return np.asarray((x >= box[0]) & (x <= box[2]) & (y >= box[1]) & (y <= box[3]))


def _run_ahead(inside: NDArray[np.bool_]) -> NDArray[np.intp]:
    """How many places of a closed run (n,) in a row lie inside, from each on."""
    n = len(inside)
    outside = np.flatnonzero(np.concatenate([~inside, ~inside]))
    following = outside[np.searchsorted(outside, np.arange(n))] if len(outside) else np.full(n, 2 * n)
    return np.asarray(np.minimum(following - np.arange(n), n))


def _cover(ahead: NDArray[np.intp], begin: int, over: int) -> list[tuple[int, int, int]] | None:
    """(tile, first, last) round the whole run from a place on, always in the tile that goes on the longest."""
    n = ahead.shape[1]
    found, at = [], begin
    while True:
        tile = int(np.argmax(ahead[:, at % n]))
        last = min(at + int(ahead[tile, at % n]) - 1, begin + n + over)
        if last - at <= over:
            return None
        found.append((tile, at, last))
        if last >= begin + n + over:
            return found
        at = last - over


def _made(
    reaches: Sequence[Box], holes: Sequence[tuple[tuple[float, float], ...]], dealt: Sequence[list[Pass]]
) -> Iterator[Tile]:
    drilled: list[list[tuple[float, float]]] = [[] for _ in reaches]
    for n, pair in enumerate(holes, 1):
        for x, y in pair:
            # The latest tile before that reaches it: the fewer moves between, the less its place is off.
            place = np.array(x), np.array(y)
            by = next(k for k in reversed(range(n)) if _within(*place, _inside(reaches[k])))
            drilled[by].append((x, y))
    for n, reach in enumerate(reaches):
        shift = (reach[0] - reaches[0][0], reach[1] - reaches[0][1])
        pins = tuple((x - shift[0], y - shift[1]) for x, y in holes[n - 1]) if n else ()
        yield Tile(n + 1, shift, reach, tuple(dealt[n]), tuple(drilled[n]), pins)
