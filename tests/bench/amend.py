"""How well mending works on silhouettes nobody drew for it: 40 of them, 300 mm wide, a narrow jigsaw blade.

Taken by rule, not by hand: the horse of scikit-image, letters of an installed font, and files of the Debian
package openclipart-svg (public domain; animals and plants) in the order of a checksum of their names, those
that read as a silhouette: not blank, not a web of lines. Run: python tests/bench/amend.py [folder for pictures]
"""

from __future__ import annotations

import math
import sys
import tempfile
import time
import zlib
from collections.abc import Iterator
from pathlib import Path
from statistics import median

import numpy as np
import shapely
from PIL import Image, ImageDraw, ImageFont
from resvg_py import svg_to_bytes
from skimage.data import horse

from cutout import check
from cutout.amend import Mended, Mending, mend
from cutout.errors import CutoutError
from cutout.geom.outline import Outline
from cutout.kit import Kit, bit, blade, drills, wood
from cutout.pattern import Panel, Pattern, Placement, cut_pattern, place
from cutout.read import read
from cutout.read.options import ReadOptions

WIDTH, HOW_MANY = 300.0, 40
ART = Path("/usr/share/openclipart/svg")
FONT = Path("/usr/share/fonts/truetype/dejavu/DejaVuSans-Bold.ttf")
LETTERS = ("R", "g", "&", "8", "OAK", "B")
KIT = Kit(blade("jigsaw-narrow"), drills("metric"), bit("6mm"), wood("white-pine"))


def main(pictures: Path | None = None) -> None:
    """Mend every silhouette, print one line each and the figures that count."""
    rows = []
    print(
        f"{'silhouette':28} {'vertices':>8} {'loose':>5} {'stops':>5} {'left':>4} {'care':>9} {'bridges':>7} "
        f"{'shift mm':>8} {'IoU':>6} {'IoU eased':>9} {'s':>5}"
    )
    for name, outline in silhouettes():
        before = laid_out(outline)
        start = time.perf_counter()
        done = mend(before, KIT, Mending())
        rows.append(Row(name, before, done, time.perf_counter() - start))
        print(rows[-1], flush=True)
        if pictures:
            (pictures / f"{len(rows):02d}-{name}.png").write_bytes(picture(before, done))
    clear = sum(row.stops_left == 0 for row in rows)
    kinds = sorted({f.kind for row in rows for f in row.left if f.severity == "stop"})
    print(f"\nno stop left: {clear} of {len(rows)} ({100 * clear / len(rows):.0f} %); kinds left: {kinds}")
    print(f"pieces left loose: {sum(row.loose_left for row in rows)}")
    shifts, whole, eased = ([getattr(r, k) for r in rows] for k in ("shift", "iou", "eased_iou"))
    radius = KIT.blade.turning_radius
    print(
        f"largest shift: {max(shifts):.2f} mm, median {median(shifts):.2f} (turning radius {radius:.2f} mm)"
    )
    print(f"IoU, bridged and eased: median {median(whole):.4f}, least {min(whole):.4f}")
    print(f"IoU, eased alone: median {median(eased):.4f}, least {min(eased):.4f}")
    print(f"time: median {median(r.seconds for r in rows):.2f} s, most {max(r.seconds for r in rows):.2f} s")


class Row:
    """One silhouette's line in the table."""

    def __init__(self, name: str, before: Pattern, done: Mended, seconds: float) -> None:
        self.name, self.done, self.seconds = name, done, seconds
        self.first = check.run(before, KIT)
        self.left = [f for f in done.findings if not f.cleared]
        self.stops_left = sum(f.severity == "stop" for f in self.left)
        self.loose_left = sum(f.kind == "loose piece" for f in self.left)
        self.loose = sum(f.kind == "loose piece" for f in self.first)
        self.vertices = shapely.get_num_coordinates(before.waste)
        self.shift = done.eased.max_shift if done.eased else 0.0
        self.iou = iou(before.figure, done.pattern.figure)
        bridged = mend(before, KIT, Mending(ease=False)).pattern
        self.eased_iou = iou(bridged.figure, done.pattern.figure)

    def __str__(self) -> str:
        stops = sum(f.severity == "stop" for f in self.first)
        care = f"{len(self.first) - stops}>{len(self.left) - self.stops_left}"
        return (
            f"{self.name[:28]:28} {self.vertices:8d} {self.loose:5d} {stops:5d} {self.stops_left:4d} {care:>9} "
            f"{len(self.done.bridges):7d} {self.shift:8.2f} {self.iou:6.3f} {self.eased_iou:9.4f} {self.seconds:5.1f}"
        )


