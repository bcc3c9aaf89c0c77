"""Pages and viewports: sizes, viewBox and preserveAspectRatio."""

from __future__ import annotations

from xml.etree.ElementTree import Element

from cutout.errors import ReadError
from cutout.read.svg.affine import IDENTITY, Affine, scaling, translation
from cutout.read.svg.number import length_px, numbers_of

Size = tuple[float, float]


def root_view(root: Element) -> tuple[Size | None, Affine, tuple[float, float]]:
    """Page size in px (None where the file states none), map from root units to px, viewport size."""
    box = _box(root)
    given = [_absolute(root.get("width")), _absolute(root.get("height"))]
    if box:
        w, h = given
        if w is not None and h is None:
            h = w * box[3] / box[2]
        elif h is not None and w is None:
            w = h * box[2] / box[3]
        page = (w or box[2], h or box[3])
        fit, view = view_box(root, *page)
        return page, fit, view
    if given[0] and given[1]:
        return (given[0], given[1]), IDENTITY, (given[0], given[1])
    return None, IDENTITY, (given[0] or 100.0, given[1] or 100.0)


def _absolute(text: str | None) -> float | None:
    if text is None or text.strip().endswith("%"):
        return None
    size = length_px(text, 0.0)
    if size is not None and size < 0:
        raise ReadError(
            f'the page is "{text.strip()}" wide or high: no page is less than nothing; mend the file.'
        )
    return size or None


def _box(element: Element) -> tuple[float, float, float, float] | None:
    numbers = numbers_of(element.get("viewBox") or "")
    if not numbers or len(numbers) != 4 or numbers[2] <= 0 or numbers[3] <= 0:
        return None
    return numbers[0], numbers[1], numbers[2], numbers[3]


def view_box(element: Element, width: float, height: float) -> tuple[Affine, Size]:
    """Map from viewBox units into a viewport of the given size, and the size in those units."""
    box = _box(element)
    if box is None:
        return IDENTITY, (width, height)
    return fitted(box, aspect_of(element), width, height), box[2:]


def aspect_of(element: Element) -> tuple[str, ...]:
    """The words of a `preserveAspectRatio`."""
    return tuple((element.get("preserveAspectRatio") or "xMidYMid").replace("defer", "").split())


def fitted(
    box: tuple[float, float, float, float], align: tuple[str, ...], width: float, height: float
) -> Affine:
    """Map of a box (x, y, width, height) into a viewport; align: words of a `preserveAspectRatio`."""
    x, y, w, h = box
    sx, sy = width / w, height / h
    if align[:1] == ("none",):
        return scaling(sx, sy).of(translation(-x, -y))
    scale = max(sx, sy) if "slice" in align else min(sx, sy)
    word = align[0] if align else "xMidYMid"
    spare_x, spare_y = width - w * scale, height - h * scale
    share_x = 0.0 if "xMin" in word else 1.0 if "xMax" in word else 0.5
    share_y = 0.0 if "YMin" in word else 1.0 if "YMax" in word else 0.5
    shift = translation(spare_x * share_x, spare_y * share_y)
    return shift.of(scaling(scale, scale)).of(translation(-x, -y))
