"""A finished job built by hand from an invented pattern: a leaf, a round window and a keyhole slot."""

from __future__ import annotations

import math
import os
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path

import hypothesis
import numpy as np
import pytest
import shapely
from shapely import MultiPolygon, Point, box

from cutout.amend.model import Bridge, Eased
from cutout.finding import Finding, ordered
from cutout.geom.curve import Arc, Cubic, Line
from cutout.geom.outline import Note, Outline, Ring, as_multi
from cutout.job.schema import Job, TemplatePart
from cutout.kit import Kit, bit, feeds, machine, wood
from cutout.pattern import Keep, Panel, Pattern, cut_pattern
from cutout.route.model import Pass, Tab, ToolPath
from cutout.saw.model import CORNER, Hole, LeftOver, Leg, Place, Plan, Proof, Step
from cutout.write.work import Work
from tests.asking import asking
from tests.figures import circle, corners, outline_of, star
from tests.kits import kit_of
from tests.telling import worded

# No test may depend on what whoever runs it has in a kit file of his own.
os.environ["CUTOUT_KIT"] = str(Path(__file__).parent / "no-kit-of-ones-own.toml")


# In CI the same examples each time: what a change broke is told from what a rare example found. At hand, new ones.
hypothesis.settings.register_profile("ci", derandomize=True)
if os.environ.get("CI"):
    hypothesis.settings.load_profile("ci")


def _leaf(base: complex, tip: complex, belly: float) -> Ring:
    """Two cubics between a base and a tip, both sharp."""
    along = tip - base
    side = 1j * along / abs(along) * belly
    right = Cubic(base, base + along * 0.25 - side, base + along * 0.75 - side, tip)
    left = Cubic(tip, base + along * 0.75 + side, base + along * 0.25 + side, base)
    return Ring((right, left))


def _slot(x: float, y: float, length: float, r: float) -> Ring:
    a, b = complex(x, y), complex(x + length, y)
    down, up = -1j * r, 1j * r
    return Ring(
        (
            Line(a + down, b + down),
            Arc(b + down, b + up, 1.0),
            Line(b + up, a + up),
            Arc(a + up, a + down, 1.0),
        )
    )


def invented_outline() -> Outline:
    """A leaf with a vein left standing, a round window and a slot, in panel mm (240 x 180 panel)."""
    leaf = _leaf(40 + 40j, 150 + 140j, 42)
    return Outline((leaf, circle(185, 60, 22), _slot(150, 150, 50, 6)), 1.0)


def _inset_path(polygon: shapely.Polygon, inset: float) -> np.ndarray:
    inner = polygon.buffer(-inset, quad_segs=32)
    return shapely.get_coordinates(inner.exterior)


def _plan(pattern: Pattern, kit: Kit) -> Plan:
    """Holes and legs by hand: one starter inside each opening, once round, back to the start."""
    holes: list[Hole] = []
    legs: list[Leg] = []
    length = 0.0
    for opening in pattern.openings:
        path = _inset_path(opening.region, kit.blade.kerf / 2)
        spot = Point(path[0]).buffer(8).intersection(opening.region.buffer(-4.5)).representative_point()
        number = len(holes) + 1
        holes.append(Hole(number, (spot.x, spot.y), 8.0, ("starter",), opening.id))
        path = np.vstack([[[spot.x, spot.y]], path])
        half = len(path) // 2
        legs.append(Leg(len(legs) + 1, opening.id, path[: half + 1], Place("hole", number), CORNER))
        legs.append(
            Leg(
                len(legs) + 1,
                opening.id,
                path[:0:-1][: len(path) - half],
                Place("hole", number),
                Place("leg", len(legs)),
                MultiPolygon([opening.region]),
            )
        )
        length += float(shapely.length(opening.region.exterior))
    tip = (150.0, 140.0)
    holes.append(Hole(len(holes) + 1, (145.0, 135.0), 3.0, ("relief",), pattern.openings[1].id))
    left = (LeftOver(tip, 0.8, 0.4),)
    minutes = length / kit.blade.feed + 5
    return Plan(
        tuple(holes), tuple(legs), left, (), length, len(holes), minutes, steps=hand_made_steps(holes, legs)
    )


