"""Open an IFC file: the text is vetted first, because a parser written in C must never meet garbage."""

from __future__ import annotations

import pathlib
import re
from typing import Any

from wallquant.findings import Finding
from wallquant.importers import InputError
from wallquant.importers.ifc import log
from wallquant.importers.ifc.labels import readable

SCHEMAS = {"IFC2X3": "IFC2X3", "IFC4": "IFC4", "IFC4X3_ADD2": "IFC4X3_ADD2"}
"""Schema names as files state them, and the name we give them."""

_QUIET = re.compile(rb"/\*.*?\*/|'(?:[^']|'')*'|\"[^\"]*\"", re.DOTALL)
_QUOTED = re.compile(rb"'[^']*'")
"""What is in quotes where a text has neither comments nor binary values; a quote that is doubled divides it."""
_SCHEMA = re.compile(rb"FILE_SCHEMA\s*\(\s*\(\s*'([^']*)'", re.IGNORECASE)
_INSTANCE = re.compile(rb"\s*#(\d+)\s*=\s*[A-Za-z0-9_]*\s*\(([^;]*)\)\s*", re.DOTALL)
_HEAD = re.compile(rb"(?:\A|;)\s*#(\d+)\s*=\s*[A-Za-z0-9_]*\s*\(")
_TAIL = re.compile(rb"\)\s*;")
_REFERENCE = re.compile(rb"#(\d+)")
_STRAY = re.compile(rb"#(?!\d)")
_NO_BRACKETS = bytes(set(range(256)) - set(b"();"))


def open_model(path: pathlib.Path) -> tuple[Any, str, list[Finding]]:
    """Return the opened ifcopenshell file, the name of its schema, and what the parser complains about.

    Raises
    ------
    InputError
        With one sentence, if the file cannot serve.
    """
    data = _read(path)
    schema, stated = vet(data, path.name)
    plain, guessed = readable(data)
    import ifcopenshell

    broken = f"{path.name}: the IFC parser cannot read it; export the model again"
    log.drain()
    try:
        opened = ifcopenshell.open(str(path)) if plain is data else ifcopenshell.file.from_string(plain.decode("ascii"))
    except Exception as error:  # the parser raises many kinds, some of its own
        raise InputError(broken) from error
    finally:
        said = log.drain()
    if opened is None:
        raise InputError(broken)
    findings = log.findings(said, stated, len(opened.entity_names()))
    if guessed:
        text = f"Names in the file are written in bytes that the standard does not allow; they are read as {guessed}."
        findings.append(Finding(code="reading.encoding", severity="note", text=text))
    return opened, schema, findings


def vet(data: bytes, name: str) -> tuple[str, int]:
    """Return the schema of an IFC text and the number of its statements, or raise `InputError` where its form is broken.

    Parameters
    ----------
    data : bytes
        The whole file.
    name : str
        Its name, for the sentence.
    """
    if not data.lstrip(b"\xef\xbb\xbf \t\r\n").startswith(b"ISO-10303-21"):
        raise InputError(f"{name}: this is no IFC file (it does not begin with ISO-10303-21); give a model exported as .ifc")
    if b"END-ISO-10303-21" not in data[-4096:]:
        raise InputError(f"{name}: the file is cut off (END-ISO-10303-21; is missing at its end); copy or export it again")
    found = _SCHEMA.search(data)
    if found is None:
        raise InputError(f"{name}: the header names no schema (FILE_SCHEMA); export the model again as IFC4")
    schema = found[1].decode("ascii", "replace").strip().upper()
    if schema not in SCHEMAS:
        raise InputError(f"{name}: schema {schema or 'without a name'} is not supported; export as IFC2X3, IFC4 or IFC4X3_ADD2")
    return SCHEMAS[schema], _vet_data(data, name)


def _read(path: pathlib.Path) -> bytes:
    try:
        return path.read_bytes()
    except FileNotFoundError:
        raise InputError(f"{path}: there is no such file; check the name") from None
    except IsADirectoryError:
        raise InputError(f"{path}: this is a folder; give an .ifc file") from None
    except OSError as error:
        raise InputError(f"{path}: the file cannot be read ({error.strerror}); check its permissions") from None


def _vet_data(data: bytes, name: str) -> int:
    """Return the number of statements of the data section.

    Each must be ``#n = NAME(...)`` with its brackets in pairs, and each reference defined once.
    """
    quiet = _quiet(data)
    start, end = quiet.find(b"DATA;"), quiet.rfind(b"ENDSEC;")
    if start < 0:
        raise InputError(f"{name}: the file has no DATA section; export the model again")
    if end < start:
        raise InputError(f"{name}: the DATA section does not end (ENDSEC; is missing); export the model again")
    start += len(b"DATA;")
    body = quiet[start:end]
    count = body.count(b";")
    numbers = _HEAD.findall(body)
    tidy = len(numbers) == count == len(_TAIL.findall(body)) and _STRAY.search(body) is None
    if not tidy or not all(_balanced(one) for one in set(body.translate(None, _NO_BRACKETS).split(b";"))):
        numbers = _statements(quiet, start, end, name)
    defined = set(numbers)
    if len(defined) < len(numbers):
        seen: set[bytes] = set()
        twice = next(n for n in numbers if n in seen or seen.add(n))  # type: ignore[func-returns-value]
        raise InputError(f"{name}: the instance #{twice.decode()} is defined twice; the file is damaged, export the model again")
    lost = set(_REFERENCE.findall(body)) - defined
    if lost:
        first = min(int(one) for one in lost)
        raise InputError(f"{name}: #{first} is referred to but not defined; the file is damaged, export the model again")
    return len(numbers)


def _quiet(data: bytes) -> bytes:
    """Return a text without comments and without what is in quotes; its lines stay."""
    quiet = _QUOTED.sub(b"''", data)
    # the first comment or binary value, in which a quote is none, would be left here whole
    if b"/*" not in quiet and b'"' not in quiet and quiet.count(b"\n") == data.count(b"\n"):
        return quiet
    return _QUIET.sub(lambda m: b"\n" * m[0].count(b"\n") if m[0].startswith(b"/*") else b"''" + b"\n" * m[0].count(b"\n"), data)


def _statements(quiet: bytes, start: int, end: int, name: str) -> list[bytes]:
    """Numbers of the instances, one statement at a time; raises `InputError` at the first that is not well formed."""
    at = start
    numbers: list[bytes] = []
    for statement in quiet[start:end].split(b";"):
        if statement.strip() and statement.strip() not in (b"ENDSEC", b"DATA"):
            match = _INSTANCE.fullmatch(statement)
            if match is None or not _balanced(match[2]) or _STRAY.search(statement):
                line = quiet.count(b"\n", 0, at + len(statement) - len(statement.lstrip())) + 1
                raise InputError(f"{name}, line {line}: a statement is not well formed; the file is damaged, export the model again")
            numbers.append(match[1])
        at += len(statement) + 1
    return numbers


def _balanced(text: bytes) -> bool:
    depth = 0
    for char in text:
        depth += (char == 40) - (char == 41)
        if depth < 0:
            return False
    return depth == 0
