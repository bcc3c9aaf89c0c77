"""The site made from these documents: sphinx-build -W docs SITE"""

import tomllib
from pathlib import Path

_PROJECT = tomllib.loads((Path(__file__).parent.parent / "pyproject.toml").read_text("utf-8"))["project"]

project = "cutout"
author = "the cutout developers"
project_copyright = "2026, the cutout developers. MIT licence"
version = release = _PROJECT["version"]
language = "en"

extensions = ["myst_parser"]
myst_heading_anchors = 4
exclude_patterns = ["*.py", "CITATION.cff"]
nitpicky = True

html_theme = "furo"
html_title = f"cutout {version}"
html_show_sphinx = False
html_copy_source = False
smartquotes = False
