"""What the engine has to tell of a layout: joints that stand too near, windows that gave way, corners that could not bond, scraps."""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Mapping

from wallquant.bonding.asking import Asked
from wallquant.bonding.corners import Pattern
from wallquant.bonding.problem import groups, put_marks
from wallquant.bonding.solving import Solved
from wallquant.findings import Finding, Place
from wallquant.layout import Corner
from wallquant.units import Nm, text


def broken_offsets(one: Asked, solved: Solved) -> dict[int, tuple[Nm, Nm]]:
    """Return for each course whose joints stand too near to those below: the station, and the least distance found."""
    joint, most = one.problem.how.joint, one.problem.how.joint_most
    rows = solved.face.rows

    def marks(k: int) -> list[int]:
        out = [e + s for (_, e), (s, _) in zip(solved.stack.layouts[k], solved.stack.layouts[k][1:], strict=False) if 0 < s - e <= most]
        for span in rows[k].spans:
            out += [2 * span.lo - joint] if span.lapped_lo else []
            out += [2 * span.hi + joint] if span.lapped_hi else []
        return sorted({*out, *put_marks(one.problem, solved.passes, solved.face.puts, k + 1)})

    found: dict[int, tuple[Nm, Nm]] = {}
    before = marks(0) if rows else []
    for k in range(1, len(rows)):
        here = marks(k)
        if rows[k].offset:
            near = [(abs(a - b) // 2, a // 2) for a in here for b in before if abs(a - b) < 2 * rows[k].offset]
            if near:
                least, at = min(near)
                found[k + 1] = (at, least)
        before = here
    return found


def of_runs(asked: Mapping[str, Asked], solved: Mapping[str, Solved], system: str) -> Iterator[Finding]:
    """Tell what gave way in each run."""
    for name, one in asked.items():
        done = solved[name]
        broken = broken_offsets(one, done)
        if broken:
            course, (at, least) = min(broken.items())
            rule = one.offset_rules[course - 1] or "engine"
            other = _cause(one, done, course, at)
            wanted = one.problem.offsets[course - 1]
            yield Finding(
                code="bond.least-offset",
                severity="warning",
                text=(
                    f"{name}: in {len(broken)} course{'s' if len(broken) > 1 else ''} a head joint stands "
                    f"{text(least, system)} from the one below, "
                    f"less than {text(wanted, system)}; {_why(other)}, and {rule} gave way. Place ties or bed joint "
                    f"reinforcement there as the engineer says."
                ),
                place=Place(run=name, storey=one.fitted.run.storey, course=course, start=at, end=at),
                measured=text(least, system),
                wanted=f"at least {text(wanted, system)}",
                times=len(broken),
                rules=tuple(sorted({rule, other})) if rule != other else (rule, "engine"),
            )
        yield from _windows(name, one, done, system)
        yield from _scraps(name, one, done, system)


def _why(cause: str) -> str:
    return {
        "corner": "the same run passes twice at the corner",
        "engine": "openings and ends leave no other place for it",
    }.get(cause, f"{cause} leaves no other place for it")


def _cause(one: Asked, done: Solved, course: int, at: Nm) -> str:
    """Name the rule or the place that left no other place for a joint."""
    near = 2 * one.problem.how.unit
    for put in done.face.puts:
        if put.rule and put.lo - near <= at <= put.hi + near and put.bottom < one.problem.levels.top(course) + one.problem.levels.height:
            return put.rule
    for m, on in zip(one.problem.meets, done.passes, strict=True):
        if m.half and abs(at - m.station) <= m.half + near and course > 1 and on[course - 1] == on[course - 2]:
            return "corner"
    for group in groups(one.problem, done.picks):
        for a in group.asks:
            if a.of == "joint" and a.course in (course, course - 1) and a.lo - near <= at <= a.hi + near and a.rule:
                return a.rule
    return "engine"


def _windows(name: str, one: Asked, done: Solved, system: str) -> Iterator[Finding]:
    """Tell which windows gave way, once a rule and kind."""
    most = one.problem.how.joint_most
    given: dict[tuple[str, str], list[tuple[int, Nm]]] = {}
    for group in groups(one.problem, done.picks):
        for a in group.asks:
            if not (a.yields or a.of == "cut"):
                continue
            layout = done.stack.layouts[a.course - 1]
            if a.of == "joint":
                hit = [e for (_, e), (s, _) in itertools.pairwise(layout) if 0 < s - e <= most and s > a.lo and e < a.hi]
            else:
                hit = [p for p, q in layout if q - p != one.problem.how.unit and p < a.hi and q > a.lo]
            if hit:
                given.setdefault((a.rule, a.of), []).append((a.course, hit[0]))
    for (rule, of), places in sorted(given.items()):
        course, at = min(places)
        what = "a cut piece lies where it wants none" if of == "cut" else "a head joint lies where it wants none"
        yield Finding(
            code=f"bond.{of}-window",
            severity="note",
            text=f"{name}: in {len({c for c, _ in places})} courses {what} ({rule}); other places would cost more cuts or offset.",
            place=Place(run=name, storey=one.fitted.run.storey, course=course, start=at, end=at),
            times=len(places),
            rules=tuple(sorted({rule, next((r for r in one.offset_rules if r), "engine")})),
        )


def _scraps(name: str, one: Asked, done: Solved, system: str) -> Iterator[Finding]:
    by_reason: dict[str, list[tuple[int, Nm, Nm, Nm]]] = {}
    for s in done.face.scraps:
        by_reason.setdefault(s.reason, []).append((one.problem.levels.course(s.bottom), s.lo, s.hi, (s.hi - s.lo) * (s.top - s.bottom)))
    for reason, places in sorted(by_reason.items()):
        course, lo, hi, _ = min(places)
        area = sum(p[3] for p in places) / 1e18
        yield Finding(
            code="bond.set-aside",
            severity="warning",
            text=f"{name}: {len(places)} place{'s' if len(places) > 1 else ''} of {area:.3f} m2 in all set aside: "
            f"{reason}; fill by hand or move the edge.",
            place=Place(run=name, storey=one.fitted.run.storey, course=course, start=lo, end=hi),
            measured=f"{area:.3f} m2",
            times=len(places),
        )


def of_corners(corners: Mapping[str, Corner], patterns: Mapping[str, Pattern], asked: Mapping[str, Asked]) -> Iterator[Finding]:
    """Tell which corners pass twice in a row, or cannot be laid as both runs want."""
    for name, found in patterns.items():
        corner = corners[name]
        if found.broken:
            lo = found.broken[0]
            yield Finding(
                code="bond.corner-not-bonded",
                severity="warning",
                text=(
                    f"Corner {name}: {found.passes[lo - 1]} passes twice in a row up to course {lo}"
                    + (f" and {len(found.broken) - 1} times more" if len(found.broken) > 1 else "")
                    + "; lay a tie in the bed between, and show it to the engineer."
                ),
                place=Place(corner=name, storey=corner.storey, run=found.passes[lo - 1], course=lo),
                times=len(found.broken),
                rules=_forcing(asked, corner),
            )
        if found.conflicts:
            yield Finding(
                code="bond.corner-conflict",
                severity="warning",
                text=(
                    f"Corner {name}: {' and '.join(corner.runs)} must both pass in {len(found.conflicts)} courses; "
                    f"{found.passes[found.conflicts[0] - 1]} does. Move an opening away from the corner."
                ),
                place=Place(corner=name, storey=corner.storey, course=found.conflicts[0]),
                times=len(found.conflicts),
            )
        if corner.kind == "angled":
            yield Finding(
                code="bond.angled-corner",
                severity="warning",
                text=f"Corner {name} is not square: {corner.runs[0]} goes on, the others stop square before it, and the "
                f"wedge is left open; mitre it on site.",
                place=Place(corner=name, storey=corner.storey),
            )


def _forcing(asked: Mapping[str, Asked], corner: Corner) -> tuple[str, ...]:
    rules = {p.rule for n in corner.runs for c in asked[n].problem.choices for g in c for p in g.puts if p.rule}
    return tuple(sorted(rules | {r for n in corner.runs for r in asked[n].offset_rules if r})) or ("engine",)
