"""A panel larger than the bed: every run is cut to its end, each tile in reach, pins under holes, nothing spoilt."""

from __future__ import annotations

import io
import json
import math
from dataclasses import replace

import numpy as np
import pytest
import shapely
from gcodeparser import parse_gcode_lines
from pdfplumber import open as open_pdf
from shapely import Polygon

from cutout.geom.outline import Outline, from_region
from cutout.kit import Kit, bit, blade, drills, machine, wood
from cutout.pattern import Panel, cut_pattern
from cutout.route import Settings, tool_path
from cutout.route.prove import prove_tiles
from cutout.route.readback import faults, read_back
from cutout.route.track import Track
from cutout.write.gcode import PIN_DEPTH, PINS, dry_runs, listings, router_programs
from cutout.write.result import result_json
from cutout.write.routed import depths
from cutout.write.setup_sheet import router_setup
from tests.telling import remedy, text

BENCH = machine("bench")
KIT = Kit(
    blade("jigsaw-narrow"),
    drills("metric"),
    bit("6mm"),
    wood("white-pine"),
    small_bit=bit("3mm"),
    machine=BENCH,
)
PANEL = Panel(560.0, 320.0, 12.0)


def figure() -> Outline:
    """An invented leaf, longer than the bed and higher, with a slot in it."""
    t = np.linspace(0, 2 * math.pi, 600, endpoint=False)
    r = 1 + 0.12 * np.cos(5 * t)
    leaf = Polygon(np.column_stack([280 + 240 * r * np.cos(t), 160 + 115 * r * np.sin(t)]))
    return Outline(from_region(leaf.difference(shapely.box(150, 150, 400, 185))), 1.0)


def pattern(keep="panel"):
    return cut_pattern(figure(), PANEL, keep, 1.28)


TILED = Settings(tiles=True)


@pytest.fixture(scope="module")
def work(make_work):
    pat = pattern()
    path = tool_path(pat, KIT, TILED)
    return make_work(outline=figure(), panel=PANEL, kit=KIT, pattern=pat, router=path, findings=())


@pytest.fixture(scope="module")
def programs(work):
    return router_programs(work)


def test_nothing_stops_it_and_joints_are_few(work):
    path = work.router
    assert not [f for f in path.findings if f.severity == "stop"]
    assert 4 <= len(path.tiles) <= 9
    (said,) = [f for f in path.findings if "tiles" in text(f)]
    assert said.severity == "care"
    assert 0.1 < said.size < 0.5
    # Only what is larger than the bed is cut in stretches, and in no more than there are tiles.
    for cut in path.passes:
        x0, y0, x1, y1 = cut.ring.polygon().bounds
        parts = [p.part for t in path.tiles for p in t.passes if p.order == cut.order]
        assert len(parts) <= len(path.tiles) + 2
        assert (parts == [None]) or x1 - x0 > 200 or y1 - y0 > 100


def test_each_program_moves_within_the_bed_by_an_outside_reader(work, programs):
    assert set(listings(work)) | {PINS} == set(programs)
    for name, data in programs.items():
        lines = [*parse_gcode_lines(data.decode("ascii"))]
        assert len(lines) > 10, name
        for k, letter in enumerate("XY"):
            at = [line.params[letter] for line in lines if letter in line.params]
            reach = work.router.tiles[0].reach
            assert max(at) - min(at) <= BENCH.bed[k]
            assert reach[k] <= min(at)
            assert max(at) <= reach[k + 2]


def test_the_tiles_together_cut_what_one_program_would(work, programs):
    """Depths of a grid over the panel: alike, but for the holes of the pins and rounding at edges."""
    plain = replace(work, router=replace(work.router, tiles=()))
    one, many = depths(plain, router_programs(plain), 1.0), depths(work, programs, 1.0)
    y, x = np.nonzero(np.abs(one - many) > 0.1)
    spots = shapely.points(x + 0.5, PANEL.height - y - 0.5)
    holes = shapely.buffer(shapely.MultiPoint([h for t in work.router.tiles for h in t.holes]), 3.8)
    assert np.count_nonzero(~shapely.intersects(holes, spots)) < 4e-4 * one.size
    assert np.count_nonzero(shapely.intersects(holes, spots)) > 0.5 * shapely.area(holes)


