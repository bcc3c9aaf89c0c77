"""The bytes of a picture file as pixels the right way up: eight bits a channel, transparency apart."""

from __future__ import annotations

import io
import math
import warnings
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike, NDArray
from PIL import Image, ImageCms, ImageOps, UnidentifiedImageError

from cutout.errors import ReadError

FORMATS = ("PNG", "JPEG", "WEBP", "TIFF", "BMP", "GIF")

MOST_PIXELS = 80_000_000
"""Larger pictures are refused: no printed or photographed silhouette needs more."""

_SAME_CODE = 3.0
"""Profiles whose greys are within this many codes of sRGB's are sRGB to us."""

_LOOKED_AT = 1_000_000
"""Pixels that tell whether a picture has colours: one of a patch of a hundred in the largest picture there may be."""

_COLOURLESS = {"1": "L", "L": "L", "LA": "LA", "La": "LA"}


@dataclass(frozen=True)
class Picture:
    """Pixels of one picture. `colour` is a grey ("L") or "RGB" image, `alpha` its opacity or None.

    camera: the file says that a camera or scanner took it. palette: its colours were picked for it, so that some
    greys may be lacking.
    """

    colour: Image.Image
    alpha: Image.Image | None
    camera: bool = False
    palette: bool = False

    @cached_property
    def grey(self) -> NDArray[np.uint8]:
        """Its greys (h, w), whatever lies behind it where it is not opaque."""
        return np.asarray(as_grey(self.colour))


def as_grey(image: Image.Image) -> Image.Image:
    """The image in grey; itself where it is."""
    return image if image.mode == "L" else image.convert("L")


def decode(data: bytes, name: str) -> Picture:
    """The first frame of a PNG, JPEG, WebP, TIFF, BMP or GIF, turned as its camera says.

    Raises ReadError for anything else, for broken files and for pictures too large to be meant.
    """
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            opened = Image.open(io.BytesIO(data), formats=FORMATS)
            _check_size(opened.size, name)
            opened.load()
            camera = _taken_by_camera(opened)
            palette = opened.mode in ("P", "PA")
            ImageOps.exif_transpose(opened, in_place=True)
            picture = _split(_in_srgb(opened))
            return replace(picture, camera=camera, palette=palette)
    except UnidentifiedImageError as error:
        raise ReadError(
            f"{name}: not a picture that can be read: use PNG, JPEG, WebP, TIFF, BMP or GIF."
        ) from error
    except Image.DecompressionBombError as error:
        raise ReadError(f"{name}: has far too many pixels: save it at most 8000 pixels wide.") from error
    except (OSError, SyntaxError, ValueError, EOFError, IndexError, TypeError, KeyError) as error:
        raise ReadError(f"{name}: the picture is damaged or cut short: save or send it again.") from error


def _taken_by_camera(image: Image.Image) -> bool:
    """Whether EXIF names a maker, a model, an exposure time or an aperture."""
    try:
        exif = image.getexif()
        return bool({271, 272} & set(exif)) or bool({33434, 33437} & set(exif.get_ifd(0x8769)))
    except (OSError, SyntaxError, ValueError, TypeError, KeyError):
        return False


def _in_srgb(image: Image.Image) -> Image.Image:
    """The picture in sRGB codes where it brings a profile that shows greys otherwise; else as it is.

    A profile that can't be used is taken for sRGB, as every viewer does.
    """
    profile = image.info.get("icc_profile")
    if not profile or image.mode not in ("L", "RGB"):
        return image
    try:
        source = ImageCms.ImageCmsProfile(io.BytesIO(profile))
        change = ImageCms.buildTransform(source, ImageCms.createProfile("sRGB"), image.mode, "RGB")
        ramp = Image.fromarray(np.arange(256, dtype=np.uint8)[None, :]).convert(image.mode)
        seen = np.asarray(ImageCms.applyTransform(ramp, change), dtype=float)
        if np.abs(seen - np.arange(256)[None, :, None]).max() <= _SAME_CODE:
            return image
        shown = ImageCms.applyTransform(image, change)
    except (ImageCms.PyCMSError, OSError, ValueError, TypeError):
        return image
    if shown is None:
        return image
    return shown if image.mode == "RGB" else shown.getchannel(1)


