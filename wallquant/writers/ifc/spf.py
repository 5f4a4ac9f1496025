"""Lines of an IFC file (ISO 10303-21), written one after the other: a plan's 100,000 pieces never stand in memory as entities."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import TextIO

GLOBAL_ID = re.compile("[0-3][0-9A-Za-z_$]{21}")
"""What a GlobalId of a model looks like."""
_DIGITS = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz_$"
NULL = "$"


def guid(*key: str) -> str:
    """Return the GlobalId of what has this key: 128 bits of its hash in the 22 digits of IfcGloballyUniqueId."""
    number = int.from_bytes(hashlib.blake2b("\x1f".join(key).encode(), digest_size=16).digest(), "big")
    out = []
    for _ in range(22):
        number, digit = divmod(number, 64)
        out.append(_DIGITS[digit])
    return "".join(reversed(out))


def text(value: str) -> str:
    """Return a string as ISO 10303-21 writes it: quotes and backslashes doubled, what is not ASCII in hexadecimal."""
    if value.isascii() and value.isprintable():
        return "'" + value.replace("\\", "\\\\").replace("'", "''") + "'"
    out: list[str] = []
    for char in value:
        code = ord(char)
        if 32 <= code < 127:
            out.append({"'": "''", "\\": "\\\\"}.get(char, char))
        elif code < 0x10000:
            out.append(f"\\X2\\{code:04X}\\X0\\")
        else:
            out.append(f"\\X4\\{code:08X}\\X0\\")
    return "'" + "".join(out) + "'"


def real(value: float) -> str:
    """Return a real number: always with a point, as the format asks."""
    return exact(round(float(value), 9))


def exact(value: float) -> str:
    """Return a real number with all its digits, for what is copied from a model."""
    said = repr(float(value) + 0.0)
    mantissa, mark, exponent = said.partition("e")
    if "." not in mantissa:
        mantissa += "."
    elif mantissa.endswith(".0"):
        mantissa = mantissa[:-1]
    return mantissa + ("E" + exponent if mark else "")


def refs(numbers: Iterable[int]) -> str:
    """Return a list of references."""
    return "(" + ",".join(f"#{n}" for n in numbers) + ")"


def reals(values: Iterable[float]) -> str:
    """Return a list of real numbers."""
    return "(" + ",".join(real(v) for v in values) + ")"


@dataclass(kw_only=True, slots=True)
class Lines:
    """Writes entities to a file and numbers them; equal ones that are `shared` are written once."""

    out: TextIO
    count: int = 0
    _known: dict[str, int] = field(default_factory=dict)

    def add(self, kind: str, *values: str | int) -> int:
        """Write an entity: an int stands for a reference, all else is written as it is; return its number."""
        self.count += 1
        self.out.write(f"#{self.count}={kind}({','.join(f'#{v}' if isinstance(v, int) else v for v in values)});\n")
        return self.count

    def shared(self, kind: str, *values: str | int) -> int:
        """Write an entity once, however often it is asked for: a point, a direction, a property."""
        key = kind + "\x1f" + "\x1f".join(f"#{v}" if isinstance(v, int) else v for v in values)
        if key not in self._known:
            self._known[key] = self.add(kind, *values)
        return self._known[key]

    def point(self, *xyz: float) -> int:
        """Write a point, millimetres."""
        return self.add("IFCCARTESIANPOINT", reals(xyz))

    def direction(self, *xyz: float) -> int:
        """Write a direction once."""
        return self.shared("IFCDIRECTION", reals(xyz))

    def placement(self, above: int | str, location: int, axis: int | str = NULL, along: int | str = NULL) -> int:
        """Write a local placement relative to another."""
        return self.add("IFCLOCALPLACEMENT", above, self.add("IFCAXIS2PLACEMENT3D", location, axis, along))


def head(name: str, schema: str) -> str:
    """Return the header of a file; its time is fixed, since equal plans give equal files."""
    return (
        "ISO-10303-21;\nHEADER;\n"
        "FILE_DESCRIPTION(('ViewDefinition [ReferenceView_V1.2]'),'2;1');\n"
        f"FILE_NAME({text(name)},'2000-01-01T00:00:00',(''),(''),'wallquant','wallquant','');\n"
        f"FILE_SCHEMA(('{schema}'));\nENDSEC;\nDATA;\n"
    )


TAIL = "ENDSEC;\nEND-ISO-10303-21;\n"
