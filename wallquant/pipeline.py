"""The job, from a model to a plan: importers, building, graph, bonding, ordering, quantities."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

from wallquant import catalogue as catalogues
from wallquant import graph, marks, survey
from wallquant import job as jobs
from wallquant.bonding import Bond, bond
from wallquant.bonding.telling import once
from wallquant.building import Building, around, element_keys
from wallquant.catalogue import Catalogue
from wallquant.cutting import cut
from wallquant.findings import Finding, merged
from wallquant.guard import guarded
from wallquant.importers import InputError, ifc, wall_list
from wallquant.job import Job
from wallquant.layout import Run, Work
from wallquant.marks import Marks
from wallquant.ordering import OrderError, Schedule, Shift, Walk, make_steps, needs, places, precedences, ranks, schedule, starts
from wallquant.plugins import Plugins
from wallquant.quantities import counted
from wallquant.rules import Precedence, Rule, RuleError
from wallquant.strictyaml import near
from wallquant.units import mass_text, text
from wallquant.workers import WORTH, ahead, at_most
from wallquant.writers.plan import Plan

T = TypeVar("T")
OURS: Mapping[str, Any] = {"ifc": ifc, "wall_list": wall_list}
"""The importers that come with wallquant."""


def plan(model: Path, job: Job, plugins: Plugins) -> Plan:
    """Plan a model: read it, lay it, order it, count it.

    Parameters
    ----------
    model : Path
        An IFC file or a wall list.
    job : Job
    plugins : Plugins
        Rules, importers, catalogues.

    Raises
    ------
    InputError, RuleError
        One sentence: what is wrong with the model, the job, a catalogue or a plugin.
    """
    building, read = drawn(model, job, plugins)
    return plan_of(building, read, model.name, job, plugins)


def drawn(model: Path, job: Job, plugins: Plugins) -> tuple[Building, Sequence[Finding]]:
    """Read a model, and nothing more.

    Raises
    ------
    InputError
        One sentence: what is wrong with the model or the job.
    """
    with _given():
        reader = importer(model, job, plugins)
    return reader(model)


def plan_of(building: Building, read: Sequence[Finding], model: str, job: Job, plugins: Plugins) -> Plan:
    """Plan a building that is read: `read` are its reader's findings, `model` the name of its file; errors as those of `plan`."""
    left: dict[str, Finding] = {}
    with _given():
        kept = marks.read(Path(job.marks)) if job.marks is not None else None
        _without_failing(job, left, lambda: jobs.configure(job, plugins.rules.values(), without=left))
        book, notes = chosen(building, job, plugins)
        face = book.face_of(job.face) if job.face else None
    building = around(building, kept.origin) if kept else building
    building, steps = graph.stepped(building, book, face=face, any_thickness=job.any_thickness, gap=job.batter_gap)
    building, doubled = graph.parted(building, book, face=face, any_thickness=job.any_thickness)
    network, joined = graph.build(building, book, face=face, any_thickness=job.any_thickness, marks=kept)

    def made() -> Plan:
        rules = jobs.configure(job, plugins.rules.values(), without=left)
        found = (*plugins.findings, *read, *steps, *doubled, *joined, *left.values())
        return _made(model, job, building, network, rules, plugins, found, notes, kept)

    return _without_failing(job, left, made)


def _without_failing(job: Job, left: dict[str, Finding], make: Callable[[], T]) -> T:
    """Make something; as the job asks, stop where a rule fails, or begin again without it until none does."""
    while True:
        try:
            return make()
        except RuleError as error:
            if job.on_rule_error == "stop" or not error.rule or error.rule in left:
                raise
            said = f"{error}.  It is left out, as the job asks: the plan is made as if it were not there."
            left[error.rule] = Finding(code="rule.left-out", severity="warning", text=said, rules=(error.rule,))


