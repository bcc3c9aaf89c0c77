"""The router: where the bit's middle runs, how deep, and in which order."""

from cutout.route.model import Pass, Settings, Tab, ToolPath
from cutout.route.passes import tool_path

__all__ = ["Pass", "Settings", "Tab", "ToolPath", "tool_path"]
