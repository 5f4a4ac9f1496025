"""Units and placements: coordinates of the file become millimetres in one frame."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from math import pi, sqrt
from typing import Any

import numpy as np
import numpy.typing as npt

from wallquant.importers import InputError
from wallquant.importers.ifc.attributes import Attributes

Matrix = npt.NDArray[np.float64]
Vector = npt.NDArray[np.float64]
Entity = Any
"""An instance of an ifcopenshell file."""

_PREFIX = {
    "EXA": 18, "PETA": 15, "TERA": 12, "GIGA": 9, "MEGA": 6, "KILO": 3, "HECTO": 2, "DECA": 1,
    "DECI": -1, "CENTI": -2, "MILLI": -3, "MICRO": -6, "NANO": -9, "PICO": -12, "FEMTO": -15, "ATTO": -18,
}  # fmt: skip
_NAMES = {
    Fraction(1): "mm", Fraction(10): "cm", Fraction(100): "dm", Fraction(1000): "m", Fraction(10**6): "km",
    Fraction(254, 10): "in", Fraction(3048, 10): "ft", Fraction(1_200_000, 3937): "ft", Fraction(9144, 10): "yd",
}  # fmt: skip
"""Millimetres in a unit; the second foot is that of the US surveys, 1200/3937 m (NBS, Federal Register 24 FR 5348, 1959; from memory)."""
_UP, _AHEAD, _PLAIN = (0.0, 0.0, 1.0), (1.0, 0.0, 0.0), np.eye(4)
PARALLEL = 1e-6
"""Sine of the angle below which two directions count as parallel (1 mm in 1 km)."""


class Unreadable(Exception):
    """What this importer cannot read; the text is the reason, as a clause about the wall or the opening."""


def length_unit(model: Entity, name: str) -> tuple[float, str]:
    """Return the millimetres in one length unit of the model, and its name as people write it.

    Raises
    ------
    InputError
        If the model states no length unit.
    """
    stated = [named_size(u) for project in _projects(model) for u in units_of(project, "LENGTHUNIT")]
    if not stated:
        raise InputError(f"{name}: the model states no length unit; export it again with its units")
    found = next((one for one in stated if one[0] > 0), None)
    if found is None:
        raise InputError(f"{name}: the model's length unit has no size; export it again with its units")
    return found


def named_size(unit: Entity) -> tuple[float, str]:
    """Return the millimetres in a length unit, and its name as people write it; what the file calls it is not looked at."""
    size = _size(unit) * 1000
    if size <= 0:
        return 0.0, "a unit without a size"
    for known in _NAMES:
        if abs(size / known - 1) < Fraction(1, 10**7):
            return float(known), _NAMES[known]
    return float(size), f"units of {float(size):g} mm"


def angle_unit(model: Entity) -> float:
    """Return the radians in one plane angle unit (1 where the model states none)."""
    unit = next((u for project in _projects(model) for u in units_of(project, "PLANEANGLEUNIT")), None)
    if unit is None or unit.is_a("IfcSIUnit"):
        return 1.0
    size = float(_size(unit))
    return pi / 180 if abs(size - pi / 180) < 1e-4 else size  # a degree is often stated with few digits, like 0.01745


def units_of(context: Entity, kind: str) -> list[Entity]:
    """Return the units of a kind (``LENGTHUNIT``) that a project or a project library assigns, in its order."""
    assigned = context.UnitsInContext
    return [u for u in (assigned.Units or () if assigned is not None else ()) if getattr(u, "UnitType", None) == kind]


def _projects(model: Entity) -> list[Entity]:
    return sorted(model.by_type("IfcProject"), key=lambda p: p.id())


def _size(unit: Entity, depth: int = 0) -> Fraction:
    """Size of a unit in its SI base unit."""
    if depth > 8:
        return Fraction(0)
    if unit.is_a("IfcSIUnit"):
        return Fraction(10) ** _PREFIX.get(unit.Prefix or "", 0)
    if unit.is_a("IfcConversionBasedUnit"):
        factor = unit.ConversionFactor
        return Fraction(str(factor.ValueComponent.wrappedValue)) * _size(factor.UnitComponent, depth + 1)
    return Fraction(0)


class Frames:
    """Placements of one model as 4 x 4 matrices, translations in millimetres.

    Parameters
    ----------
    scale : float
        Millimetres in one length unit.
    world : Matrix
        The coordinate system of the model's geometric context.
    """

    def __init__(self, scale: float, world: Matrix | None = None) -> None:
        self.scale = scale
        self.world = np.eye(4) if world is None else world
        self.get = Attributes()
        self._placed: dict[int, Matrix] = {}
        self._ways: dict[int, tuple[float, float, float]] = {}

    def point(self, entity: Entity) -> tuple[float, float, float]:
        """Return an IfcCartesianPoint in millimetres."""
        return self.coordinates(self.get(entity, "Coordinates"))

    def coordinates(self, values: Sequence[float]) -> tuple[float, float, float]:
        """Return two or three coordinates of the file as three in millimetres."""
        x, y, z = (*values, 0.0)[:3] if len(values) < 3 else values[:3]
        return self.length(x), self.length(y), self.length(z)

    def length(self, value: float) -> float:
        """Return a length of the file in millimetres.

        Raises
        ------
        Unreadable
            If it is no number, or longer than a hundred thousand kilometres.
        """
        length = float(value) * self.scale
        if not abs(length) < 1e11:
            raise Unreadable("a length in its data is beyond any building")
        return length

    def axes(self, entity: Entity | None) -> Matrix:
        """Return the matrix of an IfcAxis2Placement2D or 3D; None is the identity."""
        if entity is None:
            return np.eye(4)
        kind, get = entity.is_a(), self.get
        three = kind == "IfcAxis2Placement3D"
        if not three and kind != "IfcAxis2Placement2D":
            raise Unreadable(f"its placement is an {kind}, which this version cannot read")
        z = self._way(get(entity, "Axis") if three else None, _UP)
        x = self._way(get(entity, "RefDirection"), _AHEAD)
        origin = self.point(get(entity, "Location"))
        if z == _UP and x == _AHEAD:
            matrix = _PLAIN.copy()
            matrix[:3, 3] = origin
            return matrix
        return _matrix(x, z, origin)

    def _way(self, entity: Entity | None, default: tuple[float, float, float]) -> tuple[float, float, float]:
        """Return the unit vector of an IfcDirection; most of a model's placements share a few."""
        if entity is None:
            return default
        number = entity.id()
        if number not in self._ways:
            found = _ratios(entity, (0.0, 0.0, 0.0))
            if found == (0.0, 0.0, 0.0):
                return default
            self._ways[number] = found
        return self._ways[number]

    def placement(self, entity: Entity | None) -> Matrix:
        """Return the matrix of an object placement, its whole chain applied.

        Raises
        ------
        Unreadable
            If the chain is a circle or has another kind than IfcLocalPlacement.
        """
        chain: list[Entity] = []
        seen: set[int] = set()
        base = self.world
        while entity is not None:
            number = entity.id()
            if number in self._placed:
                base = self._placed[number]
                break
            if number in seen:
                raise Unreadable("its placement refers to itself in a circle")
            if entity.is_a() != "IfcLocalPlacement":
                raise Unreadable(f"it is placed by an {entity.is_a()}, which this version cannot read")
            seen.add(number)
            chain.append(entity)
            entity = self.get(entity, "PlacementRelTo")
        for one in reversed(chain):
            base = base @ self.axes(self.get(one, "RelativePlacement"))
            self._placed[one.id()] = base
        return base

    def operator(self, entity: Entity) -> Matrix:
        """Return the matrix of an IfcCartesianTransformationOperator2D or 3D, its scales included."""
        three = entity.is_a("IfcCartesianTransformationOperator3D")
        z = _direction(entity.Axis3 if three else None, (0.0, 0.0, 1.0))
        if entity.Axis1 is None and entity.Axis2 is not None:
            y = _direction(entity.Axis2, (0.0, 1.0, 0.0))
            matrix = _matrix(np.cross(y, z), z, self.point(entity.LocalOrigin))
        else:
            matrix = _matrix(_direction(entity.Axis1, (1.0, 0.0, 0.0)), z, self.point(entity.LocalOrigin))
        if entity.Axis2 is not None and float(np.dot(matrix[:3, 1], _direction(entity.Axis2, (0.0, 1.0, 0.0)))) < 0:
            matrix[:3, 1] *= -1  # a mirror
        one = float(entity.Scale) if entity.Scale is not None else 1.0
        two = getattr(entity, "Scale2", None)
        three_ = getattr(entity, "Scale3", None)
        matrix[:3, 0] *= one
        matrix[:3, 1] *= one if two is None else float(two)
        matrix[:3, 2] *= one if three_ is None else float(three_)
        if abs(float(np.linalg.det(matrix[:3, :3]))) < 1e-12:
            raise Unreadable("a mapping of its body has no size")
        return matrix


