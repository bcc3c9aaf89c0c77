"""Lengths in errors: mm by themselves, in a job's own units where there is a job."""

from __future__ import annotations

import pickle
from pathlib import Path

import pytest

from cutout.errors import Length, ReadError
from cutout.job.file import parse_job
from cutout.job.set_up import set_up
from cutout.say import worded

SMALL = b"""<svg xmlns="http://www.w3.org/2000/svg" width="40mm" height="40mm" viewBox="0 0 40 40">
<circle cx="20" cy="20" r="0.4"/></svg>"""


def test_an_error_is_worded_in_mm_by_itself_and_keeps_its_lengths() -> None:
    error = ReadError("a {} of ", Length(12.7), " in it")
    assert str(error) == "a {} of 12.7 mm in it"
    assert str(pickle.loads(pickle.dumps(error))) == str(error)
    with pytest.raises(ReadError, match=r"^a \{\} of 1/2 in in it$"), worded("in"):
        raise error
    with pytest.raises(ReadError, match=r"^plain$") as plain, worded("in"):
        raise ReadError("plain")
    assert plain.value.__cause__ is None


@pytest.mark.parametrize(
    ("units", "said"), [("mm", "less than 2 mm across"), ("in", "less than 5/64 in across")]
)
def test_what_a_reader_refuses_is_told_in_the_units_of_the_job(tmp_path: Path, units: str, said: str) -> None:
    (tmp_path / "dot.svg").write_bytes(SMALL)
    job = parse_job(
        f'units = "{units}"\n[panel]\nwidth = "400mm"\nheight = "300mm"\n[[figures]]\nsource = "dot.svg"\n'
        'width = "0.5mm"\n',
        "job.toml",
    )
    with pytest.raises(ReadError, match=said):
        set_up(job, tmp_path)
