"""Catalogues: the shipped ones, what they give, how files are refused, and how one is chosen."""

from __future__ import annotations

import json
from collections.abc import Callable
from fractions import Fraction
from math import pi
from pathlib import Path
from typing import Any

import jsonschema  # type: ignore[import-untyped]
import pytest
import yaml
from hypothesis import given
from hypothesis import strategies as st

from wallquant import catalogue
from wallquant.catalogue import Catalogue, Core, Fit, Trough, Unit
from wallquant.strictyaml import YamlError
from wallquant.units import INCH, MM, inches, mm

ROOT = Path(__file__).parents[2]
CMU = ROOT / "tests" / "reference" / "catalogue_cmu_8x8x16.yaml"
US_TEXT = (ROOT / "wallquant" / "catalogues" / "aac-us.yaml").read_text(encoding="utf-8")
LB_KG = 0.45359237  # exact, international yard and pound agreement, 1959
FT3_M3 = 0.3048**3


@pytest.fixture(scope="module")
def metric() -> Catalogue:
    return catalogue.load("aac-metric")


@pytest.fixture(scope="module")
def us() -> Catalogue:
    return catalogue.load("aac-us")


# --- the shipped catalogues -------------------------------------------------------------------------------------------


def test_names() -> None:
    assert catalogue.names() == ("aac-metric", "aac-us")


