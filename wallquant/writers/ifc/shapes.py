"""Shapes of pieces: each different one is written once, as a type with a map that its pieces repeat."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from wallquant.layout import Pieces
from wallquant.masonry import Unit
from wallquant.units import MM, Nm
from wallquant.writers.ifc.spf import NULL, Lines, guid, real, reals, refs, text

Outline = tuple[tuple[Nm, Nm], ...]
COLOURS = {"standard": (0.86, 0.85, 0.81), "core": (0.74, 0.80, 0.86), "U": (0.80, 0.76, 0.87), "lintel": (0.66, 0.64, 0.62)}
CUT_COLOUR = (0.93, 0.78, 0.55)
ITEM_COLOUR = (0.35, 0.37, 0.42)


@dataclass(frozen=True, kw_only=True, slots=True)
class Shape:
    """The outer shape of a piece about its start on the run's centre line, at its underside; nanometres.

    `elevation` is its outline in station and level, `plan` in station and offset, where it is no box.
    """

    unit: str
    kind: str
    length: Nm
    height: Nm
    thickness: Nm
    whole: bool
    elevation: Outline = ()
    plan: Outline = ()

    @classmethod
    def of(cls, pieces: Pieces, row: int, unit: Unit, thickness: Nm) -> Shape:
        """Return the shape of a piece."""
        start, bottom = int(pieces.start[row]), int(pieces.bottom[row])
        return cls(
            unit=unit.code,
            kind=unit.kind,
            length=int(pieces.end[row]) - start,
            height=int(pieces.top[row]) - bottom,
            thickness=thickness,
            whole=not pieces.cut[row],
            elevation=tuple((s - start, z - bottom) for s, z in pieces.elevation.get(row, ())),
            plan=tuple((s - start, d) for s, d in pieces.plan.get(row, ())),
        )

    @property
    def name(self) -> str:
        """What people read: the unit, and the size where it is cut."""
        if self.whole:
            return self.unit
        bevel = ", raked" * bool(self.elevation) + ", mitred" * bool(self.plan)
        return f"{self.unit}, {self.length / MM:g} x {self.height / MM:g} mm{bevel}"


@dataclass(kw_only=True, slots=True)
class Shapes:
    """Writes shapes as types; `mapped` are the items that pieces repeat, by shape."""

    lines: Lines
    project: str
    body: int
    types: dict[Shape, int] = field(default_factory=dict)
    mapped: dict[Shape, int] = field(default_factory=dict)
    names: dict[str, int] = field(default_factory=dict)

    def add(self, shape: Shape) -> int:
        """Return the number of the mapped item of a shape."""
        if shape in self.mapped:
            return self.mapped[shape]
        lines = self.lines
        solid, kind = self._solid(shape)
        style(lines, solid, COLOURS[shape.kind] if shape.whole else CUT_COLOUR)
        drawn = lines.add("IFCSHAPEREPRESENTATION", self.body, "'Body'", f"'{kind}'", refs([solid]))
        origin = lines.shared("IFCCARTESIANPOINT", reals((0, 0, 0)))
        at = lines.shared("IFCAXIS2PLACEMENT3D", origin, NULL, NULL)
        shape_map = lines.add("IFCREPRESENTATIONMAP", at, drawn)
        target = lines.shared("IFCCARTESIANTRANSFORMATIONOPERATOR3D", NULL, NULL, origin, NULL, NULL)
        self.mapped[shape] = lines.add("IFCMAPPEDITEM", shape_map, target)
        self.types[shape] = lines.add(
            "IFCBUILDINGELEMENTPARTTYPE", text(guid(self.project, "type", repr(shape))), NULL, text(self._unique(shape.name)), NULL, NULL,
            NULL, refs([shape_map]), NULL, text(shape.kind), ".USERDEFINED.",
        )  # fmt: skip
        return self.mapped[shape]

    def _unique(self, name: str) -> str:
        """Types are told apart by name: mirrored pieces of one size get a letter."""
        self.names[name] = self.names.get(name, 0) + 1
        return name if self.names[name] == 1 else f"{name} ({self.names[name]})"

    def _solid(self, shape: Shape) -> tuple[int, str]:
        """Write the body; the piece is where its elevation and its plan both hold."""
        half = shape.thickness // 2
        upright = ((0, -half), (shape.length, -half), (shape.length, shape.thickness - half), (0, shape.thickness - half))
        if not shape.elevation:
            return self._up(shape.plan or upright, shape.height), "SweptSolid"
        side = self._across(shape.elevation, shape.thickness)
        if not shape.plan:
            return side, "SweptSolid"
        return self.lines.add("IFCBOOLEANRESULT", ".INTERSECTION.", side, self._up(shape.plan, shape.height)), "CSG"

    def _up(self, outline: Outline, height: Nm) -> int:
        """Extrude an outline in plan up from the underside."""
        lines = self.lines
        at = lines.shared("IFCAXIS2PLACEMENT3D", lines.shared("IFCCARTESIANPOINT", reals((0, 0, 0))), NULL, NULL)
        up = lines.direction(0, 0, 1)
        return lines.add("IFCEXTRUDEDAREASOLID", profile(lines, outline), at, up, real(height / MM))

    def _across(self, outline: Outline, thickness: Nm) -> int:
        """Extrude an outline in elevation from the right face to the left: its own axes are station, level and, forward, offset."""
        lines = self.lines
        right = lines.point(0, (thickness - thickness // 2) / MM, 0)
        # local z = -offset keeps station and level as they are: x cross y = z
        at = lines.add("IFCAXIS2PLACEMENT3D", right, lines.direction(0, -1, 0), lines.direction(1, 0, 0))
        return lines.add("IFCEXTRUDEDAREASOLID", profile(lines, outline), at, lines.direction(0, 0, 1), real(thickness / MM))


def profile(lines: Lines, outline: Sequence[tuple[Nm, Nm]]) -> int:
    """Write a closed outline, anticlockwise."""
    turn = sum(a[0] * b[1] - b[0] * a[1] for a, b in zip(outline, (*outline[1:], outline[0]), strict=True))
    ring = list(outline) if turn > 0 else list(reversed(outline))
    points = [lines.add("IFCCARTESIANPOINT", reals((x / MM, y / MM))) for x, y in ring]
    return lines.add("IFCARBITRARYCLOSEDPROFILEDEF", ".AREA.", NULL, lines.add("IFCPOLYLINE", refs([*points, points[0]])))


def style(lines: Lines, item: int, colour: tuple[float, float, float]) -> None:
    """Give an item a colour."""
    rgb = lines.shared("IFCCOLOURRGB", NULL, *(real(c) for c in colour))
    shading = lines.shared("IFCSURFACESTYLESHADING", rgb, "0.")
    surface = lines.shared("IFCSURFACESTYLE", NULL, ".BOTH.", refs([shading]))
    lines.add("IFCSTYLEDITEM", item, refs([surface]), NULL)
