"""A rule that fails, answers nonsense, takes too long or forbids everything: named in one sentence, and left out where the job says so."""

from __future__ import annotations

import json
import re
import threading
import time
from pathlib import Path
from typing import Any

import pytest

from tests.unit.command_line import Run, caller, plugin, refused, wall, wall_list
from wallquant import guard
from wallquant.rules import Rule, RuleError

RULE = '''
from wallquant.rules import Amount, Bed, Choice, Fixed, Item, Lead, NoParams, Phase, Precedence, Use, Window
from wallquant.findings import Place

class Own(Rule):
    """The firm wants this."""

    code = "own_rule"
    title = "Own rule"

    {0}


@hookimpl
def wallquant_rules():
    return [Own]
'''
ITEM = "Item(kind='k', run=run.name, start={0}, end=9, bottom=0, top=9, quantity={1})"
DEMAND = "def demand(self, run, courses): "
RAISES = {
    "made": "def __init__(self, params=None): 1 / 0",
    "demand": DEMAND + "1 / 0",
    "demand midway": DEMAND + "yield Window(course=1, lo=0, hi=9); raise KeyError('x')",
    "demand on one run": DEMAND + "return [] if run.name == 'R1' else 1 / 0",
    "demand ends the program": DEMAND + "raise SystemExit(3)",
    "demand for ever deeper": DEMAND + "return self.demand(run, courses)",
    "offset": "def offset(self, upper, lower): 1 / 0",
    "precede": "def precede(self, work): 1 / 0",
    "measure": "def measure(self, work): 1 / 0",
    "measure that moves a piece": "def measure(self, work): work.pieces.start[0] = 5; return []",
    "findings": "def findings(self, work): raise ValueError('of\\nmany lines')",
}
NONSENSE = {
    "demand nothing": DEMAND + "return None",
    "demand words": DEMAND + "return ['no joint here']",
    "window of floats": DEMAND + "yield Window(course=1, lo=0.5, hi=9)",
    "window of a unit that is not": DEMAND + "yield Window(course=1, lo=0, hi=9, unit='none')",
    "window of no text": DEMAND + "yield Window(course=1, lo=0, hi=9, unit=4)",
    "fixed of words": DEMAND + "yield Fixed(course='first', lo=0, hi=9)",
    "fixed of a unit that is not": DEMAND + "yield Fixed(course=1, lo=0, hi=9, unit='none')",
    "bed of infinity": DEMAND + "yield Bed(level=float('inf'))",
    "use of none": DEMAND + "yield Use(course=1, lo=None, hi=9, unit='none')",
    "phase of a number": DEMAND + "yield Phase(corner=3, course=1, passes='R1')",
    "lead of words": DEMAND + "yield Lead(corner='K1', courses='three')",
    "item of words": DEMAND + "yield " + ITEM.format("'here'", 1.0),
    "item of no number": DEMAND + "yield " + ITEM.format("0", "float('nan')"),
    "item in no run": DEMAND + "yield Item(kind='k', run='R99', start=0, end=9, bottom=0, top=9)",
    "choice of a list": DEMAND + "yield Choice(name='n', alternatives=[Window(course=1, lo=0, hi=9)])",
    "choice of nonsense": DEMAND + "yield Choice(name='n', alternatives=((Bed(level='high'),),))",
    "offset of a float": "def offset(self, upper, lower): return 1e6",
    "offset of nothing": "def offset(self, upper, lower): pass",
    "precede tuples": "def precede(self, work): return [('a', 'b')]",
    "precede a text": "def precede(self, work): return [Precedence(first='ab', then=())]",
    "precede no step": "def precede(self, work): return [Precedence(first=('no-step',), then=(work.steps[0].name,))]",
    "precede a lag of words": "def precede(self, work): return [Precedence(first=(), then=(work.steps[0].name,), lag='long')]",
    "precede a lag over its most": "def precede(self, work): return [Precedence(first=(), then=(work.steps[0].name,), lag=9, most_lag=8)]",
    "precede a lag of ages": "def precede(self, work): return [Precedence(first=(), then=(work.steps[0].name,), lag=10**12)]",
    "item of ages": DEMAND + "yield Item(kind='k', run=run.name, start=0, end=9, bottom=0, top=9, task='t', seconds=10**15)",
    "measure a number": "def measure(self, work): return [3]",
    "measure no number": "def measure(self, work): return [Amount(item='a', quantity=float('nan'), unit='pcs')]",
    "measure less than none": "def measure(self, work): return [Amount(item='a', quantity=-1.0, unit='pcs')]",
    "findings words": "def findings(self, work): return ['of my own']",
    "findings of another severity": "def findings(self, work): return [Finding(code='a.b', severity='bad', text='t')]",
    "findings of no place": "def findings(self, work): return [Finding(code='a.b', severity='note', text='t', place='here')]",
}
NOWHERE = {
    "a window that ends before it begins": (2, "Window(course=2, lo=10**9, hi=0)"),
    "a use that ends before it begins": (2, "Use(course=2, lo=10**9, hi=0, unit=run.unit.code)"),
    "a window over the top": (6, "Window(course=len(courses) + 1, lo=0, hi=10**9)"),
    "a window under the slab": (0, "Window(course=0, lo=0, hi=10**9)"),
    "a piece over the top": (99, "Fixed(course=99, lo=0, hi=10**8, unit=run.unit.code)"),
    "a joint under the slab": (-1, "Fixed(course=-1, lo=0, hi=10**7)"),
    "a piece in less than no course": (2, "Fixed(course=2, courses=-5, lo=0, hi=10**7)"),
    "a piece over the sky": (2, "Fixed(course=2, lo=0, hi=10**8, unit=run.unit.code, bottom=10**15)"),
    "a use over the top": (99, "Use(course=99, lo=0, hi=10**9, unit=run.unit.code)"),
    "a phase over the top": (99, "Phase(corner=run.first.corner, course=99, passes=run.name)"),
    "a window without end": (2, "Window(course=2, lo=0, hi=float('inf'))"),
    "a window of halves": (2, "Window(course=2, lo=0.5, hi=9)"),
    "a use without end": (2, "Use(course=2, lo=0, hi=float('inf'), unit=run.unit.code)"),
    "a piece of no number": (2, "Fixed(course=2, lo=float('nan'), hi=9)"),
    "a joint beyond the horizon": (2, "Fixed(course=2, lo=10**30, hi=10**30 + 10**7)"),
}
"""What no engine can read, or would not hear; and its course."""
FILES = ("pieces.csv", "steps.csv", "materials.csv", "items.csv", "cuts.csv", "precedences.csv")


