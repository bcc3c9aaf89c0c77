"""Raster pictures in, an outline in pixels out."""

from __future__ import annotations

import io

import numpy as np
from PIL import Image, ImageOps
from skimage.filters import threshold_otsu

from cutout.errors import ReadError
from cutout.geom.outline import Outline
from cutout.read.options import ReadOptions
from cutout.read.trace import trace


def read_picture(data: bytes, name: str, options: ReadOptions) -> Outline:
    """The silhouette in a picture's bytes, in pixels, y up. Raises ReadError."""
    try:
        with Image.open(io.BytesIO(data)) as opened:
            picture = ImageOps.exif_transpose(opened).convert("RGBA")
    except Exception as error:
        raise ReadError(
            f"{name}: can't be read as a picture: save it as PNG or JPEG and try again."
        ) from error
    white = Image.new("RGBA", picture.size, "white")
    grey = np.asarray(Image.alpha_composite(white, picture).convert("L"), dtype=np.float32) / 255
    if np.ptp(grey) < 0.05:
        raise ReadError(f"{name}: there is nothing in this picture: use one with more contrast.")
    level = float(threshold_otsu(grey))
    border = np.concatenate([grey[0], grey[-1], grey[:, 0], grey[:, -1]])
    light = options.invert if options.invert is not None else bool(np.median(border) < level)
    if not light:
        grey, level = 1 - grey, 1 - level
    x_span = np.flatnonzero((grey > level).any(axis=0))
    tolerance_px = options.tolerance * (np.ptp(x_span) / options.width if options.width else 1.0)
    rings = trace(grey, level, tolerance_px, options.smooth)
    if not rings:
        raise ReadError(f"{name}: no closed outline was found: use a picture with more contrast.")
    return Outline(rings)
