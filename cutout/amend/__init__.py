"""The smallest change that clears a finding."""

from cutout.amend.mend import mend
from cutout.amend.model import Bridge, Eased, HandBridge, Mended, Mending

__all__ = ["Bridge", "Eased", "HandBridge", "Mended", "Mending", "mend"]
