"""findings.bcf: what BCF-XML 2.1 asks for, read back with a reader that is not ours.

Outside checks: the order, number and form of elements as the published markup.xsd and visinfo.xsd of BCF-XML 2.1 (buildingSMART)
have them, and bcf-client, whose classes are made from these schemas.
"""

from __future__ import annotations

import json
import re
import zipfile
from pathlib import Path
from typing import Any
from xml.etree import ElementTree as Xml

import ifcopenshell
import numpy as np
import pandas as pd
import pytest

from tests.unit.command_line import outside, wall, wall_list

reader: Any = pytest.importorskip("bcf.v2.bcfxml")
SAMPLES = Path(__file__).resolve().parents[2] / "sample_models"
GUID = re.compile("[a-f0-9]{8}-[a-f0-9]{4}-[a-f0-9]{4}-[a-f0-9]{4}-[a-f0-9]{12}")
ORDER = {
    "Markup": ("Header", "Topic", "Comment", "Viewpoints"),
    "File": ("Filename", "Date", "Reference"),
    "Topic": (
        "ReferenceLink", "Title", "Priority", "Index", "Labels", "CreationDate", "CreationAuthor", "ModifiedDate", "ModifiedAuthor",
        "DueDate", "AssignedTo", "Stage", "Description", "BimSnippet", "DocumentReference", "RelatedTopic",
    ),
    "Viewpoints": ("Viewpoint", "Snapshot", "Index"),
    "VisualizationInfo": ("Components", "OrthogonalCamera", "PerspectiveCamera", "Lines", "ClippingPlanes", "Bitmaps"),
    "Components": ("Selection", "Visibility", "Coloring"),
    "PerspectiveCamera": ("CameraViewPoint", "CameraDirection", "CameraUpVector", "FieldOfView"),
    "CameraViewPoint": ("X", "Y", "Z"), "CameraDirection": ("X", "Y", "Z"), "CameraUpVector": ("X", "Y", "Z"),
}  # fmt: skip
"""Children of an element in the order of the schemas' sequences."""
NEEDED = {
    "Markup": ("Topic",),
    "Topic": ("Title", "CreationDate", "CreationAuthor"),
    "Comment": ("Date", "Author", "Comment"),
    "Components": ("Visibility",),
    "PerspectiveCamera": ORDER["PerspectiveCamera"],
}


