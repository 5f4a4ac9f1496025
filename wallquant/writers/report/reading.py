"""The picture of the reading: walls as modelled under runs as read, storey by storey, so that a misreading is seen in one look.

Drawn here and not by the page's script, so that every storey lies on the page at once and on paper.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from math import hypot, radians, sin
from typing import TYPE_CHECKING

from shapely import unary_union
from shapely.errors import ShapelyError
from shapely.geometry import Point, Polygon

from wallquant.writers.report.sheet import Json, Sheet, Spot, along, box, lumps, mark, outlines
from wallquant.writers.report.words import Words

if TYPE_CHECKING:
    import pandas as pd

ODD = 50.0
"""Least width in millimetres of a place where drawn and laid differ that is told: more than all fits and joints together."""
PARTLY = 0.1
"""Least share of its face from which a wall that is set aside in part is hatched too."""
_LETTER = 8.6


@dataclass(kw_only=True, slots=True)
class Shape:
    """An outline as an SVG path, what it is, and what is said when one points at it."""

    d: str
    kind: str
    says: str = ""


@dataclass(kw_only=True, slots=True)
class Label:
    """A text in the picture; `kind` is ``run`` or ``number``."""

    x: float
    y: float
    text: str
    kind: str
    anchor: str = "middle"


@dataclass(kw_only=True, slots=True)
class Aside:
    """A wall that is set aside, whole or in part, with its number in the picture (None where it has none)."""

    number: int | None
    name: str
    area: str
    reasons: list[str]
    whole: bool
    outline: bool
    little: bool


@dataclass(kw_only=True, slots=True)
class Picture:
    """One storey: sizes are pixels."""

    storey: str
    width: float = 0.0
    height: float = 0.0
    walls: list[Shape] = field(default_factory=list)
    runs: list[Shape] = field(default_factory=list)
    lines: list[Shape] = field(default_factory=list)
    openings: list[Shape] = field(default_factory=list)
    odd: list[Shape] = field(default_factory=list)
    over: list[Shape] = field(default_factory=list)
    corners: list[Shape] = field(default_factory=list)
    labels: list[Label] = field(default_factory=list)
    aside: list[Aside] = field(default_factory=list)
    little: list[Aside] = field(default_factory=list)
    bar: float = 0.0
    bar_text: str = ""
    said: str = ""
    differs: str = ""


def pictures(summary: Json, building: Json, pieces: pd.DataFrame, words: Words) -> list[Picture]:
    """Return the picture of each storey, from the lowest up.

    Parameters
    ----------
    summary : mapping
        The content of summary.json; ``footprint_mm`` of each wall is its outline as drawn.
    building : mapping
        As `wallquant.writers.report.blocks.building_block` returns it: runs with their extent as laid, corners, openings.
    pieces : DataFrame
        The content of pieces.csv: pieces that are no box in plan shape the ends of their runs.
    words : Words
        Prints lengths and areas.

    Returns
    -------
    list of Picture
    """
    lowest: dict[str, float] = {}
    for run in building["runs"]:
        lowest[run["storey"]] = min(run["bottom_mm"], lowest.get(run["storey"], float("inf")))
    for wall in summary["walls"]:
        lowest.setdefault(wall["storey"], float("inf"))
    numbers = _numbers(summary["walls"], sorted(lowest, key=lambda name: (lowest[name], name)))
    bodies = outlines(building["runs"], pieces)
    return [_picture(name, summary, building, bodies, words, numbers) for name in sorted(lowest, key=lambda name: (lowest[name], name))]


def is_aside(wall: Json) -> bool:
    """Say whether a wall is set aside, whole or by more than a tenth of its face."""
    area = wall["area_m2"]
    face = area["wall"] - area["openings"]
    return area["laid"] <= 0 or (bool(wall["reasons"]) and area["set_aside"] > PARTLY * max(face, 0.0))


def _numbers(walls: Sequence[Json], storeys: Sequence[str]) -> dict[str, int]:
    """Number the walls that are set aside and have an outline, storey by storey."""
    order = {name: i for i, name in enumerate(storeys)}
    shown = [wall for wall in walls if is_aside(wall) and len(wall.get("footprint_mm") or ()) > 2]
    shown.sort(key=lambda wall: (order[wall["storey"]], wall["area_m2"]["laid"] > 0, wall["name"], wall["guid"]))
    return {wall["guid"]: i + 1 for i, wall in enumerate(shown)}


def _picture(
    storey: str, summary: Json, building: Json, every_body: Mapping[str, list[Spot]], words: Words, numbers: Mapping[str, int]
) -> Picture:
    found = Picture(storey=storey)
    here = [wall for wall in summary["walls"] if wall["storey"] == storey]
    names = {run["run"] for run in building["runs"] if run["storey"] == storey}
    names |= {name for wall in here for name in _runs_of(wall)}
    runs = [run for run in building["runs"] if run["run"] in names]
    walls = [wall for wall in summary["walls"] if wall["storey"] == storey or names & set(_runs_of(wall))]
    every = _asides(here, numbers, words)
    found.aside, found.little = [one for one in every if not one.little], [one for one in every if one.little]
    found.said = _said(here, runs, building)
    drawn = [(wall, [(float(x), float(y)) for x, y in wall["footprint_mm"]]) for wall in walls if len(wall.get("footprint_mm") or ()) > 2]
    bodies = {run["run"]: every_body[run["run"]] for run in runs}
    points = [p for _, outline in drawn for p in outline] + [p for body in bodies.values() for p in body]
    if not points:
        return found
    sheet = Sheet.about(points)
    found.width, found.height = sheet.width, sheet.height
    found.bar, found.bar_text = sheet.bar(words)
    for wall, outline in sorted(drawn, key=lambda pair: is_aside(pair[0])):
        kind = "aside" if wall["area_m2"]["laid"] <= 0 else "partly" if is_aside(wall) else "drawn"
        says = ": ".join(t for t in (wall["name"] or wall["guid"], "; ".join(wall["reasons"])) if t)
        found.walls.append(Shape(d=sheet.path(outline), kind=kind, says=says))
        if kind == "aside":  # seen even where it lies in a wall that is laid
            found.over.append(Shape(d=sheet.path(outline), kind="outline"))
    for run in sorted(runs, key=lambda one: one["bottom_mm"]):
        says = f"{run['run']}, {words.length(run['length_mm'])} long, {words.length(run['thickness_mm'])} thick as laid"
        found.runs.append(Shape(d=sheet.path(bodies[run["run"]]), kind="run", says=says))
        found.lines.append(Shape(d=sheet.path([along(run, 0, 0), along(run, run["length_mm"], 0)], closed=False), kind="line"))
    _openings(found, sheet, runs, building, words)
    corners = _corners_here(building, runs)
    _odd(found, sheet, drawn, bodies, corners, words)
    _corners(found, sheet, corners)
    _labels(found, sheet, runs, drawn, numbers)
    return found


def _runs_of(wall: Json) -> list[str]:
    runs = wall["runs"]
    return runs.split() if isinstance(runs, str) else list(runs)


def _some(number: int, word: str) -> str:
    return f"{number:,} {word}{'' if number == 1 else 's'}"


def _said(walls: Sequence[Json], runs: Sequence[Json], building: Json) -> str:
    """One line about a storey: what was drawn, what was read."""
    names = {run["run"] for run in runs}
    holes = {o["opening"] for o in building["openings"] if o["run"] in names}
    whole = sum(wall["area_m2"]["laid"] <= 0 for wall in walls)
    partly = sum(is_aside(wall) for wall in walls) - whole
    laid = f"{len(walls) - whole:,} laid in {_some(len(runs), 'run')}"
    parts = [f"{_some(len(walls), 'wall')} drawn", laid, _some(len(holes), "opening")]
    parts += [f"{whole:,} set aside"] if whole else []
    parts += [f"{partly:,} set aside in part"] if partly else []
    return ", ".join(parts)


def _asides(walls: Sequence[Json], numbers: Mapping[str, int], words: Words) -> list[Aside]:
    found = [
        Aside(
            number=numbers.get(wall["guid"]),
            name=wall["name"] or wall["guid"],
            area=words.area(max(wall["area_m2"]["set_aside"], 0.0)),
            reasons=list(wall["reasons"]) or ["no reason given"],
            whole=wall["area_m2"]["laid"] <= 0,
            outline=len(wall.get("footprint_mm") or ()) > 2,
            little=not is_aside(wall),
        )
        for wall in walls
        if wall["area_m2"]["laid"] <= 0 or wall["reasons"]
    ]
    return sorted(found, key=lambda one: (one.number is None, one.number or 0, not one.whole, one.name))


def _openings(found: Picture, sheet: Sheet, runs: Sequence[Json], building: Json, words: Words) -> None:
    """A gap with its jambs; over a sill two lines go on, as on any plan; a niche is dashed and leaves the wall whole."""
    by_name = {run["run"]: run for run in runs}
    for one in building["openings"]:
        run = by_name.get(one["run"])
        if run is None:
            continue
        start, end, half = one["start_mm"], one["end_mm"], run["thickness_mm"] / 2
        niche = one["through"] in (False, 0, "false", "no")
        left = one.get("open_over_mm") or 0
        size = f"{words.length(end - start)} × {words.length(one['head_mm'] - left - one['sill_mm'])}"
        what = "niche" if niche else one["filling"] or "opening"
        says = f"{what}, {size}, sill {words.length(one['sill_mm'] - run['bottom_mm'])} over the underside of {run['run']}"
        says += "; open above it: close by hand" if left else ""
        found.openings.append(Shape(d=sheet.path(box(run, start, end)), kind="niche" if niche else "hole", says=says))
        if not niche and one["sill_mm"] > run["bottom_mm"] + 1:
            for offset in (half / 3, -half / 3):
                line = sheet.path([along(run, start, offset), along(run, end, offset)], closed=False)
                found.openings.append(Shape(d=line, kind="sill"))


def _odd(
    found: Picture,
    sheet: Sheet,
    drawn: Sequence[tuple[Json, list[Spot]]],
    bodies: Mapping[str, list[Spot]],
    corners: Sequence[Json],
    words: Words,
) -> None:
    """Mark where a wall is drawn and nothing laid, and where something is laid and nothing drawn."""
    try:
        laid = unary_union([Polygon(body) for body in bodies.values()])
        every = unary_union([Polygon(outline).buffer(0) for _, outline in drawn])
        # Finishes are drawn and never laid, and what is set aside is hatched.
        wanted = unary_union(
            [Polygon(o).buffer(0) for w, o in drawn if w["area_m2"]["laid"] > 0 and not is_aside(w) and w["ledger_m3"]["finishes"] <= 1e-9]
        )
        bare, over = lumps(wanted.difference(laid), ODD), lumps(laid.difference(every), ODD)
    except ShapelyError:  # an outline that crosses itself: the eye must do
        found.differs = "The outlines as drawn cross themselves: compare them by eye."
        return
    joints = [Point(one["x_mm"], one["y_mm"]).buffer(1) for one in corners if one["kind"] != "end"]
    filled = [lump for lump in over if any(lump.intersects(joint) for joint in joints)]
    for places, kind, says in ((bare, "bare", "drawn, and nothing laid"), (over, "over", "laid, and nothing drawn")):
        for lump in places:
            rings = [lump.exterior, *lump.interiors]
            told = "laid in the corner, where no wall's body is drawn" if lump in filled else says
            found.odd.append(Shape(d="".join(sheet.path(list(ring.coords)[:-1]) for ring in rings), kind=kind, says=told))
    least, count, fills = words.length(ODD), len(bare) + len(over) - len(filled), len(filled)
    told_parts = [f"Drawn and laid differ by more than {least} in {_some(count, 'place')}."] if count else []
    told_parts += [f"{_some(fills, 'corner')} {'is' if fills == 1 else 'are'} laid that no wall's body fills."] if fills else []
    found.differs = " ".join(told_parts) or f"Drawn and laid differ nowhere by more than {least}."


def _corners_here(building: Json, runs: Sequence[Json]) -> list[Json]:
    """Corners where a run of this storey ends or two of them meet; one that only other storeys' runs end at is not of it."""
    names = {run["run"] for run in runs}
    ends = {run[key] for run in runs for key in ("start_corner", "end_corner")}
    return [one for one in building["corners"] if one["corner"] in ends or len(names & set(one["runs"].split())) > 1]


