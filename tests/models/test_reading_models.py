"""Reading real models, made by people and programs that know nothing of this project.

The models are not part of the project: they are looked for in ``shared/open_models`` beside it, and the tests are skipped where
they are not.  Volumes, levels and thicknesses are checked against those measured with the OpenCASCADE kernel of ifcopenshell
(``kernel_volumes/*.csv``: openings not cut, openings cut).
"""

from __future__ import annotations

import csv
import functools
import pathlib
import random
from itertools import pairwise
from math import pi, radians

import pytest

from wallquant.building import Building, Wall
from wallquant.findings import Finding
from wallquant.importers import InputError, ifc
from wallquant.units import MM

NAMES = ("O1", "O2", "O3", "O4", "O5", "O6", "O7a", "O7b", "O8", "O9", *(f"O{i}" for i in range(10, 19)))
WHOLE = NAMES
"""Models of which every wall is read."""


UNSOUND = {
    # a strip of one face, 8955 x 321.093 at 145 from the middle, is there twice: the sum over all faces is 5.371816 m3, a third of
    # strip x 145 too much; the kernel says 5.347 without and 5.109 with openings, though these are cut out of the body already
    "3cUkl32yn9qRSPvBJVyWy4": 5.371816 - 8.955 * 0.321093 * 0.145 / 3,
    # the faces do not all look outward, so that the kernel's sum is 9.042 m3: 16966 x 2900 x 550 less two hollows 4160 x 2595 x 57
    "2O2Fr$t4X7Zf8NOew3FKau": 16.966 * 2.9 * 0.55 - 2 * 4.16 * 2.595 * 0.057,
    # a frame of studs and panels without a body, which the kernel gives nothing for: its outline 12 ft x 10 ft, 3.5 + 2 x 0.5 in
    # thick, less the doorway of 32 x 80 in and the window of 36 x 48 in
    "2ucZRLBGP4uxZW$9i1VAZ8": (144 * 120 - 32 * 80 - 36 * 48) * 4.5 * 0.0254**3,
}
"""Bodies that the kernel cannot weigh, with their net volumes by hand, m3."""

CURVED = {
    # three straight stretches and two arcs of radius 885.785 through 63.58 degrees, 2.8 high, a door of 800 x 2100; the kernel fails
    "3zGI8i6SCHv99C093rt3ko": (2 * 0.854161 + 1.135268 + 2 * 0.885785 * radians(63.5797)) * 0.2 * 2.8 - 0.8 * 2.1 * 0.2,
    # a half circle of radius 1000 between two stretches of 1250, 2.66 high; the kernel's chords are 0.4 % short
    "3zNWjE6SCHv99C093rt3ko": (2 * 1.25 + pi) * 0.2 * 2.66,
}
"""Curved walls, with their net volumes by hand from the radii and angles in the file, m3."""


def folder() -> pathlib.Path:
    for parent in pathlib.Path(__file__).resolve().parents:
        found = parent / "shared" / "open_models"
        if found.is_dir():
            return found
    pytest.skip("the open models are not here")


def path_of(name: str) -> pathlib.Path:
    return next(folder().glob(f"{name}_*.ifc"))


@functools.cache
def model(name: str) -> tuple[Building, tuple[Finding, ...]]:
    return ifc.read(path_of(name))


def kernel(name: str) -> dict[str, dict[str, float]]:
    path = path_of(name)
    with (path.parent / "kernel_volumes" / f"{path.stem}.csv").open(newline="") as file:
        return {row["guid"]: {k: float(v or 0) for k, v in row.items() if k not in ("guid", "class")} for row in csv.DictReader(file)}


def void_m3(wall: Wall) -> float:
    return wall.finish_voids_m3 + sum(
        o.volume_m3 if o.volume_m3 is not None else (o.end - o.start) * (o.head - o.sill) * wall.thickness * 1e-27 for o in wall.openings
    )


def profile_m2(wall: Wall) -> float:
    return sum((s2 - s1) * (z1 + z2 - 2 * wall.bottom) / 2 for (s1, z1), (s2, z2) in pairwise(wall.top)) * 1e-18


def cut_m2(name: str, wall: Wall) -> float:
    """What openings cut off a wall's top, as the findings say."""
    return sum(float(f.measured.split()[0]) for f in model(name)[1] if f.code == "reading.opening-is-top" and f.place.wall == wall.guid)


