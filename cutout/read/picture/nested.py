"""Whether a sheet found in a photo is a board with the paper lying on it.

A board of the paper's own proportions, all four sides in sight, is found like a sheet; nothing about its
shape tells that it is none. But the paper on it has four sides too: a step up in brightness along each of
the board's sides, and between both steps all is darker than the paper. A frame drawn on paper has paper on
both sides of it.
"""

from __future__ import annotations

import numpy as np
from scipy.ndimage import gaussian_filter1d, map_coordinates

from cutout.geom.curve import FloatArray

_ALONG, _DEEP = 120, 240
"""Places along each side and across it at which brightness is taken."""

_FAR = 0.3
"""Share of the sheet's breadth, from each of its sides inwards, in which the paper's side is looked for."""

_EDGE = 0.03
"""Share of that next to the sheet's own side, which has a step and a shadow of its own, that is left out."""

_ENDS = 0.3
"""Share of a side left out at each end, where the paper may have ended."""

_TILT = 10
"""Places across by which the paper's side may lie deeper at one end than at the other."""

_STEP, _SEEN = 0.025, 0.85
"""Step in brightness, as a share of the brightness there, that a paper's side has at least in the median;
and the share of places along it at which half of that is seen. A light ground differs from paper by more;
paper's own unevenness and a lens's falling off are no steps."""


_CLOSE, _PLAIN = 5, 0.75
"""Places to either side of a step by which it is over, and how bright the ground is there at least beside what it is
farther out: darker is a line that is drawn on the sheet, or a figure."""


def holds_another(light: FloatArray, corners: FloatArray) -> bool:
    """Whether within the sheet of these corners (4, 2), y down, a smaller and lighter one lies, its sides
    along the sheet's own: three of them are enough. light: brightness (h, w)."""
    return sum(_has_side(_strip(light, np.roll(corners, -k, axis=0))) for k in range(4)) >= 3


def _strip(light: FloatArray, corners: FloatArray) -> FloatArray:
    """Brightness (_ALONG, _DEEP) from the side between the first two corners inwards."""
    a, b, c, d = corners
    u = np.linspace(_ENDS, 1 - _ENDS, _ALONG)[:, None, None]
    v = np.linspace(0.0, _FAR, _DEEP)[None, :, None]
    at = (a * (1 - u) + b * u) * (1 - v) + (d * (1 - u) + c * u) * v
    return np.asarray(map_coordinates(light, [at[..., 1] - 0.5, at[..., 0] - 0.5], order=1, mode="nearest"))


def _has_side(strip: FloatArray) -> bool:
    """Whether all along the strip brightness climbs at once, on a line nearly along the side, and was lower
    before."""
    first = round(_EDGE * _DEEP)
    smooth = gaussian_filter1d(strip, 1.0, axis=0)
    # What a step of one is over the middle of the Gaussian's slope is one.
    climb = gaussian_filter1d(smooth, 2.0, axis=1, order=1) * (2.0 * np.sqrt(2 * np.pi))
    climb = climb / np.maximum(smooth, 1e-4)
    u = np.linspace(-0.5, 0.5, len(strip))
    rows = np.arange(len(strip))[:, None]
    for tilt in range(-_TILT, _TILT + 1):
        places = np.arange(first + _TILT, _DEEP - _TILT - 1)
        at = np.round(places[None, :] + tilt * u[:, None]).astype(int)
        found = climb[rows, at]
        middle = np.median(found, axis=0)
        for k in np.flatnonzero(middle > _STEP).tolist():
            if float(np.mean(found[:, k] > 0.5 * middle[k])) < _SEEN:
                continue
            depth = at[:, k]
            around = [smooth[i, first : max(d - _CLOSE, first + 1)] for i, d in enumerate(depth.tolist())]
            before = np.median([ring.max() for ring in around])
            last = np.median([ring[-1] / np.median(ring) for ring in around])
            after = np.median(smooth[rows[:, 0], np.minimum(depth + _CLOSE, _DEEP - 1)])
            if before < after * (1 - 0.5 * _STEP) and last > _PLAIN:
                return True
    return False
