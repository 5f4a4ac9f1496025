"""Walls to corners and runs: what joins, what stays apart, which run goes first, and what cannot be laid.

The geometry is arithmetic from the figures of each test; where runs join is the drawing habit of the trade (common practice, no source).
"""

from __future__ import annotations

import random
from dataclasses import replace
from itertools import pairwise
from math import cos, radians, tan

import pytest

from tests.unit.laid_house import turned, wall
from wallquant import catalogue as catalogues
from wallquant import graph
from wallquant.building import Building, Opening, Wall
from wallquant.findings import Finding
from wallquant.graph import Network, level_at
from wallquant.layout import Corner, Junction, Run
from wallquant.units import MM

BOOK = catalogues.load("aac-metric")


def built(*walls: Wall, any_thickness: bool = False) -> tuple[Network, tuple[Finding, ...]]:
    return graph.build(Building(walls=walls), BOOK, any_thickness=any_thickness)


def network(*walls: Wall) -> Network:
    net, findings = built(*walls)
    assert not findings
    assert not net.set_aside
    return net


def met(net: Network) -> list[Corner]:
    """Return the corners that are no free ends."""
    return [c for c in net.corners if c.kind != "end"]


def run_of(net: Network, name: str) -> Run:
    return next(r for r in net.runs if any(p.wall == name for p in r.parts))


def junction(net: Network, name: str, corner: str) -> Junction:
    return next(j for j in run_of(net, name).junctions if j.corner == corner)


# one line


def test_walls_that_touch_in_one_line_are_one_run() -> None:
    net = network(wall("A", (0, 0), (3000, 0)), wall("B", (5000, 0), (3000, 0), height=1200, openings=[(200, 900, 0, 800)]))
    (run,) = net.runs
    assert [(p.wall, p.start, p.end, p.reverse) for p in run.parts] == [("A", 0, 3000 * MM, False), ("B", 3000 * MM, 5000 * MM, True)]
    assert run.top == ((0, 2400 * MM), (3000 * MM, 2400 * MM), (3000 * MM, 1200 * MM), (5000 * MM, 1200 * MM))
    (hole,) = run.openings
    assert (hole.start, hole.end) == (4100 * MM, 4800 * MM)  # B is drawn from its far end
    assert [c.kind for c in net.corners] == ["end", "end"]


def test_a_gap_beyond_the_joined_end_keeps_walls_apart() -> None:
    near, far = 25, 27  # the tolerance is an inch
    assert len(network(wall("A", (0, 0), (3000, 0)), wall("B", (3000 + near, 0), (5000, 0))).runs) == 1
    assert len(network(wall("A", (0, 0), (3000, 0)), wall("B", (3000 + far, 0), (5000, 0))).runs) == 2


def test_walls_on_both_faces_of_another_run_through_it() -> None:
    net = network(wall("A", (0, 0), (6000, 0)), wall("B", (3000, -2000), (3000, -100)), wall("C", (3000, 100), (3000, 2000)))
    assert [p.wall for p in run_of(net, "B").parts] == ["B", "C"]
    (corner,) = met(net)
    assert corner.kind == "X"


def test_walls_of_two_thicknesses_in_one_line_meet_end_to_end() -> None:
    net = network(wall("A", (0, 0), (3000, 0)), wall("B", (3000, 0), (5000, 0), thickness=150))
    (corner,) = met(net)
    assert corner.runs == (run_of(net, "A").name, run_of(net, "B").name)  # the thicker one goes first
    assert not corner.bondable
    first, second = junction(net, "A", corner.name), junction(net, "B", corner.name)
    assert first.goes_first and first.taken is None
    assert second.taken is not None and second.taken[1] == 0


# corners


def test_l_corner() -> None:
    net = network(wall("A", (0, 100), (3000, 100)), wall("B", (100, 200), (100, 2400)))
    (corner,) = met(net)
    assert (corner.kind, corner.at, corner.bondable) == ("L", (100 * MM, 100 * MM), True)
    a, b = run_of(net, "A"), run_of(net, "B")
    assert corner.runs == (a.name, b.name)  # of one height and thickness the longer goes first
    assert (a.length, b.length) == (2900 * MM, 2300 * MM)  # from the crossing of the axes
    assert a.parts[0].start == -100 * MM and b.parts[0].start == 100 * MM
    here = junction(net, "A", corner.name)
    assert (here.role, here.station, here.thickness, here.top, here.turn) == ("start", 0, 200 * MM, 2400 * MM, pytest.approx(90))