def encoded(image: Image.Image | ArrayLike) -> bytes:
    """A picture in memory as the bytes of a PNG, nothing lost. An array (h, w[, 1..4]) holds 0..255, or 0..1 floats.

    Raises TypeError or ValueError for what is no picture.
    """
    if not isinstance(image, Image.Image):
        array = np.asarray(image)
        if array.dtype == bool:
            array = array * np.uint8(255)
        elif array.dtype.kind == "f":
            array = np.round(np.clip(array, 0.0, 1.0) * 255).astype(np.uint8)
        if array.ndim not in (2, 3) or array.size == 0:
            raise ValueError("not an array of pixels")
        image = Image.fromarray(array[..., 0] if array.ndim == 3 and array.shape[2] == 1 else array)
    out = io.BytesIO()
    image.save(out, "PNG")
    return out.getvalue()


def _check_size(size: tuple[int, int], name: str) -> None:
    pixels = size[0] * size[1]
    if pixels > MOST_PIXELS:
        raise ReadError(
            f"{name}: has {pixels / 1e6:.0f} million pixels, at most {MOST_PIXELS / 1e6:.0f} million can be "
            "read: save it smaller; 4000 pixels across are plenty."
        )


def _split(image: Image.Image) -> Picture:
    if image.mode.startswith("I") or image.mode == "F":
        return Picture(_deep(image), None)
    if image.mode == "LAB":
        return Picture(image.getchannel(0), None)
    clear = "transparency" in image.info or image.mode in ("RGBA", "RGBa", "LA", "La", "PA")
    grey = image.mode in _COLOURLESS
    if not clear:
        wanted = "L" if grey else "RGB"
        whole = image if image.mode == wanted else image.convert(wanted)
        # Where the channels are the same each of them is the grey picture, a third of the work.
        return Picture(whole.getchannel(0) if wanted == "RGB" and _colourless(whole) else whole, None)
    full = image.convert("LA" if grey else "RGBA")
    colour = full.getchannel("L") if grey else full.convert("RGB")
    return Picture(colour, full.getchannel("A"))


def _colourless(image: Image.Image) -> bool:
    """Whether all channels show the same, seen by about a million pixels evenly spread over the picture."""
    width, height = image.size
    by = max(1, math.isqrt(width * height // _LOOKED_AT))
    few = image if by == 1 else image.resize((-(-width // by), -(-height // by)), Image.Resampling.NEAREST)
    first, *others = (channel.tobytes() for channel in few.split())
    return all(other == first for other in others)


def _finite(values: np.ndarray) -> np.ndarray:
    if values.dtype.kind != "f":
        return values
    known = np.isfinite(values)
    return np.where(known, values, values[known].max() if known.any() else 0.0)


def _deep(image: Image.Image) -> Image.Image:
    """Grey of more than eight bits, scaled to eight by the depth its brightest pixel calls for.

    Pillow's own conversion clips instead of scaling. Dots without a value count as the lightest there is.
    """
    values = _finite(np.asarray(image))
    top = float(values.max()) if values.size else 0.0
    depths = (1.0,) if image.mode == "F" and top <= 1.0 else (255.0, 1023.0, 4095.0, 16383.0, 65535.0)
    depth = (
        65535.0
        if image.mode.startswith("I;16") and top > 4095
        else next((d for d in depths if top <= d), top)
    )
    low = min(float(values.min()), 0.0) if values.size else 0.0
    out = np.empty(values.shape, dtype=np.uint8)
    for row in range(0, len(values), 256):
        strip = values[row : row + 256].astype(np.float32)
        out[row : row + 256] = np.clip((strip - low) * (255.0 / max(depth - low, 1e-9)) + 0.5, 0, 255)
    return Image.fromarray(out)
