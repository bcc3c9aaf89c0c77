"""Scenes as pixels, by way of SVG."""

from __future__ import annotations

from io import BytesIO

import resvg_py
from PIL import Image

from cutout.draw import fonts
from cutout.draw.scene import Scene
from cutout.draw.svg import layers_svg, number


def raster(scene: Scene, scale: float) -> Image.Image:
    """The scene's box, so many pixels to the mm, clear where nothing is drawn; letters in the bundled face."""
    x0, y0, x1, y1 = scene.box
    wide, high = x1 - x0, y1 - y0
    view = " ".join(map(number, (x0, y0, wide, high)))
    drawn = (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{round(wide * scale)}" height="{round(high * scale)}" '
        f'viewBox="{view}" preserveAspectRatio="none" font-family="{fonts.FAMILY}">'
        f"{layers_svg(scene.layers, y0 + y1)}</svg>"
    )
    png = resvg_py.svg_to_bytes(
        svg_string=drawn, dpi=96.0, font_files=list(fonts.files()), skip_system_fonts=True
    )
    return Image.open(BytesIO(bytes(png))).convert("RGBA")
