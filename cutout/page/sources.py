"""The files a job is read from, wherever in it they are named."""

from __future__ import annotations

import re
from collections.abc import Mapping

from cutout.job.fields import with_files
from cutout.job.schema import Job

_OPTION = re.compile(r"(?<!\S)--([a-z][a-z-]*)")
"""An option of the command line: on the page its bare name is a field."""

_OWN_NAME = re.compile(r"\bsource-[0-9]{1,6}\b")


def renamed(job: Job, names: Mapping[str, str]) -> Job:
    """The job with every source called by its new name; one without a new name keeps its own."""
    return with_files(job, lambda name: names.get(name, name))


def with_labels(text: str, labels: Mapping[str, str]) -> str:
    """A sentence about our own file names, said with the names the user knows files and settings by."""
    named = _OWN_NAME.sub(lambda found: labels.get(found[0], found[0]), text)
    return _OPTION.sub(r"\1", named)
