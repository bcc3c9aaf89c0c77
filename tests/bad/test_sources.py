"""Every bad source gets the answer its maker should get: one line and exit 2, or a report; never a traceback."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from cutout.cli import run
from tests.bad import drawings, pictures
from tests.bad.pictures import Case

CASES = [*pictures.cases(), *drawings.cases()]


def test_there_are_enough_cases_and_each_has_its_own_name() -> None:
    assert len({case.id for case in CASES}) == len(CASES) >= 80


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.id)
def test_bad_source(case: Case, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    source = tmp_path / case.name
    source.write_bytes(case.content())
    before = sorted(tmp_path.rglob("*"))
    code = run(["check", str(source), "--no-sizes", "--width", "120mm", "--panel", "200x200mm"])
    out, err = capsys.readouterr()
    assert "Traceback" not in out + err
    assert "should not have happened" not in err
    assert code == case.code, (out + err)[-500:]
    assert re.search(case.says, out + err), (out + err)[-500:]
    if code == 2:
        assert out == ""
        assert err.startswith("cutout: ") and err.count("\n") == 1
        assert case.name in err
    else:
        assert err == ""
    assert sorted(tmp_path.rglob("*")) == before
