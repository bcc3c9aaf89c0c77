"""Proof of what is said beside the cuts: how the blade comes to each leg, and what falls when.

Part of `prove`, and like it written without a line of the planner's code. Shown here: (e) every piece that comes free
is announced by the leg that frees it, and nothing is announced that is still held; (f) the move a leg begins with is
one this kind of saw can make, from where the blade is by then.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
import shapely
from shapely import Polygon

from cutout.geom.curve import ComplexArray, to_array
from cutout.geom.outline import polygons_of
from cutout.kit import Kit
from cutout.saw.fault import Fault
from cutout.saw.model import SAME_GO, Leg

TOLD = 4.0
"""A piece from this size (mm^2) on must be announced before it falls."""
SLACK = 0.15
"""An announced piece and the one that falls may differ by this much (mm) along their edges."""
ON_IT = 0.12
"""So near (mm) must a blade that was backed out stand to the middle of the kerf it branches from ..."""
ALONG = 0.94
"""... and so much along it: the least cosine between its heading and the kerf's."""


@dataclass
class Moves:
    """Where the blade has been. Local to one proof.

    board: the panel; opened: everything open so far, shared with the bench; paths: of the legs of the present go;
    earlier: of all.
    """

    kit: Kit
    board: Polygon
    opened: list[shapely.Geometry]
    paths: list[ComplexArray] = field(default_factory=list)
    earlier: list[ComplexArray] = field(default_factory=list)

    def fault(self, leg: Leg, path: ComplexArray, air: shapely.Geometry) -> Fault | None:
        """Why the move before a leg can't be made, None where it can; `air` is what is open round its start."""
        moves = self.kit.moves
        start = complex(path[0])
        if leg.start_by in SAME_GO and not self.paths:
            return Fault(what="no go before", leg=leg.order)
        if leg.start_by == "lift" and moves.threads:
            return Fault(what="lifts inside", leg=leg.order, saw=moves.saw)
        if leg.start_by == "back" and not self._on_one(path, self.paths):
            return Fault(what="no kerf to branch from", leg=leg.order)
        if leg.start_by == "spin":
            return self._spin_fault(leg, path, air)
        if leg.start_by == "turn":
            if not self._room_for(start, air):
                return Fault(what="no room to turn", leg=leg.order)
            if not self._reached(start):
                return Fault(what="turns elsewhere", leg=leg.order)
        if leg.start_by in ("drop in", "thread") and not self._room_for(start, air):
            # A threaded blade may also follow a kerf from the hole it came through.
            if leg.start_by == "thread" and self._on_one(path, self.earlier):
                return None
            return Fault(what="no way in", leg=leg.order)
        return None

    def _spin_fault(self, leg: Leg, path: ComplexArray, air: shapely.Geometry) -> Fault | None:
        """A spin begins with the blade in a kerf of its go, pointing along it, its back where it is turned about."""
        blade = self.kit.blade
        if not self.kit.moves.spins:
            return Fault(what="spins no blade", leg=leg.order, saw=self.kit.moves.saw)
        after = (path[1] - path[0]) / abs(path[1] - path[0])
        before = after * np.exp(-1j * leg.turned)
        pivot = path[0] - after * blade.width / 2
        stands = pivot + before * blade.width * np.array([0.0, 0.5, 1.0])
        if not all(self._on_one(np.array([z, z + before]), self.paths) for z in stands[:2]):
            return Fault(what="spins elsewhere", leg=leg.order)
        steel = shapely.LineString(to_array(stands)).buffer(blade.body / 2, cap_style="flat")
        if shapely.area(shapely.difference(steel, air)) > 0.02 * blade.width * blade.body:
            return Fault(what="no room to spin", leg=leg.order)
        return None

    def swept(self, leg: Leg, path: ComplexArray) -> shapely.Geometry:
        """What a spin takes off: the blade as wide as its kerf, about the middle of its back, degree by degree."""
        blade = self.kit.blade
        after = (path[1] - path[0]) / abs(path[1] - path[0])
        pivot = path[0] - after * blade.width / 2
        turns = np.linspace(-leg.turned, 0.0, max(2, int(np.ceil(abs(np.degrees(leg.turned)))) + 1))
        half = blade.kerf / 2
        corners = np.array([-1j * half, blade.width - 1j * half, blade.width + 1j * half, 1j * half])
        z = pivot + (after * np.exp(1j * turns))[:, None] * corners[None, :]
        return shapely.union_all(shapely.polygons(np.stack([z.real, z.imag], axis=-1)))

    def note(self, leg: Leg, path: ComplexArray) -> None:
        """The leg is sawn."""
        if leg.start_by not in SAME_GO:
            self.paths = []
        self.paths.append(path)
        self.earlier.append(path)

    def _on_one(self, path: ComplexArray, kerfs: Sequence[ComplexArray]) -> bool:
        """Whether a path begins on one of the kerfs and in its direction."""
        start, ahead = path[0], path[1] - path[0]
        for kerf in kerfs:
            line = shapely.LineString(to_array(kerf))
            spot = shapely.Point(start.real, start.imag)
            if shapely.distance(line, spot) > ON_IT:
                continue
            s = shapely.line_locate_point(line, spot)
            ends = shapely.line_interpolate_point(line, [max(s - 0.2, 0.0), s + 0.2])
            run = complex(ends[1].x - ends[0].x, ends[1].y - ends[0].y)
            if abs(run) > 0 and (ahead * run.conjugate()).real > ALONG * abs(ahead) * abs(run):
                return True
            # A kerf that crosses itself comes by twice: every part of it near the start counts.
            near = np.flatnonzero(np.abs(kerf[:-1] - start) < 1.0)
            step = np.diff(kerf)[near]
            cos = (ahead * np.conj(step)).real / np.maximum(np.abs(step) * abs(ahead), 1e-12)
            if (cos > ALONG).any():
                return True
        return False

    def _room_for(self, at: complex, air: shapely.Geometry) -> bool:
        radius = self.kit.blade.hole_to_turn / 2 - 0.1
        disc = shapely.Point(at.real, at.imag).buffer(radius, quad_segs=8)
        return bool(shapely.area(shapely.difference(disc, air)) < 0.02 * radius * radius)

    def _reached(self, at: complex) -> bool:
        """Whether a kerf of this go comes into the open place a point lies in."""
        lines = shapely.multilinestrings([shapely.LineString(to_array(p)) for p in self.paths])
        spot = shapely.Point(at.real, at.imag)
        reach = self.kit.blade.hole_to_turn / 2 + 0.2
        if shapely.dwithin(lines, spot, reach):
            return True
        # Beyond the panel's edge all is open: a kerf that comes out there comes to every place there.
        if not shapely.intersects(self.board, spot):
            return not shapely.covers(self.board, lines)
        # Not beside a kerf of its own: then through open places wide enough to slide the blade through.
        half = self.kit.blade.hole_to_turn / 2 - 0.1
        rooms = polygons_of(shapely.buffer(shapely.union_all(self.opened), -half, quad_segs=4))
        return any(shapely.dwithin(p, spot, reach) and shapely.dwithin(p, lines, reach) for p in rooms)


def unannounced(fallen: Sequence[Polygon], leg: Leg) -> Polygon | None:
    """A piece that came free and that the leg does not announce; None where all is said."""
    said = shapely.buffer(leg.drops, SLACK, quad_segs=2)
    for piece in fallen:
        if piece.area >= TOLD and shapely.area(shapely.difference(piece, said)) > max(1.0, 0.01 * piece.area):
            return piece
    return None


def still_held(fallen: Sequence[Polygon], leg: Leg) -> Polygon | None:
    """A piece the leg announces that has not come free; None where all has."""
    free = shapely.buffer(shapely.union_all(list(fallen)), SLACK, quad_segs=2)
    for piece in polygons_of(leg.drops):
        if piece.area >= TOLD and shapely.area(shapely.difference(piece, free)) > max(1.0, 0.01 * piece.area):
            return piece
    return None