def _corners(found: Picture, sheet: Sheet, corners: Sequence[Json]) -> None:
    """A free end is a square, a corner that joins is a dot, an angled one a diamond: a wall that misses its neighbour shows."""
    for one in corners:
        runs = one["runs"].split()
        kind = one["kind"] if one["kind"] in ("end", "angled") else "joint"
        says = f"free end of {one['runs']}" if kind == "end" else f"{one['kind']} corner of {' and '.join(runs)}"
        found.corners.append(Shape(d=mark(kind, sheet.at((one["x_mm"], one["y_mm"]))), kind=kind, says=f"{one['corner']}, {says}"))


def _labels(
    found: Picture, sheet: Sheet, runs: Sequence[Json], drawn: Sequence[tuple[Json, list[Spot]]], numbers: Mapping[str, int]
) -> None:
    """Numbers of what is set aside come first; a run's name is left out where it would lie on another."""
    taken: list[tuple[float, float, float, float]] = []

    def put(label: Label, *, must: bool) -> None:
        wide = len(label.text) * _LETTER + 6
        left = label.x - {"start": 0.0, "middle": 0.5, "end": 1.0}[label.anchor] * wide
        room = (left, label.y - 9, left + wide, label.y + 9)
        if must or not any(room[0] < o[2] and o[0] < room[2] and room[1] < o[3] and o[1] < room[3] for o in taken):
            taken.append(room)
            found.labels.append(label)

    for wall, outline in drawn:
        number = numbers.get(wall["guid"])
        if number is not None and is_aside(wall):
            spot = Polygon(outline).buffer(0).representative_point()
            x, y = sheet.at((spot.x, spot.y))
            put(Label(x=x, y=y, text=str(number), kind="number"), must=True)
    for run in sorted(runs, key=lambda one: (-one["length_mm"], one["run"])):
        half = run["thickness_mm"] / 2
        (x, y), (a, b) = sheet.at(along(run, (run["lo"] + run["hi"]) / 2, 0)), sheet.at(along(run, 0, 0))
        c, d = sheet.at(along(run, run["length_mm"], 0))
        if hypot(c - a, d - b) < 26:
            continue
        steep = abs(sin(radians(run["angle_deg"]))) > 0.7
        gap = half * sheet.scale + (6 if steep else 12)
        x, y, anchor = (x - gap, y, "end") if steep else (x, y + gap, "middle")
        put(Label(x=x, y=y, text=run["run"], kind="run", anchor=anchor), must=False)
