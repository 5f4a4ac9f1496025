"""Findings in order, with full stops, and together by their cause."""

from __future__ import annotations

from dataclasses import replace

from wallquant_thinbed.junctions import _listed

from wallquant.findings import Finding, Place, by_cause, merged

LOW = Finding(
    code="lintel.no-room",
    severity="warning",
    text="Opening D1 gets no lintel; raise the wall",
    place=Place(opening="D1"),
    rules=("lintels",),
)
ASIDE = Finding(
    code="reading.set-aside", severity="warning", text="Wall A is set aside: it leans.", place=Place(wall="A"), cause="it leans"
)


def test_what_is_missing_comes_before_what_is_laid_and_errors_before_all() -> None:
    wrong = replace(LOW, severity="error", code="order.circle")
    note = replace(ASIDE, severity="note", code="reading.layers")
    assert [one.code for one in merged([note, LOW, ASIDE, wrong])] == [
        "order.circle",
        "reading.set-aside",
        "lintel.no-room",
        "reading.layers",
    ]


def test_every_sentence_ends() -> None:
    question = replace(LOW, text="Is it so?", place=Place(opening="D2"))
    assert {one.text for one in merged([LOW, question])} == {"Opening D1 gets no lintel; raise the wall.", "Is it so?"}


def test_equal_sentences_count_with_and_without_their_full_stop() -> None:
    (one,) = merged([LOW, replace(LOW, text=LOW.text + ".", times=3)])
    assert one.times == 4


def test_one_group_a_cause() -> None:
    other = replace(LOW, place=Place(opening="D2"), text="Opening D2 gets no lintel; raise the wall")
    curved = replace(ASIDE, place=Place(wall="B"), text="Wall B is set aside: it is curved.", cause="it is curved")
    ruled = replace(LOW, rules=("beams",), place=Place(opening="D3"))
    groups = by_cause(merged([LOW, other, ASIDE, curved, replace(ASIDE, place=Place(wall="C")), ruled]))
    assert [[f.place.wall or f.place.opening for f in group] for group in groups] == [["A", "C"], ["B"], ["D1", "D2"], ["D3"]]
    assert sum(len(group) for group in groups) == 6, "nothing is lost"


def test_runs_in_a_row_are_told_as_a_range() -> None:
    """A page of names is not read: 36 of 36 runs of an open model bear nothing."""
    assert _listed(["R1"]) == "R1"
    assert _listed(["R1", "R2", "R4", "R5", "R6", "R9"]) == "R1, R2, R4 to R6, R9"
