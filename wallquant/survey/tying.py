"""Where the shots lie in the plan, and at what level: own axes are tied by two or more corners, readings by a bench mark."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from math import hypot

import numpy as np
from numpy.typing import NDArray

from wallquant.findings import Finding, Place
from wallquant.survey.shots import Shot, SurveyError

Point = tuple[float, float]
Axes = Callable[[float, float], Point]
"""From a shot's x and y to the plan's."""
NEAR = 50.0
"""A shot said to be at a corner is at it, in the model's axes, within so many millimetres."""
LOOSE = 20.0
"""Tie points that miss their corners by more are told, millimetres (project input: about what a tape gives)."""
SAME = 1.0
"""Shots nearer than this are one, millimetres."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Tied:
    """Shots in the plan.

    Attributes
    ----------
    points : ndarray of float, shape (shots, 3)
        x, y and level in millimetres, in the plan's coordinates.
    names : tuple of str
        What each is called.
    instrument : float or None
        Level of the line of sight, in the same levels; None where no rod was read.
    relative : bool
        Whether readings have no bench mark, so that levels are known among themselves only.
    """

    points: NDArray[np.float64]
    names: tuple[str, ...]
    instrument: float | None
    relative: bool


def tied(
    shots: Sequence[Shot], corners: Mapping[str, tuple[float, float]] | None, origin: tuple[float, float]
) -> tuple[Tied, tuple[Finding, ...]]:
    """Return the shots in the plan's coordinates.

    Parameters
    ----------
    shots : sequence of Shot
    corners : mapping of str to (float, float), or None
        Corners of the plan, millimetres in its coordinates; None without a plan.
    origin : (float, float)
        Model point that is (0, 0) in the plan, millimetres.

    Raises
    ------
    SurveyError
        One sentence.
    """
    findings: list[Finding] = []
    known = corners or {}
    for shot in shots:
        if shot.corner and corners is None and shot.x is None:
            raise SurveyError(f"line {shot.line}: corner {shot.corner} has no place without a plan; name the plan's folder with --plan")
        if shot.corner and corners is not None and shot.corner not in known:
            some = ", ".join(sorted(known)[:8])
            raise SurveyError(f"line {shot.line}: the plan has no corner '{shot.corner}'; it has {some} ...")
    both = [s for s in shots if s.x is not None and s.corner in known]
    moved = _axes(both, known, origin, findings)
    instrument, relative = _instrument(shots, findings)
    rows = []
    for shot in shots:
        if shot.x is not None and shot.y is not None:
            x, y = moved(shot.x, shot.y)
        else:
            x, y = known[shot.corner]
        level = shot.level if shot.level is not None else instrument - (shot.reading or 0.0)
        rows.append((x, y, level, shot.called))
    points, names = _merged(rows, findings)
    read = any(s.reading is not None for s in shots)
    return Tied(points=points, names=names, instrument=instrument if read else None, relative=relative), tuple(findings)


def _axes(both: Sequence[Shot], known: Mapping[str, Point], origin: Point, findings: list[Finding]) -> Axes:
    """Return the function from a shot's x and y to the plan's: model axes, or own axes tied by corners."""

    def model(x: float, y: float) -> tuple[float, float]:
        return x - origin[0], y - origin[1]

    def miss(shot: Shot, place: Axes) -> float:
        assert shot.x is not None and shot.y is not None  # all of `both` have them
        (x, y), (u, v) = place(shot.x, shot.y), known[shot.corner]
        return hypot(x - u, y - v)

    if all(miss(s, model) <= NEAR for s in both):
        return model
    if len({s.corner for s in both}) < 2:
        raise SurveyError(
            f"line {both[0].line}: corner {both[0].corner} is not at x and y in the model's axes; tie own axes by two corners with x and y"
        )
    own = np.array([(s.x, s.y) for s in both], float)
    plan = np.array([known[s.corner] for s in both], float)
    a, b = own - own.mean(axis=0), plan - plan.mean(axis=0)
    turn = np.arctan2((a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]).sum(), (a * b).sum())
    c, s = np.cos(turn), np.sin(turn)
    shift = plan.mean(axis=0) - np.array([[c, -s], [s, c]]) @ own.mean(axis=0)

    def turned(x: float, y: float) -> tuple[float, float]:
        return float(c * x - s * y + shift[0]), float(s * x + c * y + shift[1])

    worst = max(both, key=lambda shot: miss(shot, turned))
    off = miss(worst, turned)
    if off > LOOSE:
        findings.append(
            Finding(
                code="survey.ties",
                severity="warning",
                text=f"Tie point {worst.called} lies {off:.0f} mm from corner {worst.corner} when the survey's axes are laid on the plan; "
                "check the tie points, or the slab's size",
                place=Place(corner=worst.corner),
                measured=f"{off:.0f} mm",
                wanted=f"at most {LOOSE:.0f} mm",
            )
        )
    return turned


def _instrument(shots: Sequence[Shot], findings: list[Finding]) -> tuple[float, bool]:
    """Return the level of the line of sight, and whether it is unknown (then 0)."""
    marks = [s.level + s.reading for s in shots if s.level is not None and s.reading is not None]
    if not marks:
        return 0.0, all(s.level is None for s in shots)
    height = sum(marks) / len(marks)
    spread = max(marks) - min(marks)
    if spread > 3:
        findings.append(
            Finding(
                code="survey.bench-mark",
                severity="warning",
                text=f"Bench marks put the line of sight {spread:.0f} mm apart; the mean is taken. Read the rod on them again",
                measured=f"{spread:.0f} mm",
            )
        )
    return height, False


def _merged(rows: Sequence[tuple[float, float, float, str]], findings: list[Finding]) -> tuple[NDArray[np.float64], tuple[str, ...]]:
    """Make one of shots at one place; their mean counts, and levels that differ are told."""
    out: list[list[tuple[float, float, float, str]]] = []
    for row in sorted(rows):
        same = next((g for g in reversed(out) if hypot(g[0][0] - row[0], g[0][1] - row[1]) <= SAME), None) if out else None
        if same is None:
            out.append([row])
        else:
            same.append(row)
    for group in out:
        apart = max(r[2] for r in group) - min(r[2] for r in group)
        if apart > 3:
            names = " and ".join(r[3] for r in group)
            text = f"Shots {names} are at one place and {apart:.0f} mm apart in level; their mean is taken. Shoot it again"
            findings.append(Finding(code="survey.twice", severity="warning", text=text, measured=f"{apart:.0f} mm"))
    points = np.array([np.mean([r[:3] for r in g], axis=0) for g in out], float).reshape(-1, 3)
    return points, tuple(g[0][3] for g in out)