def hand_made_steps(holes: Sequence[Hole], legs: Sequence[Leg]) -> tuple[Step, ...]:
    """Drilling, then a step for each opening in the order of cutting."""
    steps = [Step("A", (), tuple(h.id for h in holes), MultiPolygon())]
    for opening in dict.fromkeys(leg.opening for leg in legs):
        own = [leg for leg in legs if leg.opening == opening]
        drops = shapely.union_all([leg.drops for leg in own])
        orders = tuple(leg.order for leg in own)
        number = len(steps)
        letter = (LETTERS[number // 24 - 1] if number >= 24 else "") + LETTERS[number % 24]
        steps.append(Step(letter, orders, (), as_multi(drops)))
    return tuple(steps)


LETTERS = "ABCDEFGHJKLMNPQRSTUVWXYZ"


def _findings() -> tuple[Finding, ...]:
    return ordered(
        (
            worded(
                "thin web",
                "stop",
                (168.0, 100.0),
                4.2,
                9.0,
                None,
                "The wood between the leaf and the round window is only 4.2 mm wide.",
                "Move them apart, or make the panel thicker.",
            ),
            worded(
                "tight corner",
                "care",
                (150.0, 140.0),
                0.9,
                None,
                2,
                "The leaf's tip <is> sharper than the blade can turn & needs a hole.",
                "Drill hole 4 first.",
            ),
            worded(
                "speck",
                "care",
                (40.0, 40.0),
                1.1,
                2.0,
                2,
                "A speck 1.1 mm across.",
                "It was dropped.",
                cleared=True,
            ),
        )
    )


def _router(pattern: Pattern) -> ToolPath:
    run = Pass(
        1,
        1,
        "inside",
        circle(185, 60, 19, ccw=False),
        bit("6mm"),
        (-3.0, -6.0),
        (Tab(10.0, 16.0, (185.0, 79.0)),),
    )
    driven = (feeds(bit("6mm"), wood("white-pine"), machine("plain"), 3.0),)
    left = MultiPolygon([box(100, 100, 101, 101)])
    return ToolPath((run,), left, (), 0.001, 80.0, 238.8, 1.5, feeds=driven)


WorkMaker = Callable[..., Work]


@pytest.fixture(scope="session")
def make_work() -> WorkMaker:
    """make_work(outline=..., panel=..., keep=..., paper_name=..., **fields of Work) -> Work."""

    def build(
        outline: Outline | None = None,
        panel: Panel | None = None,
        keep: Keep = "panel",
        paper_name: str = "a4",
        **fields: object,
    ) -> Work:
        kit = kit_of()
        pattern = cut_pattern(
            outline or invented_outline(),
            panel or Panel(240.0, 180.0, 18.0, math.pi / 2),
            keep,
            kit.blade.kerf,
        )
        own = outline is None and keep == "panel"
        empty = Plan((), (), (), (), 0.0, 0, 0.0)
        bridge = Bridge(1, (70.0, 80.0), (80.0, 70.0), 6.0, box(70, 70, 80, 80))
        work = Work(
            job=Job(units="mm", template=TemplatePart(paper=paper_name)),
            title="invented leaf",
            kit=kit,
            before=pattern,
            pattern=pattern,
            findings=_findings() if own else (),
            bridges=(bridge,) if own else (),
            eased=Eased(0.4, 12.5) if own else None,
            plan=_plan(pattern, kit) if own else empty,
            proof=Proof(True, (), 0.02, (), 1200),
            router=_router(pattern),
            notes=(Note("speck", "1 speck under {} was dropped.", (2.0,)),),
        )
        return asking(work, **fields)

    return build


@pytest.fixture(scope="session")
def work(make_work: WorkMaker) -> Work:
    """The invented job on A4: a 240 x 180 mm panel with three openings."""
    return make_work()


@pytest.fixture(scope="session")
def star_outline() -> Outline:
    """A five-pointed star 160 mm across in the middle of a 240 x 240 mm panel: ten sharp corners."""
    return outline_of(Ring.of_points(corners(star(5, 80.0, 34.0, 120 + 120j, math.pi / 2))))


@pytest.fixture(scope="session", autouse=True)
def no_values_of_ones_own(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    """Tests know no saw that whoever runs them has measured."""
    with pytest.MonkeyPatch.context() as patch:
        for name in ("XDG_CONFIG_HOME", "APPDATA"):
            patch.setenv(name, str(tmp_path_factory.mktemp("settings")))
        yield
