"""Bodies that are no plain extrusion: faces, Boolean trees, several items, what the geometry kernel evaluates.

Volumes are checked against the OpenCASCADE kernel of ifcopenshell where it evaluates the same body, and against sums by hand.
"""

from __future__ import annotations

import pathlib
import re
import subprocess
import sys
from collections.abc import Sequence
from math import cos, pi, sin
from typing import Any

import pytest

from tests.unit.ifc_maker import Maker, Vec, kernel_m3
from wallquant.building import Building, Wall
from wallquant.findings import Finding
from wallquant.importers import ifc
from wallquant.importers.ifc.frames import Unreadable
from wallquant.importers.ifc.kernel import LOST_SECONDS, Kernel
from wallquant.units import MM, mm

SCHEMAS = ("IFC2X3", "IFC4", "IFC4X3_ADD2")
KINDS = [(s, k) for s in SCHEMAS for k in ("brep", "faces", "shell")]
KINDS += [(s, k) for s in SCHEMAS[1:] for k in ("triangles", "polygons", "advanced")]
Ring = Sequence[int]
BOX: tuple[Ring, ...] = ((0, 1, 3, 2), (4, 6, 7, 5), (0, 4, 5, 1), (2, 3, 7, 6), (0, 2, 6, 4), (1, 5, 7, 3))


def body(maker: Maker, kind: str, points: Sequence[Vec], faces: Sequence[Sequence[Ring]]) -> Any:
    """A body given by faces; the first ring of a face is its outline, the others are its holes."""
    if kind in ("triangles", "polygons"):
        listed = maker.add("IfcCartesianPointList3D", [tuple(float(v) for v in p) for p in points])
        if kind == "triangles":
            assert all(len(face) == 1 for face in faces)
            fans = [(f[0][0] + 1, f[0][i] + 1, f[0][i + 1] + 1) for f in faces for i in range(1, len(f[0]) - 1)]
            return maker.add("IfcTriangulatedFaceSet", listed, None, True, fans, None)
        made = []
        for outer, *holes in faces:
            ring = [i + 1 for i in outer]
            inner = [[i + 1 for i in h] for h in holes]
            made.append(maker.add("IfcIndexedPolygonalFaceWithVoids", ring, inner) if inner else maker.add("IfcIndexedPolygonalFace", ring))
        return maker.add("IfcPolygonalFaceSet", listed, True, made, None)
    if kind == "advanced":
        return advanced(maker, points, faces)
    corners = [maker.point(*p) for p in points]
    made = []
    for outer, *holes in faces:
        bounds = [maker.add("IfcFaceOuterBound", maker.add("IfcPolyLoop", [corners[i] for i in outer]), True)]
        bounds += [maker.add("IfcFaceBound", maker.add("IfcPolyLoop", [corners[i] for i in h]), True) for h in holes]
        made.append(maker.add("IfcFace", bounds))
    if kind == "brep":
        return maker.add("IfcFacetedBrep", maker.add("IfcClosedShell", made))
    if kind == "shell":
        return maker.add("IfcShellBasedSurfaceModel", [maker.add("IfcClosedShell", made)])
    return maker.add("IfcFaceBasedSurfaceModel", [maker.add("IfcConnectedFaceSet", made)])


def advanced(maker: Maker, points: Sequence[Vec], faces: Sequence[Sequence[Ring]]) -> Any:
    """An advanced Brep of plane faces and straight edges."""
    vertices = [maker.add("IfcVertexPoint", maker.point(*p)) for p in points]
    made = []
    for face in faces:
        bounds = []
        for n, ring in enumerate(face):
            edges = []
            for a, b in zip(ring, [*ring[1:], ring[0]], strict=True):
                way = [float(q - p) for p, q in zip(points[a], points[b], strict=True)]
                line = maker.add("IfcLine", vertices[a].VertexGeometry, maker.add("IfcVector", maker.way(*way), 1.0))
                edge = maker.add("IfcEdgeCurve", vertices[a], vertices[b], line, True)
                edges.append(maker.add("IfcOrientedEdge", EdgeElement=edge, Orientation=True))
            bounds.append(maker.add("IfcFaceOuterBound" if n == 0 else "IfcFaceBound", maker.add("IfcEdgeLoop", edges), True))
        made.append(maker.add("IfcAdvancedFace", bounds, maker.add("IfcPlane", maker.axes()), True))
    return maker.add("IfcAdvancedBrep", maker.add("IfcClosedShell", made))


