"""Simulated photos of a figure on a busy ground, told apart by a box or a few strokes; how far off the outline is.

    python tests/bench/marked.py [--size 1200] [--keep FOLDER]

Grounds (pebbles, leaves, a patterned rug, planks) and figures are invented; their light is mixed as a lens mixes it,
then blurred, grained and saved as a JPEG. Some grounds share their lightness with the figure, so that no threshold
parts them. Box: a box round the figure with a twentieth of it to spare. Strokes: some along the figure's inside,
some on the ground along the picture's rim.
"""

from __future__ import annotations

import argparse
import cmath
import io
import math
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import shapely
from PIL import Image, ImageDraw
from scipy.ndimage import gaussian_filter

sys.path.insert(0, str(Path(__file__).parent))
import shapes

from cutout.errors import CutoutError
from cutout.geom.outline import Outline
from cutout.read.options import ReadOptions
from cutout.read.picture.reader import read_picture

GROUNDS = ("pebbles", "leaves", "rug", "planks")
FIGURES = ("blob 1", "star", "gear", "rounded square")
COLOURS = {
    "pebbles": (0.55, 0.06, 0.05),
    "leaves": (0.62, 0.52, 0.45),
    "rug": (0.05, 0.16, 0.10),
    "planks": (0.04, 0.05, 0.16),
}
"""Light of the figure on each ground; each has the lightness of some of what it lies on."""


def ground(kind: str, shape: tuple[int, int], seed: int) -> np.ndarray:
    """Linear light (h, w, 3) of a busy ground."""
    rng = np.random.default_rng(seed)
    h, w = shape
    y, x = np.mgrid[:h, :w].astype(np.float32)
    fine = gaussian_filter(rng.normal(0, 1, shape), 1.0)
    if kind == "pebbles":
        return _cells(
            rng,
            shape,
            26,
            np.array([[0.35, 0.32, 0.28], [0.12, 0.11, 0.10], [0.5, 0.47, 0.42], [0.2, 0.17, 0.13]]),
        ) * (1 + 0.15 * fine[..., None])
    if kind == "leaves":
        return _cells(
            rng,
            shape,
            34,
            np.array([[0.05, 0.18, 0.03], [0.12, 0.30, 0.04], [0.03, 0.08, 0.02], [0.25, 0.33, 0.06]]),
        ) * (1 + 0.2 * fine[..., None])
    if kind == "rug":
        a = (np.sin(x / 9) * np.sin(y / 9) > 0).astype(float)
        b = (np.sin((x + y) / 31) > 0.3).astype(float)
        return (
            np.array([0.35, 0.08, 0.06]) * a[..., None]
            + np.array([0.5, 0.42, 0.25]) * ((1 - a) * b)[..., None]
            + np.array([0.16, 0.05, 0.05]) * ((1 - a) * (1 - b))[..., None]
        ) * (1 + 0.2 * fine[..., None])
    grain = gaussian_filter(rng.normal(0, 1, shape), (1, 40)) * 6
    seam = (y % 70 < 3).astype(float)
    return np.array([0.36, 0.20, 0.09]) * np.clip(0.9 + 0.35 * grain - 0.75 * seam, 0.05, 2)[..., None]


def _cells(
    rng: np.random.Generator, shape: tuple[int, int], across: float, colours: np.ndarray
) -> np.ndarray:
    """Patches of about `across` px, darker towards their rims."""
    from scipy.spatial import cKDTree

    h, w = shape
    n = int(h * w / across**2)
    at = rng.uniform(0, 1, (n, 2)) * [h, w]
    shade = colours[rng.integers(0, len(colours), n)] * rng.uniform(0.7, 1.3, (n, 1))
    y, x = np.mgrid[:h, :w]
    near, which = cKDTree(at).query(np.stack([y.ravel(), x.ravel()], axis=1), k=2)
    rim = np.clip((near[:, 1] - near[:, 0]) / 5, 0.15, 1)
    return (shade[which[:, 0]] * rim[:, None]).reshape(h, w, 3)


def photo(name: str, kind: str, size: int, seed: int) -> tuple[bytes, shapes.Shape]:
    """A JPEG and the shape in it, in its pixels (y up)."""
    rng = np.random.default_rng(seed)
    rings = dict(shapes.drawings())[name]
    turn = cmath.exp(1j * rng.uniform(0, 2 * math.pi))
    shape = shapes.placed(name, rings, round(size * 0.6), turn, complex(*rng.uniform(0, 1, 2)))
    cover = shapes.coverage(shape)
    pad = round(size * 0.12)
    cover = np.pad(cover, pad)
    moved = shapes.Shape(
        name,
        tuple(r.transform(shapes.Similarity(1 + 0j, pad * (1 + 1j))) for r in shape.rings),
        cover.shape[1],
        cover.shape[0],
    )
    under = ground(kind, cover.shape, seed)
    texture = (
        gaussian_filter(rng.normal(0, 1, cover.shape), 2.0) * 0.35
        + gaussian_filter(rng.normal(0, 1, cover.shape), 25) * 3
    )
    top = np.array(COLOURS[kind]) * (1 + 0.5 * texture[..., None]).clip(0.4, 1.7)
    light = under * (1 - cover[..., None]) + top * cover[..., None]
    light = gaussian_filter(light, (1.0, 1.0, 0)) * np.linspace(1.0, 0.7, cover.shape[1])[None, :, None]
    light = light + rng.normal(0, 1, light.shape) * np.sqrt(0.0001 * np.maximum(light, 0) + 4e-6)
    out = io.BytesIO()
    codes = np.clip(np.round(shapes.encoded(light) * 255), 0, 255).astype(np.uint8)
    Image.fromarray(codes).save(out, "JPEG", quality=92)
    return out.getvalue(), moved


