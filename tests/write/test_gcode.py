"""The program for a machine: words, numbers, header; a small reader of our own drives the checks."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest
import shapely

from cutout.geom.curve import Arc, Line
from cutout.geom.outline import Outline, Ring
from cutout.kit import bit
from cutout.route import tool_path
from cutout.route.model import Pass
from cutout.route.readback import Move, ProgramError, faults, read_back
from cutout.write.gcode import dry_run, router_bits, router_ngc, router_programs
from tests.telling import worded

DISCS = Outline(
    tuple(Ring((Arc(c + 3.01, c - 3.01, 1.0), Arc(c - 3.01, c + 3.01, 1.0))) for c in (60 + 50j, 80 + 55j)),
    1.0,
)
"""Two round openings the size of the bit."""
WORDS = {"G0", "G1", "G2", "G3", "G4", "G17", "G20", "G21", "G40", "G90", "G94", "M3", "M5", "M30"}


@pytest.fixture(scope="module")
def routed(make_work):
    work = make_work()
    path = tool_path(work.pattern, work.kit)
    return lambda **fields: make_work(router=path, **fields)


def code(data: bytes) -> list[str]:
    return [line for line in data.decode("ascii").splitlines() if not line.startswith("(")]


def with_machine(work, **fields):
    kit = replace(work.kit, machine=replace(work.kit.machine, **fields))
    return replace(work, kit=kit)


def with_rings(work, *rings, depths=(-2.0,)):
    passes = tuple(Pass(n, 1, "inside", r, work.kit.bit, depths, ()) for n, r in enumerate(rings, start=1))
    return replace(work, router=replace(work.router, passes=passes))


@pytest.mark.parametrize(("units", "decimals"), [("mm", 4), ("in", 5)])
def test_words_numbers_and_line_length(routed, units, decimals):
    data = router_ngc(routed(units=units))
    for line in code(data):
        assert set(re.findall(r"[GM]\d+", line)) <= WORDS
        for letter, number in re.findall(r"([XYZIJ])(-?\d+\.?\d*)", line):
            assert len(number.split(".")[1]) == decimals, (letter, number)
        assert re.fullmatch(r"(?:[GMFSXYZIJP]-?\d+(?:\.\d+)? ?)+", line), line
    assert all(len(line) < 256 for line in data.decode("ascii").splitlines())
    assert b"-0.0000 " not in data


def test_begins_safe_and_ends_stopped(routed):
    lines = code(router_ngc(routed()))
    assert lines[:5] == ["G17", "G21", "G90", "G40", "G94"]
    assert lines[5] == "S12300 M3"
    assert lines[6] == "G4 P5"
    assert lines[7] == "G0 Z8.0000"
    assert lines[-3:] == ["G0 Z8.0000", "M5", "M30"]


def test_fast_moves_are_never_in_the_wood(routed):
    z = math.nan
    for line in code(router_ngc(routed())):
        height = re.search(r"Z(-?[\d.]+)", line)
        if line.startswith("G0") and "X" in line:
            assert z == 8.0
        z = float(height[1]) if height else z
        if line.startswith("G0 "):
            assert z > 0


def test_deepest_cut_is_the_last_turn(routed):
    work = routed()
    depths = [float(z) for z in re.findall(r"Z(-?[\d.]+)", "\n".join(code(router_ngc(work))))]
    assert min(depths) == pytest.approx(-work.pattern.panel.thickness - work.router.settings.breakthrough)


def test_the_bit_never_goes_down_faster_than_it_may(routed):
    """Straight down at the plunge feed; on a ramp the slope decides."""
    x = y = z = feed = 0.0
    work = routed()
    plunge = work.router.feeds[0].plunge
    for line in code(router_ngc(work)):
        found = {k: float(v) for k, v in re.findall(r"([XYZF])(-?[\d.]+)", line)}
        feed = found.get("F", feed)
        to = found.get("X", x), found.get("Y", y), found.get("Z", z)
        if line.startswith(("G1", "G2", "G3")) and to[2] < z:
            run = math.hypot(to[0] - x, to[1] - y)
            assert feed * (z - to[2]) / math.hypot(run, z - to[2]) <= plunge * 1.01
        x, y, z = to


def test_header_says_what_the_man_at_the_machine_must_know(routed):
    text = " ".join(line.strip("()") for line in router_ngc(routed()).decode("ascii").splitlines())
    for words in (
        "240 x 180 mm",
        "18 mm thick",
        "lower left corner",
        "straight bit, 6 mm",
        "feed 3000 mm/min",
        "Start slower, your machine's manual decides",
        "router-dry.ngc",
        "spoil board",
        "Eye and ear protection",
        "CAUTIONS",
    ):
        assert words in text


def test_comments_hold_no_sign_a_reader_trips_over(routed):
    data = router_ngc(routed(title="héron (größer) – 50 % ; ⌀6\nG0 Z-50")).decode("ascii")
    for line in data.splitlines():
        if line.startswith("("):
            assert line.endswith(")")
            assert "(" not in line[1:]
            assert ")" not in line[:-1]
            assert ";" not in line
        else:
            assert "Z-50" not in line


def test_arcs_after_rounding_agree_on_their_radius(routed):
    """Fact of the standard: start and end radius differ by 0.002 mm (0.0002 in) at most."""
    for units, slack in (("mm", 0.002), ("in", 0.0002)):
        x = y = 0.0
        arcs = 0
        for line in code(router_ngc(routed(units=units))):
            v = {k: float(n) for k, n in re.findall(r"([XYIJ])(-?[\d.]+)", line)}
            if line.startswith(("G2 ", "G3 ")):
                arcs += 1
                radius = math.hypot(v["I"], v["J"])
                assert abs(math.hypot(v["X"] - x - v["I"], v["Y"] - y - v["J"]) - radius) <= slack
                assert (v["X"], v["Y"]) != (x, y)
            x, y = v.get("X", x), v.get("Y", y)
        assert arcs > 20


def test_an_arc_that_nearly_closes_is_written_in_parts(routed):
    """An arc of 330 degrees: no piece turns more than 270."""
    start, end = 60 + 50j, 50 + 10 * complex(math.cos(math.radians(330)), math.sin(math.radians(330))) + 50j
    ring = Ring((Arc(start, end, math.tan(math.radians(330) / 4)), Line(end, start)))
    turned = [line for line in code(router_ngc(with_rings(routed(), ring))) if line.startswith("G3")]
    x, y = 60.0, 50.0
    for line in turned:
        v = {k: float(n) for k, n in re.findall(r"([XYIJ])(-?[\d.]+)", line)}
        a = math.atan2(-v["J"], -v["I"])
        b = math.atan2(v["Y"] - y - v["J"], v["X"] - x - v["I"])
        assert (b - a) % (2 * math.pi) <= math.radians(271)
        x, y = v["X"], v["Y"]


def test_dust_smaller_than_the_numbers_is_not_a_full_circle(routed):
    """Ends that round to the same place would read as a whole turn: such arcs go, the run still closes."""
    ring = Ring(
        (
            Line(10 + 10j, 30 + 10j),
            Arc(30 + 10j, 30.00001 + 10.00001j, 0.3),
            Line(30.00001 + 10.00001j, 10 + 10j),
        )
    )
    x = y = 0.0
    for line in code(router_ngc(with_rings(routed(), ring))):
        v = {k: float(n) for k, n in re.findall(r"([XY])(-?[\d.]+)", line)}
        if line.startswith(("G2 ", "G3 ")):
            assert math.hypot(v["X"] - x, v["Y"] - y) > 0.001
        x, y = v.get("X", x), v.get("Y", y)


def test_one_program_for_each_bit(make_work):
    work = make_work()
    kit = replace(work.kit, small_bit=bit("3mm"))
    work = replace(work, kit=kit, router=tool_path(work.pattern, kit))
    assert [b.name for b in router_bits(work)] == ["6mm", "3mm"]
    first, second = router_ngc(work), router_ngc(work, bit("3mm"))
    assert b"corners" not in first
    assert b"straight bit, 3 mm" in first
    assert b"corners" in second
    assert router_programs(work) == {"router.ngc": first, "router-3mm.ngc": second}
    assert b"is in router-3mm.ngc" in first
    assert b"is in router.ngc" in second
    assert len(re.findall(rb"\(Run \d", first + second)) == len(work.router.passes)


def test_a_path_that_failed_its_proof_gives_no_moves(routed):
    fault = worded("router", "stop", (0.0, 0.0), 1.0, 0.02, None, "It cuts 1 mm into wood.", "Don't.")
    data = router_ngc(routed(findings=(fault,)))
    assert code(data) == ["M30"]
    assert b"NO MOVES IN THIS PROGRAM: It cuts 1 mm into wood." in data


def test_a_bit_with_nothing_to_do_says_so(routed):
    data = router_ngc(routed(), bit("8mm"))
    assert code(data) == ["M30"]
    assert b"has nothing to cut" in data


def test_one_bit_one_program_with_a_name_a_file_may_have(routed, make_work):
    assert list(router_programs(routed())) == ["router.ngc"]
    kit = replace(make_work().kit, small_bit=bit("1/8in"))
    work = make_work(kit=kit, router=tool_path(make_work().pattern, kit))
    assert list(router_programs(work)) == ["router.ngc", "router-1_8in.ngc"]


def test_no_word_about_saws_and_few_comments(routed):
    """What the man at the machine reads: about the router only, and no more than he will read."""
    data = router_ngc(routed()).decode("ascii")
    head = data[: data.index("G17")]
    assert "saw " not in head.lower().replace("chisel or saw at", "")
    assert "blade" not in head.lower()
    assert len(head.splitlines()) <= 22


@pytest.mark.parametrize(("dwell", "word"), [("seconds", "G4 P5"), ("milliseconds", "G4 P5000")])
def test_the_bit_waits_for_its_speed_before_it_goes_down(routed, dwell, word):
    lines = code(router_ngc(with_machine(routed(), dwell=dwell)))
    start = next(i for i, line in enumerate(lines) if line.endswith("M3"))
    assert lines[start + 1] == word
    assert not any("Z-" in line for line in lines[: start + 1])


def lines_at(moves: Sequence[Move], low: float, high: float) -> list[np.ndarray]:
    """Unbroken ways (n, 3) of the bit whose z lies between two levels, ends included; fast moves are left out."""
    ways: list[np.ndarray] = []
    chain: list[np.ndarray] = []
    for move in [*moves, None]:
        if move is not None and move.feed is not None:
            zs = (move.start[2], move.end[2])
            if low - 1e-6 <= min(zs) and max(zs) <= high + 1e-6:
                points = move.points()
                chain.append(points if not chain else points[1:])
                continue
        if chain:
            ways.append(np.vstack(chain))
            chain = []
    return ways


def test_a_machine_without_arcs_gets_straight_moves_close_to_them(routed):
    work = routed()
    plain = with_machine(work, arcs=False)
    lines = code(router_ngc(plain))
    assert not any(line.startswith(("G2 ", "G3 ")) for line in lines)
    curved, straight = (read_back(router_ngc(w).decode("ascii")).moves for w in (work, plain))
    ways = [
        shapely.union_all([shapely.LineString(way[:, :2]) for way in lines_at(m, -18.4, -18.4)])
        for m in (curved, straight)
    ]
    assert shapely.hausdorff_distance(ways[0], ways[1], densify=0.2) < 0.01


def test_a_machine_that_changes_bits_gets_one_program(make_work):
    work = make_work()
    kit = replace(work.kit, small_bit=bit("3mm"), machine=replace(work.kit.machine, tool_change=True))
    work = replace(work, kit=kit, router=tool_path(work.pattern, kit))
    programs = router_programs(work)
    assert list(programs) == ["router.ngc"]
    lines = code(programs["router.ngc"])
    assert [line for line in lines if "M6" in line] == ["T1 M6", "T2 M6"]
    for change in ("T1 M6", "T2 M6"):
        i = lines.index(change)
        assert lines[i + 1].startswith("G43 H")
        assert lines[i + 2].endswith("M3")
        assert lines[i + 3].startswith("G4 P")
    assert [line for line in lines if line.endswith("M5")] == ["M5", "M5"]
    assert {m.tool for m in read_back(programs["router.ngc"].decode("ascii")).moves} == {1, 2}


def test_the_dry_run_goes_round_all_cuts_with_the_spindle_still(routed):
    work = routed()
    data = dry_run(work)
    assert not re.search(rb"M3\b", data)
    moves = read_back(data.decode("ascii")).moves
    assert all(m.feed is None and m.start[2] == m.end[2] == 8.0 for m in moves)
    places = np.array([m.end[:2] for m in moves] + [moves[0].start[:2]])
    low, high = places.min(axis=0), places.max(axis=0)
    for cut in work.router.passes:
        xy = cut.ring.points()
        assert (xy.min(axis=0) - cut.bit.radius >= low - 1e-3).all()
        assert (xy.max(axis=0) + cut.bit.radius <= high + 1e-3).all()


def dots(work, *, cycles):
    """The job with two holes the size of its bit."""
    rings = [Ring((Arc(c + 0.02, c - 0.02, 1.0), Arc(c - 0.02, c + 0.02, 1.0))) for c in (60 + 50j, 80 + 55j)]
    return with_machine(
        with_rings(work, *rings, depths=tuple(-18.4 * n / 8 for n in range(1, 9))), drill_cycles=cycles
    )


@pytest.mark.parametrize("cycles", [True, False])
def test_holes_the_size_of_the_bit_are_drilled(routed, cycles):
    data = router_ngc(dots(routed(outline=DISCS), cycles=cycles)).decode("ascii")
    assert ("G83" in data) == cycles
    moves = read_back(data).moves
    deep = [m for m in moves if m.end[2] < 0 and m.feed]
    assert {(round(m.end[0]), round(m.end[1])) for m in deep} == {(60, 50), (80, 55)}
    assert min(m.end[2] for m in deep) == -18.4
    assert max(m.start[2] - m.end[2] for m in deep) <= 18.4 + 1.0 + 1e-9
    assert all(m.start[:2] == m.end[:2] for m in deep)


def test_a_straight_way_down_and_a_cut_into_the_keep_are_seen_in_the_program_itself(routed):
    work = routed()
    good = router_ngc(work).decode("ascii")
    assert not [*faults(work.pattern, read_back(good).moves, [work.kit.bit], work.router)]
    plunged = re.sub(r"G1 Z0\.0000", "G1 Z-3.0000", good, count=1)
    said = [*faults(work.pattern, read_back(plunged).moves, [work.kit.bit], work.router)]
    assert any("straight down 3.0 mm" in text for text in said)
    aside = [
        replace(
            m,
            start=(m.start[0] + 0.3, *m.start[1:]),
            end=(m.end[0] + 0.3, *m.end[1:]),
            centre=(m.centre[0] + 0.3, m.centre[1]),
        )
        for m in read_back(good).moves
    ]
    assert any("into wood that stays" in t for t in faults(work.pattern, aside, [work.kit.bit], work.router))


@pytest.mark.parametrize(
    ("line", "says"),
    [
        ("G1 X10 Y10 Z-1", "without a feed"),
        ("G5 X1", "G5 is not known"),
        ("G90.1", "G90.1 is not known"),
        ("M7", "M7 is not known"),
        ("G0 X1 (open", "not closed"),
        ("G2 X10 Y0 F100", "I is missing"),
        ("G1 X1 X2 F10", "twice"),
        ("HELLO", "no word"),
        ("G2 X10 Y0 I4 J0 F100", "radii differ"),
    ],
)
def test_a_program_a_controller_would_refuse_is_refused(line, says):
    head = "G21\nG90\nS9000 M3\nG0 X0 Y0 Z5\n"
    with pytest.raises(ProgramError, match=says):
        read_back(f"{head}{line}\nM30\n")


def test_same_job_same_bytes(routed):
    assert router_ngc(routed()) == router_ngc(routed())