@pytest.fixture
def run(capsys: pytest.CaptureFixture[str]) -> Run:
    return caller(capsys)


def told(out: Path) -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = json.loads((out / "findings.json").read_text(encoding="utf-8"))["findings"]
    return found


def job(folder: Path, text: str) -> Path:
    file = folder / "own.job.yaml"
    file.write_text(text, encoding="utf-8")
    return file


@pytest.mark.parametrize("what", [*RAISES, *NONSENSE])
def test_a_rule_that_fails_stops_the_plan_or_is_left_out(what: str, tmp_path: Path, run: Run) -> None:
    model = wall_list(tmp_path, wall(), wall("B", x=6000))
    own = plugin(tmp_path, RULE.format({**RAISES, **NONSENSE}[what]))
    sentence = refused(run("plan", model, "-o", tmp_path / "stopped", "--plugin", own))
    assert "own_rule" in sentence and "\n" not in sentence.strip(), sentence
    assert not (tmp_path / "stopped").exists()
    leave = job(tmp_path, "on_rule_error: leave out\n")
    assert run("plan", model, "-o", tmp_path / "plain")[0] == 0
    assert run("plan", model, "-o", tmp_path / "left", "--plugin", own, "--job", leave)[0] == 0
    assert run("audit", tmp_path / "left")[0] == 0
    for name in FILES:
        assert (tmp_path / "left" / name).read_bytes() == (tmp_path / "plain" / name).read_bytes(), "as if the rule were not there"
    [finding] = [f for f in told(tmp_path / "left") if f["code"] == "rule.left-out"]
    assert finding["rules"] == ["own_rule"] and finding["severity"] == "warning"
    assert "own_rule" in finding["text"] and "left out" in finding["text"] and "\n" not in finding["text"]
    assert [f for f in told(tmp_path / "left") if f["code"] != "rule.left-out"] == told(tmp_path / "plain")


