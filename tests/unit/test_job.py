"""The job file: defaults, strictness, options over it, rules' parameters, the new job's text, the schema."""

from __future__ import annotations

import json
import re
from dataclasses import dataclass
from pathlib import Path
from typing import Any, ClassVar, cast

import jsonschema  # type: ignore[import-untyped]
import pytest

from wallquant import job
from wallquant.findings import Source
from wallquant.job import Job
from wallquant.rules import ParamInfo, Rule, param
from wallquant.strictyaml import YamlError, into
from wallquant.strictyaml import load as load_yaml
from wallquant.units import INCH, MM

ROOT = Path(__file__).parents[2]
PROJECT = Source(basis="project", text="a test's input")


class Lap(Rule):
    """Courses lap."""

    code = "lap"
    title = "Courses lap each other"

    @dataclass(frozen=True, kw_only=True)
    class Values:
        least: int = param(4 * INCH, ParamInfo(kind="length", text="Least lap.", source=PROJECT, least=0, most=INCH * 24))
        part: float = param(0.25, ParamInfo(kind="number", text="Part of a unit.", source=PROJECT, unit="of its length", least=0, most=1))
        at: str = param("ends", ParamInfo(kind="choice", text="Where.", source=PROJECT, choices=("ends", "all")))
        tied: bool = param(False, ParamInfo(kind="flag", text="Whether it is tied.", source=PROJECT))

    Params = Values
    presets: ClassVar[dict[str, dict[str, Any]]] = {"quarter": {"part": 0.25}}


class Gap(Rule):
    """Gaps are kept."""

    code = "gap"
    title = "Gaps are kept"

    @dataclass(frozen=True, kw_only=True)
    class Values:
        width: int = param(10 * MM, ParamInfo(kind="length", text="Width.", source=PROJECT))
        note: str = param('say "so"', ParamInfo(kind="text", text="Words for people.", source=PROJECT))

    Params = Values


def written(tmp_path: Path, text: str) -> Path:
    file = tmp_path / "job.yaml"
    file.write_text(text, encoding="utf-8")
    return file


def test_defaults() -> None:
    one = Job()
    assert (one.catalogue, one.masons, one.units, one.fail_on, one.on_plugin_error) == (None, 2, None, "error", "stop")
    assert (one.day_start_seconds, one.day_hours) == (7 * 3600, 8.0)
    assert one.rules == {}
    assert one.rules_off == ()


def test_reads_a_whole_job(tmp_path: Path) -> None:
    file = written(
        tmp_path,
        """
schema: wallquant.job/1
catalogue: aac-us
any_thickness: true
survey: shots.csv
marks: old
masons: 4
day_start: 6:30
units: in
plugins: [firm/rules.py]
write: [xlsx, ifc]
heads: {"2O2Fr$t4X7Zf8NOew3FL#2": 6 ft 8 in}
rules:
  lap: {least: 6 in, tied: true}
  gap:
rules_off: [gap]
""",
    )
    one = job.load(file)
    assert one.catalogue == "aac-us"
    assert (one.survey, one.marks, one.plugins) == (str(tmp_path / "shots.csv"), str(tmp_path / "old"), (str(tmp_path / "firm/rules.py"),))
    assert one.heads == {"2O2Fr$t4X7Zf8NOew3FL#2": 80 * INCH}
    assert one.rules == {"lap": {"least": "6 in", "tied": True}, "gap": {}}
    assert one.day_start_seconds == 6 * 3600 + 30 * 60
    assert job.load(written(tmp_path, "catalogue: mine.yaml")).catalogue == str(tmp_path / "mine.yaml")


def test_an_empty_file_and_empty_keys_are_the_defaults(tmp_path: Path) -> None:
    for text in ("", "rules:\nmasons:\nplugins:\n"):
        assert job.load(written(tmp_path, text)).model_dump() == Job().model_dump()


