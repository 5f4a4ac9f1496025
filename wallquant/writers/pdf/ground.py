"""A storey in plan: where it lies on a sheet, its first course, its corners, and labels that keep clear of each other."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from math import atan2, cos, degrees, hypot, radians, sin

from wallquant.layout import Corner, Run
from wallquant.units import FOOT, MM, M
from wallquant.writers.pdf.facts import Facts
from wallquant.writers.pdf.measures import CUT, SHADE
from wallquant.writers.pdf.paper import BOLD, MM_PT, Book, points, width

SCALES = {"mm": (20, 25, 30, 40, 50, 75, 100, 150, 200, 500, 1000), "in": (24, 32, 48, 64, 96, 128, 192, 384, 768, 1536)}
ROOMY = {"mm": 30, "in": 32}
"""Scale to which a small sheet is enough."""
AROUND = 64.0
"""Room on each side for labels and dimensions, in points."""
SQUARE = 32.0
"""Side of the squares by which labels are kept apart, in points."""
XY = tuple[float, float]
Box = tuple[float, float, float, float]


@dataclass(frozen=True, kw_only=True, slots=True)
class Setting:
    """Axes along the storey's longest run, zero at the outermost faces of its walls: where a slab's edges are, or lie parallel to.

    `turn` is the angle of its x axis to the model's, in radians; `east` and `north` are the greatest x and y.  Nanometres.
    """

    turn: float
    x0: float
    y0: float
    east: float
    north: float

    @classmethod
    def of(cls, facts: Facts, runs: Sequence[Run], more: Sequence[XY] = ()) -> Setting:
        """Return the setting of a storey; `more` are points beside its walls that belong on the sheet too."""
        longest = max(runs, key=lambda r: (r.length, -ordinal(r)))
        turn = radians((longest.angle_deg + 45) % 90 - 45)
        flat = [_turned(p, turn) for p in (*(q for r in runs for q in outline(facts, r)), *more)]
        xs, ys = [x for x, _ in flat], [y for _, y in flat]
        return cls(turn=turn, x0=min(xs), y0=min(ys), east=max(xs) - min(xs), north=max(ys) - min(ys))

    def at(self, point: XY) -> XY:
        """Return a point of the plan in these axes."""
        x, y = _turned(point, self.turn)
        return x - self.x0, y - self.y0


def ordinal(run: Run) -> int:
    """Number in a run's name; equal lengths are told apart by it."""
    return int("".join(c for c in run.name if c.isdecimal()) or 0)


def _turned(point: XY, turn: float) -> XY:
    c, s = cos(turn), sin(turn)
    return point[0] * c + point[1] * s, -point[0] * s + point[1] * c


def outline(facts: Facts, run: Run) -> list[XY]:
    """Corners of a run as laid, in plan."""
    lo, hi = facts.extent(run)
    half = run.thickness // 2
    return [run.at(lo, -half), run.at(hi, -half), run.at(hi, half), run.at(lo, half)]


