"""Every promise in docs/explanation/trust.md names a test that exists."""

from __future__ import annotations

import re
from pathlib import Path

ROOT = Path(__file__).parents[2]


def test_each_promise_names_a_test_there_is() -> None:
    promises = (ROOT / "docs/explanation/trust.md").read_text("utf-8").split("\n## ")[0]
    lines = [line for line in promises.splitlines() if line.startswith("|")][2:]
    assert len(lines) >= 20
    for line in lines:
        named = re.search(r"`(tests/[\w/]+\.py)::(test_\w+)` \|$", line)
        assert named is not None, f"no test holds this: {line}"
        file, name = named.groups()
        assert re.search(rf"^def {name}\(", (ROOT / file).read_text("utf-8"), re.MULTILINE), name
