"""Bonding: from the graph to every piece in its place.  `bond` is the door.

Rooms: `asking` (rules' sentences to problems), `beds` and `coursing` (levels), `cells` (the face cut into courses), `corners` and
`phases` (who passes), `problem`, `puts`, `intervals`, `span`, `wholes`, `pair` and `stack` (head joints), `forbidding` and `giving`
(windows that leave no layout), `solving` (all runs), `stamping` (pieces as columns), `conflicts`, `standing` and `rounds` (what cannot be
laid is left out, and the rest solved again), `placing` (items), `bars` and `cores` (bars), `marking` (names of an older plan), `laid`
and `ledger` (what is laid against what is drawn), `telling` (findings).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from wallquant.bonding import forbidding
from wallquant.bonding.angled import of_angled, wedges
from wallquant.bonding.asking import Asked, Extras
from wallquant.bonding.bars import joined
from wallquant.bonding.beds import of_beds
from wallquant.bonding.conflicts import told
from wallquant.bonding.cores import NOTCH, cored
from wallquant.bonding.corners import Pattern, tied
from wallquant.bonding.facing import beyond
from wallquant.bonding.guests import guests
from wallquant.bonding.laid import region
from wallquant.bonding.ledger import Account, accounts
from wallquant.bonding.marking import marked
from wallquant.bonding.placing import placed
from wallquant.bonding.rounds import laid_out
from wallquant.bonding.sharing import shares
from wallquant.bonding.solving import Solved
from wallquant.bonding.telling import of_accounts, of_corners, of_runs
from wallquant.building import Building
from wallquant.findings import Finding
from wallquant.graph import Network, level_at
from wallquant.guard import guarded
from wallquant.layout import TIED, Bridge, Corner, Work
from wallquant.marks import Marks
from wallquant.rules import Item, Rule, RuleError
from wallquant.units import Nm
from wallquant.workers import spread

__all__ = ["Account", "Bond", "RuleError", "bond"]


@dataclass(frozen=True, kw_only=True)
class Bond:
    """The laid building, before it is ordered.

    `cuts` and `bound` are the cut pieces and their proven least, runs summed, fixed pieces included: in length, by a rake, in
    height, or notched at a bar; a piece that is cut twice counts once.  The least is that of all layouts with the phases,
    alternatives, fits and levels chosen, which keep the windows that rank before cuts as far as these do, and in which a notched
    piece is a whole unit where it is one here.  `offset_rules` names for each run and course the rule whose offset was the greatest,
    `offsets` that offset; `leads` for each corner the courses of its lead.
    """

    work: Work
    accounts: tuple[Account, ...]
    cuts: int
    bound: int
    offsets: Mapping[str, tuple[Nm, ...]]
    offset_rules: Mapping[str, tuple[str, ...]]
    leads: Mapping[str, int]


def bond(
    network: Network,
    building: Building,
    rules: Sequence[Rule],
    *,
    heads: Mapping[str, Nm] | None = None,
    sills: Mapping[str, Nm] | None = None,
    system: str = "mm",
    start_corners: Mapping[str, str] | None = None,
    workers: int = 0,
    marks: Marks | None = None,
) -> tuple[Bond, tuple[Finding, ...]]:
    """Lay every run of a network block by block.

    Parameters
    ----------
    network : Network
    building : Building
        For the drawn bodies of the walls (ledger).
    rules : sequence of Rule
        In any order.
    heads, sills : mapping of opening key to level, optional
        Chosen by the job instead of the drawn levels.
    system : str
        ``mm`` or ``in``, for sentences.
    start_corners : mapping, optional
        Where laying starts, by the first run of each connected part; by default the end of the longest run with the lower station.
    workers : int
        Most processes that solve large models (0: one a processor where that is safe); the result is the same for any number.
    marks : Marks, optional
        Of an older plan, whose names pieces keep that are in their old place.

    Raises
    ------
    RuleError
        If a rule raises or says what cannot be.
    """
    corners = {c.name: c for c in network.corners}
    drawn = {r.name: r for r in network.runs}
    laid = laid_out(network, guarded(rules), heads or {}, sills or {}, workers=workers)
    asked, solved, patterns, extras, runs = laid.asked, laid.solved, laid.patterns, laid.extras, laid.runs
    by_name = {r.name: r for r in runs}
    items = _items(asked, extras, solved, patterns, corners)
    pieces, placed_items, of_bars = cored(laid.pieces, items, by_name, network.catalogue, system)
    if marks is not None:  # what a piece is, and so whether it is the old one, is known with its cores; what is told of them has names
        pieces, placed_items, of_bars = cored(marked(laid.pieces, pieces, by_name, marks), items, by_name, network.catalogue, system)
    walls = {w.guid: w for w in building.walls}
    work = Work(
        catalogue=network.catalogue,
        runs=by_name,
        corners=corners,
        parts=network.parts,
        courses={name: one.fitted.courses for name, one in asked.items()},
        pieces=pieces,
        bridges=tuple(_bridges(network, asked, solved, pieces.names, pieces.fixed)),
        phases={name: _phases(corners[name], p, asked) for name, p in patterns.items()},
        items=placed_items,
        start_corner=start_corners or _start_corners(network),
    )
    visiting, outside = guests(asked, solved), beyond(asked, solved)

    def booked(name: str) -> list[Account]:
        there = (*visiting[name], *outside[name])
        taken = region(asked[name].problem, solved[name], there)
        return accounts(drawn[name], asked[name], solved[name], taken, there, walls)

    longest = sorted(asked, key=lambda name: -drawn[name].length)
    by_run = dict(zip(longest, spread(booked, longest, workers=shares(asked, workers)), strict=True))
    books = [account for name in asked for account in by_run[name]]
    findings = [
        *of_beds(laid.beds, drawn, system),
        *forbidding.told(asked, laid.forbidden, system),
        *of_runs(asked, solved, system),
        *of_corners(corners, patterns, asked),
        *of_angled(corners, asked, system),
        *(told(one, asked) for one in laid.left),
        *of_bars,
        *of_accounts(books, walls),
    ]
    return Bond(
        work=work,
        accounts=tuple(sorted(books, key=lambda b: b.wall)),
        cuts=int(np.count_nonzero(pieces.cut)),
        bound=int(
            sum(s.stack.bound for s in solved.values()) + np.count_nonzero((pieces.cut == NOTCH) | (pieces.cut > 0) & (pieces.fixed >= 0))
        ),
        offsets={name: one.problem.offsets for name, one in asked.items()},
        offset_rules={name: one.offset_rules for name, one in asked.items()},
        leads=_leads(extras),
    ), tuple(findings)


def _phases(corner: Corner, found: Pattern, asked: Mapping[str, Asked]) -> tuple[str, ...]:
    if not corner.bondable or tied(corner, asked):
        return (TIED,) * len(found.passes)
    return found.passes


def _start_corners(network: Network) -> dict[str, str]:
    """Return for each connected part the end of its longest run with the lower station."""
    runs = {r.name: r for r in network.runs}
    out: dict[str, str] = {}
    for part in network.parts:
        longest = max((runs[n] for n in part), key=lambda r: (r.length, -int(r.name[1:])))
        out[part[0]] = longest.first.corner
    return out


def _leads(extras: Mapping[str, Extras]) -> dict[str, int]:
    out: dict[str, int] = {}
    for one in extras.values():
        for lead in one.leads:
            out[lead.corner] = max(out.get(lead.corner, 0), lead.courses)
    return out


def _items(
    asked: Mapping[str, Asked],
    extras: Mapping[str, Extras],
    solved: Mapping[str, Solved],
    patterns: Mapping[str, Pattern],
    corners: Mapping[str, Corner],
) -> list[Item]:
    """Return the items that rules said, a tie of the engine's own where a run passes twice and no rule ties it there, and gaps."""
    out: list[Item] = []
    for item in (i for one in extras.values() for i in one.items):
        if item.run not in asked:
            said = f"rule {item.rule} places an item ({item.kind}) in run '{item.run}', which there is not; repair the rule"
            raise RuleError(said, item.rule)
        out += placed(item, asked[item.run], solved[item.run])
    held = {(i.corner, i.course) for i in out if i.kind == "tie"}
    for name, found in patterns.items():
        for course in found.broken:
            if (name, course - 1) in held:
                continue
            run = asked[corners[name].runs[0]].fitted.run
            station = next(j.station for j in run.junctions if j.corner == name)
            if course - 1 > len(asked[run.name].fitted.courses):
                continue
            bed = asked[run.name].fitted.courses.levels[course - 2].top
            out.append(
                Item(
                    kind="tie", run=run.name, start=station, end=station, bottom=bed, top=bed + asked[run.name].fitted.courses.joint,
                    course=course - 1, corner=name, rule="engine",
                )
            )  # fmt: skip
    for name, done in solved.items():
        one = asked[name]
        gap = one.problem.how.joint_most
        for scrap in done.face.scraps:
            base = one.fitted.run.bottom
            out.append(
                Item(
                    kind="gap", run=name, start=scrap.lo - gap, end=scrap.hi + gap, bottom=scrap.bottom + base, top=scrap.top + base,
                    course=one.problem.levels.course(scrap.bottom), rule="engine",
                )
            )  # fmt: skip
    for corner in corners.values():
        if corner.kind == "angled" or len(corner.runs) > 2:
            for name, lo, hi, open_m3 in wedges(corner, asked):
                if open_m3 < 1e-6:
                    continue
                run = asked[name].fitted.run
                side = run.catalogue.head_joint.most
                out.append(
                    Item(
                        kind="gap", run=name, start=lo - side, end=hi + side, bottom=run.bottom, top=max(z for _, z in run.top),
                        course=1, corner=corner.name, rule="engine",
                    )
                )  # fmt: skip
    return sorted(joined(out), key=lambda i: (i.kind, int(i.run[1:]), i.course, i.start, i.bottom, i.rule))


