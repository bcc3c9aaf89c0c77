"""Exact shapes and pictures of them, for measuring the tracer against the truth.

All shapes are invented for the purpose; their rings are lines, arcs and cubics in pixels, y up.
"""

from __future__ import annotations

import cmath
import io
import itertools
import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import resvg_py
import shapely
from PIL import Image, ImageFilter
from scipy.ndimage import gaussian_filter

from cutout.geom.curve import Arc, Cubic, Line, Segment, Similarity
from cutout.geom.outline import Ring

OVER = 4
"""Pictures are rendered this many times finer and averaged: exact coverage to about 1/1000."""


@dataclass(frozen=True)
class Shape:
    """A named shape: rings in pixels inside a picture of width x height."""

    name: str
    rings: tuple[Ring, ...]
    width: int
    height: int

    def corners(self, at_least: float) -> np.ndarray:
        """True corners that turn by at least this much (radians), complex (n,)."""
        return np.array([p for ring in self.rings for p, _ in ring.corners(at_least)], dtype=complex)

    def boundary(self) -> list[np.ndarray]:
        """Each ring as a polyline within 0.002 px."""
        return [ring.points(0.002) for ring in self.rings]


def all_shapes(sizes: tuple[int, ...], seed: int = 7, others: bool = False) -> Iterator[Shape]:
    """Every shape at every size, each turned and shifted at random (the seed fixes how).

    others: those of `other_drawings`, which nothing in the tracer was tuned on.
    """
    rng = np.random.default_rng(seed)
    for size in sizes:
        for name, rings in other_drawings() if others else drawings():
            turn = cmath.exp(1j * rng.uniform(0, 2 * math.pi))
            yield placed(name, rings, size, turn, complex(*rng.uniform(0, 1, 2)))


def placed(name: str, rings: tuple[Ring, ...], size: float, turn: complex, shift: complex) -> Shape:
    """The drawing with its longer side `size` px, turned, off the pixel grid by `shift`, in a margin."""
    turned = [r.transform(Similarity(turn)) for r in rings]
    z = np.concatenate([r.complex_points(1e-4) for r in turned])
    span = max(np.ptp(z.real), np.ptp(z.imag))
    scale, margin = size / span, 8 + size // 20
    low = complex(z.real.min(), z.imag.min())
    move = Similarity(scale + 0j, -low * scale + margin * (1 + 1j) + shift)
    width, height = (math.ceil(np.ptp(v) * scale) + 2 * margin + 1 for v in (z.real, z.imag))
    return Shape(name, tuple(r.transform(move) for r in turned), width, height)


def drawings() -> Iterator[tuple[str, tuple[Ring, ...]]]:
    """The shapes in their own units."""
    for angle in (20, 45, 90, 135):
        yield f"corner {angle}", (_wedge(math.radians(angle)),)
    yield "star", (_star(5, 1.0, 0.45),)
    yield "star 9", (_star(9, 1.0, 0.6),)
    yield "rounded square", (rounded(1.0, 0.8, 0.15),)
    yield "circle", (circle(0j, 1.0),)
    yield "gear", (_gear(14), _back(circle(0j, 0.3)))
    for seed in (1, 2, 3):
        yield f"blob {seed}", (_blob(seed),)
    yield "bars", tuple(_box(complex(0, 0.09 * k), 1.0, 0.02 + 0.006 * k) for k in range(5))
    yield "holes", (_box(0j, 1.4, 1.0), _back(circle(0.35 + 0.5j, 0.22)), _back(_wedge_at(0.8 + 0.2j, 0.5)))
    yield "scene", tuple(_scene())


def other_drawings() -> Iterator[tuple[str, tuple[Ring, ...]]]:
    """Ten shapes more, for a fair look at thresholds chosen on the others: none was used in choosing any."""
    yield "kite", (_polygon([0j, 0.31 - 0.2j, 1.0 + 0j, 0.31 + 0.2j]),)
    yield "saw teeth", (_teeth(11, 1.0, 0.13),)
    yield "lens 30", (_lens(math.radians(30)),)
    yield "slots", (_box(0j, 1.2, 0.8), *(_back(_box(0.1 + 0.11j * k, 1.0, 0.012 * k)) for k in range(1, 7)))
    yield "comb", (_comb(8, 0.05, 0.6),)
    yield "burst 17", (_star(17, 1.0, 0.35),)
    yield "key", (_key(), _back(circle(0.18 + 0j, 0.09)))
    yield "fir", (_fir(5),)
    yield "crescent", (_crescent(),)
    yield "ellipses", tuple(_ellipse(complex(0.0, 0.1 * (k + 1) ** 2), 0.5, 0.06 * 1.4**k) for k in range(4))


