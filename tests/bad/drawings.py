"""SVG and DXF files that are damaged, hostile or empty of anything to cut."""

from __future__ import annotations

import gzip
from collections.abc import Iterator

from tests.bad.pictures import Case

HEAD = '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 100 100">'
SQUARE = '<path d="M10 10 H90 V90 H10 Z"/>'


def svg(body: str, head: str = HEAD) -> bytes:
    return f"{head}{body}</svg>".encode()


def path(d: str) -> bytes:
    return svg(f'<path d="{d}"/>')


def entities() -> bytes:
    """Ten entities, each ten times the one before: 10^10 characters when spelled out."""
    lines = ['<!ENTITY a0 "aaaaaaaaaa">']
    lines += [f'<!ENTITY a{n} "{f"&a{n - 1};" * 10}">' for n in range(1, 10)]
    return f"<?xml version='1.0'?><!DOCTYPE svg [{''.join(lines)}]>{HEAD}<text>&a9;</text></svg>".encode()


def outside_entity() -> bytes:
    doctype = '<!DOCTYPE svg [<!ENTITY x SYSTEM "file:///etc/hostname">]>'
    return f"<?xml version='1.0'?>{doctype}{HEAD}<text>&x;</text>{SQUARE}</svg>".encode()


def nested(deep: int) -> bytes:
    return svg("<g>" * deep + SQUARE + "</g>" * deep)


def long_path(size: int) -> bytes:
    """A saw-toothed square whose path text is about `size` bytes."""
    teeth = size // 13
    points = " ".join(f"{10 + 80 * i / teeth:.3f} {10 + i % 2}" for i in range(teeth))
    return path(f"M10 90 L {points} L 90 90 Z")


def dxf(*entity: tuple[int, object]) -> bytes:
    body = "".join(f"{code}\n{value}\n" for code, value in entity)
    return f"0\nSECTION\n2\nENTITIES\n{body}0\nENDSEC\n0\nEOF\n".encode()


def circle(x: object, radius: object) -> bytes:
    return dxf((0, "CIRCLE"), (8, 0), (10, x), (20, 50), (40, radius))


