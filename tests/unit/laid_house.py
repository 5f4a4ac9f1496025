"""Small houses from plain numbers, laid by the real stages, and what must hold of every laid house, checked in memory.

Lengths are millimetres; a wall goes from one middle of an end face to the other.
"""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from math import hypot
from typing import Any

import numpy as np
import shapely

from wallquant import catalogue as catalogues
from wallquant import graph, plugins
from wallquant import job as jobs
from wallquant.bonding import Account, Bond, bond
from wallquant.building import Building, Opening, Wall
from wallquant.catalogue import Catalogue
from wallquant.files import LEDGER
from wallquant.findings import Finding
from wallquant.graph import Network
from wallquant.job import Job
from wallquant.rules import Rule
from wallquant.units import MM, mm

RULES = tuple(plugins.load().rules.values())
SIGNS = dict.fromkeys(LEDGER, 1.0) | dict.fromkeys(("openings", "finishes", "set_aside", "lent", "laid"), -1.0)
XY = tuple[float, float]
Hole = tuple[float, float, float, float]
"""Start, end, sill, head; sill and head are heights above the wall's bottom."""


@dataclass(frozen=True, kw_only=True)
class House:
    """A laid house with all that was told of it."""

    building: Building
    network: Network
    bond: Bond
    findings: tuple[Finding, ...]

    @property
    def work(self) -> Any:
        return self.bond.work

    def row(self, run: str, course: int) -> list[tuple[float, float]]:
        """Return the pieces of a course: start and end in millimetres."""
        p = self.work.pieces
        at = p.runs.index(run)
        rows = np.flatnonzero((p.run == at) & (p.course == course))
        return sorted((float(p.start[k]) / MM, float(p.end[k]) / MM) for k in rows)

    def codes(self) -> set[str]:
        return {f.code for f in self.findings}

    def account(self, wall: str) -> Account:
        return next(a for a in self.bond.accounts if a.wall == wall)

    def items(self, kind: str) -> list[Any]:
        return [i for i in self.work.items if i.kind == kind]


def wall(
    name: str,
    start: XY,
    end: XY,
    *,
    thickness: float = 200,
    height: float = 2400,
    bottom: float = 0,
    top: Sequence[XY] = (),
    openings: Sequence[Hole] = (),
    bearing: bool | None = True,
) -> Wall:
    """Make a wall; `top` are stations and heights above its bottom."""
    length = hypot(end[0] - start[0], end[1] - start[1])
    base, thick = mm(bottom), mm(thickness)
    profile = tuple((mm(s), base + mm(z)) for s, z in top) or ((0, base + mm(height)), (mm(length), base + mm(height)))
    area = sum((b - a) * (p + q - 2 * base) / 2 for (a, p), (b, q) in itertools.pairwise(profile))
    return Wall(
        guid=name,
        name=name,
        storey="",
        start=(mm(start[0]), mm(start[1])),
        end=(mm(end[0]), mm(end[1])),
        thickness=thick,
        bottom=base,
        top=profile,
        footprint=(),
        drawn_m3=area * thick / 1e27,
        openings=tuple(
            Opening(key=f"{name}#{n}", start=mm(a), end=mm(b), sill=base + mm(s), head=base + mm(h))
            for n, (a, b, s, h) in enumerate(sorted(openings), start=1)
        ),
        bearing=bearing,
    )


def lay(
    walls: Sequence[Wall],
    *,
    catalogue: str | Catalogue = "aac-metric",
    settings: Mapping[str, Mapping[str, Any]] | None = None,
    heads: Mapping[str, int] | None = None,
    sills: Mapping[str, int] | None = None,
    any_thickness: bool = False,
    more_rules: Sequence[Rule] = (),
    rules_off: Sequence[str] = (),
) -> House:
    """Lay walls with all rules of the pack but those off, and ask the rules for their findings."""
    book = catalogues.load(catalogue) if isinstance(catalogue, str) else catalogue
    building = Building(walls=tuple(walls), unit=book.system)
    rules = (*jobs.configure(Job(rules=dict(settings or {}), rules_off=tuple(rules_off)), RULES), *more_rules)
    network, told = graph.build(building, book, any_thickness=any_thickness)
    laid, more = bond(network, building, rules, heads=heads, sills=sills, system=book.system)
    said = [f for rule in rules for f in rule.findings(laid.work)]
    return House(building=building, network=network, bond=laid, findings=(*told, *more, *said))


