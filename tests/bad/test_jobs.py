"""Every bad job file gets its one line or its finding, and what was in the folder before stays as it was."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from cutout.cli import run
from tests.bad.jobs import JobCase, cases
from tests.bad.pictures import good


@pytest.mark.parametrize("case", list(cases()), ids=lambda case: case.id)
def test_bad_job(case: JobCase, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "kite.png").write_bytes(good("PNG"))
    job = tmp_path / "job.toml"
    job.write_bytes(case.content)
    target = tmp_path / "out"
    target.mkdir()
    (target / "template.pdf").write_bytes(b"from an earlier run")
    code = run(["make", str(job), "--out", str(target)])
    out, err = capsys.readouterr()
    assert "Traceback" not in out + err
    assert "should not have happened" not in err
    assert code == case.code, (out + err)[-500:]
    assert re.search(case.says, (out + err).strip()), (out + err)[-500:]
    assert job.read_bytes() == case.content
    if code == 2:
        assert err.startswith("cutout: ") and err.count("\n") == 1
        assert [p.name for p in target.iterdir()] == ["template.pdf"]
        assert (target / "template.pdf").read_bytes() == b"from an earlier run"
    else:
        assert (target / "template.pdf").read_bytes().startswith(b"%PDF")
