"""What is read by a short way, by hand, is what the long way reads: boxes and mitred walls, openings, texts, attributes."""

from __future__ import annotations

import re
from itertools import pairwise
from math import cos, radians, sin, tan

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.unit.ifc_maker import Maker
from wallquant.importers.ifc import bodies, vet
from wallquant.importers.ifc.attributes import Attributes
from wallquant.importers.ifc.openings import Face, slabs_of
from wallquant.importers.ifc.plan import straight
from wallquant.importers.ifc.solids import HalfSpace, Prism, Solid

SIZES = st.tuples(st.integers(600, 20_000), st.integers(50, 500), st.integers(200, 4000))


def prism(ring: list[tuple[float, float]], low: float, vector: tuple[float, float, float]) -> Prism:
    return Prism(outer=np.array([(x, y, low) for x, y in ring]), holes=[], vector=np.array(vector, dtype=np.float64), curved=False)


@settings(max_examples=150, deadline=None)
@given(SIZES, st.integers(-100, 100), st.integers(-100, 100), st.integers(0, 3), st.floats(0, 359), st.booleans(), st.booleans())
def test_a_wall_of_four_corners(
    size: tuple[int, int, int], one: int, two: int, first: int, degrees: float, down: bool, turned: bool
) -> None:
    """Ends that are cut by up to 45 degrees; the long way is taken where a clip far off takes nothing away."""
    long, thick, high = size
    a, b = one / 100 * thick, two / 100 * thick
    ring = [(0.0, 0.0), (long + 0.0, 0.0), (long + b, thick + 0.0), (a, thick + 0.0)]
    c, s = cos(radians(degrees)), sin(radians(degrees))
    ring = [(x * c - y * s, x * s + y * c) for x, y in (ring[::-1] if turned else ring)]
    ring = ring[first:] + ring[:first]
    body = prism(ring, 100.0, (0, 0, -high if down else high))
    axis = np.array((c, s))
    far = HalfSpace(point=np.array((0, 0, 1e6)), normal=np.array((0, 0, 1.0)))
    short = bodies._plain(Solid(base=body), axis)
    if short is None:
        assert min(long, long + b - a) < max(thick, 2) + 2 * max(abs(a), abs(b))
        return
    whole = bodies.read_body([Solid(base=body, cuts=[far])], axis)
    assert (short.plan.start, short.plan.end, short.plan.right, short.plan.left) == pytest.approx(
        (whole.plan.start, whole.plan.end, whole.plan.right, whole.plan.left), abs=1e-7
    )
    assert (short.plan.odd_ends, short.plan.notches) == (whole.plan.odd_ends, whole.plan.notches) == (0, 0)
    assert (short.volume, short.bottom, short.beyond) == pytest.approx((whole.volume, whole.bottom, 0), rel=1e-9)
    assert np.array(short.top) == pytest.approx(np.array(whole.top), abs=1e-7)
    assert short.frame == pytest.approx(whole.frame, abs=1e-12)
    assert short.elevation.symmetric_difference(whole.elevation).area < 1e-3
    assert short.footprint.equals_exact(whole.footprint, 1e-6, normalize=True)
    assert (short.guessed, short.holes, short.niches, short.reasons) == (whole.guessed, [], [], [])


@pytest.mark.parametrize("ring", [
    [(0, 0), (3000, 0), (3000, 200), (1500, 400)], [(0, 0), (3000, 1), (3000, 200), (0, 200)], [(0, 0), (150, 0), (150, 200), (0, 200)],
    [(0, 0), (3000, 0), (0, 200), (3000, 200)], [(0, 0), (3000, 0), (3500, 200), (0, 200)],
])  # fmt: skip
def test_other_outlines_take_the_long_way(ring: list[tuple[float, float]]) -> None:
    assert bodies._plain(Solid(base=prism(ring, 0.0, (0, 0, 2500))), np.array((1.0, 0.0))) is None


