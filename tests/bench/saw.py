"""How well and how fast real silhouettes are planned and proved.

    python tests/bench/saw.py [--count N] [--sizes 150,300,600] [--blades jigsaw,jigsaw-narrow,scroll-medium] [--mend]
    python tests/bench/saw.py --words --sizes 300 --mend
    python tests/bench/saw.py --first 8 --most 4 --rows FILE    a part of them; --table FILE prints all rows so far

Silhouettes: public-domain clip art of the Debian package openclipart-svg, the horse of scikit-image, letters
of a DejaVu face, stars. Prints a row for each silhouette, size and blade, then the table and the ratios.
"""

from __future__ import annotations

import argparse
import io
import json
import math
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import resvg_py
import shapely
from PIL import Image, ImageDraw, ImageFont
from shapely import MultiPolygon, Polygon
from skimage import data

from cutout import check
from cutout.amend import mend
from cutout.amend.model import Mending
from cutout.geom.outline import Outline, as_multi, from_region
from cutout.kit import Kit, bit, blade, drills, wood
from cutout.pattern import Panel, Pattern, Placement, cut_pattern, place
from cutout.saw import plan, prove
from cutout.saw.planner.plan import NoPlan

sys.path.insert(0, str(Path(__file__).parent))

from sawyer import columns

from cutout.trace.rings import trace

CLIP_ART = Path("/usr/share/openclipart/svg")
PIXELS = 700
LETTERS = "RSBgK8"
WORDS = [
    "Ada",
    "Garden",
    "Welcome",
    "Kitchen",
    "1987",
    "Hello",
    "Oak&Ash",
    "Library",
    "Anna.B.",
    "Workshop",
    "Bakery",
    "Reading",
]


def traced(alpha: np.ndarray) -> MultiPolygon:
    """The region covered in a picture of shares 0..1, in pixels."""
    rings = trace(np.pad(alpha.astype(np.float32), 2), 0.5, 0.25)
    return Outline(rings).region()


def clip_art(count: int) -> Iterator[tuple[str, MultiPolygon]]:
    """Silhouettes of animals and plants that hold together in one piece, evenly picked."""
    files = sorted(CLIP_ART.glob("animals/**/*.svg")) + sorted(CLIP_ART.glob("plants/**/*.svg"))
    found = 0
    for file in files[::5]:
        try:
            png = bytes(resvg_py.svg_to_bytes(svg_string=file.read_text("utf-8", "replace"), width=PIXELS))
        except ValueError:
            continue
        alpha = np.asarray(Image.open(io.BytesIO(png)).convert("RGBA"), dtype=float)[..., 3] / 255
        if not 0.12 < (alpha > 0.5).mean() < 0.75:
            continue
        region = traced(alpha)
        largest = max(region.geoms, key=lambda p: p.area)
        x0, y0, x1, y1 = largest.bounds
        compact = largest.area / largest.length / max(x1 - x0, y1 - y0)
        if largest.area > 0.9 * region.area and compact > 0.018:
            found += 1
            yield file.stem[:22], MultiPolygon([largest])
        if found == count:
            return


def letters() -> Iterator[tuple[str, MultiPolygon]]:
    """Letters and a figure, some with counters."""
    face = next(Path("/usr/share/fonts").glob("**/DejaVuSans-Bold.ttf"), None)
    for letter in LETTERS if face else "":
        canvas = Image.new("L", (PIXELS, PIXELS), 0)
        font = ImageFont.truetype(str(face), 560)
        ImageDraw.Draw(canvas).text((90, 10), letter, font=font, fill=255)
        yield f"letter {letter}", traced(np.asarray(canvas) / 255)


def words() -> Iterator[tuple[str, MultiPolygon]]:
    """Words, each letter apart; counters are bridged by mending."""
    face = next(Path("/usr/share/fonts").glob("**/DejaVuSans-Bold.ttf"))
    font = ImageFont.truetype(str(face), 240)
    for word in WORDS:
        x0, y0, x1, y1 = font.getbbox(word)
        canvas = Image.new("L", (int(x1 - x0) + 20, int(y1 - y0) + 20), 0)
        ImageDraw.Draw(canvas).text((10 - x0, 10 - y0), word, font=font, fill=255)
        yield f"word {word}", traced(np.asarray(canvas) / 255)


def stars() -> Iterator[tuple[str, MultiPolygon]]:
    """Stars, their tips sharp."""
    for points, inner in ((5, 0.38), (6, 0.577), (8, 0.6), (12, 0.75)):
        a = np.arange(2 * points) * math.pi / points + math.pi / 2
        r = np.where(np.arange(2 * points) % 2 == 0, 1, inner) * 400
        yield f"star {points}", MultiPolygon([Polygon(np.column_stack([r * np.cos(a), r * np.sin(a)]))])


