"""Photographs of a sawn panel, simulated with exact geometry: a board with thickness, its openings' walls seen
askew."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import shapely
from PIL import Image, ImageDraw
from scipy.ndimage import map_coordinates

from tests.gauge.photo import Shot, developed, pinhole

FACE, WALL, GROUND = 0.42, 0.22, 0.04
_DOT = 0.1
_SHADE = 0.7
"""Share of the light on the ground that a shadow takes."""


def leaf(width: float = 300.0, height: float = 200.0) -> shapely.Polygon:
    """A panel with a leaf and a round window cut out of it; invented."""
    t = np.linspace(0, 2 * np.pi, 721)[:-1]
    r = 1 + 0.12 * np.cos(5 * t)
    blob = np.column_stack([0.38 * width + 70 * r * np.cos(t), height / 2 + 55 * r * np.sin(t)])
    window = np.column_stack([0.8 * width + 28 * np.cos(t), 0.6 * height + 28 * np.sin(t)])
    return shapely.Polygon([(0, 0), (width, 0), (width, height), (0, height)], [blob[::-1], window[::-1]])


def astray(x: np.ndarray, y: np.ndarray, most: float) -> np.ndarray:
    """How much wood stands beyond the line (mm) at places: slow waves across the panel, at most `most`."""
    return np.asarray(most * np.sin(x / 19.0) * np.cos(y / 23.0))


def sawn_panel(drawn: shapely.Polygon, most: float) -> shapely.Polygon:
    """The panel as it was sawn: the openings' outlines moved into the waste by `astray`."""
    inner = []
    for ring in drawn.interiors:
        line = shapely.LineString(shapely.get_coordinates(ring))
        s = np.arange(0, line.length, 0.25)
        here, before, after = (
            shapely.get_coordinates(shapely.line_interpolate_point(line, np.mod(s + d, line.length)))
            for d in (0, -0.2, 0.2)
        )
        way = (after - before) / np.hypot(*(after - before).T)[:, None]
        out = np.column_stack([-way[:, 1], way[:, 0]])
        out *= np.where(shapely.contains_xy(shapely.Polygon(ring), *(here + 0.5 * out).T), 1, -1)[:, None]
        inner.append(here + out * astray(here[:, 0], here[:, 1], most)[:, None])
    return shapely.Polygon(shapely.get_coordinates(drawn.exterior), inner)


def _coverage(shape: shapely.Polygon, pad: float) -> tuple[np.ndarray, tuple[float, float]]:
    x0, y0, x1, y1 = shape.bounds
    origin = (x0 - pad, y0 - pad)
    w, h = (round((b - a + 2 * pad) / _DOT) for a, b in ((x0, x1), (y0, y1)))
    fine = 4
    exact = shapely.buffer(shape, -_DOT / fine / 2, join_style="mitre")
    mask = Image.new("L", (w * fine, h * fine), 0)
    draw = ImageDraw.Draw(mask)
    for ring, value in ((exact.exterior, 255), *((i, 0) for i in exact.interiors)):
        xy = shapely.get_coordinates(ring)
        if value == 0:
            # Filling an opening counts its border too: it would grow by as much.
            xy = shapely.get_coordinates(
                shapely.buffer(shapely.Polygon(ring), -_DOT / fine, join_style="mitre").exterior
            )
        px = (xy[:, 0] - origin[0]) / _DOT * fine - 0.5
        py = (h - (xy[:, 1] - origin[1]) / _DOT) * fine - 0.5
        draw.polygon(list(zip(px.tolist(), py.tolist(), strict=True)), fill=value)
    share = np.asarray(mask, np.float32).reshape(h, fine, w, fine).mean(axis=(1, 3)) / 255
    return share, origin


def photo_of_panel(
    panel: shapely.Polygon, thickness: float, shot: Shot, *, dark_ground: bool = True, shadow: complex = 0j
) -> bytes:
    """What a camera writes of the panel lying on a plain ground. shadow: how far (mm, x and y) its face throws its
    shadow on the ground; 0: light from everywhere."""
    share, origin = _coverage(panel, 30.0)
    h, _ = share.shape
    x0, y0, x1, y1 = panel.bounds
    middle = ((x0 + x1) / 2, (y0 + y1) / 2)
    long = math.sqrt(shot.megapixels * 1e6 * 4 / 3)
    size = (round(long), round(long * 0.75))
    corners = np.array([x0 + 1j * y0, x1 + 1j * y0, x1 + 1j * y1, x0 + 1j * y1])
    fill = shot.fill
    while True:
        ahead, back = pinhole(replace(shot, fill=fill), size, middle, max(x1 - x0, y1 - y0) * 1.05)
        p = ahead(corners)
        if (
            p.real.min() > 60
            and p.imag.min() > 60
            and p.real.max() < size[0] - 60
            and p.imag.max() < size[1] - 60
        ):
            break
        fill *= 0.97
    far = 0.75 * max(size) * max(x1 - x0, y1 - y0) * 1.05 / (max(size) * fill)
    eye = _eye(shot, far)
    foot = complex(middle[0] + eye[0], middle[1] + eye[1])
    out = np.empty((size[1], size[0]), np.float32)
    face, wall, ground = (FACE, WALL, GROUND) if dark_ground else (0.12, 0.07, 0.7)
    for row in range(0, size[1], 256):
        ys = np.arange(row, min(row + 256, size[1])) + 0.5
        z = back((np.arange(size[0]) + 0.5)[None, :] + 1j * ys[:, None])

        def at(depth: float, z: np.ndarray = z, light: float = 0.0) -> np.ndarray:
            p = z + (z - foot) * (depth / eye[2]) - light * shadow
            r = h - (p.imag - origin[1]) / _DOT - 0.5
            return map_coordinates(share, [r, (p.real - origin[0]) / _DOT - 0.5], order=1, mode="constant")

        top = at(0.0)
        below = np.max([at(thickness * k / 8) for k in range(1, 9)], axis=0)
        face_here = face * (1 + 0.06 * np.sin(z.imag * 4.1 + 2 * np.sin(z.real / 30)))
        dimmed = np.max([at(thickness, light=k / 8) for k in range(1, 9)], axis=0) if shadow else 0.0
        ground_here = ground * (1 - _SHADE * dimmed)
        out[row : row + 256] = top * face_here + (1 - top) * (below * wall + (1 - below) * ground_here)
    return developed(out, shot)


def _eye(shot: Shot, far: float) -> np.ndarray:
    """Where the camera stands (mm) from the panel's middle: where the plane's turn takes the upright."""
    tilt, axis = math.radians(shot.tilt), math.radians(shot.axis)
    u = np.array([math.cos(axis), math.sin(axis), 0.0])
    cross = np.array([[0, -u[2], u[1]], [u[2], 0, -u[0]], [-u[1], u[0], 0]])
    rotation = np.eye(3) + math.sin(tilt) * cross + (1 - math.cos(tilt)) * cross @ cross
    return np.asarray(rotation.T @ np.array([0.0, 0.0, far]))
