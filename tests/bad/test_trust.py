"""Every promise in docs/explanation/trust.md names a test that exists."""

from __future__ import annotations

import re
from pathlib import Path

ROOT = Path(__file__).parents[2]


def test_each_promise_names_a_test_there_is() -> None:
    rows = re.findall(
        r"`(tests/[\w/]+\.py)::(test_\w+)` \|", (ROOT / "docs/explanation/trust.md").read_text("utf-8")
    )
    assert len(rows) >= 20
    for file, name in rows:
        assert re.search(rf"^def {name}\(", (ROOT / file).read_text("utf-8"), re.MULTILINE), name