def world_frame(model: Entity, frames: Frames) -> Matrix:
    """Return the coordinate system of the model's 3D context (the first that has one)."""
    contexts = [c for c in model.by_type("IfcGeometricRepresentationContext") if not c.is_a("IfcGeometricRepresentationSubContext")]
    for context in sorted(contexts, key=lambda c: (c.ContextType != "Model", c.id())):
        if context.WorldCoordinateSystem is not None and context.CoordinateSpaceDimension == 3:
            return frames.axes(context.WorldCoordinateSystem)
    return np.eye(4)


def unit_vector(vector: Vector) -> Vector:
    """Return the vector with length 1; a vector that lies on an axis stays exactly there."""
    most = float(np.abs(vector).max())
    if not 0 < most < float("inf"):
        raise Unreadable("a direction in its geometry has no length")
    near = vector / most  # so that squares neither overflow nor vanish
    result: Vector = near / float(np.linalg.norm(near))
    return result


def _direction(entity: Entity | None, default: tuple[float, float, float]) -> Vector:
    return np.array(default) if entity is None else np.array(_ratios(entity, default))


def _ratios(entity: Entity | None, default: tuple[float, float, float]) -> tuple[float, float, float]:
    """Unit vector of an IfcDirection; by hand, because arrays of three numbers cost more to make than to use."""
    if entity is None:
        return default
    x, y, z = (*(float(v) for v in entity.DirectionRatios), 0.0)[:3]
    most = max(abs(x), abs(y), abs(z))
    if not most < float("inf"):
        raise Unreadable("a direction in its geometry has no length")
    if most == 0:
        return default
    x, y, z = x / most, y / most, z / most
    size = sqrt(x * x + y * y + z * z)
    return x / size, y / size, z / size