def checked(house: House) -> House:
    """Check what must hold of every laid house; return it."""
    assert not overlaps(house)
    assert not too_small(house)
    assert not hanging(house)
    for account in house.bond.accounts:
        assert abs(residual(account)) < 1e-6, account
        area = account.area
        assert abs(area["wall"] - area["openings"] - area["set_aside"] - area["laid"]) < 1e-6
        assert min(area.values()) > -1e-9
    assert house.bond.cuts >= house.bond.bound
    laid = {a.wall for a in house.bond.accounts}
    aside = {a.guid: a.reason for a in house.network.set_aside}
    assert laid.isdisjoint(aside)
    assert laid | set(aside) == {w.guid for w in house.building.walls}
    assert all(aside.values())
    for account in house.bond.accounts:
        if account.area["set_aside"] > 1e-6:
            assert account.reasons, account
    return house


def residual(account: Account) -> float:
    """Return what a ledger leaves over, m3."""
    return sum(SIGNS[term] * account.ledger[term] for term in LEDGER)


def footprints(house: House) -> Any:
    """Return the outline in plan of every piece, millimetres."""
    p, runs = house.work.pieces, house.work.runs
    out = []
    for k in range(len(p)):
        run = runs[p.runs[int(p.run[k])]]
        half, start, end = run.thickness // 2, int(p.start[k]), int(p.end[k])
        corners = [run.at(*point) for point in p.plan.get(k, ((start, -half), (end, -half), (end, half), (start, half)))]
        out.append(shapely.Polygon([(x / MM, y / MM) for x, y in corners]))
    return np.array(out)


def overlaps(house: House) -> list[str]:
    """Return pairs of pieces that take the same space."""
    p, plan = house.work.pieces, footprints(house)
    if not len(plan):
        return []
    one, two = shapely.STRtree(plan).query(plan, predicate="intersects")
    found = []
    for a, b in zip(one.tolist(), two.tolist(), strict=True):
        if a >= b or min(p.top[a], p.top[b]) - max(p.bottom[a], p.bottom[b]) <= MM // 100:
            continue
        if shapely.intersection(plan[a], plan[b]).area <= 1:
            continue
        if p.run[a] == p.run[b] and (a in p.elevation or b in p.elevation) and side(house, a).intersection(side(house, b)).area <= 1:
            continue
        found.append(f"{p.names[a]} {p.names[b]}")
    return found


def side(house: House, row: int) -> Any:
    """Return the elevation of a piece, millimetres."""
    p = house.work.pieces
    if row in p.elevation:
        return shapely.Polygon([(s / MM, z / MM) for s, z in p.elevation[row]])
    return shapely.box(p.start[row] / MM, p.bottom[row] / MM, p.end[row] / MM, p.top[row] / MM)


def too_small(house: House) -> list[str]:
    """Return pieces under the least piece (raked: by mean length) or the least rip."""
    p, book = house.work.pieces, house.work.catalogue
    found = []
    for k in range(len(p)):
        high = int(p.top[k] - p.bottom[k])
        mean = side(house, k).area * MM / high * MM
        if k in p.plan:
            mean = shapely.Polygon(p.plan[k]).area / house.work.runs[p.runs[int(p.run[k])]].thickness
        if mean < book.least_actual - 1 or high < min(book.least_rip, book.least_strip):
            found.append(f"{p.names[k]} {mean / MM:.3f} x {high / MM:.3f}")
    return found


