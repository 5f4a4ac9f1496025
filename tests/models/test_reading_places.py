"""Open models of one house in two units, in two schemas, and far from the origin; see `test_reading_models` for where they are."""

from __future__ import annotations

import functools
import pathlib
import re

import numpy as np
import pytest

from tests.models.test_reading_models import model, path_of
from wallquant import pipeline, plugins
from wallquant.building import Building
from wallquant.importers import ifc
from wallquant.job import Job
from wallquant.units import MM, UM


@functools.cache
def pieces(name: str) -> tuple[tuple[str, ...], np.ndarray]:
    p = pipeline.plan(path_of(name), Job(any_thickness=True), plugins.load()).work.pieces
    words = tuple(f"{p.run[i]} {p.course[i]} {p.unit[i]}" for i in range(len(p)))
    return words, np.column_stack([p.start, p.end, p.bottom, p.top])


@pytest.mark.parametrize(("one", "other", "most"), [("O7a", "O7b", MM), ("O9", "O17", 0)])
def test_one_house_twice(one: str, other: str, most: int) -> None:
    (words, places), (again, there) = pieces(one), pieces(other)
    assert words == again
    assert len(words) > 500
    assert np.abs(places - there).max() <= most


def drawn(building: Building) -> list[tuple[object, ...]]:
    x, y = building.origin
    return [
        (
            w.guid, *(round(v / UM) for v in (w.start[0] + x, w.start[1] + y, w.end[0] + x, w.end[1] + y, w.bottom, w.thickness)),
            tuple((round(s / UM), round(z / UM)) for s, z in w.top), round(w.drawn_m3, 6),
            tuple((o.key, *(round(v / UM) for v in (o.start, o.end, o.sill, o.head))) for o in w.openings),
        )
        for w in building.walls
    ]  # fmt: skip


def test_an_offset_loses_nothing(tmp_path: pathlib.Path) -> None:
    """The far model again with its site at the origin: walls lie as before, moved by the offset, to a micrometre."""
    text = path_of("O15").read_text("latin-1")
    site = re.search(r"IFCSITE\('[^']*',#\d+,'[^']*',[^,]*,'[^']*',#(\d+)", text)
    assert site is not None
    axes = re.search(rf"#{site[1]}= IFCLOCALPLACEMENT\(\$,#(\d+)\)", text)
    assert axes is not None
    point = re.search(rf"#{axes[1]}= IFCAXIS2PLACEMENT3D\(#(\d+),", text)
    assert point is not None
    place = re.search(rf"#{point[1]}= IFCCARTESIANPOINT\(\(([^)]*)\)\)", text)
    assert place is not None
    offset = [float(v) for v in place[1].split(",")]
    assert max(abs(v) for v in offset) > 1e6, "mm"
    near = tmp_path / "near.ifc"
    near.write_text(text.replace(place[0], place[0].replace(place[1], "0.,0.,0.")), "latin-1")
    moved = drawn(ifc.read(near)[0])
    assert len(moved) == 5
    x, y, z = (round(v * 1000) for v in offset)
    shifted = [
        (w[0], w[1] + x, w[2] + y, w[3] + x, w[4] + y, w[5] + z, w[6], tuple((s, t + z) for s, t in w[7]), w[8],
         tuple((k, a, b, c + z, d + z) for k, a, b, c, d in w[9]))
        for w in moved
    ]  # fmt: skip
    assert len(model("O15")[0].walls) == 5
    for one, other in zip(drawn(model("O15")[0]), shifted, strict=True):
        assert one[0] == other[0]
        assert one[8] == other[8]
        flat = np.array([v for part in (one, other) for v in (*part[1:7], *np.ravel(part[7]), *np.ravel([h[1:] for h in part[9]]))])
        half = len(flat) // 2
        assert np.abs(flat[:half].astype(float) - flat[half:].astype(float)).max() <= 1, one[0]