@settings(max_examples=100, deadline=None)
@given(
    st.tuples(st.integers(0, 5000), st.integers(-200, 200), st.integers(0, 2000)), st.tuples(*[st.integers(1, 3000)] * 3),
    st.sampled_from([(0, 1, 2), (1, 2, 0), (2, 0, 1), (0, 2, 1)]), st.sampled_from([1, -1]), st.sampled_from([0.0, 0.3]),
)  # fmt: skip
def test_an_opening_that_is_a_box(
    at: tuple[int, int, int], size: tuple[int, int, int], axes: tuple[int, int, int], way: int, skew: float
) -> None:
    """The same box by its faces, which takes the long way; one that is skew is no box."""
    corner, side = np.array(at, dtype=np.float64), np.diag(np.array(size, dtype=np.float64))
    u, v, w = (side[k] for k in axes)
    u = u + v * skew
    ring = np.array((corner, corner + u, corner + u + v, corner + v))
    base = Prism(outer=ring + (w if way < 0 else 0), holes=[], vector=w * way, curved=False)
    face = Face(right=-100.0, left=100.0, elevation=shapely.box(0, 0, 6000, 2500))
    wide = (max(0.0, at[0]), max(0.0, at[2]), min(6000.0, at[0] + size[0]), min(2500.0, at[2] + size[2]))
    deep = min(100.0, at[1] + size[1]) - max(-100.0, at[1])
    found = slabs_of([Solid(base=base)], face)
    if skew:
        return
    if deep < 1 or wide[2] - wide[0] <= 0 or wide[3] - wide[1] <= 0:
        assert found == []
    elif (wide[2] - wide[0]) * (wide[3] - wide[1]) > 1:
        ((low, high, region),) = found
        assert (low, high, *region.bounds) == (max(-100.0, at[1]), min(100.0, at[1] + size[1]), *wide)


TEXTS = st.lists(st.sampled_from(["'", "''", '"', "/*", "*/", "a", "\n", ";", "(", ")", "#1", "'x'", "'/* '", "'\"'"]), max_size=30)


@settings(max_examples=300, deadline=None)
@given(TEXTS)
def test_text_without_quotes_and_comments_has_one_structure(parts: list[str]) -> None:
    """ISO 10303-21: quotes are doubled within quotes; comments and binary values hold quotes that are none."""
    data = "".join(parts).encode()
    slow = vet._QUIET.sub(lambda m: b"\n" * m[0].count(b"\n") if m[0].startswith(b"/*") else b"''" + b"\n" * m[0].count(b"\n"), data)
    assert re.sub(rb"'+", b"'", vet._quiet(data)) == re.sub(rb"'+", b"'", slow)


def test_attributes_are_those_by_name() -> None:
    for schema in ("IFC2X3", "IFC4", "IFC4X3_ADD2"):
        get = Attributes()
        maker = Maker(schema)
        maker.plain_wall(4000, 200, 2500)
        for _ in range(2):
            for entity in maker.file:
                for name in entity.get_info(recursive=False, include_identifier=False):
                    if name not in ("type", "Dimensions"):  # derived, and made anew each time
                        assert get(entity, name) == getattr(entity, name)
        wall = maker.file.by_type("IfcWall")[0]
        for _ in range(2):
            with pytest.raises(AttributeError):
                get(wall, "Nothing")
            assert get(wall, "IsDefinedBy") == wall.IsDefinedBy  # an inverse one


def test_the_mean_of_a_mitred_end() -> None:
    """A wall of 4000 by 200 with an end at 30 degrees: the mean end is at half of 200 tan 30."""
    lean = 200 * tan(radians(30))
    ring = [(0.0, 0.0), (4000.0, 0.0), (4000.0 - lean, 200.0), (0.0, 200.0)]
    found = bodies._plain(Solid(base=prism(ring, 0.0, (0, 0, 2500))), np.array((1.0, 0.0)))
    assert found is not None
    assert found.plan.end == pytest.approx(4000 - lean / 2)
    assert found.volume == pytest.approx((4000 - lean / 2) * 200 * 2500)
    assert straight(shapely.Polygon(ring)).end == pytest.approx(found.plan.end)
    assert all(a[0] < b[0] for a, b in pairwise(found.top))
