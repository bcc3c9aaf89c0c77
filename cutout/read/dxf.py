"""DXF drawings: closed outlines chained from whatever entities make them up."""

from __future__ import annotations

from cutout.errors import ReadError
from cutout.geom.outline import Outline
from cutout.read.options import ReadOptions


def read_dxf(data: bytes, name: str, options: ReadOptions) -> Outline:
    """The silhouette in a DXF."""
    raise ReadError(f"{name}: DXF is not read yet.")
