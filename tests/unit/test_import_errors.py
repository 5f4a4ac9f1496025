"""Files that cannot serve: one sentence with the file's name, what is wrong and what to do; never a traceback."""

from __future__ import annotations

import pathlib
import re

import pytest

from tests.unit.ifc_maker import Maker
from wallquant.importers import InputError, ifc, wall_list


@pytest.fixture
def text(tmp_path: pathlib.Path) -> str:
    maker = Maker()
    maker.plain_wall(2000, 200, 2500, name="a # in a name; and 'quotes'")
    return maker.write(tmp_path, "good.ifc").read_text()


def sentence(path: pathlib.Path) -> str:
    with pytest.raises(InputError) as caught:
        ifc.read(path)
    said = str(caught.value)
    assert path.name in said
    assert "\n" not in said
    return said


def broken(folder: pathlib.Path, text: str) -> str:
    path = folder / "bad.ifc"
    path.write_text(text)
    return sentence(path)


def test_the_good_file_is_good(text: str, tmp_path: pathlib.Path) -> None:
    assert len(ifc.read(tmp_path / "good.ifc")[0].walls) == 1


def test_missing_and_folder(tmp_path: pathlib.Path) -> None:
    assert "no such file" in sentence(tmp_path / "none.ifc")
    assert "folder" in sentence(tmp_path)


def test_no_ifc(tmp_path: pathlib.Path) -> None:
    assert "no IFC file" in broken(tmp_path, "wall,length\nW1,4.0\n")
    assert "no IFC file" in broken(tmp_path, "")


def test_cut_off(text: str, tmp_path: pathlib.Path) -> None:
    assert "cut off" in broken(tmp_path, text[: len(text) // 2])


@pytest.mark.parametrize("schema", ["IFC2X2_FINAL", "IFC4X1", "IFC4X3", "CONFIG_CONTROL_DESIGN"])
def test_unsupported_schema(schema: str, text: str, tmp_path: pathlib.Path) -> None:
    said = broken(tmp_path, text.replace("FILE_SCHEMA(('IFC4'))", f"FILE_SCHEMA(('{schema}'))"))
    assert schema in said
    assert "IFC4X3_ADD2" in said


def test_damaged_statements_name_their_line(text: str, tmp_path: pathlib.Path) -> None:
    lines = text.splitlines()
    at = next(i for i, line in enumerate(lines) if "IFCEXTRUDEDAREASOLID" in line)
    for damage in (lines[at].replace(");", ";"), lines[at].replace("=", " "), lines[at].replace("2500.", "1.#INF")):
        assert damage != lines[at]
        said = broken(tmp_path, "\n".join([*lines[:at], damage, *lines[at + 1 :]]))
        assert f"line {at + 1}" in said
    assert "defined twice" in broken(tmp_path, "\n".join([*lines[: at + 1], lines[at], *lines[at + 1 :]]))
    assert "not defined" in broken(tmp_path, "\n".join([*lines[:at], *lines[at + 1 :]]))


def test_no_data_section(text: str, tmp_path: pathlib.Path) -> None:
    assert "DATA" in broken(tmp_path, re.sub(r"DATA;.*?ENDSEC;", "", text, flags=re.DOTALL))


def test_an_unknown_entity(text: str, tmp_path: pathlib.Path) -> None:
    path = tmp_path / "odd.ifc"
    path.write_text(text.replace("IFCEXTRUDEDAREASOLID", "IFCNOSUCHSOLID"))
    try:
        building, _ = ifc.read(path)
    except InputError as error:
        assert "export" in str(error)
    else:
        assert building.set_aside


def test_no_wall_and_no_unit(tmp_path: pathlib.Path) -> None:
    assert "no wall" in sentence(Maker().write(tmp_path))
    maker = Maker(unit=None)
    maker.plain_wall(2000, 200, 2500)
    assert "no length unit" in sentence(maker.write(tmp_path))


WALLS = """unit: mm
name: Garden workshop
storeys:
  - {name: Ground, level: 0}
walls:
  - name: W1
    storey: Ground
    from: [0, 0]
    to: [6000, 0]
    thickness: 200
    height: 2500
"""


@pytest.mark.parametrize(("old", "new", "place", "words"), [
    ("thickness: 200", "thickness: 200\n    thickness: 240", "11:5: walls[0].thickness", "twice"),
    ("thickness: 200", "thicknes: 200", "10:5: walls[0].thicknes", "did you mean 'thickness'"),
    ("thickness: 200", "thickness: 0", "10:16: walls[0].thickness", "at least 1 mm"),
    ("thickness: 200", "thickness: 200 furlong", "10:16: walls[0].thickness", "no length"),
    ("thickness: 200", "thickness: [200]", "10:16: walls[0].thickness", "a length"),
    ("unit: mm\n", "", "3:27: storeys[0].level", "no unit"),
    ("unit: mm", "unit: foot", "1:7: unit", "no unit of length"),
    ("    height: 2500\n", "", "6:5: walls[0]", "either a height or a top"),
    ("to: [6000, 0]", "to: [0, 0]", "9:9: walls[0].to", "no length"),
    ("to: [6000, 0]", "to: 6000", "9:9: walls[0].to", "two lengths"),
    ("storey: Ground", "storey: Grund", "7:13: walls[0].storey", "did you mean 'Ground'"),
    ("name: W1", "name: yes", "6:11: walls[0].name", "yes"),
    ("name: W1", "name: 1", "6:11: walls[0].name", "text"),
    ("height: 2500", "height: 2500\n    bearing: 1", "12:14: walls[0].bearing", "true or false"),
    ("height: 2500", "top: [[0, 2500], [5000, 3000]]", "11:10: walls[0].top", "6000 mm"),
    ("height: 2500", "height: 2500\n    openings: [{at: 5500, width: 1000, sill: 0, height: 2000}]", "12:16: ", "length"),
    ("height: 2500", "height: 2500\n    openings: [{at: 500, width: 1000, sill: 0, height: 2600}]", "12:16: ", "2500 mm"),
    ("height: 2500", "height: 2500\n    openings: [{at: 500, width: 1000, sill: 0}]", "walls[0].openings[0].height", "missing"),
    ("walls:", "wals:", "5:1: wals", "did you mean 'walls'"),
])  # fmt: skip
def test_a_wall_list_names_the_place_of_a_slip(old: str, new: str, place: str, words: str, tmp_path: pathlib.Path) -> None:
    assert old in WALLS
    path = tmp_path / "shed.walls.yaml"
    path.write_text(WALLS.replace(old, new, 1))
    with pytest.raises(InputError) as caught:
        wall_list.read(path)
    said = str(caught.value)
    assert said.startswith(f"{path}:")
    assert place in said
    assert words in said


def test_wall_list_missing(tmp_path: pathlib.Path) -> None:
    with pytest.raises(InputError, match="cannot be opened"):
        wall_list.read(tmp_path / "none.yaml")
