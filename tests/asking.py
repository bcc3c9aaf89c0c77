"""A finished job with something else asked for: fields of Work as they are, settings by their own name."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from cutout.job.schema import Job, RouterPart, TemplatePart
from cutout.write.work import Work

_OF_TEMPLATE = frozenset(TemplatePart.model_fields)


def job_asking(job: Job, **settings: Any) -> Job:
    """The job with settings of its template by name; router_wanted and dxf_version are the router's."""
    of_template = {k: v for k, v in settings.items() if k in _OF_TEMPLATE}
    router = job.router
    if "router_wanted" in settings:
        router = RouterPart(gcode=settings["router_wanted"])
    if "dxf_version" in settings:
        router = router.model_copy(update={"dxf": settings["dxf_version"]})
    return job.model_copy(update={"template": job.template.model_copy(update=of_template), "router": router})


def asking(work: Work, **fields: Any) -> Work:
    """The work with settings of its job, its units, or fields of its own changed."""
    own = {k: v for k, v in fields.items() if k in Work.__dataclass_fields__}
    kit = own.pop("kit", work.kit)
    kit = replace(kit, units=fields["units"]) if "units" in fields else kit
    asked = {k: v for k, v in fields.items() if k not in own and k not in ("units", "kit")}
    return replace(work, **own, kit=kit, job=job_asking(work.job, **asked))