def test_pins_stand_under_holes_drilled_before(work, programs):
    drilled = set()
    spoil = {
        tuple(np.round(m.end[:2], 3))
        for m in read_back(programs[PINS].decode("ascii")).moves
        if m.end[2] == -PIN_DEPTH
    }
    for tile in work.router.tiles:
        laid = {tuple(np.round(np.add(p, tile.shift), 3)) for p in tile.pins}
        assert len(laid) == (0 if tile.number == 1 else 2)
        assert laid <= drilled
        assert {tuple(np.round(p, 3)) for p in tile.pins} <= spoil
        if tile.pins:
            assert math.dist(*tile.pins) >= 50
        drilled |= {tuple(np.round(h, 3)) for h in tile.holes}
    waste = work.pattern.waste
    assert all(waste.contains(shapely.Point(h).buffer(3.0)) for h in drilled)


def test_the_bit_never_goes_straight_into_wood(work, programs):
    """A grid of what is cut so far: at each straight way down, the wood beneath is gone already or a hole's."""
    for name, listing in listings(work).items():
        moves = read_back(programs[name].decode("ascii")).moves
        assert not [*faults(work.pattern, moves, listing.bits, work.router, listing.tile)]
        holes = np.array(listing.tile.holes).reshape(-1, 2) - np.array(listing.tile.shift)
        been: list[tuple[float, float, float]] = []
        for m in moves:
            down = min(m.start[2], 0.0) - m.end[2]
            if m.feed and m.start[:2] == m.end[:2] and down > 0.2:
                at_hole = len(holes) and np.hypot(*(holes - m.end[:2]).T).min() < 0.01
                assert at_hole or any(
                    math.dist(b[:2], m.end[:2]) < 0.01 and b[2] <= m.end[2] + 1e-6 for b in been
                )
            been += [m.start, m.end] if m.feed else []


def test_a_plunge_beside_the_slot_is_seen(work, programs):
    name, listing = next((n, li) for n, li in listings(work).items() if any(p.part for p in li.passes(work)))
    moves = list(read_back(programs[name].decode("ascii")).moves)
    last = max(
        n
        for n, m in enumerate(moves)
        if m.feed and m.start[:2] == m.end[:2] and m.end[2] < min(m.start[2], -5)
    )
    m = moves[last]
    moves[last] = replace(m, start=(m.start[0] + 1, *m.start[1:]), end=(m.end[0] + 1, *m.end[1:]))
    said = [*faults(work.pattern, moves, listing.bits, work.router, listing.tile)]
    assert any("straight down" in line for line in said)
    far = [replace(m, end=(m.end[0] + 300, *m.end[1:])) for m in moves]
    said = [*faults(work.pattern, far, listing.bits, work.router, listing.tile)]
    assert any("leaves what the machine reaches" in line for line in said)


def test_the_proof_sees_what_is_missing_out_of_reach_or_off_its_pins(work):
    path = work.router
    assert not [*prove_tiles(work.pattern, path)]

    def said(*tiles):
        return " ".join(text(f) for f in prove_tiles(work.pattern, replace(path, tiles=tiles)))

    first, second, *others = path.tiles
    assert "uncut" in said(replace(first, passes=()), second, *others)
    short = tuple(replace(p, part=(p.part[0], p.part[1] - 20)) if p.part else p for p in first.passes)
    assert "uncut" in said(replace(first, passes=short), second, *others)
    x0, y0, x1, y1 = first.reach
    assert "runs out" in said(replace(first, reach=(x0, y0, x1 - 30, y1 - 30)), second, *others)
    off = tuple((x + 0.2, y) for x, y in second.pins)
    assert "pins of tile 2" in said(first, replace(second, pins=off), *others)
    keep = shapely.point_on_surface(shapely.intersection(work.pattern.keep, shapely.box(*first.reach)))
    into = (*first.holes, (keep.x, keep.y))
    assert "wood that stays" in said(replace(first, holes=into), second, *others)


def test_where_no_pin_has_room_it_stops_and_anywhere_it_goes():
    """A thin ring leaves chips only: no waste to drill."""
    t = np.linspace(0, 2 * math.pi, 400, endpoint=False)
    slit = Polygon(
        np.column_stack([280 + 200 * np.cos(t), 160 + 110 * np.sin(t)]),
        [np.column_stack([280 + 190 * np.cos(t), 160 + 100 * np.sin(t)])],
    )
    pat = cut_pattern(Outline(from_region(slit), 1.0), PANEL, "panel", 1.28)
    (stop,) = [f for f in tool_path(pat, KIT, TILED).findings if f.severity == "stop"]
    assert "larger than" in text(stop)
    assert "anywhere" in remedy(stop)
    path = tool_path(pat, KIT, replace(TILED, index_in="anywhere"))
    assert len(path.tiles) > 1
    assert not [f for f in path.findings if f.severity == "stop"]


