"""Photographs simulated with exact geometry, in linear light: of a sawn card, of a sawn panel. Invented, all of it.

The print is the project's own PDF drawn by an independent reader (pypdfium2); the slots are outlines laid over it as
exact coverage; the camera is a pinhole with a radial lens term, blur, noise and JPEG. Nothing here is shared with
what reads the photograph but the card's drawing.
"""

from __future__ import annotations

import io
import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cache, cached_property
from typing import Any

import numpy as np
import pypdfium2 as pdfium
import shapely
from numpy.typing import NDArray
from PIL import Image, ImageDraw
from scipy.ndimage import gaussian_filter, gaussian_filter1d, map_coordinates
from scipy.signal import oaconvolve

from cutout.gauge.card import HEIGHT, WIDTH, Card, Cut, Trail, arc_spans, card_for, cuts
from cutout.kit import paper
from cutout.write.gauge import gauge_pdf
from tests.kits import kit_of

PAPERS = {"white": 0.85, "ivory": 0.74, "recycled": 0.62}
WOODS = {"pine": 0.50, "oak": 0.30, "walnut": 0.10}
FINE = 0.05
"""Millimetres of a dot of the scene, before the camera sees it."""
PAD = 18.0
"""Wood and table shown round the paper (mm)."""


@dataclass(frozen=True)
class Saw:
    """What the simulated saw did. bias: to the right of the way it goes; torn: sigma (mm) of ragged edges; least:
    the tightest radius it follows; corner: "round" where the blade turned in its own kerf, "blunt" where it did
    not."""

    kerf: float = 1.3
    bias: float = 0.1
    wander: float = 0.05
    torn: float = 0.0
    least: float = 9.0
    unsawn: tuple[str, ...] = ()
    across_kerf: float | None = None
    corner: str = "round"


@dataclass(frozen=True)
class Shot:
    """How it was photographed. tilt: degrees from upright; axis: degrees of the axis it is tilted about; turn:
    degrees the camera is turned about its own line of sight; k1: x' = x (1 + k1 r^2), r in focal lengths; blur: sigma
    (px); disc: that blur is the disc that a lens out of focus makes of a point, not a Gaussian."""

    megapixels: float = 12.0
    tilt: float = 0.0
    axis: float = 0.0
    turn: float = 0.0
    k1: float = 0.0
    blur: float = 0.8
    disc: bool = False
    noise: float = 0.004
    quality: int | None = 92
    light: float = 0.85
    shade: float = 0.0
    glare: tuple[float, float, float, float] | None = None
    paper: str = "white"
    wood: str = "pine"
    fill: float = 0.94
    seed: int = 1


@dataclass(frozen=True)
class Scene:
    """Reflectance (h, w) at FINE mm a dot, row 0 at the top; `origin` is the lower left in the card's mm."""

    values: NDArray[np.float32]
    origin: tuple[float, float]


def slow_noise(n: int, step: float, long: float, rng: np.random.Generator) -> NDArray[np.float64]:
    """Noise (n,) of sigma 1, correlated over about `long` mm at `step` mm a sample."""
    sigma = max(long / step, 1e-6)
    raw = gaussian_filter1d(rng.standard_normal(n + math.ceil(40 * sigma)), sigma, mode="wrap")
    return np.asarray(raw[:n] / max(float(raw.std()), 1e-9))


def sawn_line(cut: Cut, trail: Trail, saw: Saw, rng: np.random.Generator) -> tuple[NDArray, NDArray]:
    """Middle of the slot and unit directions (complex) every 0.05 mm: an arc too tight comes out at `saw.least`."""
    if cut.kind == "arc" and cut.radius < saw.least - 1e-9:
        trail = _wide(cut, trail, saw.least)
    s = np.arange(0.0, trail.length, 0.05)
    z, way = trail.at(s)
    off = saw.bias + saw.wander * slow_noise(len(s), 0.05, 8.0, rng)
    return z - 1j * way * off, way


def _wide(cut: Cut, trail: Trail, least: float) -> Trail:
    """The line a blade takes that turns no tighter than `least`: same lengths, wider arcs."""
    runs = tuple((length, math.copysign(1 / least, bend) if bend else 0.0) for length, bend in trail.runs)
    return replace(trail, runs=runs)


@dataclass(frozen=True)
class Sawn:
    """One line as the simulated saw took it: middle and unit directions (complex) every 0.05 mm."""

    cut: Cut
    trail: Trail
    middle: NDArray[np.complex128]
    way: NDArray[np.complex128]
    kerf: float
    ragged: tuple[NDArray[np.float64], NDArray[np.float64]]

    @cached_property
    def off(self) -> NDArray[np.float64]:
        """How far right of the line drawn each place lies (mm)."""
        drawn = shapely.LineString(self.trail.points(0.02))
        points = shapely.points(self.middle.real, self.middle.imag)
        s = shapely.line_locate_point(drawn, points)
        z, way = self.trail.at(np.clip(s, 0, self.trail.length))
        right = ((self.middle - z) * np.conj(way)).imag < 0
        return np.where(right, 1.0, -1.0) * shapely.distance(drawn, points)


