"""Rules for webs by what is made."""

from __future__ import annotations

import pytest

from cutout.errors import KitError
from cutout.job.schema import Job, PanelPart
from cutout.job.set_up import limits_of
from cutout.kit import rule, rules, wood


@pytest.mark.parametrize(
    ("thickness", "along", "across"),
    [(3.0, 2.5, 3.5), (6.0, 3.5, 5.5), (8.0, 4.0, 6.75), (10.0, 4.5, 8.0), (20.0, 9.0, 16.0)],
)
def test_fretwork_goes_by_thickness(thickness: float, along: float, across: float) -> None:
    """Common practice, no source: 3 mm 2-3 along, 3-4 across; 6 mm 3-4, 5-6; 10 mm 4-5, 8; between, straight."""
    got = rule("fretwork").widths(thickness, wood("white-pine"))
    assert [g * thickness for g in got[:2]] == pytest.approx([along, across])


def test_open_grained_wood_wants_more_and_fibreboard_counts_as_across() -> None:
    """Ring-porous woods (red oak, ash) are fragile in fine fretwork: a scrollers' club handout; x 1.5: no source."""
    plain, open_grained = (rule("fretwork").widths(6.0, wood(w)) for w in ("walnut", "red-oak"))
    assert open_grained[0] == pytest.approx(1.5 * plain[0])
    assert rule("fretwork").widths(6.0, wood("mdf"))[2] == pytest.approx(plain[1])


def test_the_job_says_what_is_made_and_its_own_limits_win() -> None:
    panel = PanelPart(thickness="10mm", wood="white-pine")
    furniture, fretwork, sign = (
        limits_of(Job(panel=panel, made_for=made)) for made in ("furniture", "fretwork", "sign")
    )
    assert (furniture.web_along, furniture.web_across, furniture.web_stop) == (1.0, 2.0, 0.0)
    assert fretwork.web_along == pytest.approx(0.45) and fretwork.web_stop == 2.0
    assert sign.web_along < furniture.web_along
    own = Job.model_validate({"panel": panel, "made_for": "fretwork", "limits": {"web_along": 0.9}})
    assert limits_of(own).web_along == 0.9


def test_every_rule_has_a_source_and_an_unknown_one_is_refused() -> None:
    assert all(r.source and r.title for r in rules().values())
    with pytest.raises(KitError, match="unknown rule"):
        rule("boats")
