"""Rules at arm's length: what a rule raises, answers or does not finish becomes one sentence that names it.

A plugin's rule is code that nobody here has read.  `guarded` puts every rule behind a `Guarded` one, which asks it, looks at what it
answers before an engine does, and stops it where it takes too long.
"""

from __future__ import annotations

import signal
import threading
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import fields, replace
from math import isfinite
from numbers import Integral, Real
from time import monotonic, process_time
from typing import Any, get_args

import numpy as np

from wallquant.findings import SEVERITIES, Finding, Place
from wallquant.layout import Course, Courses, Run, Work
from wallquant.rules import Amount, Choice, Fixed, Item, Lead, ParamError, Phase, Precedence, Rule, RuleError, Sentence, Use, Window
from wallquant.units import MM, Nm, mm_text

PATIENCE = 10
"""A rule that waits is stopped after so many times the processor seconds that one that works may take."""
YEARS = 10 * 365 * 24 * 3600
"""No work and no wait is longer (seconds); a rule that says more has mistaken its unit, and no clock of a site gets there."""
FARTHEST: Nm = 1_000_000_000 * MM
"""1000 km: what is further than any two places of a site is no length, and more than the engines' whole numbers hold."""


class _TooLong(BaseException):
    """Raised inside a rule by the timer; no `except Exception` of the rule keeps it."""


