"""What must hold of every rule: documentation, sources, cases, and plans of random houses that keep all invariants with it."""

from __future__ import annotations

import inspect
import random
import re
import sys
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from wallquant import pipeline, plugins, strictyaml
from wallquant.audit import audit
from wallquant.files import RUN
from wallquant.job import Job
from wallquant.plugins import Plugins
from wallquant.rules import Rule, infos
from wallquant.testing import cases, houses
from wallquant.writers import folder

SECTIONS = ("What it asks", "Why", "Source", "Example")
LEAST_CASES = 3
SAYS = ("demand", "offset", "precede", "measure", "findings")


def complaints(
    rule: type[Rule], *, case_file: Path | None = None, settings: Mapping[str, Any] | None = None, seeds: Iterable[int] = range(4)
) -> tuple[str, ...]:
    """Return all that is wrong with a rule, a sentence each; empty if it conforms.

    Parameters
    ----------
    rule : type of Rule
    case_file : Path, optional
        Its cases; without it ``cases/CODE.yaml`` beside its module.
    settings : mapping, optional
        Parameters with which houses are planned, where its defaults ask nothing.
    seeds : iterable of int
        Random houses to plan with it.
    """
    file = case_file or Path(str(sys.modules[rule.__module__].__file__)).parent / "cases" / f"{rule.code}.yaml"
    return (*documented(rule), *sourced(rule), *cased(rule, file), *planned(rule, settings or {}, tuple(seeds)))


def sections(rule: type[Rule]) -> dict[str, str]:
    """Return the underlined sections of a rule's docstring."""
    parts = re.split(r"^(\S.*)\n-{3,}$", inspect.cleandoc(rule.__doc__ or ""), flags=re.MULTILINE)
    return {title.strip(): body.strip() for title, body in zip(parts[1::2], parts[2::2], strict=True)}


def documented(rule: type[Rule]) -> Iterator[str]:
    """Yield what of its page is missing."""
    if not rule.code or not rule.title:
        yield f"{rule.__name__} has no code or no title"
    first = (inspect.cleandoc(rule.__doc__ or "").splitlines() or [""])[0]
    if not first.endswith(".") or len(first.split()) < 4:
        yield f"{rule.code}: the first line of the docstring is the sentence that users read; it is '{first}'"
    found = sections(rule)
    for name in SECTIONS:
        if not found.get(name):
            yield f"{rule.code}: the docstring has no section '{name}'"


def sourced(rule: type[Rule]) -> Iterator[str]:
    """Yield parameters without sentence, bounds or source."""
    for key, (info, _) in infos(rule).items():
        if not info.text.strip():
            yield f"{rule.code}: parameter {key} has no sentence"
        if not info.source.text and info.source.basis not in ("practice", "project"):
            yield f"{rule.code}: parameter {key} names no source; write one in its Source(text=...), or call it practice or project"
        if info.kind in ("length", "number", "count") and (info.least is None or info.most is None):
            yield f"{rule.code}: parameter {key} has no bounds; give its ParamInfo least and most"


def cased(rule: type[Rule], file: Path) -> Iterator[str]:
    """Yield cases that do not hold, and what no case asks for."""
    if not file.is_file():
        yield f"{rule.code}: there are no cases ({file} is missing)"
        return
    try:
        told = cases.load(file)
    except strictyaml.YamlError as error:
        yield f"{rule.code}: {error}"
        return
    names = [case["name"] for case in told]
    if len(told) < LEAST_CASES or len(set(names)) != len(names):
        yield f"{rule.code}: {len(told)} cases with {len(set(names))} names; at least {LEAST_CASES} are wanted, each with its own"
    for case in told:
        try:
            cases.check(rule, case)
        except AssertionError as error:
            yield f"{rule.code}, case {case['name']}: {error}"
    for method in SAYS:
        if method in vars(rule) and not any(method in case for case in told):
            yield f"{rule.code}: no case asks for {method}"


def planned(rule: type[Rule], settings: Mapping[str, Any], seeds: Sequence[int]) -> Iterator[str]:
    """Yield what does not hold of plans of random houses with the pack and the rule: I1 to I9 by the audit, I10 by bytes."""
    known = plugins.load()
    both = replace(known, rules={**known.rules, rule.code: rule})
    turned = replace(known, rules=dict(reversed(list(both.rules.items()))))
    job = Job(rules={rule.code: dict(settings)} if settings else {})
    for seed in seeds:
        walls = houses.wall_list(seed)
        mixed = random.Random(seed).sample(walls, len(walls))
        with TemporaryDirectory() as scratch:
            place = Path(scratch)
            one = _plan(walls, job, both, place / "one")
            for finding in audit(one):
                yield f"{rule.code}, house {seed}: {finding.code}: {finding.text}"
            other = _plan(mixed, job, turned, place / "other")
            for name in sorted(p.name for p in one.iterdir() if p.name != RUN):
                if (one / name).read_bytes() != (other / name).read_bytes():
                    yield f"{rule.code}, house {seed}: I10: {name} depends on the order of walls or rules"


def _plan(walls: list[str], job: Job, known: Plugins, place: Path) -> Path:
    place.mkdir()
    made = pipeline.plan(houses.write(walls, place / "house.walls.yaml"), job, known)
    folder.write(made, place / "out", run={}, writers={})
    return place / "out"