WRONG = {
    "mason: 3": "1:1: mason: is no known key; did you mean 'masons'?",
    "schema_: wallquant.job/1": "1:1: schema_: is no known key; did you mean 'schema'?",
    "masons: 2.5": "1:9: masons: '2.5' is to be a whole number, without quotes",
    'masons: "2"': "1:9: masons: '2' is to be a whole number, without quotes",
    "masons: 0": "1:9: masons: '0' is to be more than 0",
    "masons: 2000": "1:9: masons: '2000' is to be at most 1000",
    "day_start: 25:00": "1:12: day_start: '25:00' does not do here; write a time of day, like '07:00'",
    "day_hours: 0": "1:12: day_hours: '0' is to be more than 0",
    "rest_days: [monday, tuesday, wednesday, thursday, friday, saturday, sunday]": (
        "1:12: rest_days: no day of the week is left to work on; leave one out"
    ),
    "days_off: [0]": "1:12: days_off[0]: '0' is to be at least 1",
    "heads: {a: 2100}": "1:12: heads.a: a length needs its unit; write '2100 mm', or like '7-7/8 in'",
    "write: xlsx": "1:8: write: 'xlsx' is to be a list",
    "any_thickness: 1": "1:16: any_thickness: '1' is to be true or false",
    'catalogue: ""': "1:12: catalogue: '' is empty; write a word, or take the key out",
    "fail_on: note": "1:10: fail_on: 'note' is not among the choices; write 'error' or 'warning'",
    "schema: wallquant.job/9": "1:9: schema: 'wallquant.job/9' is not among the choices; write 'wallquant.job/1'",
    "rules: {a: 3}": "1:12: rules.a: '3' is to be a mapping of keys and values",
    "rules: {a: {b: [1]}}": "1:16: rules.a.b: a rule's parameter is text, a number, true or false; write one of these",
    "- masons": "1:1: the file is to be a mapping of keys and values",
}


@pytest.mark.parametrize("text", WRONG)
def test_a_wrong_job_is_one_sentence(tmp_path: Path, text: str) -> None:
    file = written(tmp_path, text)
    with pytest.raises(YamlError) as caught:
        job.load(file)
    assert str(caught.value) == f"{file}:{WRONG[text]}"


def test_a_job_that_is_not_there(tmp_path: Path) -> None:
    with pytest.raises(YamlError, match="the file cannot be opened"):
        job.load(tmp_path / "none.yaml")


def test_options_win_over_the_job_and_none_leaves_it(tmp_path: Path) -> None:
    one = job.load(written(tmp_path, "masons: 4\nany_thickness: true\nplugins: [a.py]\nrules: {lap: {part: 0.3}}"))
    new = job.with_options(
        one, masons=None, any_thickness=False, write=(), units="mm", plugins=["b.py"], settings=["lap.least=8 in", "lap.least=9 in"]
    )
    assert (new.masons, new.any_thickness, new.units) == (4, True, "mm")
    assert new.plugins == (str(tmp_path / "a.py"), "b.py")
    assert new.rules == {"lap": {"part": 0.3, "least": "9 in"}}
    assert one.rules == {"lap": {"part": 0.3}}


@pytest.mark.parametrize(
    ("options", "sentence"),
    [
        ({"masons": 0}, "--masons cannot be '0'"),
        ({"units": "cm"}, "--units cannot be 'cm'"),
        ({"mason": 3}, "--mason cannot be '3'; did you mean 'masons'?"),
        ({"settings": ["lap=3"]}, "--set 'lap=3' is no setting; write rule.param=value"),
        ({"settings": ["lap.least"]}, "--set 'lap.least' is no setting; write rule.param=value"),
    ],
)
def test_wrong_options_are_sentences(options: dict[str, Any], sentence: str) -> None:
    with pytest.raises(ValueError, match=re.escape(sentence)) as caught:
        job.with_options(Job(), **options)
    assert "\n" not in str(caught.value)


def test_configure_gives_rules_in_the_order_of_their_codes(tmp_path: Path) -> None:
    one = job.load(written(tmp_path, "rules:\n  lap: {preset: quarter, least: 6 in}\n"))
    for order in ([Lap, Gap], [Gap, Lap]):
        gap, lap = job.configure(one, order)
        assert (gap.code, lap.code) == ("gap", "lap")
        assert (lap.params.least, lap.params.part, gap.params.width) == (6 * INCH, 0.25, 10 * MM)
    assert [rule.code for rule in job.configure(Job(rules_off=("lap",)), [Lap, Gap])] == ["gap"]


