"""A panel on a plain ground: how much each pixel of a photograph is panel, and where its four corners are."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from scipy.ndimage import binary_fill_holes, label
from skimage.filters import threshold_otsu

from cutout.errors import ReadError
from cutout.gauge.light import Light
from cutout.gauge.marks import reduced, widest_quad
from cutout.geom.curve import FloatArray

_SMALL = 1000  # pixels of the longer side that the panel is looked for on: the rest only takes time
_BORDER = 0.02  # share of the shorter side along the rim that is taken for ground. Common practice
_ALIKE = 0.02
"""Panel and ground that differ by less light than this (0..1) can't be told apart."""


@dataclass(frozen=True)
class Laid:
    """share: (h, w), 0 where a pixel is ground and 1 where it is panel. quad: the panel's corners (4, 2), pixels,
    clockwise on the screen. lift: from ground to panel it is so many times the panel's own light."""

    share: Light
    quad: FloatArray
    lift: float


def laid_on_ground(colour: Light, name: str) -> Laid:
    """A panel in a photograph's linear light (h, w, 3). Raises ReadError where it can't be told from what it lies
    on."""
    h, w, _ = colour.shape
    rim = max(2, round(_BORDER * min(h, w)))
    edge = np.concatenate(
        [
            colour[:rim].reshape(-1, 3),
            colour[-rim:].reshape(-1, 3),
            colour[:, :rim].reshape(-1, 3),
            colour[:, -rim:].reshape(-1, 3),
        ]
    )
    ground = np.median(edge, axis=0)
    step = max(1, round(max(h, w) / _SMALL))
    small = np.stack([reduced(colour[..., k], step) for k in range(3)], axis=-1)
    away = np.linalg.norm(small - ground, axis=-1)
    far = away > threshold_otsu(away)
    face = np.median(small[far], axis=0) if far.any() else ground
    axis = face - ground
    if float(np.linalg.norm(axis)) < _ALIKE:
        raise ReadError(
            f"{name}: panel and ground look alike: lay it on a plain ground, much lighter or much darker than "
            f"the wood."
        )
    unit = (axis / (axis @ axis)).astype(np.float32)
    share = np.asarray((colour - ground.astype(np.float32)) @ unit, dtype=np.float32)
    lift = float(np.linalg.norm(axis)) / max(float(np.linalg.norm(face)), 1e-6)
    return Laid(share, _corners(np.asarray((small - ground) @ unit), name) * step, lift)


def _corners(share: FloatArray, name: str) -> FloatArray:
    parts, count = label(share > 0.5)
    if count:
        sizes = np.bincount(np.asarray(parts).ravel())
        sizes[0] = 0
        part = binary_fill_holes(parts == int(np.argmax(sizes)))
        ys, xs = np.nonzero(part)
        h, w = part.shape
        if xs.min() > 0 and ys.min() > 0 and xs.max() < w - 1 and ys.max() < h - 1:
            pixels = np.column_stack([xs, ys])
            ends = (pixels[:, None, :] + np.array([[0, 0], [1, 0], [1, 1], [0, 1]])).reshape(-1, 2)
            hull = shapely.convex_hull(shapely.MultiPoint(ends))
            if isinstance(hull, shapely.Polygon):
                quad = widest_quad(shapely.get_coordinates(hull.exterior)[:-1])
                if (
                    quad is not None
                    and shapely.Polygon(quad).area > 0.9 * hull.area
                    and hull.area > 0.03 * h * w
                ):
                    return np.asarray(quad, dtype=float)
    raise ReadError(
        f"{name}: no whole four-sided panel was found: photograph all of it, from above, on a plain ground that "
        "reaches round it on every side."
    )