@pytest.mark.parametrize(("gap", "kinds"), [(0, {"L", "end"}), (25, {"L", "end"}), (-30, {"L", "end"}), (40, {"end"})])
def test_ends_meet_within_an_inch(gap: float, kinds: set[str]) -> None:
    net = network(wall("A", (0, 100), (3000, 100)), wall("B", (100, 200 + gap), (100, 2400)))
    assert {c.kind for c in net.corners} == kinds


def test_a_stub_shorter_than_the_least_piece_makes_no_t() -> None:
    def kind(over: float) -> str:
        (corner,) = met(network(wall("A", (-over, 100), (3000, 100)), wall("B", (100, 200), (100, 2400))))
        return corner.kind

    assert kind(99) == "L"  # what sticks out is less than 100 and cannot be laid
    assert kind(101) == "T"


def test_t_corner_goes_through_first() -> None:
    net = network(wall("A", (0, 100), (2000, 100)), wall("B", (1000, 200), (1000, 8000), height=2600))
    (corner,) = met(net)
    assert corner.kind == "T"
    assert corner.runs == (run_of(net, "A").name, run_of(net, "B").name)  # though the stem is longer and taller
    assert [j.role for j in run_of(net, "A").junctions] == ["start", "through", "end"]
    stem = junction(net, "B", corner.name)
    assert (stem.role, stem.other_role, stem.goes_first) == ("start", "through", False)


def test_corners_of_other_levels_or_units_are_not_bondable() -> None:
    for other in (wall("B", (100, 200), (100, 2400), bottom=300), wall("B", (100, 200), (100, 2400), bottom=2)):
        (corner,) = met(network(wall("A", (0, 100), (3000, 100)), other))
        assert corner.kind == "L" and not corner.bondable
    assert not met(network(wall("A", (0, 100), (3000, 100)), wall("B", (100, 200), (100, 2400), bottom=2400)))


def test_corners_too_near_to_each_other_are_tied() -> None:
    """Between the faces of two crossing walls a joint, the least piece of 99 and a joint are needed: 101."""

    def tied(clear: float) -> bool:
        at = 200 + clear + 100
        net = network(wall("A", (0, 100), (6000, 100)), wall("B", (100, 200), (100, 3000)), wall("S", (at, 200), (at, 3000)))
        return not next(c for c in met(net) if c.kind == "T").bondable

    assert tied(99)
    assert not tied(101)


def test_three_runs_at_one_corner_stop_clear_of_each_other() -> None:
    net = network(wall("A", (0, 0), (3000, 0)), wall("B", (0, 0), (0, 3000)), wall("D", (0, 0), (-3000, 0), thickness=150))
    (corner,) = met(net)
    assert len(corner.runs) == 3 and not corner.bondable
    first = junction(net, "B", corner.name)
    assert first.goes_first and first.taken is None
    assert junction(net, "A", corner.name).taken[1] == 100 * MM  # half of B
    assert junction(net, "D", corner.name).taken[0] == 2900 * MM


def test_angled_corner_is_mitred() -> None:
    """A turn of 45 degrees: the plane leans by 100 x tan 22.5, and half of a joint of 1 is 0.5 / cos 22.5 along the axis."""
    net = network(wall("A", (0, 0), (3000, 0)), wall("B", (3000, 0), (5000, 2000)))
    (corner,) = met(net)
    assert corner.kind == "angled" and corner.bondable
    one, two = (junction(net, name, corner.name) for name in "AB")
    assert one.plane is not None and two.plane is not None and one.plane.shared and not one.loose
    lean, half = 100 * tan(radians(22.5)), 0.5 / cos(radians(22.5))
    # B goes to the left of A: the left side is the inner one, shorter at A's end, and begins later at B's start
    assert one.plane.lean / MM == pytest.approx(-lean, abs=1e-5) and two.plane.lean / MM == pytest.approx(lean, abs=1e-5)
    assert one.plane.station / MM == pytest.approx(3000 - half, abs=0.003) and two.plane.station / MM == pytest.approx(half, abs=0.003)
    assert one.turn == pytest.approx(45)


def test_mitre_of_two_thicknesses_goes_through_both_corner_points() -> None:
    """At 60 degrees the inner point lies (tB / 2 - tA / 2 x cos 60) / sin 60 from the node on A, and with A and B swapped on B."""
    net = network(wall("A", (0, 0), (3000, 0)), wall("B", (3000, 0), (4000, 1000 * tan(radians(60))), thickness=100))
    (corner,) = met(net)
    assert corner.kind == "angled" and not corner.bondable  # two units
    one, two = (junction(net, name, corner.name) for name in "AB")
    cos120, sin = -0.5, 3**0.5 / 2
    assert one.plane is not None and two.plane is not None
    assert abs(one.plane.lean) / MM == pytest.approx(abs((50 + 100 * cos120) / sin), abs=0.01)
    assert abs(two.plane.lean) / MM == pytest.approx(abs((100 + 50 * cos120) / sin), abs=0.01)


