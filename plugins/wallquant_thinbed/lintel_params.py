"""Parameters of rule lintel_bearing."""

from __future__ import annotations

from dataclasses import dataclass

from wallquant.findings import Source
from wallquant.rules import ParamInfo, param
from wallquant.units import MM, Nm, inches


@dataclass(frozen=True, kw_only=True)
class Params:
    """Parameters of lintel_bearing."""

    bearing: Nm = param(
        inches(8),
        ParamInfo(
            kind="length",
            text="Least bearing of a lintel on each side",
            source=Source(basis="practice", text="8 in on each side in AAC; precast often required to bear 8 in, estimating handbook"),
            least=50 * MM,
            most=1000 * MM,
        ),
    )
    short_span: Nm = param(
        0,
        ParamInfo(
            kind="length",
            text="Up to this clear width short_bearing does; 0 for never",
            source=Source(basis="read", text="NHBC Standards 2020, 6.1.12, table 5: up to 1.2 m"),
            least=0,
            most=5000 * MM,
        ),
    )
    short_bearing: Nm = param(
        100 * MM,
        ParamInfo(
            kind="length",
            text="Least bearing up to short_span",
            source=Source(basis="read", text="NHBC Standards 2020, 6.1.12, table 5: 100 mm"),
            least=50 * MM,
            most=1000 * MM,
        ),
    )
    least: Nm = param(
        inches(4),
        ParamInfo(
            kind="length",
            text="No bearing is ever shorter, not even where two openings share a pier",
            source=Source(basis="read", text="2006 IBC 2104.1.5, 4 in, printed in a study card"),
            least=0,
            most=1000 * MM,
        ),
    )
    least_width: Nm = param(
        400 * MM,
        ParamInfo(
            kind="length",
            text="A narrower opening is bridged by the units themselves, where one unit bears enough on both sides",
            source=Source(basis="practice", text="small openings are spanned by a whole unit"),
            least=0,
            most=2000 * MM,
        ),
    )
    assumed_width: Nm = param(
        6000 * MM,
        ParamInfo(
            kind="length",
            text="Widest clear width over which a lintel made to measure is assumed, where virtual units are allowed; 0 for none",
            source=Source(basis="project", text="wider ones are frames, for the structural design"),
            least=0,
            most=20000 * MM,
        ),
    )
    assumed_height: Nm = param(
        100 * MM,
        ParamInfo(
            kind="length",
            text="Least height of a lintel made to measure where the wall ends less than a course above the head",
            source=Source(basis="project"),
            least=25 * MM,
            most=1000 * MM,
        ),
    )
    prop_from: Nm = param(
        0,
        ParamInfo(
            kind="length",
            text="Lintels over openings at least so wide are propped until what stands on them has set; 0 for none",
            source=Source(basis="project", text="engineer's value needed, or the supplier's"),
            least=0,
            most=10000 * MM,
        ),
    )
    prop_spacing: Nm = param(
        1200 * MM,
        ParamInfo(
            kind="length", text="Props and jambs are at most so far apart", source=Source(basis="project"), least=200 * MM, most=3000 * MM
        ),
    )
    prop_hours: float = param(
        168.0,
        ParamInfo(
            kind="number",
            text="From the last course of the run until its props are taken away",
            source=Source(basis="project", text="a week; the supplier or the engineer says how long"),
            unit="h",
            least=0,
            most=2000,
        ),
    )
    prop_seconds: int = param(
        600,
        ParamInfo(kind="count", text="Setting one prop", source=Source(basis="project", text="a guess"), unit="s", least=0, most=36000),
    )
    hoist_over: float = param(
        46.0,
        ParamInfo(
            kind="number",
            text="Mass as delivered above which a lintel is lifted by a hoist or crane",
            source=Source(basis="derived", text="two people, 23 kg each: load constant of the NIOSH lifting equation, NIOSH 94-110"),
            unit="kg",
            least=5,
            most=2000,
        ),
    )
    bearing_settles: float = param(
        1.0,
        ParamInfo(
            kind="number",
            text="From laying what a lintel bears on until it is set, as the mortar's supplier says; 0 for no wait",
            source=Source(basis="read", text="a thin-joint wall is stable after about 60 min: Concrete Centre, thin-joint blockwork"),
            unit="h",
            least=0,
            most=168,
        ),
    )
    apex_clear: Nm = param(
        inches(8),
        ParamInfo(
            kind="length",
            text="Masonry over the apex of the load triangle before arching is counted on",
            source=Source(basis="read", text="NCMA TEK 17-01B (2001): at least 8 in above the apex of a triangle at 45 degrees"),
            least=0,
            most=2000 * MM,
        ),
    )
