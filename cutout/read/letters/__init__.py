"""Words set in a font the user has, as one outline in millimetres."""

from __future__ import annotations

from cutout.read.letters.reader import read_text
from cutout.read.letters.setting import Lettering

__all__ = ["Lettering", "read_text"]