def box_points(length: float, thickness: float, height: float) -> list[Vec]:
    return [(x, y, z) for x in (0, length) for y in (-thickness / 2, thickness / 2) for z in (0, height)]


def windowed(length: float, thickness: float, height: float, rect: Sequence[float]) -> tuple[list[Vec], list[list[Ring]]]:
    """A box with a hole through it, as points and faces whose outlines have holes."""
    start, end, sill, head = rect
    points = box_points(length, thickness, height)
    points += [(x, y, z) for x in (start, end) for y in (-thickness / 2, thickness / 2) for z in (sill, head)]
    hole = [tuple(8 + i for i in ring) for ring in BOX]
    faces: list[list[Ring]] = [[ring] for ring in BOX]
    faces[2] = [BOX[2], hole[2][::-1]]
    faces[3] = [BOX[3], hole[3][::-1]]
    faces += [[hole[i][::-1]] for i in (0, 1, 4, 5)]
    return points, faces


def read(maker: Maker, folder: pathlib.Path) -> tuple[Building, tuple[Finding, ...]]:
    return ifc.read(maker.write(folder))


def only(maker: Maker, folder: pathlib.Path) -> Wall:
    building, _ = read(maker, folder)
    assert not building.set_aside, building.set_aside[0].reason
    assert len(building.walls) == 1
    return building.walls[0]


def axis(maker: Maker, length: float) -> Any:
    return maker.polyline([(0, 0), (length, 0)])


@pytest.mark.parametrize(("schema", "kind"), KINDS)
@pytest.mark.parametrize("unit", ["mm", "m"])
def test_a_box_of_any_kind_of_faces(schema: str, kind: str, unit: str, tmp_path: pathlib.Path) -> None:
    maker = Maker(schema, unit)
    k = {"mm": 1.0, "m": 0.001}[unit]
    points = [tuple(v * k for v in p) for p in box_points(4000, 200, 2500)]
    maker.wall(body(maker, kind, points, [[f] for f in BOX]), axis=axis(maker, 4000 * k))
    wall = only(maker, tmp_path)
    assert (wall.start, wall.end, wall.thickness, wall.bottom) == ((0, 0), (mm(4000), 0), mm(200), 0)
    assert wall.top == ((0, mm(2500)), (mm(4000), mm(2500)))
    assert wall.drawn_m3 == pytest.approx(2.0, rel=1e-6)
    assert (wall.set_aside_m3, wall.openings) == (0, ())


@pytest.mark.parametrize(("schema", "kind"), [c for c in KINDS if c[1] != "triangles"])
def test_a_window_in_the_faces_becomes_an_opening(schema: str, kind: str, tmp_path: pathlib.Path) -> None:
    maker = Maker(schema)
    points, faces = windowed(5000, 240, 2750, (1500, 2510, 900, 2110))
    element = maker.wall(body(maker, kind, points, faces), axis=axis(maker, 5000))
    building, findings = read(maker, tmp_path)
    wall = building.walls[0]
    assert [(o.start, o.end, o.sill, o.head, o.through) for o in wall.openings] == [(mm(1500), mm(2510), mm(900), mm(2110), True)]
    assert [f.code for f in findings] == ["reading.drawn-hole"]
    net = wall.drawn_m3 - 1.01 * 1.21 * 0.24
    assert net == pytest.approx((5 * 2.75 - 1.01 * 1.21) * 0.24, rel=1e-6)
    if kind == "brep":
        assert net == pytest.approx(kernel_m3(tmp_path / "model.ifc", element.GlobalId), rel=1e-6)


