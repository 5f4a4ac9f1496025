"""What a model must bring, as an IDS file: valid, usable, and told one finding a requirement.

Outside checks: the published schema of IDS 1.0 (buildingSMART International, ids.xsd, version 1.0.0, as ifctester carries it) and
the classes and attributes of IFC2X3, IFC4 and IFC4X3_ADD2 (ISO 16739-1 and its forerunner, as ifcopenshell carries them).
"""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import ifcopenshell
import pytest

from tests.unit.command_line import caller, wall_list
from tests.unit.ifc_maker import Maker
from wallquant.importers.ifc.readiness import readiness, specification

ids: Any = pytest.importorskip("ifctester.ids", reason="ifctester is not installed")
ROOT = Path(__file__).parents[2]
SPACE = {"": "http://standards.buildingsmart.org/IDS", "xs": "http://www.w3.org/2001/XMLSchema"}
SCHEMAS = ("IFC2X3", "IFC4", "IFC4X3_ADD2")


def _ready(schema: str = "IFC4") -> Maker:
    """A model that brings everything: two walls, a door in its opening."""
    made = Maker(schema)
    made.add_storey("Ground", 0)
    for name in ("North", "South"):
        wall = made.plain_wall(3000, 200, 2400, name=name)
        material = made.add("IfcMaterial", "AAC")
        made.root("IfcRelAssociatesMaterial", RelatedObjects=[wall], RelatingMaterial=material)
    hole = made.opening(wall, made.box(500, 1500, 0, 2100))
    made.fill(hole, width=1000.0, height=2100.0)
    return made


def _codes(made: Maker, folder: Path) -> dict[str, int]:
    return {one.code: one.times for one in readiness(made.write(folder))}


def test_the_file_is_valid_against_the_published_schema() -> None:
    ids.get_schema().validate(str(specification()))
    assert ids.get_schema().root.get("version") == "1.0.0"
    assert len(ids.open(str(specification())).specifications) == len(_specifications())


def test_the_file_in_schemas_is_the_one_that_is_run() -> None:
    assert (ROOT / "schemas" / "wall-model.ids").read_bytes() == specification().read_bytes()


def _specifications() -> list[ElementTree.Element]:
    return ElementTree.parse(specification()).getroot().findall("specifications/specification", SPACE)


def test_every_class_and_attribute_is_in_every_schema_that_is_named() -> None:
    for spec in _specifications():
        names = [one.get("value", "") for one in spec.findall(".//entity/name//xs:enumeration", SPACE)]
        names += [one.text or "" for one in spec.findall(".//entity/name/simpleValue", SPACE)]
        assert ("IFCWALL" in names) == ("IFCWALLSTANDARDCASE" in names)  # IDS has no inheritance
        subjects = {one.get("value") for one in spec.findall("applicability/entity/name//xs:enumeration", SPACE)}
        subjects |= {one.text for one in spec.findall("applicability/entity/name/simpleValue", SPACE)}
        asked = [one.text for one in spec.findall("requirements/attribute/name/simpleValue", SPACE)]
        assert set(spec.get("ifcVersion", "").split()) == set(SCHEMAS)
        for version in SCHEMAS:
            known = {e.name().upper(): e for e in ifcopenshell.schema_by_name(version).entities()}
            assert set(names) <= set(known)
            assert all(a in {x.name() for x in known[str(s)].all_attributes()} for s in subjects for a in asked)


def test_each_requirement_stands_alone_with_advice() -> None:
    for spec in _specifications():
        (one,) = list(spec.find("requirements", SPACE))  # type: ignore[arg-type]
        assert str(one.get("instructions")).endswith(".") and str(spec.get("description")).endswith(".")
        assert spec.get("identifier") == str(spec.get("name")).lower().replace(" ", "-")  # the code of its finding


