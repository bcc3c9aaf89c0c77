"""How many sheets the template takes, and the size and time of its PDF.

    python tests/bench/template.py [--count N] [--sizes 400,650,900] [--plans N] [--lengths 300,600]
    python tests/bench/template.py --count 0 --from 8 --to 12 --keep FOLDER --rows FILE     a part of them
    python tests/bench/template.py --table FILE     the table of all rows so far

Sheets of A4 for real silhouettes (those of saw.py) 400, 650 and 900 mm long: as the tool lays them, as a grid without
its blank sheets, and as the whole grid. Then the PDF of an invented wavy figure of 20,000 points, 600 x 900 mm. Then
what falls short on paper with whole plans, 300 and 600 mm long: names without room, names on a line, small letters,
crosses cut off, and the sides of the shop drawing; `--from` and `--to` take a part of these silhouettes, and plans
are kept in a folder, so that a second run of the same planner is quick.
"""

from __future__ import annotations

import argparse
import json
import pickle
import statistics
import sys
import time
import zlib
from collections.abc import Sequence
from dataclasses import replace
from io import BytesIO
from pathlib import Path
from typing import Any

import numpy as np
import pdfplumber
import pypdfium2 as pdfium
import shapely
from shapely import MultiPolygon, affinity
from shapely.geometry.base import BaseGeometry

sys.path.insert(0, str(Path(__file__).parent))
sys.path.insert(0, str(Path(__file__).parents[1] / "write" / "template"))
import saw
import test_crosses as crosses

from cutout.draw import fonts
from cutout.geom.outline import Outline, from_region
from cutout.job.schema import Job
from cutout.kit import Kit, paper
from cutout.pattern import Panel, Pattern, Placement, cut_pattern, place
from cutout.route.model import ToolPath
from cutout.saw import plan
from cutout.saw.model import Plan, Proof
from cutout.write.drawing import Drawing
from cutout.write.shopdrawing.shopdrawing import shop_drawing_pdf
from cutout.write.template.annotate import annotate
from cutout.write.template.register import Mark
from cutout.write.template.sliding import points_on, thinned
from cutout.write.template.template import TURNS, sheet_turn, template_pdf, tiling_of
from cutout.write.template.tiling import MARGIN, OVERLAP, STRIP, Tiling, _pages, _tiled, fewest_slid, tile
from cutout.write.work import Work

A4 = paper("a4")


def sheets(regions: Sequence[tuple[str, MultiPolygon]], sizes: Sequence[float]) -> None:
    """Print the table of sheets."""
    laid = grid = full = uncovered = turned = 0
    times = []
    for name, region in regions:
        for size in sizes:
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
            fewest = turned_sheets(lines, len(tiling.sheets))
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


def turned_sheets(lines: BaseGeometry, least: int) -> int:
    """Sheets when the drawing may lie turned on them, by the search of `sheet_turn`; what is shown beside the ink is
    left out of account."""
    points = thinned(points_on(lines))
    turns = [
        (
            fewest_slid(
                shapely.get_coordinates(affinity.rotate(shapely.MultiPoint(points), d, origin=(0, 0))), A4
            ),
            d,
        )
        for d in TURNS
    ]
    for count, degrees in sorted(turns):
        if count >= least:
            break
        turned = affinity.rotate(lines, degrees, origin=(0, 0))
        x0, y0, x1, y1 = turned.bounds
        content = (x0 - 8, y0 - 8, x1 + 8, y1 + 8)
        least = min(least, len(tile(turned, content, content, A4).sheets))
    return least


def paper_of(
    regions: Sequence[tuple[str, MultiPolygon]], sizes: Sequence[float], keep: Path | None, rows: Path | None
) -> None:
    """Measure the template and shop drawing of each silhouette at each length (mm); print the table."""
    measured = []
    for name, region in regions:
        for size in sizes:
            row = on_paper(name, region, size, keep)
            measured.append(row)
            print(" ".join(f"{key} {value}" for key, value in row.items()), flush=True)
            if rows is not None:
                with rows.open("a", encoding="utf-8") as file:
                    file.write(json.dumps(row) + "\n")
    table(measured)


def on_paper(name: str, region: MultiPolygon, size: float, keep: Path | None) -> dict[str, Any]:
    """What falls short on paper for one silhouette."""
    kit = saw.kit_with("jigsaw-narrow")
    pattern = saw.pattern_of(region, size, kit)
    straight = work_of(name, pattern, kit, planned(name, pattern, kit, size, keep))
    job = replace(straight, sheet_turn=sheet_turn(straight))
    drawing = Drawing.of(job)
    tiling = tiling_of(drawing)
    notes = annotate(drawing, tiling)
    boxes = shapely.box(*np.array([p.box for p in notes.placed]).T)
    first, second = shapely.STRtree(boxes).query(boxes, predicate="intersects")
    template, shop = template_pdf(job), shop_drawing_pdf(job)
    return {
        "name": name,
        "size": size,
        "sheets": len(tiling.sheets),
        "full": tiling_of(Drawing.of(straight)).full,
        "sides": len(pdfium.PdfDocument(shop)),
        "steps": len(job.plan.steps),
        "labels": len(notes.placed),
        "unplaced": [label.text for label in notes.left_out],
        "covering": int(shapely.intersects(boxes, drawing.cuts).sum()) + int((first < second).sum()),
        "small": small_letters(template) + small_letters(shop),
        "clipped": clipped(template, tiling, notes.marks),
    }


