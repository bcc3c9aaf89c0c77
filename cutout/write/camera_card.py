"""The camera card: a silhouette of known size to photograph, and what to do with the photo."""

from __future__ import annotations

from cutout.draw.looks import SOLID
from cutout.draw.paint import Paint
from cutout.draw.scene import Area
from cutout.errors import KitError
from cutout.gauge.shot import HEIGHT, WIDTH, silhouette
from cutout.geom.curve import Similarity
from cutout.kit import Paper
from cutout.units import Units, format_size
from cutout.write.cutsheet.flow import Flow

_CLEAR = 20.0
"""Paper (mm) that has to stay white on every side: the sheet's own edge is looked for in the photo."""


def camera_card_pdf(paper: Paper, units: Units) -> bytes:
    """The silhouette at 1:1 in the middle of the paper and a page that says how to use it. Same paper, same bytes.

    Raises KitError for paper too small for it.
    """
    page = (paper.width, paper.height or max(paper.width, 300.0))
    if page[0] < WIDTH + 2 * _CLEAR or page[1] < HEIGHT + 2 * _CLEAR:
        raise KitError(f"{paper.name}: is too small for the camera card: use a4 or letter.")
    paint = Paint("camera card")
    paint.page(*page)
    middle = complex((page[0] - WIDTH) / 2, (page[1] - HEIGHT) / 2)
    rings = tuple(ring.transform(Similarity(1 + 0j, middle)) for ring in silhouette())
    paint.draw([Area(SOLID, rings)])
    paint.end_page()
    flow = Flow(paint, page)
    flow.new_page()
    _what_to_do(flow, paper, units)
    flow.close()
    return paint.bytes()


def _what_to_do(flow: Flow, paper: Paper, units: Units) -> None:
    flow.text("How far off your camera is", 14, bold=True)
    steps = (
        "Print the first page at full size (100 %, no fitting to the page).",
        f"Hold a rule against the print: the black figure is {format_size(WIDTH, HEIGHT, units)}. If it is not, "
        "that is the printer's doing.",
        "Lay the sheet flat on plain ground that is darker than the paper. Photograph it as you photograph what "
        "you mean to cut: the same distance, light and camera, the whole sheet in the picture.",
        f"Then: cutout check photo.jpg --sheet {paper.name} --panel 300x400mm. Among its notes is how far sizes "
        "and edges are off. If your sheet is not cut true, write its own sides: --sheet 209.5x296.8mm.",
    )
    for n, step in enumerate(steps, start=1):
        flow.text(step, 9, indent=6, mark=f"{n}.")