def _teeth(n: int, width: float, height: float) -> Ring:
    """A board with teeth along its upper side, one flank upright."""
    teeth = [complex(width - width * k / n, 0.3 + up) for k in range(1, n + 1) for up in (height, 0.0)]
    return _polygon([0j, complex(width, 0.0), complex(width, 0.3), *teeth[:-1]])


def _lens(angle: float) -> Ring:
    """Two arcs that meet at `angle` at both ends."""
    bulge = math.tan(angle / 4)
    return Ring((Arc(0j, 1.0 + 0j, bulge), Arc(1.0 + 0j, 0j, bulge)))


def _comb(n: int, tooth: float, length: float) -> Ring:
    """A back with teeth half as wide again as the gaps between them."""
    pitch = tooth * 5 / 3
    points: list[complex] = [0j, complex(n * pitch, 0.0)]
    for k in reversed(range(n)):
        right, left = k * pitch + tooth, k * pitch
        points += [complex(right, 0.15), complex(right, length), complex(left, length), complex(left, 0.15)]
    points[1] = complex((n - 1) * pitch + tooth, 0.0)
    # Where a tooth's side and the back's end are one line there is no corner.
    points = [p for k, p in enumerate(points) if k not in (2, len(points) - 1)]
    return _polygon(points)


def _key() -> Ring:
    """A round bow, a shank that grows narrower, and a bit with two notches."""
    half = math.radians(12)
    one, two = 0.18 + 0.18 * cmath.exp(1j * half), 0.18 + 0.18 * cmath.exp(-1j * half)
    shank = [two, 0.70 - 0.032j, 0.70 - 0.16j, 0.76 - 0.16j, 0.76 - 0.09j, 0.80 - 0.09j, 0.80 - 0.16j]
    shank += [0.90 - 0.16j, 0.90 - 0.028j, 1.0 - 0.025j, 1.0 + 0.025j, one]
    lines = [Line(a, b) for a, b in itertools.pairwise(shank)]
    return Ring((*lines, Arc(one, two, math.tan((2 * math.pi - 2 * half) / 4))))


def _fir(tiers: int) -> Ring:
    """A tree of tiers that narrow upwards, with a trunk."""
    right: list[complex] = [0.05 + 0j, 0.05 + 0.12j]
    for k in range(tiers):
        low, wide = 0.12 + 0.19 * k, 0.42 - 0.065 * k
        right += [complex(wide, low), complex(0.42 * wide if k < tiers - 1 else 0.0, low + 0.19)]
    left = [complex(-p.real, p.imag) for p in reversed(right[:-1])]
    return _polygon([*right, *left])


def _crescent() -> Ring:
    """Two arcs over one chord that bulge the same way: horns like a moon's."""
    return Ring(
        (Arc(0j, 1.0j, math.tan(math.radians(220) / 4)), Arc(1.0j, 0j, -math.tan(math.radians(150) / 4)))
    )


def _ellipse(at: complex, a: float, b: float) -> Ring:
    """An ellipse as eight cubics, within a few hundred thousandths of its length."""
    turns = [math.pi / 4 * n for n in range(8)]
    places = [at + complex(a * math.cos(t), b * math.sin(t)) for t in turns]
    ways = [4 / 3 * math.tan(math.pi / 16) * complex(-a * math.sin(t), b * math.cos(t)) for t in turns]
    return Ring(
        tuple(
            Cubic(places[k - 1], places[k - 1] + ways[k - 1], places[k] - ways[k], places[k])
            for k in range(8)
        )
    )


def _polygon(points: list[complex]) -> Ring:
    return Ring(tuple(Line(a, b) for a, b in zip(points, points[1:] + points[:1], strict=True)))


def _box(at: complex, w: float, h: float) -> Ring:
    return _polygon([at, at + w, at + w + 1j * h, at + 1j * h])


