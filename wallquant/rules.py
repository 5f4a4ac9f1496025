"""What a rule can say.  A rule never moves a piece: it says one of the sentences below, and an engine decides.

Sentences of `Rule.demand`: `Window`, `Fixed`, `Use`, `Bed`, `Phase`, `Choice`, `Lead`, `Item`.  `Rule.offset` says how far joints
of neighbouring courses stand apart.  `Rule.precede` says `Precedence`, `Rule.measure` says `Amount`, `Rule.findings` says
`wallquant.findings.Finding`.  Sentences commute: any order of rules gives the same plan.

What a rule sees (runs, courses, the laid work) is in `wallquant.layout`; its table of sentences stands in DEVELOPERS.md.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import MISSING, dataclass, field, fields
from numbers import Integral
from typing import Any, ClassVar, Literal

from wallquant.findings import Finding, Source
from wallquant.layout import Course, Courses, Run, Work
from wallquant.units import MM, Nm, parse_length


@dataclass(frozen=True, kw_only=True, slots=True)
class Window:
    """No head joint (`of` = joint) or no cut piece (`of` = cut) in the open interval (lo, hi) of a course.

    With `unit` the piece over it must be of that unit.  `yields` 0 never gives way; of others the highest number gives way
    first, and a finding names both rules.  1 to 4 rank before fewest cuts, 5 to 9 after.
    """

    course: int
    lo: Nm
    hi: Nm
    of: Literal["joint", "cut"] = "joint"
    unit: str = ""
    yields: int = 0
    why: str = ""

    def __post_init__(self) -> None:
        """Refuse what no engine can read, where the rule says it: its own name is then in the sentence."""
        if not all(type(n) is int or isinstance(n, Integral) for n in (self.course, self.lo, self.hi, self.yields)):
            here = f"course {self.course}: lo = {self.lo}, hi = {self.hi}, yields = {self.yields}"
            raise ValueError(f"course, lo, hi and yields of a Window are whole numbers, lengths in nanometres, not as in {here}")
        if self.of not in ("joint", "cut"):
            raise ValueError(f"of is joint or cut in a Window, not {self.of!r}")
        if not 0 <= self.yields <= 9:
            raise ValueError(f"yields is 0 to 9 in a Window, not {self.yields}")


@dataclass(frozen=True, kw_only=True, slots=True)
class Fixed:
    """A given piece over `courses` courses from `course` on; without `unit` a straight joint from lo to hi.

    `bottom` is the level of its underside where that is no bearing line (a lintel at a head off course); None: the course's
    own.  `offset` False: its ends need no offset from the joints below and above.  `opening` names what it bridges, `bearing` is
    the length that its rule asks each of its ends to bear on (0: none asked); it is said in the plan, windows keep joints out of it.
    """

    course: int
    courses: int = 1
    lo: Nm
    hi: Nm
    unit: str = ""
    bottom: Nm | None = None
    offset: bool = True
    opening: tuple[str, ...] = ()
    bearing: Nm = 0
    why: str = ""


@dataclass(frozen=True, kw_only=True, slots=True)
class Use:
    """Another unit (a U unit, say) over a stretch of a course."""

    course: int
    lo: Nm
    hi: Nm
    unit: str
    why: str = ""


@dataclass(frozen=True, kw_only=True, slots=True)
class Bed:
    """A bed is wanted at a level; asked with nominal courses, before all else.

    One that yields moves heads within the fit to a course there.  One with `yields` 0 is held: in all runs that share course lines the
    course over it begins there with whole units, and what is ripped lies below it; where two cannot both be, a finding says so.
    """

    level: Nm
    yields: int = 5
    why: str = ""


@dataclass(frozen=True, kw_only=True, slots=True)
class Phase:
    """In a course the named run passes at a corner; `passes` = 'tied': neither does, the runs are tied."""

    corner: str
    course: int
    passes: str
    yields: int = 0
    why: str = ""


@dataclass(frozen=True, kw_only=True, slots=True)
class Lead:
    """Leads of so many courses stand at a corner; engines shape them from the joints."""

    corner: str
    courses: int
    why: str = ""


@dataclass(frozen=True, kw_only=True, slots=True)
class Item:
    """Something built in that is no masonry piece; `course` is where it is placed.

    With a `task` it is work: items of one run (or one corner, where that is named), course and task are done in one step of that
    kind, after the pieces of `course` and below that they stand over, and before those of higher courses.  Course 0 comes before
    all pieces.  `seconds` is the work of one mason for this item, `text` the sentence for the foreman.

    A rule does not know what engines decide, so it may say on what an item depends: with `passing` it is placed only where its run
    passes (True) or butts (False) at `corner` in `course`; one that is `interrupted` ends where an opening, a fixed piece (a lintel),
    a straight joint, or pieces ripped in height lie in its way, and goes on behind: quantity and seconds are shared out by length.

    A bar that is cut from bought bars has their length as `stock`, and in `lap` how far two lie side by side where one carries on the
    other; `sort` says what they are where they are no plain bars (``rod``).  The engine joins lying ones that touch, counts the laps
    of those that are longer than `stock` (quantity in m), leaves out what is cut off for less than a lap, and plans the cutting.
    """

    kind: str
    run: str
    start: Nm
    end: Nm
    bottom: Nm
    top: Nm
    offset: Nm = 0
    size: Nm = 0
    quantity: float = 1.0
    unit: str = "pcs"
    course: int = 0
    corner: str = ""
    task: str = ""
    seconds: int = 0
    text: str = ""
    passing: bool | None = None
    interrupted: bool = False
    stock: Nm = 0
    lap: Nm = 0
    sort: str = ""
    rule: str = ""


@dataclass(frozen=True, kw_only=True, slots=True)
class Choice:
    """Alternatives, each a group of sentences; the engine takes the cheapest, the first among equals."""

    name: str
    alternatives: tuple[tuple[Window | Fixed | Use | Bed | Phase | Lead | Item, ...], ...]
    why: str = ""


Sentence = Window | Fixed | Use | Bed | Phase | Choice | Lead | Item


@dataclass(frozen=True, kw_only=True, slots=True)
class Precedence:
    """`first` before `then` (names of steps), for a reason.

    Parameters
    ----------
    first, then : tuple of str
        Names of steps; each of `first` before each of `then`.
    lag, most_lag : int
        Least and most clock seconds between the end of one and the start of the other (most_lag None: no limit).
    not_before : int
        Clock second before which `then` does not start.
    hold : str
        A sentence: work stops there until it is done; becomes a step of kind hold between both.
    hold_seconds : int
        How long the hold takes when nothing else is said.
    resource, calendar : str
        What `then` needs besides a mason, with or without a `first`: ``two people``, or a thing of which the site has so many
        (``hoist``); and the days of the week on which it may be begun (``mon thu``).
    amount : int
        How much of the resource each of `then` takes while it goes on.
    reason : str
        Why, for people.
    """

    first: tuple[str, ...]
    then: tuple[str, ...]
    lag: int = 0
    most_lag: int | None = None
    not_before: int = 0
    hold: str = ""
    hold_seconds: int = 0
    resource: str = ""
    amount: int = 1
    calendar: str = ""
    reason: str = ""
    rule: str = ""


@dataclass(frozen=True, kw_only=True, slots=True)
class Amount:
    """How much of an item is taken; what all rules say of one `item` and `unit` becomes one row of materials.csv.

    `unit` is ``pcs``, ``m``, ``m3``, ``kg`` or what the material is bought in; `where` is told beside it, like a run's name.  An `Item`
    that is placed is bought without an `Amount` of its own: say only what goes with it (screws, grout).  `piece` (a row of
    `Work.pieces`) or `step` (a name) says what takes it.
    """

    item: str
    quantity: float
    unit: str
    where: str = ""
    piece: int | None = None
    step: str = ""
    rule: str = ""


ParamKind = Literal["length", "number", "count", "choice", "flag", "text"]


@dataclass(frozen=True, kw_only=True, slots=True)
class ParamInfo:
    """What is said of a parameter.

    Parameters
    ----------
    kind : str
        ``length`` (nanometres inside, written with a unit), ``number``, ``count``, ``choice``, ``flag`` (true or false) or ``text``.
    text : str
        What it is, in a sentence for users.
    source : wallquant.findings.Source
    unit : str
        Of a number or a count; a length needs none.
    least, most : float, optional
        Bounds, of lengths in nanometres; the conformance suite wants both for lengths, numbers and counts.
    choices : tuple of str
        What a choice may be.
    """

    kind: ParamKind
    text: str
    source: Source
    unit: str = ""
    least: float | None = None
    most: float | None = None
    choices: tuple[str, ...] = ()


def param(default: Any, info: ParamInfo) -> Any:
    """Declare a field of a rule's `Params`: its default and what is said of it.  Lengths are given in nanometres."""
    return field(default=default, metadata={"info": info})