@cache
def sawn(card: Card, saw: Saw) -> tuple[Sawn, ...]:
    """Every line of the card as it was sawn."""
    rng = np.random.default_rng(77)
    lines = []
    for cut in cuts(card.ladder):
        for trail in cut.trails:
            z, way = sawn_line(cut, trail, saw, rng)
            kerf = saw.across_kerf if cut.kind == "across" and saw.across_kerf else saw.kerf
            ragged = tuple(saw.torn * slow_noise(len(z), 0.05, 0.15, rng) for _ in range(2))
            if cut.kind not in saw.unsawn and f"{cut.radius:g}" not in saw.unsawn:
                lines.append(Sawn(cut, trail, z, way, kerf, (ragged[0], ragged[1])))
    return tuple(lines)


def slots(card: Card, saw: Saw) -> shapely.Geometry:
    """Everything sawn out of the card, as one geometry in its mm."""
    parts = []
    for line in sawn(card, saw):
        z, way, cut = line.middle, line.way, line.cut
        left = z + 1j * way * (line.kerf / 2 + line.ragged[0])
        right = z - 1j * way * (line.kerf / 2 + line.ragged[1])
        run_in = 0.0 if cut.kind == "turned" and line.trail is cut.trails[1] else 40.0
        start = z[:1] - way[0] * run_in
        side = 1j * way[0] * line.kerf / 2
        outline = np.concatenate([start + side, left, right[::-1], start - side])
        parts.append(shapely.make_valid(shapely.Polygon(np.column_stack([outline.real, outline.imag]))))
        if cut.kind == "turned" and saw.corner == "round" and line.trail is cut.trails[0]:
            parts.append(shapely.Point(z[-1].real, z[-1].imag).buffer(line.kerf / 2, quad_segs=64))
        if cut.kind == "met" and line.trail is cut.trails[0]:
            a, b = (t.start for t in cut.trails)
            tip = line.trail.at(np.array([line.trail.length]))[0][0]
            parts.append(shapely.Polygon([(p.real, p.imag) for p in (a, b, tip)]))
    return shapely.union_all(parts)


@cache
def printed(card: Card, paper_name: str) -> NDArray[np.float32]:
    """The card's page as ink, 0 black .. 1 paper, FINE mm a dot, drawn by an independent reader of the PDF."""
    name = {0: "jigsaw", 1: "jigsaw-narrow", 2: "coping", 3: "scroll-fine"}[card.ladder]
    kit = kit_of(name, "red-oak")
    sheet = paper(paper_name)
    assert card_for(kit.blade.turning_radius, sheet) == card
    page = pdfium.PdfDocument(gauge_pdf(kit, sheet, "mm"))[1]
    image = page.render(scale=25.4 / 72 / FINE * (1 - 2e-6), grayscale=True).to_numpy()
    return np.asarray(image.reshape(image.shape[:2]), dtype=np.float32) / 255.0


def scene(card: Card, saw: Saw, shot: Shot) -> Scene:
    """The sawn card lying on its scrap on a dark table, as reflectance."""
    sheet = paper({"a4": "a4", "letter": "letter", "other": "a3"}[card.paper])
    ink = printed(card, sheet.name)
    pad = round(PAD / FINE)
    values = np.full((ink.shape[0] + 2 * pad, ink.shape[1] + 2 * pad), 0.06, np.float32)
    grain = 1.0 + 0.12 * slow_noise(values.shape[1], FINE, 0.6, np.random.default_rng(5)).astype(np.float32)
    edge = round(6.0 / FINE)
    values[edge:-edge, edge:-edge] = WOODS[shot.wood] * grain[None, edge:-edge]
    white = PAPERS[shot.paper]
    values[pad:-pad, pad:-pad] = 0.04 + (white - 0.04) * ink
    height = sheet.height or 300.0
    origin = ((WIDTH - sheet.width) / 2 - PAD, (HEIGHT - height) / 2 - PAD)
    scrap = shapely.box(
        origin[0] + 6,
        origin[1] + 6,
        *(o + FINE * n - 6 for o, n in zip(origin, values.shape[::-1], strict=True)),
    )
    _saw_out(values, shapely.intersection(slots(card, saw), scrap), origin, shot)
    return Scene(values, origin)