@pytest.mark.parametrize("name", NAMES)
def test_nothing_is_lost(name: str) -> None:
    building, findings = model(name)
    manifest = {row["file"].split("_")[0]: row for row in csv.DictReader((folder() / "MANIFEST.csv").open(newline=""))}
    assert len({w.element or w.guid for w in building.walls}) + len(building.set_aside) == int(manifest[name]["walls"])
    assert building.ifc_schema == manifest[name]["schema"]
    assert building.unit == {"METRE": "m", "MILLIMETRE": "mm", "FOOT": "ft", "inch": "in"}[manifest[name]["length_unit"]]
    assert sorted(s.guid for s in building.set_aside) == sorted(f.place.wall for f in findings if f.code == "reading.set-aside")
    codes = ("reading.opening-dropped", "reading.openings-overlap", "reading.opening-is-top")
    told = {f.place.opening for f in findings if f.code in codes}
    kept = {o.key.split("#")[0] for w in building.walls for o in w.openings if "/hole" not in o.key} | {
        k for s in building.set_aside for k in s.openings
    }
    assert len(kept | told) == int(manifest[name]["openings"])
    if name in WHOLE:
        assert not building.set_aside


@pytest.mark.parametrize("name", NAMES)
def test_volumes_agree_with_the_kernel(name: str) -> None:
    measured = kernel(name)
    parts: dict[str, list[Wall]] = {}
    for wall in model(name)[0].walls:
        parts.setdefault(wall.element or wall.guid, []).append(wall)
    for guid, walls in parts.items():
        # an opening that is the top's outline is no hole in what counts as drawn
        row, net = measured[guid], sum(w.drawn_m3 - void_m3(w) for w in walls)
        if guid in UNSOUND:
            assert net == pytest.approx(UNSOUND[guid], rel=1e-5), guid
            continue
        if guid in CURVED:
            assert net == pytest.approx(CURVED[guid], rel=1e-3), guid
            assert net == pytest.approx(row["net_m3"], rel=1e-2) or not row["net_m3"], guid
            continue
        baked = row["gross_m3"] == row["net_m3"]  # the body is drawn with its holes cut out, or has none
        gross = (net if baked else sum(w.drawn_m3 for w in walls)) + sum(cut_m2(name, w) * w.thickness * 1e-9 for w in walls)
        assert gross == pytest.approx(row["gross_m3"], rel=1e-3), guid
        assert net == pytest.approx(row["net_m3"], rel=1e-3), guid


@pytest.mark.parametrize("name", NAMES)
def test_levels_and_thickness_agree_with_the_kernel(name: str) -> None:
    measured = kernel(name)
    for wall in model(name)[0].walls:
        row = measured[wall.element or wall.guid]
        if not row["length_m"]:
            assert wall.element in CURVED or name == "O16", wall.guid  # the kernel makes nothing of it
            continue
        assert wall.bottom / MM / 1000 == pytest.approx(row["bottom_m"], abs=1e-3), wall.guid
        highest = max(level for _, level in wall.top) / MM / 1000
        if wall.set_aside_m3 or cut_m2(name, wall):
            assert highest < row["top_m"] + 1e-3, wall.guid
        else:
            assert highest == pytest.approx(row["top_m"], abs=1e-3), wall.guid
        assert wall.length / MM / 1000 <= row["length_m"] + 1e-3, wall.guid
        battered = wall.set_aside_m3 > 0.1 * wall.drawn_m3
        if row["length_m"] > 2 * row["thickness_m"] and not battered:  # the kernel's is the shorter side of the body's box
            # two party walls of O4 are cut back along a whole face by planes that leave slivers in the kernel's result
            drawn = row["thickness_m"]
            if wall.element:
                assert wall.thickness / MM / 1000 < drawn, wall.guid
            elif wall.finishes_m3:  # the layer that is laid: its share of the thickness is its share of the volume
                share = 1 - (wall.finishes_m3 + wall.finish_voids_m3) / (wall.drawn_m3 - wall.set_aside_m3)
                assert wall.thickness / MM / 1000 == pytest.approx(drawn * share, rel=0.02), wall.guid
            else:
                assert wall.thickness / MM / 1000 == pytest.approx(drawn, abs=6e-2 if name == "O4" else 1e-3), wall.guid


