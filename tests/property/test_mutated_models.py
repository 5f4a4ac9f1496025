"""Damaged models end in one sentence or in a plan: no traceback, no reader that hangs, no dead process, no wall lost in silence.

The two thousand of `mutant_runner` are made anew by hand; here is a sample of them.
"""

from __future__ import annotations

import pathlib

from tests.property.mutant_runner import Reader, run
from tests.property.mutants import VALUES, Text, made, mutant
from tests.unit.ifc_maker import Maker

SAMPLE = 100


def test_a_sample_of_damaged_models() -> None:
    outcomes = run(SAMPLE, seed=7)
    assert [(o.base, o.number, o.job, o.code, o.said) for o in outcomes if not o.allowed] == []
    assert len({o.code for o in outcomes}) > 1, "damage that is never seen is no damage"


def test_a_mutant_is_made_again_by_its_seed(tmp_path: pathlib.Path) -> None:
    base = made(tmp_path, "IFC4")
    assert mutant(base, "a") == mutant(base, "a")
    assert len({mutant(base, str(i)) for i in range(20)} - {base}) > 15


def test_no_value_and_a_star_where_a_value_should_be(tmp_path: pathlib.Path) -> None:
    """Each value of one statement of each kind in turn."""
    data = made(tmp_path, "IFC4")
    text = Text(data)
    reader = Reader(tmp_path)
    bad = []
    try:
        for kind, places in sorted(text.kinds.items()):
            head, values = text.values(places[-1])
            for i, old in enumerate(values):
                for new in VALUES[:2]:
                    if old != new:
                        fresh = Text(data)
                        fresh.put(places[-1], head, b",".join([*values[:i], new, *values[i + 1 :]]))
                        (tmp_path / "star.ifc").write_bytes(fresh.data())
                        code, _, said = reader.ask("read", tmp_path / "star.ifc")
                        if code not in (0, 1, 2):
                            bad.append((kind, i, new, said))
    finally:
        reader.close()
    assert bad == []


def test_placements_in_a_ring_and_a_body_mapped_on_itself(tmp_path: pathlib.Path) -> None:
    maker = Maker()
    wall = maker.plain_wall(2000, 200, 2500, place=maker.placed((1, 0, 0)), name="alone")
    wall.ObjectPlacement.PlacementRelTo = wall.ObjectPlacement
    ring = [maker.placed((i, 0, 0)) for i in range(3)]
    for one, other in zip(ring, ring[1:] + ring[:1], strict=True):
        one.PlacementRelTo = other
    maker.plain_wall(2000, 200, 2500, place=ring[0], name="ring")
    body = maker.add("IfcShapeRepresentation", maker.context, "Body", "MappedRepresentation", [])
    target = maker.add("IfcCartesianTransformationOperator3D", None, None, maker.point(0, 0, 0), None, None)
    item = maker.add("IfcMappedItem", maker.add("IfcRepresentationMap", maker.axes(), body), target)
    body.Items = [item]
    maker.wall(item, name="map")
    maker.plain_wall(2000, 200, 2500, name="sound")
    reader = Reader(tmp_path)
    try:
        path = maker.write(tmp_path)
        assert reader.ask("read", path)[::2] == (0, "1 walls, 3 set aside")
        assert reader.ask("plan", path)[0] == 0
    finally:
        reader.close()


def test_a_dead_reader_and_one_that_hangs_are_seen(tmp_path: pathlib.Path) -> None:
    for does, code in (("import os; os.kill(os.getpid(), 11)", -1), ("import time; time.sleep(30)", -2), ("\nwhile True: pass", -2)):
        reader = Reader(tmp_path, command=("-c", f"input(); {does}"), seconds=0.5)
        assert reader.ask("read", tmp_path / "any.ifc")[0] == code
        reader.close()
