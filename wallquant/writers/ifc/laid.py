"""Runs as assemblies, their pieces as parts, and what is built in as items of their own classes."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from wallquant.files import CUTS
from wallquant.layout import Run
from wallquant.ordering import step_of
from wallquant.rules import Item
from wallquant.units import MM
from wallquant.writers.ifc.frame import Frame
from wallquant.writers.ifc.shapes import ITEM_COLOUR, Shape, Shapes, profile, style
from wallquant.writers.ifc.spf import NULL, Lines, guid, real, reals, refs, text
from wallquant.writers.plan import Plan

FASTENERS = ("tie", "strap", "anchor", "coupler", "washer", "nut", "hook")


@dataclass(frozen=True, kw_only=True, slots=True)
class Laid:
    """Numbers of what is written: parts by row of the pieces, assemblies with their storeys and placements."""

    parts: list[int]
    assemblies: dict[int, str] = field(default_factory=dict)
    of_run: dict[str, tuple[int, int]] = field(default_factory=dict)
    of_wall: dict[str, list[int]] = field(default_factory=dict)


def runs(plan: Plan, frame: Frame) -> Laid:
    """Write an assembly a run, with its pieces."""
    pieces, lines = plan.work.pieces, frame.lines
    shapes = Shapes(lines=lines, project=frame.project, body=frame.body)
    steps = [s.name for s in plan.work.steps]
    step = step_of(plan.work.steps, len(pieces)).tolist()
    stocks, stock = plan.cutting.stocks, plan.cutting.stock_of(pieces).tolist()
    element = plan.element_of()
    laid = Laid(parts=[0] * len(pieces))
    typed: dict[Shape, list[int]] = {}
    measured: dict[tuple[Shape, float, float, float], list[int]] = {}
    first = np.searchsorted(pieces.run, np.arange(len(pieces.runs) + 1))
    for at, name in enumerate(pieces.runs):
        run = plan.work.runs[name]
        assembly, placed = _assembly(frame, run)
        laid.assemblies[assembly], laid.of_run[name] = run.storey, (assembly, placed)
        parts: list[int] = []
        for row in range(int(first[at]), int(first[at + 1])):
            unit = pieces.units[pieces.unit[row]]
            shape = Shape.of(pieces, row, unit, run.thickness)
            mark = pieces.names[row]
            body = lines.add("IFCSHAPEREPRESENTATION", frame.body, "'Body'", "'MappedRepresentation'", refs([shapes.add(shape)]))
            drawn = lines.add("IFCPRODUCTDEFINITIONSHAPE", NULL, NULL, refs([body]))
            place = lines.placement(placed, lines.point(int(pieces.start[row]) / MM, 0, (int(pieces.bottom[row]) - run.bottom) / MM))
            part = lines.add(
                "IFCBUILDINGELEMENTPART", text(guid(frame.project, "piece", mark)), NULL, text(mark), NULL, text(unit.code), place,
                drawn, text(mark), ".USERDEFINED.",
            )  # fmt: skip
            cut = "+".join(w for bit, w in enumerate(CUTS) if int(pieces.cut[row]) >> bit & 1)
            said: dict[str, str | float] = {
                "Run": name, "Course": int(pieces.course[row]), "Cut": cut, "Work": pieces.work.get(row, ""),
                "Step": steps[step[row]] if step[row] >= 0 else "", "CutFrom": stocks[stock[row]] if stock[row] >= 0 else "",
            }  # fmt: skip
            properties(lines, frame.project, mark, part, "WQ_Piece", {"Mark": mark}, said)
            parts.append(part)
            laid.parts[row] = part
            typed.setdefault(shape, []).append(part)
            size = (float(pieces.volume[row]), float(pieces.solid[row]), float(pieces.mass[row]))
            measured.setdefault((shape, *size), []).append(part)
            wall = pieces.walls[pieces.wall[row]]
            laid.of_wall.setdefault(element.get(wall, wall), []).append(part)
        frame.aggregate(f"run {name}", assembly, parts)
    _types(frame, shapes, typed)
    for n, ((shape, volume, solid, mass), parts) in enumerate(measured.items()):
        _quantities(frame, n, shape, (volume, solid, mass), parts)
    return laid


def _assembly(frame: Frame, run: Run) -> tuple[int, int]:
    lines = frame.lines
    _, above, level = frame.storeys[run.storey]
    x, y = run.start[0] + frame.origin[0], run.start[1] + frame.origin[1]
    corner = lines.point(x / MM, y / MM, (run.bottom - level) / MM)
    placed = lines.placement(above, corner, lines.direction(0, 0, 1), lines.direction(*run.direction, 0))
    return lines.add(
        "IFCELEMENTASSEMBLY", text(guid(frame.project, "run", run.name)), NULL, text(run.name), NULL, text("run"), placed, NULL,
        text(run.name), ".SITE.", ".USERDEFINED.",
    ), placed  # fmt: skip


def _types(frame: Frame, shapes: Shapes, typed: Mapping[Shape, list[int]]) -> None:
    lines, key = frame.lines, frame.project
    for shape, parts in typed.items():
        told = text(guid(key, "typed", repr(shape)))
        lines.add("IFCRELDEFINESBYTYPE", told, NULL, NULL, NULL, refs(parts), shapes.types[shape])
    if typed:
        every = list(shapes.types.values())
        material = lines.add("IFCMATERIAL", text("autoclaved aerated concrete"), NULL, NULL)
        lines.add("IFCRELASSOCIATESMATERIAL", text(guid(key, "material")), NULL, NULL, NULL, refs(every), material)
        lines.add("IFCRELDECLARES", text(guid(key, "types")), NULL, NULL, NULL, frame.root, refs(every))


def _quantities(frame: Frame, n: int, shape: Shape, size: tuple[float, float, float], parts: list[int]) -> None:
    """Say sizes once for all pieces of one shape: outer length, height, thickness and volume; net volume and mass as delivered."""
    lines = frame.lines
    volume, solid, mass = size
    sizes = (("Length", shape.length), ("Height", shape.height), ("Width", shape.thickness))
    held = [lines.shared("IFCQUANTITYLENGTH", text(name), NULL, NULL, real(value / MM), NULL) for name, value in sizes]
    held += [
        lines.shared("IFCQUANTITYVOLUME", text(name), NULL, NULL, real(value), NULL)
        for name, value in (("GrossVolume", volume), ("NetVolume", solid))
    ]
    held.append(lines.shared("IFCQUANTITYWEIGHT", text("GrossWeight"), NULL, NULL, real(mass), NULL))
    key = (frame.project, "quantities", str(n))
    one = lines.add("IFCELEMENTQUANTITY", text(guid(*key)), NULL, text("WQ_Quantities"), NULL, NULL, refs(held))
    lines.add("IFCRELDEFINESBYPROPERTIES", text(guid(*key, "of")), NULL, NULL, NULL, refs(parts), one)


def properties(
    lines: Lines, project: str, mark: str, part: int, name: str, own: Mapping[str, str | float], said: Mapping[str, str | float]
) -> None:
    """Write a property set; values in `said` are shared by all that have them, empty ones left out."""
    held = [
        put("IFCPROPERTYSINGLEVALUE", text(key), NULL, _value(value), NULL)
        for put, values in ((lines.add, own), (lines.shared, said))
        for key, value in values.items()
        if value != ""
    ]
    whole = lines.add("IFCPROPERTYSET", text(guid(project, name, mark)), NULL, text(name), NULL, refs(held))
    lines.add("IFCRELDEFINESBYPROPERTIES", text(guid(project, name, mark, "of")), NULL, NULL, NULL, f"(#{part})", whole)


def _value(value: str | float) -> str:
    if isinstance(value, str):
        return f"IFCLABEL({text(value[:255])})"
    return f"IFCINTEGER({value})" if isinstance(value, int) else f"IFCREAL({real(value)})"


def items(plan: Plan, frame: Frame, laid: Laid) -> dict[int, int]:
    """Write what is built in and is no piece; return the entities by position in `Work.items`."""
    out: dict[int, int] = {}
    by_run: dict[str, list[int]] = {}
    for n, item in enumerate(i for i in plan.work.items if isinstance(i, Item)):
        if item.run not in laid.of_run:
            continue
        mark = f"I{n + 1}"
        out[n] = _item(plan, frame, laid, item, mark)
        said: dict[str, str | float] = {
            "Kind": item.kind,
            "Run": item.run,
            "Quantity": float(item.quantity),
            "Unit": item.unit,
            "Rule": item.rule,
        }
        properties(frame.lines, frame.project, mark, out[n], "WQ_Item", {"Mark": mark}, said)
        by_run.setdefault(item.run, []).append(out[n])
    for name, built in by_run.items():
        frame.aggregate(f"items {name}", laid.of_run[name][0], built)
    return out


def _item(plan: Plan, frame: Frame, laid: Laid, item: Item, mark: str) -> int:
    lines = frame.lines
    run = plan.work.runs[item.run]
    _, placed = laid.of_run[item.run]
    at = lines.placement(placed, lines.point(item.start / MM, item.offset / MM, (item.bottom - run.bottom) / MM))
    body = _bar(frame, item) if item.kind == "bar" else _box(frame, item, run)
    common = (text(guid(frame.project, "item", mark)), NULL, text(f"{mark} {item.kind}"), NULL, text(item.kind), at, body, text(mark))
    if item.kind == "bar":
        length = max(item.end - item.start, item.top - item.bottom)
        size = real(item.size / MM) if item.size else NULL
        return lines.add("IFCREINFORCINGBAR", *common, NULL, size, NULL, real(length / MM) if length else NULL, ".USERDEFINED.", NULL)
    if item.kind.rpartition(" ")[2] in FASTENERS:
        return lines.add("IFCMECHANICALFASTENER", *common, NULL, NULL, ".USERDEFINED.")
    return lines.add("IFCMEMBER" if item.kind == "prop" else "IFCBUILDINGELEMENTPROXY", *common, ".USERDEFINED.")


def _bar(frame: Frame, item: Item) -> int | str:
    """A bar is a disk swept along its line: upright, or along the run."""
    lines = frame.lines
    along, up = (item.end - item.start) / MM, (item.top - item.bottom) / MM
    if item.size <= 0 or along + up <= 0:
        return NULL
    flat = along > up
    ends = [lines.add("IFCCARTESIANPOINT", reals(p)) for p in ((0, 0, 0), (along, 0, 0) if flat else (0, 0, up))]
    line = lines.add("IFCPOLYLINE", refs(ends))
    solid = lines.add("IFCSWEPTDISKSOLID", line, real(item.size / MM / 2), NULL, NULL, NULL)
    return _drawn(frame, solid, "AdvancedSweptSolid")


def _box(frame: Frame, item: Item, run: Run) -> int | str:
    """A box of the item's extent; as wide as it is said to be, else as the run.  What has no extent has a place alone."""
    lines = frame.lines
    along, up = item.end - item.start, item.top - item.bottom
    if along <= 0 or up <= 0:
        return NULL
    half = (item.size or run.thickness) // 2
    origin = lines.shared("IFCCARTESIANPOINT", reals((0, 0, 0)))
    outline = profile(lines, ((0, -half), (along, -half), (along, half), (0, half)))
    base = lines.shared("IFCAXIS2PLACEMENT3D", origin, NULL, NULL)
    solid = lines.add("IFCEXTRUDEDAREASOLID", outline, base, lines.direction(0, 0, 1), real(up / MM))
    return _drawn(frame, solid, "SweptSolid")


def _drawn(frame: Frame, solid: int, kind: str) -> int:
    style(frame.lines, solid, ITEM_COLOUR)
    body = frame.lines.add("IFCSHAPEREPRESENTATION", frame.body, "'Body'", f"'{kind}'", refs([solid]))
    return frame.lines.add("IFCPRODUCTDEFINITIONSHAPE", NULL, NULL, refs([body]))
