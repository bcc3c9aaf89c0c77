"""Coverage-guided fuzzing, by hand: needs the package atheris, which the suite does not.

    python tests/bad/fuzz_make.py svg FOLDER -max_total_time=300 -rss_limit_mb=3000 -max_len=4000
    python tests/bad/fuzz_make.py svg FOLDER --whole -max_total_time=300

The first word is the kind of file: svg, dxf, picture or toml. FOLDER keeps what was found to reach new code; start it
with a small sound file of the kind: without one nothing past the readers is reached. Other words are libFuzzer's own.

Each input is read, laid out on its panel and checked, in this process, and counted as slow after --seconds of CPU
time (10 unless told): hundreds of inputs a minute. `--whole` runs all of `make` instead, a few a minute. Limits and
the pixels of drawings are lowered while it runs, so that what is too much is refused soon. What fails or is slow is
written where it is run: make it small, lay it into the corpus.
"""

from __future__ import annotations

import hashlib
import signal
import sys
import tempfile
from pathlib import Path
from types import FrameType

import atheris

with atheris.instrument_imports(include=["cutout.read", "cutout.job", "cutout.units", "cutout.pattern"]):
    # Instrumented while they are imported; the readers would else be loaded later, where they are first used.
    from cutout import run
    from cutout.read import dxf  # noqa: F401
    from cutout.read.picture import reader as of_pictures  # noqa: F401
    from cutout.read.svg import reader as of_drawings  # noqa: F401
from cutout.errors import CutoutError
from cutout.job.options import asked_for
from cutout.pattern import layout
from cutout.read.svg import pixels, walk
from tests.bad.whole import SIZES, answer

ENDINGS = {"svg": ".svg", "dxf": ".dxf", "picture": ".png", "toml": ".toml"}


class SlowInput(BaseException):
    """More than its share of time; no error that anything on the way might handle."""


def end_it(signum: int, frame: FrameType | None) -> None:
    """Called where an input has used up its time."""
    raise SlowInput


def checked(source: Path) -> None:
    """The file read, laid out and checked. Raises AssertionError where what comes is not fit for a user."""
    options = (
        {} if source.suffix == ".toml" else {k[2:]: v for k, v in zip(SIZES[::2], SIZES[1::2], strict=True)}
    )
    try:
        laid = run.lay_out(*asked_for(source, options))
        found = run.check_laid(laid)
    except CutoutError as error:
        assert "\n" not in str(error), str(error)
        assert len(str(error)) < 1000, str(error)
        return
    assert laid.pattern.waste.is_valid
    assert laid.pattern.keep.is_valid
    assert all(abs(side) < 1e6 for f in found for side in f.at), found


def main() -> None:
    """Fuzz one kind of file."""
    words = sys.argv[1:]
    kind = words.pop(0) if words else ""
    if kind not in ENDINGS:
        sys.exit(__doc__)
    whole = "--whole" in words
    seconds = next((float(w.partition("=")[2]) for w in words if w.startswith("--seconds=")), 10.0)
    words = [w for w in words if not w.startswith("--")]
    walk.MAX_SEGMENTS, walk.MAX_VISITS, layout.MOST_POINTS = 3000, 300, 3000
    vars(pixels).update(COARSE_SIDE=150, SIDES=(150, 300))
    signal.signal(signal.SIGVTALRM, end_it)

    def once(data: bytes) -> None:
        with tempfile.TemporaryDirectory() as folder:
            source = Path(folder) / f"input{ENDINGS[kind]}"
            source.write_bytes(data)
            signal.setitimer(signal.ITIMER_VIRTUAL, seconds)
            try:
                if whole:
                    answer(source, Path(folder) / "out")
                else:
                    checked(source)
            except SlowInput:
                Path(f"slow-{hashlib.sha256(data).hexdigest()[:16]}{ENDINGS[kind]}").write_bytes(data)
            finally:
                signal.setitimer(signal.ITIMER_VIRTUAL, 0)

    atheris.Setup([sys.argv[0], *words], once)
    atheris.Fuzz()


if __name__ == "__main__":
    main()
