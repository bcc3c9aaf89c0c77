"""Every small file that once failed, through the whole of `make`, with a budget of time and memory for each.

A file is added by laying it into corpus/ with a line here that says what the answer is: exit code, and words of it.
"""

from __future__ import annotations

import os
import re
import subprocess
import sys
from pathlib import Path

import pytest

from tests.bad.whole import answer

CORPUS = Path(__file__).parent / "corpus"
SECONDS, MEGABYTES = 60, 2000
"""CPU time and memory that one input may take; most take a hundredth of it."""

EXPECTED = {
    "bar-of-one-pixel-in-noise.png": (0, "."),
    "circle-of-infinity.dxf": (2, "."),
    "clips-in-a-circle.svg": (2, "is made of"),
    "edges-that-reach-the-rim.png": (0, "runs off the picture"),
    "empty.png": (2, "is empty"),
    "entities.svg": (2, "."),
    "entity-of-no-known-kind.dxf": (0, "NOTHINGKNOWN draws no outline"),
    "line-of-one-pixel.png": (0, "."),
    "masks-in-one-another.svg": (2, "more than 8 deep"),
    "mostly-specks.svg": (1, "most of the drawing is lost"),
    "negative-page.svg": (2, "no page is less than nothing"),
    "not-a-number.svg": (2, "paints nothing"),
    "one-pixel.png": (2, "no figure"),
    "panel-of-a-thousand-kilometres.toml": (2, "more than 100 m"),
    "radius-of-6000-digits.svg": (2, "paints nothing"),
    "smallest-panel.toml": (2, "0.01 mm at least"),
    "source-is-a-device.toml": (2, "a device or a pipe, not a file"),
    "source-is-the-job.toml": (2, "."),
    "stump.dxf": (2, "."),
    "thick-as-a-house.toml": (2, "2000 mm at most"),
    "turn-infinite.toml": (2, "finite number"),
    "turn-not-a-number.toml": (2, "finite number"),
    "turn-of-5000-digits.toml": (2, "thousands of digits"),
    "two-ways-to-read.toml": (2, "may be read two ways"),
    "uses-within-uses.svg": (2, "draws more than"),
}


def test_every_file_of_the_corpus_has_its_answer() -> None:
    assert sorted(EXPECTED) == sorted(p.name for p in CORPUS.iterdir())


@pytest.mark.skipif(sys.platform == "win32", reason="limits of time and memory are POSIX")
@pytest.mark.parametrize("name", sorted(EXPECTED))
def test_it_is_answered_within_its_budget(name: str, tmp_path: Path) -> None:
    code, says = EXPECTED[name]
    work = (
        "import resource, sys; from pathlib import Path\n"
        f"resource.setrlimit(resource.RLIMIT_CPU, ({SECONDS}, {SECONDS}))\n"
        f"resource.setrlimit(resource.RLIMIT_AS, ({MEGABYTES << 20}, {MEGABYTES << 20}))\n"
        "from tests.bad.whole import answer\n"
        "code, said = answer(Path(sys.argv[1]), Path(sys.argv[2]))\nprint(said); sys.exit(code)\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", work, str(CORPUS / name), str(tmp_path / "out")],
        capture_output=True,
        text=True,
        cwd=Path(__file__).parents[2],
        # Each thread of the linear algebra library reserves memory of its own.
        env={**os.environ, "OPENBLAS_NUM_THREADS": "1"},
    )
    assert done.stderr == ""
    assert done.returncode == code, done.stdout
    assert re.search(says, done.stdout), done.stdout


def test_an_answer_unfit_for_a_user_is_noticed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def faulty(*_: object, **__: object) -> None:
        raise ZeroDivisionError("a fault put in on purpose")

    monkeypatch.setattr("cutout.run.make", faulty)
    with pytest.raises(AssertionError, match="should not have happened"):
        answer(CORPUS / "line-of-one-pixel.png", tmp_path / "out")
