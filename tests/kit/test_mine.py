"""What the user measured: read, chosen, laid over the kit's values, kept without writing over what is there."""

from __future__ import annotations

from pathlib import Path

import pytest

from cutout.errors import KitError
from cutout.job.schema import Job, PanelPart, SawPart, TimesPart
from cutout.job.set_up import kit_of
from cutout.kit import Measured, as_measured, blade, fitting, measured_in, moves_of
from cutout.kit.listing import mine_lines
from cutout.kit.mine import with_measured

ONE = Measured(
    blade="jigsaw-narrow",
    date="2026-11-26",
    kerf=1.4,
    radius=11.0,
    feed=300.0,
    wood="red-oak",
    thickness=18.0,
)
TWO = Measured(blade="jigsaw-narrow", date="2026-11-20", kerf=1.2, wood="white-pine", thickness=25.0)


def write(path: Path, *measured: Measured) -> Path:
    text = ""
    for one in measured:
        text = with_measured(text, one, replacing=False)
    path.write_text(text, "utf-8")
    return path


def test_what_is_kept_reads_back(tmp_path: Path) -> None:
    assert measured_in(write(tmp_path / "mine.toml", ONE, TWO)) == (ONE, TWO)


def test_comments_and_other_tables_stay() -> None:
    text = with_measured('# mine\n[[bit]]\nname = "big"\n', ONE, replacing=False)
    assert text.startswith('# mine\n[[bit]]\nname = "big"\n')


def test_nothing_is_written_over_unasked() -> None:
    text = with_measured("", ONE, replacing=False)
    with pytest.raises(KitError, match=r"2026-11-26.*--replace"):
        with_measured(text, ONE, replacing=False)
    later = Measured(blade=ONE.blade, date="2026-12-01", kerf=1.5, wood="red-oak", thickness=18.0)
    replaced = with_measured(text, later, replacing=True)
    assert "1.5" in replaced
    assert "2026-11-26" not in replaced


def test_the_same_wood_then_the_nearest_thickness_then_the_latest() -> None:
    thick = Measured(blade="jigsaw-narrow", date="2026-01-01", kerf=1.6, wood="red-oak", thickness=40.0)
    again = Measured(blade="jigsaw-narrow", date="2026-12-01", kerf=1.7, wood="red-oak", thickness=18.0)
    known = (ONE, TWO, thick)
    assert fitting(known, "jigsaw-narrow", "red-oak", 20.0) == ONE
    assert fitting(known, "jigsaw-narrow", "red-oak", 38.0) == thick
    assert fitting(known, "jigsaw-narrow", "white-pine", 18.0) == TWO
    assert fitting((*known, again), "jigsaw-narrow", "red-oak", 18.0) == again
    assert fitting(known, "coping") is None


def test_measured_goes_before_the_kit_and_the_job_before_both(tmp_path: Path) -> None:
    write(tmp_path / "mine.toml", ONE)
    job = Job(
        panel=PanelPart(wood="red-oak", thickness=18.0),
        saw=SawPart(blade="jigsaw-narrow", measured="mine.toml"),
    )
    used = kit_of(job, tmp_path).blade
    assert (used.kerf, used.turning_radius, used.radius_from) == (1.4, 11.0, "measured")
    assert kit_of(job, tmp_path).own_feed == 300.0
    assert used.measured_note == "measured on your saw, 26 November 2026, in red oak 18 mm"
    said = SawPart(blade="jigsaw-narrow", measured="mine.toml", kerf=1.9)
    assert kit_of(job.model_copy(update={"saw": said}), tmp_path).blade.kerf == 1.9


def test_the_allowance_follows_from_the_hand_and_the_job_goes_before_it(tmp_path: Path) -> None:
    hand = Measured(blade="coping", date="2026-11-26", kerf=0.8, bias=-0.22, wander=0.15)
    write(tmp_path / "mine.toml", hand)
    saw = SawPart(blade="coping", measured="mine.toml")
    assert kit_of(Job(saw=saw), tmp_path).allow == 0.4
    asked = saw.model_copy(update={"allowance": 0.0})
    assert kit_of(Job(saw=asked), tmp_path).allow == 0.0


def test_the_file_among_the_settings_is_used_without_asking(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("cutout.job.set_up.mine_path", lambda: tmp_path / "mine.toml")
    assert kit_of(Job()).blade == blade("jigsaw-narrow")
    write(tmp_path / "mine.toml", TWO)
    assert kit_of(Job()).blade.kerf == 1.2


def test_a_named_file_must_be_there(tmp_path: Path) -> None:
    with pytest.raises(KitError, match="no such file"):
        kit_of(Job(saw=SawPart(measured="none.toml")), tmp_path)


def test_a_slot_narrower_than_the_listed_body_is_believed() -> None:
    used = as_measured(blade("jigsaw-narrow"), Measured(blade="jigsaw-narrow", date="2026-11-26", kerf=0.9))
    assert used.kerf == 0.9
    assert used.body < 0.9


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("[[measured]]\nblade = 3\n", "text in quotes"),
        ('[[measured]]\nblade = "jigsaw"\n', "needs date"),
        ('[[measured]]\nblade = "jigsaw"\ndate = "yesterday"\n', "not a date"),
        ('[[measured]]\nblade = "jigsaw"\ndate = "2026-11-26"\nkerf = -1\n', "more than zero"),
        ('[[measured]]\nblade = "jigsaw"\ndate = "2026-11-26"\nkurf = 1\n', 'unknown setting "kurf"'),
        ("measured = 3\n", "table of its own"),
        ("[[measured\n", "not valid TOML"),
    ],
)
def test_a_file_that_is_wrong_is_named(tmp_path: Path, text: str, said: str) -> None:
    path = tmp_path / "mine.toml"
    path.write_text(text, "utf-8")
    with pytest.raises(KitError, match=said) as caught:
        measured_in(path)
    assert "mine.toml" in str(caught.value)


def test_the_listing_names_it(tmp_path: Path) -> None:
    lines = mine_lines("mm", write(tmp_path / "mine.toml", ONE))
    assert "kerf 1.40 mm" in lines[1]
    assert "26 November 2026" in lines[2]


@pytest.mark.parametrize(
    ("name", "way", "other"), [("jigsaw-narrow", "drop_in", "thread"), ("coping", "thread", "drop_in")]
)
def test_times_by_the_watch_are_used_where_the_job_says_nothing(
    tmp_path: Path, name: str, way: str, other: str
) -> None:
    timed = Measured(blade=name, date="2026-11-26", kerf=1.0, entry=33.0, hole=51.0)
    write(tmp_path / "mine.toml", timed)
    job = Job(saw=SawPart(blade=name, measured="mine.toml"))
    moves = kit_of(job, tmp_path).moves
    assert (getattr(moves, way), moves.hole, moves.source) == (33.0, 51.0, "your own times")
    assert getattr(moves, other) == getattr(moves_of(blade(name).saw), other)
    said = job.model_copy(update={"times": TimesPart(hole=20.0)})
    assert kit_of(said, tmp_path).moves.hole == 20.0
    assert "33 s to let the blade in, 51 s for a hole" in mine_lines("mm", tmp_path / "mine.toml")[1]
