"""Files that are odd, damaged or hostile: read, or refused in one line."""

from __future__ import annotations

import gzip
import math
from pathlib import Path

import pytest
from PIL import Image

from cutout.errors import ReadError
from cutout.geom.outline import Outline
from cutout.read.options import ReadOptions
from cutout.read.svg import document as svg_document
from cutout.read.svg import walk as svg_walk
from cutout.read.svg.reader import read_svg

SQUARE = '<rect width="10" height="10"/>'


def read(text: str | bytes) -> Outline:
    data = text if isinstance(text, bytes) else text.encode()
    return read_svg(data, "odd.svg", ReadOptions())


@pytest.mark.parametrize(
    "text",
    [
        f"<svg>{SQUARE}</svg>",
        f'<svg xmlns="http://www.w3.org/2000/SVG-wrong">{SQUARE}</svg>',
        '<svg:svg xmlns:svg="http://www.w3.org/2000/svg"><svg:rect width="10" height="10"/></svg:svg>',
        '<s:svg xmlns:s="http://www.w3.org/2000/svg"><s:rect width="10" height="10"/></s:svg>',
        '<svg><defs><rect id="a" width="10" height="10"/></defs><use xlink:href="#a"/></svg>',
        f'<html xmlns="http://www.w3.org/1999/xhtml"><body><svg>{SQUARE}</svg></body></html>',
        f'<svg><x:thing xmlns:x="urn:x"><rect width="99" height="99"/></x:thing>{SQUARE}</svg>',
        f'<!DOCTYPE svg PUBLIC "-//W3C//DTD SVG 1.1//EN" "http://www.w3.org/x.dtd"><svg>{SQUARE}</svg>',
        f'<!DOCTYPE svg [<!ENTITY ns "http://www.w3.org/2000/svg">]><svg xmlns="&ns;">{SQUARE}</svg>',
        f'<?xml version="1.0" encoding="ISO-8859-1"?><!-- \u00e9 --><svg>{SQUARE}</svg>'.encode("latin-1"),
        f"<svg>{SQUARE}</svg>".encode("utf-16"),
        f"\ufeff<svg>{SQUARE}</svg>",
        f'<svg onload="alert(1)"><script>var a = 1;</script>{SQUARE}</svg>',
    ],
)
def test_odd_but_readable(text: str | bytes) -> None:
    assert read(text).region().area == pytest.approx(100)


BOMB = "".join(f'<!ENTITY a{n} "{f"&a{n - 1};" * 10}">' for n in range(1, 10))
TEN_USES = '<use href="#u{0}"/>' * 10
USES = "".join(f'<g id="u{n}">{TEN_USES.format(n - 1)}</g>' for n in range(1, 9))


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("<svg><rect></svg>", "not well-formed"),
        ("<svg", "not well-formed"),
        ("<html></html>", "no svg element"),
        ("<svg/>", "paints nothing"),
        (f"<svg><g display='none'>{SQUARE}</g></svg>", "paints nothing"),
        (f'<!DOCTYPE svg [<!ENTITY a0 "ha">{BOMB}]><svg><text>&a9;</text></svg>', "entities"),
        ('<!DOCTYPE svg [<!ENTITY x SYSTEM "file:///etc/passwd">]><svg><text>&x;</text></svg>', "entities"),
        ('<!DOCTYPE svg [<!ENTITY % x "a"> %x;]><svg/>', "entities"),
        ("<svg>" + "<g>" * 500 + SQUARE + "</g>" * 500 + "</svg>", "nested"),
        ('<svg><image href="http://example.invalid/a.png" width="9" height="9"/></svg>', "outside"),
        (gzip.compress(b"<svg/>" * 1000, mtime=0)[:-30], "stops short"),
        (gzip.compress(b"<svg/>", mtime=0)[:10] + b"\xff" * 20, "damaged"),
    ],
)
def test_refused_in_one_line(text: str | bytes, says: str) -> None:
    with pytest.raises(ReadError, match=says) as caught:
        read(text)
    message = str(caught.value)
    assert "\n" not in message and message.startswith("odd.svg")


def test_a_small_file_that_unpacks_to_a_huge_one() -> None:
    with pytest.raises(ReadError, match="larger than"):
        read(gzip.compress(b" " * (svg_document.MAX_BYTES + 10), mtime=0))


def test_too_many_elements(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(svg_document, "MAX_ELEMENTS", 5)
    with pytest.raises(ReadError, match="more than 5 elements"):
        read(f"<svg>{SQUARE * 6}</svg>")


def test_uses_of_uses(monkeypatch: pytest.MonkeyPatch) -> None:
    """Eight levels of ten uses each would draw a hundred million rectangles."""
    monkeypatch.setattr(svg_walk, "MAX_VISITS", 5000)
    with pytest.raises(ReadError, match="draws more than 5000 elements"):
        read(f'<svg><defs><rect id="u0" width="1" height="1"/></defs>{USES}</svg>')


def test_too_many_curves(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(svg_walk, "MAX_SEGMENTS", 10)
    with pytest.raises(ReadError, match="more than 10 curves"):
        read(f"<svg>{SQUARE * 4}</svg>")


def test_a_use_of_itself_is_skipped_and_said() -> None:
    found = read(f'<svg>{SQUARE}<g id="a"><use href="#a"/></g></svg>')
    assert found.region().area == 100
    assert [n.kind for n in found.notes] == ["damaged"]


@pytest.mark.parametrize("form", ["{}", "file://{}"])
def test_pictures_on_the_disk_are_never_opened(tmp_path: Path, form: str) -> None:
    """A black picture linked beside a filter that forces rendering: its pixels must not appear."""
    picture = tmp_path / "black.png"
    Image.new("RGB", (50, 50)).save(picture)
    text = (
        '<svg viewBox="0 0 100 100" width="100" height="100"><filter id="f"><feOffset dx="0"/></filter>'
        f'<image href="{form.format(picture)}" width="100" height="50"/>'
        f'<style>@import "{picture}"; rect {{ background: url({picture}) }}</style>'
        '<rect x="20" y="60" width="20" height="20" filter="url(#f)"/></svg>'
    )
    found = read(text)
    assert {"rendered", "left out"} <= {n.kind for n in found.notes}
    assert found.region().area == pytest.approx(400, rel=0.02)


def test_numbers_beyond_reason_do_no_harm() -> None:
    found = read(f'<svg>{SQUARE}<path d="M0 0L1e308 1e308 5 5z"/><rect width="1e40" height="3"/></svg>')
    assert all(map(math.isfinite, found.bounds))
