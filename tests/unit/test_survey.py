"""The slab survey: surface against scipy and closed forms, the datum against worked numbers, the file against bad input."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.interpolate import LinearNDInterpolator

from wallquant import survey
from wallquant.survey.datum import Limits, at_level, decide, strippable
from wallquant.survey.footings import Footing, Ground, Mark
from wallquant.survey.levelling import Levelled

INCH = 25.4
FT3 = 304.8**3
US = Limits(least=0.375 * INCH, usual=0.375 * INCH, most=0.75 * INCH, joint=INCH / 8, rip=2 * INCH, strip=INCH)


def ground(units: list[tuple[float, float]], *, width: float = 7.875 * INCH, least: float = 0.375, usual: float = 0.375) -> Ground:
    """A run along x from x = 0; units are (start, end) in inches."""
    out = []
    for n, (a, b) in enumerate(units):
        gap = units[n + 1][0] - b if n + 1 < len(units) else 0.125
        x, y = a * INCH, b * INCH
        outline = ((x, -width / 2), (y, -width / 2), (y, width / 2), (x, width / 2))
        out.append(
            Footing(
                piece=f"R1-C01-{n + 1:02d}", run="R1", part="R1", bottom=0.0, start=x, end=y, height=7.875 * INCH, gap=gap * INCH,
                ends=((x, 0.0), (y, 0.0)), outline=outline,
            )
        )  # fmt: skip
    ends = (Mark(corner="K1", at=(0.0, 0.0), stations=(("R1", 0.0),)), Mark(corner="K2", at=(y, 0.0), stations=(("R1", y),)))
    return Ground(
        footings=tuple(out), marks=ends, origin=(0.0, 0.0), least_bed=least * INCH, usual_bed=usual * INCH, most_bed=0.75 * INCH,
        joint=INCH / 8, least_rip=2 * INCH, least_strip=INCH, system="in",
    )  # fmt: skip


def shots(points: list[tuple[float, float, float]], **more: Any) -> survey.Tied:
    return survey.Tied(
        points=np.array(points, float), names=tuple(str(n) for n in range(len(points))),
        **{"instrument": None, "relative": False, **more},
    )  # fmt: skip


def plane(length: float, level: Any) -> list[tuple[float, float, float]]:
    return [(x * INCH, y * INCH, level(x) * INCH) for x in (-24, 0, length / 2, length, length + 24) for y in (-24, 24)]


COURSE = [(24 * k, 24 * k + 23.875) for k in range(20)]


def test_slab_that_falls_along_forty_feet() -> None:
    """1.25 in over 40 ft, twenty units: from the high point 14 are too high and 2 can take a strip; units 1 to 14 are ripped instead."""
    found = survey.levelled(ground(COURSE), shots(plane(480, lambda x: -x / 384)))
    (part,) = found.parts
    rips = [b.rip / INCH for b in part.beds]
    assert rips[:14] == pytest.approx([(14 - k) / 16 for k in range(14)], abs=1e-3)
    assert rips[0] == pytest.approx(7 / 8, abs=1e-3) and rips[14:] == [0.0] * 6
    assert (part.deep, part.stripped) == (14, 2)
    assert all(b.least / INCH >= 0.375 - 1e-6 and b.most / INCH <= 0.75 + 1e-6 for b in part.beds)
    assert part.litres * 1e6 / FT3 == pytest.approx(0.991, abs=2e-3)
    assert part.start == "K1"


def test_starting_low_would_rip_the_high_end() -> None:
    found = survey.levelled(ground(COURSE), shots(plane(480, lambda x: -x / 384)))
    pieces, most = found.parts[0].low_start
    assert (pieces, most / INCH) == (20, pytest.approx(1.25, abs=1e-2))


def test_range_that_the_bed_takes_up() -> None:
    """15/32 in between limits of 1/4 and 3/4: 9/32 over the high point, 3/4 over the low one, and nothing is ripped."""
    slab = shots(plane(480, lambda x: -x / 480 * 15 / 32))
    units = [*COURSE[:-1], (456, 480)]
    found = survey.levelled(ground(units, least=0.25), slab)
    (part,) = found.parts
    assert part.decision.kind == "level"
    assert min(b.least for b in part.beds) / INCH == pytest.approx(9 / 32, abs=1e-6)
    assert max(b.most for b in part.beds) / INCH == pytest.approx(3 / 4, abs=1e-6)
    codes = {f.code: f.text for f in survey.findings(found, ground(units, least=0.25), "in")}
    assert "under the usual 3/8 in" in codes["survey.under-usual"]


def test_flat_slab_has_the_usual_bed_and_the_handbooks_mortar() -> None:
    """A bed of 3/4 in under 100 ft of 7.875 in wall is 4.102 ft3 (derived: 100 x 12 x 7.875 x 0.75 / 1728)."""
    made = ground([(24 * k, 24 * k + 23.875) for k in range(50)], usual=0.75)
    found = survey.levelled(made, shots(plane(1200, lambda x: 0.0)))
    assert found.parts[0].litres * 1e6 / FT3 == pytest.approx(4.102, abs=1e-3)


def test_a_hump_in_the_middle_of_the_room_changes_nothing() -> None:
    flat = plane(480, lambda x: 0.0)
    hump = [
        *flat,
        *((240 * INCH + dx, 2000.0 + dy, level) for dx, dy, level in ((0, 0, 60), (-900, 0, 0), (900, 0, 0), (0, 900, 0), (0, -900, 0))),
    ]
    made = [survey.levelled(ground(COURSE), shots(points)).parts[0] for points in (flat, hump)]
    assert [b.bed_start for b in made[0].beds] == pytest.approx([b.bed_start for b in made[1].beds], abs=1e-9)
    assert made[0].decision.datum == pytest.approx(made[1].decision.datum)


def test_the_highest_point_may_be_in_the_middle() -> None:
    """The start is then the corner nearest to it."""
    points = plane(480, lambda x: 0.0)
    points += [(300 * INCH, y * INCH, 0.3 * INCH) for y in (-24, 24)]
    part = survey.levelled(ground(COURSE, least=0.25), shots(points)).parts[0]
    assert part.start == "K2" and part.highest.at[0] == pytest.approx(300 * INCH, abs=1)


def test_slab_beyond_all_help_is_ground() -> None:
    points = plane(480, lambda x: -12 if x > 239 else 0.0)
    made = ground(COURSE)
    found = survey.levelled(made, shots(points))
    assert found.parts[0].decision.kind == "grind"
    (told,) = [f for f in survey.findings(found, made, "in") if f.code == "survey.grind"]
    assert told.severity == "error" and "Grind" in told.text


@settings(max_examples=60, deadline=None)
@given(
    st.lists(
        st.tuples(st.integers(0, 6000), st.integers(0, 4000), st.integers(-40, 40)), min_size=5, max_size=25, unique_by=lambda p: p[:2]
    ),
    st.integers(0, 5000),
    st.integers(0, 3000),
    st.floats(0, 3.1),
)
def test_extremes_bound_a_dense_sampling(points: list[tuple[int, int, int]], x: int, y: int, turn: float) -> None:
    """No sample under a footprint is beyond the extremes, and inside the shots scipy's interpolation agrees everywhere."""
    try:
        surface = survey.Surface.of(np.array(points, float))
    except survey.SurveyError:
        return
    c, s = np.cos(turn), np.sin(turn)
    corners = [(x + c * u - s * v, y + s * u + c * v) for u, v in ((0, -100), (599, -100), (599, 100), (0, 100))]
    (low, _), (high, _) = surface.extremes(corners)
    grid = [(x + c * u - s * v, y + s * u + c * v) for u in np.linspace(0, 599, 24) for v in np.linspace(-100, 100, 9)]
    levels = surface.level(grid)
    assert levels.min() >= low - 1e-6 and levels.max() <= high + 1e-6
    theirs = LinearNDInterpolator(surface.points[:, :2], surface.points[:, 2])(grid)
    inside = ~np.isnan(theirs) & (surface.beyond(grid) == 0)
    if inside.any() and not _on_circles(surface):
        assert levels[inside] == pytest.approx(theirs[inside], abs=1e-6)


