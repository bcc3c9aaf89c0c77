"""Simulated phone photos of a drawing on a sheet of paper on a table, traced and set against the truth.

    python tests/bench/photos.py           24 photos of 3 megapixels; --count N only the first N
    python tests/bench/photos.py --large   of 12 megapixels
    python tests/bench/photos.py --keep FOLDER   writes the photos there as well

Everything about them is invented: three tables, three lights, tilts to 35 degrees, a lens that bends a little.
Light is mixed as light, blurred, counted with noise, shown in sRGB, saved as JPEG. Pictures from real cameras
may differ.
"""

from __future__ import annotations

import argparse
import io
import math
import sys
from pathlib import Path

import numpy as np
import shapely
from PIL import Image
from scipy.ndimage import gaussian_filter, map_coordinates
from skimage.transform import ProjectiveTransform

sys.path.insert(0, str(Path(__file__).parent))
import shapes

from cutout.errors import CutoutError
from cutout.geom.curve import Similarity
from cutout.geom.outline import Ring
from cutout.read.options import ReadOptions
from cutout.read.picture.reader import read_picture

SHEET = (297.0, 210.0)
FINE = 10
"""Cells of the drawing per mm."""

TABLES = ("dark board", "grained boards", "patterned cloth")
LIGHTS = ("even", "falling", "soft shadow")
DRAWN = ("scene", "gear", "blob 1", "star 9", "holes", "rounded square", "bars", "blob 3")


def drawing(name: str) -> tuple[tuple[Ring, ...], np.ndarray]:
    """Rings in mm on the sheet, y up, and the share of ink of each cell."""
    made = dict(shapes.drawings())
    shape = shapes.placed(name, made[name], 150 * FINE, 1 + 0j, 0j)
    move = Similarity(1 / FINE + 0j, complex(70.0, 40.0))
    cover = np.zeros((round(SHEET[1] * FINE), round(SHEET[0] * FINE)), dtype=np.float32)
    part = shapes.coverage(shape)[: cover.shape[0] - 40 * FINE]
    bottom = cover.shape[0] - 40 * FINE
    cover[bottom - part.shape[0] : bottom, 70 * FINE : 70 * FINE + part.shape[1]] = part
    return tuple(r.transform(move) for r in shape.rings), cover