def silhouettes() -> Iterator[tuple[str, Outline]]:
    """(name, outline) of the 40, always the same ones."""
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "horse.png"
        Image.fromarray(np.where(horse(), 255, 0).astype(np.uint8)).save(file)
        yield "horse", read(file, ReadOptions(width=WIDTH))
        font = ImageFont.truetype(FONT, 600)
        for letter in LETTERS:
            canvas = Image.new("L", (600 * len(letter) + 100, 850), 255)
            ImageDraw.Draw(canvas).text((50, 50), letter, fill=0, font=font)
            canvas.save(file)
            yield f"letter {letter}", read(file, ReadOptions(width=WIDTH))
    left = HOW_MANY - 1 - len(LETTERS)
    files = {f.name: f for kind in ("plants", "animals") for f in sorted((ART / kind).rglob("*.svg"))}
    for _, file in sorted(files.items(), key=lambda item: zlib.crc32(item[0].encode())):
        if left == 0:
            return
        try:
            outline = read(file, ReadOptions(width=WIDTH))
        except CutoutError:
            continue
        if is_silhouette(outline):
            left -= 1
            yield f"{file.parent.name} {zlib.crc32(file.name.encode()):08x}", outline


def is_silhouette(outline: Outline) -> bool:
    """Few pieces, and solid: a strip a fiftieth of the width fits nearly everywhere in it."""
    region = outline.region()
    if region.is_empty or len(region.geoms) > 6 or len(outline.rings) > 25:
        return False
    x0, _, x1, _ = outline.bounds
    thin = (x1 - x0) / 100
    solid = region.buffer(-thin).buffer(thin)
    return bool(solid.area > 0.85 * region.area)


def laid_out(outline: Outline) -> Pattern:
    """The silhouette 300 mm wide in the middle of a panel of 18 mm pine, 60 mm of wood all round."""
    x0, y0, x1, y1 = outline.bounds
    height = WIDTH * (y1 - y0) / (x1 - x0)
    panel = Panel(WIDTH + 120, height + 120, 18.0, math.pi / 2)
    return cut_pattern(place(outline, panel, Placement(width=WIDTH)), panel, "panel", KIT.blade.kerf)


def iou(a: shapely.Geometry, b: shapely.Geometry) -> float:
    """Area common to both over area of either."""
    return float(shapely.area(shapely.intersection(a, b)) / shapely.area(shapely.union(a, b)))


def picture(before: Pattern, done: Mended) -> bytes:
    """Before as a thin red line, after as wood with a bold line, bridges blue, stops left as red rings."""
    w, h = before.panel.width, before.panel.height

    def path(region: shapely.Geometry) -> str:
        rings = [r for p in shapely.get_parts(region) for r in (p.exterior, *p.interiors)]
        runs = ["L".join(f"{x:.2f} {h - y:.2f}" for x, y in ring.coords[:-1]) for ring in rings]
        return "".join(f"M{run}Z" for run in runs)

    bridges = "".join(f'<path d="{path(b.area)}" fill="#7ab"/>' for b in done.bridges)
    marks = "".join(
        f'<circle cx="{f.at[0]}" cy="{h - f.at[1]}" r="4" fill="none" stroke="#c00"/>'
        for f in done.findings
        if f.severity == "stop" and not f.cleared
    )
    svg = (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {w} {h}" width="{3 * w}" height="{3 * h}">'
        f'<rect width="{w}" height="{h}" fill="#fff"/><path d="{path(done.pattern.keep)}" fill="#d8b98a" '
        f'fill-rule="evenodd" stroke="#222" stroke-width=".5"/>{bridges}'
        f'<path d="{path(before.waste)}" fill="none" stroke="#e33" stroke-width=".25"/>{marks}</svg>'
    )
    return bytes(svg_to_bytes(svg_string=svg))


if __name__ == "__main__":
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else None)