def _wedge(angle: float) -> Ring:
    if angle > math.pi / 2:
        return _polygon([cmath.exp(2j * math.pi * k / 8) for k in range(8)])
    if angle == math.pi / 2:
        return _box(0j, 1.0, 0.7)
    return _polygon([0j, cmath.exp(-0.5j * angle), cmath.exp(0.5j * angle)])


def _wedge_at(at: complex, size: float) -> Ring:
    return _polygon([at, at + size, at + size * (0.6 + 1j)])


def _star(n: int, outer: float, inner: float) -> Ring:
    return _polygon([(inner if k % 2 else outer) * cmath.exp(1j * math.pi * k / n) for k in range(2 * n)])


def rounded(w: float, h: float, r: float) -> Ring:
    """A rectangle with quarter circles for corners."""
    b = math.tan(math.pi / 8)
    starts = [
        r + 0j,
        w - r + 0j,
        w + 1j * r,
        w + 1j * (h - r),
        w - r + 1j * h,
        r + 1j * h,
        1j * (h - r),
        1j * r,
    ]
    parts: list[Segment] = []
    for k in range(8):
        a, e = starts[k], starts[(k + 1) % 8]
        parts.append(Line(a, e) if k % 2 == 0 else Arc(a, e, b))
    return Ring(tuple(parts))


def circle(centre: complex, r: float) -> Ring:
    """A circle as two half turns."""
    return Ring((Arc(centre + r, centre - r, 1.0), Arc(centre - r, centre + r, 1.0)))


def _back(ring: Ring) -> Ring:
    return ring.reversed()


def _gear(teeth: int) -> Ring:
    parts: list[Segment] = []
    pitch = 2 * math.pi / teeth
    for k in range(teeth):
        a = [cmath.exp(1j * pitch * (k + f)) for f in (0.0, 0.3, 0.42, 0.88, 1.0)]
        inner, outer = 0.8, 1.0
        parts.append(Arc(a[0] * outer, a[1] * outer, math.tan(0.3 * pitch / 4)))
        parts.append(Line(a[1] * outer, a[2] * inner))
        parts.append(Arc(a[2] * inner, a[3] * inner, math.tan(0.46 * pitch / 4)))
        parts.append(Line(a[3] * inner, a[4] * outer))
    return Ring(tuple(parts))


def _blob(seed: int) -> Ring:
    """A smooth closed curve: cubics through points on a wavy circle, tangents as in a Catmull-Rom spline."""
    rng = np.random.default_rng(seed)
    n = 9
    p = [float(rng.uniform(0.55, 1.0)) * cmath.exp(2j * math.pi * k / n) for k in range(n)]
    d = [(p[(k + 1) % n] - p[k - 1]) / 6 for k in range(n)]
    return Ring(
        tuple(Cubic(p[k], p[k] + d[k], p[(k + 1) % n] - d[(k + 1) % n], p[(k + 1) % n]) for k in range(n))
    )


def _leaf(root: complex, tip: complex, fat: float) -> Ring:
    side = (tip - root) * 1j * fat
    one = Cubic(root, root + (tip - root) * 0.3 - side, root + (tip - root) * 0.7 - side, tip)
    two = Cubic(tip, root + (tip - root) * 0.7 + side, root + (tip - root) * 0.3 + side, root)
    return Ring((one, two))


def _scene() -> Iterator[Ring]:
    """A pond: a wading bird's body and neck, reeds, a sun, a frame round all of it."""
    yield _box(0j, 3.0, 2.0)
    yield _back(_box(0.12 + 0.12j, 2.76, 1.76))
    yield _leaf(0.9 + 0.75j, 2.0 + 1.15j, 0.22)
    for k, x in enumerate((0.3, 0.45, 0.62)):
        yield _leaf(x + 0.2j, x + 0.12 * k + 1j * (1.2 + 0.2 * k), 0.05)
    yield circle(2.4 + 1.55j, 0.17)
    yield _box(1.3 + 0.2j, 0.03, 0.4)
    yield _box(1.5 + 0.2j, 0.03, 0.42)
    yield rounded(0.5, 0.14, 0.06).transform(Similarity(1 + 0j, 2.1 + 0.25j))


