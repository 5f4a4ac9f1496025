"""What a file says is not trusted: its parser's log, what it lost, its names in any script, its GlobalIds."""

from __future__ import annotations

import csv
import json
import pathlib
import re

import pytest

from tests.unit.command_line import Run, caller
from tests.unit.ifc_maker import Maker
from wallquant.importers import InputError, ifc
from wallquant.importers.ifc.labels import label, readable

SHABBAT = "\u05e7\u05d9\u05e8 1"
BRICK = "\U0001f9f1 wall"
NAMES = {
    SHABBAT: rb"\X2\05E705D905E8\X0\ 1",  # ISO 10303-21, 6.4.3: four hexadecimal digits a sign
    BRICK: rb"\X4\0001F9F1\X0\ wall",  # and eight
    "W\u00e4nd": rb"W\X\E4nd",
}


@pytest.fixture
def data(tmp_path: pathlib.Path) -> bytes:
    maker = Maker()
    maker.add_storey("Ground", 0)
    wall = maker.plain_wall(2399, 200, 2500, name="NAME")
    maker.fill(maker.opening(wall, maker.box(800, 1600, 0, 2000)), width=800.0, height=2000.0)
    return maker.write(tmp_path).read_bytes()


def named(data: bytes, name: bytes, folder: pathlib.Path) -> tuple[str, list[str]]:
    path = folder / "named.ifc"
    path.write_bytes(data.replace(b"'NAME'", b"'" + name + b"'"))
    building, findings = ifc.read(path)
    assert len(building.walls) == 1
    return building.walls[0].name, [f.code for f in findings]


@pytest.mark.parametrize("name", NAMES)
def test_a_name_as_the_standard_writes_it(name: str, data: bytes, tmp_path: pathlib.Path) -> None:
    assert named(data, NAMES[name], tmp_path) == (name, [])


@pytest.mark.parametrize(("name", "written", "codes"), [
    (SHABBAT, SHABBAT.encode(), []),
    (BRICK, BRICK.encode(), []),
    (BRICK, rb"\X2\D83EDDF1\X0\ wall", []),  # UTF-16 pairs, as some programs write
    ("a\ufffdb", rb"a\X2\D83E\X0\b", []),  # half of one
    ("W\u00e4nd \u20ac", "W\u00e4nd \u20ac".encode("cp1252"), ["reading.encoding"]),
    ("a b", b"a\x07b", []),
    ("a b", rb"a\X\0Ab", []),
    ("abc", rb"a\X2\202E\X0\bc", []),
])  # fmt: skip
def test_a_name_as_programs_write_it(name: str, written: bytes, codes: list[str], data: bytes, tmp_path: pathlib.Path) -> None:
    assert named(data, written, tmp_path) == (name, codes)


def test_plain_text_is_not_copied() -> None:
    text = b"ISO-10303-21;\r\n\t'a \\X2\\00E4\\X0\\'"
    assert readable(text)[0] is text


def test_a_label_is_one_short_line() -> None:
    assert label(None) == label("") == ""
    assert label("a\r\nb\u2028c\ud800") == "a b c"
    assert label("n" * 70_000) == "n" * 254 + "…"
    assert label(SHABBAT + BRICK) == SHABBAT + BRICK


@pytest.mark.parametrize("name", [SHABBAT, BRICK, "\u202e<b>\x07\n'", '=1+1,";'])
def test_names_go_through_the_whole_plan(name: str, data: bytes, tmp_path: pathlib.Path, capsys: pytest.CaptureFixture[str]) -> None:
    run: Run = caller(capsys)
    path, out = tmp_path / "named.ifc", tmp_path / "out"
    escaped = name.replace("'", "''").replace("\n", "\\X\\0A")
    path.write_bytes(re.sub(rb"'(NAME|Ground|O|leaf|project)'", b"'" + escaped.encode().replace(b"\\", rb"\\") + b"'", data))
    assert run("plan", path, "-o", out)[0] in (0, 1)
    shown = label(name)
    head = json.loads((out / "summary.json").read_text(encoding="utf-8"))
    assert [(w["name"], w["storey"]) for w in head["walls"]] == [(shown, shown.strip())]
    page = (out / "report.html").read_text(encoding="utf-8")
    assert "<b>\ufffd" not in page and "\u202e" not in page and "\x07" not in page
    for file in out.glob("*.csv"):
        with file.open(newline="", encoding="utf-8") as rows:
            assert len({len(row) for row in csv.reader(rows)}) == 1, file.name
    assert run("audit", out)[0] == 0
    assert run("check", path)[0] in (0, 1)