class ParamError(ValueError):
    """A parameter was given a value that it cannot have; the sentence says which and what to write."""


class RuleError(ValueError):
    """A rule raised or said something that cannot be; one sentence names it.

    `rule` is its code, where the plan can be made without it; empty where the job's own value is at fault.
    """

    def __init__(self, text: str, rule: str = "") -> None:
        super().__init__(text)
        self.rule = rule


@dataclass(frozen=True, kw_only=True)
class NoParams:
    """Parameters of a rule that has none."""


class Rule:
    """One rule: one class, one file.  The docstring's first line is the sentence that users read.

    Subclasses set `code`, `title`, `Params` (a frozen keyword-only dataclass whose fields are made by `param`) and
    `presets` (name to parameter values, for code sets), and override what they have to say.  A rule sees a run with its
    junctions and the course levels; never joints or phases, and no state.
    """

    code: ClassVar[str] = ""
    title: ClassVar[str] = ""
    Params: ClassVar[type] = NoParams
    presets: ClassVar[Mapping[str, Mapping[str, Any]]] = {}

    def __init__(self, params: Any = None) -> None:
        self.params = params if params is not None else self.Params()

    def demand(self, run: Run, courses: Courses) -> Iterable[Sentence]:
        """Say what must, or must not, be where on one run."""
        return ()

    def offset(self, upper: Course, lower: Course) -> Nm:
        """Return the least offset of joint centres between two neighbouring courses; the greatest of all rules wins."""
        return 0

    def precede(self, work: Work) -> Iterable[Precedence]:
        """Say what comes before what."""
        return ()

    def measure(self, work: Work) -> Iterable[Amount]:
        """Say how much it takes."""
        return ()

    def findings(self, work: Work) -> Iterable[Finding]:
        """Say what is worth telling."""
        return ()


