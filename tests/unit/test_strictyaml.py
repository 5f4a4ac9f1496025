"""Strict YAML: what is read, what is refused and with which sentence."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
import yaml
from hypothesis import given
from hypothesis import strategies as st
from pydantic import BaseModel, ConfigDict, Field

from wallquant.strictyaml import YamlError, fields_at, into, load, load_file, near, path_text


def said(text: str) -> str:
    with pytest.raises(YamlError) as caught:
        load(text, name="a.yaml")
    return str(caught.value)


def test_reads_plain_values() -> None:
    text = """
words: [a b, "no", 'on', 7-7/8 in, 600x200, 7:00, 2026-01-31, 1_000, 0x10]
numbers: [0, -3, 2.50, 1e3, .5]
flags: [true, False]
nothing: [~, null, ]
"""
    assert load(text, name="a").data == {
        "words": ["a b", "no", "on", "7-7/8 in", "600x200", "7:00", "2026-01-31", "1_000", "0x10"],
        "numbers": [0, -3, 2.5, 1000.0, 0.5],
        "flags": [True, False],
        "nothing": [None, None],
    }


def test_whole_and_broken_numbers_keep_their_kind() -> None:
    data = load("[3, 3.0]", name="a").data
    assert isinstance(data, list)
    assert [type(number) for number in data] == [int, float]


def test_empty_file_has_no_value() -> None:
    assert load("", name="a").data is None
    assert load("# nothing but a comment\n", name="a").data is None


plain = st.recursive(
    st.none()
    | st.booleans()
    | st.integers(-(10**12), 10**12)
    | st.floats(allow_nan=False, allow_infinity=False)
    | st.text(st.characters(min_codepoint=32, max_codepoint=0xD7FF, exclude_characters="\x7f\x85"), max_size=12),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text("abcdef-_ ", min_size=1, max_size=8), inner, max_size=3),
    max_leaves=12,
)


@given(plain)
def test_json_reads_as_a_json_parser_reads_it(value: object) -> None:
    """JSON is YAML (YAML 1.2.2, section 1.3), so the json module of the standard library is the oracle."""
    text = json.dumps(value)
    assert load(text, name="a").data == json.loads(text)


@given(plain)
def test_block_style_reads_as_another_parser_reads_it(value: object) -> None:
    text = yaml.safe_dump(value, allow_unicode=True, width=10_000)
    try:
        data = load(text, name="a").data
    except YamlError as error:
        assert "begins with a zero" in str(error)
    else:
        assert data == yaml.safe_load(text)


REFUSED = {
    "a: 1\nb: 2\na: 3\n": "a.yaml:3:1: a: is written twice, first in line 1; keep one",
    "x: {y: {z: 1, z: 2}}": "a.yaml:1:15: x.y.z: is written twice, first in line 1; keep one",
    '"a": 1\na: 2\n': "a.yaml:2:1: a: is written twice, first in line 1; keep one",
    "a: &here 1\n": "a.yaml:1:4: a: '&here' is an anchor; anchors are not read, take it out",
    "a: *here\n": "a.yaml:1:4: a: '*here' repeats another value; aliases are not read, write the value out",
    "<<: {a: 1}\n": "a.yaml:1:1: '<<' merges another mapping; merge keys are not read, write the keys out",
    "a: !!str 1\n": "a.yaml:1:4: a: 'tag:yaml.org,2002:str' is a tag; tags are not read, take it out",
    "a: no\n": "a.yaml:1:4: a: no without quotes is text or false; write 'no' in quotes, or false",
    "a: [1, Yes]\n": "a.yaml:1:8: a[1]: Yes without quotes is text or true; write 'Yes' in quotes, or true",
    "off: [b]\n": "a.yaml:1:1: the key off is true or false to some readers; write 'off' in quotes",
    "a: 010\n": "a.yaml:1:4: a: 010 begins with a zero; write the number without it, or '010' in quotes for text",
    "a: 1e999\n": "a.yaml:1:4: a: 1e999 is too large a number; write a smaller one",
    f"a: {'9' * 31}\n": "a.yaml:1:4: a: a number of more than 30 digits; write a smaller one",
    "a:\n\tb: 1\n": "a.yaml:2:1: a tab in the indent; write spaces",
    "a: 1\n---\nb: 2\n": "a.yaml:2:1: a second document begins here; keep one document in a file",
    "? [a]\n: 1\n": "a.yaml:1:3: a list or mapping cannot be a key; write a word",
    "a: b: c\n": "a.yaml:1:5: the file cannot be read as YAML (mapping values are not allowed here); check indents, colons and quotes",
    "a: 1\nb: \x07\n": "a.yaml:2:1: the file holds a control character that YAML forbids; take it out",
}


@pytest.mark.parametrize("text", REFUSED)
def test_refuses_with_one_sentence(text: str) -> None:
    assert said(text) == REFUSED[text]


def test_deep_nesting_is_refused_and_not_a_traceback() -> None:
    assert "levels deep" in said("[" * 5000 + "]" * 5000)


@given(st.text(st.characters(codec="utf-8"), max_size=60))
def test_any_text_is_read_or_refused(text: str) -> None:
    try:
        load(text, name="a.yaml")
    except YamlError as error:
        assert str(error).startswith("a.yaml:")
        assert len(str(error).splitlines()) == 1


def test_places() -> None:
    document = load("a:\n  - b: 1\n  - c: 2\n", name="a.yaml")
    assert document.place(("a", 1, "c")) == (3, 8)
    assert document.place(("a", 1, "c"), at_key=True) == (3, 5)
    assert document.place(("a", 1, "missing")) == (3, 5)
    assert str(document.error(("a", 1), "is wrong")) == "a.yaml:3:5: a[1]: is wrong"


def test_path_text() -> None:
    assert path_text(("units", 3, "length")) == "units[3].length"
    assert path_text(()) == ""


def test_near() -> None:
    assert near("lenght", ["width", "length"]) == "; did you mean 'length'?"
    assert near("xyz", ["8", "10"]) == "; known here: 8, 10"
    assert near("xyz", [str(n) for n in range(100)]) == ""
    assert near("xyz", []) == ""


def test_files(tmp_path: Path) -> None:
    good, bad = tmp_path / "good.yaml", tmp_path / "bad.yaml"
    good.write_bytes(b"\xef\xbb\xbfa: 1\n")
    bad.write_bytes(b"a: 1\nb: \xff\n")
    assert load_file(good).data == {"a": 1}
    with pytest.raises(YamlError, match=r"bad\.yaml:2:1: the file is no UTF-8 text; save it as UTF-8"):
        load_file(bad)
    with pytest.raises(YamlError, match=r"the file cannot be opened \(No such file or directory\); check the path"):
        load_file(tmp_path / "none.yaml")


class Inner(BaseModel):
    model_config = ConfigDict(extra="forbid")
    size: int = Field(ge=1)
    word: str = "x"


class Outer(BaseModel):
    model_config = ConfigDict(extra="forbid")
    one: Inner | None = None
    many: tuple[Inner, ...] = ()
    named: dict[str, Inner] = {}


MODEL_ERRORS = {
    "many:\n  - {size: 1}\n  - {sise: 2}\n": "f:3:6: many[1].sise: is no known key; did you mean 'size'? (and 1 more in this file)",
    "one: {}": "f:1:6: one.size: is missing; add it",
    "named:\n  a: {size: 1, q: 3}": "f:2:16: named.a.q: is no known key; known here: size, word",
    "one: {size: 0}": "f:1:13: one.size: '0' is to be at least 1",
    "one: {size: 1, word: 5}": "f:1:22: one.word: '5' is to be text; write it in quotes",
    "many: 3": "f:1:7: many: '3' is to be a list",
    "- 1": "f:1:1: the file is to be a mapping of keys and values",
    "named: {a: {size: 0}}\nmany: [{size: 0}]": "f:1:19: named.a.size: '0' is to be at least 1 (and 1 more in this file)",
}


@pytest.mark.parametrize("text", MODEL_ERRORS)
def test_a_models_errors_have_their_place(text: str) -> None:
    with pytest.raises(YamlError) as caught:
        into(load(text, name="f"), Outer)
    assert str(caught.value) == MODEL_ERRORS[text]


def test_into_makes_the_model() -> None:
    made = into(load("one: {size: 3}", name="f"), Outer)
    assert made.one == Inner(size=3)
    assert into(load("", name="f"), Outer) == Outer()


@pytest.mark.parametrize(
    ("path", "keys"),
    [((), ("many", "named", "one")), (("one",), ("size", "word")), (("many", 4), ("size", "word")), (("named", "k"), ("size", "word"))],
)
def test_fields_at(path: Any, keys: tuple[str, ...]) -> None:
    assert fields_at(Outer, path) == keys