def _on_circles(surface: survey.Surface) -> bool:
    """Say whether four shots lie on a circle: a Delaunay triangulation is not unique there."""
    xy = surface.points[:, :2]
    for a, b, c in surface.triangles.tolist():
        m = 2 * np.array([xy[b] - xy[a], xy[c] - xy[a]])
        centre = np.linalg.solve(m, [xy[b] @ xy[b] - xy[a] @ xy[a], xy[c] @ xy[c] - xy[a] @ xy[a]])
        radius = np.hypot(*(xy[a] - centre))
        if (np.abs(np.hypot(*(xy - centre).T) - radius) < 1e-6 * radius + 1e-3).sum() > 3:
            return True
    return False


def test_a_plane_is_reproduced() -> None:
    rng = np.random.default_rng(7)
    xy = rng.uniform(0, 9000, (60, 2))
    surface = survey.Surface.of(np.c_[xy, 3 + xy @ [0.002, -0.001]])
    at = rng.uniform(1500, 7500, (200, 2))
    assert surface.level(at) == pytest.approx(3 + at @ [0.002, -0.001], abs=1e-9)
    theirs = LinearNDInterpolator(xy, 3 + xy @ [0.002, -0.001])(at)
    assert surface.level(at) == pytest.approx(theirs, abs=1e-9)


