"""findings.bcf: a topic for each finding, with a viewpoint that looks at its place and selects what it is about.

Components are named by GlobalId: design walls and openings of the source model, runs and pieces of layout.ifc.
Source: BCF-XML 2.1 (buildingSMART), markup.xsd and visinfo.xsd; lengths are metres there.
"""

from __future__ import annotations

import re
import zipfile
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from math import hypot
from pathlib import Path
from typing import TYPE_CHECKING
from uuid import NAMESPACE_URL, uuid5
from xml.etree import ElementTree as Xml

import numpy as np

from wallquant.findings import Finding
from wallquant.layout import Run
from wallquant.units import Nm
from wallquant.writers.ifc.spf import GLOBAL_ID, guid

if TYPE_CHECKING:
    from wallquant.writers.plan import Plan

FILE = "findings.bcf"
METRE = 1e9
MOST = 1000
"""Components of one viewpoint at most: viewers stall on more."""
WHEN = "2000-01-01T00:00:00Z"
"""A fixed time, since equal plans give equal files."""
WHO = "wallquant"
PRIORITY = {"error": "high", "warning": "normal", "note": "low"}
NEAR, STEEP, WIDE = 2.5, 0.35, 60.0
"""Least distance of the eye in metres, how far it looks down (tangent), its field of view in degrees."""
_BAD = re.compile("[^\t\n\r\x20-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")
"""What XML 1.0 cannot hold."""


@dataclass(frozen=True, kw_only=True, slots=True)
class _View:
    """Where to look: the middle of the place in metres, its extent, the horizontal direction of the look, and what is selected."""

    at: tuple[float, float, float]
    size: float
    along: tuple[float, float]
    guids: tuple[str, ...] = ()


