"""Simulated phone photos of a drawing on a sheet of paper on a table, traced and set against the truth.

    python tests/bench/photos.py           24 photos of 3 megapixels; --count N only the first N
    python tests/bench/photos.py --large   of 12 megapixels
    python tests/bench/photos.py --doubtful    tables on which a sheet is hard to find: found right, refused, or wrong
    python tests/bench/photos.py --keep FOLDER   writes the photos there as well

Everything about them is invented: three tables, three lights, tilts to 35 degrees, a lens that bends a little.
Light is mixed as light, blurred, counted with noise, shown in sRGB, saved as JPEG. Pictures from real cameras
may differ. Beside the outline's distance from what was drawn: how far the sheet's corners are off, and the sizes
over the sheet's length against the uncertainty that the notes give.
"""

from __future__ import annotations

import argparse
import io
import math
import sys
from collections.abc import Callable
from dataclasses import dataclass
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
from cutout.read.picture.decode import decode
from cutout.read.picture.reader import read_picture
from cutout.read.picture.straighten import straightened

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


@dataclass(frozen=True)
class Photo:
    """A JPEG, the rings drawn (mm, from the sheet's lower left), and photo pixels per mm.

    corners: of the sheet, (4, 2) px, y down, clockwise from the top left, as the lens bends them. what: it shows.
    """

    jpeg: bytes
    rings: tuple[Ring, ...]
    per_mm: float
    corners: np.ndarray
    what: str


Altered = Callable[[np.ndarray, np.ndarray, np.ndarray], np.ndarray]
"""Of the share of light, x and y (mm on the sheet): another share of light."""


def photo(number: int, size: tuple[int, int], altered: Altered | None = None) -> Photo:
    """The photo of that number; `altered`: what else lies on the table or happened to the sheet."""
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
    if altered is not None:
        seen = altered(seen, x, y)
    seen = seen.reshape(h, over, w, over).mean(axis=(1, 3))
    seen = gaussian_filter(seen, 0.9) * _lit(light, w, h)
    seen = seen + rng.normal(0, 1, seen.shape) * np.sqrt(0.0001 * np.maximum(seen, 0) + 4e-6)
    rgb = shapes.encoded(seen[..., None] * np.array([1.0, 0.94, 0.85]))
    out = io.BytesIO()
    Image.fromarray(np.clip(np.round(rgb * 255), 0, 255).astype(np.uint8)).save(out, "JPEG", quality=92)
    across = float(np.hypot(*(quad[1] - quad[0]))) / SHEET[0]
    what = f"{name}, {kind}, {light}, {math.degrees(tilt):.0f} deg, bend {bend:+.3f}"
    return Photo(out.getvalue(), rings, across, _bent(quad, bend, middle, unit), what)


def _bent(quad: np.ndarray, bend: float, middle: np.ndarray, unit: float) -> np.ndarray:
    """Where the lens shows ideal places, by repeating the way back from them."""
    away = quad - middle
    seen = away
    for _ in range(50):
        seen = away / (1 + bend * (seen**2).sum(axis=1, keepdims=True) / unit**2)
    return middle + seen


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


@dataclass(frozen=True)
class Off:
    """RMS and worst distance of the outline, of the sheet's corners (photo px), of sizes over its length (mm).

    said: what the notes give for the last.
    """

    rms: float
    worst: float
    corner: float
    size: float
    said: float


def measured(taken: Photo) -> Off:
    """How far off what is read from a photo is. Raises CutoutError where it is refused."""
    options = ReadOptions(sheet=SHEET)
    found = read_picture(taken.jpeg, "photo", options)
    assert found.scale is not None
    got = shapely.MultiLineString([shapely.LinearRing(r.points(0.01) * found.scale) for r in found.rings])
    truth = shapely.MultiLineString([shapely.LinearRing(r.points(0.002)) for r in taken.rings])
    d = shapes.apart(got, truth, 0.2)
    said = next(note.lengths[0] for note in found.notes if note.kind == "scale")
    return Off(
        float(np.sqrt(np.mean(d**2))) * taken.per_mm,
        float(d.max()) * taken.per_mm,
        *sheet_off(taken, options),
        said,
    )


def sheet_off(taken: Photo, options: ReadOptions) -> tuple[float, float]:
    """Greatest distance (px) of a found corner of the sheet from its true one, whichever corner comes first.

    And by how much (mm) the distances of the true corners come out wrong once they are set straight.
    """
    made = straightened(decode(taken.jpeg, "photo"), "photo", options)
    assert made is not None
    assert made.sheet is not None
    assert made.scale is not None
    corner = min(
        float(np.hypot(*(np.roll(made.sheet.corners, k, axis=0) - taken.corners).T).max()) for k in range(4)
    )
    y_up = taken.corners[:, 0] + 1j * (made.picture.colour.height - taken.corners[:, 1])
    (z,) = made.lines([y_up])
    flat = np.array([complex(0, H), complex(W, H), complex(W, 0), 0j])
    pairs = [(a, b) for a in range(4) for b in range(a)]
    size = max(abs(abs(z[a] - z[b]) * made.scale - abs(flat[a] - flat[b])) for a, b in pairs)
    return corner, float(size)


