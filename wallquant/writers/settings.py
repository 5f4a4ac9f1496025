"""What a plan takes the site to be: crew, hours, hoists, how pallets stand, who lifts what, which bill; as the job says, else defaults."""

from __future__ import annotations

from dataclasses import fields
from typing import TYPE_CHECKING, Any

from wallquant.quantities.bill import DEDUCTIONS
from wallquant.quantities.site import SOURCES, Ground, Rates
from wallquant.units import MM, Nm

if TYPE_CHECKING:
    from wallquant.writers.plan import Plan


def settings(plan: Plan) -> dict[str, Any]:
    """Return the settings of a plan's site, lengths in millimetres, with the sources of those that are defaults of ours."""
    job, ground, rates = plan.job, Ground.of(plan.job, plan.system), Rates.of(plan.job, plan.system)
    staging = {f"{f.name}_mm": _mm(getattr(ground, f.name)) for f in fields(ground)}
    labour = {
        "alone_kg": round(rates.alone, 6),
        "two_kg": round(rates.two, 6),
        "band_mm": _mm(rates.band),
        "above": rates.above,
        "batch_bags": rates.batch_bags,
    }
    return {
        "masons": job.masons,
        "hoists": job.hoists,
        "resources": dict(sorted(job.resources.items())),
        "walking_m_per_min": job.walking,
        "start_weekday": job.start_weekday,
        "rest_days": list(job.rest_days),
        "days_off": sorted(job.days_off),
        "day_start": job.day_start,
        "day_hours": job.day_hours,
        "offcuts": job.offcuts,
        "staging": staging,
        "labour": labour,
        "bill": job.bill,
        "sources": {
            **{f"staging.{f.name}": str(SOURCES[f.name]) for f in fields(ground)},
            **{f"labour.{f.name}": str(SOURCES[f.name]) for f in fields(rates)},
            "bill": str(DEDUCTIONS[job.bill].source),
        },
    }


def _mm(length: Nm) -> float | int:
    return length // MM if length % MM == 0 else length / MM
