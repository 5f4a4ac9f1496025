"""layout.dxf: the first course in plan and each run's elevation, with a block for each shape of piece and a sheet for each run.

Lengths are in millimetres, or in inches where the plan speaks feet and inches.  Layers are named by the job's `dxf_layers`.
Source: DXF reference R2018 (by ezdxf).
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

import ezdxf
import numpy as np
from ezdxf import units as dxf_units
from ezdxf.enums import TextEntityAlignment

from wallquant.job import DXF_LAYERS
from wallquant.layout import Bridge, Run
from wallquant.rules import Item
from wallquant.units import INCH, MM, Nm, text

if TYPE_CHECKING:
    from wallquant.writers.plan import Plan

_dxf: Any = ezdxf
FILE = "layout.dxf"
COLOURS = {
    "pieces": 8, "cuts": 30, "cores": 150, "U units": 200, "lintels": 252, "openings": 1, "items": 5, "text": 7, "dimensions": 3,
}  # fmt: skip
"""Colour numbers of the format by what a layer holds; grey for whole units, so that what is cut stands out."""
KIND_LAYER = {"standard": "pieces", "core": "cores", "U": "U units", "lintel": "lintels"}
MM_SCALES, INCH_SCALES = (10, 20, 25, 50, 100, 200, 500), (12, 16, 24, 32, 48, 64, 96, 128, 192, 384)
GAP = 3_000 * MM
"""Between elevations, with room for dimensions."""


@dataclass(kw_only=True, slots=True)
class _Drawing:
    """A drawing on its way; lengths come in nanometres."""

    doc: Any
    unit: Nm
    system: str
    layer: Mapping[str, str]
    blocks: dict[tuple[object, ...], str] = field(default_factory=dict)

    def at(self, *lengths: float) -> tuple[float, ...]:
        return tuple(round(v / self.unit, 6) for v in lengths)

    @property
    def high(self) -> Nm:
        """Height of small text as drawn."""
        return 40 * MM

    def say(self, where: Any, words: str, at: tuple[float, ...], *, high: Nm | None = None, turn: float = 0, middle: bool = True) -> None:
        """Write a line of text; what a model calls its parts is shown as it is, without control codes."""
        plain = "".join(c if c.isprintable() else " " for c in words).replace("%%", "% %")
        entity = where.add_text(plain, height=(high or self.high) / self.unit, rotation=turn, dxfattribs={"layer": self.layer["text"]})
        entity.set_placement(at, align=TextEntityAlignment.MIDDLE_CENTER if middle else TextEntityAlignment.LEFT)

    def block(self, name: str, key: tuple[object, ...], outline: Sequence[tuple[float, float]]) -> str:
        """Return the name of the block of a shape; it is drawn on layer 0, and so has the layer of where it is put."""
        if key not in self.blocks:
            self.blocks[key] = f"{name}-{len(self.blocks) + 1}"
            self.doc.blocks.new(self.blocks[key]).add_lwpolyline([self.at(*p) for p in outline], close=True)
        return self.blocks[key]

    def length(self, value: Nm) -> str:
        return text(value, self.system)


@contextmanager
def _fixed_times() -> Iterator[None]:
    """Equal plans give equal files: dates and random identifiers of the format are left at fixed values."""
    settings = _dxf.options
    before = settings.write_fixed_meta_data_for_testing
    settings.write_fixed_meta_data_for_testing = True
    try:
        yield
    finally:
        settings.write_fixed_meta_data_for_testing = before


def write(plan: Plan, folder: Path) -> None:
    """Write layout.dxf.

    Parameters
    ----------
    plan : Plan
        `plan.job.dxf_layers` names layers by what they hold.
    folder : Path
    """
    inches = plan.system == "in"
    with _fixed_times():
        doc: Any = _dxf.new("R2018", setup=["linetypes", "styles"], units=dxf_units.IN if inches else dxf_units.MM)
        doc.header["$MEASUREMENT"] = 0 if inches else 1
        layers: dict[str, str] = {**DXF_LAYERS, **{str(held): name for held, name in plan.job.dxf_layers.items()}}
        for held in DXF_LAYERS:
            if layers[held] not in doc.layers:
                doc.layers.add(layers[held], color=COLOURS[held])
        drawing = _Drawing(doc=doc, unit=INCH if inches else MM, system=plan.system, layer=layers)
        style = doc.dimstyles.duplicate_entry("Standard", "WQ")
        scale = 50 * MM / drawing.unit
        style.dxf.dimtxt, style.dxf.dimasz, style.dxf.dimexo, style.dxf.dimexe, style.dxf.dimgap = (
            scale,
            scale / 2,
            scale / 2,
            scale / 2,
            scale / 4,
        )
        lowest = _plan(drawing, plan)
        down = lowest - GAP
        rows = _rows(plan)
        for name, run in plan.work.runs.items():
            top = max(z for _, z in run.top)
            base = down - (top - run.bottom)
            _elevation(drawing, plan, run, rows[name], base)
            _sheet(drawing, run, base)
            down = base - GAP
        if plan.work.runs:
            doc.layouts.delete("Layout1")
        doc.classes.add_required_classes(doc.dxfversion)
        doc.classes.classes = dict(sorted(doc.classes.classes.items()))  # they come from a set, in any order
        doc.saveas(folder / FILE)


def _rows(plan: Plan) -> dict[str, range]:
    pieces = plan.work.pieces
    first = np.searchsorted(pieces.run, np.arange(len(pieces.runs) + 1)).tolist()
    named = {name: range(a, b) for name, (a, b) in zip(pieces.runs, itertools.pairwise(first), strict=True)}
    return {name: named.get(name, range(0)) for name in plan.work.runs}


def _plan(drawing: _Drawing, plan: Plan) -> Nm:
    """Draw the first course of each run and the marks of openings on it; return the lowest y."""
    space, pieces = drawing.doc.modelspace(), plan.work.pieces
    lowest = 0.0
    for row in np.flatnonzero(pieces.course <= 1).tolist():
        run = plan.work.runs[pieces.runs[pieces.run[row]]]
        start, end, half = int(pieces.start[row]), int(pieces.end[row]), run.thickness // 2
        outline = pieces.plan.get(row) or ((start, -half), (end, -half), (end, half), (start, half))
        key = ("plan", pieces.unit[row], tuple((s - start, d) for s, d in outline))
        name = drawing.block("first", key, [(s - start, d) for s, d in outline])
        origin = run.at(start)
        at = {"rotation": run.angle_deg, "layer": drawing.layer[_layer(plan, row)]}
        space.add_blockref(name, drawing.at(*origin), dxfattribs=at)
        lowest = min(lowest, *(run.at(s, d)[1] for s, d in outline))
    for run in plan.work.runs.values():
        middle, beside = run.length / 2, run.thickness / 2 + 120 * MM
        turn = run.angle_deg if -90 < run.angle_deg <= 90 else run.angle_deg + 180
        drawing.say(space, run.name, drawing.at(*run.at(round(middle), round(beside))), high=120 * MM, turn=turn)
        for o in run.openings:
            for station in (o.start, o.end):
                ends = [drawing.at(*run.at(station, side * (run.thickness // 2 + 60 * MM))) for side in (-1, 1)]
                space.add_line(*ends, dxfattribs={"layer": drawing.layer["openings"]})
    for corner in plan.work.corners.values():
        drawing.say(space, corner.name, drawing.at(corner.at[0], corner.at[1] - 350 * MM), high=90 * MM)
        lowest = min(lowest, corner.at[1] - 500 * MM)
    return round(lowest)


def _layer(plan: Plan, row: int) -> str:
    pieces = plan.work.pieces
    kind = pieces.units[pieces.unit[row]].kind
    return "cuts" if pieces.cut[row] and kind == "standard" else KIND_LAYER[kind]


def _elevation(drawing: _Drawing, plan: Plan, run: Run, rows: range, base: float) -> None:
    """Draw a run seen from its right side, station 0 at x = 0 and its underside at `base`."""
    space, pieces = drawing.doc.modelspace(), plan.work.pieces
    for row in rows:
        start, bottom = int(pieces.start[row]), int(pieces.bottom[row])
        length, height = int(pieces.end[row]) - start, int(pieces.top[row]) - bottom
        outline = [(s - start, z - bottom) for s, z in pieces.elevation.get(row, ())] or [
            (0, 0),
            (length, 0),
            (length, height),
            (0, height),
        ]
        unit = pieces.units[pieces.unit[row]]
        name = drawing.block(unit.code, ("elevation", unit.code, tuple(outline)), outline)
        x, y = start, base + bottom - run.bottom
        space.add_blockref(name, drawing.at(x, y), dxfattribs={"layer": drawing.layer[_layer(plan, row)]})
        middle = drawing.at(x + length / 2, y + height / 2)
        words = drawing.length(length) if pieces.cut[row] else str(int(pieces.place[row]))
        across = len(words) * drawing.high > length and height > length  # a narrow piece is read from the side
        high = min(drawing.high, (length if across else height) // 3, (height if across else length) // max(3, len(words)))
        drawing.say(space, words, middle, high=max(MM, high), turn=90 if across else 0)
    for bridge in plan.work.bridges:
        if bridge.run == run.name:
            _opening(drawing, run, bridge, base)
    for item in plan.work.items:
        if isinstance(item, Item) and item.run == run.name and item.kind == "bar":
            ends = ((item.start, item.bottom), (item.end, item.top))
            line = [drawing.at(s, base + z - run.bottom) for s, z in ends]
            space.add_line(*line, dxfattribs={"layer": drawing.layer["items"]})
    for course in plan.work.courses[run.name]:
        level = f"{course.number}  {drawing.length(course.bottom)}"
        at = drawing.at(run.parts[0].start - 650 * MM, base + course.bottom - run.bottom)
        drawing.say(space, level, at, middle=False)
    _dimensions(drawing, run, base)
    title = drawing.at(run.parts[0].start, base + max(z for _, z in run.top) - run.bottom + 350 * MM)
    drawing.say(space, f"{run.name}  {run.storey}", title, high=120 * MM, middle=False)


def _opening(drawing: _Drawing, run: Run, bridge: Bridge, base: float) -> None:
    space, layer = drawing.doc.modelspace(), {"layer": drawing.layer["openings"]}
    low, high = (base + z - run.bottom for z in (max(bridge.sill, run.bottom), bridge.head))
    corners = [(bridge.start, low), (bridge.end, low), (bridge.end, high), (bridge.start, high)]
    space.add_lwpolyline([drawing.at(*c) for c in corners], close=True, dxfattribs=layer)
    size = f"{drawing.length(bridge.end - bridge.start)} x {drawing.length(bridge.drawn_head - bridge.sill)}"
    drawing.say(space, size, drawing.at((bridge.start + bridge.end) / 2, (low + high) / 2), high=60 * MM)
    if bridge.open_over:
        drawing.say(space, "open above it: close by hand", drawing.at((bridge.start + bridge.end) / 2, high - 100 * MM), high=60 * MM)


def _dimensions(drawing: _Drawing, run: Run, base: float) -> None:
    """Dimension the whole length, and under it the jambs."""
    space = drawing.doc.modelspace()
    ends = (run.parts[0].start, run.parts[-1].end)
    chains = [ends]
    jambs = sorted({s for o in run.openings for s in (o.start, o.end)})
    if jambs:
        marks = [ends[0], *(j for j in jambs if ends[0] < j < ends[1]), ends[1]]
        chains = [*itertools.pairwise(marks), ends]
    for n, (a, b) in enumerate(chains):
        down = 600 * MM if jambs and n == len(chains) - 1 else 300 * MM
        dimension = space.add_linear_dim(
            base=drawing.at(a, base - down), p1=drawing.at(a, base), p2=drawing.at(b, base), text=drawing.length(b - a), dimstyle="WQ",
            dxfattribs={"layer": drawing.layer["dimensions"]},
        )  # fmt: skip
        dimension.render()


def _sheet(drawing: _Drawing, run: Run, base: float) -> None:
    """Add a sheet that shows the run's elevation to the largest usual scale that fits."""
    inches = drawing.system == "in"
    wide, high, margin = (17.0, 11.0, 0.5) if inches else (420.0, 297.0, 10.0)
    layout = drawing.doc.layouts.new(run.name)
    layout.page_setup(size=(wide, high), margins=(margin,) * 4, units="inch" if inches else "mm")
    start, end = run.parts[0].start - 900 * MM, run.parts[-1].end + 400 * MM
    low, top = base - 900 * MM, base + max(z for _, z in run.top) - run.bottom + 700 * MM
    room = (wide - 4 * margin, high - 5 * margin)
    needed = max((end - start) / drawing.unit / room[0], (top - low) / drawing.unit / room[1])
    usual = INCH_SCALES if inches else MM_SCALES
    scale = next((s for s in usual if s >= needed), round(needed) + 1)
    layout.add_viewport(
        center=(wide / 2 - margin, high / 2), size=room, view_center_point=drawing.at((start + end) / 2, (low + top) / 2),
        view_height=room[1] * scale,
    )  # fmt: skip
    words = f"{run.name}   {run.storey}   scale 1:{scale}   layout only, no structural design; local codes and licensed practice come first"
    plain = "".join(c if c.isprintable() else " " for c in words).replace("%%", "% %")
    note = layout.add_text(plain, height=margin / 3, dxfattribs={"layer": drawing.layer["text"]})
    note.set_placement((margin, margin / 2), align=TextEntityAlignment.LEFT)
