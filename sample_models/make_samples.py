"""Write the sample models beside this file; the same bytes come out each time.

    python sample_models/make_samples.py [FOLDER]

Both sites and their buildings are invented.  The README beside it says what is in each model, and what is wrong in it on
purpose.  Written for this project.
"""

from __future__ import annotations

import sys
from math import sqrt
from pathlib import Path

from ifc_drawing import Drawing, Drawn, Hole, Rake

START, END, PATH = "ATSTART", "ATEND", "ATPATH"
METRIC, US = "landing_tool_store_mm.ifc", "field_station_workshop_in.ifc"


def metric_walls() -> list[Drawn]:
    """Return the walls of the tool store, in millimetres from its outer south-west corner.

    The outer ring stands 9200 x 6800 outside with axes of 9000 x 6600, fifteen and eleven pitches.
    """
    t, h, slope = 200.0, 2400.0, 1 / sqrt(3)
    return [
        Drawn(  # starts mitred with W4, ends square at the inner face of W2
            name="W1 south",
            start=(100, 100),
            end=(9000, 100),
            thickness=t,
            height=h,
            bearing=True,
            external=True,
            mitres=(1, 0),
            holes=(
                Hole(name="N1", start=500, end=1700, sill=1000, head=2000, filling="window"),
                Hole(name="D1", start=2900, end=3900, sill=0, head=2000, filling="door", across=True, beyond=50),
                Hole(name="D2", start=6500, end=8500, sill=0, head=2000, filling="door"),
            ),
        ),
        Drawn(  # the gable: runs to the outside at both ends, two planes of 30 degrees cut its top
            name="W2 east gable",
            start=(9100, 0),
            end=(9100, 6800),
            thickness=t,
            height=4400,
            bearing=True,
            external=True,
            rakes=(Rake(station=0, level=h, slope=slope), Rake(station=6800, level=h, slope=-slope)),
            holes=(
                Hole(name="N2", start=900, end=2100, sill=800, head=2000, filling="window"),
                Hole(name="N3", start=5100, end=6100, sill=1000, head=2000, filling="window", across=True, beyond=50),
                Hole(name="N4", start=3000, end=3800, sill=2600, head=3400, filling="window"),
            ),
        ),
        Drawn(  # drawn from east to west; ends at the crossing of the axes, as does W4
            name="W3 north",
            start=(9000, 6700),
            end=(100, 6700),
            thickness=t,
            height=h,
            bearing=True,
            external=True,
            line=1,
            holes=(
                Hole(name="N6", start=1640, end=2770, sill=1000, head=2000, filling="window"),
                Hole(name="D3", start=4800, end=5800, sill=0, head=2100, filling="door"),
                Hole(name="N5", start=7300, end=8300, sill=1000, head=2000, filling="window", across=True, beyond=50),
            ),
        ),
        Drawn(
            name="W4 west",
            start=(100, 6700),
            end=(100, 100),
            thickness=t,
            height=h,
            bearing=True,
            external=True,
            mitres=(0, -1),
            holes=(
                Hole(name="N7", start=800, end=2000, sill=800, head=2000, filling="window"),
                Hole(name="D4", start=5500, end=6400, sill=0, head=2000, filling="door"),
            ),
        ),
        Drawn(  # the body stops at the faces, the axis runs on to the axes of W1 and W3
            name="W5 cross wall",
            start=(5100, 200),
            end=(5100, 6600),
            thickness=t,
            height=h,
            bearing=True,
            reach=(100, 100),
            holes=(Hole(name="D5", start=4500, end=5400, sill=0, head=2000, filling="door", across=True, beyond=25),),
        ),
        Drawn(  # runs on to the axis of W5, so the two bodies overlap there
            name="W6 partition",
            start=(200, 3700),
            end=(5100, 3700),
            thickness=100,
            height=h,
            bearing=False,
            holes=(Hole(name="D6", start=3100, end=3900, sill=0, head=2000, filling="door"),),
        ),
        Drawn(  # crosses W6; both are drawn through
            name="W7 partition",
            start=(2500, 200),
            end=(2500, 6600),
            thickness=100,
            height=h,
            bearing=False,
            holes=(
                Hole(name="D7", start=1100, end=1900, sill=0, head=2000, filling="door"),
                Hole(name="D8", start=4700, end=5500, sill=0, head=2000, filling="door", across=True, beyond=50),
            ),
        ),
        Drawn(
            name="W8 partition",
            start=(5200, 2500),
            end=(9000, 2500),
            thickness=150,
            height=h,
            bearing=False,
            line=-1,
            holes=(Hole(name="P1", start=900, end=1800, sill=0, head=2000),),
        ),
        Drawn(name="W9 wind screen", start=(9200, 4500), end=(11530, 4500), thickness=t, height=1800, bearing=False, external=True, line=1),
    ]