def hanging(house: House) -> list[str]:
    """Return pieces, lintels aside, of which less than half or not both ends lie on something."""
    p, plan = house.work.pieces, footprints(house)
    bed = house.work.catalogue.bed.most
    if not len(plan):
        return []
    tree = shapely.STRtree(plan)
    tops = [_flat(p, k) for k in range(len(p))]
    found = []
    for k in range(len(p)):
        run = house.work.runs[p.runs[int(p.run[k])]]
        if p.bottom[k] - run.bottom <= house.work.catalogue.levelling_bed.most:
            continue
        under = [
            j for j in tree.query(plan[k], predicate="intersects").tolist() if tops[j] is not None and 0 < p.bottom[k] - p.top[j] <= bed
        ]
        held = [shapely.intersection(plan[k], _shortened(house, plan, j, tops[j])) for j in under]
        share = sum(h.area for h in held) / plan[k].area
        ends = [run.at(int(p.start[k])), run.at(int(p.end[k]))]
        reach = min(100.0, (p.end[k] - p.start[k]) / 4 / MM)
        both = all(any(h.area > 1 and h.distance(shapely.Point(x / MM, y / MM)) <= reach for h in held) for x, y in ends)
        lintel = p.units[int(p.unit[k])].kind == "lintel"
        if not both or (share < 0.5 and not lintel):
            found.append(f"{p.names[k]} {share:.2f} {both}")
    return found


def _flat(p: Any, row: int) -> tuple[int, int] | None:
    """Return the stations of the level top of a piece."""
    if row not in p.elevation:
        return int(p.start[row]), int(p.end[row])
    at = [s for s, z in p.elevation[row] if z == p.top[row]]
    return (min(at), max(at)) if len(at) > 1 else None


def _shortened(house: House, plan: Any, row: int, flat: tuple[int, int] | None) -> Any:
    p = house.work.pieces
    if row not in p.elevation or flat is None:
        return plan[row]
    run = house.work.runs[p.runs[int(p.run[row])]]
    half = run.thickness // 2
    corners = [run.at(flat[0], -half), run.at(flat[1], -half), run.at(flat[1], half), run.at(flat[0], half)]
    return shapely.Polygon([(x / MM, y / MM) for x, y in corners])


def columns(house: House) -> dict[str, Any]:
    """Return every column of the pieces, to compare two plans."""
    p = house.work.pieces
    out = {name: getattr(p, name).tolist() for name in ("run", "course", "place", "unit", "cut", "start", "end", "bottom", "top", "fixed")}
    return out | {
        "names": p.names,
        "runs": p.runs,
        "walls": [p.walls[k] for k in p.wall.tolist()],
        "units": [p.units[k].code for k in p.unit.tolist()],
        "volume": p.volume.tolist(),
        "elevation": dict(p.elevation),
    }


def turned(one: Wall) -> Wall:
    """Return the wall drawn the other way round."""
    length = one.length
    return replace(
        one,
        start=one.end,
        end=one.start,
        top=tuple((length - s, z) for s, z in reversed(one.top)),
        openings=tuple(replace(o, start=length - o.end, end=length - o.start) for o in reversed(one.openings)),
    )


def ring(length: float, width: float, *, thickness: float = 200, height: float = 2410, prefix: str = "W") -> list[Wall]:
    """Return four walls around outside dimensions, each from axis to axis less half a thickness at its end (drawn butting)."""
    t = thickness / 2
    x, y = length - t, width - t
    return [
        wall(f"{prefix}1", (0, t), (length, t), thickness=thickness, height=height),
        wall(f"{prefix}2", (x, thickness), (x, width - thickness), thickness=thickness, height=height),
        wall(f"{prefix}3", (0, y), (length, y), thickness=thickness, height=height),
        wall(f"{prefix}4", (t, thickness), (t, width - thickness), thickness=thickness, height=height),
    ]
