"""Pieces as columns: each solved run is a pattern, stamped once for every run that has it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wallquant.bonding.asking import Asked
from wallquant.bonding.laid import Outline, area, outline
from wallquant.bonding.mitres import Ring, body, ring
from wallquant.bonding.problem import Problem
from wallquant.bonding.solving import Solved
from wallquant.files import CUTS
from wallquant.layout import Pieces, Run
from wallquant.masonry import Unit
from wallquant.units import Nm

LENGTH, HEIGHT, RAKE, MITRE = (1 << CUTS.index(c) for c in ("length", "height", "rake", "mitre"))


@dataclass(frozen=True, kw_only=True)
class Pattern:
    """The pieces of one solved run without its name, place and level; `fixed` is the index of the piece put, or -1."""

    course: NDArray[np.int32]
    place: NDArray[np.int32]
    cut: NDArray[np.int8]
    start: NDArray[np.int64]
    end: NDArray[np.int64]
    bottom: NDArray[np.int64]
    top: NDArray[np.int64]
    area: NDArray[np.float64]
    unit: tuple[str, ...]
    fixed: NDArray[np.int32]
    outlines: Mapping[int, Outline]
    rings: Mapping[int, Ring]
    """Outlines in plan of pieces that are cut askew: stations and offsets."""


def patterned(
    problem: Problem, solved: Solved, uses: Sequence[tuple[int, Nm, Nm, str]], standard: Unit, units: Mapping[str, Unit]
) -> Pattern:
    """Return the pieces of a solved run, by course, start and bottom."""
    found: list[tuple[int, Nm, Nm, Nm, Nm, str, int, Outline | None, Ring | None]] = []
    leans = tuple(m.askew.lean if m.askew else 0 for m in (problem.meets[0], problem.meets[-1]))
    for row, layout in zip(solved.face.rows, solved.stack.layouts, strict=True):
        for a, b in layout:
            span = next(s for s in row.spans if s.lo <= a and b <= s.hi)
            course = problem.levels.course(span.bottom)
            own = leans[0] if span.lean_lo and a == span.lo else 0, leans[1] if span.lean_hi and b == span.hi else 0
            plan = ring(a, b, own, standard.thickness // 2) if own != (0, 0) else None
            shape = outline(problem, a, b, span.bottom, span.top)
            top = max(z for _, z in shape) if shape else span.top
            if shape:  # the toe of a rake is cut off where it begins above the bed
                a, b = min(s for s, _ in shape), max(s for s, _ in shape)
            # a ripped piece has no trough left, so that it is no U unit
            whole = top - span.bottom == standard.height
            unit = next(
                (u for c, lo, hi, u in uses if c == course and a < hi and b > lo and (whole or units[u].trough is None)), standard.code
            )
            found.append((course, a, span.bottom, b, top, unit, -1, shape, plan))
    for n, put in enumerate(solved.face.puts):
        if put.unit:
            found.append((problem.levels.course(put.bottom), put.lo, put.bottom, put.hi, put.top, put.unit, n, None, None))
    found.sort(key=lambda f: f[:5])
    places: list[int] = []
    for k, f in enumerate(found):
        places.append(places[-1] + 1 if k and found[k - 1][0] == f[0] else 1)
    cut = [_cut(f[3] - f[1], f[4] - f[2], f[7], units[f[5]]) | (MITRE if f[8] else 0) for f in found]
    return Pattern(
        course=np.array([f[0] for f in found], np.int32),
        place=np.array(places, np.int32),
        cut=np.array(cut, np.int8),
        start=np.array([f[1] for f in found], np.int64),
        end=np.array([f[3] for f in found], np.int64),
        bottom=np.array([f[2] for f in found], np.int64),
        top=np.array([f[4] for f in found], np.int64),
        area=np.array([_area(f, standard.thickness) for f in found], np.float64),
        unit=tuple(f[5] for f in found),
        fixed=np.array([f[6] for f in found], np.int32),
        outlines={k: f[7] for k, f in enumerate(found) if f[7]},
        rings={k: f[8] for k, f in enumerate(found) if f[8]},
    )


def _area(found: tuple[int, Nm, Nm, Nm, Nm, str, int, Outline | None, Ring | None], thickness: Nm) -> float:
    """Return the volume of a piece over its thickness."""
    _, start, bottom, end, top, _, _, shape, plan = found
    if plan:
        return body(shape or ((start, bottom), (end, bottom), (end, top), (start, top)), plan, thickness)
    return area(shape) if shape else float((end - start) * (top - bottom))


def _cut(length: Nm, height: Nm, shape: Outline | None, unit: Unit) -> int:
    mask = LENGTH if length != unit.length else 0
    if shape is not None:
        mask |= RAKE
        flat = max(z for _, z in shape) - min(z for _, z in shape)
        return mask | (HEIGHT if flat != unit.height and not _sloped(shape) else 0)
    return mask | (HEIGHT if height != unit.height else 0)


def _sloped(shape: Outline) -> bool:
    return any(a != b and p != q for (a, p), (b, q) in zip(shape, (*shape[1:], shape[0]), strict=True))


def stamped(runs: Sequence[Run], asked: Mapping[str, Asked], patterns: Mapping[str, Pattern], units: Sequence[Unit]) -> Pieces:
    """Stamp the patterns of all runs into one set of columns."""
    number = {u.code: n for n, u in enumerate(units)}
    walls = tuple(sorted({p.wall for r in runs for p in r.parts}))
    wall_number = {w: n for n, w in enumerate(walls)}
    used = [r for r in runs if len(patterns[r.name].course)]
    sizes = [len(patterns[r.name].course) for r in used]

    def column(name: str, kind: type, level: bool = False) -> NDArray[np.generic]:
        parts = [getattr(patterns[r.name], name) + (r.bottom if level else 0) for r in used]
        return np.concatenate(parts).astype(kind) if parts else np.zeros(0, kind)

    unit = np.concatenate([np.array([number[u] for u in patterns[r.name].unit], np.int32) for r in used]) if used else np.zeros(0, np.int32)
    index = {r.name: n for n, r in enumerate(runs)}
    run = np.repeat(np.array([index[r.name] for r in used], np.int32), sizes)
    thick = np.repeat(np.array([float(r.thickness) for r in used]), sizes)
    factor = np.repeat(np.array([r.catalogue.delivered_factor for r in used]), sizes)
    volume = (column("area", np.float64) * thick) / 1e27
    solid_share = np.array([u.solid_m3 / u.volume_m3 for u in units] or [1.0])
    density = np.array([u.density_kg_m3 for u in units] or [1.0])
    solid = volume * solid_share[unit]
    names: list[str] = []
    elevation: dict[int, Outline] = {}
    rings: dict[int, Ring] = {}
    wall: list[NDArray[np.int32]] = []
    fixed: list[NDArray[np.int32]] = []
    puts = 0
    at = 0
    for r in used:
        p = patterns[r.name]
        names += [f"{r.name}-C{c:02d}-{k:02d}" for c, k in zip(p.course.tolist(), p.place.tolist(), strict=True)]
        elevation.update({at + k: tuple((s, z + r.bottom) for s, z in shape) for k, shape in p.outlines.items()})
        rings.update({at + k: one for k, one in p.rings.items()})
        edges = [(a.end + b.start) // 2 for a, b in zip(r.parts, r.parts[1:], strict=False)]
        middle = (p.start + p.end) // 2
        owner = np.array([wall_number[x.wall] for x in r.parts], np.int32)
        wall.append(owner[np.searchsorted(np.array(edges, np.int64), middle, side="right")])
        fixed.append(np.where(p.fixed >= 0, p.fixed + puts, -1).astype(np.int32))
        puts += int(p.fixed.max(initial=-1)) + 1
        at += len(p.course)
    return Pieces(
        runs=tuple(r.name for r in runs),
        units=tuple(units),
        walls=walls,
        names=tuple(names),
        run=run,
        course=column("course", np.int32),  # type: ignore[arg-type]
        place=column("place", np.int32),  # type: ignore[arg-type]
        unit=unit,
        cut=column("cut", np.int8),  # type: ignore[arg-type]
        start=column("start", np.int64),  # type: ignore[arg-type]
        end=column("end", np.int64),  # type: ignore[arg-type]
        bottom=column("bottom", np.int64, level=True),  # type: ignore[arg-type]
        top=column("top", np.int64, level=True),  # type: ignore[arg-type]
        volume=volume,
        solid=solid,
        mass=solid * density[unit] * factor,
        wall=np.concatenate(wall) if wall else np.zeros(0, np.int32),
        fixed=np.concatenate(fixed) if fixed else np.zeros(0, np.int32),
        elevation=elevation,
        plan=rings,
    )
