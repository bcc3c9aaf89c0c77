"""The files the page offers, and their names."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass


@dataclass(frozen=True)
class Offered:
    """A file to download: its media type, and what it is for."""

    media_type: str
    purpose: str


FILES: dict[str, Offered] = {
    "template.pdf": Offered("application/pdf", "Template: print at true size and glue it on"),
    "cutsheet.html": Offered("text/html; charset=utf-8", "Cut sheet: holes, legs and cautions to take to the saw"),
    "cutsheet.pdf": Offered("application/pdf", "Cut sheet to print"),
    "pattern.svg": Offered("image/svg+xml", "Pattern: the outline as it is cut"),
    "router.dxf": Offered("image/vnd.dxf", "Router drawing: closed outlines in DXF"),
    "router.ngc": Offered("text/plain; charset=utf-8", "Router program: G-code for the bit chosen"),
    "film.svg": Offered("image/svg+xml", "Film: the outline for a knife cutter"),
    "preview.png": Offered("image/png", "Picture of the finished panel"),
}  # fmt: skip


def plain_name(label: str) -> str:
    """A file name from what the user calls a file: its last part, without anything a system could trip over."""
    last = re.split(r"[/\\]", label)[-1]
    clean = re.sub(r"[^\w.()+ -]", "_", last).strip(" .")[:80]
    return clean or "picture"


def distinct(labels: Mapping[str, str]) -> dict[str, str]:
    """A plain file name of its own for each source."""
    names: dict[str, str] = {}
    taken = {"job.toml", "result.json", *FILES}
    for source, label in labels.items():
        stem, dot, end = plain_name(label).rpartition(".")
        name, number = plain_name(label), 2
        while name.lower() in taken:
            name = f"{stem}-{number}{dot}{end}" if dot else f"{end}-{number}"
            number += 1
        taken.add(name.lower())
        names[source] = name
    return names