@pytest.fixture(scope="module", params=["landing_tool_store_mm.ifc", "field_station_workshop_in.ifc"])
def plan(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Path:
    out = tmp_path_factory.mktemp("topics") / "out"
    code, _, told = outside("plan", SAMPLES / request.param, "-o", out, "--write", "bcf,ifc")
    assert code in (0, 1), told
    return out


def findings(path: Path) -> list[dict[str, Any]]:
    loaded: list[dict[str, Any]] = json.loads((path / "findings.json").read_text(encoding="utf-8"))["findings"]
    return loaded


def files(path: Path, end: str) -> dict[str, Xml.Element]:
    with zipfile.ZipFile(path / "findings.bcf") as packed:
        return {n.partition("/")[0]: Xml.fromstring(packed.read(n)) for n in packed.namelist() if n.endswith(end)}


@pytest.mark.parametrize("end", ["markup.bcf", "viewpoint.bcfv"])
def test_is_as_the_schemas_ask(plan: Path, end: str) -> None:
    for root in files(plan, end).values():
        for one in root.iter():
            names = [child.tag for child in one]
            if one.tag in ORDER and names:
                assert [ORDER[one.tag].index(n) for n in names] == sorted(ORDER[one.tag].index(n) for n in names), one.tag
            if names or one.tag in ("Markup", "Topic"):
                assert set(NEEDED.get(one.tag, ())) <= set(names), one.tag
            if "Guid" in one.attrib:
                assert GUID.fullmatch(one.attrib["Guid"])
            if "IfcGuid" in one.attrib:
                assert re.fullmatch("[0-9A-Za-z_$]{22}", one.attrib["IfcGuid"])
            if one.tag == "Selection":
                assert 1 <= len(names) <= 1000
            if one.tag == "FieldOfView":
                assert 45 <= float(one.text or "") <= 60  # what 2.1 calls the present limits


def test_reads_back_as_the_findings(plan: Path) -> None:
    with reader.BcfXml.load(plan / "findings.bcf") as packed:
        assert packed.version.version_id == "2.1"
        topics = sorted(packed.topics.values(), key=lambda t: t.topic.index)
        told = findings(plan)
        assert [t.topic.description for t in topics] == [f["text"] for f in told]
        assert [t.topic.topic_type for t in topics] == [f["severity"] for f in told]
        for topic in topics:
            (view,) = topic.viewpoints.values()
            assert topic.comments[0].viewpoint.guid == view.visualization_info.guid
            assert view.visualization_info.perspective_camera.field_of_view == 60


def test_looks_at_the_place(plan: Path) -> None:
    """The line of sight meets the middle of the stretch that a finding names, and what is selected is in the models."""
    laid = ifcopenshell.open(str(plan / "layout.ifc"))
    known = {e.GlobalId for e in laid.by_type("IfcProduct")}
    origin = np.array(json.loads((plan / "summary.json").read_text(encoding="utf-8"))["origin_mm"])
    runs = pd.read_csv(plan / "runs.csv").set_index("run")
    markups, views = files(plan, "markup.bcf"), files(plan, "viewpoint.bcfv")
    by_index = {int(m.findtext("Topic/Index") or 0) - 1: key for key, m in markups.items()}
    seen = 0
    for n, finding in enumerate(findings(plan)):
        view, place = views[by_index[n]], finding["place"]
        if "run" in place:
            assert {c.attrib["IfcGuid"] for c in view.iter("Component")} & known
        if "run" not in place or "start_mm" not in place:
            continue
        eye, look = (
            np.array([float(view.findtext(f"PerspectiveCamera/{part}/{axis}") or "nan") for axis in "XYZ"])
            for part in ("CameraViewPoint", "CameraDirection")
        )
        assert np.linalg.norm(look) == pytest.approx(1, abs=1e-5)
        run: Any = runs.loc[place["run"]]
        turn, middle = np.radians(float(run.angle_deg)), (place["start_mm"] + place.get("end_mm", place["start_mm"])) / 2
        wanted = (np.array([run.x_mm + middle * np.cos(turn), run.y_mm + middle * np.sin(turn)]) + origin[:2]) / 1000
        reach = np.linalg.norm(wanted - eye[:2]) / np.linalg.norm(look[:2])
        assert eye[:2] + reach * look[:2] == pytest.approx(wanted, abs=1e-3)
        seen += 1
    assert seen >= 3


def test_hostile_names_are_text(tmp_path: Path) -> None:
    """A storey is in titles; its name is text there, and in no file's name."""
    model = wall_list(tmp_path, wall(), wall(name="B", x=20_000, length=2_500))
    hostile = '"<script>alert(1)</script>&amp;=1+1"'
    model.write_text(
        model.read_text(encoding="utf-8").replace("name: G,", f"name: {hostile},").replace("storey: G", f"storey: {hostile}"),
        encoding="utf-8",
    )
    code, _, told = outside("plan", model, "-o", tmp_path / "out", "--write", "bcf")
    assert code in (0, 1), told
    titles = [m.findtext("Topic/Title") or "" for m in files(tmp_path / "out", "markup.bcf").values()]
    assert any("<script>alert(1)</script>&amp;=1+1" in title for title in titles)
    with zipfile.ZipFile(tmp_path / "out" / "findings.bcf") as packed:
        assert all(re.fullmatch(r"bcf\.version|[0-9a-f-]{36}/(markup\.bcf|viewpoint\.bcfv)", n) for n in packed.namelist())


def test_equal_plans_have_equal_files(tmp_path: Path) -> None:
    for name in ("a", "b"):
        outside("plan", SAMPLES / "seedling_shed.yaml", "-o", tmp_path / name, "--write", "bcf")
    assert (tmp_path / "a" / "findings.bcf").read_bytes() == (tmp_path / "b" / "findings.bcf").read_bytes()