class Guarded(Rule):
    """A rule as engines ask it.

    Parameters
    ----------
    rule : Rule
    owner : str
        The plugin that brings it, for sentences; empty where that is not known.
    seconds : float
        Most processor seconds for one question; 0 for no limit.
    """

    def __init__(self, rule: Rule, owner: str = "", seconds: float = 0) -> None:
        super().__init__(rule.params)
        self.rule, self.seconds = rule, seconds
        self.code, self.title = rule.code, rule.title  # type: ignore[misc]
        self.name = f"rule {rule.code}" + (f" of plugin {owner}" if owner else "")
        self.says_offset = type(rule).offset is not Rule.offset

    def demand(self, run: Run, courses: Courses) -> list[Sentence]:
        """Ask about one run."""
        where = f"demand on run {run.name}"
        out: list[Sentence] = self._heard(where, lambda: list(self.rule.demand(run, courses)))
        corners = {j.corner for j in run.junctions}
        for one in out:
            self._vet(where, one, get_args(Sentence))
            for part in (part for group in one.alternatives for part in group) if isinstance(one, Choice) else (one,):
                if isinstance(part, (Phase, Lead)) and part.corner not in corners:
                    self._wrong(where, f"says {_named(part)} at corner {part.corner!r}, which is none of the run's")
                if isinstance(part, Item) and (part.end < part.start or part.top < part.bottom or part.quantity < 0 or part.seconds < 0):
                    self._wrong(where, f"says an Item ({part.kind}) that ends before it begins, or with a quantity or seconds below 0")
                if isinstance(part, Item) and part.seconds > YEARS:
                    self._wrong(where, f"says an Item ({part.kind}) with {part.seconds} seconds, more than ten years")
                if isinstance(part, (Window, Fixed, Use, Phase)):
                    self._vet_course(where, part, run, courses)
        return out

    def _vet_course(self, where: str, one: Window | Fixed | Use | Phase, run: Run, courses: Courses) -> None:
        """Refuse what is said of a course that is none, or over a stretch that is none: engines would not hear it."""
        said = f"says a {type(one).__name__} in course {one.course}"
        if not 1 <= one.course <= len(courses):
            self._wrong(where, f"{said}, which there is not; run {run.name} has courses 1 to {len(courses)}")
        if not isinstance(one, Phase) and one.lo > one.hi:
            self._wrong(where, f"{said} from station {mm_text(one.lo)} to {mm_text(one.hi)} mm, which ends before it begins")
        if isinstance(one, Fixed) and one.courses < 1:
            self._wrong(where, f"{said} over {one.courses} courses; it lies in 1 or more")
        if isinstance(one, Fixed) and one.bottom is not None and not run.bottom <= one.bottom <= max(z for _, z in run.top):
            self._wrong(where, f"{said} with its underside at level {mm_text(one.bottom)} mm, outside run {run.name}")

    def offset(self, upper: Course, lower: Course) -> Nm:
        """Ask about two courses."""
        if not self.says_offset:
            return 0
        where = f"offset on run {upper.run.name}"
        value = self._heard(where, lambda: self.rule.offset(upper, lower))
        if not isinstance(value, Integral) or isinstance(value, bool):
            self._wrong(where, f"answers {type(value).__name__}, not whole nanometres")
        if not _length(value):
            self._wrong(where, f"answers {_short(value)} for course {upper.number}, which is no length on a site")
        return int(value)

    def precede(self, work: Work) -> list[Precedence]:
        """Ask what comes before what."""
        out = self._listed("precede", work, self.rule.precede, Precedence)
        steps = {step.name for step in work.steps}
        for one in out:
            for name in (*one.first, *one.then):
                if name not in steps:
                    self._wrong("precede", f"names the step {name!r}, which there is not")
            if min(one.lag, one.not_before, one.hold_seconds, one.most_lag or 0) < 0:
                self._wrong("precede", "says a lag, not_before or hold_seconds below 0")
            if max(one.lag, one.not_before, one.hold_seconds) > YEARS:
                self._wrong("precede", "says a lag, not_before or hold_seconds of more than ten years")
            if one.most_lag is not None and one.most_lag < one.lag:
                self._wrong("precede", f"says a most_lag of {one.most_lag} s, less than the lag of {one.lag} s that it asks")
        return [replace(one, rule=self.code) for one in out]

    def measure(self, work: Work) -> list[Amount]:
        """Ask how much it takes."""
        out = self._listed("measure", work, self.rule.measure, Amount)
        for one in out:
            if one.quantity < 0:
                self._wrong("measure", f"says {one.quantity:g} {one.unit} of {one.item}; an amount is 0 or more")
        return [replace(one, rule=self.code) for one in out]

    def findings(self, work: Work) -> list[Finding]:
        """Ask what is worth telling."""
        out = self._listed("findings", work, self.rule.findings, Finding)
        for one in out:
            if one.severity not in SEVERITIES:
                self._wrong("findings", f"says a finding of severity {one.severity!r}; there are {', '.join(SEVERITIES)}")
        return out

    def _listed(self, where: str, work: Work, ask: Callable[[Work], Iterable[Any]], kind: type) -> list[Any]:
        with _sealed(work):
            out: list[Any] = self._heard(where, lambda: list(ask(work)))
        for one in out:
            self._vet(where, one, (kind,))
        return out

    def _heard(self, where: str, ask: Callable[[], Any]) -> Any:
        try:
            with _within(self.seconds):
                return ask()
        except _TooLong:
            self._wrong(where, f"is not done after {self.seconds:g} s; the job's rule_seconds is the limit")
        except ParamError as error:
            raise RuleError(str(error)) from error
        except RuleError:
            raise
        except (Exception, SystemExit) as error:
            said = " ".join(f"{type(error).__name__}: {error}".split()).rstrip(": ")
            raise RuleError(f"{self.name} failed in {where} ({said}); {REPAIR}", self.code) from error

    def _vet(self, where: str, one: object, kinds: tuple[type, ...]) -> None:
        """Refuse what is none of these kinds, or has a value that no engine can read."""
        if type(one) not in kinds:
            wanted = kinds[0].__name__ if len(kinds) == 1 else "a sentence of a rule"
            self._wrong(where, f"says {_short(one)}, which is not {wanted}")
        if isinstance(one, Choice):
            if not isinstance(one.alternatives, tuple) or not all(isinstance(group, tuple) for group in one.alternatives):
                self._wrong(where, "says a Choice whose alternatives are no tuple of tuples")
            for part in (part for group in one.alternatives for part in group):
                self._vet(where, part, tuple(kind for kind in kinds if kind is not Choice))
        for key, (fits, wanted) in CHECKED[type(one)]:
            if not fits(getattr(one, key)):
                course = f" in course {_short(one.course)}" if hasattr(one, "course") and key != "course" else ""
                self._wrong(where, f"says {_named(one)}{course} with {key} = {_short(getattr(one, key))}, which is no {wanted}")

    def _wrong(self, where: str, problem: str) -> None:
        raise RuleError(f"{self.name}, asked in {where}, {problem}; {REPAIR}", self.code)


REPAIR = "repair it, or leave it out with rules_off or on_rule_error in the job"


