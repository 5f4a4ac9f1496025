"""Random small houses as wall lists, the same for the same seed: rooms, cross walls, wings, doors and windows."""

from __future__ import annotations

import random
from pathlib import Path

THICKNESSES = (100, 150, 200, 300)
HEIGHTS = (1210, 2410, 2500)


def wall_list(seed: int) -> list[str]:
    """Return the walls of a random house, a YAML entry each, in millimetres.

    Parameters
    ----------
    seed : int
        Equal seeds give equal houses.
    """
    dice = random.Random(seed)
    long, wide, t = 100 * dice.randint(20, 70), 100 * dice.randint(18, 50), dice.choice(THICKNESSES)
    out = [
        _wall(dice, "W1", (0, t / 2), (long, t / 2), t),
        _wall(dice, "W2", (t / 2, t), (t / 2, wide - t), t),
    ]
    if dice.random() < 0.7:
        out.append(_wall(dice, "W3", (long - t / 2, t), (long - t / 2, wide - t), t))
        out.append(_wall(dice, "W4", (0, wide - t / 2), (long, wide - t / 2), t))
        if dice.random() < 0.6:
            x = dice.randint(t + 400, long - t - 400)
            out.append(_wall(dice, "W5", (x, t), (x, wide - t), dice.choice(THICKNESSES)))
    if dice.random() < 0.4:
        y = dice.randint(2 * t, max(2 * t + 1, wide - 2 * t))
        out.append(_wall(dice, "W6", (-1500 - dice.randint(0, 900), y), (0, y), dice.choice(THICKNESSES)))
    return out


def _wall(dice: random.Random, name: str, start: tuple[float, float], end: tuple[float, float], thickness: int) -> str:
    length = abs(end[0] - start[0]) + abs(end[1] - start[1])
    height = dice.choice(HEIGHTS)
    holes = []
    at = dice.uniform(0.1, 0.5) * length
    for n in range(dice.randint(0, 2)):
        width = dice.choice((610, 900, 1010, 1200))
        sill = dice.choice((0, 0, 810))
        if at + width < length - 150 and height > sill + 1200:
            head = min(height - 390, sill + dice.choice((1200, 2010)))
            kind = "door" if sill == 0 else "window"
            hole = f"{{name: {name}-{n}, at: {at:.0f}, width: {width}, sill: {sill}, height: {head - sill}, filling: {{kind: {kind}}}}}"
            if head > sill:
                holes.append(hole)
        at += width + dice.randint(300, 1500)
    bearing = "false" if dice.random() < 0.2 else "true"
    said = f"name: {name}, storey: G, from: [{start[0]:g}, {start[1]:g}], to: [{end[0]:g}, {end[1]:g}], thickness: {thickness}"
    return f"{{{said}, height: {height}, bearing: {bearing}, openings: [{', '.join(holes)}]}}"


def write(walls: list[str], file: Path) -> Path:
    """Write a wall list; return the file."""
    head = "unit: mm\nstoreys:\n  - {name: G, level: 0}\nwalls:\n"
    file.write_text(head + "".join(f"  - {wall}\n" for wall in walls), encoding="utf-8")
    return file