def table(kind: str, x: np.ndarray, y: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """Share of light the table gives back at places in mm."""
    if kind == "dark board":
        return 0.08 + 0.02 * np.sin(y / 3 + np.sin(x / 40))
    if kind == "grained boards":
        grain = np.sin(y / 2.2 + 2 * np.sin(x / 60) + 0.4 * np.sin(x / 7))
        seam = np.abs((y + 1000) % 90 - 45) < 0.8
        return np.where(seam, 0.05, 0.30 + 0.07 * grain)
    checks = ((x // 25 + y // 25) % 2).astype(float)
    return 0.10 + 0.22 * checks + 0.05 * np.sin(x * 2) * np.sin(y * 2)


def photo(number: int, size: tuple[int, int]) -> tuple[bytes, tuple[Ring, ...], float, str]:
    """A JPEG, the rings drawn (mm, from the sheet's lower left), photo pixels per mm, and what it shows."""
    rng = np.random.default_rng(100 + number)
    name = DRAWN[number % len(DRAWN)]
    rings, ink = drawing(name)
    kind, light = TABLES[number % 3], LIGHTS[(number // 3) % 3]
    tilt = math.radians((0.0, 12.0, 24.0, 35.0)[(number // 2) % 4])
    bend = (0.0, 0.012, -0.02)[number % 3 - 1 if number % 5 else 0]
    w, h = size
    to_mm, quad = _view(rng, tilt, size)
    over = 2
    col, row = np.meshgrid((np.arange(w * over) + 0.5) / over, (np.arange(h * over) + 0.5) / over)
    middle, unit = np.array([w / 2, h / 2]), math.hypot(w, h) / 2
    away = np.stack([col.ravel(), row.ravel()], axis=1) - middle
    ideal = middle + away * (1 + bend * (away**2).sum(axis=1, keepdims=True) / unit**2)
    mm = np.asarray(to_mm(ideal)).astype(np.float32)
    x, y = mm[:, 0].reshape(col.shape), mm[:, 1].reshape(col.shape)
    on = (x > 0) & (x < SHEET[0]) & (y > 0) & (y < SHEET[1])
    share = map_coordinates(ink, [(SHEET[1] - y) * FINE - 0.5, x * FINE - 0.5], order=1, mode="nearest")
    seen = np.where(on, 0.78 - 0.74 * share, table(kind, x, y, rng))
    seen = seen.reshape(h, over, w, over).mean(axis=(1, 3))
    seen = gaussian_filter(seen, 0.9) * _lit(light, w, h)
    seen = seen + rng.normal(0, 1, seen.shape) * np.sqrt(0.0001 * np.maximum(seen, 0) + 4e-6)
    rgb = shapes.encoded(seen[..., None] * np.array([1.0, 0.94, 0.85]))
    out = io.BytesIO()
    Image.fromarray(np.clip(np.round(rgb * 255), 0, 255).astype(np.uint8)).save(out, "JPEG", quality=92)
    across = float(np.hypot(*(quad[1] - quad[0]))) / SHEET[0]
    what = f"{name}, {kind}, {light}, {math.degrees(tilt):.0f} deg, bend {bend:+.3f}"
    return out.getvalue(), rings, across, what


def _view(
    rng: np.random.Generator, tilt: float, size: tuple[int, int]
) -> tuple[ProjectiveTransform, np.ndarray]:
    """From ideal photo pixels (y down) to mm on the sheet (y up), and the sheet's corners in the photo."""
    w, h = size
    turn, lean = rng.uniform(-0.12, 0.12), rng.uniform(0, 2 * math.pi)
    corners = np.array([(0, SHEET[1]), SHEET, (SHEET[0], 0), (0, 0)])
    flat = corners - np.array(SHEET) / 2
    flat = flat @ np.array([[math.cos(turn), math.sin(turn)], [-math.sin(turn), math.cos(turn)]])
    axis = np.array([math.cos(lean), math.sin(lean)])
    along, off = flat @ axis, flat @ np.array([-axis[1], axis[0]])
    far = 520.0
    depth = far + off * math.sin(tilt)
    place = along[:, None] * axis + (off * math.cos(tilt))[:, None] * np.array([-axis[1], axis[0]])
    focal = 0.72 * w / SHEET[0] * far
    quad = np.array([w / 2, h / 2]) + place / depth[:, None] * focal * np.array([1, -1])
    return ProjectiveTransform.from_estimate(quad, corners), quad


def _lit(kind: str, w: int, h: int) -> np.ndarray:
    x, y = np.meshgrid(np.linspace(0, 1, w), np.linspace(0, 1, h))
    if kind == "even":
        return np.full((h, w), 0.9)
    if kind == "falling":
        return 0.95 - 0.35 * x - 0.15 * y
    return 0.95 - 0.35 / (1 + np.exp(-(x + 0.4 * y - 0.8) * 14))


def measured(picture: bytes, rings: tuple[Ring, ...], per_mm: float) -> tuple[float, float]:
    """RMS and worst distance, both ways, in photo pixels."""
    found = read_picture(picture, "photo", ReadOptions(sheet=SHEET))
    assert found.scale is not None
    got = shapely.MultiLineString([shapely.LinearRing(r.points(0.01) * found.scale) for r in found.rings])
    truth = shapely.MultiLineString([shapely.LinearRing(r.points(0.002)) for r in rings])
    d = shapes.apart(got, truth, 0.2)
    return float(np.sqrt(np.mean(d**2))) * per_mm, float(d.max()) * per_mm


def main() -> None:
    """Print a line for each photo and the medians."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--count", type=int, default=24)
    parser.add_argument("--large", action="store_true")
    parser.add_argument("--keep", type=Path)
    args = parser.parse_args()
    size = (4000, 3000) if args.large else (2000, 1500)
    all_rms, refused = [], 0
    for number in range(args.first, args.first + args.count):
        picture, rings, per_mm, what = photo(number, size)
        if args.keep:
            (args.keep / f"photo{number:02}.jpg").write_bytes(picture)
        try:
            rms, worst = measured(picture, rings, per_mm)
        except CutoutError as error:
            refused += 1
            print(f"{number:3} refused: {str(error)[:110]}   ({what})", flush=True)
            continue
        all_rms.append(rms)
        print(f"{number:3} RMS {rms:6.3f} px  worst {worst:6.2f} px   {what}", flush=True)
    print(f"median RMS {np.median(all_rms):.3f} px, worst RMS {max(all_rms):.3f} px, {refused} refused")


if __name__ == "__main__":
    main()
