"""End planes: where runs that meet askew are cut in plan, so that no wedge is left between them.

At a *mitre* both runs end there, in the plane through the corner's inner and outer point.  At an *oblique butt* the second run is cut
along the face of the first, which goes on.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from math import sqrt

from wallquant.graph.lines import Line
from wallquant.layout import LIP, Role
from wallquant.units import Nm


@dataclass(frozen=True, kw_only=True, slots=True)
class End:
    """One line at a meeting: the line, its role there, and the crossing's station on it."""

    line: Line
    role: Role
    at: float

    @property
    def sign(self) -> int:
        """Which way its stations go into the line."""
        return -1 if self.role == "end" else 1

    @property
    def inward(self) -> tuple[float, float]:
        """Unit vector from the crossing into the line."""
        return self.line.u * self.sign, self.line.v * self.sign


@dataclass(frozen=True, kw_only=True, slots=True)
class EndPlane:
    """Where a line ends: the plane's station on its centre line, and how far further along it is at its left face.

    `shared`: a mitre, whose joint belongs to both by halves.  `reach` is how far beyond the plane the other line's body goes along
    this line.
    """

    at: float
    lean: float
    shared: bool
    reach: float

    def joint(self, width: Nm, joint: Nm) -> float:
        """Return what a joint in the plane takes of the centre line of a line of this width."""
        slope = 2 * self.lean / width
        return joint * sqrt(1 + slope * slope) / (2 if self.shared else 1)


def least_askew(least: Nm, lean: Nm) -> Nm:
    """Return the least length over all of a piece whose end leans: its mean length is at least the least piece, its short side `LIP`."""
    return max(least + lean, 2 * lean + LIP) if lean else least


def end_planes(one: End, two: End, units: tuple[Nm, Nm], least: Nm) -> Mapping[int, EndPlane]:
    """Return the end planes of two lines that meet askew, by 0 for the first and 1 for the second; none where no unit can be cut so.

    Parameters
    ----------
    one, two : End
        The line that goes first, and the other, which ends here.
    units : (int, int)
        Lengths of their units.
    least : int
        The least piece.
    """
    if two.role == "through":
        return {}
    (a, b), (c, d) = one.inward, two.inward
    cos, sin = a * c + b * d, abs(a * d - b * c)
    if one.role != "through":
        leans = [_inner(one, two, cos, sin), _inner(two, one, cos, sin)]
        if all(least_askew(least, round(abs(lean))) <= unit for lean, unit in zip(leans, units, strict=True)):
            return {
                k: EndPlane(at=end.at, lean=lean * end.sign * _left(end, other) or 1000.0, shared=True, reach=_reach(end, other, cos, sin))
                for k, (end, other, lean) in enumerate(((one, two, leans[0]), (two, one, leans[1])))
            }
        if cos <= 0:
            return {}
    # along the face of the first line, on the side where the second one lies
    face, half = one.line.width / 2 / sin, two.line.width / 2
    side = 1 if a * d - b * c > 0 else -1
    across = (-b * side) * (-two.line.v) + (a * side) * two.line.u
    lean = -across * half / sin * two.sign
    if least_askew(least, round(abs(lean))) > units[1]:
        return {}
    at = two.at + two.sign * face
    return {1: EndPlane(at=at, lean=lean or 1000.0, shared=False, reach=2 * face + _reach(two, one, cos, sin))}


def _inner(one: End, two: End, cos: float, sin: float) -> float:
    """Return how far from the crossing into the first line the inner point lies, where the faces between the two lines meet."""
    return (two.line.width / 2 + one.line.width / 2 * cos) / sin


def _left(one: End, two: End) -> int:
    """Say whether the other line lies to the left (1) or right (-1) of this one."""
    return 1 if one.line.u * two.inward[1] - one.line.v * two.inward[0] > 0 else -1


def _reach(one: End, two: End, cos: float, sin: float) -> float:
    reach = (two.line.width / 2 + one.line.width / 2 * abs(cos)) / sin
    return min(reach, 2.0 * (one.line.width + two.line.width))