# ---- the parser


def test_a_statement_that_the_parser_loses_is_told_once(data: bytes, tmp_path: pathlib.Path) -> None:
    path = tmp_path / "lost.ifc"
    path.write_bytes(data.replace(b"=IFCDOOR(", b"=IFCNOSUCHDOOR("))
    _, findings = ifc.read(path)
    told = [f for f in findings if f.code == "reading.form"]
    assert len(told) == 1
    assert "IFCNOSUCHDOOR" in told[0].text
    assert "1 of " in told[0].text
    assert "[" not in told[0].text, "no time of day: equal files give equal sentences"


def test_a_wall_that_the_parser_loses_is_no_silent_loss(data: bytes, tmp_path: pathlib.Path) -> None:
    path = tmp_path / "lost.ifc"
    wall = re.search(rb"#\d+=IFCWALL\((.*)\);", data)
    assert wall is not None
    other = b"#900001=IFCWALX('1kTvXnbbzCWw8lcMd1dR4o'" + wall[1][wall[1].index(b",") :] + b");\n"
    path.write_bytes(data.replace(wall[0], other + wall[0]))
    building, findings = ifc.read(path)
    assert len(building.walls) == 1
    assert [f.severity for f in findings if f.code == "reading.form"] == ["warning"]


def test_the_log_of_another_file_is_not_ours(data: bytes, tmp_path: pathlib.Path) -> None:
    odd, good = tmp_path / "odd.ifc", tmp_path / "good.ifc"
    odd.write_bytes(data.replace(b".AREA.", b".NOSUCH."))
    good.write_bytes(data)
    assert [f.code for f in ifc.read(odd)[1]] == ["reading.form"]
    assert ifc.read(good)[1] == ()


def test_a_file_cut_anywhere_is_one_sentence(data: bytes, tmp_path: pathlib.Path) -> None:
    path = tmp_path / "cut.ifc"
    for i in range(0, len(data) - 20, len(data) // 40):
        path.write_bytes(data[:i])
        with pytest.raises(InputError) as caught:
            ifc.read(path)
        assert "\n" not in str(caught.value)
        assert "cut.ifc" in str(caught.value)


def test_elements_of_one_global_id_are_all_there(tmp_path: pathlib.Path) -> None:
    maker = Maker()
    walls = [maker.plain_wall(2399, 200, 2500, place=maker.placed((0, 3000 * i, 0)), name=f"W{i}") for i in range(3)]
    voids = [maker.opening(wall, maker.box(800, 1600, 0, 2000)) for wall in walls]
    for one in (*walls, *voids):
        one.GlobalId = walls[0].GlobalId
    building, findings = ifc.read(maker.write(tmp_path))
    assert len({w.guid for w in building.walls}) == 3
    assert len({o.key for w in building.walls for o in w.openings}) == 3
    assert [(f.code, f.times) for f in findings if f.severity != "note"] == [("reading.guid", 1)] * 2


def test_a_wall_beyond_all_buildings_is_set_aside(tmp_path: pathlib.Path) -> None:
    maker = Maker(unit="m")
    maker.plain_wall(2399, 0.2, 2.5)
    maker.plain_wall(2.4, 0.2, 2500)
    maker.plain_wall(20, 15, 2.5)
    building, _ = ifc.read(maker.write(tmp_path))
    assert sorted(s.reason.split(",")[0] for s in building.set_aside) == [
        "it is 15 m thick", "it is 2", "it is 2"
    ]  # fmt: skip
    assert all("check the units" in s.reason for s in building.set_aside)
