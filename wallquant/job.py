"""The job file: what a plan is made with, its defaults, and its JSON Schema.

A job file is a YAML mapping; every key has a default, and so has a plan without a job file.  Paths in it are relative to
its folder.  Values of rules are kept as written: each rule checks its own (`configure`).
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Literal, get_args

from pydantic import Field, PlainValidator, PrivateAttr, ValidationError, WithJsonSchema, field_validator, model_validator
from pydantic.types import Strict

from wallquant import strictyaml
from wallquant.masonry import Count, Length, Model, Number, Positive, Signed, Size, patterned
from wallquant.rules import ParamError, ParamInfo, Rule, configured, infos
from wallquant.units import INCH, MM, Nm, inch_text, mm_text

SCHEMA = "wallquant.job/1"
DXF_LAYERS = {
    "pieces": "WQ-PIECES", "cuts": "WQ-CUTS", "cores": "WQ-CORES", "U units": "WQ-U-UNITS", "lintels": "WQ-LINTELS",
    "openings": "WQ-OPENINGS", "items": "WQ-ITEMS", "text": "WQ-TEXT", "dimensions": "WQ-DIMENSIONS",
}  # fmt: skip
"""Layers of layout.dxf by what they hold; `dxf_layers` of the job gives them other names."""


def _plain(value: object) -> object:
    if not isinstance(value, (str, int, float)):
        raise ValueError("a rule's parameter is text, a number, true or false; write one of these")
    return value


Value = Annotated[object, PlainValidator(_plain), WithJsonSchema({"type": ["string", "number", "boolean"]})]
Text = Annotated[str, Field(min_length=1)]
Flag = Annotated[bool, Strict()]
Thing = Annotated[int, Strict(), Field(ge=0, le=1000)]
Day = Annotated[int, Strict(), Field(ge=1, le=10_000)]
Weekday = Literal["monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday"]
WEEKDAYS: tuple[str, ...] = get_args(Weekday)
Measured = Literal["all", "over 0.1 m2", "over 0.5 m2", "over 2.5 m2", "over 2 ft2", "over 10 ft2"]
DxfHolds = Literal["pieces", "cuts", "cores", "U units", "lintels", "openings", "items", "text", "dimensions"]
if TYPE_CHECKING:
    TimeOfDay = str
    LayerName = str
else:
    LayerName = patterned(r"[^<>/\\\":;?*|=`,\x00-\x1f]{1,255}", "a layer's name without < > / \\ \" : ; ? * | = ` or a comma")
    TimeOfDay = patterned("([01]?[0-9]|2[0-3]):[0-5][0-9]", "a time of day, like '07:00'")


def _field(default: Any, text: str, **more: Any) -> Any:
    return Field(default=default, description=text, **more)


class Select(Model):
    """Which layers of a layered wall are laid: those for which all that is given holds."""

    material: Text | None = _field(None, "Name of the layer's material; * stands for any text, and case does not matter.")
    function: Text | None = _field(None, "Function of the layer as the model says it (IFC4's layer category), like LoadBearing.")
    least_thickness: Length | None = _field(None, "Least thickness of the layer as drawn.")
    most_thickness: Length | None = _field(None, "Most thickness of the layer as drawn.")


class Staging(Model):
    """How pallets stand on the slab; what is not given has the default."""

    pallet_length: Size | None = _field(None, "Length of a pallet on the ground; without it 1200 mm, or 48 in.")
    pallet_width: Size | None = _field(None, "Width of a pallet on the ground; without it 1000 mm, or 40 in.")
    off_edge: Length | None = _field(None, "Least distance of a pallet from the slab's edge; without it 1000 mm, or 3 ft.")
    strip: Length | None = _field(None, "Strip beside the walls that is kept free for work; without it 600 mm, or 2 ft.")
    reach: Length | None = _field(None, "Most distance of a pallet from the wall that it is for; without it 3000 mm, or 10 ft.")


class Labour(Model):
    """How labour is told apart; what is not given has the default."""

    alone: Positive | None = _field(None, "Mass as delivered up to which one person lifts a piece, kg; without it 23.13 (51 lb).")
    two: Positive | None = _field(None, "Mass as delivered up to which two people lift a piece, kg; without it 46.27 (102 lb).")
    band: Size | None = _field(None, "Height of a band of labour.csv, as reached from one scaffold lift; without it 1500 mm, or 5 ft.")
    above: Number | None = _field(None, "Part by which work takes longer for each band above the first; without it 0.")
    batch_bags: Positive | None = _field(None, "Bags of mortar mixed in one go; without it 1.")


class Job(Model):
    """All settings of a plan.  `Job()` has the defaults; the description of each field is what users read."""

    schema_: Literal["wallquant.job/1"] = _field(SCHEMA, "Version of the job file.", alias="schema")
    catalogue: Text | None = _field(None, "Name or file of the catalogue; without it the one whose thicknesses fit most wall area.")
    face: Text | None = _field(None, "Face of the units, by its code; without it the catalogue's first.")
    any_thickness: Flag = _field(False, "Lay virtual units where no thickness fits, and lintels made to measure where no stock one does.")
    importer: Text | None = _field(None, "Importer to read the model with, where two read such files.")
    select: Select | None = _field(
        None, "Layers of layered walls to lay as masonry; without it a load-bearing layer, else one named masonry."
    )
    chord_gap: Length | None = _field(None, "Most distance of a curved wall's centre line from its chords; without it 10 mm.")
    least_chord: Length | None = _field(None, "Least length of a chord, else a curve is set aside as too tight; without it 200 mm.")
    batter_gap: Length | None = _field(None, "Most that a step of a battered wall lies behind its drawn face; without it 75 mm.")
    survey: Text | None = _field(None, "CSV file of slab shots: x, y and level or rod reading, or the name of a corner.")
    marks: Text | None = _field(None, "Folder of an older plan whose piece names are kept.")
    heads: dict[str, Signed] = _field({}, "Level to lay the head of an opening at, by the opening's key: a model level, like 2010 mm.")
    sills: dict[str, Signed] = _field({}, "Level to lay the sill of an opening at, by the opening's key: a model level, like 810 mm.")
    masons: Count = _field(2, "Masons on site.", le=1000)
    hoists: Annotated[int, Strict()] = _field(1, "Hoists or cranes on site, for what is too heavy for two people; 0: none.", ge=0, le=100)
    resources: dict[Text, Thing] = _field(
        {}, "What else there is on site, by the name that rules use for it, and how many: like a saw; 0: none."
    )
    walking: Annotated[float, Strict()] = _field(
        60.0,
        "Metres that a mason walks on site in a minute, from one step to the next; 0: walking takes no time.",
        ge=0,
        le=1000,
        allow_inf_nan=False,
    )
    offcuts: Literal["site", "storey", "run", "course", "day"] = _field(
        "site", "How far offcuts are carried: a unit is cut for pieces of the same course of a run, run, storey, day or anywhere on site."
    )
    start_weekday: Weekday = _field("monday", "Day of the week of day 1; rules may ask for days on which work is begun.")
    rest_days: tuple[Weekday, ...] = _field(("saturday", "sunday"), "Days of the week without work; grout and mortar set on them too.")
    days_off: tuple[Day, ...] = _field((), "Single days without work, like holidays, by their number: 1 is the first day of the plan.")
    day_start: TimeOfDay = _field("07:00", "When a working day starts, as hh:mm.")
    day_hours: Annotated[float, Strict()] = _field(8.0, "Hours of work in a day.", gt=0, le=24, allow_inf_nan=False)
    staging: Staging | None = _field(None, "How pallets stand on the slab: edge, strip for work, reach.")
    labour: Labour | None = _field(None, "How labour is told apart: who lifts what, height, mortar mixed in one go.")
    bill: Measured = _field("all", "Openings that a bill deducts; smaller ones are left in.  What is bought is always exact.")
    units: Literal["mm", "in"] | None = _field(None, "Units of sentences and pages for people; without it the catalogue's.")
    write: tuple[Text, ...] = _field((), "Further files to write, like xlsx or ifc.")
    dxf_layers: dict[DxfHolds, LayerName] = _field({}, "Names of the layers of layout.dxf, by what they hold.")
    ifc_schema: Literal["IFC4", "IFC4X3_ADD2"] = _field("IFC4", "Schema of layout.ifc.")
    fail_on: Literal["error", "warning"] = _field("error", "Findings from which on the exit code is 1.")
    plugins: tuple[Text, ...] = _field((), "Paths of plugins to load, besides the installed ones.")
    on_plugin_error: Literal["stop", "skip"] = _field("stop", "What to do when a plugin does not load, or takes a name that another has.")
    on_rule_error: Literal["stop", "leave out"] = _field(
        "stop", "What to do when a rule fails, says what cannot be, or takes too long; left out, the plan is made as if it were not there."
    )
    rule_seconds: Annotated[float, Field(ge=0, le=86400)] = _field(
        300.0, "Most seconds of processor time that a rule takes to answer one question, ten times as many by the clock; 0: no limit."
    )
    rules: dict[str, dict[str, Value]] = _field({}, "Parameters by rule: the rule's code, then its parameters; preset names a set of them.")
    rules_off: tuple[Text, ...] = _field((), "Codes of rules that do not apply.")

    _document: strictyaml.Document | None = PrivateAttr(default=None)
    _options: frozenset[tuple[str, str]] = PrivateAttr(default=frozenset())

    @model_validator(mode="before")
    @classmethod
    def _empty_is_default(cls, data: object) -> object:
        """A key with nothing behind it, all its lines being comments, has its default."""
        if not isinstance(data, Mapping):
            return data
        kept = {key: value for key, value in data.items() if value is not None}
        if isinstance(kept.get("rules"), Mapping):
            kept["rules"] = {code: {} if given is None else given for code, given in kept["rules"].items()}
        return kept

    @field_validator("resources")
    @classmethod
    def _known_apart(cls, given: dict[str, int]) -> dict[str, int]:
        for name, setting in (("hoist", "hoists"), ("two people", "masons")):
            if name in given:
                raise ValueError(f"how many there are of '{name}' is said by {setting}; leave it out here")
        return given

    @field_validator("rest_days")
    @classmethod
    def _some_day_is_worked(cls, value: tuple[str, ...]) -> tuple[str, ...]:
        if set(value) == set(WEEKDAYS):
            raise ValueError("no day of the week is left to work on; leave one out")
        return value

    @property
    def day_start_seconds(self) -> int:
        """Seconds from midnight to the start of a working day."""
        hours, _, minutes = self.day_start.partition(":")
        return 3600 * int(hours) + 60 * int(minutes)

    @property
    def first_weekday(self) -> int:
        """Day of the week of day 1, Monday 0."""
        return WEEKDAYS.index(self.start_weekday)

    @property
    def worked(self) -> frozenset[int]:
        """Days of the week with work, Monday 0."""
        return frozenset(n for n, name in enumerate(WEEKDAYS) if name not in self.rest_days)

    @property
    def week_off(self) -> frozenset[int]:
        """Days without work in every week of the plan, day 1 being 0."""
        return frozenset((WEEKDAYS.index(name) - self.first_weekday) % 7 for name in self.rest_days)

    def error(self, path: Sequence[str | int], problem: str) -> ValueError:
        """Return the error that says `problem` of the setting at `path`, with file and line where the job came from a file."""
        if len(path) == 3 and path[0] == "rules" and (str(path[1]), str(path[2])) in self._options:
            return ValueError(f"--set {path[1]}.{path[2]}: {problem}")
        if self._document is not None:
            return self._document.error(path, problem)
        return ValueError(f"{strictyaml.path_text(path)}: {problem}")


def load(path: Path) -> Job:
    """Read a job file.

    Raises
    ------
    wallquant.strictyaml.YamlError
        One sentence with file, line, column and key path.
    """
    document = strictyaml.load_file(path)
    job = strictyaml.into(document, Job)
    folder = path.parent
    moved: dict[str, Any] = {key: str(folder / value) for key in ("survey", "marks") if (value := getattr(job, key)) is not None}
    moved["plugins"] = tuple(str(folder / plugin) for plugin in job.plugins)
    if job.catalogue is not None and _is_path(job.catalogue):
        moved["catalogue"] = str(folder / job.catalogue)
    job = job.model_copy(update=moved)
    job._document = document
    return job


def _is_path(name: str) -> bool:
    return "/" in name or "\\" in name or name.endswith((".yaml", ".yml"))


def with_options(job: Job, *, settings: Iterable[str] = (), plugins: Iterable[str] = (), **options: Any) -> Job:
    """Return the job with what the command line says; an option that is None, False or empty leaves the job's value.

    Parameters
    ----------
    job : Job
    settings : iterable of str
        ``rule.param=value``, a later one winning.
    plugins : iterable of str
        Added to the job's.
    **options
        Any other field of `Job`.

    Raises
    ------
    ValueError
        One sentence that names the option.
    """
    changed = {name: value for name, value in options.items() if value is not None and value is not False and value != ()}
    rules = {code: dict(given) for code, given in job.rules.items()}
    named = set(job._options)
    for setting in settings:
        target, equals, value = setting.partition("=")
        code, dot, key = target.strip().rpartition(".")
        if not (equals and dot and code and key):
            raise ValueError(f"--set '{setting}' is no setting; write rule.param=value")
        rules.setdefault(code, {})[key] = value.strip()
        named.add((code, key))
    data = {name: getattr(job, name) for name in Job.model_fields if name != "schema_"}
    data |= changed | {"rules": rules, "plugins": (*job.plugins, *plugins)}
    try:
        new = Job.model_validate(data)
    except ValidationError as error:
        first = error.errors()[0]
        name = str(first["loc"][0])
        said = strictyaml.near(name, Job.model_fields) if first["type"] == "extra_forbidden" else f": {first['msg']}"
        raise ValueError(f"--{name.replace('_', '-')} cannot be '{first['input']}'{said}") from error
    new._document, new._options = job._document, frozenset(named)
    return new


def configure(job: Job, rules: Iterable[type[Rule]], *, without: Collection[str] = ()) -> tuple[Rule, ...]:
    """Return the rules that apply, by code, each with the job's values for its parameters; `without` names those that failed.

    Raises
    ------
    wallquant.rules.RuleError
        For a rule that raises when it is made.
    ValueError
        For a code that no rule has, an unknown parameter, or a value that the rule refuses; with file and line.
    """
    known = {rule.code: rule for rule in rules}
    for code in job.rules:
        if code not in known:
            raise job.error(("rules", code), f"no rule has the code '{code}'{strictyaml.near(code, known)}")
    for at, code in enumerate(job.rules_off):
        if code not in known:
            raise job.error(("rules_off", at), f"no rule has the code '{code}'{strictyaml.near(code, known)}")
    return tuple(_configured(job, known[code]) for code in sorted(known) if code not in job.rules_off and code not in without)


def _configured(job: Job, rule: type[Rule]) -> Rule:
    given = job.rules.get(rule.code, {})
    said = infos(rule)
    for key, value in given.items():
        where = ("rules", rule.code, key)
        if key in said and said[key][0].kind == "length" and not isinstance(value, str):
            raise job.error(where, f"a length needs its unit; write '{value} mm', or like '7-7/8 in'")
        try:
            configured(rule, {key: value})
        except ParamError as error:
            raise job.error(where, str(error)) from error
    return configured(rule, given)


def schema() -> dict[str, Any]:
    """Return the JSON Schema (draft 2020-12) of a job file."""
    made = Job.model_json_schema(by_alias=True)
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", "$id": SCHEMA, **made, "title": "wallquant job"}


def new(rules: Iterable[type[Rule]] = ()) -> str:
    """Return the text of a job file that lists every setting and every rule's parameters, commented out, at their defaults."""
    lines = [
        "# A wallquant job file.  Every line is a comment that shows a default: take the # away and change what you need.",
        "# Lengths are written with their unit, like 199 mm or 7-7/8 in; paths are relative to this file.",
        f"schema: {SCHEMA}",
    ]
    known = Job.model_json_schema(by_alias=True)["properties"]
    for name, one in Job.model_fields.items():
        if name in ("schema_", "rules"):
            continue
        lines += ["", f"# {one.description}{_allowed(known[name])}", f"#{name}: {_written(one.default)}".rstrip()]
    lines += ["", f"# {Job.model_fields['rules'].description}", "#rules:"]
    for rule in sorted(rules, key=lambda r: r.code):
        lines += [f"#  {_word(rule.code)}: # {rule.title}"]
        if rule.presets:
            lines.append(f"#    # preset: one of {', '.join(sorted(rule.presets))}")
        for key, (info, default) in infos(rule).items():
            lines += [f"#    # {_about(info)}", f"#    {key}: {_written(default, length=info.kind == 'length')}"]
    return "\n".join(lines) + "\n"


