"""Coverage-guided fuzzing of the whole `make`, by hand: needs the package atheris, which the suite does not.

    python tests/bad/fuzz_make.py svg FOLDER -max_total_time=300 -rss_limit_mb=3000 -timeout=60

The first word is the kind of file: svg, dxf, picture or toml. FOLDER keeps what was found to reach new code; start it
with a copy of tests/bad/corpus and a small sound file of the kind: without one nothing past the readers is reached.
What fails is written where it is run: make it small, lay it into the corpus.
Other words are libFuzzer's own.
"""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path

import atheris

with atheris.instrument_imports(include=["cutout"]):
    # Instrumented while they are imported; the readers would else be loaded later, where they are first used.
    from cutout import cli, run  # noqa: F401
    from cutout.read import dxf  # noqa: F401
    from cutout.read.picture import reader as of_pictures  # noqa: F401
    from cutout.read.svg import reader as of_drawings  # noqa: F401
    from cutout.write import outputs  # noqa: F401
    from tests.bad.whole import answer

ENDINGS = {"svg": ".svg", "dxf": ".dxf", "picture": ".png", "toml": ".toml"}


def main() -> None:
    """Fuzz one kind of file."""
    kind = sys.argv.pop(1) if len(sys.argv) > 1 else ""
    if kind not in ENDINGS:
        sys.exit(__doc__)

    def once(data: bytes) -> None:
        with tempfile.TemporaryDirectory() as folder:
            source = Path(folder) / f"input{ENDINGS[kind]}"
            source.write_bytes(data)
            answer(source, Path(folder) / "out")

    atheris.Setup(sys.argv, once)
    atheris.Fuzz()


if __name__ == "__main__":
    main()
