"""A body of any kind as slices: its sections by upright planes along the wall, from face to face."""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import shapely
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

from wallquant.importers.ifc.frames import Unreadable
from wallquant.importers.ifc.sections import Window, section
from wallquant.importers.ifc.solids import Cut, Faces, HalfSpace, Points, Solid, Tree

GRID = 1e-4
"""Points of a section closer than this are one, in mm."""
LOOSE = 0.001
"""The part of a section's outline that may not close."""
_NODES = ((-0.7745966692414834, 5 / 18), (0.0, 8 / 18), (0.7745966692414834, 5 / 18))
_NEAR = 1e-5
_MOST = 64
_WORK = 2_000_000
Edges = tuple[npt.NDArray[np.float64], npt.NDArray[np.float64], npt.NDArray[np.int64]]


@dataclass(frozen=True, kw_only=True, slots=True)
class Slab:
    """The body between two offsets: its sections just inside both, and in between with their shares of the slab's depth."""

    low: float
    high: float
    ends: tuple[BaseGeometry, BaseGeometry]
    nodes: tuple[tuple[float, BaseGeometry], ...]

    @property
    def depth(self) -> float:
        """Distance of the offsets in mm."""
        return self.high - self.low

    @property
    def sections(self) -> list[BaseGeometry]:
        """Return all sections, from low to high."""
        return [self.ends[0], *(region for _, region in self.nodes), self.ends[1]]

    def volume(self, within: BaseGeometry | None = None) -> float:
        """Return the volume in mm3, of all or of what lies within a region in elevation; exact for plane faces."""
        return sum(self.depth * w * float((r if within is None else r.intersection(within)).area) for w, r in self.nodes)


def slabs_of(solids: list[Solid]) -> list[Slab]:
    """Return a body, in the frame of a wall (station, offset, level), as slabs by rising offset.

    Within a slab no corner of the body lies, so that all outlines move evenly.

    Raises
    ------
    Unreadable
        If its faces do not close a body, or it has no thickness.
    """
    points = np.vstack([s.points() for s in solids])
    low, high = points.min(axis=0) - 1.0, points.max(axis=0) + 1.0
    knife = _Knife(solids, (float(low[0]), float(low[2]), float(high[0]), float(high[2])))
    slabs: list[Slab] = []
    loose = 0.0
    for one, two in _stretches(solids, points, knife.work):
        first, last = (knife.at(one + (two - one) * part) for part in (_NEAR, 1 - _NEAR))
        knife.loose = 0.0  # close to a corner what is thinner than the grid does not close
        middle = knife.at((one + two) / 2)
        loose = max(loose, knife.loose * (two - one))
        if first.is_empty and last.is_empty and middle.is_empty:
            continue
        nodes: tuple[tuple[float, BaseGeometry], ...]
        if first.symmetric_difference(last).area <= 1e-9 * (first.area + last.area):
            nodes = ((1.0, first),)
        else:
            nodes = tuple((w, middle if at == 0 else knife.at((one + two) / 2 + (two - one) / 2 * at)) for at, w in _NODES)
        slabs.append(Slab(low=one, high=two, ends=(first, last), nodes=nodes))
    if loose > LOOSE * float(high[1] - low[1]):
        raise Unreadable("the faces of its body do not close")
    if not slabs:
        raise Unreadable("its body has no thickness")
    return slabs


