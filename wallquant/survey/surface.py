"""The slab as triangles between the shots, and its exact extremes under a footprint.

On each triangle the slab is a plane, so under a convex footprint its highest and lowest points lie at corners of the footprint, at
shots inside it, or where its sides cross sides of triangles.  Outside the shots the nearest point of their hull counts.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
import shapely
from numpy.typing import NDArray

from wallquant.survey.shots import SurveyError

XY = tuple[float, float]


@dataclass(frozen=True, kw_only=True)
class Surface:
    """A triangulated slab; millimetres."""

    points: NDArray[np.float64]
    triangles: NDArray[np.int64]
    hull: shapely.Geometry
    planes: NDArray[np.float64] = field(repr=False)
    tree: shapely.STRtree = field(repr=False)
    edges: shapely.STRtree = field(repr=False)

    @classmethod
    def of(cls, points: NDArray[np.float64]) -> Surface:
        """Triangulate shots.

        Parameters
        ----------
        points : ndarray of float, shape (shots, 3)
            x, y, level.

        Raises
        ------
        SurveyError
            If they lie on one line, or are fewer than three.
        """
        # Here, because most plans have no shots and the import takes longer than reading a small model.
        from scipy.spatial import Delaunay, QhullError

        try:
            found = Delaunay(points[:, :2] - points[:, :2].mean(axis=0))
        except (QhullError, ValueError) as error:
            raise SurveyError("the shots lie on one line, so they make no surface; shoot points beside it too") from error
        corners = points[found.simplices]
        outlines = shapely.polygons(corners[:, :, :2])
        flat = shapely.area(outlines) > 1e-6
        corners, outlines = corners[flat], outlines[flat]
        ones = np.concatenate([corners[:, :, :2] - points[:, :2].mean(axis=0), np.ones((len(corners), 3, 1))], axis=2)
        planes = np.linalg.solve(ones, corners[:, :, 2:])[:, :, 0]
        pairs = np.unique(np.sort(np.concatenate([found.simplices[:, k] for k in ([0, 1], [1, 2], [2, 0])]), axis=1), axis=0)
        return cls(
            points=points,
            triangles=found.simplices[flat].astype(np.int64),
            hull=shapely.MultiPoint(points[:, :2]).convex_hull,
            planes=planes,
            tree=shapely.STRtree(outlines),
            edges=shapely.STRtree(shapely.linestrings(points[pairs][:, :, :2])),
        )

    def level(self, at: Sequence[XY]) -> NDArray[np.float64]:
        """Return the slab's level at points; outside the shots that of the nearest point of their hull."""
        places = shapely.points(np.asarray(at, float).reshape(-1, 2))
        outside = ~shapely.intersects(self.hull, places)
        if outside.any():
            lines = shapely.shortest_line(self.hull, places[outside])
            places[outside] = shapely.get_point(lines, 0)
        near = self.tree.query_nearest(places, all_matches=False)
        out = np.empty(len(places))
        middle = self.points[:, :2].mean(axis=0)
        xy = shapely.get_coordinates(places)[near[0]] - middle
        out[near[0]] = (self.planes[near[1]][:, :2] * xy).sum(axis=1) + self.planes[near[1]][:, 2]
        return out

    def beyond(self, at: Sequence[XY]) -> NDArray[np.float64]:
        """Return how far points lie outside the shots, millimetres; 0 inside."""
        out: NDArray[np.float64] = shapely.distance(self.hull, shapely.points(np.asarray(at, float).reshape(-1, 2)))
        return out

    def extremes(self, outline: Sequence[XY]) -> tuple[tuple[float, XY], tuple[float, XY]]:
        """Return the lowest and the highest point of the slab under a convex outline: level and place each."""
        shape = shapely.Polygon(outline)
        places: list[XY] = [*outline]
        ring = shape.exterior
        crossed = self.edges.geometries[self.edges.query(shape)]
        if len(crossed):
            inside = shapely.intersection(crossed, shape)
            places += [tuple(p) for p in shapely.get_coordinates(inside[~shapely.is_empty(inside)])]
        if not shapely.contains_properly(self.hull, shape):
            # beyond the shots the level is that of the hull, whose bends lie where the outline meets it
            places += [tuple(p) for p in shapely.get_coordinates(shapely.intersection(ring, self.hull.boundary))]
            places += self._kinks(shape)
        levels = self.level(places)
        low, high = int(levels.argmin()), int(levels.argmax())
        return (float(levels[low]), places[low]), (float(levels[high]), places[high])

    def _kinks(self, shape: shapely.Polygon) -> list[XY]:
        """Return places beyond the shots where what is nearest on the hull changes from a side to a corner, or to another triangle."""
        corners = [p for p in self.points[:, :2] if shapely.distance(self.hull.boundary, shapely.Point(p)) < 1e-6]
        size = float(np.hypot(*(np.array(shape.bounds[2:]) - shape.bounds[:2]))) + float(shapely.distance(self.hull, shape)) + 1.0
        ring = np.array(self.hull.exterior.coords)
        out: list[XY] = []
        for p in corners:
            for a, b in itertools.pairwise(ring):
                if shapely.distance(shapely.LineString([a, b]), shapely.Point(p)) < 1e-6:
                    along = (b - a) / np.hypot(*(b - a))
                    for side in (1, -1):
                        ray = shapely.LineString([p, p + side * size * 2 * np.array([-along[1], along[0]])])
                        out += [tuple(q) for q in shapely.get_coordinates(shapely.intersection(ray, shape))]
        return out