def test_an_opening_of_the_model_that_is_cut_out_already_counts_once(tmp_path: pathlib.Path) -> None:
    maker = Maker()
    points, faces = windowed(5000, 240, 2750, (1500, 2510, 900, 2110))
    element = maker.wall(body(maker, "brep", points, faces), axis=axis(maker, 5000))
    opening = maker.opening(element, maker.box(1500, 2510, 900, 2110))
    maker.fill(opening, "IfcWindow", 1010.0, 1210.0)
    building, findings = read(maker, tmp_path)
    assert [(o.key, o.filling is not None) for o in building.walls[0].openings] == [(opening.GlobalId, True)]
    assert findings == ()
    assert building.walls[0].drawn_m3 == pytest.approx(5 * 2.75 * 0.24, rel=1e-6)


def test_a_raked_top_and_mitred_ends_in_the_faces(tmp_path: pathlib.Path) -> None:
    maker = Maker()
    ring = [(0, -150), (6000, -150), (5700, 150), (300, 150)]

    def roof(x: float) -> float:
        return 2000 + x / 4

    points: list[Vec] = [(x, y, 0) for x, y in ring] + [(x, y, roof(x)) for x, y in ring]
    faces: list[list[Ring]] = [[(3, 2, 1, 0)], [(4, 5, 6, 7)]]
    faces += [[(i, (i + 1) % 4, (i + 1) % 4 + 4, i + 4)] for i in range(4)]
    element = maker.wall(body(maker, "brep", points, faces), axis=axis(maker, 6000))
    wall = only(maker, tmp_path)
    assert (wall.start, wall.end, wall.thickness) == ((mm(150), 0), (mm(5850), 0), mm(300))
    assert [z / MM for _, z in wall.top] == pytest.approx([roof(150), roof(5850)], abs=0.1)
    assert wall.drawn_m3 - wall.set_aside_m3 == pytest.approx(kernel_m3(tmp_path / "model.ifc", element.GlobalId), rel=1e-4)


def test_a_face_that_leans_leaves_a_wall_and_a_remainder_with_its_volume(tmp_path: pathlib.Path) -> None:
    """A retaining wall: 500 thick at its foot, 300 at its top."""
    maker = Maker()
    points = [(x, y, z) for x in (0, 6000) for y, z in ((-300, 0), (-300, 2500), (200, 0), (0, 2500))]
    maker.wall(body(maker, "brep", points, [[f] for f in BOX]), axis=axis(maker, 6000))
    building, findings = read(maker, tmp_path)
    wall = building.walls[0]
    assert (wall.thickness, wall.top) == (mm(300), ((0, mm(2500)), (mm(6000), mm(2500))))
    assert wall.drawn_m3 == pytest.approx(6 * 2.5 * 0.4, rel=1e-6)
    assert wall.set_aside_m3 == pytest.approx(6 * 2.5 * 0.1, rel=1e-6)
    (low, right, left), (high, *top) = wall.batter
    assert (low, high) == (0, mm(2500))
    assert (right, left, *top) == pytest.approx((0, mm(200), 0, 0), abs=mm(0.01))
    assert findings == ()  # the steps in which it is laid are told where they are made


@pytest.mark.parametrize("schema", SCHEMAS)
def test_a_union_of_solids_that_overlap(schema: str, tmp_path: pathlib.Path) -> None:
    maker = Maker(schema)
    lower = maker.extruded(maker.rectangle(4000, 200, (2000, 0)), 1500)
    upper = maker.extruded(maker.rectangle(2000, 200, (1000, 0)), 1500, (0, 0, 1000))
    element = maker.wall(maker.add("IfcBooleanResult", "UNION", lower, upper), axis=axis(maker, 4000))
    wall = only(maker, tmp_path)
    assert wall.top == ((0, mm(2500)), (mm(2000), mm(2500)), (mm(2000), mm(1500)), (mm(4000), mm(1500)))
    assert wall.drawn_m3 == pytest.approx(kernel_m3(tmp_path / "model.ifc", element.GlobalId), rel=1e-6)