def _allowed(known: Mapping[str, Any]) -> str:
    """What the schema allows of a setting: its words, or the bounds of its number."""
    for one in (known, *known.get("anyOf", ())):
        if "enum" in one:
            return f"  One of: {', '.join(map(str, one['enum']))}."
        words = (("minimum", "at least"), ("exclusiveMinimum", "more than"), ("maximum", "at most"), ("exclusiveMaximum", "less than"))
        bounds = [f"{word} {_number(one[key])}" for key, word in words if key in one]
        if bounds:
            return f"  {', '.join(bounds).capitalize()}."
    return ""


def _about(info: ParamInfo) -> str:
    shown = _length if info.kind == "length" else _number
    least = f"at least {shown(info.least)}" if info.least is not None else ""
    most = f"at most {shown(info.most)}" if info.most is not None else ""
    choices = f"one of {', '.join(info.choices)}" if info.choices else "true or false" if info.kind == "flag" else ""
    extras = ", ".join(part for part in (info.unit if info.kind != "length" else "", choices, least, most) if part)
    source = str(info.source)
    told = info.text.rstrip(".") + (f" ({extras})" if extras else "") + "." + (f"  Source: {source}" if source else "")
    return " ".join(told.split("\n"))


def _number(value: float) -> str:
    return f"{value:g}"


def _length(value: float) -> str:
    """A length as its writer meant it: in millimetres where they are short, else in inches where these are exact."""
    length: Nm = round(value)
    if length % (MM // 10) and length * 64 % INCH == 0:
        return inch_text(length, finest=64)
    return f"{mm_text(length)} mm"


def _written(value: Any, *, length: bool = False) -> str:
    """A value as strict YAML reads it back."""
    if length:
        return _length(value)
    if value is None:
        return ""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return _word(value)
    if isinstance(value, Mapping):
        return "{" + ", ".join(f"{_word(str(k))}: {_written(v)}" for k, v in value.items()) + "}"
    if isinstance(value, (tuple, list)):
        return "[" + ", ".join(_written(v) for v in value) + "]"
    return str(value)


def _word(text: str) -> str:
    safe = text and text[0].isalpha() and all(c.isalnum() or c in "-_./" for c in text)
    if safe and text.lower() not in ("yes", "no", "on", "off", "true", "false", "null"):
        return text
    return '"' + text.replace("\\", "\\\\").replace('"', '\\"') + '"'
