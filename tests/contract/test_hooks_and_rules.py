"""No hook without documentation and a test; no rule without its sentence, sections, sources and cases."""

from __future__ import annotations

import ast
import inspect
import re
import sys
from pathlib import Path
from typing import Any

import pytest

from wallquant import hookspecs, plugins, strictyaml
from wallquant.cli import rules
from wallquant.findings import Finding
from wallquant.job import new
from wallquant.rules import Rule, infos

TESTS = Path(__file__).parents[1]
SECTIONS = ("What it asks", "Why", "Source", "Example")
LEAST_CASES = 3
HOOKS = sorted(name for name, value in vars(hookspecs).items() if hasattr(value, f"{hookspecs.PROJECT}_spec"))
MOST_WORDS = 225
"""In the prose of a rule's page, its headings among them."""
RULES = sorted(plugins.load().rules.values(), key=lambda rule: rule.code)


def _tests() -> set[str]:
    """Names of all test functions."""
    found: set[str] = set()
    for file in sorted(TESTS.rglob("test_*.py")):
        tree = ast.parse(file.read_text(encoding="utf-8"))
        found |= {node.name for node in ast.walk(tree) if isinstance(node, ast.FunctionDef) and node.name.startswith("test_")}
    return found


def _sections(rule: type[Rule]) -> dict[str, str]:
    """The underlined sections of a rule's docstring."""
    parts = re.split(r"^(\S.*)\n-{3,}$", inspect.cleandoc(rule.__doc__ or ""), flags=re.MULTILINE)
    return {title.strip(): body.strip() for title, body in zip(parts[1::2], parts[2::2], strict=True)}


def _cases(rule: type[Rule]) -> list[dict[str, Any]]:
    module = sys.modules[rule.__module__]
    file = Path(str(module.__file__)).parent / "cases" / f"{rule.code}.yaml"
    document: Any = strictyaml.load_file(file).data if file.is_file() else {"cases": []}
    return list(document["cases"])


def test_there_are_hooks_and_rules() -> None:
    assert len(HOOKS) >= 6
    assert len(RULES) >= 7


@pytest.mark.parametrize("hook", HOOKS)
def test_a_hook_is_documented_and_tested(hook: str) -> None:
    said = inspect.getdoc(getattr(hookspecs, hook)) or ""
    assert len(said.split()) >= 5, f"{hook} has no docstring"
    assert any(name.startswith(f"test_{hook}") for name in _tests()), f"no test function starts with test_{hook}"


def test_a_hook_has_no_logic() -> None:
    for hook in HOOKS:
        body = ast.parse(inspect.getsource(getattr(hookspecs, hook))).body[0].body  # type: ignore[attr-defined]
        assert all(isinstance(node, (ast.Expr, ast.Raise)) for node in body), f"{hook} does something"


@pytest.mark.parametrize("rule", RULES, ids=lambda rule: rule.code)
def test_a_rule_says_what_it_is(rule: type[Rule]) -> None:
    first = inspect.cleandoc(rule.__doc__ or "").splitlines()[0]
    assert first.endswith(".") and len(first.split()) >= 6, "the first line of the docstring is the sentence that users read"
    sections = _sections(rule)
    assert tuple(sections) == SECTIONS
    assert all(sections.values()), "an empty section"
    assert Path(str(sys.modules[rule.__module__].__file__)).stem == rule.code, "one rule, one file, under its code"


@pytest.mark.parametrize("rule", RULES, ids=lambda rule: rule.code)
def test_a_rules_page_is_read_in_a_minute(rule: type[Rule]) -> None:
    """People read 200 to 250 words a minute (common practice, no source); parameters are looked up."""
    words = [w for w in inspect.cleandoc(rule.__doc__ or "").split() if w.strip("-")]
    assert len(words) <= MOST_WORDS, f"{len(words)} words"


@pytest.mark.parametrize("rule", RULES, ids=lambda rule: rule.code)
def test_a_new_job_and_a_rules_page_show_every_parameter(rule: type[Rule]) -> None:
    page, job = "\n".join(rules._page(rule)), new([rule])
    for key, (info, _) in infos(rule).items():
        assert f"\n  {key} = " in page and f"\n#    {key}: " in job
        assert info.text in page and info.text.rstrip(".") in job
        assert info.unit in page and info.unit in job
        numeric = info.kind in ("length", "number", "count")
        assert not numeric or ("at least" in page and "at most" in page), key
    for name in rule.presets:
        assert f"\n  preset {name}: " in page and re.search(rf"# preset: one of .*\b{name}\b", job)


@pytest.mark.parametrize("rule", RULES, ids=lambda rule: rule.code)
def test_a_rule_has_sources(rule: type[Rule]) -> None:
    source = _sections(rule)["Source"]
    assert re.search(r"\(read\b|read\)|from memory|common practice|project input", source), "the section Source says how sure it is"
    for key, (info, _) in infos(rule).items():
        assert info.text.strip(), f"parameter {key} has no sentence"
        assert info.source.basis in ("read", "memory", "practice", "derived", "project"), key
        assert info.source.text or info.source.basis in ("practice", "project"), f"parameter {key}: name the source"
        if info.kind in ("length", "number", "count"):
            assert info.least is not None and info.most is not None, f"parameter {key} has no bounds"


@pytest.mark.parametrize("rule", RULES, ids=lambda rule: rule.code)
def test_a_rule_has_cases(rule: type[Rule]) -> None:
    cases = _cases(rule)
    assert len(cases) >= LEAST_CASES
    names = [case["name"] for case in cases]
    assert len(set(names)) == len(names)


@pytest.mark.parametrize("rule", RULES, ids=lambda rule: rule.code)
def test_all_that_a_rule_can_say_has_a_case(rule: type[Rule]) -> None:
    """A method that a rule overrides is asked in at least one of its cases."""
    for method, key in (("demand",) * 2, ("offset",) * 2, ("precede",) * 2, ("measure",) * 2, ("findings",) * 2):
        if method in vars(rule):
            assert any(key in case for case in _cases(rule)), f"no case asks for {method}"


def test_a_source_from_memory_says_so() -> None:
    """Nothing from memory is called a code requirement: a source from memory says so when it is printed."""
    memory = [info.source for rule in RULES for info, _ in infos(rule).values() if info.source.basis == "memory"]
    assert memory and all(str(source).startswith("from memory: ") for source in memory)


def test_findings_have_stable_codes() -> None:
    """Every code that a rule's source writes is ``stage.what`` in small letters."""
    pattern = re.compile(r"[a-z_]+\.[a-z][a-z0-9-]*")
    found = 0
    for rule in RULES:
        tree = ast.parse(inspect.getsource(sys.modules[rule.__module__]))
        for node in ast.walk(tree):
            if isinstance(node, ast.Call) and getattr(node.func, "id", "") == Finding.__name__:
                code = next(k.value for k in node.keywords if k.arg == "code")
                if isinstance(code, ast.Constant):
                    found += 1
                    assert pattern.fullmatch(str(code.value)), code.value
    assert found >= 5