@pytest.mark.parametrize("inside", ["{}", "Choice(name='n', alternatives=(({},),))"])
@pytest.mark.parametrize("what", NOWHERE)
def test_what_lies_nowhere_is_named_by_rule_run_and_course(what: str, inside: str, tmp_path: Path, run: Run) -> None:
    """On the second run only, which has a course more: the sentence says where, and what to do; left out, the plan has it as a finding."""
    model = wall_list(tmp_path, wall(), wall("B", x=6000, height=1000))
    number, said = NOWHERE[what]
    own = plugin(tmp_path, RULE.format(DEMAND + f"return [{inside.format(said)}] if run.name == 'R2' else []"))
    sentence = refused(run("plan", model, "-o", tmp_path / "out", "--plugin", own))
    assert re.search(rf"rule own_rule .*\brun R2\b.*\bcourse {number}\b.*; repair it, or leave it out", sentence), sentence
    leave = job(tmp_path, "on_rule_error: leave out\n")
    assert run("plan", model, "-o", tmp_path / "left", "--plugin", own, "--job", leave)[0] == 0
    [finding] = [f for f in told(tmp_path / "left") if f["rules"] == ["own_rule"]]
    assert finding["code"] == "rule.left-out" and sentence.removeprefix("wallquant: ").strip() in finding["text"]


def test_the_courses_that_a_run_has_are_named(tmp_path: Path, run: Run) -> None:
    own = plugin(tmp_path, RULE.format(DEMAND + "yield Window(course=9, lo=0, hi=9)"))
    sentence = refused(run("plan", wall_list(tmp_path, wall()), "-o", tmp_path / "out", "--plugin", own))
    assert "a Window in course 9, which there is not; run R1 has courses 1 to 4" in sentence


def test_an_offset_that_no_whole_number_of_the_engines_holds(tmp_path: Path, run: Run) -> None:
    own = plugin(tmp_path, RULE.format("def offset(self, upper, lower): return 10**30"))
    assert "for course 2, which is no length" in refused(run("plan", wall_list(tmp_path), "-o", tmp_path / "out", "--plugin", own))


def test_each_rule_that_fails_is_left_out_and_named(tmp_path: Path, run: Run) -> None:
    """One fails when asked about a run, one when it measures; both findings are there, and the same whatever comes first."""
    first = plugin(tmp_path, RULE.format(RAISES["measure"]), name="first")
    second = plugin(tmp_path, RULE.format(RAISES["demand"]).replace("own_rule", "another_rule"), name="second")
    leave, model = job(tmp_path, "on_rule_error: leave out\n"), wall_list(tmp_path)
    for out, order in (("a", (first, second)), ("b", (second, first))):
        options = [word for own in order for word in ("--plugin", str(own))]
        assert run("plan", model, "-o", tmp_path / out, "--job", leave, *options)[0] == 0
    assert {f["rules"][0] for f in told(tmp_path / "a") if f["code"] == "rule.left-out"} == {"own_rule", "another_rule"}
    assert (tmp_path / "a" / "findings.json").read_bytes() == (tmp_path / "b" / "findings.json").read_bytes()


def test_the_jobs_own_mistake_is_never_left_out(tmp_path: Path, run: Run) -> None:
    leave = job(tmp_path, "on_rule_error: leave out\nrules:\n  running_bond: {share_of_length: 7}\n")
    assert "running_bond" in refused(run("plan", wall_list(tmp_path), "-o", tmp_path / "out", "--job", leave))