def test_an_intersection_and_a_cut_that_is_cut_itself(tmp_path: pathlib.Path) -> None:
    maker = Maker()
    plain = maker.extruded(maker.rectangle(4000, 200, (2000, 0)), 3000)
    trimmed = maker.add("IfcBooleanResult", "INTERSECTION", plain, maker.extruded(maker.rectangle(9000, 900), 2500))
    void = maker.add("IfcBooleanResult", "DIFFERENCE", maker.box(1000, 2000, 500, 2000), maker.box(900, 2100, 1500, 2100))
    element = maker.wall(maker.add("IfcBooleanResult", "DIFFERENCE", trimmed, void), axis=axis(maker, 4000))
    wall = only(maker, tmp_path)
    assert wall.top == ((0, mm(2500)), (mm(4000), mm(2500)))
    assert [(o.start, o.end, o.sill, o.head) for o in wall.openings] == [(mm(1000), mm(2000), mm(500), mm(1500))]
    void_m3 = 1.0 * 1.0 * 0.2
    assert wall.drawn_m3 - void_m3 == pytest.approx(kernel_m3(tmp_path / "model.ifc", element.GlobalId), rel=1e-6)


def test_several_items_of_which_some_overlap(tmp_path: pathlib.Path) -> None:
    maker = Maker()
    items = [maker.extruded(maker.rectangle(2500, 200, (x, 0)), 2500) for x in (1250, 2750)]
    maker.wall(*items, axis=axis(maker, 4000))
    wall = only(maker, tmp_path)
    assert wall.length == mm(4000)
    assert wall.drawn_m3 == pytest.approx(4 * 0.2 * 2.5, rel=1e-6)


def test_a_mapped_and_mirrored_brep(tmp_path: pathlib.Path) -> None:
    maker = Maker()
    points, faces = windowed(4000, 200, 2500, (500, 1500, 0.0, 2000))
    inner = maker.add("IfcShapeRepresentation", maker.context, "Body", "Brep", [body(maker, "brep", points, faces)])
    source = maker.add("IfcRepresentationMap", maker.axes(), inner)
    target = maker.add("IfcCartesianTransformationOperator3D", maker.way(-1, 0, 0), None, maker.point(4000, 0, 0), 1.0, None)
    maker.wall(maker.add("IfcMappedItem", source, target), axis=axis(maker, 4000))
    assert [(o.start, o.end, o.head) for o in only(maker, tmp_path).openings] == [(mm(2500), mm(3500), mm(2000))]


@pytest.mark.parametrize(("case", "reason"), [
    ("open", "do not close"),
    ("column", "less than a third|more than one direction|no two parallel"),
    ("sheet", "no thickness|do not close|no upright"),
    ("slab of a roof", "more than one direction|no two parallel|not level|full thickness|less than a third|no upright"),
])  # fmt: skip
def test_a_body_that_is_no_wall_is_set_aside_with_its_size(case: str, reason: str, tmp_path: pathlib.Path) -> None:
    maker = Maker()
    if case == "open":
        made = body(maker, "faces", box_points(4000, 200, 2500), [[f] for f in BOX[:5]])
    elif case == "sheet":
        made = body(maker, "faces", [(0, 0, 0), (4000, 0, 0), (4000, 0, 2500), (0, 0, 2500)], [[(0, 1, 2, 3)]])
    elif case == "column":
        ring = [(300 * cos(2 * pi * i / 24), 300 * sin(2 * pi * i / 24)) for i in range(24)]
        points: list[Vec] = [(x, y, 0) for x, y in ring]
        points += [(x, y, 3000) for x, y in ring]
        caps: list[list[Ring]] = [[tuple(range(23, -1, -1))], [tuple(range(24, 48))]]
        made = body(maker, "brep", points, caps + [[(i, (i + 1) % 24, (i + 1) % 24 + 24, i + 24)] for i in range(24)])
    else:
        leaning: list[Vec] = [(x, y, z + y) for x in (0, 4000) for y in (0, 3000) for z in (0, 200)]
        made = body(maker, "brep", leaning, [[f] for f in BOX])
    maker.wall(made)
    building, findings = read(maker, tmp_path)
    assert not building.walls
    assert re.search(reason, building.set_aside[0].reason), building.set_aside[0].reason
    assert [f.code for f in findings] == ["reading.set-aside"]
    if case == "column":
        assert building.set_aside[0].volume_m3 == pytest.approx(3 * 24 / 2 * 0.3**2 * sin(2 * pi / 24), rel=1e-6)