RULES_WRONG = {
    "rules:\n  lapp: {}": "2:9: rules.lapp: no rule has the code 'lapp'; did you mean 'lap'?",
    "rules_off: [gap, lip]": "1:18: rules_off[1]: no rule has the code 'lip'; did you mean 'lap'?",
    "rules: {lap: {least: 152}}": "1:22: rules.lap.least: a length needs its unit; write '152 mm', or like '7-7/8 in'",
    "rules: {lap: {tied: true, least: 3 ft}}": "1:34: rules.lap.least: rule lap, parameter least:",
    "rules: {lap: {lest: 3 in}}": "1:21: rules.lap.lest: rule lap has no parameter 'lest'",
    "rules: {lap: {preset: half}}": "1:23: rules.lap.preset: rule lap has no preset 'half'",
    "rules: {lap: {at: middle}}": "1:19: rules.lap.at: rule lap, parameter at: 'middle' is none of ends, all",
}


@pytest.mark.parametrize("text", RULES_WRONG)
def test_a_rules_wrong_parameter_has_its_place(tmp_path: Path, text: str) -> None:
    file = written(tmp_path, text)
    with pytest.raises(YamlError) as caught:
        job.configure(job.load(file), [Lap, Gap])
    assert str(caught.value).startswith(f"{file}:{RULES_WRONG[text]}")


def test_a_wrong_set_names_the_option_not_the_file(tmp_path: Path) -> None:
    one = job.with_options(job.load(written(tmp_path, "rules: {lap: {at: all}}")), settings=["lap.at=middle"])
    with pytest.raises(ValueError, match="middle") as caught:
        job.configure(one, [Lap])
    assert str(caught.value) == "--set lap.at: rule lap, parameter at: 'middle' is none of ends, all"
    with pytest.raises(ValueError, match=re.escape("rules.lap.at: rule lap, parameter at: 'x' is none")):
        job.configure(Job(rules={"lap": {"at": "x"}}), [Lap])


def test_set_takes_every_kind_of_value() -> None:
    one = job.with_options(Job(), settings=["lap.least=7-7/8 in", "lap.part=0.5", "lap.at=all", "lap.tied=true", "gap.note=a=b"])
    gap, lap = job.configure(one, [Lap, Gap])
    assert (lap.params.part, lap.params.at, lap.params.tied, gap.params.note) == (0.5, "all", True, "a=b")


def test_new_job_is_the_defaults_commented_and_uncommented() -> None:
    text = job.new([Lap, Gap])
    assert into(load_yaml(text, name="new"), Job) == Job()
    live = "\n".join(line[1:] if re.match(r"#(\w|  )", line) else line for line in text.split("\n"))
    one = into(load_yaml(live, name="live"), Job)
    assert one.model_copy(update={"rules": {}}) == Job()
    assert [rule.params for rule in job.configure(one, [Lap, Gap])] == [Gap.Params(), Lap.Params()]
    assert set(one.rules["lap"]) == {"least", "part", "at", "tied"}


def test_new_job_tells_units_bounds_and_sources() -> None:
    text = job.new([Lap])
    assert "#    # Least lap (at least 0 mm, at most 609.6 mm).  Source: project input: a test's input" in text
    assert "#    # Part of a unit (of its length, at least 0, at most 1).  Source: project input: a test's input" in text
    assert "#    # Where (one of ends, all).  Source: project input: a test's input" in text
    assert "#    # preset: one of quarter" in text
    assert "(true or false)" in text
    assert "  One of: stop, leave out.\n#on_rule_error: stop\n" in text
    assert "# Masons on site.  More than 0, at most 1000.\n" in text
    for name, one in Job.model_fields.items():
        assert name in ("schema_", "rules") or f"\n#{name}:" in text
        assert name == "schema_" or cast(str, one.description) in text


def test_committed_schema_is_the_models() -> None:
    file = ROOT / "schemas" / "job.schema.json"
    assert json.loads(file.read_text(encoding="utf-8")) == job.schema()


def test_schema_says_what_the_model_says() -> None:
    jsonschema.Draft202012Validator.check_schema(job.schema())
    valid = jsonschema.Draft202012Validator(job.schema())
    good = {"schema": "wallquant.job/1", "masons": 3, "heads": {"k": "2010 mm"}, "rules": {"lap": {"least": "6 in", "tied": True}}}
    assert valid.is_valid(good)
    assert valid.is_valid({})
    for bad in ({"mason": 3}, {"masons": 0}, {"heads": {"k": 2010}}, {"rules": {"lap": {"least": [1]}}}, {"day_start": "25:00"}):
        assert not valid.is_valid(bad)
        with pytest.raises(YamlError):
            into(load_yaml(json.dumps(bad), name="bad"), Job)
    assert all("description" in one for one in job.schema()["properties"].values())