@settings(max_examples=200, deadline=None)
@given(st.lists(st.tuples(st.floats(-60, 60), st.floats(0, 6)), min_size=1, max_size=12), st.floats(200, 400))
def test_no_level_touches_fewer_pieces(slab: list[tuple[float, float]], height: float) -> None:
    """The level that is chosen is as good as any of a fine ladder of levels."""
    low = np.array([a for a, _ in slab])
    high = low + [b for _, b in slab]
    tall = np.full(len(low), height)
    limits = Limits(least=6.35, usual=9.525, most=19.05, joint=1, rip=50, strip=25)
    done = decide(low, high, tall, limits)
    ladder = [at_level(float(z), low, high, tall, limits) for z in np.arange(low.min() - 60, high.max() + 60, 0.5)]
    buildable = [d for d in ladder if d is not None]
    if done.kind == "grind":
        assert not buildable
    else:
        assert done.touched <= min((d.touched for d in buildable), default=10**6)
        under = done.datum + done.rips - np.where(done.strips > 0, done.strips + limits.joint, 0)
        assert (under - high >= limits.least - 1e-6).all() and (under - low <= limits.most + 1e-6).all()


@pytest.mark.parametrize(
    ("low", "high", "height", "datum", "rips", "strips", "ground"),
    [
        # 30 apart: course 1 at 19.05 over the lower, the other ripped by 6.35 - (19.05 - 30)
        ([0, 30], [0, 30], 200, 19.05, [0, 17.3], [0, 0], [0, 0]),
        # of 60 that leaves 42.7, and 50 is the least rip: course 1 at 36.35 over the higher, the other on a strip of 25
        ([0, 30], [0, 30], 60, 36.35, [0, 0], [25, 0], [0, 0]),
        # one piece over a step of 100 has no bed within its limits anywhere: ground to 6.35 below 19.05
        ([0], [100], 200, 19.05, [0], [0], [87.3]),
    ],
)
def test_a_slab_that_no_bed_evens_out(
    low: list[float], high: list[float], height: float, datum: float, rips: list[float], strips: list[float], ground: list[float]
) -> None:
    limits = Limits(least=6.35, usual=9.525, most=19.05, joint=1, rip=50, strip=25)
    done = decide(np.array(low, float), np.array(high, float), np.full(len(low), float(height)), limits)
    assert done.datum == pytest.approx(datum)
    for one, wanted in ((done.rips, rips), (done.strips, strips), (done.ground, ground)):
        assert one.tolist() == pytest.approx(wanted)


