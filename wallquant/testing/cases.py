"""A rule against the cases written beside it in YAML: what it says of a small wall, and what it does not say.

A file has a list ``cases``; a case has a ``name`` and the following keys, and no others (a misspelt one is an error).

What is there
    ``catalogue`` (a shipped one, like ``aac-metric``), ``params`` of the rule (``preset`` too), ``any_thickness``, and ``run``, or several
    ``runs``: ``{name: R1, length: 6000 mm, unit: std-600x200x200, courses: 12, bottom: 0 mm, bed: 10 mm, top: 2400 mm, bearing: true}``,
    of which ``length``, ``unit`` and ``courses`` are needed; ``profile: [[0 mm, 2400 mm], [6000 mm, 3000 mm]]`` for a raked top.
    A run has ``openings: [{key: D1, start: 3000 mm, width: 900 mm, sill: 0 mm, head: 2010 mm, name: door, through: true}]`` and
    ``corners: [{corner: K1, kind: T, role: through, at: 2000 mm, other: R2, thickness: 200 mm}]`` (kind end, L, T, X or angled; role start,
    through or end; also ``other_role bottom top turn bearing first``); without them it has two free ends, ``R1-start`` and ``R1-end``.
What is laid
    ``pieces: [R1 3 0 599]`` (run, course, start and end in mm, then what else is done to it, like ``notch``),
    ``steps: [s1 line R1 3 - R1]`` (name, kind, runs, course, corner or -, part; + joins several runs, and words of a kind),
    ``parts: [R1 R2]``, ``start: {R1: K1}``, ``bridged: {D1: lintel}``.
    ``Work.items`` holds what the rule's own ``demand`` places.
What is asked
    ``offset: 150 mm``, ``error: part of the sentence``, and ``demand``, ``measure``, ``precede``, ``findings``, each with ``has``,
    ``hasnt`` (lists of fields, with ``say`` for the kind of sentence; lengths with units; texts need to be contained only) and ``count``
    (``{Window: 2}``); ``demand`` also ``alternative`` and ``no_alternative``, ``precede`` also ``before`` and ``free``, like ``[a < b]``.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import fields, replace
from graphlib import TopologicalSorter
from math import isclose
from pathlib import Path
from typing import Any

from wallquant import strictyaml
from wallquant.rules import Choice, Item, Precedence, Rule, configured
from wallquant.testing.walls import CORNER, OPENING, RUN, length, work_of

LENGTHS = {"lo", "hi", "bottom", "top", "level", "start", "end", "offset", "size", "bearing", "stock", "lap"}
PARTS_OF_TEXT = {"text", "hold", "why", "reason", "name"}
ASKED = {"offset", "demand", "measure", "precede", "findings", "error"}
THERE = ("name", "catalogue", "params", "any_thickness", "run", "runs", "pieces", "steps", "parts", "start", "bridged")
PATTERNS = ("has", "hasnt", "count")
ALSO = {"demand": ("alternative", "no_alternative"), "precede": ("before", "free")}

Case = Mapping[str, Any]


def load(file: Path) -> tuple[Case, ...]:
    """Return the cases of a file.

    Raises
    ------
    wallquant.strictyaml.YamlError
        One sentence: what of the file is wrong, and where.
    """
    document = strictyaml.load_file(file)
    found: Any = document.data
    if not isinstance(found, Mapping) or not isinstance(found.get("cases"), list):
        raise document.error((), "a file of cases has a list 'cases'")
    for n, case in enumerate(found["cases"]):
        if not isinstance(case, Mapping) or not isinstance(case.get("name"), str):
            raise document.error(("cases", n), "a case has a name")
        for path, key, known in _unknown(case):
            raise document.error(("cases", n, *path), f"there is no '{key}'{strictyaml.near(key, known)}")
    return tuple(found["cases"])


def _unknown(case: Case) -> Iterator[tuple[tuple[str | int, ...], str, Sequence[str]]]:
    """Yield keys of a case that nobody reads: a check that is misspelt would never fail."""
    known = (*THERE, *sorted(ASKED))
    yield from (((key,), key, known) for key in case if key not in known)
    for what in sorted(ASKED - {"offset", "error"}):
        words = (*PATTERNS, *ALSO.get(what, ()))
        yield from (((what, key), key, words) for key in case.get(what) or () if key not in words)
    runs: list[tuple[tuple[str | int, ...], Case]] = [(("run",), case["run"])] if "run" in case else []
    runs += [(("runs", n), run) for n, run in enumerate(case.get("runs", ()))]
    for path, run in runs:
        yield from (((*path, key), key, RUN) for key in run if key not in RUN)
        for what, words in (("openings", OPENING), ("corners", CORNER)):
            for n, one in enumerate(run.get(what, ())):
                yield from (((*path, what, n, key), key, words) for key in one if key not in words)


def check(rule: type[Rule], case: Case) -> None:
    """Hold a rule against one case.

    Raises
    ------
    AssertionError
        What the rule says that it should not, or does not say that it should.
    """
    assert ASKED & set(case), f"case {case.get('name')} asks nothing, so it cannot fail"
    if "error" in case:
        _refused(rule, case)
        return
    one, work = configured(rule, case.get("params", {})), work_of(case)
    if "offset" in case:
        levels = next(iter(work.courses.values())).levels
        told = one.offset(levels[1], levels[0])
        assert told == length(case["offset"]), f"the offset is {told} nm, not {case['offset']}"
    if "demand" in case:
        said = {name: list(one.demand(work.runs[name], work.courses[name])) for name in sorted(work.runs)}
        _check([s for name in said for s in said[name]], case["demand"])
        other = configured(rule, case.get("params", {}))
        for asked in (one, other):
            again = {name: list(asked.demand(work.runs[name], work.courses[name])) for name in sorted(work.runs, reverse=True)}
            assert again == said, "asked again, the rule says something else: it keeps a state"
    placed = (s for name in sorted(work.runs) for s in one.demand(work.runs[name], work.courses[name]) if isinstance(s, Item))
    work = replace(work, items=tuple(replace(item, rule=rule.code) for item in placed if item.passing is None))
    if "measure" in case:
        _check(list(one.measure(work)), case["measure"])
    if "findings" in case:
        _check(list(one.findings(work)), case["findings"])
    if "precede" in case:
        precedences = list(one.precede(work))
        _check(precedences, case["precede"])
        _ordered(precedences, case["precede"])


def _refused(rule: type[Rule], case: Case) -> None:
    try:
        configured(rule, case.get("params", {}))
        work = work_of(case) if "run" in case or "runs" in case else None
        for name in work.runs if work else ():
            list(configured(rule, case.get("params", {})).demand(work.runs[name], work.courses[name]))  # type: ignore[union-attr]
    except ValueError as error:
        assert re.search(case["error"], str(error)), f"the error says '{error}', not '{case['error']}'"
        return
    raise AssertionError(f"no error; '{case['error']}' is wanted")


def _fits(said: object, pattern: Case) -> bool:
    """Whether a sentence is of the kind `say` and has the values that the pattern names."""
    if "say" in pattern and type(said).__name__ != pattern["say"]:
        return False
    for key, wanted in pattern.items():
        if key == "say":
            continue
        if key not in {f.name for f in fields(said)}:  # type: ignore[arg-type]
            raise AssertionError(f"{type(said).__name__} has no {key}")
        value = getattr(said, key)
        if key in LENGTHS and isinstance(wanted, str):
            wanted = length(wanted)
        if key in PARTS_OF_TEXT:
            if wanted not in value:
                return False
        elif isinstance(value, float):
            if not isclose(value, float(wanted), rel_tol=1e-3):
                return False
        elif (list(value) if isinstance(value, tuple) else value) != wanted:
            return False
    return True


def _check(said: Sequence[Any], asked: Case) -> None:
    """What must be said, what must not, how often, and what one alternative of a choice must hold together."""
    kinds = [type(one).__name__ for one in said]
    alternatives = [group for one in said if isinstance(one, Choice) for group in one.alternatives]
    for pattern in asked.get("has", []):
        assert any(_fits(one, pattern) for one in said), f"nothing says {pattern}; said: {said}"
    for pattern in asked.get("hasnt", []):
        assert not any(_fits(one, pattern) for one in said), f"something says {pattern}"
    for kind, count in asked.get("count", {}).items():
        assert kinds.count(kind) == count, f"{kind}: {kinds.count(kind)} times, not {count}"
    for group in asked.get("alternative", []):
        assert any(all(any(_fits(one, p) for one in several) for p in group) for several in alternatives), (
            f"no alternative has {group}; there are {alternatives}"
        )
    for group in asked.get("no_alternative", []):
        assert not any(all(any(_fits(one, p) for one in several) for p in group) for several in alternatives), f"one has {group}"


def _ordered(said: Sequence[Precedence], asked: Case) -> None:
    """All pairs that must, or must not, come one after the other; fails on a circle."""
    before: dict[str, set[str]] = {}
    for one in said:
        for then in one.then:
            before.setdefault(then, set()).update(one.first)
    reached: dict[str, set[str]] = {}
    for step in TopologicalSorter(before).static_order():
        own = before.get(step, set())
        reached[step] = own.union(*(reached[b] for b in own)) if own else set()
    for pair in asked.get("before", []):
        first, then = pair.split(" < ")
        assert first in reached.get(then, set()), f"{first} is not before {then}"
    for pair in asked.get("free", []):
        first, then = pair.split(" < ")
        assert first not in reached.get(then, set()), f"{first} is before {then}"
