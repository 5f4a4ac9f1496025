"""The wall list: the same records as from a model."""

from __future__ import annotations

import pathlib

import pytest

from wallquant.building import Building
from wallquant.importers import InputError, wall_list
from wallquant.units import M, mm

LIST = """unit: m
name: Garden workshop
storeys:
  - {name: Ground, level: 0}
  - {name: Loft, level: 2750 mm}
walls:
  - name: gable
    storey: Loft
    from: [0, 0]
    to: [3, 4]
    thickness: 7-7/8 in
    top: [[0, 1], [2.5, 2.25], [5, 1]]
    bearing: true
    material: AAC
    openings:
      - {name: hatch, at: 2, width: 1, sill: 0.5, height: 0.8, filling: {kind: window, name: pane, width: 0.98}}
      - {name: slot, at: 0.25, width: 0.5, sill: 0, height: 1.25}
      - {at: 4, width: 0.5, sill: 0.25, height: 0.5, depth: 0.1}
  - name: base
    bottom: -0.5
    from: [1000000, 0]
    to: [1000005, 0]
    thickness: 0.2
    height: 8 ft
"""


def read(folder: pathlib.Path, text: str = LIST) -> Building:
    path = folder / "shed.walls.yaml"
    path.write_text(text)
    building, findings = wall_list.read(path)
    assert not findings
    return building


def test_walls_storeys_openings(tmp_path: pathlib.Path) -> None:
    building = read(tmp_path)
    assert (building.name, building.unit, building.ifc_schema) == ("Garden workshop", "m", "")
    assert [(s.name, s.level) for s in building.storeys] == [("Ground", 0), ("Loft", mm(2750))]
    base, gable = building.walls
    assert building.origin == (500_000 * M, 0)
    assert base.start == (500_000 * M, 0)
    assert (base.bottom, base.top) == (mm(-500), ((0, mm("1938.4")), (mm(5000), mm("1938.4"))))
    assert base.storey == ""
    assert (gable.storey, gable.bottom, gable.thickness, gable.length) == ("Loft", mm(2750), mm("200.025"), mm(5000))
    assert gable.top == ((0, mm(3750)), (mm(2500), mm(5000)), (mm(5000), mm(3750)))
    assert (gable.bearing, gable.material) == (True, "AAC")
    assert gable.drawn_m3 == pytest.approx(5 * (1 + 0.625) * 0.200025, rel=1e-12)
    slot, hatch, niche = gable.openings
    assert (hatch.key, hatch.start, hatch.end, hatch.sill, hatch.head) == ("gable/hatch", mm(2000), mm(3000), mm(3250), mm(4050))
    assert hatch.filling is not None
    assert (hatch.filling.kind, hatch.filling.width, hatch.filling.height) == ("window", mm(980), None)
    # the raked top takes a corner off it
    assert slot.volume_m3 == pytest.approx((0.5 * 1.25 - 0.25 * 0.125 / 2) * 0.200025, rel=1e-9)
    assert (niche.through, niche.volume_m3) == (False, pytest.approx(0.5 * 0.5 * 0.1))
    left, right = gable.footprint[3], gable.footprint[0]
    assert (left[0] - right[0]) ** 2 + (left[1] - right[1]) ** 2 == pytest.approx(mm("200.025") ** 2, rel=1e-9)


def test_two_walls_of_one_name_and_overlapping_openings(tmp_path: pathlib.Path) -> None:
    with pytest.raises(InputError, match="used twice"):
        read(tmp_path, LIST.replace("name: base", "name: gable"))
    with pytest.raises(InputError, match="overlaps 'hatch'"):
        read(tmp_path, LIST.replace("at: 0.25, width: 0.5", "at: 1.75, width: 0.5"))


def test_a_wall_longer_than_any_is_an_error_of_its_unit(tmp_path: pathlib.Path) -> None:
    text = """unit: m
walls:
  - {name: A, from: [0, 0], to: [%s, 0], bottom: 0, thickness: 0.2, height: 2.4}
"""
    assert read(tmp_path, text % 10_000).walls[0].length == mm(10_000_000)
    with pytest.raises(InputError, match="longer than 10 km"):
        read(tmp_path, text % 10_001)
    with pytest.raises(InputError, match="height: the wall is higher than 200 m"):
        read(tmp_path, (text % 5).replace("height: 2.4", "height: 2400"))
    with pytest.raises(InputError, match="top: the wall is higher than 200 m"):
        read(tmp_path, (text % 5).replace("height: 2.4", "top: [[0, 2.4], [5, 240]]"))


def test_the_order_of_the_walls_does_not_matter(tmp_path: pathlib.Path) -> None:
    head, one, two = (
        LIST.partition("walls:\n")[0] + "walls:\n",
        *("  - name: " + t for t in LIST.partition("walls:\n")[2].split("  - name: ")[1:]),
    )
    assert read(tmp_path, head + two + one) == read(tmp_path, head + one + two)