@pytest.mark.parametrize("unit", ["mm", "ft"])
def test_what_is_swept_is_evaluated_by_the_kernel_in_the_units_of_the_model(unit: str, tmp_path: pathlib.Path) -> None:
    """A profile swept along a straight line; a foot stated as twelve inches is one that the kernel takes for a metre."""
    k = {"mm": 1.0, "ft": 1 / 304.8}[unit]
    maker = Maker("IFC4", unit)
    path = maker.polyline([(0, 0, 0), (3000 * k, 0, 0)])
    profile = maker.rectangle(200 * k, 2500 * k)
    swept = maker.add("IfcFixedReferenceSweptAreaSolid", profile, maker.axes(), path, None, None, maker.way(0, 0, 1))
    maker.wall(swept)
    wall = only(maker, tmp_path)
    assert wall.length == pytest.approx(mm(3000), abs=1000)
    assert wall.drawn_m3 == pytest.approx(3 * 0.2 * 2.5, rel=1e-5)


class _Item:
    def __init__(self, number: int) -> None:
        self.number = number

    def id(self) -> int:
        return self.number

    def is_a(self) -> str:
        return "IfcSweptDiskSolid"


@pytest.mark.parametrize(("code", "reason"), [
    ("import time; time.sleep(60)", "took more than 0.5 seconds"),
    ("import os; os.abort()", "broke down (signal 6)"),
    ("raise SystemExit(5)", "broke down (exit code 5)"),
    ("import os, sys; os.write(int(sys.argv[3]), b'garbage\\n')", "broke down"),
    ("import os, sys; os.write(int(sys.argv[3]), b'{\"unit_mm\": 1.0}\\n{\"item\": 8}\\n'); input()", "returned another shape"),
    ("import os, sys; os.write(int(sys.argv[3]), b'{\"unit_mm\": 0.0}\\n{\"item\": 7}\\n'); input()", "knows no unit"),
    ("import os, sys; os.write(int(sys.argv[3]), b'{\"unit_mm\": 1.0}\\n{\"item\": 7, \"error\": \"X\"}\\n'); input()", "cannot evaluate"),
])  # fmt: skip
def test_a_child_that_fails_is_ended_and_named(code: str, reason: str) -> None:
    loading = 0.5 if "sleep" in code else 20.0
    kernel = Kernel(pathlib.Path("none.ifc"), 1.0, (sys.executable, "-S", "-c", code), seconds=0.5, loading=loading)
    with pytest.raises(Unreadable) as caught:
        kernel.faces(_Item(7))
    assert reason in str(caught.value)
    assert "IfcSweptDiskSolid" in str(caught.value)
    kernel.close()
    assert kernel._child is None


def test_a_model_does_not_wait_for_every_item_that_hangs() -> None:
    kernel = Kernel(pathlib.Path("none.ifc"), 1.0, (sys.executable, "-S", "-c", "import time; time.sleep(60)"), seconds=0.2, loading=0.2)
    kernel.lost = LOST_SECONDS
    with pytest.raises(Unreadable, match="spent its time"):
        kernel.faces(_Item(1))
    assert kernel._child is None


def test_models_that_can_be_read_start_no_child_and_no_kernel(tmp_path: pathlib.Path) -> None:
    maker = Maker()
    maker.plain_wall(4000, 200, 2500)
    maker.wall(body(maker, "brep", box_points(4000, 200, 2500), [[f] for f in BOX]), place=maker.placed((0, 3000, 0)))
    path = maker.write(tmp_path)
    code = (
        "import sys, pathlib, subprocess\n"
        "subprocess.Popen = None\n"
        "from wallquant.importers import ifc\n"
        f"building, _ = ifc.read(pathlib.Path({str(path)!r}))\n"
        "assert len(building.walls) == 2\n"
        "sys.exit('ifcopenshell.geom' in sys.modules)"
    )
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0
