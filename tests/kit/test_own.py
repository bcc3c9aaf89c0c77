"""The user's own kit file, and bits by their diameter alone. Every entry here is invented."""

from __future__ import annotations

from pathlib import Path

import pytest

from cutout.cli import run
from cutout.errors import KitError
from cutout.kit import bit, bits, machine
from cutout.kit.listing import EXAMPLE, mine
from tests.kits import kit_of


@pytest.fixture
def own(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    file = tmp_path / "kit.toml"
    monkeypatch.setenv("CUTOUT_KIT", str(file))
    return file


def test_without_a_file_the_kit_is_the_shipped_one_and_an_example_is_shown(own: Path) -> None:
    assert "my-6mm" not in bits()
    assert str(own) in mine()
    assert EXAMPLE in mine()


def test_the_example_shown_is_a_file_that_works(own: Path) -> None:
    own.write_text(EXAMPLE)
    mill = machine("mine")
    assert (mill.bed, mill.travel_z, mill.feed, mill.dwell) == ((600.0, 400.0), 70.0, 2500, "seconds")
    six = bit("my-6mm")
    assert (six.diameter, six.flute_length, six.kind) == (6.0, 22.0, "up-cut")
    assert "my-6mm" in mine()
    assert "600 x 400 mm" in mine()


def test_a_changed_file_counts_at_once(own: Path) -> None:
    own.write_text('[[bit]]\nname = "mine"\ndiameter = "6mm"\n')
    assert bit("mine").diameter == 6
    own.write_text('[[bit]]\nname = "mine"\ndiameter = "10.5mm"\n')
    assert bit("mine").diameter == 10.5


def test_own_entries_win_over_shipped_ones_of_the_same_name(own: Path) -> None:
    own.write_text('[[bit]]\nname = "6mm"\ntitle = "my six"\ndiameter = 6.0\nflutes = 1\n')
    assert bit("6mm").title == "my six"
    assert bit("6mm").flutes == 1
    assert bit("3mm").flutes == 2


def test_blades_and_woods_of_ones_own(own: Path) -> None:
    own.write_text(
        '[[blade]]\nname = "mine"\nsaw = "jigsaw"\nwidth = "5mm"\nbody = 1.0\nkerf = "1.4mm"\ntpi = 12\nfeed = 300\n'
        '[[wood]]\nname = "pear"\nkind = "hardwood"\n'
    )
    kit = kit_of("mine", "pear")
    assert kit.blade.kerf == 1.4
    assert kit.wood.kind == "hardwood"


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("[[bit]\n", "kit.toml"),
        ('[[bits]]\nname = "x"\n', 'unknown table "bits"'),
        ("[[bit]]\ndiameter = 6\n", "needs a name"),
        ('[[bit]]\nname = "x"\n', "it needs diameter"),
        ('[[bit]]\nname = "x"\ndiameter = 6\nlength = 3\n', 'unknown setting "length"'),
        ('[[bit]]\nname = "x"\ndiameter = "wide"\n', "wide"),
        ('[[bit]]\nname = "x"\ndiameter = true\n', "is a number"),
        ('[[bit]]\nname = "x"\ndiameter = -6\n', "more than zero"),
        ('[[bit]]\nname = "x"\ndiameter = 6\nflutes = 1.5\n', "whole number"),
        ('[[bit]]\nname = "x"\ndiameter = 6\nkind = "ball"\n', "use one of"),
        ('[[machine]]\nname = "x"\nbed = ["600mm"]\n', "two lengths"),
        ('[[machine]]\nname = "x"\narcs = "yes"\n', "true or false"),
        ('[[machine]]\nname = "x"\ndwell = "minutes"\n', "seconds or milliseconds"),
        ('[[machine]]\nname = "x"\nspeed_least = 30000\n', "least speed"),
        ('[bit]\nname = "x"\n', "[[bit]]"),
    ],
)
def test_what_is_wrong_in_it_is_one_sentence_with_the_file_in_it(own: Path, text: str, says: str) -> None:
    own.write_text(text)
    with pytest.raises(KitError) as caught:
        bits()
        machine("x")
    assert says in str(caught.value)
    assert "kit.toml" in str(caught.value)
    assert "\n" not in str(caught.value)


def test_the_command_line_lists_it(own: Path, capsys: pytest.CaptureFixture[str]) -> None:
    own.write_text(EXAMPLE)
    assert run(["kit", "--mine"]) == 0
    assert "my own machine" in capsys.readouterr().out
    own.write_text("[[")
    assert run(["kit", "--mine"]) == 2


@pytest.mark.parametrize(
    ("text", "units", "diameter", "title"),
    [
        ("12mm", None, 12.0, "straight bit, 12 mm"),
        ("5/16in", None, 7.9375, "straight bit, 5/16 in"),
        ('1/2"', None, 12.7, "straight bit, 1/2 in"),
        ("10", "mm", 10.0, "straight bit, 10 mm"),
        ("3/8", "in", 9.525, "straight bit, 3/8 in"),
        ("5mm", "in", 5.0, "straight bit, 5 mm"),
        ("0.25in", None, 6.35, "straight bit, 1/4 in"),
    ],
)
def test_a_bit_by_its_diameter(text: str, units: str | None, diameter: float, title: str) -> None:
    found = bit(text, units)  # type: ignore[arg-type]
    assert found.diameter == pytest.approx(diameter)
    assert found.title == title
    assert found.depth_per_pass == pytest.approx(diameter / 2)


@pytest.mark.parametrize("text", ["0mm", "12", "12 parsecs", "80mm", "wide"])
def test_what_is_no_bit_is_refused(text: str) -> None:
    with pytest.raises(KitError, match="bit"):
        bit(text)