def test_a_strip_needs_room() -> None:
    deep, can = strippable(9.525, np.array([-25.0, -60.0]), np.array([-25.0, -60.0]), US)
    assert deep.tolist() == [True, True] and can.tolist() == [False, True]


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "is empty"),
        ("x,y,height\n1,2,3\n", "column 'height' is not known"),
        ("x,y\n1,2\n", "no column 'level' or 'reading'"),
        ("x,level\n1,2\n", "needs the columns 'x' and 'y'"),
        ("x,y,level\n0,0,0\n1,2,NaN\n5,5,5\n", "line 3: level is 'NaN'"),
        ("x,y,level\n0,0,zero\n", "line 2: level is 'zero', which is no length"),
        ("x,y,level\n0,0,\n", "line 2: the shot has no level"),
        ("x,y,level\n,,3\n", "line 2: the shot has no place"),
        ("x,y,level\n0,0,1\n1,1,1\n", "has 2 shots"),
        ("x,y,level\n0,0,1\n", "has 1 shot;"),
        ("x,y,level\n0,0,1\n1,1,1e8\n5,0,2\n", "line 3: level is '1e8', which no place on a slab has"),
        ("x,y,level\n" + "0,0,1\n" * 20_001, "has 20,001 shots, and at most 20,000 are read"),
        ("x,y,level\n0,0,6 ft 8\n1,1,1\n5,0,2\n", "line 2: level is '6 ft 8', which is no length"),
        ("x,y,level_in\n0,0,1/0\n1,1,1\n5,0,2\n", "line 2: level is '1/0', which is no length"),
        ("x,x,y,level\n0,0,0,1\n", "column x is there twice"),
        ('x,y,level\n"0,0,1\n', "no well-formed CSV"),
    ],
)
def test_bad_files_get_one_sentence(tmp_path: Path, text: str, said: str) -> None:
    file = tmp_path / "shots.csv"
    file.write_text(text, encoding="utf-8")
    with pytest.raises(survey.SurveyError) as error:
        survey.read_shots(file)
    assert said in str(error.value) and "\n" not in str(error.value)


def test_units_and_lengths_in_words(tmp_path: Path) -> None:
    file = tmp_path / "shots.csv"
    file.write_text("x_m,y_ft,reading_in,name\n1,2,5-3/8 in,a\n0.5,0,4,b\n0,1,4.5,c\n", encoding="utf-8")
    a, b, _ = survey.read_shots(file)
    assert (a.x, a.y, a.reading) == (1000, pytest.approx(609.6), pytest.approx(5.375 * INCH))
    assert b.reading == pytest.approx(4 * INCH)


def test_spreadsheets_of_other_countries_and_fractions(tmp_path: Path) -> None:
    """Semicolons with decimal commas, tabs, and inches as they are read from a rule."""
    for text, level in (
        ("x;y;level\n0;0;-0,5\n1000;0;1,5\n0;1000;2\n", -0.5),
        ("x\ty\tlevel_in\n0\t0\t-5-3/8\n1000\t0\t1/8\n0\t1000\t2\n", -5.375 * INCH),
        ("x,y,level_in\n0,0,1/8\n1000,0,1/4\n0,1000,2\n", 0.125 * INCH),
    ):
        file = tmp_path / "shots.csv"
        file.write_text(text)
        assert survey.read_shots(file)[0].level == pytest.approx(level, abs=1e-6)


