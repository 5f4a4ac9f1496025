"""The shape of a lead: how many pieces of each course it takes, from the real joints; and the pieces that mark corners."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from wallquant.layout import Corner, Run, Work
from wallquant.ordering.stretches import Columns, CourseRow
from wallquant.units import Nm


def lead_counts(ends: Mapping[int, Sequence[Nm]], *, courses: int, lap: Nm, limits: Mapping[int, Nm | None]) -> dict[int, int]:
    """Return how many pieces the lead of one arm takes in each course.

    Lifts of `courses` courses are counted from course 2; course 1, whose corner piece is set by itself, carries the first.
    The top course of a lift has the one piece at the end; each lower one goes to the first joint at or beyond the end of
    the course above and `lap`, so that each piece of the lead rests on pieces of the lead.

    Parameters
    ----------
    ends : mapping of int to sequence of int
        For each course from 1 in which the arm begins at its corner, the ends of its pieces as distances from the
        corner outward, rising, up to the next jamb, passing stem or end of the run.
    courses : int
        Courses a lift; 0: no lead, course 1 still has its corner piece.
    lap : int
        Least lap between joint edges.
    limits : mapping of int to (int or None)
        Where the lead ends at the latest (the middle of a stretch that has a lead at either end); the one piece at the end is
        taken in any case.

    Returns
    -------
    dict of int to int
        Course to number of pieces, at least 1; courses without a lead are missing.

    Examples
    --------
    An L of 600 units on a 200 wall, a lead of three courses, the run that passes in course 2 of 2 to 4:

    >>> lead_counts({2: [599, 1199, 1799], 3: [800, 1400], 4: [599, 1199]}, courses=3, lap=150, limits={})
    {4: 1, 3: 1, 2: 2}
    """
    counts: dict[int, int] = {}
    reach: dict[int, Nm] = {}
    for course in sorted(ends, reverse=True):
        steps = ends[course]
        if course < 1 or not steps or (courses < 1 and course > 1):
            continue
        top = course > 1 and (course - 2) % courses == courses - 1
        count = 1
        if not top and course + 1 in reach:
            wanted = reach[course + 1] + lap
            count = next((i for i, end in enumerate(steps, 1) if end >= wanted), len(steps))
        limit = limits.get(course)
        while count > 1 and limit is not None and steps[count - 1] > limit:
            count -= 1
        counts[course] = count
        reach[course] = steps[count - 1]
    return counts


@dataclass(frozen=True, kw_only=True, slots=True)
class Arm:
    """What one lead takes of one run in one course: rows from the corner outward."""

    corner: str
    run: Run
    course: int
    near: bool
    rows: tuple[int, ...]


def run_arms(rows: Sequence[CourseRow], leads: Mapping[str, int], lap: Nm, c: Columns) -> list[Arm]:
    """Shape both leads of a run, course by course."""
    run = rows[0].run
    first, last = run.first, run.last
    near: dict[int, tuple[int, ...]] = {}
    far: dict[int, tuple[int, ...]] = {}
    limit_near: dict[int, Nm | None] = {}
    limit_far: dict[int, Nm | None] = {}
    for row in rows:
        one, two = row.near, row.far
        if one is not None and (row.course == 1 or leads.get(first.corner, 0) > 0):
            near[row.course] = one.rows
        if two is not None and (row.course == 1 or leads.get(last.corner, 0) > 0):
            far[row.course] = two.rows[::-1]
        if one is not None and one is two and row.course in near and row.course in far:
            if len(one.rows) == 1:
                del far[row.course]
            middle = (c.start[one.rows[0]] + c.end[one.rows[-1]]) // 2
            limit_near[row.course], limit_far[row.course] = middle - first.station, last.station - middle
    ends_near = {k: [c.end[r] - first.station for r in v] for k, v in near.items()}
    ends_far = {k: [last.station - c.start[r] for r in v] for k, v in far.items()}
    out: list[Arm] = []
    for is_near, corner, sides, ends, limits in (
        (True, first.corner, near, ends_near, limit_near),
        (False, last.corner, far, ends_far, limit_far),
    ):
        for course, count in lead_counts(ends, courses=leads.get(corner, 0), lap=lap, limits=limits).items():
            picked = sides[course][:count]
            out.append(Arm(corner=corner, run=run, course=course, near=is_near, rows=picked))
    return out


def middles(work: Work, rows: Sequence[CourseRow], held: set[int], c: Columns) -> list[Arm]:
    """Return the pieces of course 1 that mark corners at which no run ends: of the run that passes, the piece over the node."""
    run = rows[0].run
    out: list[Arm] = []
    for junction in run.through:
        corner = work.corners.get(junction.corner)
        phase = work.phases.get(junction.corner, ())
        passing = phase[0] if phase and phase[0] in work.runs else (corner.runs[0] if corner else "")
        if corner is None or passing != run.name or any(_ends(work, name, corner) for name in corner.runs):
            continue
        base = [r for row in rows if row.course == 1 for s in row.stretches if not s.layer for r in s.rows if r not in held]
        if base:
            best = min(base, key=lambda r: (max(c.start[r] - junction.station, junction.station - c.end[r], 0), r))
            if any(best in arm.rows for arm in out):
                continue  # one piece over two nodes marks both corners
            out.append(Arm(corner=junction.corner, run=run, course=1, near=True, rows=(best,)))
    return out


def _ends(work: Work, run: str, corner: Corner) -> bool:
    return any(j.corner == corner.name and j.role != "through" for j in work.runs[run].junctions)


def level_of(work: Work, arm: Arm, c: Columns) -> Nm:
    courses = work.courses.get(arm.run.name)
    found = next((one.bottom for one in courses.levels[arm.course - 1 : arm.course]), None) if courses else None
    return found if found is not None else min(c.bottom[r] for r in arm.rows)