def planned(name: str, pattern: Pattern, kit: Kit, size: float, keep: Path | None) -> Plan:
    """The plan of a pattern, from the folder where an earlier run of the same code kept it."""
    if keep is None:
        return plan(pattern, kit)
    print_of = zlib.crc32(shapely.to_wkb(pattern.waste))
    file = keep / f"{name.replace('/', '-')}-{size:.0f}-{print_of:08x}.plan"
    if not file.exists():
        keep.mkdir(parents=True, exist_ok=True)
        file.write_bytes(pickle.dumps(plan(pattern, kit)))
    found: Plan = pickle.loads(file.read_bytes())
    return found


def table(rows: Sequence[dict[str, Any]]) -> None:
    """Sums over all jobs."""
    jobs = max(len(rows), 1)
    sums = {
        key: sum(row[key] for row in rows)
        for key in ("sheets", "full", "labels", "covering", "small", "clipped")
    }
    left = sum(len(row["unplaced"]) for row in rows)
    one, two = (sum(row["sides"] <= most for row in rows) for most in (1, 2))
    print(
        f"{len(rows)} jobs: shop drawing on one sheet {one / jobs:.1%}, on two sides {two / jobs:.1%}; "
        f"of {sums['labels']} labels unplaced {left}, on a line or another {sums['covering']}; letters under "
        f"2.8 mm {sums['small']}, crosses cut {sums['clipped']}; sheets {sums['sheets']} of the whole grid's "
        f"{sums['full']}: {sums['sheets'] / max(sums['full'], 1):.3f}"
    )


def small_letters(pdf: bytes) -> int:
    """Letters whose capitals would be under 2.8 mm high, as pdfplumber reads the file."""
    with pdfplumber.open(BytesIO(pdf)) as document:
        letters = [c for page in document.pages for c in page.chars]
    sizes = np.array([c["height"] if c["upright"] else c["width"] for c in letters])
    return int((sizes / fonts.PER_MM < 2.79).sum())


def clipped(pdf: bytes, tiling: Tiling, marks: tuple[Mark, ...]) -> int:
    """Crosses that lack ink on one of their sheets, in pypdfium2's pixels at 150 dpi."""
    if len(tiling.sheets) < 2:
        return 0
    document = pdfium.PdfDocument(pdf)
    first = len(document) - len(tiling.sheets)
    missing = 0
    for n, sheet in enumerate(tiling.sheets):
        page = np.asarray(document[first + n].render(scale=150 / 72, grayscale=True).to_pil())
        for mark in marks:
            if sheet.name in mark.sheets:
                missing += crosses.ink_of_cross(page, sheet, mark.at) < 0.95
    return missing


def work_of(title: str, pattern: Pattern, kit: Kit, cuts: Plan) -> Work:
    """A finished job round a plan."""
    nothing = ToolPath((), shapely.MultiPolygon(), (), 0.0, 0.0, 0.0, 0.0)
    return Work(
        job=Job(units="mm"),
        title=title,
        kit=kit,
        before=pattern,
        pattern=pattern,
        findings=(),
        bridges=(),
        eased=None,
        plan=cuts,
        proof=Proof(True, (), 0.0, (), 0),
        router=nothing,
        notes=(),
    )


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
    work = work_of("wavy figure", pattern, kit, Plan((), (), (), (), 0.0, 0, 0.0))
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
    parser.add_argument(
        "--sizes", type=lambda t: [float(x) for x in t.split(",")], default=[400.0, 650.0, 900.0]
    )
    parser.add_argument(
        "--plans", type=int, default=40, help="silhouettes that are planned, drawn and read back"
    )
    parser.add_argument(
        "--lengths", type=lambda t: [float(x) for x in t.split(",")], default=[300.0, 600.0], help="of these"
    )
    parser.add_argument("--from", type=int, default=0, dest="first")
    parser.add_argument("--to", type=int, default=None, dest="last")
    parser.add_argument("--keep", type=Path, help="folder where plans are kept")
    parser.add_argument("--rows", type=Path, help="add each row to this file (JSON lines)")
    parser.add_argument("--table", type=Path, help="measure nothing, print the table of these rows")
    asked = parser.parse_args()
    if asked.table:
        table([json.loads(line) for line in asked.table.read_text("utf-8").splitlines()])
        return
    if asked.count:
        sheets(saw.silhouettes(asked.count)[asked.first : asked.last], asked.sizes)
        large_pdf()
    planned_ones = saw.silhouettes(asked.plans)[asked.first : asked.last] if asked.plans else []
    paper_of(planned_ones, asked.lengths, asked.keep, asked.rows)


if __name__ == "__main__":
    main()
