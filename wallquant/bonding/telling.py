"""What the engine has to tell of a layout: joints that stand too near, windows that gave way, corners that could not bond, scraps."""

from __future__ import annotations

import itertools
from bisect import bisect_left
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence

from wallquant.bonding.asking import Asked
from wallquant.bonding.corners import Pattern
from wallquant.bonding.ledger import SHAPED, Account
from wallquant.bonding.problem import groups, put_marks
from wallquant.bonding.solving import Solved
from wallquant.bonding.standing import HANGS
from wallquant.building import Opening, Wall
from wallquant.findings import Finding, Place
from wallquant.layout import Corner
from wallquant.units import Nm, text

NAMED = 6
"""So many walls are named in one sentence."""
ADVICE = {HANGS: "Move the openings away from each other and from the corners, or have what carries these places designed."}


def broken_offsets(one: Asked, solved: Solved) -> dict[int, list[tuple[Nm, Nm]]]:
    """Return for each course the joints that stand too near to one below: station, and distance to the nearest.

    A course is the one in which the pieces at the joint begin, as in the plan's files: where two rips share the height of two courses,
    both rows that they are solved with may lie in the lower one.
    """
    joint, most, levels = one.problem.how.joint, one.problem.how.joint_most, one.problem.levels
    rows = solved.face.rows

    def marks(k: int) -> dict[int, int]:
        begins = [(span.lo, span.hi, levels.course(span.bottom)) for span in rows[k].spans]

        def course(*at: Nm) -> int:
            return max((c for lo, hi, c in begins for x in at if lo <= x <= hi), default=k + 1)

        out = {e + s: course(e, s) for (_, e), (s, _) in itertools.pairwise(solved.stack.layouts[k]) if 0 < s - e <= most}
        for span, (_, _, c) in zip(rows[k].spans, begins, strict=True):
            ends = ((2 * span.lo - joint, span.lapped_lo), (2 * span.hi + joint, span.lapped_hi))
            out |= {mark: max(c, out.get(mark, c)) for mark, lapped in ends if lapped}
        return dict.fromkeys(put_marks(one.problem, solved.passes, solved.face.puts, k + 1), k + 1) | out

    found: dict[int, list[tuple[Nm, Nm]]] = {}
    before: list[int] = sorted(marks(0)) if rows else []
    for k in range(1, len(rows)):
        here, wanted = marks(k), 2 * rows[k].offset
        for a in sorted(here) if wanted and before else ():
            n = bisect_left(before, a)
            near = min(abs(a - b) for b in before[max(0, n - 1) : n + 1])
            if near < wanted:
                found.setdefault(here[a], []).append((a // 2, near // 2))
        before = sorted(here)
    return found


def of_runs(asked: Mapping[str, Asked], solved: Mapping[str, Solved], system: str) -> Iterator[Finding]:
    """Tell what gave way in each run."""
    given: Given = {}
    for name, one in asked.items():
        done = solved[name]
        broken = broken_offsets(one, done)
        if broken:
            places = [(course, at, near) for course, marks in sorted(broken.items()) for at, near in marks]
            (course, at, _), least = places[0], min(near for _, _, near in places)
            rule = one.offset_rules[course - 1] or "engine"
            other = _cause(one, done, course, at)
            wanted = one.problem.offsets[course - 1]
            yield Finding(
                code="bond.least-offset",
                severity="warning",
                text=(
                    f"{name}: {_counted(len(places), 'head joint')} in {_counted(len(broken), 'course')} "
                    f"{'stands' if len(places) == 1 else 'stand'} nearer than {text(wanted, system)} to the one below, "
                    f"the nearest {text(least, system)} ({_listed(places, system)}); {_why(other)}, and {rule} gave way. "
                    f"Place ties or bed joint reinforcement there as the engineer says."
                ),
                place=Place(run=name, storey=one.fitted.run.storey, course=course, start=at, end=at),
                measured=text(least, system),
                wanted=f"at least {text(wanted, system)}",
                times=len(broken),  # courses, by which the audit counts
                rules=tuple(sorted({rule, other})) if rule != other else (rule, "engine"),
            )
        _windows(name, one, done, given)
    yield from _gave_way(given, asked)


def _listed(places: Sequence[tuple[int, Nm, Nm]], system: str) -> str:
    """Name courses and stations, the first of them where there are many."""
    told = [f"course {course} at {text(at, system)}" for course, at, _ in places[:NAMED]]
    return ", ".join(told) + (f" and {len(places) - NAMED} more" if len(places) > NAMED else "")


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


Given = dict[tuple[str, str, bool], dict[tuple[str, int, int], Nm]]
"""Rule, kind of window and whether it may yield, to the joints or cut pieces that lie in it: run, course and number in the course,
each once, and station."""


def _windows(name: str, one: Asked, done: Solved, given: Given) -> None:
    """Add the joints and cut pieces of a run that lie in windows; one that two windows of a rule hold counts once."""
    most = one.problem.how.joint_most
    joints: dict[int, list[tuple[int, Nm, Nm]]] = {}  # of each course, with the edges of the pieces beside
    for group in groups(one.problem, done.picks):
        for a in group.asks:
            layout = done.stack.layouts[a.course - 1]
            if a.of == "joint":
                between = joints.get(a.course)
                if between is None:
                    pairs = enumerate(itertools.pairwise(layout))
                    between = joints[a.course] = [(n, e, s) for n, ((_, e), (s, _)) in pairs if 0 < s - e <= most]
                hit = [(n, e) for n, e, s in between if s > a.lo and e < a.hi]
            else:
                askew = {x for s in done.face.rows[a.course - 1].spans for x, on in ((s.lo, s.lean_lo), (s.hi, s.lean_hi)) if on}
                cuts = [(n, p, q) for n, (p, q) in enumerate(layout) if q - p != one.problem.how.unit and not askew & {p, q}]
                hit = [(n, p) for n, p, q in cuts if p < a.hi and q > a.lo]
            if hit:
                given.setdefault((a.rule, a.of, a.yields > 0), {}).update({(name, a.course, n): at for n, at in hit})


def _gave_way(given: Given, asked: Mapping[str, Asked]) -> Iterator[Finding]:
    """Tell once for the whole plan where a rule's windows gave way, with the place of the first."""
    for (rule, of, yielding), places in sorted(given.items()):
        (first, course, _), at = next(iter(places.items()))
        runs, courses = {n for n, _, _ in places}, {(n, c) for n, c, _ in places}
        count = _counted(len(places), "cut piece" if of == "cut" else "head joint") + (" lies" if len(places) == 1 else " lie")
        offset = {r for n in runs for r in asked[n].offset_rules if r} or {"engine"}
        where = f"in {_counted(len(courses), 'course')} of {_counted(len(runs), 'run')}, first in {first}, course {course}"
        said = (
            f"wants none, {where}; other places would cost more cuts, or stand too near to the joints below."
            if yielding
            else f"never allows one, {where}: no layout was found that keeps it. Change what {rule} asks, or move what stands there."
        )
        yield Finding(
            code=f"bond.{of}-window" if yielding else f"bond.{of}-window-broken",
            severity="note" if yielding else "error",
            text=f"{count} where {rule} {said}",
            place=Place(run=first, storey=asked[first].fitted.run.storey, course=course, start=at, end=at),
            times=len(places),
            rules=tuple(sorted({rule, *offset})),
        )


def _counted(count: int, noun: str) -> str:
    return f"{count} {noun}{'' if count == 1 else 's'}"


def of_accounts(books: Sequence[Account], walls: Mapping[str, Wall]) -> Iterator[Finding]:
    """Tell once a cause what of the walls is set aside, and in which walls."""
    by_cause: dict[str, list[tuple[float, Wall]]] = {}
    for book in sorted(books, key=lambda b: b.wall):
        for cause, size in book.causes.items():
            by_cause.setdefault(cause, []).append((size, walls[book.wall]))
    for cause, found in sorted(by_cause.items()):
        size, first = sum(s for s, _ in found), found[0][1]
        area = f"{size:.3f} m2" if size >= 0.0005 else "less than 0.001 m2"
        names = [name if often == 1 else f"{often} times {name}" for name, often in Counter(w.name or w.guid for _, w in found).items()]
        holes = [o for _, w in found for o in shaped(w)] if cause == SHAPED else []
        which = f" ({_some(list(dict.fromkeys(o.name or o.key for o in holes)))})" if holes else ""
        yield Finding(
            code="bond.set-aside",
            severity="warning",
            text=f"{area} of {_counted(len(found), 'wall')} ({_some(names)}) {'is' if len(found) == 1 else 'are'} set aside: "
            f"{cause}{which}. {ADVICE.get(cause, 'Close these places by hand, or move the edges.')}",
            place=Place(wall=first.guid, storey=first.storey, opening=holes[0].key if holes else ""),
            measured=area,
            times=len(found),
            cause=cause,
        )


def _some(names: Sequence[str]) -> str:
    return ", ".join(names[:NAMED]) + (f" and {len(names) - NAMED} more" if len(names) > NAMED else "")


def shaped(wall: Wall) -> list[Opening]:
    """Return the openings of a wall that leave some of their least box as wall."""
    boxes = ((o, (o.end - o.start) * (o.head - o.sill) * wall.thickness / 1e27) for o in wall.openings if o.through)
    return [o for o, box in boxes if o.volume_m3 is not None and box - o.volume_m3 > 1e-6]


def once(found: Iterable[Finding], books: Iterable[Account], walls: Mapping[str, Wall]) -> list[Finding]:
    """Return what was found in reading, less the openings that are no rectangle which `of_accounts` tells with their area."""
    told = {o.key for book in books if SHAPED in book.causes for o in shaped(walls[book.wall])}
    return [one for one in found if one.code != "reading.opening-shape" or one.place.opening not in told]


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
                    f"Corner {name}: {found.passes[lo - 1]} passes in course {lo - 1} and again in course {lo}"
                    + (f", and so in {_counted(len(found.broken) - 1, 'more course')}" if len(found.broken) > 1 else "")
                    + f"; lay a tie in {'the bed' if len(found.broken) == 1 else 'each bed'} between, and show it to the engineer."
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


def _forcing(asked: Mapping[str, Asked], corner: Corner) -> tuple[str, ...]:
    rules = {p.rule for n in corner.runs for c in asked[n].problem.choices for g in c for p in g.puts if p.rule}
    return tuple(sorted(rules | {r for n in corner.runs for r in asked[n].offset_rules if r})) or ("engine",)