def test_sharp_corner_is_cut_along_the_face_of_the_first() -> None:
    """30 degrees between two walls: a mitre would take 2 x 100 / tan 15 = 746 of a unit of 599, an oblique cut 200 / tan 30 = 346."""
    net = network(wall("A", (0, 0), (4000, 0)), wall("B", (0, 0), (2000, 2000 * tan(radians(30)))))
    (corner,) = met(net)
    assert corner.kind == "angled" and not corner.bondable
    one, two = (junction(net, name, corner.name) for name in "AB")
    assert one.goes_first and one.plane is None
    assert two.plane is not None and not two.plane.shared
    assert abs(two.plane.lean) / MM == pytest.approx(100 / tan(radians(30)), abs=0.01)
    assert two.plane.station / MM == pytest.approx((100 + 1) / 0.5, abs=0.01)  # a joint of 1 square to the face


def test_corner_too_sharp_for_any_cut_stops_square() -> None:
    net = network(wall("A", (0, 0), (4000, 0)), wall("B", (0, 0), (3000, 300)))
    (corner,) = met(net)
    two = junction(net, "B", corner.name)
    assert corner.kind == "angled" and not corner.bondable and two.plane is None
    assert two.loose and two.taken is not None


# what cannot be laid


def test_walls_without_a_unit_are_set_aside_with_one_finding() -> None:
    odd = [wall("A", (0, 0), (3000, 0), thickness=180), wall("B", (0, 3000), (3000, 3000), thickness=180)]
    net, findings = built(*odd)
    assert [s.guid for s in net.set_aside] == ["A", "B"]
    assert all("180" in s.reason for s in net.set_aside)
    assert [(f.code, f.times) for f in findings] == [("graph.no-unit", 2)]
    net, findings = built(*odd, any_thickness=True)
    assert not findings and len(net.runs) == 2
    assert net.runs[0].unit.virtual and net.runs[0].thickness == 180 * MM
    assert net.catalogue.unit(net.runs[0].unit.code) == net.runs[0].unit


def test_a_wall_shorter_than_the_least_piece_is_set_aside() -> None:
    net, findings = built(wall("A", (0, 0), (99, 0)), wall("B", (0, 1000), (100, 1000)))
    assert [s.guid for s in net.set_aside] == ["A"]
    assert [r.parts[0].wall for r in net.runs] == ["B"]
    assert [f.code for f in findings] == ["graph.too-short"]


@pytest.mark.parametrize(("height", "laid"), [(1, False), (10, False), (11, True)])
def test_a_wall_as_low_as_the_levelling_bed_is_set_aside(height: float, laid: bool) -> None:
    net, findings = built(wall("A", (0, 0), (3000, 0), height=height))
    assert bool(net.runs) == laid
    assert [f.code for f in findings] == ([] if laid else ["graph.too-low"])


@pytest.mark.parametrize(("hole", "laid"), [((0, 3000, 0, 2400), False), ((0, 2999, 0, 2400), True), ((0, 3000, 1, 2400), True)])
def test_a_wall_that_is_all_opening_is_set_aside(hole: tuple[float, float, float, float], laid: bool) -> None:
    net, findings = built(wall("A", (0, 0), (3000, 0), openings=[hole]))
    assert bool(net.runs) == laid
    assert [s.reason for s in net.set_aside] == ([] if laid else ["its opening A#1 takes all of it"])
    assert len(findings) == (not laid)


@pytest.mark.parametrize(
    ("end", "said"), [(9000, "over 3000 of its 6500 mm, and is not laid at all"), (3500, "over 1000 mm; draw one of them")]
)
def test_a_wall_in_another_one_over_a_part_of_its_length(end: float, said: str) -> None:
    net, _ = built(wall("A", (0, 0), (5500, 0), height=3000), wall("B", (2500, 50), (end, 50)))
    assert [s.guid for s in net.set_aside] == ["B"]
    assert said in net.set_aside[0].reason


def test_set_aside_keeps_area_and_volume() -> None:
    net, _ = built(wall("A", (0, 0), (3000, 0), thickness=180, openings=[(500, 1500, 0, 2000)]))
    (aside,) = net.set_aside
    assert aside.area_m2 == pytest.approx(7.2)
    assert aside.volume_m3 == pytest.approx(7.2 * 0.18)
    assert (aside.openings_m2, aside.openings_m3) == (pytest.approx(2.0), pytest.approx(0.36))
    assert aside.openings == ("A#1",)


