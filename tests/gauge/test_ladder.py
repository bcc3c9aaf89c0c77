"""Which arc of the ladder tells the blade's radius, from arcs that were read."""

from __future__ import annotations

import numpy as np
import pytest

from cutout.gauge.card import Trail
from cutout.gauge.reading import Unread, Value, _radius
from cutout.gauge.rung import Rung
from cutout.gauge.sheet import PrintScale
from cutout.gauge.slot import Slot

KERF = Value(1.4, 0.02, 0.0)
NOTHING = Slot(Trail(0j, 0.0, ()), np.zeros(0), np.zeros(0), np.zeros(0), 0, 0, 0.1)


def arc(radius: float, followed: bool, sawn: float | None = None, stray: float | None = 0.1) -> Rung:
    return Rung(radius, NOTHING, sawn, 0.2 if sawn else 0.0, stray, followed, "" if followed else "not so.")


LOST = arc(13.0, False, stray=None)


@pytest.mark.parametrize(
    ("next_arc", "radius", "said"),
    [
        (arc(8.5, True, 8.4), 8.5, ["arc of {}"]),  # it was the photograph's fault
        (arc(8.5, False, 11.0, 1.2), 16.0, []),  # it was the blade's
        (arc(8.5, True, 9.7), 16.0, []),  # followed by so little that it proves nothing
    ],
)
def test_an_arc_lost_from_view_counts_against_the_blade_only_where_tighter_ones_do(
    next_arc: Rung, radius: float, said: list[str]
) -> None:
    rungs = (arc(20.0, True, 19.8), arc(16.0, True, 15.9), LOST, next_arc, arc(7.0, False, 8.1, 1.7))
    unread: list[Unread] = []
    found, _ = _radius(rungs, PrintScale(1.0, 1.0, 0.0, "not known"), KERF, "", unread)
    assert found is not None and found.value == pytest.approx(radius)
    assert [one.what for one in unread] == said