@dataclass(frozen=True, kw_only=True, slots=True)
class _Places:
    """Finds the places of findings in the model's coordinates."""

    plan: Plan
    project: str
    rows: dict[str, tuple[int, int]] = field(default_factory=dict)
    piece: dict[str, int] = field(default_factory=dict)

    @classmethod
    def of(cls, plan: Plan) -> _Places:
        pieces, project = plan.work.pieces, plan.building.project_guid
        first = np.searchsorted(pieces.run, np.arange(len(pieces.runs) + 1)).tolist()
        return cls(
            plan=plan,
            project=project if GLOBAL_ID.fullmatch(project) else plan.model,
            rows={name: (first[n], first[n + 1]) for n, name in enumerate(pieces.runs)},
            piece={name: n for n, name in enumerate(pieces.names)},
        )

    def look(self, finding: Finding) -> _View:
        """Return where a finding is: its piece, stretch, course, opening, run, corner or wall; else the whole building."""
        place, work = finding.place, self.plan.work
        run = work.runs.get(place.run)
        if run is None and place.corner in work.corners:
            corner = work.corners[place.corner]
            low = min((work.runs[n].bottom for n in corner.runs if n in work.runs), default=0)
            return self._view((*corner.at, low + METRE), 2.0, (0, 1), [guid(self.project, "run", n) for n in corner.runs])
        if run is None:
            return self._wall(place.wall)
        start, end = run.parts[0].start, run.parts[-1].end
        low, high = run.bottom, max(z for _, z in run.top)
        opening = next((o for o in run.openings if o.key == place.opening), None)
        if place.piece in self.piece:
            row, pieces = self.piece[place.piece], work.pieces
            start, end = int(pieces.start[row]), int(pieces.end[row])
            low, high = int(pieces.bottom[row]), int(pieces.top[row])
        elif opening is not None:
            start, end, low, high = opening.start, opening.end, opening.sill, opening.head
        elif place.course is not None and 1 <= place.course <= len(work.courses[run.name]):
            level = work.courses[run.name].levels[place.course - 1]
            low, high = level.bottom, level.top
        if place.start is not None:
            start, end = place.start, place.end if place.end is not None else place.start
        middle = (*run.at((start + end) // 2), (low + high) / 2)
        chosen = [*self._pieces(run, start, end, low, high), *self._designed(place.wall, place.opening)]
        return self._view(middle, max(end - start, high - low) / METRE, (-run.direction[1], run.direction[0]), chosen)

    def _pieces(self, run: Run, start: Nm, end: Nm, low: Nm, high: Nm) -> Iterator[str]:
        """GlobalIds of the pieces in a stretch; of the run where there are none, or too many to tell apart."""
        pieces, (first, last) = self.plan.work.pieces, self.rows.get(run.name, (0, 0))
        rows = np.arange(first, last)
        rows = rows[(pieces.start[rows] <= end) & (pieces.end[rows] >= start) & (pieces.bottom[rows] < high) & (pieces.top[rows] > low)]
        if not len(rows) or len(rows) == last - first or len(rows) > MOST // 2:
            yield guid(self.project, "run", run.name)
        else:
            yield from (guid(self.project, "piece", pieces.names[r]) for r in rows.tolist())

    def _designed(self, *keys: str) -> Iterator[str]:
        for key in keys:
            own = key.partition("#")[0]
            if GLOBAL_ID.fullmatch(own):
                yield own

    def _wall(self, key: str) -> _View:
        plan = self.plan
        known = {w.guid: w.footprint for w in plan.building.walls} | {s.guid: s.footprint for s in plan.set_aside}
        every = [p for outline in known.values() for p in outline]
        points = list(known.get(key, ())) or every or [(0, 0)]
        x, y = (sum(p[i] for p in points) / len(points) for i in (0, 1))
        size = max(max(p[i] for p in points) - min(p[i] for p in points) for i in (0, 1)) / METRE
        levels = [w.bottom for w in plan.building.walls if w.guid == key] or [s.level for s in plan.building.storeys] or [0]
        return self._view((x, y, min(levels) + METRE), size, (0, 1), list(self._designed(key)))

    def _view(self, at: Sequence[float], size: float, along: tuple[float, float], guids: Sequence[str]) -> _View:
        x0, y0 = self.plan.building.origin
        middle = ((at[0] + x0) / METRE, (at[1] + y0) / METRE, at[2] / METRE)
        return _View(at=middle, size=size, along=along, guids=tuple(dict.fromkeys(guids))[:MOST])


def write(plan: Plan, folder: Path) -> None:
    """Write findings.bcf.

    Parameters
    ----------
    plan : Plan
    folder : Path
    """
    places = _Places.of(plan)
    version = Xml.Element("Version", VersionId="2.1")
    Xml.SubElement(version, "DetailedVersion").text = "2.1"
    used: dict[str, int] = {}
    with zipfile.ZipFile(folder / FILE, "w", zipfile.ZIP_DEFLATED) as out:
        _put(out, "bcf.version", version)
        for n, one in enumerate(plan.findings):
            key = "\x1f".join((places.project, one.code, one.text, *(str(getattr(one.place, k)) for k in ("wall", "run", "corner"))))
            used[key] = used.get(key, 0) + 1  # equal findings are told apart by their count
            topic, view = (str(uuid5(NAMESPACE_URL, f"{what}\x1f{key}\x1f{used[key]}")) for what in ("topic", "viewpoint"))
            _put(out, f"{topic}/markup.bcf", _markup(plan, one, n, topic, view))
            _put(out, f"{topic}/viewpoint.bcfv", _viewpoint(places.look(one), view))


def _put(out: zipfile.ZipFile, name: str, root: Xml.Element) -> None:
    Xml.indent(root)
    told = zipfile.ZipInfo(name)  # its time is the format's first, 1980
    told.compress_type = zipfile.ZIP_DEFLATED
    out.writestr(told, Xml.tostring(root, encoding="UTF-8", xml_declaration=True))


def _say(parent: Xml.Element, name: str, text: str) -> None:
    Xml.SubElement(parent, name).text = _BAD.sub(" ", text)


def _markup(plan: Plan, finding: Finding, n: int, topic: str, view: str) -> Xml.Element:
    root = Xml.Element("Markup")
    project = plan.building.project_guid
    file = Xml.SubElement(Xml.SubElement(root, "Header"), "File", {"IfcProject": project} if GLOBAL_ID.fullmatch(project) else {})
    file.set("IsExternal", "true")
    _say(file, "Filename", plan.model)
    about = Xml.SubElement(root, "Topic", Guid=topic, TopicType=finding.severity, TopicStatus="open")
    _say(about, "Title", _title(finding))
    _say(about, "Priority", PRIORITY[finding.severity])
    _say(about, "Index", str(n + 1))
    for rule in finding.rules:
        _say(about, "Labels", rule)
    _say(about, "CreationDate", WHEN)
    _say(about, "CreationAuthor", WHO)
    _say(about, "Description", finding.text)
    comment = Xml.SubElement(root, "Comment", Guid=str(uuid5(NAMESPACE_URL, f"comment\x1f{topic}")))
    _say(comment, "Date", WHEN)
    _say(comment, "Author", WHO)
    seen = [f"Found: {finding.measured}."] * bool(finding.measured) + [f"Wanted: {finding.wanted}."] * bool(finding.wanted)
    times = [f"The same at {finding.times - 1} more places."] * (finding.times > 1)
    _say(comment, "Comment", " ".join([finding.text, *seen, *times]))
    Xml.SubElement(comment, "Viewpoint", Guid=view)
    _say(Xml.SubElement(root, "Viewpoints", Guid=view), "Viewpoint", "viewpoint.bcfv")
    return root


def _title(finding: Finding) -> str:
    """The place, and the first words of the sentence."""
    p = finding.place
    where = " ".join(w for w in (p.storey, p.run or p.corner, f"course {p.course}" if p.course else "") if w)
    words = finding.text.split(". ")[0]
    short = words if len(words) <= 90 else words[:90].rsplit(" ", 1)[0] + " ..."
    return f"{where}: {short}" if where else short


def _viewpoint(view: _View, key: str) -> Xml.Element:
    root = Xml.Element("VisualizationInfo", Guid=key)
    parts = Xml.SubElement(root, "Components")
    if view.guids:
        chosen = Xml.SubElement(parts, "Selection")
        for one in view.guids:
            Xml.SubElement(chosen, "Component", IfcGuid=one)
    Xml.SubElement(parts, "Visibility", DefaultVisibility="true")
    away = max(NEAR, 1.2 * view.size)
    (u, v), (x, y, z) = view.along, view.at
    long = hypot(1, STEEP)
    camera = Xml.SubElement(root, "PerspectiveCamera")
    for name, point in (
        ("CameraViewPoint", (x - u * away, y - v * away, z + STEEP * away)),
        ("CameraDirection", (u / long, v / long, -STEEP / long)),
        ("CameraUpVector", (u * STEEP / long, v * STEEP / long, 1 / long)),
    ):
        held = Xml.SubElement(camera, name)
        for axis, value in zip("XYZ", point, strict=True):
            _say(held, axis, repr(round(float(value), 6) + 0.0))
    _say(camera, "FieldOfView", repr(WIDE))
    return root