@pytest.mark.parametrize(
    "slow",
    [
        DEMAND + "\n        while True: pass",
        DEMAND + "\n        while True: yield Window(course=1, lo=0, hi=9)",
        DEMAND + "\n        while True:\n            try:\n                while True: pass\n            except Exception: pass",
        "def measure(self, work):\n        while True: pass",
        "def findings(self, work):\n        import time\n        time.sleep(60)",
    ],
)
def test_a_slow_rule_is_named_and_left_out(slow: str, tmp_path: Path, run: Run) -> None:
    model, own = wall_list(tmp_path), plugin(tmp_path, RULE.format(slow))
    began = time.monotonic()
    stop = job(tmp_path, "rule_seconds: 0.2\n")
    sentence = refused(run("plan", model, "-o", tmp_path / "out", "--plugin", own, "--job", stop))
    assert "own_rule" in sentence and "0.2 s" in sentence and "rule_seconds" in sentence
    leave = job(tmp_path, "rule_seconds: 0.2\non_rule_error: leave out\n")
    assert run("plan", model, "-o", tmp_path / "left", "--plugin", own, "--job", leave)[0] == 0
    assert [f["rules"] for f in told(tmp_path / "left") if f["code"] == "rule.left-out"] == [["own_rule"]]
    assert time.monotonic() - began < 40


class Busy(Rule):
    """A rule that counts for a while."""

    code = "busy"

    def measure(self, work: Any) -> list[Any]:
        end = time.process_time() + 0.3
        while time.process_time() < end:
            pass
        return []


def test_a_slow_rule_in_another_thread_is_named_when_it_is_done() -> None:
    """Signals reach the main thread only; elsewhere the time is looked at afterwards."""
    caught: list[str] = []

    def ask() -> None:
        [one] = guard.guarded([Busy()], seconds=0.1)
        try:
            one.measure(None)  # type: ignore[arg-type]
        except RuleError as error:
            caught.append(str(error))

    other = threading.Thread(target=ask)
    other.start()
    other.join()
    assert caught and "rule busy" in caught[0] and "0.1 s" in caught[0]


def test_a_rule_within_its_time_is_not_stopped() -> None:
    for seconds in (0, 30):
        [one] = guard.guarded([Busy()], seconds=seconds)
        assert list(one.measure(None)) == []  # type: ignore[arg-type]


WIDE = "Window(course={0}, lo=-10**10, hi=run.length + 10**10)"
FORBIDS = {
    "one window": DEMAND + f"return [{WIDE.format('c.number')} for c in courses.levels]",
    "many windows": DEMAND
    + "return [Window(course=c.number, lo=x, hi=x + 6 * 10**6) for c in courses.levels for x in range(0, run.length, 5 * 10**6)]",
    "a choice of one": DEMAND + f"return [Choice(name='n', alternatives=(({WIDE.format('c.number')},),)) for c in courses.levels]",
    "a choice of two that both forbid": DEMAND
    + f"return [Choice(name='n', alternatives=(({WIDE.format('c.number')},), ({WIDE.format('c.number')},))) for c in courses.levels]",
    "a window, and the rest in a choice": DEMAND
    + "\n        for c in courses.levels:"
    + "\n            yield Window(course=c.number, lo=-10**9, hi=300 * 10**6)"
    + "\n            yield Choice(name='n', alternatives=((Window(course=c.number, lo=300 * 10**6, hi=10**10),),))",
    "straight joints": DEMAND + "return [Fixed(course=1, courses=9, lo=x, hi=x + 10**6) for x in range(10**8, run.length, 4 * 10**7)]",
    "one straight joint": DEMAND + "return [Fixed(course=1, courses=9, lo=0, hi=run.length)]",
    "a long piece": DEMAND + "return [Fixed(course=1, lo=0, hi=run.length, unit=run.unit.code)]",
}


