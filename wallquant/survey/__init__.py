"""The slab survey: from shots to the bed of every piece of course 1.  `levelled` is the door.

Rooms: `shots` (the CSV file), `tying` (where each shot lies in the plan), `surface` (triangles, exact extremes under footprints),
`odd` (shots that do not agree), `footings` (what stands on the slab), `datum` (the level of course 1, and which pieces are ripped or
stripped), `levelling` (all of a building, part by part), `telling` (findings), `surveyed` (a survey on a plan).
"""

from __future__ import annotations

from wallquant.survey.footings import Footing, footings, of_folder
from wallquant.survey.levelling import Levelled, PartBeds, PieceBed, levelled
from wallquant.survey.odd import Odd, odd
from wallquant.survey.shots import Shot, SurveyError, read_shots
from wallquant.survey.surface import Surface
from wallquant.survey.surveyed import Survey, begun, on_ground, surveyed
from wallquant.survey.telling import disagree, findings
from wallquant.survey.tying import Tied, tied

__all__ = [
    "Footing", "Levelled", "Odd", "PartBeds", "PieceBed", "Shot", "Surface", "Survey", "SurveyError", "Tied", "begun", "disagree",
    "findings", "footings", "levelled", "odd", "of_folder", "on_ground", "read_shots", "surveyed", "tied",
]  # fmt: skip
