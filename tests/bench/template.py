"""How many sheets the template takes, and the size and time of its PDF.

    python tests/bench/template.py [--count N]

Sheets of A4 for real silhouettes (those of saw.py) 400, 650 and 900 mm long: as the tool lays them, as a grid without
its blank sheets, and as the whole grid. Then the PDF of an invented wavy figure of 20,000 points, 600 x 900 mm.
"""

from __future__ import annotations

import argparse
import statistics
import sys
import time
from pathlib import Path

import numpy as np
import shapely
from shapely import affinity

sys.path.insert(0, str(Path(__file__).parent))
import saw

from cutout.geom.outline import Outline, from_region
from cutout.kit import paper
from cutout.pattern import Panel, Placement, cut_pattern, place
from cutout.route.model import ToolPath
from cutout.saw.model import Plan, Proof
from cutout.write.cautions import cautions
from cutout.write.template.template import TURNS, template_pdf
from cutout.write.template.tiling import MARGIN, OVERLAP, STRIP, _pages, _tiled, tile
from cutout.write.work import Work


def sheets(count: int) -> None:
    """Print the table of sheets."""
    laid = grid = full = uncovered = turned = 0
    times = []
    for name, region in saw.silhouettes(count):
        for size in (400.0, 650.0, 900.0):
            pattern = saw.pattern_of(region, size, saw.kit_with("jigsaw-narrow"))
            lines = shapely.boundary(pattern.waste)
            x0, y0, x1, y1 = lines.bounds
            content, whole = (x0 - 8, y0 - 8, x1 + 8, y1 + 8), (-8.0, -8.0, size + 68, size + 68)
            start = time.perf_counter()
            tiling = tile(lines, content, whole, paper("a4"))
            times.append(time.perf_counter() - start)
            plain = min(
                len(_tiled(lines, content, whole, page, MARGIN, OVERLAP, STRIP).sheets)
                for page in _pages(paper("a4"), content, MARGIN, STRIP)
            )
            shown = shapely.union_all([shapely.box(*s.window) for s in tiling.sheets])
            uncovered += not shown.buffer(1e-6).covers(lines)
            laid, grid, full = laid + len(tiling.sheets), grid + plain, full + tiling.full
            fewest = min(len(tiling.sheets), *(turned_sheets(lines, degrees) for degrees in TURNS))
            turned += fewest
            print(
                f"{name:24s} {size:4.0f} mm: {len(tiling.sheets):3d}, turned {fewest:3d}, grid {plain:3d}, "
                f"whole {tiling.full:3d}"
            )
    print(
        f"in all {laid} sheets: {laid / full:.3f} of the whole grid's {full}; turned where that helps "
        f"{turned / full:.3f}; the grid's inked sheets alone {grid / full:.3f}; {uncovered} with ink uncovered; "
        f"{1000 * statistics.median(times):.0f} ms median"
    )


def turned_sheets(lines: shapely.Geometry, degrees: float) -> int:
    """Sheets when the drawing lies turned on them; what is shown beside the ink is left out of account."""
    turned = affinity.rotate(lines, degrees, origin=(0, 0))
    x0, y0, x1, y1 = turned.bounds
    content = (x0 - 8, y0 - 8, x1 + 8, y1 + 8)
    return len(tile(turned, content, content, paper("a4")).sheets)


def large_pdf() -> None:
    """Print size and time of the large template."""
    a = np.linspace(0, 2 * np.pi, 20_000, endpoint=False)
    r = 1 + 0.12 * np.cos(9 * a) + 0.03 * np.sin(60 * a)
    wave = shapely.MultiPolygon(
        [shapely.Polygon(np.column_stack([260 * r * np.cos(a), 390 * r * np.sin(a)]))]
    )
    panel, kit = Panel(680.0, 980.0, 18.0), saw.kit_with("jigsaw-narrow")
    outline = place(Outline(from_region(wave)), panel, Placement(height=900.0))
    pattern = cut_pattern(outline, panel, "panel", kit.blade.kerf)
    plan = Plan((), (), (), (), 0.0, 0, 0.0)
    proof = Proof(True, (), 0.0, (), 0)
    work = Work(
        title="wavy figure", units="mm", paper=paper("a4"), back=False, kit=kit, before=pattern,
        pattern=pattern, findings=(), bridges=(), eased=None, plan=plan, proof=proof,
        router=ToolPath((), shapely.MultiPolygon(), (), 0.0, 0.0, 0.0, 0.0), notes=(), cautions=cautions(kit),
    )  # fmt: skip
    start = time.perf_counter()
    content = template_pdf(work)
    written = time.perf_counter() - start
    pieces = [*pattern.waste.geoms, shapely.box(0, 0, 340, 980)]
    start = time.perf_counter()
    shapely.union_all(pieces)
    union = time.perf_counter() - start
    print(
        f"PDF of 20,000 points: {len(content) / 1000:.0f} kB, written in {1000 * written:.0f} ms, "
        f"{written / union:.1f} times one GEOS union of it with half the panel"
    )


def main() -> None:
    """Parse the options and print."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--count", type=int, default=40)
    sheets(parser.parse_args().count)
    large_pdf()


if __name__ == "__main__":
    main()
