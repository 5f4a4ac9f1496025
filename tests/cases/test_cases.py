"""Every rule against the cases written beside it: what it says of a small wall, and what it does not say."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import fields
from graphlib import TopologicalSorter
from pathlib import Path
from typing import Any

import pytest
import wallquant_thinbed

from tests.cases.walls import length, work_of
from wallquant import plugins, strictyaml
from wallquant.rules import Choice, Precedence, Rule, configured

FOLDER = Path(wallquant_thinbed.__file__).parent / "cases"
LENGTHS = {"lo", "hi", "bottom", "top", "level", "start", "end", "offset", "size", "bearing"}
PARTS_OF_TEXT = {"text", "hold", "why", "reason", "name"}
ASKED = {"offset", "demand", "measure", "precede", "findings", "error"}


def _cases() -> Iterator[Any]:
    for file in sorted(FOLDER.glob("*.yaml")):
        document: Any = strictyaml.load_file(file).data
        for case in document["cases"]:
            yield pytest.param(file.stem, case, id=f"{file.stem}-{case['name']}")


RULES = plugins.load().rules


def _rule(code: str, case: dict[str, Any]) -> Rule:
    return configured(RULES[code], case.get("params", {}))


def _fits(said: object, pattern: dict[str, Any]) -> bool:
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
            if value != pytest.approx(wanted, rel=1e-3):
                return False
        elif (list(value) if isinstance(value, tuple) else value) != wanted:
            return False
    return True


def _check(said: list[Any], asked: dict[str, Any]) -> None:
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


def _reached(said: list[Precedence]) -> dict[str, set[str]]:
    """All steps before each step; fails on a circle."""
    before: dict[str, set[str]] = {}
    for one in said:
        for then in one.then:
            before.setdefault(then, set()).update(one.first)
    all_before: dict[str, set[str]] = {}
    for step in TopologicalSorter(before).static_order():
        own = before.get(step, set())
        all_before[step] = own.union(*(all_before[b] for b in own)) if own else set()
    return all_before


@pytest.mark.parametrize(("code", "case"), list(_cases()))
def test_case(code: str, case: dict[str, Any]) -> None:
    assert ASKED & set(case), "a case that asks nothing cannot fail"
    if "error" in case:
        with pytest.raises(ValueError, match=case["error"]):
            _rule(code, case)
        return
    rule, work = _rule(code, case), work_of(case)
    if "offset" in case:
        levels = next(iter(work.courses.values())).levels
        assert rule.offset(levels[1], levels[0]) == length(case["offset"])
    if "demand" in case:
        _check([one for name in sorted(work.runs) for one in rule.demand(work.runs[name], work.courses[name])], case["demand"])
    if "measure" in case:
        _check(list(rule.measure(work)), case["measure"])
    if "findings" in case:
        _check(list(rule.findings(work)), case["findings"])
    if "precede" in case:
        said = list(rule.precede(work))
        _check(said, case["precede"])
        reached = _reached(said)
        for pair in case["precede"].get("before", []):
            first, then = pair.split(" < ")
            assert first in reached.get(then, set()), f"{first} is not before {then}"
        for pair in case["precede"].get("free", []):
            first, then = pair.split(" < ")
            assert first not in reached.get(then, set()), f"{first} is before {then}"


@pytest.mark.parametrize(("code", "case"), [one for one in _cases() if "demand" in one.values[1]])
def test_a_rule_has_no_state(code: str, case: dict[str, Any]) -> None:
    """The same question has the same answer, asked again or of a new instance, whatever was asked between."""
    rule, work = _rule(code, case), work_of(case)
    runs = sorted(work.runs)
    first = {name: list(rule.demand(work.runs[name], work.courses[name])) for name in runs}
    again = {name: list(rule.demand(work.runs[name], work.courses[name])) for name in reversed(runs)}
    other = {name: list(_rule(code, case).demand(work.runs[name], work.courses[name])) for name in runs}
    assert first == again == other