def _made(
    model: str,
    job: Job,
    building: Building,
    network: graph.Network,
    own: Sequence[Rule],
    plugins: Plugins,
    found: Sequence[Finding],
    notes: tuple[str, ...],
    kept: Marks | None,
) -> Plan:
    """Lay, order and count a network with these rules."""
    system = job.units or network.catalogue.system
    rules = guarded(own, plugins.owners, seconds=job.rule_seconds)
    laid, told = bond(network, building, rules, heads=job.heads, sills=job.sills, system=system, marks=kept)
    found = once(found, laid.accounts, {w.guid: w for w in building.walls})
    slab: survey.Survey | None = None
    if job.survey is not None:
        slab = survey.surveyed(Path(job.survey), laid.work, building.origin, system)
        laid = replace(laid, work=survey.begun(laid.work, slab))
    late_cuts = job.offcuts == "day"  # only the order says on which day a piece is laid
    workers = at_most(0) if len(laid.work.pieces) >= WORTH and not late_cuts else 1
    with ahead(lambda: cut(laid.work.pieces, network.catalogue, _kept(laid.work, job.offcuts)), workers=workers) as cuts:
        work, times, late = ordered(laid, rules, job, system)
        cutting = cut(work.pieces, network.catalogue, _days(work, times)) if late_cuts else cuts()
    laid, aside = replace(laid, work=work), (*building.set_aside, *network.set_aside)
    amounts = [a for rule in rules for a in rule.measure(work)]
    taken = counted(laid, building, aside, times, cutting, amounts, network.catalogue, job, system)
    said: list[Finding] = [*(f for rule in rules for f in rule.findings(work)), *_unheard(job, network.runs), *taken.findings]
    known = {one.part for one in slab.levelled.parts} if slab else set()
    for first, corner in sorted(work.start_corner.items(), key=lambda s: int(s[0][1:])):
        if first in known:
            notes = (*notes, f"The part of {first} is begun at corner {corner}, the nearest to the highest point of the slab under it.")
            continue
        notes = (*notes, f"The part of {first} is begun at corner {corner}, the lower end of its longest run, since there is no survey.")
    return Plan(
        model=model,
        job=job,
        system=system,
        catalogue=network.catalogue,
        building=building,
        network=network,
        rules=tuple(own),
        set_aside=aside,
        bond=laid,
        work=work,
        schedule=times,
        cutting=cutting,
        materials=taken.materials,
        schedules=taken.schedules,
        findings=merged(_of_elements([*found, *told, *_slab(slab), *late, *times.findings, *said], building)),
        survey=slab,
        notes=notes,
    )


def _kept(work: Work, offcuts: str) -> NDArray[np.int64] | None:
    """Return for each piece the number of the course, run or storey within which offcuts are carried; None: anywhere."""
    p = work.pieces
    if offcuts == "site":
        return None
    if offcuts == "storey":
        storeys = sorted({work.runs[name].storey for name in p.runs})
        return np.array([storeys.index(work.runs[name].storey) for name in p.runs] or [0], dtype=np.int64)[p.run]
    run = p.run.astype(np.int64)
    return run if offcuts == "run" else run * (int(p.course.max(initial=0)) + 1) + p.course


def _days(work: Work, times: Schedule) -> NDArray[np.int64]:
    """Return for each piece the day on which it is laid."""
    day = np.zeros(len(work.pieces), dtype=np.int64)
    for turn in times.turns:
        day[list(turn.step.pieces)] = turn.day
    return day


def _slab(slab: survey.Survey | None) -> Sequence[Finding]:
    return slab.findings if slab is not None else ()


def _unheard(job: Job, runs: Sequence[Run]) -> Iterator[Finding]:
    """Levels that the job chose for openings which no run has."""
    known = sorted({o.key for run in runs for o in run.openings})
    for what, chosen in (("heads", job.heads), ("sills", job.sills)):
        for key in sorted(set(chosen) - set(known)):
            text = f"The job file's {what} names the opening '{key}', which no run has{near(key, known)}; its level is not used."
            yield Finding(code="job.no-opening", severity="warning", text=text)


def _of_elements(findings: Iterable[Finding], building: Building) -> list[Finding]:
    """Let findings about a part of a wall name the model's wall."""
    element = element_keys(building.walls, building.set_aside)
    return [replace(f, place=replace(f.place, wall=element[f.place.wall])) if f.place.wall in element else f for f in findings]


@contextmanager
def _given() -> Iterator[None]:
    """What is wrong with the job or a catalogue is an error of the input; a ValueError from anywhere else is ours."""
    try:
        yield
    except ValueError as error:
        raise error if isinstance(error, (InputError, RuleError)) else InputError(str(error)) from error


