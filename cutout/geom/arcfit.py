"""Lines and arcs through a closed polyline."""

from __future__ import annotations

from cutout.geom.curve import FloatArray
from cutout.geom.outline import Ring


def fit_arcs(xy: FloatArray, tol: float) -> Ring:
    """A ring of lines and arcs within `tol` of the closed polyline (n, 2)."""
    return Ring.of_points(xy)