def _stretches(solids: list[Solid], points: Points, work: int) -> list[tuple[float, float]]:
    """Stretches between the offsets at which corners of the body lie."""
    offsets = sorted({*(round(float(t), 4) for t in points[:, 1]), *(round(t, 4) for s in solids for t in _bounds(s))})
    apart, most = 0.01, max(8, min(_MOST, _WORK // max(1, work)))
    while True:
        kept = [offsets[0]]
        for t in offsets[1:]:
            if t - kept[-1] > apart:
                kept.append(t)
        if len(kept) > 1:
            kept[-1] = offsets[-1]
        if len(kept) <= most:
            return list(itertools.pairwise(kept))
        apart *= 2


def _bounds(cut: Cut | Tree) -> list[float]:
    """Offsets of the corners of bounds of half-spaces."""
    if isinstance(cut, HalfSpace):
        if cut.bound is None or cut.frame is None:
            return []
        return [float((cut.frame @ np.array((x, y, 0.0, 1.0)))[1]) for x, y in cut.bound]
    if isinstance(cut, Tree):
        return _bounds(cut.first) + _bounds(cut.second)
    if isinstance(cut, Solid):
        return [t for one in (cut.base, *cut.cuts) for t in _bounds(one)]
    return []


class _Knife:
    """Cuts one body; `loose` is the greatest part of a section's outline that did not close."""

    def __init__(self, solids: list[Solid], window: Window) -> None:
        self.solids = solids
        self.window = window
        self.loose = 0.0
        self._edges: dict[int, Edges] = {}
        self.work = sum(len(ring) for s in solids for ring in s.faces())

    def at(self, offset: float) -> BaseGeometry:
        """Return the section at an offset."""
        return shapely.union_all([self._region(s, offset) for s in self.solids])

    def _region(self, cut: Cut | Tree, offset: float) -> BaseGeometry:
        if isinstance(cut, Faces):
            return self._faces(cut, offset)
        if isinstance(cut, Solid):
            region = self._region(cut.base, offset)
            for one in cut.cuts:
                region = region.difference(self._region(one, offset))
            return region
        if isinstance(cut, Tree):
            first, second = self._region(cut.first, offset), self._region(cut.second, offset)
            return first.union(second) if cut.operator == "UNION" else first.intersection(second)
        return section(cut, offset, self.window)

    def _faces(self, body: Faces, offset: float) -> BaseGeometry:
        if id(body) not in self._edges:
            self._edges[id(body)] = _edges(body.rings)
        one, two, ring = self._edges[id(body)]
        crossed = (one[:, 1] > offset) != (two[:, 1] > offset)
        if not crossed.any():
            return Polygon()
        one, two, ring = one[crossed], two[crossed], ring[crossed]
        part = (offset - one[:, 1]) / (two[:, 1] - one[:, 1])
        at = one[:, [0, 2]] + part[:, None] * (two - one)[:, [0, 2]]
        lines = np.concatenate([_paired(at[s]) for s in _groups(ring)])
        lines = lines[np.abs(lines[:, 0] - lines[:, 1]).max(axis=1) > GRID]
        if len(lines) < 3:
            return Polygon()
        noded = shapely.union_all(shapely.linestrings(lines), grid_size=GRID)
        cells, *left = shapely.polygonize_full([noded])
        self.loose = max(self.loose, sum(float(one.length) for one in left) / float(noded.length))
        inside = shapely.get_parts(cells)
        return shapely.union_all(inside[_odd(inside, lines)])


def _edges(rings: list[Points]) -> Edges:
    """Edges of rings, each from its lesser to its greater corner, so that two faces that share one cut it at the same point."""
    one = np.concatenate(rings)
    two = np.concatenate([np.roll(r, -1, axis=0) for r in rings])
    number = np.repeat(np.arange(len(rings)), [len(r) for r in rings])
    differ = one != two
    first = np.argmax(differ, axis=1)
    row = np.arange(len(one))
    swap = one[row, first] > two[row, first]
    one[swap], two[swap] = two[swap], one[swap].copy()
    return one, two, number


def _groups(ring: npt.NDArray[np.int64]) -> list[slice]:
    starts = [0, *(np.flatnonzero(np.diff(ring)) + 1).tolist(), len(ring)]
    return [slice(a, b) for a, b in itertools.pairwise(starts)]


def _paired(at: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    """Lines of one face: its crossings in order along the line on which all of them lie, in pairs."""
    if len(at) > 2:
        at = at[np.argsort(at[:, int(np.argmax(np.ptp(at, axis=0)))], kind="stable")]
    return at[: len(at) // 2 * 2].reshape(-1, 2, 2)


def _odd(cells: npt.NDArray[np.object_], lines: npt.NDArray[np.float64]) -> npt.NDArray[np.bool_]:
    """Whether a ray upward from inside each cell meets an odd number of lines."""
    points = shapely.get_coordinates(shapely.point_on_surface(cells))
    s1, z1, s2, z2 = lines[:, 0, 0], lines[:, 0, 1], lines[:, 1, 0], lines[:, 1, 1]
    result = np.zeros(len(points), dtype=np.bool_)
    for i, (s, z) in enumerate(points):
        over = (s1 > s) != (s2 > s)
        level = z1[over] + (s - s1[over]) * (z2[over] - z1[over]) / (s2[over] - s1[over])
        result[i] = np.count_nonzero(level > z) % 2 == 1
    return result
