"""The module in length: what whole units, or these and one half unit, close without a cut."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from wallquant.masonry import Range
from wallquant.units import UM, Nm

Met = Literal["full", "half", ""]


@dataclass(frozen=True, kw_only=True, slots=True)
class Module:
    """A unit's length and its head joint.

    n units have n - 1 joints between them.  `more` says how many joints a size holds beyond n: -1 from free face to free face,
    0 where the row butts at one side, 1 where it butts at both sides, and for the width of an opening in a row.
    """

    unit: Nm
    joint: Range

    @property
    def pitch(self) -> Nm:
        """A unit and its joint."""
        return self.unit + self.joint.nominal

    def size(self, half_units: int, more: int) -> Nm:
        """Return the nominal size of so many half units; a half unit and its joint are half a pitch."""
        return half_units * self.pitch // 2 + more * self.joint.nominal

    def meets(self, length: Nm, more: int, *, minus: Nm = 0, plus: Nm = 0) -> Met:
        """Return whether units close a length that may be laid shorter by `minus` or longer by `plus`, with joints in range."""
        nearest = 2 * (length - more * self.joint.nominal) // self.pitch
        found: set[Met] = set()
        for halves in range(max(1, nearest - 1), nearest + 3):
            wanted = self.size(halves, more)
            joints = (halves + 1) // 2 + more
            shortest = wanted - joints * (self.joint.nominal - self.joint.least)
            longest = wanted + joints * (self.joint.most - self.joint.nominal)
            if shortest - UM <= length + plus and length - minus <= longest + UM:
                found.add("half" if halves % 2 else "full")
        return "full" if "full" in found else "half" if found else ""

    def near(self, length: Nm, more: int) -> tuple[Nm | None, Nm, Nm]:
        """Return the nearest sizes of whole units below and above (below: None where there is none), and the nearest with a half."""
        n = (length - more * self.joint.nominal) // self.pitch
        halves = [self.size(2 * k + 1, more) for k in (n - 1, n) if k >= 0] or [self.size(1, more)]
        below = self.size(2 * n, more) if n > 0 else None
        return below, self.size(2 * max(1, n + 1), more), min(halves, key=lambda v: (abs(v - length), v))