def _bridges(
    network: Network, asked: Mapping[str, Asked], solved: Mapping[str, Solved], names: Sequence[str], fixed: np.ndarray
) -> list[Bridge]:
    out: list[Bridge] = []
    rows = {}
    base = 0
    owner: list[tuple[str, int]] = []
    for run in network.runs:
        puts = solved[run.name].face.puts
        last = max((n for n, p in enumerate(puts) if p.unit), default=-1)
        owner += [(run.name, n) for n in range(last + 1)]
        base += last + 1
    for row in np.flatnonzero(fixed >= 0).tolist():
        rows[owner[int(fixed[row])]] = row
    for run in network.runs:
        one, done = asked[run.name], solved[run.name]
        through = [o for o in one.fitted.openings if o.through]
        for n, o in enumerate(through):
            over = [(k, p) for k, p in enumerate(done.face.puts) if p.unit and n in p.opening]
            hole = one.problem.holes[n]
            top = max((z for s, z in one.problem.top if o.start <= s <= o.end), default=0)
            covered = hole.top < max(top, level_at(one.problem.top, o.start), level_at(one.problem.top, o.end))
            covered = covered and not any(
                b.sill <= hole.top + run.bottom < b.head and b.start <= o.start and o.end <= b.end for b in through if b is not o
            )
            asks = [a for g in (one.problem.base, *(c[p] for c, p in zip(one.problem.choices, done.picks, strict=True))) for a in g.asks]
            sides = [(o.start - a.lo, a.hi - o.end) for a in asks if a.of == "joint" and not a.yields and a.lo < o.start and a.hi > o.end]
            start = end = wanted = None
            if over:
                o = o.clear_of(one.fitted.run.over_corner(o))
                under = [through[k].clear_of(one.fitted.run.over_corner(through[k])) for k in over[0][1].opening]
                jambs = min(u.start for u in under), max(u.end for u in under)
                start, end = jambs[0] - min(p.lo for _, p in over), max(p.hi for _, p in over) - jambs[1]
                wanted = max(p.bearing for _, p in over)
            elif covered and sides:
                start, end = max(sides)
                wanted = min(start, end)
            high = max(hole.top + run.bottom, o.head)
            how = "lintel" if over else "units" if covered else "none"
            left = high - o.head if how == "none" and high - o.head > run.catalogue.fit.head.plus else 0
            out.append(
                Bridge(
                    opening=o.key, wall=o.wall, run=run.name, start=o.start, end=o.end, sill=o.sill,
                    head=high, open_over=left, through=True, filling=o.filling, bridged=how,
                    lintel=tuple(rows[run.name, k] for k, _ in over), bearing_start=start, bearing_end=end, bearing_least=wanted,
                )
            )  # fmt: skip
        out += [
            Bridge(
                opening=o.key, wall=o.wall, run=run.name, start=o.start, end=o.end, sill=o.sill, head=o.head, through=False,
                filling=o.filling, bridged="none",
            )
            for o in one.fitted.openings
            if not o.through
        ]  # fmt: skip
    return sorted(out, key=lambda b: (int(b.run[1:]), b.start, b.sill, b.opening))
