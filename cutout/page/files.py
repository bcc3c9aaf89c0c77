"""Names of the files the page takes and gives."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping


def plain_name(label: str) -> str:
    """A file name from what the user calls a file: its last part, without anything a system could trip over."""
    last = re.split(r"[/\\]", label)[-1]
    # Far within the 255 bytes that file systems take for a name.
    clean = re.sub(r"[^\w.()+ -]", "_", last).strip(" .")[:80]
    return clean or "picture"


def distinct(labels: Mapping[str, str], taken: Iterable[str]) -> dict[str, str]:
    """A plain file name of its own for each source, none of those that are taken already."""
    names: dict[str, str] = {}
    used = {name.lower() for name in taken}
    for source, label in labels.items():
        stem, dot, end = plain_name(label).rpartition(".")
        name, number = plain_name(label), 2
        while name.lower() in used:
            name = f"{stem}-{number}{dot}{end}" if dot else f"{end}-{number}"
            number += 1
        used.add(name.lower())
        names[source] = name
    return names
