from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from io import BytesIO

import numpy as np
import pytest
import shapely
from PIL import Image

from cutout.write.picture import preview_png
from cutout.write.work import Work


def picture_of(work: Work) -> np.ndarray:
    return np.asarray(Image.open(BytesIO(preview_png(work))).convert("RGB")).astype(int)


@pytest.mark.parametrize("keep", ["panel", "figure", "both"])
def test_wood_is_where_keep_is(make_work: Callable[..., Work], keep: str) -> None:
    work = make_work(keep=keep)
    work = replace(work, findings=(), plan=replace(work.plan, holes=()))
    pixels = picture_of(work)
    warm = pixels[..., 0] - pixels[..., 2] > 25
    panel = work.pattern.panel
    scale = (max(pixels.shape) - 64) / max(panel.width, panel.height)
    assert warm.sum() / scale**2 == pytest.approx(work.pattern.keep.area, rel=0.02)


def test_size_and_bytes(work: Work) -> None:
    png = preview_png(work)
    assert max(Image.open(BytesIO(png)).size) == 1600
    assert png == preview_png(work)


def test_signs_differ_in_shape_not_only_in_colour(work: Work) -> None:
    """What a stop adds to the picture is an octagon, what care adds begins with a triangle: compared in grey."""
    plain = picture_of(replace(work, findings=())).mean(axis=2)
    one = work.findings[0]
    stop, care = (
        np.argwhere(
            np.abs(
                picture_of(replace(work, findings=(replace(one, severity=severity, cleared=False),))).mean(
                    axis=2
                )
                - plain
            )
            > 8
        )
        for severity in ("stop", "care")
    )
    octagon = shapely.MultiPoint(stop).convex_hull
    assert octagon.area / shapely.box(*octagon.bounds).area == pytest.approx(2 * math.sqrt(2) - 2, abs=0.04)
    y, x = (care - care.min(axis=0)).T
    tall = int(y.max())
    upper, lower = (np.ptp(x[(x < tall) & rows]) for rows in (y < tall / 3, y > 2 * tall / 3))
    assert upper < 0.6 * lower, "a triangle stands on its broad side"


def test_cleared_findings_are_not_marked(work: Work) -> None:
    cleared = tuple(replace(f, cleared=True) for f in work.findings)
    assert preview_png(replace(work, findings=cleared)) == preview_png(replace(work, findings=()))
