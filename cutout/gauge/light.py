"""A photograph as linear light."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from cutout.read.picture.decode import decode
from cutout.read.picture.edge import linear

Light = NDArray[np.float32]
"""A picture as linear light, (h, w), 0..1, row 0 at the top."""

_SHARES = (0.2126, 0.7152, 0.0722)
"""What red, green and blue add to brightness: IEC 61966-2-1, from ITU-R BT.709."""


def linear_colour(data: bytes, name: str) -> Light:
    """Red, green and blue light (h, w, 3), 0..1, of a picture file. Raises ReadError."""
    pixels = np.asarray(decode(data, name).colour.convert("RGB"))
    return np.asarray(_curve()[pixels], dtype=np.float32)


def _curve() -> Light:
    """Light of each of the 256 sRGB codes."""
    return linear(np.arange(256)).astype(np.float32)


def linear_light(data: bytes, name: str) -> Light:
    """The light that fell on each pixel of a picture file, 0..1. Raises ReadError.

    The curve is sRGB's (IEC 61966-2-1): edges blurred by a lens are balanced in light, not in code values.
    """
    picture = decode(data, name)
    curve = _curve()
    pixels = np.asarray(picture.colour)
    if pixels.ndim == 2:
        return np.asarray(curve[pixels], dtype=np.float32)
    out = np.zeros(pixels.shape[:2], np.float32)
    for channel, share in enumerate(_SHARES):
        out += np.float32(share) * curve[pixels[..., channel]]
    return out
