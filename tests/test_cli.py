"""The command line: bad input is one line and exit 2; the main job works; help imports no geometry."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest
from PIL import Image, ImageDraw

from cutout.cli import run
from cutout.job.options import usual_paper
from cutout.units import Units

ROOT = Path(__file__).parent.parent
PHOTO = ROOT / "examples" / "heron-shutter" / "heron-photo.png"
PANEL = ["--panel", "500x700mm"]


@pytest.fixture
def disc(tmp_path: Path) -> Path:
    """A plain dark disc on white: one opening, no corners."""
    picture = Image.new("L", (400, 400), 255)
    ImageDraw.Draw(picture).ellipse((60, 60, 340, 340), fill=0)
    picture.save(tmp_path / "disc.png")
    return tmp_path / "disc.png"


def one_line(capsys: pytest.CaptureFixture[str]) -> str:
    """The message on standard error, which must be a single line."""
    message = capsys.readouterr().err.strip()
    assert message.startswith("cutout: ")
    assert "\n" not in message
    assert "Traceback" not in message
    return message


@pytest.mark.parametrize(
    ("arguments", "part"),
    [
        (["--width", "-40mm", *PANEL], "more than zero"),
        (["--width", "40", *PANEL], "give a unit"),
        (["--width", "forty", *PANEL], "not a length"),
        (["--width", "900mm", *PANEL], "the panel is only"),
        (["--width", "100mm", "--height", "100mm", *PANEL], "not both"),
        (["--width", "100mm"], "--panel"),
        (PANEL, "--width or --height"),
        (["--width", "100mm", "--panel", "500mm"], "width x height"),
        (["--width", "100mm", *PANEL, "--blade", "lightsabre"], "unknown blade"),
        (["--width", "100mm", *PANEL, "--wood", "cheese"], "unknown wood"),
        (["--width", "100mm", *PANEL, "--paper", "napkin"], "unknown paper"),
        (["--width", "100mm", *PANEL, "--drill", "3parsec"], "unknown unit"),
        (["--width", "100mm", *PANEL, "--thickness", "0mm"], "more than zero"),
        (["--width", "100mm", *PANEL, "--turning-radius", "tight"], "not a length"),
        (["--width", "100mm", *PANEL, "--grain", "north"], "write degrees"),
        (["--width", "100mm", *PANEL, "--threshold", "300"], "0 to 255"),
        (["--width", "100mm", *PANEL, "--keep", "nothing"], "keep"),
        (["--width", "100mm", *PANEL, "--corners", "1,2,3"], "four points"),
        (["--no-such-option"], "--no-such-option"),
    ],
)
def test_bad_options_are_one_line_and_exit_2(
    disc: Path, arguments: list[str], part: str, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    assert run(["make", str(disc), *arguments, "--out", str(tmp_path / "out")]) == 2
    assert part in one_line(capsys)
    assert not (tmp_path / "out").exists()


def test_bad_files_are_one_line_and_exit_2(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    empty = tmp_path / "empty.png"
    empty.write_bytes(b"")
    cut_off = tmp_path / "cut-off.png"
    cut_off.write_bytes(PHOTO.read_bytes()[:5000])
    blank = tmp_path / "blank.png"
    Image.new("L", (200, 200), 255).save(blank)
    text = tmp_path / "text.png"
    text.write_text("this is not a picture")
    nothing = tmp_path / "nothing"
    nothing.mkdir()
    for source in (tmp_path / "missing.png", empty, cut_off, blank, text, nothing):
        assert run(["make", str(source), "--width", "100mm", *PANEL, "--out", str(tmp_path / "out")]) == 2, (
            source
        )
        assert one_line(capsys)
        assert not (tmp_path / "out").exists()


def test_a_job_file_with_a_mistake_is_one_line_with_its_number(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "job.toml").write_text('[panel]\nwidth = "500mm"\nheight = "700mm"\nthick = "18mm"\n')
    assert run(["make", str(tmp_path / "job.toml")]) == 2
    assert "line 4" in one_line(capsys)


@pytest.mark.skipif(os.name != "posix" or os.geteuid() == 0, reason="permissions do not bind the superuser")
def test_a_read_only_folder_is_one_line(
    disc: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    locked = tmp_path / "locked"
    locked.mkdir()
    locked.chmod(0o500)
    assert run(["make", str(disc), "--width", "100mm", *PANEL, "--out", str(locked / "out")]) == 2
    assert one_line(capsys)


def test_a_file_where_the_folder_should_go_is_one_line_and_stays(
    disc: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "out").write_text("mine")
    assert run(["make", str(disc), "--width", "100mm", *PANEL, "--out", str(tmp_path / "out")]) == 2
    assert one_line(capsys)
    assert (tmp_path / "out").read_text() == "mine"


def test_make_writes_every_file_and_the_same_bytes_again(disc: Path, tmp_path: Path) -> None:
    names = {
        "template.pdf",
        "pattern.svg",
        "router.dxf",
        "router.ngc",
        "router-dry.ngc",
        "router-setup.pdf",
        "routed.png",
        "film.svg",
        "cutsheet.html",
        "cutsheet.pdf",
        "shopdrawing.pdf",
        "preview.png",
    }
    seen = []
    for n in (1, 2):
        out = tmp_path / "out"
        code = run(["make", str(disc), "--width", "200mm", *PANEL, "--out", str(out), "--gcode", "--film"])
        assert code == 0
        assert {p.name for p in out.iterdir()} == names | {"result.json", "job.toml"}
        seen.append({p.name: p.read_bytes() for p in out.iterdir()})
        assert n == len(seen)
    assert seen[0] == seen[1]
    result = json.loads(seen[0]["result.json"])
    assert result["schema"] == "cutout-result/1"
    assert {f["name"] for f in result["files"]} >= names
    xs = np.array(result["pattern"]["waste"][0]["outer"])[:, 0]
    assert np.ptp(xs) == pytest.approx(200.0, abs=0.05)


def test_the_written_job_repeats_the_run(disc: Path, tmp_path: Path) -> None:
    first, second = tmp_path / "a", tmp_path / "b"
    assert run(["make", str(disc), "--width", "200mm", *PANEL, "--blade", "coping", "--out", str(first)]) == 0
    assert run(["make", str(first / "job.toml"), "--out", str(second)]) == 0
    assert (first / "template.pdf").read_bytes() == (second / "template.pdf").read_bytes()


def test_options_lie_over_a_job_file(disc: Path, tmp_path: Path) -> None:
    (tmp_path / "job.toml").write_text(
        'units = "in"\n[panel]\nwidth = 20\nheight = 20\n[[figures]]\nsource = "disc.png"\nwidth = 6\n'
    )
    assert run(["make", str(tmp_path / "job.toml"), "--width", "8", "--out", str(tmp_path / "out")]) == 0
    result = json.loads((tmp_path / "out" / "result.json").read_text())
    xs = np.array(result["pattern"]["waste"][0]["outer"])[:, 0]
    assert np.ptp(xs) == pytest.approx(8 * 25.4, abs=0.05)
    assert result["panel"]["width"] == pytest.approx(20 * 25.4)


def test_check_says_what_would_drop_out_and_exits_1(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    ring = Image.new("L", (400, 400), 255)
    draw = ImageDraw.Draw(ring)
    draw.ellipse((20, 20, 380, 380), fill=0)
    draw.ellipse((120, 120, 280, 280), fill=255)
    ring.save(tmp_path / "ring.png")
    assert run(["check", str(tmp_path / "ring.png"), "--width", "300mm", *PANEL, "--no-sizes"]) == 1
    said = capsys.readouterr().out
    assert "STOP  loose piece" in said


def test_many_stops_of_a_kind_are_counted(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Twelve rings: twelve middles that would drop out."""
    picture = Image.new("L", (400, 300), 255)
    draw = ImageDraw.Draw(picture)
    for n in range(12):
        x, y = 50 + 100 * (n % 4), 50 + 100 * (n // 4)
        draw.ellipse((x - 40, y - 40, x + 40, y + 40), fill=0)
        draw.ellipse((x - 20, y - 20, x + 20, y + 20), fill=255)
    picture.save(tmp_path / "rings.png")
    command = ["check", str(tmp_path / "rings.png"), "--width", "460mm", *PANEL, "--no-sizes"]
    assert run(command) == 1
    out = capsys.readouterr().out
    assert out.count("STOP  loose piece at") == 8
    assert "STOP  loose piece: 4 more; `cutout check --every` lists them all." in out
    run([*command, "--every"])
    assert capsys.readouterr().out.count("STOP  loose piece at") == 12


def test_kit_lists_every_blade_with_its_radius_and_source(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["kit"]) == 0
    said = capsys.readouterr().out
    for name in ("jigsaw-narrow", "scroll-medium", "coping", "metric", "white-pine", "a4"):
        assert name in said
    assert said.count("turning radius") >= 7
    assert said.count("source:") > 20


def test_gauge_writes_a_card(tmp_path: Path) -> None:
    assert run(["gauge", "--out", str(tmp_path / "card.pdf"), "--paper", "letter", "--units", "in"]) == 0
    assert (tmp_path / "card.pdf").read_bytes().startswith(b"%PDF")


def test_gauge_and_compare_say_in_one_line_what_is_wrong(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    photo = tmp_path / "photo.png"
    Image.new("L", (300, 400), 120).save(photo)
    result = tmp_path / "result.json"
    result.write_text("{}")
    for command, said in (
        (["gauge", str(photo)], "none of the test card's four marks was found"),
        (["gauge", str(tmp_path / "none.jpg")], "there is no such file"),
        (["compare", str(result), str(photo)], "not a result.json"),
    ):
        assert run(command) == 2
        error = capsys.readouterr().err
        assert said in error
        assert error.count("\n") == 1
    assert not list(tmp_path.glob("*-read.png"))


def test_help_imports_no_geometry() -> None:
    code = (
        "import sys\nfrom cutout.cli import run\nrun(['--help'])\n"
        "heavy = {'numpy', 'shapely', 'scipy', 'skimage', 'PIL', 'ezdxf', 'reportlab', 'starlette'}\n"
        "found = (heavy | {'pydantic'}) & set(sys.modules)\nrun(['make', '--help'])\n"
        "found |= heavy & set(sys.modules)\nsys.exit(str(sorted(found)) if found else 0)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr


@pytest.mark.parametrize(
    ("units", "environment", "paper"),
    [
        (None, {}, "a4"),
        (None, {"LANG": "C.UTF-8"}, "a4"),
        (None, {"LANG": "de_DE.UTF-8"}, "a4"),
        (None, {"LANG": "en_US.UTF-8"}, "letter"),
        (None, {"LANG": "en_US.UTF-8", "LC_PAPER": "en_GB.UTF-8"}, "a4"),
        (None, {"LANG": "de_DE", "LC_ALL": "es_MX@euro"}, "letter"),
        ("in", {"LANG": "de_DE"}, "letter"),
        ("mm", {"LANG": "en_US"}, "a4"),
    ],
)
def test_paper_by_locale(units: Units | None, environment: dict[str, str], paper: str) -> None:
    """Letter where CLDR (supplemental measurement data) lists US-Letter; from memory of that list."""
    assert usual_paper(units, environment) == paper


def test_the_job_written_names_its_paper(disc: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """So that it comes out the same in another country."""
    for language, name in (("en_US.UTF-8", "letter"), ("fr_FR.UTF-8", "a4")):
        monkeypatch.setenv("LC_ALL", language)
        assert run(["make", str(disc), "--width", "100mm", *PANEL, "--out", str(tmp_path / name)]) == 0
        result = json.loads((tmp_path / name / "result.json").read_text("utf-8"))
        assert result["template"]["paper"] == name
    assert 'paper = "letter"' in (tmp_path / "letter" / "job.toml").read_text("utf-8")
    monkeypatch.setenv("LC_ALL", "en_US.UTF-8")
    assert run(["make", str(tmp_path / "a4" / "job.toml"), "--out", str(tmp_path / "again")]) == 0
    assert json.loads((tmp_path / "again" / "result.json").read_text("utf-8"))["template"]["paper"] == "a4"


def test_the_shell_completes_commands_and_names() -> None:
    def completed(*words: str) -> set[str]:
        settings = {"_CUTOUT_COMPLETE": "bash_complete", "COMP_WORDS": " ".join(["cutout", *words])}
        settings["COMP_CWORD"] = str(len(words))
        done = subprocess.run(
            [sys.executable, "-c", "from cutout.cli import main; main()"],
            capture_output=True,
            text=True,
            check=True,
            env=os.environ | settings,
        )
        return {line.partition(",")[2] for line in done.stdout.split()}

    assert completed("m") == {"make"}
    assert completed("make", "--blade", "scroll") == {"scroll-fine", "scroll-medium", "scroll-coarse"}
    assert "a4" in completed("make", "--paper", "a")
    assert completed("check", "--wood", "red") == {"red-oak"}


@pytest.mark.skipif(os.name != "posix", reason="signals")
def test_an_interrupt_leaves_nothing_half_written(tmp_path: Path) -> None:
    command = [sys.executable, "-m", "cutout.cli", "make", str(PHOTO), "--width", "400mm", *PANEL]
    running = subprocess.Popen(
        [*command, "--out", str(tmp_path / "out")],
        stderr=subprocess.PIPE,
        text=True,
        # A suite started in the background hands down a disabled interrupt.
        preexec_fn=lambda: signal.signal(signal.SIGINT, signal.default_int_handler),
    )
    time.sleep(1.0)
    running.send_signal(signal.SIGINT)
    _, message = running.communicate(timeout=60)
    assert running.returncode == 130, message
    assert "interrupted" in message
    assert "Traceback" not in message
    assert not list(tmp_path.iterdir())
