"""Makes pieces, runs and courses for tests of cutting and quantities."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from wallquant.catalogue import Catalogue, Unit
from wallquant.files import CUTS
from wallquant.layout import Course, Courses, Junction, Part, Pieces, Run, RunOpening

Ring = tuple[tuple[int, int], ...]


@dataclass
class P:
    """One piece; a `cut` such as 'length+height' as in pieces.csv."""

    unit: Unit
    start: int
    end: int
    bottom: int
    top: int
    cut: str = ""
    course: int = 1
    run: str = "R1"
    fixed: int = -1
    elevation: Ring = field(default=())
    plan: Ring = field(default=())

    @property
    def volume_m3(self) -> float:
        box = (self.end - self.start) * (self.top - self.bottom) * self.unit.thickness / 1e27
        if self.elevation:
            return area(self.elevation) * self.unit.thickness / 1e27
        return area(self.plan) * (self.top - self.bottom) / 1e27 if self.plan else box


def area(ring: Ring) -> float:
    """Area of a polygon, squared units of its corners."""
    return abs(sum(x * v - u * y for (x, y), (u, v) in zip(ring, [*ring[1:], ring[0]], strict=True))) / 2


def piece(unit: Unit, length: int, height: int | None = None, cut: str = "length", **more: object) -> P:
    """A piece that lies somewhere."""
    return P(unit=unit, start=0, end=length, bottom=0, top=height or unit.height, cut=cut, **more)  # type: ignore[arg-type]


def made(listed: Sequence[P]) -> Pieces:
    """Return the columns of the listed pieces, in the order given."""
    units = tuple(sorted({p.unit for p in listed}, key=lambda u: u.code)) if listed else ()
    runs = tuple(sorted({p.run for p in listed}))

    def whole(name: str) -> np.ndarray:
        return np.array([getattr(p, name) for p in listed], dtype=np.int64)

    volume = np.array([p.volume_m3 for p in listed])
    solid = np.array([p.volume_m3 * p.unit.solid_m3 / p.unit.volume_m3 for p in listed])
    count = len(listed)
    return Pieces(
        runs=runs,
        units=units,
        walls=("W1",),
        names=tuple(f"{p.run}-C{p.course:02d}-{i:02d}" for i, p in enumerate(listed, 1)),
        run=np.array([runs.index(p.run) for p in listed], dtype=np.int32),
        course=whole("course").astype(np.int32),
        place=np.arange(1, count + 1, dtype=np.int32),
        unit=np.array([units.index(p.unit) for p in listed], dtype=np.int32),
        cut=np.array([sum(1 << CUTS.index(c) for c in p.cut.split("+") if c) for p in listed], dtype=np.int8),
        start=whole("start"),
        end=whole("end"),
        bottom=whole("bottom"),
        top=whole("top"),
        volume=volume,
        solid=solid,
        mass=solid * np.array([p.unit.density_kg_m3 for p in listed]) * 1.3,
        wall=np.zeros(count, dtype=np.int32),
        fixed=whole("fixed").astype(np.int32),
        elevation={i: p.elevation for i, p in enumerate(listed) if p.elevation},
        plan={i: p.plan for i, p in enumerate(listed) if p.plan},
    )


def course_of(unit: Unit, start: int, end: int, bottom: int, joint: int, number: int, run: str = "R1", lead: int = 0) -> list[P]:
    """Lay a course from `start` to `end`; `lead` is the length of its first piece, 0 for a whole unit; the last is cut to fit."""
    out, at = [], start
    while at < end:
        wide = min(lead if lead and at == start else unit.length, end - at)
        cut = "" if wide == unit.length else "length"
        out.append(P(unit=unit, start=at, end=at + wide, bottom=bottom, top=bottom + unit.height, cut=cut, course=number, run=run))
        at += wide + joint
    return out


def run_of(
    unit: Unit,
    length: int,
    courses: int,
    catalogue: Catalogue,
    *,
    name: str = "R1",
    junctions: tuple[Junction, ...] | None = None,
    openings: tuple[RunOpening, ...] = (),
    bottom: int = 0,
    angle: float = 0.0,
) -> Run:
    """A run of whole courses on the nominal bed."""
    top = bottom + catalogue.levelling_bed.nominal + courses * (unit.height + catalogue.bed.nominal) - catalogue.bed.nominal
    ends = (
        Junction(corner="K1", kind="end", role="start", station=0),
        Junction(corner="K2", kind="end", role="end", station=length),
    )
    line = ((0, top), (length, top))
    return Run(
        name=name,
        storey="",
        start=(0, 0),
        angle_deg=angle,
        direction=(1.0, 0.0) if angle == 0 else (0.0, 1.0),
        length=length,
        thickness=unit.thickness,
        bottom=bottom,
        top=line,
        parts=(Part(wall="W1", start=0, end=length, bottom=bottom, top=line, thickness=unit.thickness),),
        junctions=junctions or ends,
        openings=openings,
        unit=unit,
        catalogue=catalogue,
    )


def courses_of(run: Run, count: int) -> Courses:
    """Whole courses of a run."""
    bed, joint, high = run.catalogue.levelling_bed.nominal, run.catalogue.bed.nominal, run.unit.height
    levels = [run.bottom + bed + i * (high + joint) for i in range(count)]
    return Courses(levels=tuple(Course(run=run, number=i, bottom=b, top=b + high) for i, b in enumerate(levels, 1)), bed=bed, joint=joint)


def wall(unit: Unit, length: int, count: int, catalogue: Catalogue, lead: int = 0) -> tuple[Run, Courses, list[P]]:
    """A straight wall between free ends; every second course begins with a piece of `lead`."""
    run = run_of(unit, length, count, catalogue)
    courses = courses_of(run, count)
    joint = catalogue.head_joint.nominal
    listed = [p for c in courses for p in course_of(unit, 0, length, c.bottom, joint, c.number, lead=0 if c.number % 2 else lead)]
    return run, courses, listed


def box(unit: Unit, a: int, b: int, count: int, catalogue: Catalogue) -> tuple[dict[str, Run], dict[str, Courses], list[P]]:
    """A closed rectangle of outside size `a` x `b`: the runs of length `a` pass in odd courses, the others in even ones."""
    half, joint = unit.thickness // 2, catalogue.head_joint.nominal
    runs: dict[str, Run] = {}
    courses: dict[str, Courses] = {}
    listed: list[P] = []
    for number, (outside, others) in enumerate(((a, "R2 R4"), (b, "R3 R1"), (a, "R4 R2"), (b, "R1 R3")), 1):
        length = outside - unit.thickness
        plain = run_of(unit, length, count, catalogue)
        first, last = others.split()
        thick, top = unit.thickness, plain.top[0][1]
        ends = (
            Junction(corner="K1", kind="L", role="start", station=0, other=first, thickness=thick, bottom=0, top=top),
            Junction(corner="K2", kind="L", role="end", station=length, other=last, thickness=thick, bottom=0, top=top),
        )
        name = f"R{number}"
        runs[name] = run_of(unit, length, count, catalogue, name=name, junctions=ends, angle=0.0 if number % 2 else 90.0)
        courses[name] = courses_of(runs[name], count)
        for c in courses[name]:
            passes = (c.number % 2 == 1) == (number % 2 == 1)
            lo, hi = (-half, length + half) if passes else (half + joint, length - half - joint)
            listed += course_of(unit, lo, hi, c.bottom, joint, c.number, run=name)
    return runs, courses, listed
