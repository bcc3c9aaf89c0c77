"""The program for a machine: words, numbers, header; a small reader of our own drives the checks."""

from __future__ import annotations

import math
import re
from dataclasses import replace

import pytest

from cutout.finding import Finding
from cutout.geom.curve import Arc, Line
from cutout.geom.outline import Ring
from cutout.kit import bit
from cutout.route import tool_path
from cutout.route.model import Pass
from cutout.write.gcode import router_bits, router_ngc, router_programs

WORDS = {"G0", "G1", "G2", "G3", "G17", "G20", "G21", "G40", "G90", "G94", "M3", "M5", "M30"}


@pytest.fixture(scope="module")
def routed(make_work):
    work = make_work()
    path = tool_path(work.pattern, work.kit)
    return lambda **fields: make_work(router=path, **fields)


def code(data: bytes) -> list[str]:
    return [line for line in data.decode("ascii").splitlines() if not line.startswith("(")]


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
        assert re.fullmatch(r"(?:[GMFSXYZIJ]-?\d+(?:\.\d+)? ?)+", line), line
    assert all(len(line) < 256 for line in data.decode("ascii").splitlines())
    assert b"-0.0000 " not in data


def test_begins_safe_and_ends_stopped(routed):
    lines = code(router_ngc(routed()))
    assert lines[:5] == ["G17", "G21", "G90", "G40", "G94"]
    assert lines[5] == "S18000 M3"
    assert lines[6] == "G0 Z8.0000"
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
    for line in code(router_ngc(routed())):
        found = {k: float(v) for k, v in re.findall(r"([XYZF])(-?[\d.]+)", line)}
        feed = found.get("F", feed)
        to = found.get("X", x), found.get("Y", y), found.get("Z", z)
        if line.startswith(("G1", "G2", "G3")) and to[2] < z:
            run = math.hypot(to[0] - x, to[1] - y)
            assert feed * (z - to[2]) / math.hypot(run, z - to[2]) <= 500.0 * 1.01
        x, y, z = to


def test_header_says_what_the_man_at_the_machine_must_know(routed):
    text = " ".join(line.strip("()") for line in router_ngc(routed()).decode("ascii").splitlines())
    for words in (
        "240 x 180 mm", "18 mm thick", "lower left corner", "straight bit, 6 mm", "feed 3000 mm/min",
        "Start slower, your machine's manual decides", "spoil board", "eye and ear protection", "CAUTIONS",
    ):  # fmt: skip
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
    fault = Finding("router", "stop", (0.0, 0.0), 1.0, 0.02, None, "It cuts 1 mm into wood.", "Don't.")
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


def test_same_job_same_bytes(routed):
    assert router_ngc(routed()) == router_ngc(routed())