def importer(model: Path, job: Job, plugins: Plugins) -> Callable[[Path], tuple[Building, Sequence[Finding]]]:
    """Return the function that reads this file: by the job's word, else by the file's suffix."""
    known: dict[str, Any] = {**OURS, **plugins.importers}
    if job.importer is not None:
        if job.importer not in known:
            raise job.error(("importer",), f"there is no importer '{job.importer}'; there are {', '.join(sorted(known))}")
        return _reader(job.importer, job, plugins)
    fitting = sorted(name for name, one in known.items() if model.name.lower().endswith(tuple(one.suffixes)))
    if len(fitting) > 1:
        raise InputError(f"{model.name} can be read by {' and '.join(fitting)}; say in the job which importer to use")
    if not fitting:
        suffixes = sorted({s for one in known.values() for s in one.suffixes})
        raise InputError(f"{model.name} is none of the files that can be read ({', '.join(suffixes)})")
    return _reader(fitting[0], job, plugins)


def _reader(name: str, job: Job, plugins: Plugins) -> Callable[[Path], tuple[Building, Sequence[Finding]]]:
    """Return an importer's function; where a plugin's raises what is no sentence, the plugin is named."""
    if name not in plugins.importers:
        ours: Callable[..., tuple[Building, Sequence[Finding]]] = OURS[name].read
        return partial(ours, select=job.select, chord_gap=job.chord_gap, least_chord=job.least_chord) if name == "ifc" else ours

    def read(model: Path) -> tuple[Building, Sequence[Finding]]:
        try:
            building, findings = plugins.importers[name].read(model)
        except InputError:
            raise
        except Exception as error:
            who, said = plugins.owners.get(f"importer {name}", ""), " ".join(f"{type(error).__name__}: {error}".split())
            raise InputError(f"{model.name}: importer {name} of plugin {who} failed ({said}); repair the plugin") from error
        if not isinstance(building, Building):
            raise InputError(f"{model.name}: importer {name} returned {type(building).__name__}, no Building; repair its plugin")
        return building, findings

    return read


def chosen(building: Building, job: Job, plugins: Plugins) -> tuple[Catalogue, tuple[str, ...]]:
    """Return the catalogue that the job names, or that fits most of the wall area, with a note on the choice."""
    if job.catalogue is not None:
        brought = {p.stem: p for p in plugins.catalogues}
        return catalogues.load(str(brought.get(job.catalogue, job.catalogue))), ()
    books = [catalogues.load(n) for n in catalogues.names()] + [catalogues.load(str(p)) for p in plugins.catalogues]
    areas = [(w.thickness, (w.drawn_m3 - w.finishes_m3 - w.finish_voids_m3) / w.thickness * 1e9) for w in building.walls]
    book = catalogues.choose(books, areas, building.unit)
    return book, (f"Catalogue {book.code} was chosen: its thicknesses fit most of the wall area.",)


def ordered(laid: Bond, rules: Sequence[Rule], job: Job, system: str) -> tuple[Work, Schedule, list[Finding]]:
    """Cut the work into steps, ask rules what comes before what, and give the steps to crews."""
    laps = {name: max(0, max(offsets, default=0) - laid.work.catalogue.head_joint.nominal) for name, offsets in laid.offsets.items()}
    steps = make_steps(laid.work, laid.leads, laps=laps, say=lambda length: text(length, system), weigh=partial(mass_text, system=system))
    work = replace(laid.work, steps=steps)
    asked: list[Precedence] = [p for rule in rules for p in rule.precede(work)]
    findings: list[Finding] = []
    while True:
        try:
            net = precedences(work, asked, worked=job.worked)
            break
        except OrderError as error:
            named = {r for r in error.rules if r and any(p.rule == r for p in asked)}
            if not named:
                raise
            said = f"{error}; these precedences are left out."
            findings.append(Finding(code="order.circle", severity="error", text=said, rules=tuple(sorted(named))))
            asked = [p for p in asked if p.rule not in named]
    things = {"hoist": job.hoists} | job.resources
    speed = max(1, round(job.walking * 1000 / 60)) if job.walking else 0  # mm/s; 0 is said for walks that take no time
    times = schedule(
        net,
        masons=job.masons,
        shift=Shift(seconds=round(job.day_hours * 3600), week_off=job.week_off, days_off=frozenset(day - 1 for day in job.days_off)),
        panels=ranks(work),
        first=starts(work, steps),
        resources={name: count for name, count in things.items() if count},
        weekday=job.first_weekday,
        walk=Walk(places=places(work), speed=speed) if speed else None,
    )
    return work, times, [*findings, *net.findings, *needs(asked, times, things)]
