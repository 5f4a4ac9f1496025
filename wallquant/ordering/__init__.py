"""The order of work: steps, what comes before what, and who lays what when."""

from __future__ import annotations

from wallquant.ordering.bound import least_time
from wallquant.ordering.clock import Shift
from wallquant.ordering.crews import Schedule, Turn, ranks, schedule, starts
from wallquant.ordering.needs import needs
from wallquant.ordering.pace import Pace
from wallquant.ordering.precedence import NEVER, SUPPORT, Graph, Link, OrderError, precedences
from wallquant.ordering.site import Walk
from wallquant.ordering.steps import make_steps, step_of
from wallquant.ordering.support import resting
from wallquant.ordering.walking import places

__all__ = [
    "NEVER", "SUPPORT", "Graph", "Link", "OrderError", "Pace", "Schedule", "Shift", "Turn", "Walk", "least_time", "make_steps",
    "needs", "places", "precedences", "ranks", "resting", "schedule", "starts", "step_of",
]  # fmt: skip