@dataclass(kw_only=True, slots=True)
class Picture:
    """A storey on a sheet."""

    book: Book
    facts: Facts
    runs: Sequence[Run]
    setting: Setting
    scale: int
    left: float
    low: float
    taken: dict[tuple[int, int], list[Box]] = field(default_factory=dict)
    """What is drawn, by the square of the page that it reaches into."""

    @classmethod
    def on(cls, book: Book, facts: Facts, runs: Sequence[Run], more: Sequence[XY] = ()) -> tuple[Setting, bool, int]:
        """Return setting, sheet (large or not) and scale of a storey."""
        setting = Setting.of(facts, runs, more)
        fits = []
        for large in (False, True):
            room, tall = book.room(large=large)
            scale = next(
                (
                    s for s in SCALES[book.system]
                    if points(setting.east, s) <= room - 2 * AROUND and points(setting.north, s) <= tall - 2 * AROUND - 16
                ),
                round(max(setting.east / (room - 2 * AROUND), setting.north / (tall - 2 * AROUND - 16)) / MM * MM_PT) + 1,
            )  # fmt: skip
            fits.append((large, scale))
        small, other = fits
        large, scale = small if small[1] <= ROOMY[book.system] or small[1] == other[1] else other
        return setting, large, scale

    @classmethod
    def begin(cls, book: Book, facts: Facts, runs: Sequence[Run], setting: Setting, scale: int) -> Picture:
        """Return the picture in the middle of the page that is there."""
        wide, high = points(setting.east, scale), points(setting.north, scale)
        left = (book.left + book.right - wide) / 2
        low = book.low + 16 + (book.high - book.low - 16 - high) / 2
        picture = cls(book=book, facts=facts, runs=runs, setting=setting, scale=scale, left=left, low=low)
        for run in runs:  # labels keep off the walls, which are taken piece by piece, so that a run askew takes little
            lo, hi = facts.extent(run)
            half, count = run.thickness // 2, max(1, (hi - lo) // max(run.thickness, MM))
            for n in range(count):
                spots = [picture.at(run.at(lo + (hi - lo) * k // count, d)) for k in (n, n + 1) for d in (-half, half)]
                xs, ys = [x for x, _ in spots], [y for _, y in spots]
                picture.take((min(xs), min(ys), max(xs), max(ys)))
        return picture

    def at(self, point: XY) -> XY:
        """Return a point of the plan on the page."""
        x, y = self.setting.at(point)
        return self.left + points(x, self.scale), self.low + points(y, self.scale)

    def turn(self, run: Run) -> float:
        """Direction of a run on the page, in degrees."""
        (x0, y0), (x1, y1) = self.at(run.at(0)), self.at(run.at(max(run.length, MM)))
        return degrees(atan2(y1 - y0, x1 - x0))

    def free(self, box: Box) -> bool:
        """Whether nothing lies in a box yet."""
        near = (b for square in _squares(box) for b in self.taken.get(square, ()))
        return not any(box[0] < b[2] and b[0] < box[2] and box[1] < b[3] and b[1] < box[3] for b in near)

    def take(self, box: Box) -> None:
        """Keep labels off a box."""
        for square in _squares(box):
            self.taken.setdefault(square, []).append(box)

    def put(self, spots: Iterable[XY], words: str, size: float, *, bold: bool = False, must: bool = False, ring: bool = False) -> bool:
        """Write a label at the first of `spots` (its middle) that is free; with `must` at the first one if none is."""
        wide = width(words, size, BOLD) + 4
        first: Box | None = None
        for x, y in spots:
            box = (x - wide / 2, y - size * 0.65, x + wide / 2, y + size * 0.65)
            first = first or box
            if self.free(box):
                first = box
                break
        else:
            if not must or first is None:
                return False
        assert first is not None
        self.take(first)
        x, y = (first[0] + first[2]) / 2, (first[1] + first[3]) / 2
        if ring:
            self.book.box(first[0], first[1], first[2] - first[0], first[3] - first[1], fill=1, line=0.7)
        self.book.text(x, y - size * 0.36, words, size, bold=bold, anchor="middle", ground=None if ring else 1.0)
        return True

    def pieces(self, run: Run, *, grey: bool) -> None:
        """Draw the first course of a run, in shades by what is cut or plain grey."""
        p, book = self.facts.pieces, self.book
        half = run.thickness // 2
        for row in self.facts.first_course(run.name):
            start, end = int(p.start[row]), int(p.end[row])
            shape = p.plan.get(row) or ((start, -half), (end, -half), (end, half), (start, half))
            kind = p.units[int(p.unit[row])].kind
            shade = 0.88 if grey else CUT if p.cut[row] and kind == "standard" else SHADE[kind]
            book.shape([self.at(run.at(s, d)) for s, d in shape], fill=shade, wide=0.25 if grey else 0.5)

    def corners(self, corners: Iterable[Corner], more: Mapping[str, str] | None = None) -> None:
        """Name corners beside them, in boxes, with what `more` says of them."""
        for corner in corners:
            x, y = self.at(corner.at)
            thick = max((points(self.facts.plan.work.runs[r].thickness, self.scale) for r in corner.runs), default=6.0) / 2
            away = [thick + k for k in (9.0, 14.0, 22.0)]
            spots = [(x + a * sx, y + a * sy) for a in away for sx, sy in ((-1, 1), (1, 1), (1, -1), (-1, -1), (0, 1.2), (0, -1.2))]
            words = f"{corner.name}  {more[corner.name]}" if more and corner.name in more else corner.name
            if words != corner.name:
                spots = [(px + (width(words, 7.5, BOLD) / 2 - 8) * (1 if px > x else -1 if px < x else 0), py) for px, py in spots]
            self.put(spots, words, 7.5, bold=True, must=True, ring=True)

    def names(self) -> None:
        """Name runs beside their middle."""
        for run in self.runs:
            lo, hi = self.facts.extent(run)
            away = points(run.thickness, self.scale) / 2 + 8
            spots = []
            for part in (0.5, 0.35, 0.65, 0.2, 0.8):
                station = round(lo + (hi - lo) * part)
                base, side = self.at(run.at(station)), self.at(run.at(station, 1000 * MM))
                u = ((side[0] - base[0]), (side[1] - base[1]))
                norm = max(hypot(*u), 1e-9)
                spots += [(base[0] + u[0] / norm * k * away, base[1] + u[1] / norm * k * away) for k in (1, -1, 1.7, -1.7)]
            self.put(spots, run.name, 9, bold=True, must=True)

    def compass(self) -> None:
        """An arrow along the model's y axis, and a bar to measure by."""
        book = self.book
        x, y = book.right - 16, book.high - 34
        up = self.setting.turn
        u, v = sin(up), cos(up)
        book.line(x - u * 14, y - v * 14, x + u * 14, y + v * 14, 0.9)
        tip = (x + u * 18, y + v * 18)
        book.shape([tip, (x + u * 8 - v * 4, y + v * 8 + u * 4), (x + u * 8 + v * 4, y + v * 8 - u * 4)], fill=0)
        book.text(x, y - 28, "model y", 6.5, anchor="middle")
        unit = FOOT if book.system == "in" else M
        steps = (1, 2, 5, 10, 20, 50, 100)
        most = next((s for s in reversed(steps) if points(s * unit, self.scale) <= 150), 1)
        wide = points(most * unit, self.scale)
        bx, by = book.left, book.low + 5
        for k in range(2):
            book.box(bx + k * wide / 2, by, wide / 2, 4, fill=float(k), line=0.6)
        book.text(bx, by + 6, "0", 6.5)
        book.text(bx + wide, by + 6, f"{most} {'ft' if book.system == 'in' else 'm'}", 6.5, anchor="middle")


def _squares(box: Box) -> Iterator[tuple[int, int]]:
    for x in range(int(box[0] // SQUARE), int(box[2] // SQUARE) + 1):
        for y in range(int(box[1] // SQUARE), int(box[3] // SQUARE) + 1):
            yield x, y


def of_storey(facts: Facts, runs: Sequence[Run]) -> list[Corner]:
    """Corners at which runs of the storey end or meet."""
    names = {run.name for run in runs}
    return [c for c in facts.plan.work.corners.values() if names & set(c.runs)]