def silhouettes(count: int) -> list[tuple[str, MultiPolygon]]:
    """`count` silhouettes: the horse, letters, stars, the rest clip art."""
    fixed = [("horse", traced(~data.horse())), *letters(), *stars()]
    share = fixed[: max(1, count * 11 // 40)] if count < 40 else fixed
    return [*share, *clip_art(count - len(share))]


def kit_with(name: str) -> Kit:
    """A kit with the given blade and the whole metric drill set."""
    return Kit(blade(name), drills("metric"), bit("6mm"), wood("white-pine"))


def pattern_of(region: shapely.Geometry, size: float, kit: Kit) -> Pattern:
    """The silhouette `size` mm along its longer side on a panel a little larger."""
    outline = Outline(from_region(as_multi(region)))
    x0, y0, x1, y1 = outline.bounds
    by = Placement(width=size) if x1 - x0 >= y1 - y0 else Placement(height=size)
    panel = Panel(size + 60, size + 60, 18.0)
    return cut_pattern(place(outline, panel, by), panel, "panel", kit.blade.kerf)


def measure(args: argparse.Namespace) -> None:
    """The table of proved plans."""
    rows: dict[str, list[dict[str, float]]] = {}
    asked = list(words()) if args.words else silhouettes(args.count)
    for name, region in asked[args.first : args.first + args.most]:
        for size in args.sizes:
            for saw in args.blades:
                row = one(region, size, kit_with(saw), args.mend)
                rows.setdefault(saw, []).append(row)
                if args.rows is not None:
                    with args.rows.open("a", encoding="utf-8") as file:
                        file.write(json.dumps({"name": name, "size": size, "saw": saw, **row}) + "\n")
                print(
                    f"{name:24s} {size:4.0f} {saw:14s} " + " ".join(f"{k} {v:.5g}" for k, v in row.items()),
                    flush=True,
                )
    table(rows)


def table(rows: dict[str, list[dict[str, float]]]) -> None:
    """Sums for each blade."""
    print()
    for saw, mine in rows.items():
        sums = {k: math.fsum(row[k] for row in mine) for k in mine[0]}
        proved = sums["proved"] / max(sums["free"], 1)
        holes = sums["holes"] / max(sums["flagged"], 1)
        everything = sums["proved_all"] / max(sums["openings"], 1)
        print(
            f"{saw:14s} {len(mine)} patterns, openings without stop {sums['free']:3.0f}, proved {proved:6.1%}, "
            f"of all openings {everything:6.1%}; {sums.get('refused', 0.0):.0f} patterns refused; "
            f"holes per flagged corner {holes:4.2f}; "
            f"legs {sums['legs']:5.0f}; plan {sums['plan_s']:.0f} s, proof {sums['proof_s']:.0f} s"
        )
        _print_sawyer(saw, mine)


def read_rows(files: list[Path]) -> dict[str, list[dict[str, float]]]:
    """Rows written before, by blade."""
    rows: dict[str, list[dict[str, float]]] = {}
    for line in (line for file in files for line in file.read_text("utf-8").splitlines()):
        row = json.loads(line)
        rows.setdefault(row["saw"], []).append({k: v for k, v in row.items() if isinstance(v, (int, float))})
    return rows


def _print_sawyer(saw: str, rows: list[dict[str, float]]) -> None:
    """What the sawyer pays, medians and worst over silhouettes."""
    shares = np.array([r["legs"] / max(r["bound"], 1) for r in rows])
    goes, lifts = (np.median([r[k] / r["rings"] for r in rows]) for k in ("goes", "lifts"))
    short = sum(r["short"] for r in rows) / max(1, sum(r["legs"] for r in rows))
    spent, alike, least = (sum(r[k] for r in rows) for k in ("minutes", "alike", "least"))
    length, steps = np.median([r["length"] for r in rows]), max(r["steps"] for r in rows)
    print(
        f"{saw:14s} legs / bound {np.median(shares):.2f}, worst {shares.max():.2f}; "
        f"goes a ring {goes:.1f}, lifts a ring {lifts:.1f}; minutes {spent:.0f}, "
        f"ways back priced {alike:.0f} (bound {least:.0f}); "
        f"length / rings {length:.2f}; legs under 10 mm {short:.0%}; steps at most {steps:.0f}"
    )


def one(region: MultiPolygon, size: float, kit: Kit, mended: bool) -> dict[str, float]:
    """One silhouette planned and proved. A loose piece stops the job, not the saw: it does not count as stop."""
    pattern = pattern_of(region, size, kit)
    found = check.run(pattern, kit)
    if mended:
        done = mend(pattern, kit, Mending())
        pattern, found = done.pattern, tuple(f for f in done.findings if not f.cleared)
    stopped: set[int | None] = {f.opening for f in found if f.severity == "stop" and f.kind != "loose piece"}
    flagged = sum(f.kind in ("tight corner", "tight curve") for f in found)
    start = time.perf_counter()
    made = plan(pattern, kit)
    planned = time.perf_counter()
    proof = prove(pattern, kit, made)
    proved = time.perf_counter()
    refused = any(isinstance(f.facts, NoPlan) for f in made.findings)
    if refused:
        # The tool says itself that nobody would saw it: a stop like those before planning.
        stopped |= {o.id for o in pattern.openings}
    wrong = [f for f in (*made.findings, *proof.findings) if not isinstance(f.facts, NoPlan)]
    failed = {f.opening for f in wrong if f.severity == "stop"}
    fine = [o.id for o in pattern.openings if o.id not in failed and None not in failed]
    return {
        "openings": len(pattern.openings),
        "free": sum(o.id not in stopped for o in pattern.openings),
        "proved": sum(i not in stopped for i in fine),
        "proved_all": len(fine),
        "refused": refused,
        "flagged": flagged,
        "holes": len(made.holes),
        "legs": len(made.legs),
        "left": len(made.left_over),
        **columns(pattern, kit, made),
        "plan_s": planned - start,
        "proof_s": proved - planned,
    }


def growth(saw: str) -> None:
    """Time for the same wavy outline with 500 and with 5,000 vertices, and against one GEOS buffer of it."""
    kit = kit_with(saw)
    spent: dict[int, float] = {}
    for vertices in (500, 5000):
        a = np.linspace(0, 2 * math.pi, vertices, endpoint=False)
        r = 100 * (1 + 0.18 * np.cos(5 * a) + 0.06 * np.sin(9 * a))
        wave = MultiPolygon([Polygon(np.column_stack([r * np.cos(a), r * np.sin(a)]))])
        pattern = pattern_of(wave, 300.0, kit)
        runs = []
        for _ in range(3):
            start = time.perf_counter()
            prove(pattern, kit, plan(pattern, kit))
            runs.append(time.perf_counter() - start)
        spent[vertices] = sorted(runs)[1]
        if vertices == 5000:
            start = time.perf_counter()
            for _ in range(20):
                shapely.buffer(pattern.waste, -kit.blade.kerf / 2, quad_segs=16)
            buffered = (time.perf_counter() - start) / 20
            print(f"{saw}: 5,000 vertices take {spent[5000] / buffered:.0f} times one GEOS buffer")
    print(f"{saw}: from 500 to 5,000 vertices the time grows {spent[5000] / spent[500]:.1f} times")
    start = time.perf_counter()
    grid = np.add.outer(np.linspace(-1.5, 1.5, 3000) ** 2, np.linspace(-2, 2, 4000) ** 2)
    grid += 0.2 * np.sin(np.linspace(0, 40, 4000))[None, :]
    trace(np.clip(1.4 - grid, 0, 1).astype(np.float32), 0.5, 0.25)
    picture = time.perf_counter() - start
    print(f"{saw}: 5,000 vertices take {spent[5000] / picture:.2f} times the trace of a 12-megapixel picture")


def main() -> None:
    """Parse the options and print."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--count", type=int, default=40)
    parser.add_argument(
        "--sizes", type=lambda t: [float(x) for x in t.split(",")], default=[150.0, 300.0, 600.0]
    )
    parser.add_argument(
        "--blades", type=lambda t: t.split(","), default=["jigsaw", "jigsaw-narrow", "scroll-medium"]
    )
    parser.add_argument("--mend", action="store_true", help="mend the pattern first, as the whole job does")
    parser.add_argument("--growth-only", action="store_true")
    parser.add_argument("--words", action="store_true", help="twelve words instead of silhouettes")
    parser.add_argument("--first", type=int, default=0, help="begin with this one")
    parser.add_argument("--most", type=int, default=None, help="no more than so many, and no growth")
    parser.add_argument("--rows", type=Path, help="add each row to this file (JSON lines)")
    parser.add_argument(
        "--table", type=Path, nargs="+", help="measure nothing, print the table of these rows"
    )
    args = parser.parse_args()
    if args.table:
        table(read_rows(args.table))
        return
    part, args.most = args.most is not None or args.words, args.most or 10_000
    if not args.growth_only:
        measure(args)
    for saw in [] if part else args.blades:
        growth(saw)


if __name__ == "__main__":
    main()
