"""One input through the whole of `make`, with what is asked of every answer."""

from __future__ import annotations

import io
from contextlib import redirect_stderr, redirect_stdout
from pathlib import Path

from cutout.cli import run

SIZES = ["--width", "120mm", "--panel", "200x200mm"]


def answer(source: Path, out: Path) -> tuple[int, str]:
    """Exit code and everything said. Raises AssertionError where the answer is not fit for a user."""
    said, complained = io.StringIO(), io.StringIO()
    sizes = [] if source.suffix == ".toml" else SIZES
    with redirect_stdout(said), redirect_stderr(complained):
        code = run(["make", str(source), *sizes, "--out", str(out)])
    text, complaint = said.getvalue(), complained.getvalue()
    assert code in (0, 1, 2), code
    assert "should not have happened" not in complaint, complaint
    assert "Traceback" not in text + complaint
    assert (complaint.count("\n"), out.exists()) == ((1, False) if code == 2 else (0, True)), complaint
    return code, text + complaint