def test_set_aside_keeps_finishes_apart() -> None:
    layered = replace(wall("A", (0, 0), (3000, 0), thickness=180), drawn_m3=7.2 * 0.3, finishes_m3=7.2 * 0.12)
    (aside,) = built(layered)[0].set_aside
    assert aside.volume_m3 - aside.openings_m3 - aside.finishes_m3 == pytest.approx(7.2 * 0.18)


@pytest.mark.parametrize("side", [0, 50, 195])
def test_a_wall_in_another_one_is_set_aside(side: float) -> None:
    net, findings = built(wall("A", (0, 0), (5000, 0)), wall("B", (1000, side), (3000, side)))
    assert [s.guid for s in net.set_aside] == ["B"]
    assert [f.code for f in findings] == ["graph.overlap"]
    assert "A" in net.set_aside[0].reason


def test_walls_side_by_side_are_both_laid() -> None:
    assert len(network(wall("A", (0, 0), (5000, 0)), wall("B", (1000, 200), (3000, 200))).runs) == 2


def test_walls_of_one_line_that_overlap_a_little_share_it() -> None:
    net = network(wall("A", (0, 0), (3000, 0)), wall("B", (2500, 0), (5000, 0)))
    (run,) = net.runs
    assert [(p.start, p.end) for p in run.parts] == [(0, 3000 * MM), (2500 * MM, 5000 * MM)]


def test_bodies_in_each_other_without_a_corner() -> None:
    """Two long walls that close in on each other by less than a degree: at one end they lie in each other, and nothing joins them."""
    walls = wall("A", (0, 0), (20000, 0), thickness=100), wall("B", (0, 0), (20000, 300), thickness=100)
    net, findings = built(*walls)
    assert [s.guid for s in net.set_aside] == ["A"]  # B is longer by 2 mm
    assert "no corner" in net.set_aside[0].reason
    assert [f.code for f in findings] == ["graph.overlap"]
    assert [p.wall for r in net.runs for p in r.parts] == ["B"]


def test_overlap_in_plan_needs_common_levels() -> None:
    assert len(network(wall("A", (0, 0), (20000, 0), thickness=100), wall("B", (0, 0), (20000, 300), thickness=100, bottom=2400)).runs) == 2


# the whole


def house() -> list[Wall]:
    return [
        wall("A", (0, 100), (6000, 100), openings=[(1000, 2000, 0, 2000)]),
        wall("B", (100, 200), (100, 4000)),
        wall("C", (5900, 200), (5900, 4000), height=3000),
        wall("D", (0, 4100), (6000, 4100)),
        wall("S", (2500, 200), (2500, 4000), thickness=100, bearing=False),
        wall("G", (9000, 0), (12000, 0)),
    ]


def test_graph_of_a_house() -> None:
    net = network(*house())
    assert len(net.parts) == 2
    assert {n for part in net.parts for n in part} == {r.name for r in net.runs}
    assert set(net.graph.nodes) == {c.name for c in net.corners}
    for run in net.runs:
        stations = [j.station for j in run.junctions]
        assert stations == sorted(stations) and stations[0] == 0 and stations[-1] == run.length
        edges = sorted((d["start"], d["end"]) for _, _, d in net.graph.edges(data=True) if d["run"] == run.name)
        assert edges == list(pairwise(stations))
        for j in run.junctions:
            corner = next(c for c in net.corners if c.name == j.corner)
            assert run.name in corner.runs
            x, y = run.at(j.station)
            assert abs(x - corner.at[0]) <= 1 and abs(y - corner.at[1]) <= 1
            assert j.goes_first == (corner.kind != "end" and corner.runs[0] == run.name)
            assert net.graph.nodes[j.corner] == {"kind": corner.kind, "at": corner.at, "storey": run.storey}
    assert run_of(net, "S").bearing is False and run_of(net, "A").bearing is True


def test_edges_say_which_openings_lie_in_them() -> None:
    door = Opening(key="D", start=500 * MM, end=1400 * MM, sill=0, head=2010 * MM)
    net = network(replace(wall("A", (0, 0), (6000, 0)), openings=(door,)), wall("B", (3000, 100), (3000, 4000), thickness=100))
    edges = {(d["start"], d["end"]): d for _, _, d in net.graph.edges(data=True) if d["run"] == run_of(net, "A").name}
    assert {at: d["openings"] for at, d in edges.items()} == {(0, 3000 * MM): ("D",), (3000 * MM, 6000 * MM): ()}
    assert {d["thickness"] for d in edges.values()} == {run_of(net, "A").thickness}


