"""Three jobs to begin with, kept beside the page: the same files as in the folder of examples."""

from __future__ import annotations

from importlib import resources
from importlib.resources.abc import Traversable

from cutout.job.fields import files_in
from cutout.job.file import parse_job
from cutout.job.schema import Job

EXAMPLES = {
    "heron-shutter": "pine, 18 mm, light from behind",
    "screen-leaf": "in a frame, painted on the back",
    "key-rack": "the figure is kept, sawn in inches",
}
"""Each example with a few words on what it shows."""


def example(name: str) -> tuple[Job, dict[str, bytes]]:
    """The job and the bytes of every file it names, by the name it has there. Raises KeyError for other names."""
    if name not in EXAMPLES:
        raise KeyError(name)
    folder = _home() / name
    job = parse_job((folder / "job.toml").read_text("utf-8"), f"{name}/job.toml")
    return job, {file: (folder / file).read_bytes() for file in files_in(job)}


def _home() -> Traversable:
    return resources.files("cutout.page") / "examples"
