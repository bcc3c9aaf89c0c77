"""An upright rectangle."""

from typing import TypeAlias

Box: TypeAlias = tuple[float, float, float, float]
"""min x, min y, max x, max y in mm."""