def coverage(shape: Shape) -> np.ndarray:
    """Share of each pixel inside the shape; float32 (h, w), rows from the top."""
    return covered(shape.boundary(), shape.width, shape.height)


def covered(lines: list[np.ndarray], width: int, height: int) -> np.ndarray:
    """Share of each pixel within closed polylines in pixels, y up; float32 (h, w), rows from the top."""
    path = " ".join(
        "M" + " L".join(f"{x:.5f} {height - y:.5f}" for x, y in line.tolist()) + "Z" for line in lines
    )
    svg = (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width * OVER}" height="{height * OVER}" '
        f'viewBox="0 0 {width} {height}"><path fill-rule="evenodd" d="{path}"/></svg>'
    )
    fine = Image.open(io.BytesIO(bytes(resvg_py.svg_to_bytes(svg_string=svg)))).getchannel("A")
    cells = np.asarray(fine, dtype=np.float32).reshape(height, OVER, width, OVER)
    return (cells.mean(axis=(1, 3)) / 255).astype(np.float32)


PICTURES = (
    "anti-aliased",
    "1-bit",
    "JPEG 60",
    "noise",
    "uneven light",
    "blur 2 px",
    "linear mix",
    "phone",
)
"""The first six mix codes, as drawing programs do; the last two mix light, as lenses do."""


def encoded(light: np.ndarray) -> np.ndarray:
    """Share of the most light a screen shows (0..1) as sRGB codes 0..1. Source: IEC 61966-2-1."""
    light = np.clip(light, 0.0, 1.0)
    return np.where(light <= 0.0031308, 12.92 * light, 1.055 * np.maximum(light, 1e-9) ** (1 / 2.4) - 0.055)


def picture(cover: np.ndarray, kind: str, seed: int = 0) -> bytes:
    """A PNG (or JPEG) of a dark figure on light paper in one of the qualities of PICTURES."""
    out = io.BytesIO()
    if kind == "anti-aliased":
        _grey(1 - cover).save(out, "PNG")
    elif kind == "1-bit":
        _grey((cover < 0.5).astype(float)).convert("1").save(out, "PNG")
    elif kind == "JPEG 60":
        _grey(1 - cover).save(out, "JPEG", quality=60)
    elif kind == "noise":
        soft = np.asarray(_grey(1 - cover).filter(ImageFilter.GaussianBlur(0.7)), dtype=float)
        rough = soft + np.random.default_rng(seed).normal(0, 12, soft.shape)
        _grey(rough / 255).save(out, "PNG")
    elif kind == "uneven light":
        light = np.linspace(1.0, 0.45, cover.shape[1])[None, :]
        _grey((0.94 - 0.80 * cover) * light).save(out, "PNG")
    elif kind == "blur 2 px":
        _grey(0.92 - 0.80 * gaussian_filter(cover, 2.0)).save(out, "PNG")
    elif kind == "linear mix":
        _grey(encoded(0.80 - 0.77 * cover)).save(out, "PNG")
    elif kind == "phone":
        # Paper and ink as shares of full light (invented), a lens's blur, light that falls off by a quarter,
        # and noise that grows with the root of the light, as counting it makes it.
        light = (0.70 - 0.66 * gaussian_filter(cover, 1.0)) * np.linspace(1.0, 0.75, cover.shape[1])[None, :]
        rng = np.random.default_rng(seed)
        light = light + rng.normal(0, 1, light.shape) * np.sqrt(0.00010 * np.maximum(light, 0.0) + 4e-6)
        warm = encoded(light[..., None] * np.array([1.0, 0.93, 0.84]))
        _grey(warm).save(out, "JPEG", quality=90)
    else:
        raise ValueError(kind)
    return out.getvalue()


def _grey(values: np.ndarray) -> Image.Image:
    return Image.fromarray(np.clip(np.round(values * 255), 0, 255).astype(np.uint8))


def apart(one: shapely.Geometry, two: shapely.Geometry, step: float) -> np.ndarray:
    """Distances between lines, both ways, from a place every `step` along each."""
    ways = ((one, two), (two, one))
    return np.concatenate([shapely.distance(_places(way, step), line) for way, line in ways])


def _places(line: shapely.Geometry, step: float) -> np.ndarray:
    return np.asarray(shapely.points(shapely.get_coordinates(shapely.segmentize(line, step))))
