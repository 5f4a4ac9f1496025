"""Small walls from a few lines of YAML: the runs, courses, pieces and steps that a rule sees."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from wallquant import catalogue as catalogues
from wallquant.building import Profile
from wallquant.catalogue import Catalogue
from wallquant.layout import Bridge, Corner, Course, Courses, Junction, Part, Pieces, Run, RunOpening, Step, Work
from wallquant.units import Nm, parse_length

Case = Mapping[str, Any]
RUN = ("name", "length", "unit", "courses", "bottom", "bed", "top", "profile", "corners", "openings", "bearing")
OPENING = ("key", "start", "width", "sill", "head", "through", "name")
CORNER = (
    "corner", "kind", "role", "at", "other", "other_role", "thickness", "bottom", "top", "turn", "bearing", "first",
)  # fmt: skip
"""Keys of a run, an opening and a corner in a case."""


def length(value: object, default: Nm = 0) -> Nm:
    """A length with its unit, or `default` where nothing is written."""
    return default if value is None else parse_length(str(value))


def work_of(case: Case) -> Work:
    """Build the work of a case: its runs, and the pieces and steps that it lists."""
    catalogue = catalogues.load(case["catalogue"]).model_copy(update={"to_measure": bool(case.get("any_thickness"))})
    built = [_run(catalogue, given) for given in case.get("runs", [case["run"]] if "run" in case else [])]
    runs = {run.name: run for run, _ in built}
    courses = {run.name: several for run, several in built}
    corners = {j.corner: Corner(name=j.corner, kind=j.kind, at=(0, 0), runs=(run.name,)) for run in runs.values() for j in run.junctions}
    steps = tuple(_step(line) for line in case.get("steps", []))
    return Work(
        catalogue=catalogue,
        runs=runs,
        corners=corners,
        parts=tuple(tuple(part.split()) for part in case.get("parts", [" ".join(sorted(runs))])),
        courses=courses,
        pieces=_pieces(runs, courses, case.get("pieces", [])),
        bridges=tuple(_bridges(runs, case.get("bridged", {}))),
        steps=steps,
        start_corner=dict(case.get("start", {})),
    )


def _run(catalogue: Catalogue, given: Case) -> tuple[Run, Courses]:
    name, long, bottom = str(given.get("name", "R1")), length(given["length"]), length(given.get("bottom"))
    unit = catalogue.unit(given["unit"])
    joint, bed = catalogue.bed.nominal, length(given.get("bed"), catalogue.levelling_bed.nominal)
    first, pitch = bottom + bed, unit.height + joint
    high = int(given["courses"])
    top = length(given.get("top"), first + high * pitch - joint)
    profile: Profile = ((0, top), (long, top))
    if "profile" in given:
        profile = tuple((length(at), length(level)) for at, level in given["profile"])
    run = Run(
        name=name,
        storey="Ground",
        start=(0, 0),
        angle_deg=0.0,
        direction=(1.0, 0.0),
        length=long,
        thickness=unit.thickness,
        bottom=bottom,
        top=profile,
        parts=(Part(wall="W1", start=0, end=long, bottom=bottom, top=profile, thickness=unit.thickness),),
        junctions=_junctions(name, long, top, given.get("corners", [])),
        openings=tuple(_opening(one) for one in given.get("openings", [])),
        unit=unit,
        catalogue=catalogue,
        bearing=given.get("bearing"),
    )
    levels = tuple(Course(run=run, number=n + 1, bottom=first + n * pitch, top=first + n * pitch + unit.height) for n in range(high))
    return run, Courses(levels=levels, bed=bed, joint=joint)


def _junctions(name: str, long: Nm, top: Nm, given: Sequence[Case]) -> tuple[Junction, ...]:
    out = []
    for one in given:
        role = str(one.get("role", "through"))
        out.append(
            Junction(
                corner=str(one["corner"]),
                kind=str(one["kind"]),
                role=role,  # type: ignore[arg-type]
                station={"start": 0, "end": long}.get(role, length(one.get("at"))),
                other=str(one.get("other", "")),
                other_role=one.get("other_role", "start"),
                thickness=length(one.get("thickness")),
                bottom=length(one.get("bottom")),
                top=length(one.get("top"), top),
                turn=float(one.get("turn", 90.0)),
                bearing=one.get("bearing"),
                goes_first=bool(one.get("first", False)),
            )
        )
    roles = {j.role for j in out}
    for role, at in (("start", 0), ("end", long)):
        if role not in roles:
            out.append(Junction(corner=f"{name}-{role}", kind="end", role=role, station=at))  # type: ignore[arg-type]
    return tuple(sorted(out, key=lambda j: (j.station, j.corner)))


def _opening(given: Case) -> RunOpening:
    start = length(given["start"])
    return RunOpening(
        key=str(given["key"]),
        wall="W1",
        start=start,
        end=start + length(given["width"]),
        sill=length(given.get("sill")),
        head=length(given["head"]),
        through=bool(given.get("through", True)),
        name=str(given.get("name", "")),
    )


def _bridges(runs: Mapping[str, Run], given: Mapping[str, str]) -> list[Bridge]:
    """How openings are bridged: those that the case names, as it says, and those that do not go through."""
    return [
        Bridge(
            opening=o.key, wall=o.wall, run=name, start=o.start, end=o.end, sill=o.sill, head=o.head, through=o.through,
            filling=o.filling, bridged=given.get(o.key, "none"),
        )
        for name in sorted(runs)
        for o in runs[name].openings
        if o.key in given or not o.through
    ]  # fmt: skip


def _step(line: str) -> Step:
    """``name kind runs course corner part``, runs and words of a kind joined by +, - for no corner."""
    name, kind, runs, course, corner, part = line.split()
    kind = kind.replace("+", " ")
    return Step(name=name, kind=kind, runs=tuple(runs.split("+")), course=int(course), corner=corner.strip("-"), part=part)


def _pieces(runs: Mapping[str, Run], courses: Mapping[str, Courses], given: Sequence[str]) -> Pieces:
    """Rows from ``run course start end``, in mm, in the order run, course, start; what else is done to a piece stands behind."""
    names = tuple(sorted(runs))
    told = sorted(
        (names.index(r), int(c), length(f"{a} mm"), length(f"{b} mm"), ", ".join(work)) for r, c, a, b, *work in map(str.split, given)
    )
    rows = [one[:4] for one in told]
    units = tuple(sorted({run.unit for run in runs.values()}, key=lambda u: u.code))
    count = len(rows)
    levels = [courses[names[run]].levels[course - 1] for run, course, _, _ in rows]
    zeros = np.zeros(count)
    laid = [runs[names[r]] for r, _, _, _ in rows]
    masses = [run.catalogue.delivered_kg(run.unit) * (b - a) / run.unit.length for run, (_, _, a, b) in zip(laid, rows, strict=True)]
    return Pieces(
        runs=names,
        units=units,
        walls=("W1",),
        names=tuple(f"P{n}" for n in range(count)),
        run=np.array([r for r, _, _, _ in rows], dtype=np.int32),
        course=np.array([c for _, c, _, _ in rows], dtype=np.int32),
        place=np.arange(count, dtype=np.int32),
        unit=np.array([units.index(runs[names[r]].unit) for r, _, _, _ in rows], dtype=np.int32),
        cut=np.zeros(count, dtype=np.int8),
        start=np.array([a for _, _, a, _ in rows], dtype=np.int64),
        end=np.array([b for _, _, _, b in rows], dtype=np.int64),
        bottom=np.array([one.bottom for one in levels], dtype=np.int64),
        top=np.array([one.top for one in levels], dtype=np.int64),
        volume=zeros,
        solid=zeros,
        mass=np.array(masses, dtype=np.float64),
        wall=np.zeros(count, dtype=np.int32),
        fixed=np.full(count, -1, dtype=np.int32),
        work={n: one[4] for n, one in enumerate(told) if one[4]},
    )
