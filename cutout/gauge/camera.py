"""How a photograph shows a flat thing: perspective and one term of lens distortion, fitted to known places."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.optimize import least_squares

from cutout.geom.curve import FloatArray

_MOST_BEND = 0.15
"""No lens that is not a fish-eye bends more than this at the picture's corner."""


@dataclass(frozen=True)
class Camera:
    """From a plane in mm to pixels (x right, y down, the first pixel's centre at 0.5, 0.5).

    matrix: the plane's homography (3, 3) to coordinates round the picture's middle in half diagonals. bend: k1 of
    the radial model x' = x (1 + k1 r^2) in those units (Brown's model, first term).
    """

    matrix: FloatArray
    bend: float
    size: tuple[int, int]

    def pixels(self, xy: FloatArray) -> FloatArray:
        """Where places of the plane (..., 2) are in the picture (..., 2)."""
        return _project(self.matrix, self.bend, self.size, xy)

    def mm_per_pixel(self, xy: FloatArray) -> FloatArray:
        """Size (mm) of a pixel at places (n, 2): the root of the area it covers."""
        px, py = self._steps(xy)
        area = np.abs(px[..., 0] * py[..., 1] - px[..., 1] * py[..., 0])
        return np.asarray(1.0 / np.sqrt(np.maximum(area, 1e-12)))

    def reach(self, xy: FloatArray, way: FloatArray) -> FloatArray:
        """How far (mm) a round spot of one pixel reaches along unit directions `way` at places xy, both (n, 2).

        A tilted picture makes it an ellipse on the card; this is what blurs an edge that lies across `way`.
        """
        px, py = self._steps(xy)
        cross = np.abs(px[..., 0] * py[..., 1] - px[..., 1] * py[..., 0])
        # Rows of the inverse of (px, py): how the card's x and y change by pixels across and down.
        x, y = np.stack([py[..., 1], -py[..., 0]], -1), np.stack([-px[..., 1], px[..., 0]], -1)
        along = way[..., :1] * x + way[..., 1:] * y
        return np.asarray(np.hypot(along[..., 0], along[..., 1]) / np.maximum(cross, 1e-12))

    def _steps(self, xy: FloatArray) -> tuple[FloatArray, FloatArray]:
        """What a millimetre across and up is in pixels (n, 2), at places (n, 2)."""
        h = 0.05
        across, up = (
            (self.pixels(xy + d) - self.pixels(xy - d)) / (2 * h)
            for d in (np.array([h, 0]), np.array([0, h]))
        )
        return across, up


@dataclass(frozen=True)
class Fitted:
    """A camera with what is left over at the places it was fitted to: `off` (n,) in pixels, `used` (n,) of them."""

    camera: Camera
    off: FloatArray
    used: np.ndarray

    @property
    def rms(self) -> float:
        """Root mean square of what is left over at the places used (px)."""
        return float(np.sqrt(np.mean(self.off[self.used] ** 2)))


def _project(matrix: FloatArray, bend: float, size: tuple[int, int], xy: FloatArray) -> FloatArray:
    w = xy[..., 0] * matrix[2, 0] + xy[..., 1] * matrix[2, 1] + matrix[2, 2]
    u = (xy[..., 0] * matrix[0, 0] + xy[..., 1] * matrix[0, 1] + matrix[0, 2]) / w
    v = (xy[..., 0] * matrix[1, 0] + xy[..., 1] * matrix[1, 1] + matrix[1, 2]) / w
    grow = (1.0 + bend * (u * u + v * v)) * _half(size)
    return np.stack([size[0] / 2 + u * grow, size[1] / 2 + v * grow], axis=-1)


def _half(size: tuple[int, int]) -> float:
    return float(np.hypot(*size) / 2)


def homography(xy: FloatArray, uv: FloatArray) -> FloatArray:
    """The matrix (3, 3) that takes places xy (n, 2) nearest to uv (n, 2), n >= 4.

    Source: the direct linear transform, both sides first moved to their middle and scaled (Hartley 1997).
    """
    a, b = _to_unit(xy), _to_unit(uv)
    p, q = _apply(a, xy), _apply(b, uv)
    zero, one = np.zeros(len(p)), np.ones(len(p))
    x, y = p.T
    u, v = q.T
    rows = np.concatenate(
        [
            np.column_stack([x, y, one, zero, zero, zero, -u * x, -u * y, -u]),
            np.column_stack([zero, zero, zero, x, y, one, -v * x, -v * y, -v]),
        ]
    )
    unit = np.linalg.svd(rows)[2][-1].reshape(3, 3)
    whole = np.linalg.inv(b) @ unit @ a
    return np.asarray(whole / whole[2, 2])


def _to_unit(xy: FloatArray) -> FloatArray:
    middle = xy.mean(axis=0)
    scale = 1.0 / max(float(np.abs(xy - middle).mean()), 1e-12)
    return np.array([[scale, 0, -scale * middle[0]], [0, scale, -scale * middle[1]], [0, 0, 1.0]])


def _apply(matrix: FloatArray, xy: FloatArray) -> FloatArray:
    full = xy @ matrix[:2, :2].T + matrix[:2, 2]
    return np.asarray(full / (xy @ matrix[2, :2] + matrix[2, 2])[:, None])


def fit(
    xy: FloatArray, pixels: FloatArray, size: tuple[int, int], *, bend: bool = True, scale: float = 0.3
) -> Fitted:
    """The camera that shows places xy (n, 2; mm) at `pixels` (n, 2). `scale` (px): what is more off counts less.

    bend: whether the lens term is fitted too, which takes places all over the picture.
    """
    uv = (pixels - np.array(size) / 2) / _half(size)
    start = homography(xy, uv)

    def off(p: FloatArray) -> FloatArray:
        matrix = np.append(p[:8], 1.0).reshape(3, 3) * grow
        return (_project(matrix, p[8] if bend else 0.0, size, xy) - pixels).ravel()

    # Numbers near one for every unknown: the solver's steps are then alike.
    grow = np.where(np.abs(start) > 1e-12, start, 1.0)
    first = np.append((start / grow).ravel()[:8], 0.0)
    limits = (np.append(np.full(8, -np.inf), -_MOST_BEND), np.append(np.full(8, np.inf), _MOST_BEND))
    found = least_squares(off, first, loss="soft_l1", f_scale=scale, bounds=limits, x_scale="jac")
    matrix = np.append(found.x[:8], 1.0).reshape(3, 3) * grow
    camera = Camera(matrix, float(found.x[8]) if bend else 0.0, size)
    left = np.hypot(*(camera.pixels(xy) - pixels).T)
    return Fitted(camera, left, left < max(4.0 * float(np.median(left)), 0.3))