def test_own_axes_are_tied_by_two_corners() -> None:
    """Axes turned by 90 degrees and moved: the shots come back to where they are."""
    corners = {"K1": (0.0, 0.0), "K2": (4000.0, 0.0)}
    rows = [
        survey.Shot(line=2, x=500.0, y=700.0, corner="K1", level=1.0),
        survey.Shot(line=3, x=500.0, y=4700.0, corner="K2", level=2.0),
        survey.Shot(line=4, x=-1500.0, y=700.0, level=3.0),
    ]
    found, told = survey.tied(rows, corners, (0.0, 0.0))
    assert not told
    assert sorted(map(tuple, found.points.round(6).tolist())) == [(0, 0, 1), (0, 2000, 3), (4000, 0, 2)]
    with pytest.raises(survey.SurveyError, match="tie own axes by two corners"):
        survey.tied(rows[:1] + rows[2:], corners, (0.0, 0.0))


def test_readings_and_a_bench_mark() -> None:
    """A rod is read: more is lower; a bench mark of level 100 read at 1500 puts the line of sight at 1600."""
    rows = [
        survey.Shot(line=2, x=0.0, y=0.0, level=100.0, reading=1500.0),
        survey.Shot(line=3, x=1000.0, y=0.0, reading=1510.0),
        survey.Shot(line=4, x=0.0, y=1000.0, reading=1490.0),
    ]
    found, _ = survey.tied(rows, None, (0.0, 0.0))
    assert found.instrument == 1600.0 and not found.relative
    assert sorted(found.points[:, 2].tolist()) == [90.0, 100.0, 110.0]


def test_an_odd_shot_is_told() -> None:
    points = [(x * 1000.0, y * 1000.0, 0.0) for x in range(6) for y in range(6)]
    points[14] = (*points[14][:2], 45.0)
    surface = survey.Surface.of(np.array(points))
    assert [(one.shots, round(one.most)) for one in survey.odd(surface)] == [((14,), 45)]


@pytest.mark.parametrize("name", ["landing_tool_store", "field_station_workshop"])
@pytest.mark.parametrize("by", [-30.0, 30.0])
def test_the_shot_that_is_wrong_is_named_and_not_those_it_bends(name: str, by: float) -> None:
    """Each shot of the sample slabs in turn read wrong by 30 mm, at the edge of the slab too: no other is ever named.

    A corner of the slab, which no four shots surround, can go unnoticed.
    """
    read = survey.read_shots(Path(__file__).parents[2] / "sample_models" / f"{name}_slab.csv")
    levels = [-s.reading if s.reading is not None else s.level for s in read]
    points = np.array([(s.x, s.y, z) for s, z in zip(read, levels, strict=True)], float)
    assert survey.odd(survey.Surface.of(points)) == []
    missed = []
    for k in range(len(points)):
        wrong = points.copy()
        wrong[k, 2] += by
        named = [one.shots for one in survey.odd(survey.Surface.of(wrong))]
        assert named in ([(k,)], []), k
        missed += [k] if not named else []
    assert len(missed) <= 2


def test_shots_of_which_none_explains_the_rest_are_all_told() -> None:
    """Two neighbours read wrong: leaving out one of them does not help."""
    points = [(x * 1000.0, y * 1000.0, 0.0) for x in range(8) for y in range(8)]
    for k in (27, 28):
        points[k] = (*points[k][:2], 45.0 if k == 27 else -45.0)
    (one,) = survey.odd(survey.Surface.of(np.array(points)))
    assert {27, 28} <= set(one.shots)
    found = survey.levelled(ground(COURSE), shots(points))
    (told,) = [f for f in survey.findings(found, ground(COURSE), "mm") if f.code == "survey.odd-shot"]
    assert told.text.startswith("Shots ") and "no single one explains it" in told.text


def test_equal_input_equal_beds() -> None:
    points = plane(480, lambda x: -x / 384)
    one: Levelled = survey.levelled(ground(COURSE), shots(points))
    other = survey.levelled(ground(COURSE), shots(sorted(points)))
    assert [b.bed_end for b in one.parts[0].beds] == pytest.approx([b.bed_end for b in other.parts[0].beds])
