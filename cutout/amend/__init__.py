"""The smallest change that clears a finding."""

from cutout.amend.lie import checked
from cutout.amend.mend import mend
from cutout.amend.model import Bridge, Eased, HandBridge, Mended, Mending

__all__ = ["Bridge", "Eased", "HandBridge", "Mended", "Mending", "checked", "mend"]