def _saw_out(
    values: NDArray[np.float32], gone: shapely.Geometry, origin: tuple[float, float], shot: Shot
) -> None:
    """The slots laid over the scene: dark, with the upper part of a wall seen where the camera looks in askew."""
    tilt, axis = math.radians(shot.tilt), math.radians(shot.axis)
    seen = 1.5 * math.tan(tilt)
    shift = (seen * -math.sin(axis), seen * math.cos(axis))
    floor = shapely.intersection(gone, shapely.transform(gone, lambda p: p + np.array(shift)))
    for shape, level in ((gone, 0.35 * WOODS[shot.wood] + 0.02), (floor, 0.02)):
        for (rows, columns), share in _coverage(shape, values.shape, origin):
            part = values[rows, columns]
            part += (level - part) * share


def _coverage(shape: shapely.Geometry, size: tuple[int, int], origin: tuple[float, float], fine: int = 4):
    """Windows of the scene and the share of each dot covered, part by part."""
    # What fills the polygons counts every dot their border touches: half a dot too much all round.
    exact = shapely.buffer(shape, -FINE / fine / 2, join_style="mitre")
    for polygon in (p for p in shapely.get_parts(exact) if p.geom_type == "Polygon" and p.area > 1e-6):
        x0, y0, x1, y1 = polygon.bounds
        c0, c1 = (int(np.clip((x - origin[0]) / FINE + d, 0, size[1])) for x, d in ((x0, -2), (x1, 3)))
        r0, r1 = (
            int(np.clip(size[0] - (y - origin[1]) / FINE + d, 0, size[0])) for y, d in ((y1, -2), (y0, 3))
        )
        if c1 <= c0 or r1 <= r0:
            continue
        mask = Image.new("L", ((c1 - c0) * fine, (r1 - r0) * fine), 0)
        draw = ImageDraw.Draw(mask)
        for ring, value in ((polygon.exterior, 255), *((i, 0) for i in polygon.interiors)):
            xy = shapely.get_coordinates(ring)
            px = ((xy[:, 0] - origin[0]) / FINE - c0) * fine - 0.5
            py = (size[0] - (xy[:, 1] - origin[1]) / FINE - r0) * fine - 0.5
            draw.polygon(list(zip(px.tolist(), py.tolist(), strict=True)), fill=value)
        share = (
            np.asarray(mask, dtype=np.float32).reshape(r1 - r0, fine, c1 - c0, fine).mean(axis=(1, 3)) / 255
        )
        yield (slice(r0, r1), slice(c0, c1)), share


def pinhole(shot: Shot, size: tuple[int, int], middle: tuple[float, float], span: float):
    """(plane mm -> pixels, pixels -> plane mm), both on complex numbers, for a camera that sees `span` mm (the longer
    side of what must be in the picture) across the longer side of the picture."""
    focal = 0.75 * max(size)
    tilt, axis = math.radians(shot.tilt), math.radians(shot.axis)
    u = np.array([math.cos(axis), math.sin(axis), 0.0])
    cross = np.array([[0, -u[2], u[1]], [u[2], 0, -u[0]], [-u[1], u[0], 0]])
    rotation = np.eye(3) + math.sin(tilt) * cross + (1 - math.cos(tilt)) * cross @ cross
    far = focal * span / (max(size) * shot.fill)
    roll = np.exp(1j * math.radians(shot.turn))
    c = complex(size[0] / 2, size[1] / 2)

    def ahead(z):
        p = np.stack([z.real - middle[0], z.imag - middle[1], np.zeros(z.shape)], axis=-1) @ rotation.T
        ray = (p[..., 0] + 1j * p[..., 1]) / (far - p[..., 2]) * roll
        r2 = np.abs(ray) ** 2
        return c + np.conj(ray * (1 + shot.k1 * r2)) * focal

    def back(q):
        bent = np.conj((q - c) / focal)
        ray = bent
        # Each round leaves a thirtieth of what is off, at most.
        for _ in range(7):
            ray = bent / (1 + shot.k1 * np.abs(ray) ** 2)
        ray = ray / roll
        # The plane's point where the ray meets it: R (x, y, 0) lies on t (ray, -1) + (0, 0, far).
        a, b = rotation[:, 0], rotation[:, 1]
        m = np.array([[a[0], b[0]], [a[1], b[1]]])
        x, y = ray.real, ray.imag
        # a x' + b y' with z = a2 x' + b2 y': x = (a0 x' + b0 y') / (far - z)
        k11, k12 = m[0, 0] + x * a[2], m[0, 1] + x * b[2]
        k21, k22 = m[1, 0] + y * a[2], m[1, 1] + y * b[2]
        det = k11 * k22 - k12 * k21
        px = (x * far * k22 - k12 * y * far) / det
        py = (k11 * y * far - k21 * x * far) / det
        return (px + middle[0]) + 1j * (py + middle[1])

    return ahead, back


