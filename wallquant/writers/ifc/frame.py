"""The frame of layout.ifc: project, units, context, storeys, and the design walls that pieces are linked to."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from wallquant.building import MapPlace, SetAside, Wall
from wallquant.units import MM
from wallquant.writers.ifc.spf import GLOBAL_ID, NULL, Lines, exact, guid, real, reals, refs, text
from wallquant.writers.plan import Plan


@dataclass(frozen=True, kw_only=True, slots=True)
class Frame:
    """What all else hangs on: numbers of entities that are written.

    Attributes
    ----------
    lines : Lines
    project : str
        Key of all GlobalIds: the source's project, else the model's name.
    root, body, plane : int
        The project, the body context, and the placement of the building.
    storeys : dict of str to (int, int, int)
        Storey, its placement and its level in nanometres, by name.
    origin : (int, int)
        Plan point of the model that is (0, 0) in the plan.
    walls : dict of str to (int, str)
        The design wall and its storey, by GlobalId.
    """

    lines: Lines
    project: str
    root: int
    body: int
    plane: int
    building: int
    storeys: dict[str, tuple[int, int, int]] = field(default_factory=dict)
    origin: tuple[int, int] = (0, 0)
    walls: dict[str, tuple[int, str]] = field(default_factory=dict)

    @classmethod
    def of(cls, plan: Plan, lines: Lines) -> Frame:
        """Write project, context, site, building, storeys and design walls."""
        model = plan.building
        project = model.project_guid if GLOBAL_ID.fullmatch(model.project_guid) else plan.model
        world = lines.shared("IFCCARTESIANPOINT", reals((0, 0, 0)))
        axes = lines.shared("IFCAXIS2PLACEMENT3D", world, NULL, NULL)
        units = [
            lines.add("IFCSIUNIT", "*", f".{kind}.", f".{prefix}." if prefix else NULL, f".{name}.")
            for kind, prefix, name in (
                ("LENGTHUNIT", "MILLI", "METRE"), ("AREAUNIT", "", "SQUARE_METRE"), ("VOLUMEUNIT", "", "CUBIC_METRE"),
                ("PLANEANGLEUNIT", "", "RADIAN"), ("MASSUNIT", "KILO", "GRAM"), ("TIMEUNIT", "", "SECOND"),
            )
        ]  # fmt: skip
        context = lines.add("IFCGEOMETRICREPRESENTATIONCONTEXT", NULL, "'Model'", "3", "1.E-05", axes, NULL)
        body = lines.add("IFCGEOMETRICREPRESENTATIONSUBCONTEXT", "'Body'", "'Model'", *("*",) * 4, context, NULL, ".MODEL_VIEW.", NULL)
        if model.map_place is not None:
            _map(lines, context, model.map_place)
        root = lines.add(
            "IFCPROJECT", text(model.project_guid if GLOBAL_ID.fullmatch(model.project_guid) else guid(project, "project")), NULL,
            text(model.name or plan.model), text("Block layout; no structural design"), NULL, NULL, NULL, refs([context]),
            lines.add("IFCUNITASSIGNMENT", refs(units)),
        )  # fmt: skip
        site_at = lines.placement(NULL, world)
        site = lines.add(
            "IFCSITE", text(guid(project, "site")), NULL, text("Site"), NULL, NULL, site_at, NULL, NULL, ".ELEMENT.", *(NULL,) * 5
        )
        at = lines.placement(site_at, world)
        house = lines.add(
            "IFCBUILDING", text(guid(project, "building")), NULL, text(model.name or "Building"), NULL, NULL, at, NULL, NULL,
            ".ELEMENT.", NULL, NULL, NULL,
        )  # fmt: skip
        frame = cls(lines=lines, project=project, root=root, body=body, plane=at, building=house, origin=model.origin)
        frame.aggregate("site", root, [site])
        frame.aggregate("house", site, [house])
        frame._storeys(plan)
        frame._walls(plan)
        return frame

    def _storeys(self, plan: Plan) -> None:
        known = {s.name: (s.guid, s.level) for s in plan.building.storeys}
        named = {r.storey for r in plan.work.runs.values()} | {w.storey for w in plan.building.walls}
        named |= {s.storey for s in plan.set_aside}
        for name in sorted(named - set(known)):
            known[name] = ("", min((r.bottom for r in plan.work.runs.values() if r.storey == name), default=0))
        for name, (key, level) in known.items():
            at = self.lines.placement(self.plane, self.lines.point(0, 0, level / MM))
            storey = self.lines.add(
                "IFCBUILDINGSTOREY", text(key if GLOBAL_ID.fullmatch(key) else guid(self.project, "storey", name)), NULL,
                text(name or "Storey"), NULL, NULL, at, NULL, NULL, ".ELEMENT.", real(level / MM),
            )  # fmt: skip
            self.storeys[name] = (storey, at, level)
        self.aggregate("storeys", self.building, [s for s, _, _ in self.storeys.values()])

    def _walls(self, plan: Plan) -> None:
        """Write each wall of the model again without a shape, under its own GlobalId, so that what is laid can be linked to it."""
        element, names = plan.element_of(), plan.name_of()
        drawn: list[Wall | SetAside] = [*plan.building.walls, *plan.set_aside]
        for one in drawn:
            key = element.get(one.guid, one.guid)
            if key not in self.walls:
                self.walls[key] = (
                    self.lines.add(
                        "IFCWALL", text(key if GLOBAL_ID.fullmatch(key) else guid(self.project, "wall", key)), NULL,
                        text(names.get(key) or one.name or key), text("Design wall; its shape is in the source model"), NULL,
                        self.lines.placement(self.storeys[one.storey][1], self.lines.shared("IFCCARTESIANPOINT", reals((0, 0, 0)))),
                        NULL, NULL, NULL,
                    ),
                    one.storey,
                )  # fmt: skip

    def aggregate(self, key: str, whole: int, parts: Sequence[int]) -> None:
        """Say that parts make up a whole."""
        if parts:
            self.lines.add("IFCRELAGGREGATES", text(guid(self.project, "aggregates", key)), NULL, NULL, NULL, whole, refs(parts))

    def close(self, assemblies: Mapping[int, str], of_wall: Mapping[str, Sequence[int]]) -> None:
        """Put assemblies (number to storey) and design walls into storeys, and link pieces to their walls."""
        lines = self.lines
        for name, (storey, _, _) in self.storeys.items():
            inside = [n for n, where in assemblies.items() if where == name] + [n for n, where in self.walls.values() if where == name]
            if inside:
                key = text(guid(self.project, "contains", name))
                lines.add("IFCRELCONTAINEDINSPATIALSTRUCTURE", key, NULL, NULL, NULL, refs(inside), storey)
        for key, parts in of_wall.items():
            if key in self.walls and parts:
                lines.add(
                    "IFCRELASSIGNSTOPRODUCT", text(guid(self.project, "laid", key)), NULL, NULL, NULL, refs(parts), NULL, self.walls[key][0]
                )


def _map(lines: Lines, context: int, at: MapPlace) -> None:
    """Write where the model lies on the map, as its source says."""
    east, north = (NULL, NULL) if at.way is None else (exact(v) for v in at.way)
    system = lines.add("IFCPROJECTEDCRS", *(NULL if name is None else text(name) for name in at.system), _unit(lines, *at.unit))
    numbers = (exact(v) for v in (at.eastings, at.northings, at.height))
    lines.add("IFCMAPCONVERSION", context, system, *numbers, east, north, NULL if at.scale is None else exact(at.scale))


def _unit(lines: Lines, name: str, size: float) -> int:
    """Write a length unit of so many millimetres."""
    prefix = {1.0: ".MILLI.", 10.0: ".CENTI.", 100.0: ".DECI.", 1000.0: NULL, 1e6: ".KILO."}.get(size)
    if prefix is not None:
        return lines.add("IFCSIUNIT", "*", ".LENGTHUNIT.", prefix, ".METRE.")
    metre = lines.add("IFCSIUNIT", "*", ".LENGTHUNIT.", NULL, ".METRE.")
    value = lines.add("IFCMEASUREWITHUNIT", f"IFCLENGTHMEASURE({exact(size / 1000)})", metre)
    power = lines.add("IFCDIMENSIONALEXPONENTS", "1", *("0",) * 6)
    return lines.add("IFCCONVERSIONBASEDUNIT", power, ".LENGTHUNIT.", text(name), value)
