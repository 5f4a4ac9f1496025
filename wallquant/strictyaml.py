"""YAML read strictly, so that a slip in a file is one clear sentence with its place and never a silent surprise.

Plain text, numbers, ``true``/``false``, ``null``, lists and mappings are read; what makes YAML surprising is refused:
duplicate keys, anchors, aliases, merge keys, tags, tabs in the indent, several documents, numbers with leading zeros, and
the words ``yes``, ``no``, ``on`` and ``off`` without quotes, which readers of YAML 1.1 take for true and false.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from difflib import get_close_matches
from math import isfinite
from pathlib import Path
from typing import Any, TypeVar, cast, get_args

import yaml

KeyPath = tuple[str | int, ...]
"""Keys and list positions from the top of the file to a value."""

DEEPEST = 40
"""Levels of nesting that are read; no file of ours needs more than six."""

_INT = re.compile(r"[-+]?(0|[1-9][0-9]*)")
_FLOAT = re.compile(r"[-+]?(\.[0-9]+|(0|[1-9][0-9]*)(\.[0-9]*)?)([eE][-+]?[0-9]+)?")
_LEADING_ZERO = re.compile(r"[-+]?0[0-9]+")
_WORDS: dict[str, object] = {"": None, "~": None, "null": None, "Null": None, "NULL": None}
_WORDS |= {word: value for value, words in ((True, ("true", "True", "TRUE")), (False, ("false", "False", "FALSE"))) for word in words}
_TRAPS = frozenset(("yes", "no", "on", "off"))


class YamlError(ValueError):
    """A file that is not as it should be; the text is one sentence: file, line, column, key path, what is wrong, what to write.

    Attributes
    ----------
    name : str
        The file, as the user named it.
    line, column : int
        Counted from 1.
    path : str
        The key path, like ``units[3].length``; empty for the file as a whole.
    problem : str
        What is wrong and what to write.
    """

    def __init__(self, *, name: str, line: int, column: int, path: str, problem: str, more: int = 0) -> None:
        self.name, self.line, self.column, self.path, self.problem = name, line, column, path, problem
        rest = f" (and {more} more in this file)" if more else ""
        super().__init__(f"{name}:{line}:{column}: " + " ".join(f"{path + ': ' if path else ''}{problem}{rest}".split()))


@dataclass(frozen=True, kw_only=True, slots=True)
class Document:
    """A file as read: its values and where each of them stands.

    Attributes
    ----------
    name : str
        The file, as the user named it.
    data : object
        dict, list, str, int, float, bool or None.
    values, keys : dict of KeyPath to (int, int)
        Line and column, from 1, of each value and of each key.
    """

    name: str
    data: object
    values: Mapping[KeyPath, tuple[int, int]]
    keys: Mapping[KeyPath, tuple[int, int]]

    def error(self, path: Sequence[str | int], problem: str, *, at_key: bool = False, more: int = 0) -> YamlError:
        """Return (not raise) the error that says `problem` of the value, or the key, at `path`."""
        line, column = self.place(path, at_key=at_key)
        return YamlError(name=self.name, line=line, column=column, path=path_text(path), problem=problem, more=more)

    def place(self, path: Sequence[str | int], *, at_key: bool = False) -> tuple[int, int]:
        """Return line and column of the value (or its key) at `path`, or of the nearest thing around it that the file has."""
        whole = tuple(path)
        if at_key and whole in self.keys:
            return self.keys[whole]
        while whole and whole not in self.values:
            whole = whole[:-1]
        return self.values.get(whole, (1, 1))


def path_text(path: Sequence[str | int]) -> str:
    """Return a key path as people write it.

    Examples
    --------
    >>> path_text(("units", 3, "length"))
    'units[3].length'
    """
    return "".join(f"[{part}]" if isinstance(part, int) else f".{part}" for part in path).lstrip(".")


def near(word: str, known: Iterable[str]) -> str:
    """Return ``; did you mean 'x'?`` where a known word is near, else the known words in their order where they are few."""
    words = list(known)
    close = get_close_matches(word, words, n=1, cutoff=0.6)
    if close:
        return f"; did you mean '{close[0]}'?"
    return f"; known here: {', '.join(words)}" if 0 < len(words) <= 24 else ""


def load_file(path: Path) -> Document:
    """Read a YAML file; as `load`.

    Raises
    ------
    YamlError
        Also where the file cannot be opened or is no UTF-8 text.
    """
    try:
        raw = path.read_bytes()
    except OSError as error:
        problem = f"the file cannot be opened ({error.strerror or error}); check the path"
        raise YamlError(name=str(path), line=1, column=1, path="", problem=problem) from error
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = raw.count(b"\n", 0, error.start) + 1
        problem = "the file is no UTF-8 text; save it as UTF-8"
        raise YamlError(name=str(path), line=line, column=1, path="", problem=problem) from error
    return load(text, name=str(path))


def load(text: str, *, name: str) -> Document:
    """Read YAML text strictly.

    Parameters
    ----------
    text : str
        One YAML document; an empty one has the value None.
    name : str
        What to call the file in errors.

    Returns
    -------
    Document

    Raises
    ------
    YamlError
        At the first thing that is refused.
    """

    def fail(mark: Any, problem: str, path: KeyPath = ()) -> YamlError:
        line, column = (mark.line + 1, mark.column + 1) if mark is not None else (1, 1)
        return YamlError(name=name, line=line, column=column, path=path_text(path), problem=problem)

    for number, line in enumerate(text.split("\n"), 1):
        indent = line[: len(line) - len(line.lstrip())]
        if "\t" in indent and line.strip():
            at = indent.index("\t") + 1
            raise YamlError(name=name, line=number, column=at, path="", problem="a tab in the indent; write spaces")
    try:
        events = list(yaml.parse(text, Loader=yaml.SafeLoader))
    except yaml.MarkedYAMLError as error:
        said = error.problem or error.context or "it is broken here"
        raise fail(
            error.problem_mark or error.context_mark, f"the file cannot be read as YAML ({said}); check indents, colons and quotes"
        ) from error
    except yaml.reader.ReaderError as error:
        number = text.count("\n", 0, int(error.position)) + 1
        raise YamlError(
            name=name, line=number, column=1, path="", problem="the file holds a control character that YAML forbids; take it out"
        ) from error
    body = [e for e in events if not isinstance(e, (yaml.StreamStartEvent, yaml.StreamEndEvent, yaml.DocumentEndEvent))]
    starts = [e for e in body if isinstance(e, yaml.DocumentStartEvent)]
    if len(starts) > 1:
        raise fail(starts[1].start_mark, "a second document begins here; keep one document in a file")
    reader = _Reader(events=iter(e for e in body if e not in starts), fail=fail)
    data = reader.value((), next(reader.events)) if starts else None
    return Document(name=name, data=data, values=reader.values, keys=reader.keys)


class _Reader:
    """Builds values from parser events and notes where each stands."""

    def __init__(self, *, events: Iterator[Any], fail: Any) -> None:
        self.events, self.fail = events, fail
        self.values: dict[KeyPath, tuple[int, int]] = {}
        self.keys: dict[KeyPath, tuple[int, int]] = {}

    def value(self, path: KeyPath, event: Any) -> object:
        self.vet(path, event)
        self.values[path] = (event.start_mark.line + 1, event.start_mark.column + 1)
        if isinstance(event, yaml.ScalarEvent):
            return self.scalar(path, event)
        if len(path) >= DEEPEST:
            raise self.fail(event.start_mark, f"nested more than {DEEPEST} levels deep; flatten it", ())
        return self.sequence(path) if isinstance(event, yaml.SequenceStartEvent) else self.mapping(path)

    def vet(self, path: KeyPath, event: Any) -> None:
        if isinstance(event, yaml.AliasEvent):
            raise self.fail(event.start_mark, f"'*{event.anchor}' repeats another value; aliases are not read, write the value out", path)
        if event.anchor is not None:
            raise self.fail(event.start_mark, f"'&{event.anchor}' is an anchor; anchors are not read, take it out", path)
        if event.tag is not None:
            raise self.fail(event.start_mark, f"'{event.tag}' is a tag; tags are not read, take it out", path)

    def sequence(self, path: KeyPath) -> list[object]:
        items: list[object] = []
        while not isinstance(event := next(self.events), yaml.SequenceEndEvent):
            items.append(self.value((*path, len(items)), event))
        return items

    def mapping(self, path: KeyPath) -> dict[str, object]:
        items: dict[str, object] = {}
        while not isinstance(event := next(self.events), yaml.MappingEndEvent):
            key = self.key(path, event)
            whole = (*path, key)
            if key in items:
                raise self.fail(event.start_mark, f"is written twice, first in line {self.keys[whole][0]}; keep one", whole)
            self.keys[whole] = (event.start_mark.line + 1, event.start_mark.column + 1)
            items[key] = self.value(whole, next(self.events))
        return items

    def key(self, path: KeyPath, event: Any) -> str:
        self.vet(path, event)
        if not isinstance(event, yaml.ScalarEvent):
            raise self.fail(event.start_mark, "a list or mapping cannot be a key; write a word", path)
        if event.value == "<<" and event.implicit[0]:
            raise self.fail(event.start_mark, "'<<' merges another mapping; merge keys are not read, write the keys out", path)
        if event.implicit[0] and event.value.lower() in _TRAPS:
            problem = f"the key {event.value} is true or false to some readers; write '{event.value}' in quotes"
            raise self.fail(event.start_mark, problem, path)
        return str(event.value)

    def scalar(self, path: KeyPath, event: Any) -> object:
        text = str(event.value)
        if not event.implicit[0]:
            return text
        if text.lower() in _TRAPS:
            flag = "true" if text.lower() in ("yes", "on") else "false"
            raise self.fail(event.start_mark, f"{text} without quotes is text or {flag}; write '{text}' in quotes, or {flag}", path)
        if text in _WORDS:
            return _WORDS[text]
        if _LEADING_ZERO.fullmatch(text):
            problem = f"{text} begins with a zero; write the number without it, or '{text}' in quotes for text"
            raise self.fail(event.start_mark, problem, path)
        if _INT.fullmatch(text):
            if len(text) > 30:
                raise self.fail(event.start_mark, "a number of more than 30 digits; write a smaller one", path)
            return int(text)
        if _FLOAT.fullmatch(text):
            number = float(text)
            if not isfinite(number):
                raise self.fail(event.start_mark, f"{text} is too large a number; write a smaller one", path)
            return number
        return text


M = TypeVar("M")


def into(document: Document, model: type[M]) -> M:
    """Make a data model (a class with ``model_validate`` and ``model_fields``) of the document's values.

    The model's validators get the context ``{"text": True}``: lengths must then be written with their unit.

    Raises
    ------
    YamlError
        The first thing wrong in the order of the file, with the number of further ones.
    """
    data = {} if document.data is None else document.data
    try:
        return cast(M, cast(Any, model).model_validate(data, context={"text": True}))
    except ValueError as error:
        listed = cast(Any, error).errors
        # A misspelt key is also a missing one: the misspelling is the cause, so it is told first.  A list whose items are
        # wrong is also called too short: that is no cause at all.
        real = [one for one in listed() if one["type"] != "too_short" or not one["input"]]
        found = [(one["type"] != "extra_forbidden", _explained(document, model, one)) for one in real]
        first = min(found, key=lambda pair: (pair[0], pair[1].line, pair[1].column, pair[1].path))[1]
        raise YamlError(
            name=first.name, line=first.line, column=first.column, path=first.path, problem=first.problem, more=len(found) - 1
        ) from error


_WANTED = {
    "string_type": "is to be text; write it in quotes",
    "int_type": "is to be a whole number, without quotes",
    "int_from_float": "is to be a whole number",
    "float_type": "is to be a number, without quotes",
    "bool_type": "is to be true or false",
    "model_type": "is to be a mapping of keys and values",
    "dict_type": "is to be a mapping of keys and values",
    "tuple_type": "is to be a list",
    "list_type": "is to be a list",
    "string_too_short": "is empty; write a word, or take the key out",
}
_BOUNDS = {
    "greater_than": ("gt", "is to be more than"),
    "greater_than_equal": ("ge", "is to be at least"),
    "less_than": ("lt", "is to be less than"),
    "less_than_equal": ("le", "is to be at most"),
    "too_short": ("min_length", "is too short: the least number of items is"),
}


def _explained(document: Document, model: type[Any], one: Mapping[str, Any]) -> YamlError:
    kind, path = str(one["type"]), tuple(part for part in one["loc"] if part != "[key]")
    context = one.get("ctx", {})
    if kind == "extra_forbidden":
        return document.error(path, f"is no known key{near(str(path[-1]), fields_at(model, path[:-1]))}", at_key=True)
    if kind == "missing":
        return document.error(path, "is missing; add it")
    if kind == "value_error":
        inner = context["error"]
        return document.error((*path, *getattr(inner, "path", ())), str(inner), at_key=bool(getattr(inner, "at_key", False)))
    if kind == "literal_error":
        return document.error(path, f"'{one['input']}' is not among the choices; write {context['expected']}")
    said = _WANTED.get(kind, str(one["msg"])[:1].lower() + str(one["msg"])[1:])
    if kind in _BOUNDS:
        bound, words = _BOUNDS[kind]
        said = f"{words} {context[bound]:g}"
    shown = f"'{str(one['input'])[:60]}' " if isinstance(one["input"], (str, int, float)) else "" if path else "the file "
    return document.error(path, shown + said)


def fields_at(model: type[Any], path: Sequence[str | int]) -> tuple[str, ...]:
    """Return the keys that a model knows at a key path of its files; none where any key may stand."""
    kinds: list[Any] = [model]
    for part in path:
        inner: list[Any] = []
        for kind in kinds:
            if hasattr(kind, "model_fields"):
                inner += [kind.model_fields[part].annotation] if part in kind.model_fields else []
            else:
                inner += [a for a in get_args(kind) if a not in (str, type(None), Ellipsis)]
        kinds = [k for one in inner for k in _models_in(one)]
    return tuple(sorted({f.alias or name for kind in kinds if hasattr(kind, "model_fields") for name, f in kind.model_fields.items()}))


def _models_in(kind: Any) -> list[Any]:
    """Unwrap optional types; lists and mappings stay, their items being one step further down the path."""
    if hasattr(kind, "model_fields") or getattr(kind, "__origin__", None) in (tuple, list, dict):
        return [kind]
    return [found for arg in get_args(kind) for found in _models_in(arg)]