W, H = SHEET


def _within(x: np.ndarray, y: np.ndarray, box: tuple[float, float, float, float]) -> np.ndarray:
    return (x > box[0]) & (y > box[1]) & (x < box[2]) & (y < box[3])


DOUBTFUL: dict[str, Altered] = {
    "a second sheet touching it": lambda s, x, y: np.where(_within(x, y, (W, 0, W + 80, H)), 0.78, s),
    "a second sheet 3 mm off": lambda s, x, y: np.where(_within(x, y, (W + 3, 0, W + 80, H)), 0.78, s),
    "a sheet half under it": lambda s, x, y: np.where(_within(x, y, (40, -30, 200, 0)) & (s < 0.5), 0.74, s),
    "a corner folded over": lambda s, x, y: np.where(x + y < 35, 0.6, np.where(x + y < 17, 0.1, s)),
    "a corner folded away": lambda s, x, y: np.where((x + y < 40) & _within(x, y, (0, 0, W, H)), 0.1, s),
    "a ruler laid along a side": lambda s, x, y: np.where(_within(x, y, (-20, -12, W + 20, 14)), 0.55, s),
    "a hand on a side": lambda s, x, y: np.where(np.hypot(x - 150, y + 10) < 45, 0.35, s),
    "a table as bright as paper on one side": lambda s, x, y: np.where(y > H, 0.76, s),
    "a light table all round": lambda s, x, y: np.where(_within(x, y, (0, 0, W, H)), s, 0.66),
    "a hard shadow across it": lambda s, x, y: np.where(x + 0.3 * y > 190, 0.3 * s, s),
    "a dark frame printed on it": lambda s, x, y: np.where(
        _within(x, y, (12, 12, W - 12, H - 12)) & ~_within(x, y, (14, 14, W - 14, H - 14)), 0.05, s
    ),
    "a larger board under it": lambda s, x, y: np.where(
        _within(x, y, (-25, -20, W + 30, H + 22)) & ~_within(x, y, (0, 0, W, H)), 0.5, s
    ),
    "a curled side": lambda s, x, y: np.where(
        (y < 7 * np.sin(np.pi * x / W)) & _within(x, y, (0, 0, W, H)), 0.1, s
    ),
    "paper of other proportions": lambda s, x, y: np.where(_within(x, y, (250, 0, W, H)), 0.1, s),
}


def doubtful(size: tuple[int, int], first: int, count: int) -> None:
    """A line for each table on which the sheet is hard to find; wrong are corners over two pixels off, unsaid."""
    wrong = 0
    for number, (what, altered) in list(enumerate(DOUBTFUL.items()))[first : first + count]:
        taken = photo(number + 24, size, altered)
        try:
            found = read_picture(taken.jpeg, "photo", ReadOptions(sheet=SHEET))
        except CutoutError as error:
            print(f"{what:40} refused: {str(error)[7:100]}", flush=True)
            continue
        off, _ = sheet_off(taken, ReadOptions(sheet=SHEET))
        warned = any(note.kind == "other paper" for note in found.notes)
        wrong += off > 2 and not warned
        print(f"{what:40} corners {off:7.2f} px{', and said so' if warned else ''}", flush=True)
    print(f"{wrong} wrong sheets taken without a word")


def main() -> None:
    """Print a line for each photo and the medians."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--count", type=int, default=24)
    parser.add_argument("--large", action="store_true")
    parser.add_argument("--doubtful", action="store_true")
    parser.add_argument("--keep", type=Path)
    args = parser.parse_args()
    size = (4000, 3000) if args.large else (2000, 1500)
    if args.doubtful:
        doubtful(size, args.first, args.count)
        return
    found: list[Off] = []
    refused = 0
    for number in range(args.first, args.first + args.count):
        taken = photo(number, size)
        if args.keep:
            (args.keep / f"photo{number:02}.jpg").write_bytes(taken.jpeg)
        try:
            off = measured(taken)
        except CutoutError as error:
            refused += 1
            print(f"{number:3} refused: {str(error)[:110]}   ({taken.what})", flush=True)
            continue
        found.append(off)
        print(
            f"{number:3} RMS {off.rms:6.3f} px  worst {off.worst:5.2f} px  corners {off.corner:5.2f} px  "
            f"size {off.size:5.3f} mm, said {off.said:5.3f}   {taken.what}",
            flush=True,
        )
    print(
        f"median RMS {np.median([o.rms for o in found]):.3f} px, worst {max(o.rms for o in found):.3f} px; corners "
        f"{np.median([o.corner for o in found]):.2f} and {max(o.corner for o in found):.2f} px; sizes "
        f"{np.median([o.size for o in found]):.3f} and {max(o.size for o in found):.3f} mm, beyond what was said "
        f"in {sum(o.size > o.said for o in found)} of {len(found)}; {refused} refused"
    )


if __name__ == "__main__":
    main()
