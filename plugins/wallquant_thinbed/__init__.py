"""The rule pack of thin-bed masonry: what it asks of the joints, what comes first, and what is worth telling on site."""

from __future__ import annotations

from collections.abc import Iterable

from wallquant.hookspecs import hookimpl
from wallquant.rules import Rule


@hookimpl
def wallquant_rules() -> Iterable[type[Rule]]:
    """Return the rules of this pack, one a module."""
    from wallquant_thinbed.bond_beams import BondBeams
    from wallquant_thinbed.closures import Closures
    from wallquant_thinbed.corner_leads import CornerLeads
    from wallquant_thinbed.handling import Handling
    from wallquant_thinbed.junctions import Junctions
    from wallquant_thinbed.levelling_course import LevellingCourse
    from wallquant_thinbed.lintel_bearing import LintelBearing
    from wallquant_thinbed.movement_joints import MovementJoints
    from wallquant_thinbed.patching import Patching
    from wallquant_thinbed.running_bond import RunningBond
    from wallquant_thinbed.scaffold_lifts import ScaffoldLifts
    from wallquant_thinbed.site_cautions import SiteCautions
    from wallquant_thinbed.small_openings import SmallOpenings
    from wallquant_thinbed.stability import Stability
    from wallquant_thinbed.storey_order import StoreyOrder
    from wallquant_thinbed.vertical_bars import VerticalBars

    laid = (RunningBond, LintelBearing, BondBeams, VerticalBars, LevellingCourse, Junctions, MovementJoints, Closures)
    told = (CornerLeads, StoreyOrder, ScaffoldLifts, Handling, Stability, SmallOpenings, Patching, SiteCautions)
    return (*laid, *told)