def us_walls() -> list[Drawn]:
    """Return the walls of the workshop, in inches from its outer south-west corner: 30 x 20 ft outside."""
    t, h = 8.0, 96.0
    return [
        Drawn(  # runs to the outside in the west, ends square at the inner face of U2
            name="U1 south",
            start=(0, 4),
            end=(352, 4),
            thickness=t,
            height=h,
            bearing=True,
            external=True,
            holes=(
                Hole(name="D1", start=96, end=168, sill=0, head=80, filling="door", across=True, beyond=2),
                Hole(name="N1", start=264, end=312, sill=40, head=80, filling="window"),
            ),
        ),
        Drawn(  # the gable: runs to the outside at both ends, two planes of 6 in 12 cut its top
            name="U2 east gable",
            start=(356, 0),
            end=(356, 240),
            thickness=t,
            height=160,
            bearing=True,
            external=True,
            rakes=(Rake(station=0, level=h, slope=0.5), Rake(station=240, level=h, slope=-0.5)),
            holes=(
                Hole(name="D2", start=36, end=72, sill=0, head=80, filling="door"),
                Hole(name="N2", start=168, end=204, sill=40, head=80, filling="window"),
                Hole(name="N3", start=102, end=138, sill=104, head=128, filling="window", across=True, beyond=2),
            ),
        ),
        Drawn(  # drawn from east to west, mitred with U4
            name="U3 north",
            start=(352, 236),
            end=(4, 236),
            thickness=t,
            height=h,
            bearing=True,
            external=True,
            mitres=(0, -1),
            holes=(
                Hole(name="N4", start=64, end=112, sill=40, head=80, filling="window"),
                Hole(name="N5", start=256, end=304, sill=40, head=80, filling="window", across=True, beyond=2),
            ),
        ),
        Drawn(
            name="U4 west",
            start=(4, 236),
            end=(4, 8),
            thickness=t,
            height=h,
            bearing=True,
            external=True,
            mitres=(1, 0),
            holes=(
                Hole(name="N6", start=20, end=52, sill=40, head=80, filling="window"),
                Hole(name="N7", start=160, end=196, sill=40, head=80, filling="window"),
            ),
        ),
        Drawn(
            name="U5 cross wall",
            start=(204, 8),
            end=(204, 232),
            thickness=t,
            height=h,
            bearing=True,
            reach=(4, 4),
            holes=(
                Hole(name="D3", start=32, end=68, sill=0, head=80, filling="door"),
                Hole(name="D4", start=160, end=196, sill=0, head=80, filling="door"),
            ),
        ),
        Drawn(
            name="U6 cross wall",
            start=(208, 132),
            end=(352, 132),
            thickness=t,
            height=h,
            bearing=True,
            holes=(Hole(name="D5", start=52, end=88, sill=0, head=80, filling="door", across=True, beyond=2),),
        ),
        Drawn(
            name="U7 partition",
            start=(8, 96),
            end=(200, 96),
            thickness=4,
            height=h,
            bearing=False,
            line=-1,
            holes=(Hole(name="D6", start=32, end=64, sill=0, head=80, filling="door"),),
        ),
        Drawn(
            name="U8 partition",
            start=(132, 98),
            end=(132, 232),
            thickness=4,
            height=h,
            bearing=False,
            holes=(Hole(name="D7", start=52, end=82, sill=0, head=80, filling="door"),),
        ),
        Drawn(name="U9 yard screen", start=(0, 156), end=(-96, 156), thickness=t, height=72, bearing=False, external=True),
        Drawn(name="U10 yard screen", start=(-100, 160), end=(-100, 88), thickness=t, height=72, bearing=False, external=True),
    ]


METRIC_JOINS = (
    ("W1", END, "W2", START),
    ("W2", END, "W3", START),
    ("W3", END, "W4", START),
    ("W4", END, "W1", START),
    ("W5", START, "W1", PATH),
    ("W5", END, "W3", PATH),
    ("W6", START, "W4", PATH),
    ("W6", END, "W5", PATH),
    ("W7", START, "W1", PATH),
    ("W7", END, "W3", PATH),
    ("W7", PATH, "W6", PATH),
    ("W8", START, "W5", PATH),
    ("W8", END, "W2", PATH),
    ("W9", START, "W2", PATH),
)
US_JOINS = (
    ("U1", END, "U2", START),
    ("U2", END, "U3", START),
    ("U3", END, "U4", START),
    ("U4", END, "U1", START),
    ("U5", START, "U1", PATH),
    ("U5", END, "U3", PATH),
    ("U6", START, "U5", PATH),
    ("U6", END, "U2", PATH),
    ("U7", START, "U4", PATH),
    ("U7", END, "U5", PATH),
    ("U8", START, "U7", PATH),
    ("U8", END, "U3", PATH),
    ("U9", START, "U4", PATH),
    ("U9", END, "U10", START),
)


def _write(path: Path, drawing: Drawing, storey: str, walls: list[Drawn], joins: tuple[tuple[str, str, str, str], ...]) -> None:
    floor = drawing.storey(storey, 0.0)
    made = {wall.name.split()[0]: drawing.wall(floor, wall) for wall in walls}
    for first, first_end, second, second_end in joins:
        drawing.join(made[first], first_end, made[second], second_end)
    drawing.write(path)


def write_samples(folder: Path) -> None:
    """Write both models into `folder`."""
    metric = Drawing(
        schema="IFC4",
        unit="mm",
        name="Vennmarsh ferry landing",
        site="Vennmarsh slip",
        building="Tool store",
        material="AAC block",
        at=(4000.0, 2500.0),
    )
    _write(folder / METRIC, metric, "Ground floor", metric_walls(), METRIC_JOINS)
    us = Drawing(
        schema="IFC2X3",
        unit="in",
        name="Juniper Wash field station",
        site="Juniper Wash camp",
        building="Workshop",
        material="AAC block",
        at=(120.0, 240.0),
    )
    _write(folder / US, us, "Floor 1", us_walls(), US_JOINS)


if __name__ == "__main__":
    write_samples(Path(sys.argv[1]) if len(sys.argv) > 1 else Path(__file__).parent)
