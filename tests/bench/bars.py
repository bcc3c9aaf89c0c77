"""How wide thin bars come out, in pictures that hold nothing else, blurred and grainy.

    python tests/bench/bars.py                 widths of 2 to 12 px, blurs of 1, 2 and 3 px, three grains
    python tests/bench/bars.py --widths 3 4    only those; --blurs and --grains likewise
    python tests/bench/bars.py --beside        with a broad square in the picture as well

Invented: nine bars 70 px long of one width, each turned by another angle, black on white, mixed in codes. In
such a picture no pixel shows the ink's own grey where the bars are narrow and the blur is wide. Printed for
each: by how much the bars come out too wide (px, mean of their long sides, ends left out), the worst bar,
and how many of nine are found.
"""

from __future__ import annotations

import argparse
import cmath
import io
import math
import sys
from pathlib import Path

import numpy as np
import shapely
from PIL import Image
from scipy.ndimage import gaussian_filter

sys.path.insert(0, str(Path(__file__).parent))
import shapes

from cutout.errors import CutoutError
from cutout.read.options import ReadOptions
from cutout.read.picture.reader import read_picture

LENGTH, CELL = 70.0, 110
ANGLES = (0.0, 3.0, 11.0, 23.0, 37.0, 45.0, 58.0, 74.0, 90.0)


def bars(width: float) -> list[np.ndarray]:
    """Corners (4, 2) px, y up, of nine bars in cells of a square; each at another place within its pixel."""
    out = []
    for k, degrees in enumerate(ANGLES):
        way = cmath.exp(1j * math.radians(degrees))
        middle = complex(CELL * (k % 3 + 0.5) + 0.37 * k % 1, CELL * (k // 3 + 0.5) + 0.23 * k % 1)
        box = (complex(x, y) for x, y in ((-1, -1), (1, -1), (1, 1), (-1, 1)))
        z = [middle + way * complex(b.real * LENGTH / 2, b.imag * width / 2) for b in box]
        out.append(np.array([(p.real, p.imag) for p in z]))
    return out


def picture(width: float, blur: float, grain: float, square: bool, seed: int) -> bytes:
    """A PNG of the bars; blur: sigma (px) of a Gaussian; grain: sigma (codes of 255) of noise added
    afterwards."""
    lines = bars(width)
    size = 3 * CELL
    if square:
        lines = [
            *lines,
            np.array([(x, y) for x, y in ((size, 30), (size + 90, 30), (size + 90, 120), (size, 120))]),
        ]
    cover = shapes.covered(lines, size + (CELL if square else 0), size)
    grey = 255 * (0.95 - 0.85 * gaussian_filter(cover, blur))
    grey = grey + np.random.default_rng(seed).normal(0, grain, grey.shape) if grain else grey
    out = io.BytesIO()
    Image.fromarray(np.clip(np.round(grey), 0, 255).astype(np.uint8)).save(out, "PNG")
    return out.getvalue()


def too_wide(data: bytes, width: float, blur: float) -> list[float]:
    """By how much (px) each bar found is wider than drawn, over the middle of its length."""
    found = read_picture(data, "bars", ReadOptions(width=400.0, speck=0.0))
    inked = found.region(0.005)
    off = []
    for box in bars(width):
        spare = width / 2 + 3 * blur + 2
        middle, way = box.mean(axis=0), (box[1] - box[0]) / LENGTH
        side = np.array([-way[1], way[0]])
        along, across = way * (LENGTH / 2 - spare), side * (width / 2 + 12)
        window = shapely.Polygon(
            [
                middle + along + across,
                middle - along + across,
                middle - along - across,
                middle + along - across,
            ]
        )
        seen = inked.intersection(window).area / (2 * float(np.hypot(*along)))
        if seen > 0.3 * width:
            off.append(seen - width)
    return off


def main() -> None:
    """Print a table for each grain."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--widths", type=float, nargs="*", default=[2, 3, 4, 5, 6, 8, 10, 12])
    parser.add_argument("--blurs", type=float, nargs="*", default=[1, 2, 3])
    parser.add_argument("--grains", type=float, nargs="*", default=[0, 4, 12])
    parser.add_argument("--beside", action="store_true")
    args = parser.parse_args()
    for grain in args.grains:
        for blur in args.blurs:
            for width in args.widths:
                try:
                    off = too_wide(picture(width, blur, grain, args.beside, 7), width, blur)
                except CutoutError as error:
                    print(
                        f"grain {grain:4.0f}  blur {blur:3.1f}  width {width:4.1f}  {str(error)[:70]}",
                        flush=True,
                    )
                    continue
                worst = max(off, key=abs, default=math.nan)
                mean = float(np.mean(off)) if off else math.nan
                print(
                    f"grain {grain:4.0f}  blur {blur:3.1f}  width {width:4.1f}  too wide by {mean:+6.3f} px, "
                    f"worst {worst:+6.3f}  {len(off)} of {len(ANGLES)}",
                    flush=True,
                )


if __name__ == "__main__":
    main()
