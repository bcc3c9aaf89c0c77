"""The spread of measured values of which a few are far off."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

_NORMAL = 1.4826
"""Standard deviation over the median of what is off, where errors are normal: 1 / 0.6745, a table's quartile."""


def sigma_of(off: ArrayLike) -> float:
    """Standard deviation of errors by the median of their sizes (n,), at least one; half of them may be anything.

    Source: the median absolute deviation, Hampel 1974 (from memory).
    """
    return _NORMAL * float(np.median(np.abs(off)))
