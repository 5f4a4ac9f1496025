"""Random chains, polygons and stems that meet at any angle: planned, written and audited from the files alone."""

from __future__ import annotations

import random
from math import cos, hypot, pi, radians, sin
from pathlib import Path

import pytest

from tests.cases.test_worked_cases import planned
from wallquant.audit import audit
from wallquant.writers.folder import write

Ends = tuple[tuple[float, float], tuple[float, float]]


def chain(rng: random.Random, low: float, high: float) -> list[Ends]:
    """Two to five walls, each turned from the one before to the left or right by `low` to `high` degrees."""
    x, y, heading = 0.0, 0.0, rng.uniform(0, 360)
    out: list[Ends] = []
    for _ in range(rng.randint(2, 5)):
        long = rng.uniform(400, 3000)
        end = (round(x + long * cos(radians(heading)), 1), round(y + long * sin(radians(heading)), 1))
        out.append(((x, y), end))
        (x, y), heading = end, heading + rng.choice([-1, 1]) * rng.uniform(low, high)
    return out


def polygon(rng: random.Random) -> list[Ends]:
    """A circle, or half of one, by 8 to 24 chords."""
    count, radius, phase = rng.randint(8, 24), rng.uniform(1500, 4000), rng.random()
    turns = [2 * pi * (k + phase) / count for k in range(count)]
    points = [(round(radius * cos(a), 1), round(radius * sin(a), 1)) for a in turns]
    return [(points[k], points[(k + 1) % count]) for k in range(count if rng.random() < 0.5 else count // 2)]


def stem(rng: random.Random) -> list[Ends]:
    """A wall, and one that ends at it at 30 to 150 degrees."""
    long, long_stem, angle = rng.uniform(2500, 4000), rng.uniform(1200, 2500), radians(rng.uniform(30, 150))
    at = rng.uniform(900, long - 900)
    return [((0, 0), (long, 0)), ((at, 0), (round(at + long_stem * cos(angle), 1), round(long_stem * sin(angle), 1)))]


def listed(rng: random.Random, ends: list[Ends]) -> list[str]:
    """Return walls of one thickness as lines of a wall list: some are drawn too long or short, are lower, or have an opening."""
    thickness = rng.choice([100, 150, 200, 300])
    out = []
    for k, ((a, b), (c, d)) in enumerate(ends):
        long = hypot(c - a, d - b)
        u, v = (c - a) / long, (d - b) / long
        before, after = (rng.choice([0, 0, thickness / 2, -6]) for _ in range(2))
        start, end = (round(a - u * before, 1), round(b - v * before, 1)), (round(c + u * after, 1), round(d + v * after, 1))
        line = f"name: W{k}, from: [{start[0]}, {start[1]}], to: [{end[0]}, {end[1]}], height: {rng.choice([810, 810, 1210])}"
        if long > 1500 and rng.random() < 0.4:
            width = rng.uniform(300, long - 700)
            at = rng.uniform(250, long - width - 250)
            line += f", openings: [{{name: O{k}, at: {at:.1f}, width: {width:.1f}, sill: 210, height: 400}}]"
        out.append(line.replace("name: W", f"thickness: {thickness}, name: W"))
    return out


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize("kind", ["blunt", "sharp", "polygon", "stem"])
def test_corners_at_any_angle_are_sound(kind: str, seed: int, tmp_path: Path) -> None:
    rng = random.Random(f"{kind} {seed}")
    made = {"blunt": lambda: chain(rng, 30, 95), "sharp": lambda: chain(rng, 95, 150)[:2]}
    made |= {"polygon": lambda: polygon(rng), "stem": lambda: stem(rng)}
    ends = made[kind]()
    plan = planned(tmp_path, listed(rng, ends), any_thickness=True)
    write(plan, tmp_path / "out", run={}, writers={})
    assert audit(tmp_path / "out") == ()
    angled = [c.name for c in plan.work.corners.values() if c.kind == "angled"]
    told = " ".join(f.text for f in plan.findings if f.code in ("bond.mitre", "bond.angled-corner"))
    assert angled and all(name in told.replace(",", " ").replace(":", " ").split() for name in angled)