def test_tiles_only_where_asked_and_needed():
    assert not tool_path(pattern(), KIT).tiles
    assert any("--tiles" in remedy(f) for f in tool_path(pattern(), KIT).findings if f.severity == "stop")
    assert not tool_path(pattern(), replace(KIT, machine=machine("hobby")), TILED).tiles
    said = tool_path(pattern(), replace(KIT, machine=machine("plain")), TILED).findings
    assert any("says nothing of its bed" in text(f) for f in said)
    wide = replace(BENCH, bed=(555.0, 318.0))
    (tile,) = tool_path(pattern(), replace(KIT, machine=wide), TILED).tiles
    assert (tile.holes, tile.pins, tile.shift) == ((), (), (0.0, 0.0))


def test_a_figure_that_is_kept_is_cut_in_tiles_too(work):
    pat = pattern("figure")
    kept = replace(work, pattern=pat, router=tool_path(pat, KIT, TILED))
    assert len(kept.router.tiles) > 1
    assert not [f for f in kept.router.findings if f.severity == "stop"]
    assert not any(b"NO MOVES" in data for data in router_programs(kept).values())


def test_dry_runs_and_the_sheet_say_each_tile(work):
    assert set(dry_runs(work)) == {f"router-dry-tile{t.number}.ngc" for t in work.router.tiles if t.passes}
    for data in dry_runs(work).values():
        moves = read_back(data.decode("ascii")).moves
        assert all(m.feed is None and m.start[2] == m.end[2] == 8.0 for m in moves)
    with open_pdf(io.BytesIO(router_setup(work))) as pdf:
        first, second = (page.extract_text().replace("\n", " ") for page in pdf.pages)
    assert f"cut in {len(work.router.tiles)} tiles" in first
    for tile in work.router.tiles:
        assert f"Tile {tile.number}: router" in second
    assert "Never set X0 Y0 again" in second


def test_a_machine_that_changes_bits_gets_one_program_a_tile(work):
    kit = replace(work.kit, machine=replace(BENCH, tool_change=True))
    programs = router_programs(replace(work, kit=kit))
    assert set(programs) == {PINS, *(f"router-tile{t.number}.ngc" for t in work.router.tiles)}
    assert not any(b"NO MOVES" in data for data in programs.values())


def test_result_json_tells_of_the_tiles(work):
    """Rebuilt from the file alone: each run cut whole, every stretch within its tile's reach, pins under holes."""
    data = json.loads(result_json(work, {}))["router"]
    assert [t["number"] for t in data["tiles"]] == [t.number for t in work.router.tiles]
    tracks = {p.order: Track(p.ring) for p in work.router.passes}
    covered = {order: np.zeros(math.ceil(track.length), dtype=bool) for order, track in tracks.items()}
    drilled: set[tuple[float, float]] = set()
    for tile in data["tiles"]:
        under = {(round(x + tile["shift"][0], 3), round(y + tile["shift"][1], 3)) for x, y in tile["pins"]}
        assert under <= drilled
        assert len(under) == (2 if tile["number"] > 1 else 0)
        drilled |= {(x, y) for x, y in tile["holes"]}
        x0, y0, x1, y1 = tile["reach"]
        for cut in tile["cuts"]:
            track = tracks[cut["pass"]]
            begin, end = cut["part"] or (0.0, track.length)
            at = np.arange(math.floor(begin), math.ceil(end))
            covered[cut["pass"]][at % len(covered[cut["pass"]])] = True
            z, _ = track.samples(np.linspace(begin, end, 200))
            assert z.real.min() > x0 - 0.01 and z.real.max() < x1 + 0.01
            assert z.imag.min() > y0 - 0.01 and z.imag.max() < y1 + 0.01
    assert all(every.all() for every in covered.values())


def test_a_panel_in_one_place_has_no_tiles_in_its_result(make_work):
    assert json.loads(result_json(make_work(), {}))["router"]["tiles"] == []