def guarded(rules: Iterable[Rule], owners: Mapping[str, str] | None = None, *, seconds: float = 0) -> tuple[Rule, ...]:
    """Return the rules as engines ask them; one that is guarded already stays as it is.

    Parameters
    ----------
    rules : iterable of Rule
    owners : mapping of str to str, optional
        ``rule CODE`` to the plugin that brings it.
    seconds : float
        Most processor seconds for one question; 0 for no limit.
    """
    known = owners or {}
    return tuple(r if isinstance(r, Guarded) else Guarded(r, known.get(f"rule {r.code}", ""), seconds) for r in rules)


@contextmanager
def _sealed(work: Work) -> Iterator[None]:
    """Let nobody write to the columns of pieces meanwhile: a rule that moves a piece would spoil the plan behind every engine's back."""
    columns = [getattr(work.pieces, f.name) for f in fields(work.pieces)] if work else []
    open_ones = [c for c in columns if isinstance(c, np.ndarray) and c.flags.writeable]
    for column in open_ones:
        column.flags.writeable = False
    try:
        yield
    finally:
        for column in open_ones:
            column.flags.writeable = True


@contextmanager
def _within(seconds: float) -> Iterator[None]:
    """Raise `_TooLong` in what goes on for more processor seconds than that, or `PATIENCE` times as long by the clock.

    Processor time is counted, so that a busy machine plans as a quiet one does.  Outside of the main thread, and where there are no
    timers, the time is looked at when it is over.
    """
    if not seconds:
        yield
        return
    began, started = process_time(), monotonic()
    timers = ((signal.SIGPROF, signal.ITIMER_PROF, seconds), (signal.SIGALRM, signal.ITIMER_REAL, seconds * PATIENCE)) if _timed() else ()
    before = [signal.signal(number, _stop) for number, _, _ in timers]
    for _, timer, limit in timers:
        signal.setitimer(timer, limit, 1.0)  # again each second, for a rule that catches everything
    try:
        yield
    finally:
        for _, timer, _ in timers:
            signal.setitimer(timer, 0)
        for (number, _, _), handler in zip(timers, before, strict=True):
            signal.signal(number, handler)
    if process_time() - began > seconds or monotonic() - started > seconds * PATIENCE:
        raise _TooLong


def _timed() -> bool:
    return hasattr(signal, "setitimer") and threading.current_thread() is threading.main_thread()


def _stop(*_: object) -> None:
    raise _TooLong


def _named(value: object) -> str:
    kind = type(value).__name__
    return f"{'an' if kind[0] in 'AEIO' else 'a'} {kind}"


def _short(value: object) -> str:
    said = " ".join(repr(value).split())
    return said if len(said) <= 80 else said[:77] + "..."


def _whole(value: object) -> bool:
    return type(value) is int or (isinstance(value, Integral) and not isinstance(value, bool))


def _length(value: object) -> bool:
    return isinstance(value, Integral) and _whole(value) and abs(int(value)) <= FARTHEST


def _real(value: object) -> bool:
    return isinstance(value, Real) and not isinstance(value, bool) and isfinite(value)


def _text(value: object) -> bool:
    return isinstance(value, str)


KINDS: Mapping[str, tuple[Callable[[Any], bool], str]] = {
    "Nm": (_length, "whole number of nanometres on a site"),
    "Nm | None": (lambda v: v is None or _length(v), "whole number of nanometres on a site"),
    "int": (_whole, "whole number"),
    "int | None": (lambda v: v is None or _whole(v), "whole number"),
    "float": (_real, "number"),
    "bool": (lambda v: isinstance(v, bool), "True or False"),
    "bool | None": (lambda v: v is None or isinstance(v, bool), "True or False"),
    "str": (_text, "text"),
    "tuple[str, ...]": (lambda v: isinstance(v, tuple) and all(map(_text, v)), "tuple of texts"),
    "Place": (lambda v: isinstance(v, Place), "Place"),
}
"""By how a field is declared: whether a value fits, and what is wanted."""
CHECKED: Mapping[type, tuple[tuple[str, tuple[Callable[[Any], bool], str]], ...]] = {
    kind: tuple((f.name, KINDS[str(f.type)]) for f in fields(kind) if str(f.type) in KINDS)
    for kind in (*get_args(Sentence), Precedence, Amount, Finding)
}