@pytest.mark.parametrize("seed", range(4))
def test_order_and_direction_of_walls_do_not_matter(seed: int) -> None:
    first = network(*house())
    mixed = [turned(w) if random.Random(seed + k).random() < 0.5 else w for k, w in enumerate(house())]
    random.Random(seed).shuffle(mixed)
    again = network(*mixed)
    assert again.corners == first.corners
    assert again.parts == first.parts
    for one, two in zip(first.runs, again.runs, strict=True):
        assert (one.start, one.direction, one.length, one.top, one.junctions) == (
            two.start,
            two.direction,
            two.length,
            two.top,
            two.junctions,
        )
        assert [(p.wall, p.start, p.end, p.top) for p in one.parts] == [(p.wall, p.start, p.end, p.top) for p in two.parts]
        assert [(o.start, o.end, o.sill, o.head) for o in one.openings] == [(o.start, o.end, o.sill, o.head) for o in two.openings]


def test_level_at() -> None:
    top = ((0, 100), (10, 100), (10, 50), (20, 70))
    assert [level_at(top, s) for s in (-5, 0, 9, 10, 15, 20, 30)] == [100, 100, 100, 50, 60, 70, 70]


# walls in holes of other walls


def hosted(*infills: Wall, side: float = 0) -> tuple[Network, tuple[Finding, ...]]:
    """A wall drawn from its far end with a window hole 1200 x 1000 over a sill at 800, and walls in it."""
    return built(wall("A", (6000, side), (0, side), openings=[(3800, 5000, 800, 1800)]), *infills)


def test_a_wall_that_fills_a_hole_closes_it() -> None:
    net, findings = hosted(wall("B", (1000, 0), (2200, 0), bottom=800, height=1000))
    (run,) = net.runs
    assert not run.openings
    assert not net.set_aside
    (infill,) = run.infills
    assert (infill.wall, infill.host) == ("B", "A")
    assert [v / MM for v in (infill.start, infill.end, infill.sill, infill.head)] == [1000, 2200, 800, 1800]
    assert [f.code for f in findings] == ["graph.infill"]


@pytest.mark.parametrize(
    ("infill", "left"),
    [
        (wall("B", (1000, 0), (2200, 0), bottom=800, height=400), (1000, 2200, 1200, 1800)),  # a parapet
        (wall("B", (1000, 0), (2200, 0), bottom=1400, height=400), (1000, 2200, 800, 1400)),  # a spandrel under the head
        (wall("B", (1500, 0), (1000, 0), bottom=800, height=1000), (1500, 2200, 800, 1800)),
        (wall("B", (1700, 0), (2200, 0), bottom=800, height=1000), (1000, 1700, 800, 1800)),
    ],
)
def test_a_wall_that_fills_a_part_leaves_the_rest_of_the_hole(infill: Wall, left: tuple[int, ...]) -> None:
    net, _ = hosted(infill)
    ((hole,),) = [r.openings for r in net.runs]
    assert tuple(v // MM for v in (hole.start, hole.end, hole.sill, hole.head)) == left
    assert not net.set_aside


def test_two_walls_fill_one_hole() -> None:
    net, _ = hosted(wall("B", (1000, 0), (2200, 0), bottom=800, height=400), wall("C", (1000, 0), (2200, 0), bottom=1200, height=600))
    (run,) = net.runs
    assert not run.openings
    assert sorted(i.wall for i in run.infills) == ["B", "C"]


@pytest.mark.parametrize(
    "other",
    [
        wall("B", (1300, 0), (1900, 0), bottom=1000, height=600),  # in the middle of the hole: what is left is no rectangle
        wall("B", (1000, 0), (2400, 0), bottom=800, height=1000),  # past the jamb
        wall("B", (1000, 30), (2200, 30), bottom=800, height=1000),  # beside the line
        wall("B", (1000, 0), (2200, 0), bottom=800, height=1000, thickness=100),
    ],
)
def test_walls_that_fill_no_hole_are_no_infills(other: Wall) -> None:
    net, _ = hosted(other)
    assert [s.guid for s in net.set_aside] == ["B"]
    ((hole,),) = [r.openings for r in net.runs]
    assert (hole.sill, hole.head) == (800 * MM, 1800 * MM)


def test_an_infill_of_a_wall_that_is_set_aside_goes_with_it() -> None:
    net, _ = hosted(wall("B", (1000, 0), (2200, 0), bottom=800, height=1000), wall("Z", (-500, 20), (7000, 20), height=2500))
    assert sorted(s.guid for s in net.set_aside) == ["A", "B"]
    assert [r.parts[0].wall for r in net.runs] == ["Z"]
