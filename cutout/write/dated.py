"""The date that stands on the paper: asked for in the job, or given by the environment; never the clock's."""

from __future__ import annotations

import os
from datetime import UTC, datetime

from cutout.errors import WriteError
from cutout.job.schema import Job

_VARIABLE = "SOURCE_DATE_EPOCH"
"""Seconds since 1970 that programs are to print for the time of day, so that their files can be made again
(reproducible-builds.org, specification of SOURCE_DATE_EPOCH)."""


def printed_date(job: Job) -> str:
    """The job's own date as it stands there, else that of the environment as year-month-day, else nothing.

    Raises WriteError when the environment's is no number of seconds.
    """
    if job.date is not None:
        return job.date
    given = os.environ.get(_VARIABLE, "").strip()
    if not given:
        return ""
    try:
        return datetime.fromtimestamp(int(given), UTC).strftime("%Y-%m-%d")
    except (ValueError, OverflowError, OSError):
        raise WriteError(f"{_VARIABLE} is {given[:30]!r}: give whole seconds, or leave it unset.") from None
