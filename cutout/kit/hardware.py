"""Hardware for the back of a panel, and how large it usually is."""

from __future__ import annotations

from typing import Literal, TypeAlias

Hardware: TypeAlias = Literal["turn-button", "pivot", "finger hole", "magnet"]

USUAL: dict[Hardware, float] = {"turn-button": 16.0, "pivot": 8.0, "finger hole": 25.0, "magnet": 10.0}
"""Diameters (mm), a turn-button's width: common practice, no source."""
