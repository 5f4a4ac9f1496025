"""The records that rules and writers see: corners, runs, courses, pieces, steps.

Lengths are nanometres.  Stations are the run's: distance from the node of its first corner, along the centre line;
offsets are from the centre line, positive to the left.  A run starts at its end with least x, then least y.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from wallquant.building import Filling, Point, Profile
from wallquant.catalogue import Catalogue, Unit
from wallquant.units import MM, Nm

Role = Literal["start", "end", "through"]
TIED = "tied"
LIP: Nm = 20 * MM
"""A piece cut askew keeps at least this much of its short side: a sharper edge breaks off (common practice, no source)."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Plane:
    """The plane in which a run's end is cut at an angled corner, as laid.

    `station` is where its end face crosses the centre line, the joint deducted; `lean` how much further along the run the face is at
    the left side.  `shared`: a mitre, and no face of a run that goes on.  `joint` is what the joint takes of the centre line (the
    run's half of it at a mitre), `reach` how far beyond the plane the other run's body goes along the run.
    """

    station: Nm
    lean: Nm
    shared: bool
    joint: Nm
    reach: Nm

    def least(self, piece: Nm) -> Nm:
        """Return the least length on the centre line of a piece that ends here, where a square one has `piece`."""
        return max(piece, abs(self.lean) + LIP)


@dataclass(frozen=True, kw_only=True, slots=True)
class Jamb:
    """An opening of the other run near a corner: how far its nearest jamb is from the node (below 0: beyond it), sill and head."""

    near: Nm
    sill: Nm
    head: Nm


@dataclass(frozen=True, kw_only=True, slots=True)
class Junction:
    """How a run meets one corner: its own role there, and the other run.

    `kind` is the corner's (end, L, T, X, angled), `station` the corner's node on this run.  Of the other run: `other` is
    its name ('' at a free end), `thickness` as laid, `bottom` and `top` its levels there, `other_role` its role, `bearing`
    whether the model calls it load-bearing.  `turn` is the angle between the runs in degrees, 0 to 90 for L, T and X; at a mitre it
    is the turn from one run into the other, up to 180.
    """

    corner: str
    kind: str
    role: Role
    station: Nm
    other: str = ""
    other_role: Role = "start"
    thickness: Nm = 0
    bottom: Nm = 0
    top: Nm = 0
    turn: float = 90.0
    bearing: bool | None = None
    goes_first: bool = False
    """Whether this run passes where the corner is not bonded."""
    bondable: bool = True
    """Whether both runs can pass in turn; where not, the one that goes first passes in every course."""
    loose: bool = False
    """Whether the corner is no plain one (askew, end to end, or more than two runs), so that only `taken` counts."""
    taken: tuple[Nm, Nm] | None = None
    """At a loose corner: the stations that runs which go first take of this run's line."""
    plane: Plane | None = None
    """At an angled corner: where this run's end is cut askew."""
    jambs: tuple[Jamb, ...] = ()
    """Openings of the other run that are nearer to the corner than the length of its unit, where it ends there."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Part:
    """The stretch of a run that is one wall of the model: drawn stations, levels and thickness."""

    wall: str
    start: Nm
    end: Nm
    bottom: Nm
    top: Profile
    thickness: Nm
    reverse: bool = False


@dataclass(frozen=True, kw_only=True, slots=True)
class RunOpening:
    """An opening on a run's stations, as drawn."""

    key: str
    wall: str
    start: Nm
    end: Nm
    sill: Nm
    head: Nm
    through: bool = True
    filling: Filling | None = None
    name: str = ""

    @property
    def width(self) -> Nm:
        return self.end - self.start

    def clear_of(self, corners: Sequence[Junction]) -> RunOpening:
        """Return the opening without corners at the run's ends that it takes, where the other run stands."""
        start, end = self.start, self.end
        for one in corners:
            half = one.thickness // 2
            start, end = (one.station + half, end) if one.role == "start" else (start, one.station - half)
        return replace(self, start=start, end=end) if corners else self


@dataclass(frozen=True, kw_only=True, slots=True)
class Infill:
    """A wall of the model that closes a hole of another wall and is laid as that one: both, and where it lies on their run."""

    wall: str
    host: str
    start: Nm
    end: Nm
    sill: Nm
    head: Nm


