"""The local web page: the job seen on the panel before any wood is cut."""

from cutout.page.app import create_app
from cutout.page.server import serve

__all__ = ["create_app", "serve"]