def infos(rule: type[Rule]) -> dict[str, tuple[ParamInfo, Any]]:
    """Return each parameter of a rule: what is said of it, and its default."""
    out: dict[str, tuple[ParamInfo, Any]] = {}
    for f in fields(rule.Params):
        info = f.metadata.get("info")
        if not isinstance(info, ParamInfo) or f.default is MISSING:
            raise ParamError(f"rule {rule.code}: parameter {f.name} is not declared with param(default, ParamInfo(...))")
        out[f.name] = (info, f.default)
    return out


def configured(rule: type[Rule], settings: Mapping[str, Any]) -> Rule:
    """Return the rule with a job's settings; `preset` names a set of values that the others override.

    Raises
    ------
    ParamError
        For an unknown parameter or preset, a wrong kind, or a value out of bounds.
    RuleError
        For a rule that raises when it is made.
    """
    known = infos(rule)
    values: dict[str, Any] = {}
    given = dict(settings)
    name = given.pop("preset", None)
    if name is not None:
        if name not in rule.presets:
            raise ParamError(f"rule {rule.code} has no preset '{name}'; it has {', '.join(sorted(rule.presets)) or 'none'}")
        values.update(rule.presets[name])
    values.update(given)
    for key in values:
        if key not in known:
            raise ParamError(f"rule {rule.code} has no parameter '{key}'; it has {', '.join(known)}")
    read = {key: _value(rule.code, key, known[key][0], value) for key, value in values.items()}
    try:
        return rule(rule.Params(**read))
    except ParamError:
        raise
    except (Exception, SystemExit) as error:
        said = " ".join(f"{type(error).__name__}: {error}".split())
        raise RuleError(f"rule {rule.code} cannot be made ({said}); repair it, or leave it out with rules_off", rule.code) from error


def _value(code: str, key: str, info: ParamInfo, value: Any) -> Any:
    where = f"rule {code}, parameter {key}"
    out: Any = value
    try:
        match info.kind:
            case "length":
                out = value if isinstance(value, int) and not isinstance(value, bool) else parse_length(str(value))
            case "number":
                out = float(value)
            case "count":
                out = int(str(value))
            case "flag":
                out = {"true": True, "false": False}[str(value).lower()]
            case "choice" | "text":
                out = str(value)
    except (ValueError, KeyError, TypeError) as error:
        said = str(error) if info.kind == "length" else f"'{value}' is no {info.kind}"
        raise ParamError(f"{where}: {said}") from error
    if info.kind == "choice" and out not in info.choices:
        raise ParamError(f"{where}: '{value}' is none of {', '.join(info.choices)}")
    if info.kind in ("length", "number", "count"):
        bad = out != out or (info.least is not None and out < info.least) or (info.most is not None and out > info.most)
        if bad:
            ends = (("at least", info.least), ("at most", info.most))
            limits = [f"{word} " + (f"{to / MM:g} mm" if info.kind == "length" else f"{to:g}") for word, to in ends if to is not None]
            raise ParamError(f"{where}: {value} is outside its bounds; write {', '.join(limits) or 'a number'}")
    return out