@dataclass(frozen=True, kw_only=True, slots=True)
class Run:
    """A straight piece of masonry of one thickness, through its T and X corners, from one end to the other.

    `start` is station 0 on the centre line, `angle_deg` its direction, `length` the distance between the nodes of its
    end corners; `thickness` is as laid, `bottom` the level of its underside, `top` its drawn profile from the first part's
    start to the last part's end.  `unit` is the standard unit it is laid with, of `catalogue`.
    """

    name: str
    storey: str
    start: Point
    angle_deg: float
    direction: tuple[float, float]
    length: Nm
    thickness: Nm
    bottom: Nm
    top: Profile
    parts: tuple[Part, ...]
    junctions: tuple[Junction, ...]
    openings: tuple[RunOpening, ...]
    unit: Unit
    catalogue: Catalogue
    bearing: bool | None = None
    infills: tuple[Infill, ...] = ()
    foot: Nm | None = None
    """Where it is a step of a battered wall: the level at which that wall begins."""

    @property
    def height_from(self) -> Nm:
        """Level from which the height of its wall counts."""
        return self.bottom if self.foot is None else self.foot

    @property
    def first(self) -> Junction:
        """Its junction at station 0."""
        return next(j for j in self.junctions if j.role == "start")

    @property
    def last(self) -> Junction:
        """Its junction at the other end."""
        return next(j for j in self.junctions if j.role == "end")

    @property
    def through(self) -> tuple[Junction, ...]:
        """The T and X corners that it runs through, by station."""
        return tuple(j for j in self.junctions if j.role == "through")

    def over_corner(self, opening: RunOpening) -> tuple[Junction, ...]:
        """Return the L corners that an opening takes, so that the other run alone stands there, its own openings leaving it a piece."""
        out: list[Junction] = []
        for junction, sign in ((self.first, 1), (self.last, -1)):
            if junction.kind != "L" or not junction.bondable or junction.loose:
                continue
            half, least = junction.thickness // 2, self.catalogue.least_piece
            lo, hi = (sign * (at - junction.station) for at in (opening.start, opening.end)[::sign])
            beside = (j for j in junction.jambs if j.sill < opening.head and j.head > opening.sill)
            if lo < least - half and hi > half and all(j.near >= least - self.thickness // 2 for j in beside):
                out.append(junction)
        return tuple(out)

    def at(self, station: Nm, offset: Nm = 0) -> tuple[float, float]:
        """Plan coordinates (nanometres) of a station and offset."""
        (x, y), (u, v) = self.start, self.direction
        return x + u * station - v * offset, y + v * station + u * offset


@dataclass(frozen=True, kw_only=True, slots=True)
class Corner:
    """A node of the graph: a free end, L, T, X or angled corner.

    `runs` are the runs that meet here in the order in which they pass where they are not bonded: a run that goes through
    first, then the taller, thicker, longer.  `bondable`: two runs at right angles with common courses, far enough from the next
    corner, so that they can pass in turn.
    """

    name: str
    kind: str
    at: Point
    runs: tuple[str, ...]
    bondable: bool = False
    storey: str = ""


@dataclass(frozen=True, kw_only=True, slots=True)
class Course:
    """A course of a run: its number from 1, and the levels between which its whole units lie."""

    run: Run
    number: int
    bottom: Nm
    top: Nm

    @property
    def unit(self) -> Unit:
        return self.run.unit


@dataclass(frozen=True, kw_only=True, slots=True)
class Courses:
    """The courses of one run from the bottom up; `bed` is the levelling bed and `joint` the bed joint that is laid."""

    levels: tuple[Course, ...]
    bed: Nm
    joint: Nm

    def __iter__(self) -> Iterator[Course]:
        return iter(self.levels)

    def __len__(self) -> int:
        return len(self.levels)

    def at(self, level: Nm) -> int:
        """Number of the course in whose band `level` lies; a bearing line belongs to the course above it."""
        return max(1, bisect_right(self.levels, level, key=lambda c: c.bottom))


@dataclass(frozen=True, kw_only=True)
class Pieces:
    """All pieces of a plan, one array a column, row by row in the order run, course, start.

    `run`, `unit`, `wall`, `step`, `stock` index the tuples `runs`, `units`, `walls` and the plan's steps and stocks (-1:
    none).  Lengths are int64 nanometres; volumes m3, masses kg.  `cut` is a bit mask over `wallquant.files.CUTS`.
    `elevation` and `plan` hold, for the few pieces that are no box, their polygons in nanometres (station, level) and
    (station, offset).
    """

    runs: tuple[str, ...]
    units: tuple[Unit, ...]
    walls: tuple[str, ...]
    names: tuple[str, ...]
    run: NDArray[np.int32]
    course: NDArray[np.int32]
    place: NDArray[np.int32]
    unit: NDArray[np.int32]
    cut: NDArray[np.int8]
    start: NDArray[np.int64]
    end: NDArray[np.int64]
    bottom: NDArray[np.int64]
    top: NDArray[np.int64]
    volume: NDArray[np.float64]
    solid: NDArray[np.float64]
    mass: NDArray[np.float64]
    wall: NDArray[np.int32]
    fixed: NDArray[np.int32]
    """Running number of the fixed piece (a lintel) that this is, or -1; it indexes nothing public."""
    elevation: Mapping[int, tuple[tuple[Nm, Nm], ...]] = field(default_factory=dict)
    plan: Mapping[int, tuple[tuple[Nm, Nm], ...]] = field(default_factory=dict)
    work: Mapping[int, str] = field(default_factory=dict)
    """What is done on site besides the saw: turn, drill, notch."""
    holes: Mapping[int, tuple[tuple[Nm, Nm, Nm], ...]] = field(default_factory=dict)
    """Holes drilled on site: station, offset and diameter of each, by row."""

    def __len__(self) -> int:
        return len(self.run)


@dataclass(frozen=True, kw_only=True, slots=True)
class Step:
    """What one mason lays or does in one go.

    `kind` is corner, lead, line, closure, lintel (these lay pieces), hold, or the task of `items`, which are positions in
    `Work.items`.  `pieces` are row numbers of `Pieces`.  A lead step has its corner and, since a lead is laid on both arms, the runs
    of both.  `seconds` is the work of one mason, `resources` what is needed besides one, and `amounts` how much of each: one where
    it is empty.
    """

    name: str
    kind: str
    runs: tuple[str, ...] = ()
    course: int = 0
    corner: str = ""
    pieces: tuple[int, ...] = ()
    items: tuple[int, ...] = ()
    seconds: int = 0
    resources: tuple[str, ...] = ()
    amounts: tuple[int, ...] = ()
    days: tuple[int, ...] = ()
    """Days of the week on which it may be begun, Monday 0; empty: any."""
    text: str = ""
    part: str = ""
    """The connected part of the graph it belongs to (its first run's name)."""
    panel: str = ""
    """What is finished before the next one is begun."""
    follows: str = ""
    """The step that this one goes on from, where what one line of pieces takes is more than one step."""

    @property
    def needs(self) -> tuple[tuple[str, int], ...]:
        """What is needed besides a mason, and how much of it."""
        return tuple(zip(self.resources, self.amounts or (1,) * len(self.resources), strict=True))


@dataclass(frozen=True, kw_only=True, slots=True)
class Bridge:
    """How an opening is bridged, as laid: 'lintel' with its piece rows, 'units' or 'none'.

    `head` is up to where nothing is laid.  Where nothing bridges the opening that is higher than it is drawn, by `open_over`: what lies
    there is set aside, and closed by hand.
    """

    opening: str
    wall: str
    run: str
    start: Nm
    end: Nm
    sill: Nm
    head: Nm
    through: bool
    filling: Filling | None
    bridged: str
    lintel: tuple[int, ...] = ()
    bearing_start: Nm | None = None
    bearing_end: Nm | None = None
    bearing_least: Nm | None = None
    open_over: Nm = 0

    @property
    def drawn_head(self) -> Nm:
        """The head without what is left open over it."""
        return self.head - self.open_over


@dataclass(frozen=True, kw_only=True)
class Work:
    """A laid plan as rules see it when they order, measure and tell: read-only."""

    catalogue: Catalogue
    runs: Mapping[str, Run]
    corners: Mapping[str, Corner]
    parts: tuple[tuple[str, ...], ...]
    """Connected parts of the graph: names of runs, sorted."""
    courses: Mapping[str, Courses]
    pieces: Pieces
    bridges: tuple[Bridge, ...] = ()
    phases: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    """Corner to the passing run's name for each course from 1, `tied` where tied."""
    items: tuple[object, ...] = ()
    """Items placed (`wallquant.rules.Item`)."""
    steps: tuple[Step, ...] = ()
    start_corner: Mapping[str, str] = field(default_factory=dict)
    """Connected part (its first run) to the corner where laying starts."""
    bed_m3: Mapping[str, float] = field(default_factory=dict)
    """Volume of the levelling bed by run, where the slab was surveyed; empty elsewhere."""