def ways(shape: shapes.Shape) -> Iterator[tuple[str, ReadOptions]]:
    """How the figure is marked."""
    height = shape.height
    z = np.concatenate(list(shape.boundary()))
    (x0, y0), (x1, y1) = z.min(axis=0), z.max(axis=0)
    spare = 0.05 * max(x1 - x0, y1 - y0)
    box = (x0 - spare, height - y1 - spare, x1 + spare, height - y0 + spare)
    inner = shapely.Polygon(shape.boundary()[0], shape.boundary()[1:]).buffer(-0.03 * shape.width)
    at = shapely.get_coordinates(inner.representative_point())[0]
    thick = 0.05 * shape.width
    strokes = [(at[0], height - at[1], thick)]
    rim = inner.exterior if inner.geom_type == "Polygon" else inner.geoms[0].exterior
    along = shapely.get_coordinates(shapely.segmentize(rim, 0.08 * shape.width))[::3]
    strokes += [(x, height - y, 0.03 * shape.width) for x, y in along.tolist()]
    m = 0.03 * shape.width
    ground = [
        (f * shape.width, g * height, -2 * m) for f in (0.05, 0.3, 0.5, 0.7, 0.95) for g in (0.05, 0.95)
    ]
    ground += [(g * shape.width, f * height, -2 * m) for f in (0.3, 0.5, 0.7) for g in (0.05, 0.95)]
    yield "box", ReadOptions(within=box)
    yield "strokes", ReadOptions(marked=tuple(strokes + ground))
    yield "both", ReadOptions(within=box, marked=tuple(strokes))


def off(found: Outline, shape: shapes.Shape) -> tuple[float, float]:
    """RMS and worst distance, both ways, in pixels."""
    got = shapely.MultiLineString([shapely.LinearRing(r.points(0.01)) for r in found.rings])
    truth = shapely.MultiLineString([shapely.LinearRing(b) for b in shape.boundary()])
    d = shapes.apart(got, truth, 1.0)
    return float(np.sqrt(np.mean(d**2))), float(d.max())


def main() -> None:
    """Print a line for each picture and way, and the medians of each way."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--size", type=int, default=1200)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--ground", default="")
    parser.add_argument("--figure", default="")
    parser.add_argument("--keep", type=Path)
    args = parser.parse_args()
    rows: dict[str, list[tuple[float, float]]] = {}
    refused: dict[str, int] = {}
    for g, kind in enumerate(k for k in GROUNDS if args.ground in k):
        for f, name in enumerate(n for n in FIGURES if args.figure in n):
            data, shape = photo(name, kind, args.size, args.seed + 10 * g + f)
            for way, options in [("unmarked", ReadOptions()), *ways(shape)]:
                start = time.process_time()
                try:
                    found = read_picture(data, "photo", options)
                    rms, worst = off(found, shape)
                    rows.setdefault(way, []).append((rms, worst))
                    clear = next((n.text[-42:] for n in found.notes if n.kind == "marked"), "")
                    said = f"RMS {rms:7.3f} worst {worst:7.2f} {clear}"
                except CutoutError as error:
                    refused[way] = refused.get(way, 0) + 1
                    said, found = f"refused: {str(error)[:70]}", None
                print(f"{kind:9}{name:15}{way:9}{time.process_time() - start:6.1f} s CPU  {said}", flush=True)
                if args.keep and found is not None and way != "unmarked":
                    _drawn(data, found).save(args.keep / f"{kind}-{name}-{way}.png".replace(" ", "-"))
    for way, many in rows.items():
        all_rms, all_worst = (np.array(column) for column in zip(*many, strict=True))
        print(
            f"{way:9} median RMS {np.median(all_rms):.3f}, worst RMS {all_rms.max():.3f}, "
            f"worst place {all_worst.max():.1f} px; {refused.get(way, 0)} refused"
        )


def _drawn(data: bytes, found: Outline) -> Image.Image:
    image = Image.open(io.BytesIO(data)).convert("RGB")
    pen = ImageDraw.Draw(image)
    for ring in found.rings:
        pen.line([(x, image.height - y) for x, y in ring.points(0.1).tolist()], fill=(255, 0, 255), width=2)
    return image


if __name__ == "__main__":
    main()
