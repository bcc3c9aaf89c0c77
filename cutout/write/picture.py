"""The preview: a picture of the panel as it will look."""

from __future__ import annotations

from io import BytesIO

import shapely
from PIL import Image, ImageDraw

from cutout.geom.outline import polygons_of
from cutout.write.work import Work


def preview_png(work: Work) -> bytes:
    """A PNG of the cut panel seen from the show face, about 1600 pixels on its longer side."""
    panel = work.pattern.panel
    scale = 1600 / max(panel.width, panel.height)
    picture = Image.new("RGB", (round(panel.width * scale), round(panel.height * scale)), "#d8b98a")
    draw = ImageDraw.Draw(picture)
    for polygon in polygons_of(work.pattern.waste):
        xy = shapely.get_coordinates(polygon.exterior)
        draw.polygon([(x * scale, (panel.height - y) * scale) for x, y in xy], fill="#333")
    out = BytesIO()
    picture.save(out, "PNG")
    return out.getvalue()
