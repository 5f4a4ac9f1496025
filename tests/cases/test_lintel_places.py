"""Lintel places on random runs, held against what must be true of any of them, whatever the rule thought."""

from __future__ import annotations

from typing import Any

from hypothesis import given, settings
from hypothesis import strategies as st
from wallquant_thinbed import lintels
from wallquant_thinbed.lintel_bearing import LintelBearing

from wallquant.rules import Choice, Fixed, Window
from wallquant.testing.walls import work_of
from wallquant.units import MM

BEARING, LEAST, JOINT = 203_200_000, 101_600_000, 1 * MM
WIDTHS = st.integers(100, 2900)
HEADS = st.sampled_from([1010, 1210, 2010, 2110, 2210, 2400])


@st.composite
def runs(draw: st.DrawFn) -> dict[str, Any]:
    """A run of 12 courses with up to four openings, corners at its ends and a T somewhere."""
    at, openings = draw(st.integers(0, 1500)), []
    for n in range(draw(st.integers(1, 4))):
        width = draw(WIDTHS)
        openings.append({"key": f"O{n}", "start": f"{at} mm", "width": f"{width} mm", "head": f"{draw(HEADS)} mm"})
        at += width + draw(st.integers(0, 1500))
    corners = []
    for role in ("start", "end"):
        kind = draw(st.sampled_from(["end", "L", "T", "angled"]))
        if kind != "end":
            thick = draw(st.sampled_from([100, 200, 365]))
            corners.append(
                {"corner": f"C-{role}", "kind": kind, "role": role, "other": f"R-{role}", "thickness": f"{thick} mm", "turn": 45.0}
            )
    if draw(st.booleans()):
        corners.append({"corner": "C-T", "kind": "T", "at": f"{draw(st.integers(0, at))} mm", "other": "R-T", "thickness": "200 mm"})
    run = {"length": f"{at + 10} mm", "unit": "std-600x200x200", "courses": 12, "corners": corners, "openings": openings}
    return {"catalogue": "aac-metric", "run": run, "any_thickness": draw(st.booleans())}


@settings(max_examples=80, deadline=None)
@given(runs())
def test_what_holds_of_every_place(case: dict[str, Any]) -> None:
    work = work_of(case)
    run, courses = work.runs["R1"], work.courses["R1"]
    openings = {o.key: o for o in run.openings}
    said = list(LintelBearing().demand(run, courses))
    placed: list[list[Fixed]] = []
    for choice in (one for one in said if isinstance(one, Choice)):
        assert 1 <= len(choice.alternatives) <= 24
        placed.append([])
        for group in choice.alternatives:
            (fixed,) = (one for one in group if isinstance(one, Fixed))
            placed[-1].append(fixed)
            over = [openings[key] for key in fixed.opening]
            start, end = min(o.start for o in over), max(o.end for o in over)
            assert min(start - fixed.lo, fixed.hi - end) >= LEAST
            if len(openings) == 1 and not run.catalogue.unit(fixed.unit).virtual:
                assert min(start - fixed.lo, fixed.hi - end) >= BEARING
            assert fixed.hi - fixed.lo == run.catalogue.unit(fixed.unit).length
            top = fixed.bottom + run.catalogue.unit(fixed.unit).height if fixed.bottom is not None else 0
            for other in run.openings:
                meets = other.sill < top and other.head > over[0].head
                assert not (meets and other not in over and fixed.lo < other.end and other.start < fixed.hi), "a lintel through an opening"
            covered = [one for one in group if isinstance(one, Window) and one.yields == 0]
            assert {(fixed.lo, start), (end, fixed.hi)} <= {(one.lo, one.hi) for one in covered}
    for n, several in enumerate(placed):
        for others in placed[n + 1 :]:
            for one in several:
                for two in others:
                    assert one.bottom is not None and two.bottom is not None
                    highs = [run.catalogue.unit(f.unit).height for f in sorted((one, two), key=lambda f: f.bottom or 0)]
                    if abs(one.bottom - two.bottom) < highs[0]:
                        gap = max(one.lo, two.lo) - min(one.hi, two.hi)
                        assert gap >= JOINT, "two lintels in one place"
                        assert gap == JOINT or gap >= run.catalogue.least_piece + JOINT, "a gap that no piece fills"


@settings(max_examples=80, deadline=None)
@given(runs())
def test_every_opening_is_bridged_or_told(case: dict[str, Any]) -> None:
    work = work_of(case)
    run, courses = work.runs["R1"], work.courses["R1"]
    rule = LintelBearing()
    told = {f.place.opening for f in rule.findings(work) if "gets no lintel" in f.text or f.code == "lintel.small"}
    keys = {
        key
        for one in rule.demand(run, courses)
        if isinstance(one, Choice)
        for g in one.alternatives
        for f in g
        if isinstance(f, Fixed)
        for key in f.opening
    }
    for opening in run.openings:
        if opening.head < run.top[0][1]:
            assert (opening.key in keys) != (opening.key in told)


@settings(max_examples=60, deadline=None)
@given(runs())
def test_no_place_means_that_there_is_none(case: dict[str, Any]) -> None:
    """Held against trying every whole millimetre, for openings that share no pier."""
    work = work_of(case)
    run, courses = work.runs["R1"], work.courses["R1"]
    stock = lintels.stocked(run)
    for one in lintels.bridgings(run, courses, LintelBearing().params):
        if one.small or one.problem != "no-place":
            continue
        lo, hi = one.limits
        for unit in stock:
            for at in range(lo // MM, hi // MM + 1):
                start = at * MM
                bears = one.start - start >= one.left and start + unit.length - one.end >= one.right
                rests = (start - lo, hi - start - unit.length)
                assert not (bears and all(r == 0 or r >= run.catalogue.least_piece for r in rests)), f"{unit.code} at {at} mm"
