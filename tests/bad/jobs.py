"""Job files with mistakes in them, and jobs that ask for what can't be."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

GOOD = """\
units = "mm"
keep = "panel"

[panel]
width = "200mm"
height = "200mm"
thickness = "18mm"

[[figures]]
source = "kite.png"
width = "120mm"
"""


@dataclass(frozen=True)
class JobCase:
    """A job file's bytes and the answer it should get: exit code, and a pattern of the message."""

    id: str
    content: bytes
    code: int
    says: str


def changed(old: str, new: str) -> bytes:
    """The good job with one place changed."""
    assert GOOD.count(old) == 1
    return GOOD.replace(old, new).encode()


def added(text: str) -> bytes:
    """The good job with lines added at the end."""
    return f"{GOOD}\n{text}\n".encode()


def cases() -> Iterator[JobCase]:
    """Every job case."""
    for name, content, says in (
        ("empty", b"", "the panel has no size"),
        ("not-toml", b"this is a letter\n", "not valid TOML"),
        ("not-utf-8", GOOD.encode().replace(b"kite", b"k\xffte"), "not text"),
        ("null-bytes", b"\0" * 100, "not valid TOML"),
        ("string-never-closed", changed('"120mm"', '"120mm'), "not valid TOML"),
        ("length-without-quotes", changed('"120mm"', "120mm"), "Put quotes round 120mm"),
        ("a-key-twice", added('width = "1mm"'), "not valid TOML"),
        ("a-thousand-brackets", added("x = " + "[" * 1000 + "]" * 1000), "brackets within brackets"),
        ("a-picture-called-toml", b"\x89PNG\r\n\x1a\n" + bytes(50), "not text"),
        ("unknown-key", changed("thickness", "thikness"), 'did you mean "thickness"'),
        ("unknown-table", added("[paint]\ncolour = 3"), "there is no such setting"),
        ("words-for-a-length", changed('"120mm"', '"wide"'), "line 11.*not a length"),
        ("a-list-for-a-length", changed('"120mm"', "[120]"), "line 11.*write a length in quotes"),
        ("a-date-for-a-length", changed('"120mm"', "2024-01-01"), "line 11.*write a length in quotes"),
        ("true-for-a-length", changed('"120mm"', "true"), "line 11.*write a length in quotes"),
        ("nan-for-a-length", changed('"120mm"', "nan"), "line 11"),
        ("infinite-length", changed('"120mm"', "inf"), "line 11"),
        ("zero-length", changed('"120mm"', '"0mm"'), "more than zero"),
        ("negative-thickness", changed('"18mm"', '"-18mm"'), "more than zero"),
        ("a-length-of-a-thousand-digits", changed('"120mm"', f'"{"9" * 1000}mm"'), "line 11: .{0,160}$"),
        ("a-number-for-a-table", b"panel = 3\n", "line 1: panel: write it as a table"),
        ("a-table-for-a-list", changed("[[figures]]", "[figures]"), "line 9: figures: write it as a list"),
        ("unknown-keep", changed('"panel"', '"half"'), "line 2.*keep"),
        ("unknown-units", changed('"mm"', '"furlong"'), "line 1.*units"),
        ("width-and-height", added('height = "120mm"'), "not both"),
        ("no-width-or-height", changed('width = "120mm"\n', ""), "give --width or --height"),
        ("larger-than-the-panel", changed('"120mm"', '"300mm"'), "the panel is only"),
        ("no-panel", GOOD[GOOD.index("[[") :].encode(), "the panel has no size"),
        ("no-such-picture", changed("kite.png", "kyte.png"), "there is no such file"),
        ("a-folder-for-a-picture", changed("kite.png", "."), "is a folder"),
        ("itself-for-a-picture", changed("kite.png", "job.toml"), "not a picture"),
        ("text-without-a-font", changed('source = "kite.png"', 'text = "A"'), "needs a font"),
        ("a-font-that-is-none", changed('source = "kite.png"', 'text = "A"\nfont = "kite.png"'), "kite.png"),
        ("empty-text", changed('source = "kite.png"', 'text = ""\nfont = "kite.png"'), "no text to set"),
        ("off-the-panel", added('at = ["900mm", "900mm"]'), "nothing to cut"),
        ("no-repeat", added("repeat = 0"), "repeat"),
        ("a-million-repeats", added("repeat = 1000000"), "repeat"),
        ("threshold-too-high", added("threshold = 300"), "line 13: figures.1.threshold"),
        ("smooth-too-high", added("smooth = 3"), "smooth"),
        ("three-corners", added("corners = [[0, 0], [9, 0], [9, 9]]"), "corners"),
        ("corners-on-a-line", added("corners = [[0, 0], [9, 0], [18, 0], [27, 0]]"), "corners"),
        ("unknown-blade", added('[saw]\nblade = "lightsabre"'), "unknown blade"),
        ("kerf-wider-than-the-panel", added('[saw]\nkerf = "500mm"'), "the kerf of 500 mm is too wide"),
        ("kerf-thinner-than-the-body", added('[saw]\nkerf = "0.1mm"'), "must be wider than its body"),
        ("negative-radius", added('[saw]\nturning_radius = "-1mm"'), "more than zero"),
        ("no-drills", added('[saw]\ndrills = ""'), "the drill set is empty"),
        ("drill-of-nothing", added('[saw]\ndrills = "0mm"'), "more than zero"),
        ("unknown-wood", changed("thickness", 'wood = "cheese"\nthickness'), "unknown wood"),
        ("unknown-board", changed("thickness", 'boards = "9x99"\nthickness'), "unknown board"),
        (
            "grain-of-words",
            changed("thickness", 'grain = "north"\nthickness'),
            'line 7: panel.grain: grain "north": write degrees',
        ),
        ("unknown-paper", added('[template]\npaper = "napkin"'), "unknown paper"),
        ("paper-smaller-than-its-margins", added('[template]\npaper = "10x10mm"'), "paper"),
        ("print-scale-far-off", added("[template]\nprint_scale = [2.0, 1.0]"), "print_scale"),
        ("no-bit", added('[router]\nbit = ""'), "name a bit"),
        ("unknown-bit", added('[router]\nbit = "spoon"'), "unknown bit"),
        ("unknown-dxf", added('[router]\ndxf = "R9"'), "dxf"),
        ("feed-of-nothing", added("[router]\nfeed_limit = 0"), "feed_limit"),
        (
            "zone-without-a-size",
            added('[[panel.zones]]\nname = "hinge"\nat = ["0mm", "0mm"]'),
            "needs a size or a diameter",
        ),
        (
            "frame-smaller-than-its-gap",
            changed(
                'width = "200mm"\nheight = "200mm"', 'frame = {opening = ["4mm", "4mm"], reveal = "3mm"}'
            ),
            "leaves nothing of the panel",
        ),
        ("bridge-of-no-width", added('[[mend.bridges]]\nat = ["1mm", "1mm"]'), "width"),
        ("thirteen-bridges", added("[mend]\nbridge_count = 13"), "bridge_count"),
        ("arranged-in-a-spiral", added('[arrange]\nline = "spiral"'), "line"),
    ):
        yield JobCase(name, content, 2, says)
    for name, content, says in (
        ("byte-order-mark", b"\xef\xbb\xbf" + GOOD.encode(), "proved by simulation"),
        ("windows-line-ends", GOOD.replace("\n", "\r\n").encode(), "proved by simulation"),
    ):
        yield JobCase(name, content, 0, says)
    yield JobCase(
        "a-hole-outside-the-wood",
        added('[[holes]]\nat = ["999mm", "999mm"]\ndiameter = "8mm"'),
        1,
        "Hole 2 would take .* of wood that must stay",
    )