def cases() -> Iterator[Case]:
    """Every drawing case."""
    percent = '<svg xmlns="http://www.w3.org/2000/svg" width="100%" height="100%">'
    bare = '<svg xmlns="http://www.w3.org/2000/svg">'
    linked = '<image href="http://example.invalid/x.png" width="9" height="9"/>'
    styled = '<style>@import url("http://example.invalid/x.css");</style>' + SQUARE
    ring = '<g id="a"><use href="#b"/></g><g id="b"><use href="#a"/></g>' + SQUARE
    sized = '<svg xmlns="http://www.w3.org/2000/svg" width="{}" height="100" viewBox="{}">'
    for name, content, code, says in (
        ("nan", path("M10 10 H90 V90 HNaN Z"), 0, "1 opening"),
        ("nan-in-points", svg('<polygon points="10,10 NaN,NaN 90,90"/>'), 2, "it paints nothing"),
        ("infinite", path("M10 10 H1e999 V90 Z"), 2, "it paints nothing"),
        ("huge", path("M1e30 1e30 H9e30 V9e30 H1e30 Z"), 2, "it paints nothing"),
        (
            "huge-on-page",
            svg(SQUARE.replace("90", "9e15"), bare),
            2,
            "it paints nothing",
        ),
        ("tiny", path("M1e-30 1e-30 H2e-30 V2e-30 H1e-30 Z"), 0, "1 opening"),
        (
            "tiny-page",
            svg('<path d="M0 0H1e-9V1e-9H0Z"/>', sized.format("1e-9", "0 0 1e-9 1e-9")),
            0,
            "1 opening",
        ),
        ("bow-tie", path("M10 10 L90 90 L90 10 L10 90 Z"), 0, "2 openings"),
        ("same-point-over-and-over", path("M10 10 H10 H90 V90 V90 V90 H10 H10 Z Z"), 0, "1 opening"),
        ("back-and-forth", path("M10 10 H90 H10 Z"), 2, "nothing in it stands out"),
        ("twice-the-same", svg(SQUARE + SQUARE), 0, "1 opening"),
        ("move-only", path("M10 10"), 2, "it paints nothing"),
        ("no-path-data", path(""), 2, "it paints nothing"),
        ("rubbish-path", path("hello world"), 2, "it paints nothing"),
        ("path-stops-in-the-middle", path("M10 10 H90 V90 H10 L"), 0, "1 opening"),
        ("entity-bomb", entities(), 2, "entities that could swell"),
        ("entity-from-outside", outside_entity(), 2, "entities that could swell or reach outside"),
        (
            "picture-from-outside",
            svg(linked),
            2,
            "linked from outside",
        ),
        (
            "style-from-outside",
            svg(styled),
            0,
            "1 link to something outside",
        ),
        ("script", svg("<script>while(1);</script>" + SQUARE), 0, "1 opening"),
        ("nested-500", nested(500), 2, "nested more than 200 deep"),
        ("nested-20000", nested(20_000), 2, "nested more than 200 deep"),
        ("ten-megabytes-of-path", long_path(10_000_000), 2, "too much for a silhouette"),
        ("percent-without-viewbox", svg(SQUARE, percent), 0, "1 opening"),
        ("no-size-at-all", svg(SQUARE, bare), 0, "1 opening"),
        ("no-width", svg(SQUARE, sized.format(0, "0 0 100 100")), 0, "1 opening"),
        ("negative-width", svg(SQUARE, sized.format(-100, "0 0 100 100")), 2, "no page is less than nothing"),
        ("empty-viewbox", svg(SQUARE, sized.format(100, "0 0 0 0")), 0, "1 opening"),
        ("viewbox-of-words", svg(SQUARE, sized.format(100, "a b c d")), 0, "1 opening"),
        ("nothing-drawn", svg(""), 2, "it paints nothing"),
        ("everything-hidden", svg(f'<g display="none">{SQUARE}</g>'), 2, "it paints nothing"),
        ("all-white", svg('<path fill="#fff" d="M10 10H90V90H10Z"/>'), 0, "The drawing is white"),
        ("fills-the-page", svg('<path d="M0 0H100V100H0Z"/>'), 0, "1 opening"),
        ("flattened", svg(f'<g transform="scale(0)">{SQUARE}</g>'), 2, "it paints nothing"),
        ("transform-of-words", svg(f'<g transform="spin(3)">{SQUARE}</g>'), 0, "1 opening"),
        (
            "use-in-a-ring",
            svg(ring),
            0,
            "1 opening",
        ),
        ("other-xml", b"<html><body/></html>", 2, "there is no svg element"),
        ("never-closed", HEAD.encode() + SQUARE.encode(), 2, "not well-formed XML"),
        ("not-utf-8", svg(SQUARE).replace(b"<path", b"<!-- \xff\xfe --><path"), 2, "not well-formed XML"),
        (
            "utf-16",
            f"<?xml version='1.0' encoding='utf-16'?>{HEAD}{SQUARE}</svg>".encode("utf-16"),
            0,
            "1 opening",
        ),
        ("gzip-cut-short", gzip.compress(svg(SQUARE))[:-20], 2, "stops short"),
        ("gzip-bomb", gzip.compress(HEAD.encode() + b" " * 300_000_000, 9), 2, "larger than 48 MB"),
    ):
        ext = "svgz" if name.startswith("gzip") else "svg"
        yield Case(f"svg-{name}", f"drawing.{ext}", lambda c=content: c, code, says)
    for name, content, code, says in (
        ("empty", dxf(), 2, "nothing in the drawing"),
        ("cut-in-half", circle(50, 40)[:40], 2, "stops short"),
        ("nan", circle("nan", 40), 2, "no places on a drawing"),
        ("no-radius", circle(50, 0), 2, "nothing in the drawing"),
        ("words-for-numbers", circle("left", 40), 2, "can't be read as DXF"),
        ("huge", circle("1e300", "1e300"), 2, "no places on a drawing"),
        ("open-line", dxf((0, "LINE"), (8, 0), (10, 0), (20, 0), (11, 50), (21, 50)), 2, "no closed outline"),
        ("binary-head-only", b"AutoCAD Binary DXF\r\n\x1a\0", 2, "can't be read as DXF"),
    ):
        yield Case(f"dxf-{name}", "drawing.dxf", lambda c=content: c, code, says)
