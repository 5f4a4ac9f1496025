"""Small laid plans for tests of the order of work, built by hand: every joint is where the test says."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from wallquant import catalogue, ordering
from wallquant.files import CUTS
from wallquant.layout import Bridge, Corner, Course, Courses, Junction, Pieces, Run, RunOpening, Step, Work
from wallquant.ordering import precedence
from wallquant.rules import Precedence
from wallquant.units import MM

PITCH, HEIGHT, BED = 200, 199, 10
"""Millimetres: pitch of courses, height of a unit, levelling bed."""


@dataclass(frozen=True)
class Row:
    """One piece, in millimetres of its run's stations and of level; `level` None: its course's own."""

    run: str
    course: int
    start: int
    end: int
    level: int | None = None
    height: int = HEIGHT
    cut: str = ""
    fixed: int = -1


@dataclass(frozen=True)
class Line:
    """One run: its length between nodes (mm), direction in plan, its first and last junction and those it runs through."""

    name: str
    length: int
    junctions: tuple[Junction, ...]
    at: tuple[int, int] = (0, 0)
    direction: tuple[float, float] = (1.0, 0.0)
    openings: tuple[RunOpening, ...] = ()
    courses: int = 4
    bottom: int = 0


def junction(corner: str, kind: str, role: str, station: int, other: str = "", other_role: str = "start") -> Junction:
    """A junction with a run that is 200 thick; at a free end with none."""
    return Junction(
        corner=corner,
        kind=kind,
        role=role,  # type: ignore[arg-type]
        station=station * MM,
        other=other,
        other_role=other_role,  # type: ignore[arg-type]
        thickness=200 * MM if other else 0,
    )


def opening(key: str, start: int, end: int, sill: int, head: int) -> RunOpening:
    """A through opening, in millimetres."""
    return RunOpening(key=key, wall="W1", start=start * MM, end=end * MM, sill=sill * MM, head=head * MM)


def made(
    lines: Sequence[Line],
    rows: Sequence[Row],
    *,
    phases: Mapping[str, tuple[str, ...]] | None = None,
    bridges: tuple[Bridge, ...] = (),
    start: str = "K1",
) -> Work:
    """Return the work of these runs, all in one connected part, and these pieces."""
    stock = catalogue.load("aac-metric")
    unit = stock.standard(200 * MM)
    assert unit is not None
    runs: dict[str, Run] = {}
    courses: dict[str, Courses] = {}
    for line in lines:
        run = Run(
            name=line.name,
            storey="S1",
            start=(line.at[0] * MM, line.at[1] * MM),
            angle_deg=float(np.degrees(np.arctan2(line.direction[1], line.direction[0]))),
            direction=line.direction,
            length=line.length * MM,
            thickness=200 * MM,
            bottom=line.bottom * MM,
            top=((0, 2600 * MM), (line.length * MM, 2600 * MM)),
            parts=(),
            junctions=line.junctions,
            openings=line.openings,
            unit=unit,
            catalogue=stock,
        )
        runs[line.name] = run
        levels = [line.bottom + BED + PITCH * k for k in range(line.courses)]
        laid = tuple(Course(run=run, number=k + 1, bottom=z * MM, top=(z + HEIGHT) * MM) for k, z in enumerate(levels))
        courses[line.name] = Courses(levels=laid, bed=BED * MM, joint=MM)
    names = tuple(sorted(runs))
    ordered = sorted(rows, key=lambda r: (names.index(r.run), r.course, r.start, r.level or 0))
    met: dict[str, list[tuple[bool, str]]] = {}
    kinds: dict[str, str] = {}
    for name in names:
        for j in runs[name].junctions:
            met.setdefault(j.corner, []).append((j.role != "through", name))
            kinds[j.corner] = j.kind
    corners = {
        corner: Corner(name=corner, kind=kinds[corner], at=(0, 0), runs=tuple(n for _, n in sorted(met[corner]))) for corner in sorted(met)
    }
    return Work(
        catalogue=stock,
        runs=runs,
        corners=corners,
        parts=(names,),
        courses=courses,
        pieces=_pieces(ordered, names, runs),
        bridges=bridges,
        phases=phases or {},
        start_corner={names[0]: start},
    )


def _pieces(rows: Sequence[Row], names: tuple[str, ...], runs: Mapping[str, Run]) -> Pieces:
    count = len(rows)
    level = [r.level if r.level is not None else runs[r.run].bottom // MM + BED + PITCH * (r.course - 1) for r in rows]
    place: list[int] = []
    for i, r in enumerate(rows):
        place.append(place[-1] + 1 if i and (rows[i - 1].run, rows[i - 1].course) == (r.run, r.course) else 1)
    volume = np.array([(r.end - r.start) * r.height * 200 / 1e9 for r in rows])
    return Pieces(
        runs=names,
        units=(next(iter(runs.values())).unit,),
        walls=("W1",),
        names=tuple(f"{r.run}-C{r.course:02d}-{p:02d}" for r, p in zip(rows, place, strict=True)),
        run=np.array([names.index(r.run) for r in rows], np.int32),
        course=np.array([r.course for r in rows], np.int32),
        place=np.array(place, np.int32),
        unit=np.zeros(count, np.int32),
        cut=np.array([sum(1 << CUTS.index(c) for c in r.cut.split("+") if c) for r in rows], np.int8),
        start=np.array([r.start * MM for r in rows], np.int64),
        end=np.array([r.end * MM for r in rows], np.int64),
        bottom=np.array([z * MM for z in level], np.int64),
        top=np.array([(z + r.height) * MM for z, r in zip(level, rows, strict=True)], np.int64),
        volume=volume,
        solid=volume,
        mass=volume * 600,
        wall=np.zeros(count, np.int32),
        fixed=np.array([r.fixed for r in rows], np.int32),
    )


def course(run: str, number: int, start: int, end: int, first: int = 599) -> list[Row]:
    """Pieces of 599 with joints of 1 from start to end; the first is `first` long, the last takes what is left."""
    out: list[Row] = []
    at, size = start, first
    while at < end:
        stop = min(at + size, end)
        out.append(Row(run, number, at, stop, cut="" if stop - at == 599 else "length"))
        at, size = stop + 1, 599
    return out


def corner(courses: int = 4, length: int = 3500) -> Work:
    """Worked case A: an L of two runs, 200 thick, with free ends; run A passes in odd courses.  Stations from the node."""
    end = length
    lines = [
        Line("A", end, (junction("K1", "L", "start", 0, "B"), junction("K2", "end", "end", end)), courses=courses),
        Line("B", end, (junction("K1", "L", "start", 0, "A"), junction("K3", "end", "end", end)), direction=(0.0, 1.0), courses=courses),
    ]
    rows: list[Row] = []
    for n in range(1, courses + 1):
        passing, butting = ("A", "B") if n % 2 else ("B", "A")
        rows += course(passing, n, -100, end) + course(butting, n, 101, end)
    return made(lines, rows, phases={"K1": tuple("A" if n % 2 else "B" for n in range(1, courses + 1))})


def door(courses: int = 13) -> Work:
    """A straight wall of 5999 with free ends and a door of 900 x 2010; its lintel of 1500 is one course high, in course 11."""
    line = Line(
        "R1",
        5999,
        (junction("K1", "end", "start", 0), junction("K2", "end", "end", 5999)),
        openings=(opening("D1", 2400, 3300, 0, 2010),),
        courses=courses,
    )
    rows: list[Row] = []
    for n in range(1, courses + 1):
        first = 599 if n % 2 else 299
        if n <= 10:
            rows += course("R1", n, 0, 2400, first) + course("R1", n, 3300, 5999, first)
        elif n == 11:
            rows += [*course("R1", n, 0, 2099, first), Row("R1", n, 2100, 3600, fixed=0), *course("R1", n, 3601, 5999, first)]
        else:
            rows += course("R1", n, 0, 5999, first)
    lintel = next(i for i, r in enumerate(sorted(rows, key=lambda r: (r.course, r.start))) if r.fixed >= 0)
    bridge = Bridge(
        opening="D1",
        wall="W1",
        run="R1",
        start=2400 * MM,
        end=3300 * MM,
        sill=0,
        head=2010 * MM,
        through=True,
        filling=None,
        bridged="lintel",
        lintel=(lintel,),
        bearing_start=300 * MM,
        bearing_end=300 * MM,
        bearing_least=200 * MM,
    )
    return made([line], rows, bridges=(bridge,))


def ring(courses: int = 5, axis: tuple[int, int] = (6000, 4200)) -> Work:
    """Four runs in a pinwheel, swapped every course: R1 and R3 along x, R2 and R4 along y; corners K1 to K4 round from (0, 0)."""
    wide, deep = axis

    def joint(corner: str, role: str, station: int, other: str, other_role: str) -> Junction:
        return junction(corner, "L", role, station, other, other_role)

    up = (0.0, 1.0)
    ends = {
        "R1": (joint("K1", "start", 0, "R4", "start"), joint("K2", "end", wide, "R2", "start")),
        "R2": (joint("K2", "start", 0, "R1", "end"), joint("K3", "end", deep, "R3", "end")),
        "R3": (joint("K4", "start", 0, "R4", "end"), joint("K3", "end", wide, "R2", "end")),
        "R4": (joint("K1", "start", 0, "R1", "start"), joint("K4", "end", deep, "R3", "start")),
    }
    lines = [
        Line("R1", wide, ends["R1"], courses=courses),
        Line("R2", deep, ends["R2"], (wide, 0), up, courses=courses),
        Line("R3", wide, ends["R3"], (0, deep), courses=courses),
        Line("R4", deep, ends["R4"], (0, 0), up, courses=courses),
    ]
    rows: list[Row] = []
    # In odd courses R1 passes at its start, R2 at its start, R3 at its end, R4 at its end; in even courses at the others.
    for n in range(1, courses + 1):
        for name, size, odd_at_start in (("R1", wide, True), ("R2", deep, True), ("R3", wide, False), ("R4", deep, False)):
            at_start = odd_at_start == bool(n % 2)
            rows += course(name, n, -100, size - 101) if at_start else course(name, n, 101, size + 100)
    odd = {"K1": "R1", "K2": "R2", "K3": "R3", "K4": "R4"}
    even = {"K1": "R4", "K2": "R1", "K3": "R2", "K4": "R3"}
    phases = {k: tuple(odd[k] if n % 2 else even[k] for n in range(1, courses + 1)) for k in odd}
    return made(lines, rows, phases=phases)


def stepped(work: Work, courses: int | Mapping[str, int] = 3, **more: object) -> Work:
    """The plan with its steps; leads of so many courses at each corner."""
    wanted = dict.fromkeys(work.corners, courses) if isinstance(courses, int) else courses
    return replace(work, steps=ordering.make_steps(work, wanted, **more))  # type: ignore[arg-type]


def step(name: str, seconds: int = 3600, kind: str = "line", panel: str = "R1") -> Step:
    """A step that lays nothing."""
    return Step(name=name, kind=kind, seconds=seconds, panel=panel, part=panel)


def before(*pairs: tuple[str, str], **more: object) -> list[Precedence]:
    """A precedence for each pair of names."""
    return [Precedence(first=(a,), then=(b,), rule="test_rule", **more) for a, b in pairs]  # type: ignore[arg-type]


def graph(seconds: Mapping[str, int], asked: Iterable[Precedence] = ()) -> ordering.Graph:
    """The graph of steps of so many seconds."""
    return precedence.build([step(name, s) for name, s in seconds.items()], asked)


def times(plan: ordering.Schedule) -> dict[str, tuple[float, float]]:
    """Start and end of each step, in hours of the clock."""
    return {t.step.name: (t.start_h, t.end_h) for t in plan.turns}