@pytest.mark.parametrize("what", FORBIDS)
def test_a_rule_that_forbids_everything_stops_the_plan_or_is_left_out(what: str, tmp_path: Path, run: Run) -> None:
    model, own = wall_list(tmp_path, wall(), wall("B", x=6000)), plugin(tmp_path, RULE.format(FORBIDS[what]))
    sentence = refused(run("plan", model, "-o", tmp_path / "out", "--plugin", own))
    assert "own_rule" in sentence
    leave = job(tmp_path, "on_rule_error: leave out\n")
    assert run("plan", model, "-o", tmp_path / "plain")[0] == 0
    assert run("plan", model, "-o", tmp_path / "left", "--plugin", own, "--job", leave)[0] == 0
    assert (tmp_path / "left" / "pieces.csv").read_bytes() == (tmp_path / "plain" / "pieces.csv").read_bytes()
    assert [f["rules"] for f in told(tmp_path / "left") if f["code"] == "rule.left-out"] == [["own_rule"]]


def test_a_choice_with_an_alternative_that_can_be_laid_stays(tmp_path: Path, run: Run) -> None:
    """One alternative forbids course 2 whole, the other nothing: the plan is made with the other, and nothing is told."""
    own = plugin(tmp_path, RULE.format(DEMAND + f"return [Choice(name='n', alternatives=(({WIDE.format(2)},), ()))]"))
    assert run("plan", wall_list(tmp_path), "-o", tmp_path / "out", "--plugin", own)[0] == 0
    assert not [f for f in told(tmp_path / "out") if "own_rule" in f["rules"]]


@pytest.mark.parametrize("on", ["stop", "leave out"])
def test_where_a_rule_leaves_no_layout_its_windows_there_go_and_no_offset(on: str, tmp_path: Path, run: Run) -> None:
    """Course 2 is forbidden whole, in course 3 a stretch about one joint: the one goes with a finding, the other holds."""
    model = wall_list(tmp_path, wall(length=4799))
    near = "Window(course=3, lo=1100 * 10**6, hi=1300 * 10**6)"
    own = plugin(tmp_path, RULE.format(DEMAND + f"return [{WIDE.format(2)}, {near}]"))
    held = plugin(tmp_path, RULE.format(DEMAND + f"return [{near}]"), name="held")
    assert run("plan", model, "-o", tmp_path / "held", "--plugin", held)[0] == 0
    assert run("plan", model, "-o", tmp_path / "out", "--plugin", own, "--job", job(tmp_path, f"on_rule_error: {on}\n"))[0] == 1
    assert (tmp_path / "out" / "pieces.csv").read_bytes() == (tmp_path / "held" / "pieces.csv").read_bytes()
    errors = [f for f in told(tmp_path / "out") if f["severity"] == "error"]
    assert [(f["code"], f["rules"], f["place"]["course"], f["times"]) for f in errors] == [("bond.forbids-all", ["own_rule"], 2, 1)]
    assert not [f for f in told(tmp_path / "out") if f["code"] == "bond.least-offset"]
    assert run("audit", tmp_path / "out")[0] == 0


def test_two_rules_that_leave_no_layout_together_lose_no_offset(tmp_path: Path, run: Run) -> None:
    """Neither forbids more than a unit; together they do.  The one that forbids more goes there, and is named; offsets stay."""
    model = wall_list(tmp_path, wall(length=4799))
    two = "return [Window(course=2, lo=x, hi=x + {1} * 10**6) for x in range({0} * 10**6, run.length, 800 * 10**6)]"
    first = plugin(tmp_path, RULE.format(DEMAND + two.format(-100, 450)), name="first")
    second = plugin(tmp_path, RULE.format(DEMAND + two.format(300, 500)).replace("own_rule", "wider_rule"), name="second")
    assert run("plan", model, "-o", tmp_path / "out", "--plugin", first, "--plugin", second)[0] == 1
    errors = [f for f in told(tmp_path / "out") if f["severity"] == "error"]
    assert [(f["code"], [r for r in f["rules"] if r.endswith("_rule")]) for f in errors] == [("bond.joint-window-broken", ["wider_rule"])]
    assert not [f for f in told(tmp_path / "out") if f["code"] == "bond.least-offset"]