def _matrix(x: Sequence[float] | Vector, z: Sequence[float] | Vector, origin: tuple[float, float, float]) -> Matrix:
    matrix = np.empty((4, 4))
    matrix[3] = 0.0, 0.0, 0.0, 1.0
    matrix[:3, 3] = origin
    (zx, zy, zz), (xx, xy, xz) = ((float(v[0]), float(v[1]), float(v[2])) for v in (z, x))
    if (zx, zy) != (0.0, 0.0) or xz != 0.0:
        along = xx * zx + xy * zy + xz * zz
        xx, xy, xz = xx - along * zx, xy - along * zy, xz - along * zz
        if max(abs(xx), abs(xy), abs(xz)) < 1e-9:  # the reference lies on the axis: any perpendicular serves
            xx, xy, xz = (1.0, 0.0, 0.0) if abs(zx) < 0.9 else (0.0, 1.0, 0.0)
            along = xx * zx + xy * zy + xz * zz
            xx, xy, xz = xx - along * zx, xy - along * zy, xz - along * zz
        size = sqrt(xx * xx + xy * xy + xz * xz)
        xx, xy, xz = xx / size, xy / size, xz / size
    matrix[:3, 0] = xx, xy, xz
    matrix[:3, 1] = zy * xz - zz * xy, zz * xx - zx * xz, zx * xy - zy * xx
    matrix[:3, 2] = zx, zy, zz
    return matrix