def test_metric_sizes(metric: Catalogue) -> None:
    """599 x 199 on joints of 1 close the pitch of 600 x 200; 249 + 1 = 250: ten courses 2500 mm (derived)."""
    assert [(f.code, f.length, f.height) for f in metric.faces] == [("600x200", 599 * MM, 199 * MM), ("600x250", 599 * MM, 249 * MM)]
    assert metric.face.length + metric.head_joint.nominal == 600 * MM
    assert metric.face.height + metric.bed.nominal == 200 * MM
    assert 10 * (metric.face_of("600x250").height + metric.bed.nominal) == 2500 * MM
    assert sorted({u.thickness // MM for u in metric.units}) == [100, 150, 200, 240, 300, 365]


def test_us_sizes(us: Catalogue) -> None:
    """IMI Technology Brief 1.1 (2010): 8 x 24 in nominal is 7-7/8 x 23-7/8 in actual, joints 1/16 to 1/8 in."""
    assert (us.face.length, us.face.height) == (inches("23-7/8"), inches("7-7/8"))
    assert (us.head_joint.least, us.head_joint.nominal, us.head_joint.most) == (INCH // 16, INCH // 8, INCH // 8)
    assert 12 * (us.face.height + us.bed.nominal) == 96 * INCH  # coursing: 12 courses are 96.000 in at 1/8 (derived)
    assert 12 * (us.face.height + us.bed.least) == inches("95-1/4")  # and 95.250 at 1/16


def test_levelling_bed(us: Catalogue) -> None:
    """IBC 2104.1.2.1: the starting course's bed is at least 1/4 and at most 3/4 in; 3/8 in is common practice, no source."""
    bed = us.levelling_bed
    assert (bed.least, bed.nominal, bed.most, bed.target) == (INCH // 4, INCH * 3 // 8, INCH * 3 // 4, INCH * 3 // 8)


def test_least_piece_counts_one_joint(metric: Catalogue, us: Catalogue) -> None:
    assert metric.least_actual == 99 * MM
    assert us.least_actual == inches("3-7/8")


def test_three_closers_of_one_unit(us: Catalogue) -> None:
    """Three 7-7/8 in closers and two kerfs are one 23-7/8 in unit where the kerf is 1/8 in at most (derived)."""
    assert 3 * inches("7-7/8") + 2 * us.kerf == us.face.length


@pytest.mark.parametrize("name", ["aac-metric", "aac-us"])
def test_fit(name: str) -> None:
    fit = catalogue.load(name).fit
    quarter, half = Fit(minus=INCH // 4, plus=INCH // 4), Fit(minus=0, plus=INCH // 2)
    assert fit.free_end == quarter
    assert fit.joined_end == Fit(minus=INCH, plus=INCH)
    assert fit.thickness == Fit(minus=INCH // 4, plus=INCH // 2)
    assert fit.top == Fit(minus=INCH // 2, plus=INCH // 2)
    assert fit.head == fit.sill == half
    assert fit.jamb == Fit(minus=0, plus=0)


def test_fit_limits_are_included() -> None:
    fit = Fit(minus=3, plus=5)
    assert [laid for laid in range(90, 120) if fit.holds(drawn=100, laid=laid)] == list(range(97, 106))


UNIT_WEIGHTS = {
    # nominal thickness, in: cubic feet, lb at 37 lb/ft3, lb as delivered (x 1.3)
    "8": (0.8568, 31.7, 41.2),
    "10": (1.0745, 39.8, 51.7),
    "12": (1.2921, 47.8, 62.1),
}


@pytest.mark.parametrize("thickness", UNIT_WEIGHTS)
def test_us_unit_weights(us: Catalogue, thickness: str) -> None:
    """Actual volume x density (derived), at 37 lb/ft3, within the 25 to 50 lb/ft3 of IMI Technology Brief 1.1 (2010)."""
    cubic_feet, dry, delivered = UNIT_WEIGHTS[thickness]
    unit = us.unit(f"std-24x8x{thickness}")
    assert unit.volume_m3 / FT3_M3 == pytest.approx(cubic_feet, abs=5e-5)
    assert unit.mass_dry_kg / LB_KG == pytest.approx(dry, abs=0.05)
    assert us.delivered_kg(unit) / LB_KG == pytest.approx(delivered, abs=0.05)


def test_metric_unit_weight(metric: Catalogue) -> None:
    """A nominal 600 x 200 x 200 mm block of 600 kg/m3 is 14.4 kg dry and 18.7 as delivered; the actual one is 0.7 % lighter."""
    unit = metric.unit("std-600x200x200")
    nominal = 0.6 * 0.2 * 0.2 * metric.density_kg_m3
    assert nominal == pytest.approx(14.4)
    assert unit.mass_dry_kg == pytest.approx(nominal * (599 / 600) * (199 / 200))
    assert metric.delivered_kg(unit) == pytest.approx(18.7, abs=0.2)


def test_thin_bed_mortar_of_the_us_sizes(us: Catalogue) -> None:
    """8 in wall, 1/8 in joints: 1.025 + 0.336 = 1.362 ft3 of thin-bed mortar per 100 ft2 (derived)."""
    unit = us.unit("std-24x8x8")
    long, high = unit.length + us.head_joint.nominal, unit.height + us.bed.nominal
    each = Fraction(unit.thickness * (long * us.bed.nominal + unit.height * us.head_joint.nominal), (12 * INCH) ** 3)
    per_100_ft2 = each * 100 * (12 * INCH) ** 2 / (long * high)
    assert float(per_100_ft2) == pytest.approx(1.362, abs=0.001)


def test_blocks_a_cubic_metre(metric: Catalogue) -> None:
    """600 x 200 x 200 with joints filled takes 41.67 blocks a cubic metre (arithmetic; the trade says 42)."""
    unit = metric.unit("std-600x200x200")
    pitch = (unit.length + metric.head_joint.nominal) * (unit.height + metric.bed.nominal) * unit.thickness / 1e27
    assert 1 / pitch == pytest.approx(41.67, abs=0.005)


def test_core_units(metric: Catalogue, us: Catalogue) -> None:
    """Corner cores sit half the thickness from the unit's end; 100 mm with a 25 mm web leaves no room in a 100 mm unit."""
    (unit,) = metric.of_kind("core", 200 * MM)
    assert unit.cores == (Core(station=100 * MM, diameter=100 * MM),)
    assert unit.solid_m3 == pytest.approx(unit.volume_m3 - pi / 4 * 0.1**2 * 0.199)
    assert metric.of_kind("core", 100 * MM) == ()
    assert us.of_kind("core", inches("3-7/8")) == ()
    assert us.of_kind("core", inches("7-7/8"))[0].cores[0].diameter == 4 * INCH
    assert us.of_kind("core", inches("5-7/8"))[0].cores[0].diameter == 3 * INCH


def test_drilled_core_volume(us: Catalogue) -> None:
    """A 4 in core holds 0.0873 ft3 a foot, a 3 in core 0.0491 (geometry)."""
    for thickness, wanted in (("7-7/8", 0.0873), ("5-7/8", 0.0491)):
        (unit,) = us.of_kind("core", inches(thickness))
        hole = unit.volume_m3 - unit.solid_m3
        assert hole / FT3_M3 / (unit.height / (12 * INCH)) == pytest.approx(wanted, abs=5e-5)


def test_u_unit_trough(metric: Catalogue) -> None:
    """Flanges and base of 50 in a 200 wall: trough 100 x 149, 14.9 litres a metre (derived)."""
    (unit,) = metric.of_kind("U", 200 * MM)
    assert unit.trough == Trough(width=100 * MM, depth=149 * MM)
    assert (unit.volume_m3 - unit.solid_m3) * 1000 / 0.599 == pytest.approx(14.9)
    assert metric.of_kind("U", 100 * MM) == ()


def test_lintels_by_length(metric: Catalogue, us: Catalogue) -> None:
    assert [u.length // MM for u in metric.of_kind("lintel", 200 * MM)] == [1000, 1250, 1500, 1750, 2000, 2250, 2500, 2750, 3000]
    assert {u.height for u in metric.of_kind("lintel", 200 * MM, metric.face_of("600x250"))} == {249 * MM}
    assert [u.length + INCH // 8 for u in us.of_kind("lintel", inches("7-7/8"))] == [n * 12 * INCH for n in range(3, 13)]


def test_every_number_has_a_source(us: Catalogue) -> None:
    assert us.source("fit.thickness.plus") == us.sources["fit.thickness"]
    assert us.source("series.u.flange") == us.sources["series.u"]
    assert us.source("nothing.of.it") is None
    mortar = us.source("mortar.thin_bed.yield_l")
    assert mortar is not None
    assert mortar.basis == "project"
    assert "common practice, no source" in mortar.text


def test_unit_codes_are_single_words(metric: Catalogue, us: Catalogue) -> None:
    for one in (metric, us, catalogue.load(CMU)):
        codes = [u.code for u in one.units]
        assert len(set(codes)) == len(codes)
        assert not any(c.isspace() or c == ";" for code in codes for c in code)


# --- the test catalogue of the handbook examples ----------------------------------------------------------------------


def test_concrete_block_of_the_handbooks() -> None:
    """NAVEDTRA 14045 (1997), ch. 4: 1.125 blocks 8 x 8 x 16 a square foot; 100 x 10 ft take 75 x 15 = 1,125."""
    cmu = catalogue.load(CMU)
    long, high = cmu.face.length + cmu.head_joint.nominal, cmu.face.height + cmu.bed.nominal
    assert (long, high) == (16 * INCH, 8 * INCH)
    assert Fraction(144 * INCH * INCH, long * high) == Fraction(9, 8)
    assert (1200 * INCH // long) * (120 * INCH // high) == 1125
    unit = cmu.standard(8 * INCH)
    assert unit is not None
    assert unit.thickness == inches("7-5/8")


# --- choosing units ---------------------------------------------------------------------------------------------------


def test_standard_takes_the_nearest_within_tolerance(metric: Catalogue, us: Catalogue) -> None:
    def laid(one: Catalogue, drawn: int) -> int | None:
        unit = one.standard(drawn)
        return unit.thickness if unit else None

    assert laid(us, mm("152.4")) == mm("149.225")  # a 6 in wall is drawn 152.4 and laid 149.225
    assert laid(metric, 200 * MM) == 200 * MM
    assert laid(metric, 200 * MM + INCH // 4) == 200 * MM  # the limits are included
    assert laid(metric, 200 * MM + INCH // 4 + 1) is None
    assert laid(metric, 200 * MM - INCH // 2) == 200 * MM
    assert laid(metric, 200 * MM - INCH // 2 - 1) is None


def test_of_two_equally_near_the_thinner() -> None:
    text = US_TEXT.replace('"10": 9-7/8 in', '"10": 8-1/8 in')
    one = catalogue.read(text, "x.yaml")
    unit = one.standard(8 * INCH)
    assert unit is not None
    assert unit.thickness == inches("7-7/8")


def test_virtual_units(metric: Catalogue) -> None:
    unit = metric.virtual(mm("152.4"))
    assert (unit.code, unit.thickness, unit.length, unit.virtual) == ("any-152.4", mm("152.4"), 599 * MM, True)
    assert metric.of_kind("standard", mm("152.4")) == (unit,)
    lintels = metric.of_kind("lintel", mm("152.4"))
    assert [u.length for u in lintels] == [u.length for u in metric.of_kind("lintel", 200 * MM)]
    assert all(u.virtual and u.thickness == mm("152.4") for u in lintels)
    (trough,) = (u.trough for u in metric.of_kind("U", mm("152.4")))
    assert trough == Trough(width=mm("52.4"), depth=149 * MM)
    wider = metric.including([unit, *lintels])
    assert wider.unit("any-152.4") == unit
    assert len(wider.units) == len(metric.units) + 10
    assert wider.including([unit]) == wider


def test_lintels_made_to_measure(metric: Catalogue) -> None:
    """Nobody stocks them, so only a catalogue that allows it has one of any size; steel counts as in the stock ones."""
    wanted = metric.lintel(mm("3406.4"), 199 * MM, 300 * MM)
    assert (wanted.code, wanted.virtual, wanted.kind) == ("any-lintel-3406.4x199x300", True, "lintel")
    assert wanted.density_kg_m3 == metric.of_kind("lintel", 300 * MM)[0].density_kg_m3
    with pytest.raises(ValueError, match="has no unit"):
        metric.unit(wanted.code)
    allowed = metric.model_copy(update={"to_measure": True})
    assert allowed.unit(wanted.code) == wanted
    with pytest.raises(ValueError, match="has no unit"):
        allowed.unit("any-lintel-3406.4")


def test_unknown_codes_are_sentences(metric: Catalogue) -> None:
    with pytest.raises(ValueError, match=r"aac-metric has no unit 'std600x250x365'; did you mean 'std-600x250x365'\?"):
        metric.unit("std600x250x365")
    with pytest.raises(ValueError, match=r"aac-metric has no face '8x24'; known here: 600x200, 600x250"):
        metric.face_of("8x24")


# --- choosing a catalogue ---------------------------------------------------------------------------------------------


def test_choose_by_area_then_unit_then_name(metric: Catalogue, us: Catalogue) -> None:
    both = [metric, us]
    only_metric, only_us, either = 365 * MM, 10 * INCH, 200 * MM
    assert catalogue.choose(both, [(only_metric, 10.0), (only_us, 9.0), (either, 99.0)], "ft") is metric
    assert catalogue.choose(both, [(only_metric, 9.0), (only_us, 10.0), (either, 99.0)], "mm") is us
    assert catalogue.choose(both, [(either, 10.0)], "mm") is metric
    assert catalogue.choose(both, [(either, 10.0)], "ft") is us
    nothing_fits = [(mm("55"), 10.0)]
    assert catalogue.choose(both, nothing_fits, "mm") is metric
    assert catalogue.choose(both, nothing_fits, "FOOT") is us
    assert catalogue.choose(both, [], "in") is us
    other = metric.model_copy(update={"code": "aaa"})
    assert catalogue.choose([metric, other], nothing_fits, "m").code == "aaa"
    with pytest.raises(ValueError, match="no catalogue to choose from"):
        catalogue.choose([], [], "mm")


@given(st.lists(st.tuples(st.sampled_from([mm(100), mm("152.4"), mm(200), mm(240), mm(254), mm(365)]), st.floats(0, 1e3))), st.randoms())
def test_choice_depends_on_no_order(walls: list[tuple[int, float]], random: Any) -> None:
    both = [catalogue.load("aac-metric"), catalogue.load("aac-us")]
    first = catalogue.choose(both, walls, "mm").code
    random.shuffle(walls)
    assert catalogue.choose(both[::-1], walls, "mm").code == first


# --- files that are not as they should be -----------------------------------------------------------------------------

WRONG: dict[tuple[str, str], str] = {
    ("kerf: 1/8 in", "kerf: 3"): "us.yaml:29:7: kerf: a length needs its unit; write '3 mm', or like '7-7/8 in'",
    ("kerf: 1/8 in", "kerf: 3 furlong"): (
        "us.yaml:29:7: kerf: '3 furlong' is no length; write a number with its unit, like '199 mm', '7-7/8 in' or '6 ft 8 in'"
    ),
    ("kerf: 1/8 in", "kerf: -1 mm"): "us.yaml:29:7: kerf: '-1 mm' is to be at least 0",
    ("kerf: 1/8 in", "kerf:"): "us.yaml:29:6: kerf: a length needs its unit; write '199 mm', or like '7-7/8 in'",
    ("kerf: 1/8 in", "kerff: 3 mm"): "us.yaml:29:1: kerff: is no known key; did you mean 'kerf'? (and 1 more in this file)",
    ("code: 24x8", "code: 24 by 8"): (
        "us.yaml:9:12: faces[0].code: '24 by 8' does not do here; write the nominal length and height, like '600x200'"
    ),
    ("title: Core unit", "title: no"): (
        "us.yaml:50:12: series[1].title: no without quotes is text or false; write 'no' in quotes, or false"
    ),
    ("title: Core unit", "title: 5"): "us.yaml:50:12: series[1].title: '5' is to be text; write it in quotes",
    ("kind: core", "kind: Core"): (
        "us.yaml:51:11: series[1].kind: 'Core' is not among the choices; write 'standard', 'core', 'U' or 'lintel'"
    ),
    ("web: 1 in", "web: 1 in\n    web: 2 in"): "us.yaml:55:5: series[1].web: is written twice, first in line 54; keep one",
    ('thicknesses: ["6"]', 'thicknesses: ["7"]'): (
        "us.yaml:52:18: series[1].thicknesses: no thickness is named '7'; known here: 4, 6, 8, 10, 12"
    ),
    ("    flange: 2 in\n", ""): "us.yaml:63:5: series[3]: a series of kind U needs its 'flange' and 'base'; add them",
    ("    core_diameter: 3 in\n", ""): "us.yaml:49:5: series[1]: a series of kind core needs its 'core_diameter'; add it",
    ("    kind: U\n", "    kind: standard\n"): (
        "us.yaml:63:5: series[3]: a series of kind standard has no trough; take 'flange' and 'base' out, or write kind: U"
    ),
    ("    kind: core\n", "    kind: standard\n"): (
        "us.yaml:49:5: series[1]: a series of kind standard has no cores; take 'core_diameter' out, or write kind: core"
    ),
    ("bed: {least: 1/16 in", "bed: {least: 1/2 in"): "us.yaml:12:6: bed: least, nominal and most are to rise; sort them",
    ("target: 3/8 in", "target: 1 in"): "us.yaml:14:16: levelling_bed: target is to lie between least and most",
    ("least_piece: 4 in", "least_piece: 1/8 in"): ("us.yaml:26:14: least_piece: counts one head joint and is to be more than it"),
    ("delivered_factor: 1.3", "delivered_factor: 0.3"): "us.yaml:32:19: delivered_factor: '0.3' is to be at least 1",
    ('"6": 64', '"6": 64.5'): "us.yaml:48:28: series[0].pallet.6: '64.5' is to be a whole number, without quotes",
    ("  kerf: {basis: project, text: the saw in use}\n", ""): (
        "us.yaml:77:3: sources: does not say where kerf comes from; add 'kerf: {basis: project}' or its source"
    ),
    ("  kerf: {basis", "  kerv: {basis"): "us.yaml:95:3: sources.kerv: is the source of no number; did you mean 'kerf'?",
    ("    kind: standard\n", "    kind: lintel\n    lengths: {x: 1 m}\n"): "us.yaml:45:3: series: has no standard unit; add one",
}


@pytest.mark.parametrize("change", WRONG)
def test_a_wrong_file_is_one_sentence(change: tuple[str, str]) -> None:
    old, new = change
    assert old in US_TEXT
    with pytest.raises(YamlError) as caught:
        catalogue.read(US_TEXT.replace(old, new, 1), "us.yaml")
    assert str(caught.value) == WRONG[change]


def test_two_units_of_one_code_are_refused() -> None:
    text = US_TEXT.replace('thicknesses: ["8", "10", "12"]', 'thicknesses: ["6", "8"]').replace("code: core4", "code: core")
    text = text.replace("  series.core4: {basis: project, text: drilled half the thickness from one end}\n", "")
    with pytest.raises(YamlError, match="makes the unit code core-24x8x6 twice; give one of the series another code"):
        catalogue.read(text.replace("core_diameter: 4 in\n    web: 1 in", "core_diameter: 3 in\n    web: 1 in"), "us.yaml")


SINGLE = "\nunits:\n  - {code: corner, title: Corner, kind: core, length: 600 mm, height: 199 mm, thickness: 200 mm, density_kg_m3: 600"
UNITS_WRONG = {
    "}": "a core unit needs at least one core; add 'cores'",
    ", cores: [{station: 40 mm, diameter: 100 mm}]}": "a core does not lie inside the unit; move it or make it smaller",
    ", cores: [{station: 100 mm, diameter: 100 mm, offset: 51 mm}]}": "a core does not lie inside the unit; move it or make it smaller",
    ", cores: [{station: 100 mm, diameter: 100 mm}], trough: {width: 20 mm, depth: 20 mm}}": (
        "a unit has cores or a trough, not both; take one out"
    ),
}


@pytest.mark.parametrize("rest", UNITS_WRONG)
def test_wrong_single_units(rest: str) -> None:
    with pytest.raises(YamlError) as caught:
        catalogue.read(US_TEXT + SINGLE + rest, "us.yaml")
    assert caught.value.path == "units[0]"
    assert caught.value.problem == UNITS_WRONG[rest]


def test_a_single_unit_is_listed_with_the_series() -> None:
    text = US_TEXT + "  units: {basis: project}" + SINGLE + ", cores: [{station: 100 mm, diameter: 100 mm, offset: -50 mm}]}\n"
    one = catalogue.read(text, "us.yaml")
    assert one.unit("corner").cores == (Core(station=100 * MM, diameter=100 * MM, offset=-50 * MM),)
    assert len(one.units) == len(catalogue.load("aac-us").units) + 1


@pytest.mark.parametrize("trough", [Trough(width=200, depth=10), Trough(width=10, depth=200)])
def test_a_trough_leaves_something(trough: Trough) -> None:
    with pytest.raises(ValueError, match="the trough is as large as the unit"):
        Unit(code="u", title="", kind="U", length=600, height=200, thickness=200, trough=trough, density_kg_m3=1)


def test_load_from_a_file_and_of_nothing(tmp_path: Path) -> None:
    file = tmp_path / "mine.yaml"
    file.write_text(US_TEXT.replace("code: aac-us", "code: mine"), encoding="utf-8")
    assert catalogue.load(file).code == "mine"
    assert catalogue.load(str(file)).code == "mine"
    with pytest.raises(ValueError, match=r"there is no catalogue 'aac'; write one of aac-metric, aac-us, or the path of a YAML file"):
        catalogue.load("aac")


# --- JSON Schema ------------------------------------------------------------------------------------------------------


def test_committed_schema_is_the_models() -> None:
    file = ROOT / "schemas" / "catalogue.schema.json"
    assert json.loads(file.read_text(encoding="utf-8")) == catalogue.schema()


def _drop(key: str) -> Callable[[dict[str, Any]], object]:
    return lambda data: data.pop(key)


@pytest.mark.parametrize("file", [*sorted((ROOT / "wallquant" / "catalogues").glob("*.yaml")), CMU], ids=lambda f: f.stem)
def test_shipped_files_match_the_schema_and_broken_ones_do_not(file: Path) -> None:
    schema = catalogue.schema()
    jsonschema.Draft202012Validator.check_schema(schema)
    valid = jsonschema.Draft202012Validator(schema)
    text = file.read_text(encoding="utf-8")
    valid.validate(yaml.safe_load(text))
    breaks: list[Callable[[dict[str, Any]], object]] = [
        _drop("kerf"),
        lambda data: data.update(extra=1),
        lambda data: data.update(kerf=3),
        lambda data: data["faces"][0].update(code="24 by 8"),
        lambda data: data["series"][0].update(kind="other"),
    ]
    for spoil in breaks:
        data = yaml.safe_load(text)
        spoil(data)
        assert not valid.is_valid(data)