@pytest.mark.parametrize("name", NAMES)
def test_records_are_sound(name: str) -> None:
    building, _ = model(name)
    keys = [o.key for w in building.walls for o in w.openings] + [k for s in building.set_aside for k in s.openings]
    assert len(set(keys)) == len(keys)
    storeys = {s.name for s in building.storeys} | {""}
    assert [w.guid for w in building.walls] == sorted({w.guid for w in building.walls})
    for wall in building.walls:
        assert wall.storey in storeys
        assert (wall.top[0][0], wall.top[-1][0]) == (0, wall.length)
        assert all(a[0] <= b[0] for a, b in pairwise(wall.top))
        assert all(level >= wall.bottom for _, level in wall.top)
        assert wall.thickness > 0
        assert len(wall.footprint) >= 4
        peak = max(level for _, level in wall.top)
        for i, one in enumerate(wall.openings):
            assert 0 <= one.start < one.end <= wall.length
            assert wall.bottom <= one.sill < one.head <= peak
            for other in wall.openings[:i]:
                assert (
                    min(one.end, other.end) - max(one.start, other.start) < MM or min(one.head, other.head) - max(one.sill, other.sill) < MM
                )
        # what is drawn is the layable profile by the thickness and what is set aside; a notch of a junction is laid but not drawn
        whole = profile_m2(wall) * wall.thickness * 1e-9 + wall.set_aside_m3 + wall.finishes_m3 + wall.finish_voids_m3
        # (O14); a raked top over a mitred end (O2) makes the mean end and the mean of the body differ a little
        assert wall.drawn_m3 == pytest.approx(whole, rel={"O14": 0.05, "O2": 0.01}.get(name, 1e-3)), wall.guid
        assert bool(wall.reasons) == (wall.set_aside_m3 > 0)
    for aside in building.set_aside:
        assert aside.reason
        assert aside.area_m2 > 0 or not aside.footprint


@pytest.mark.parametrize(("name", "least"), [("O5", 0.9), ("O6", 1.0), ("O9", 1.0), ("O17", 1.0)])
def test_the_share_that_can_be_laid(name: str, least: float) -> None:
    building, _ = model(name)
    laid = sum(profile_m2(w) for w in building.walls)
    assert laid >= least * (laid + sum(s.area_m2 for s in building.set_aside) + sum(w.set_aside_m2 for w in building.walls))


def test_a_face_that_leans_is_read_with_its_batter() -> None:
    """Two walls of O3 are battered: their largest part of one thickness, and how far a face reaches beyond it at their foot."""
    battered = [w for w in model("O3")[0].walls if w.batter]
    assert sorted(w.guid for w in battered) == ["2S8PiWcbHBVvIkcplDcB88", "3WaiJWBPDEe8oyz6tpSAJn"]
    for wall in battered:
        foot = wall.thickness + max(max(right, left) for _, right, left in wall.batter)
        assert foot / MM / 1000 == pytest.approx(kernel("O3")[wall.guid]["thickness_m"], abs=0.001)
        triangle = max(wall.batter[0][1:]) * wall.batter[-1][0] / 2 * wall.length / 1e27
        assert wall.set_aside_m3 == pytest.approx(triangle, rel=0.15)  # openings, a leaning end and a leaning top make the difference


@pytest.mark.parametrize("name", ["O19", "O20"])
def test_files_that_cannot_serve(name: str) -> None:
    with pytest.raises(InputError) as caught:
        model(name)
    assert path_of(name).name in str(caught.value)
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize("name", ["O2", "O7a"])
def test_the_order_of_the_file_does_not_matter(name: str, tmp_path: pathlib.Path) -> None:
    text = path_of(name).read_text("latin-1")
    head, rest = text.split("DATA;", 1)
    data, tail = rest.rsplit("ENDSEC;", 1)
    statements = [s for s in data.split(";\n" if ";\n" in data else ";\r\n") if s.strip()]
    random.Random(1).shuffle(statements)
    shuffled = tmp_path / path_of(name).name
    shuffled.write_text(head + "DATA;\n" + ";\n".join(s.strip() for s in statements) + ";\nENDSEC;" + tail, "latin-1")
    assert ifc.read(shuffled) == model(name)
