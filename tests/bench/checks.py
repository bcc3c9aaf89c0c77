"""How long the checks take, as ratios measured side by side in one run; nothing here is a test.

The pattern is an invented wavy blob with openings, drawn with 500 and with 5,000 vertices. Printed: all checks,
the middle line of keep and the bends, each as a multiple of one GEOS buffer of the same pattern by half the
kerf, and how each grows from 500 to 5,000 vertices (ten times the vertices). Run: python tests/bench/checks.py
"""

from __future__ import annotations

import time
from collections.abc import Callable
from statistics import median

import numpy as np
import shapely
from shapely import Polygon

from cutout import check
from cutout.check.narrow_opening import narrow_opening
from cutout.geom.outline import Outline, from_region
from cutout.kit import Kit, bit, blade, drills, wood
from cutout.measure.follow import tight_places
from cutout.measure.webs import webs
from cutout.measure.widths import Middle, middle_of_keep, middle_of_waste
from cutout.pattern import Panel, Pattern, cut_pattern

KIT = Kit(blade("jigsaw-narrow"), drills("metric"), bit("6mm"), wood("white-pine"))
ROUNDS = 5


def drawn(vertices: int) -> Pattern:
    """A blob 500 mm across with 24 waves and a dozen round islands, `vertices` in all."""
    t = np.linspace(0, 2 * np.pi, vertices * 3 // 4, endpoint=False)
    r = 210 + 25 * np.sin(24 * t) + 15 * np.sin(5 * t)
    blob = Polygon(np.column_stack([300 + r * np.cos(t), 300 + r * np.sin(t)]))
    u = np.linspace(0, 2 * np.pi, max(8, vertices // 48), endpoint=False)
    middles = 300 + 300j + 110 * np.exp(2j * np.pi * np.arange(12) / 12)
    rings = (np.column_stack([m.real + 18 * np.cos(u), m.imag + 18 * np.sin(u)]) for m in middles.tolist())
    islands = [Polygon(xy) for xy in rings]
    region = shapely.difference(blob, shapely.union_all(islands))
    return cut_pattern(Outline(from_region(region), 1.0), Panel(600, 600, 18), "panel", KIT.blade.kerf)


def clear() -> None:
    """Forget what was measured before, so that each round measures again."""
    for cached in (tight_places, webs, middle_of_keep, middle_of_waste):
        cached.cache_clear()


def seconds(work: Callable[[], object]) -> float:
    """Median time of a few rounds."""
    times = []
    for _ in range(ROUNDS):
        clear()
        start = time.perf_counter()
        work()
        times.append(time.perf_counter() - start)
    return median(times)


def main() -> None:
    """Print the table."""
    rows: dict[str, list[float]] = {}
    for vertices in (500, 5000):
        made = drawn(vertices)
        jobs: dict[str, Callable[[], object]] = {
            "one GEOS buffer": lambda made=made: shapely.buffer(
                made.waste, -KIT.blade.kerf / 2, quad_segs=64
            ),
            "bends": lambda made=made: tight_places(made, KIT.blade),
            "middle line of keep": lambda made=made: Middle(made.keep).necks(36.0),
            "narrow openings": lambda made=made: list(narrow_opening(made, KIT)),
            "all checks": lambda made=made: check.run(made, KIT),
        }
        for name, job in jobs.items():
            rows.setdefault(name, []).append(seconds(job))
    base = rows["one GEOS buffer"]
    print(f"{'':<22}{'500: x buffer':>16}{'5000: x buffer':>16}{'growth':>9}{'5000: s':>10}")
    for name, (small, large) in rows.items():
        print(
            f"{name:<22}{small / base[0]:>16.1f}{large / base[1]:>16.1f}{large / small:>9.1f}{large:>10.3f}"
        )


if __name__ == "__main__":
    main()