def framed(what: Scene, shot: Shot):
    """(size in pixels, plane -> pixels, pixels -> plane): the camera so far off that all of the sheet is seen."""
    h, w = what.values.shape
    wide, high = w * FINE, h * FINE
    middle = (what.origin[0] + wide / 2, what.origin[1] + high / 2)
    long = math.sqrt(shot.megapixels * 1e6 * 4 / 3)
    size = (round(long * 0.75), round(long)) if high >= wide else (round(long), round(long * 0.75))
    x, y = wide / 2 - PAD, high / 2 - PAD
    corners = complex(*middle) + np.array([x + 1j * y, x - 1j * y, -x + 1j * y, -x - 1j * y])
    fill = shot.fill
    while True:
        ahead, back = pinhole(replace(shot, fill=fill), size, middle, max(wide, high) - 2 * PAD)
        p = ahead(corners)
        if (
            p.real.min() > 6
            and p.imag.min() > 6
            and p.real.max() < size[0] - 6
            and p.imag.max() < size[1] - 6
        ):
            return size, ahead, back
        fill *= 0.97


def photograph(what: Scene, shot: Shot) -> bytes:
    """The file a camera would write of the scene."""
    h = what.values.shape[0]
    high = h * FINE
    size, _, back = framed(what, shot)
    long = max(size)
    over = 2 if long < 3000 else 1
    full = (size[0] * over, size[1] * over)
    out = np.empty((full[1], full[0]), np.float32)
    columns = (np.arange(full[0]) + 0.5) / over
    for row in range(0, full[1], 256):
        ys = (np.arange(row, min(row + 256, full[1])) + 0.5) / over
        z = back(columns[None, :] + 1j * ys[:, None])
        r = (what.origin[1] + high - z.imag) / FINE - 0.5
        c = (z.real - what.origin[0]) / FINE - 0.5
        out[row : row + 256] = map_coordinates(what.values, [r, c], order=1, mode="nearest")
    if over > 1:
        out = out.reshape(size[1], over, size[0], over).mean(axis=(1, 3))
    return developed(out, shot)


def disc(radius: float) -> NDArray[np.float32]:
    """An even disc (px) that sums to 1, its rim to an eighth of a pixel."""
    reach, part = int(radius) + 2, 8
    t = (np.arange((2 * reach + 1) * part) + 0.5) / part - reach - 0.5
    inside = (np.hypot(*np.meshgrid(t, t)) <= radius).astype(np.float32)
    pixels = inside.reshape(2 * reach + 1, part, 2 * reach + 1, part).mean(axis=(1, 3))
    return np.asarray(pixels / pixels.sum())


def developed(out: NDArray[Any], shot: Shot) -> bytes:
    """Light as it falls on the sensor to a file: blur, uneven light, glare, noise, sRGB, JPEG (or PNG)."""
    rng = np.random.default_rng(shot.seed)
    out = oaconvolve(out, disc(2 * shot.blur), mode="same") if shot.disc else gaussian_filter(out, shot.blur)
    h, w = out.shape
    x = np.linspace(-1, 1, w, dtype=np.float32)[None, :]
    y = np.linspace(-1, 1, h, dtype=np.float32)[:, None]
    out = out * shot.light * (1 + shot.shade * (0.6 * x + 0.4 * y))
    if shot.glare is not None:
        gx, gy, across, strength = shot.glare
        out = out + strength * np.exp(-(((x - gx) / across) ** 2) - ((y - gy) / across) ** 2)
    out = out + shot.noise * np.sqrt(np.maximum(out, 0.02)).astype(np.float32) * rng.standard_normal(
        out.shape, dtype=np.float32
    )
    out = np.clip(out, 0, 1)
    code = np.where(out <= 0.0031308, 12.92 * out, 1.055 * out ** (1 / 2.4) - 0.055)
    image = Image.fromarray((code * 255 + 0.5).astype(np.uint8))
    stream = io.BytesIO()
    if shot.quality is None:
        image.save(stream, "PNG")
    else:
        image.convert("RGB").save(stream, "JPEG", quality=shot.quality)
    return stream.getvalue()


def photo_of_card(card: Card, saw: Saw, shot: Shot) -> bytes:
    """A photograph of a sawn card."""
    return photograph(scene(card, saw, shot), shot)


def true_pixels(what: Scene, shot: Shot) -> Callable[[NDArray], NDArray]:
    """Where the simulated camera shows places (complex, mm) of the scene: for tests of the fitted camera."""
    return framed(what, shot)[1]


__all__ = [
    "Card",
    "Saw",
    "Shot",
    "arc_spans",
    "photo_of_card",
    "photograph",
    "printed",
    "scene",
    "slots",
    "true_pixels",
]
