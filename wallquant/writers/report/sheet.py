"""Where plan coordinates lie in a picture, the shapes of runs and corners, and where two outlines differ."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from math import cos, radians, sin
from typing import TYPE_CHECKING, Any

from shapely import BufferJoinStyle, from_wkt, unary_union
from shapely.geometry import Polygon
from shapely.geometry import box as flat
from shapely.geometry.base import BaseGeometry

from wallquant.writers.report.words import Words

if TYPE_CHECKING:
    import pandas as pd

_CLOSE = 10.0
_WIDE, _HIGH, _ROOM = 1180.0, 700.0, 44.0
Spot = tuple[float, float]
Json = Mapping[str, Any]


@dataclass(frozen=True, kw_only=True, slots=True)
class Sheet:
    """Where plan coordinates lie in the picture."""

    left: float
    upper: float
    scale: float
    width: float
    height: float

    @classmethod
    def about(cls, points: Sequence[Spot]) -> Sheet:
        """Return the sheet on which these points just fit; small plans are drawn at no more than 0.15 pixels a millimetre."""
        xs, ys = [x for x, _ in points], [y for _, y in points]
        wide, high = max(max(xs) - min(xs), 1.0), max(max(ys) - min(ys), 1.0)
        scale = min((_WIDE - 2 * _ROOM) / wide, (_HIGH - 2 * _ROOM) / high, 0.15)
        return cls(
            left=min(xs), upper=max(ys), scale=scale, width=round(max(wide * scale + 2 * _ROOM, 360.0), 1),
            height=round(high * scale + 2 * _ROOM + 20, 1),
        )  # fmt: skip

    def at(self, point: Spot) -> Spot:
        """Return a point of the plan in pixels, to a tenth."""
        return round(_ROOM + (point[0] - self.left) * self.scale, 1), round(_ROOM + (self.upper - point[1]) * self.scale, 1)

    def path(self, points: Iterable[Spot], *, closed: bool = True) -> str:
        """Return points of the plan as an SVG path."""
        spots = [self.at(p) for p in points]
        return "M" + "L".join(f"{x:g} {y:g}" for x, y in spots) + ("Z" if closed else "")

    def bar(self, words: Words) -> tuple[float, str]:
        """Return the length of the scale bar in pixels, and what it stands for: about a sixth of the picture."""
        sizes = [304.8 * k for k in (1, 2, 5, 10, 20, 50, 100)] if words.system == "in" else [500.0 * k for k in (1, 2, 4, 10, 20, 40)]
        size = next((s for s in reversed(sizes) if s * self.scale <= 200), sizes[0])
        return round(size * self.scale, 1), words.length(size) if words.system == "in" else f"{size / 1000:g} m"


def along(run: Json, station: float, offset: float) -> Spot:
    """Plan point of a run's station and offset; offsets are positive to the left."""
    angle = radians(run["angle_deg"])
    return run["x_mm"] + station * cos(angle) - offset * sin(angle), run["y_mm"] + station * sin(angle) + offset * cos(angle)


def box(run: Json, start: float, end: float) -> list[Spot]:
    """Corners of a stretch of a run, over its whole thickness."""
    half = run["thickness_mm"] / 2
    return [along(run, start, half), along(run, end, half), along(run, end, -half), along(run, start, -half)]


def outlines(runs: Sequence[Json], pieces: pd.DataFrame) -> dict[str, list[Spot]]:
    """Return the outline in plan of each run as laid: its box, with mitred ends where its pieces have them.

    Parameters
    ----------
    runs : sequence of mapping
        Rows of runs.csv with ``lo`` and ``hi``, the extent of their pieces.
    pieces : DataFrame
        The content of pieces.csv.
    """
    shaped = pieces["plan"] != ""
    plans = {str(name): sorted(set(group)) for name, group in pieces.loc[shaped, "plan"].groupby(pieces.loc[shaped, "run"])}
    boxes = pieces[~shaped].groupby("run")
    starts, ends = boxes["start_mm"].min().to_dict(), boxes["end_mm"].max().to_dict()
    found: dict[str, list[Spot]] = {}
    for run in runs:
        name, half = run["run"], run["thickness_mm"] / 2
        parts = [from_wkt(text) for text in plans.get(name, ())]
        if not parts:
            found[name] = box(run, run["lo"], run["hi"])
            continue
        if name in starts:
            parts.append(flat(float(starts[name]), -half, float(ends[name]), half))
        mitre = BufferJoinStyle.mitre
        whole = unary_union(parts).buffer(_CLOSE, join_style=mitre).buffer(-_CLOSE, join_style=mitre)  # over the joints
        largest = max(getattr(whole, "geoms", [whole]), key=lambda g: float(g.area))
        found[name] = [along(run, s, o) for s, o in list(largest.exterior.coords)[:-1]]
    return found


def mark(kind: str, spot: Spot, *, r: float = 4.0) -> str:
    """Return the SVG path of a corner's mark: a square for a free end, a diamond for an angled corner, else a dot."""
    x, y = spot
    if kind == "end":
        return f"M{x - r:g} {y - r:g}h{2 * r:g}v{2 * r:g}h{-2 * r:g}Z"
    if kind == "angled":
        return f"M{x:g} {y - 1.4 * r:g}L{x + 1.4 * r:g} {y:g}L{x:g} {y + 1.4 * r:g}L{x - 1.4 * r:g} {y:g}Z"
    return f"M{x - r:g} {y:g}a{r:g} {r:g} 0 1 0 {2 * r:g} 0a{r:g} {r:g} 0 1 0 {-2 * r:g} 0Z"


def lumps(shape: BaseGeometry, least: float) -> list[Polygon]:
    """What is left of a shape once everything narrower than `least` is taken off."""
    mitre = BufferJoinStyle.mitre
    core = shape.buffer(-least / 2, join_style=mitre).buffer(least / 2, join_style=mitre).intersection(shape)
    parts = [g for g in getattr(core, "geoms", [core]) if isinstance(g, Polygon) and g.area > least * least]
    return sorted(parts, key=lambda g: g.bounds)