@pytest.mark.parametrize("schema", SCHEMAS)
def test_a_model_that_brings_everything_has_no_finding(schema: str, tmp_path: Path) -> None:
    assert _codes(_ready(schema), tmp_path) == {}


@pytest.mark.parametrize("schema", SCHEMAS)
def test_each_lack_is_one_finding_with_its_count(schema: str, tmp_path: Path) -> None:
    made = _ready(schema)
    for wall in made.file.by_type("IfcWall"):
        wall.Name = None
    for rel in made.file.by_type("IfcRelAssociatesMaterial")[:1]:
        made.file.remove(rel)
    made.file.by_type("IfcDoor")[0].OverallWidth = None
    made.file.by_type("IfcBuildingStorey")[0].Name = None
    assert _codes(made, tmp_path) == {
        "readiness.wall-name": 2, "readiness.wall-material": 1, "readiness.filling-width": 1, "readiness.storey-name": 1,
    }  # fmt: skip


def test_what_stands_nowhere_has_no_body_and_fills_nothing(tmp_path: Path) -> None:
    made = _ready()
    for rel in [*made.file.by_type("IfcRelContainedInSpatialStructure"), *made.file.by_type("IfcRelFillsElement")]:
        made.file.remove(rel)
    wall = made.file.by_type("IfcWall")[0]
    wall.Representation = wall.ObjectPlacement = None
    found = _codes(made, tmp_path)
    assert found == {
        "readiness.filling-in-wall": 1, "readiness.wall-body": 1, "readiness.wall-place": 1, "readiness.wall-storey": 2,
    }  # fmt: skip


def test_a_standard_case_wall_is_asked_too(tmp_path: Path) -> None:
    made = _ready("IFC2X3")
    made.plain_wall(1000, 200, 2400, name="Pier", kind="IfcWallStandardCase")
    (one,) = readiness(made.write(tmp_path))
    assert one.text == (
        "Each wall has a material or layers: 1 of 3 does not (Pier). "
        "Assign the masonry as material, or as a layer of its own beside insulation and finishes."
    )
    assert one.place.wall and one.measured == "1 of 3"


def test_long_lists_and_names_are_shortened(tmp_path: Path) -> None:
    made = Maker()
    made.add_storey("Ground", 0)
    for i in range(9):
        made.plain_wall(1000, 200, 2400, name=f"Wall {i}\n" + "x" * 90)
    (one,) = readiness(made.write(tmp_path))
    assert "9 of 9 do not (Wall 0 xxx" in one.text and "and 3 more" in one.text and "\n" not in one.text and len(one.text) < 600


def test_things_that_are_part_of_each_other_do_not_hang(tmp_path: Path) -> None:
    made = _ready()
    one, other = made.file.by_type("IfcWall")
    for rel in made.file.by_type("IfcRelContainedInSpatialStructure"):
        made.file.remove(rel)
    made.root("IfcRelAggregates", RelatingObject=one, RelatedObjects=[other])
    made.root("IfcRelAggregates", RelatingObject=other, RelatedObjects=[one])
    (told,) = readiness(made.write(tmp_path))
    assert told.code == "readiness.not-checked" and "circle" in told.text


def test_without_the_library_there_is_one_note(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "ifctester", None)
    (told,) = readiness(_ready().write(tmp_path))
    assert (told.code, told.severity) == ("readiness.not-checked", "note") and "not installed" in told.text


def test_check_tells_what_a_model_lacks(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    run = caller(capsys)
    made = _ready()
    made.file.by_type("IfcWall")[0].Name = None
    model = made.write(tmp_path)
    code, out, _ = run("check", model)
    assert code == 0 and "warning: Each wall has a name: 1 of 2 does not" in out
    said = json.loads(run("check", model, "--format", "json")[1])
    assert [f["measured"] for f in said["findings"] if f["code"] == "readiness.wall-name"] == ["1 of 2"]
    assert "readiness" not in run("check", wall_list(tmp_path), "--format", "json")[1]
