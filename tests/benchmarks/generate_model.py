"""Make IFC models of any size for the benchmarks: rooms on a grid, wall lines that cross, doors and windows.

The plan is the same on each storey (walls stand on walls) but every storey has its own openings, so that no storey is a
copy of another one.  Most axes, jambs and bearing levels are multiples of 200 mm; some are not.
"""

from __future__ import annotations

import sys
from itertools import pairwise
from pathlib import Path
from random import Random

# ifc_drawing.py lies beside the sample models, which are no package
sys.path.insert(0, str(Path(__file__).resolve().parents[2] / "sample_models"))

from ifc_drawing import Drawing, Drawn, Hole

THICKNESS, HEIGHT, STOREY = 200, 2600, 2800

SIZES: dict[int, dict[str, int]] = {
    1_000: {"storeys": 1, "bays_x": 2, "bays_y": 2},
    10_000: {"storeys": 2, "bays_x": 7, "bays_y": 4},
    100_000: {"storeys": 8, "bays_x": 9, "bays_y": 8},
}
"""Arguments of `write` for about so many pieces of a 600 x 200 mm unit."""


def write(path: Path, *, storeys: int, bays_x: int, bays_y: int, seed: int) -> None:
    """Write an IFC4 model in millimetres; equal arguments give equal bytes.

    A storey has ``bays_x + bays_y + 2`` walls and ``2 * bays_x * bays_y + bays_x + bays_y`` stretches between corners.  A
    stretch (3.9 m long on average, 13 courses, openings out) holds the face area of 72 units of 600 x 200 mm, and as cut
    pieces count as pieces too, some 80 pieces.  So a model has about 80 pieces for each stretch of each storey; `SIZES` has
    arguments for round numbers.

    Parameters
    ----------
    path : Path
        The file to write.
    storeys : int
        Number of storeys, 2.8 m apart; walls are 2.6 m high (drawn: 13 courses of 200 and a bed of 10 end at 2609).
    bays_x, bays_y : int
        Rooms along x and y, each at least 1.
    seed : int
        Of the sizes of rooms and openings.
    """
    dice = Random(seed)
    xs, ys = _lines(dice, bays_x), _lines(dice, bays_y)
    drawing = Drawing(
        schema="IFC4", unit="mm", name=f"Grid {storeys} {bays_x} {bays_y} {seed}", site="Plot", building="Grid house", material="AAC block"
    )
    for level in range(storeys):
        floor = drawing.storey(f"Level {level}", float(level * STOREY))
        for kind, across, along in (("A", ys, xs), ("B", xs, ys)):
            for at, position in enumerate(across):
                outer = at in (0, len(across) - 1)
                wall = _wall(dice, f"{kind}{at + 1}", kind, position, along, outer=outer, ground=level == 0 and at == 0)
                drawing.wall(floor, wall)
    drawing.write(path)


def _lines(dice: Random, bays: int) -> list[int]:
    """Return the axes of the wall lines, from the outer face of the first: bays of 3.0 to 4.8 m."""
    lines = [THICKNESS // 2]
    for _ in range(bays):
        off = dice.randrange(10, 200, 10) if dice.random() < 0.15 else 0
        lines.append(lines[-1] + dice.randrange(3000, 4801, 200) + off)
    return lines


def _wall(dice: Random, name: str, kind: str, position: int, along: list[int], *, outer: bool, ground: bool) -> Drawn:
    """Draw one line: outer walls of kind A run to the outside, all others stop at the inner face of the outer walls."""
    half = THICKNESS // 2
    first, last = (along[0] - half, along[-1] + half) if kind == "A" and outer else (along[0] + half, along[-1] - half)
    holes = [
        hole
        for at, (left, right) in enumerate(pairwise(along))
        if (hole := _hole(dice, f"{name}.{at + 1}", left - first, right - first, outer=outer, door=not outer or (ground and at == 0)))
    ]
    ends = ((first, position), (last, position)) if kind == "A" else ((position, first), (position, last))
    return Drawn(name=name, start=ends[0], end=ends[1], thickness=THICKNESS, height=HEIGHT, bearing=True, external=outer, holes=holes)


def _hole(dice: Random, name: str, left: int, right: int, *, outer: bool, door: bool) -> Hole | None:
    """Return an opening between two axes, or None; its jambs keep 600 mm or more from both."""
    if dice.random() > (0.8 if outer else 0.7):
        return None
    width = dice.choice((800, 900, 1000) if door else (800, 1000, 1200, 1400))
    step = 200 if dice.random() < 0.85 else 10
    first = left - THICKNESS // 2 + 800
    start = first + dice.randrange(0, right - 600 - width - first + 1, step)
    head = 2100 if dice.random() < 0.05 else 2000
    return Hole(
        name=name,
        start=start,
        end=start + width,
        sill=0 if door else dice.choice((800, 1000)),
        head=head,
        filling="door" if door else "window",
        across=dice.random() < 0.5,
        beyond=dice.choice((0, 50)),
    )
