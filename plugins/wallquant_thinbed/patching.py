"""Rule patching."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from wallquant.findings import Finding, Source
from wallquant.layout import Pieces, Run, Work
from wallquant.rules import Amount, ParamInfo, Rule, param
from wallquant.units import INCH, MM, Nm

MORTAR = "patch mortar"
_NEAR = 20 * MM
"""An end of a piece so near to a jamb or a free end shows there."""
_PROJECT = Source(basis="project", text="no figure is published; measure your own")


def _size(default: Nm, text: str, source: Source, most: Nm = 1000 * MM) -> Nm:
    made: Nm = param(default, ParamInfo(kind="length", text=text, source=source, least=0, most=most))
    return made


def _number(default: float, text: str, unit: str, most: float) -> float:
    made: float = param(default, ParamInfo(kind="number", text=text, source=_PROJECT, unit=unit, least=0, most=most))
    return made


@dataclass(frozen=True, kw_only=True)
class Params:
    """Parameters of patching."""

    notch_width: int = _size(4 * INCH, "Width of the notch at the foot of a core", Source(basis="project", text="a hand and a light go in"))
    notch_height: int = _size(4 * INCH, "Height of the notch", Source(basis="project", text="a hand and a light go in"))
    put_back: bool = param(
        True,
        ParamInfo(
            kind="flag",
            text="The piece that was cut out is put back in mortar; else the whole notch is filled",
            source=Source(basis="practice", text="the piece is kept and put back after inspection"),
        ),
    )
    gap: int = _size(6 * MM, "Mortar around a piece that is put back: what the saw took, and a joint", _PROJECT, most=50 * MM)
    handhold_l: float = _number(
        0.0, "Volume of a handhold in the end of a whole unit, filled where that end shows; 0: the units have none", "L", 5.0
    )
    groove: float = _number(
        0.0, "Grooves for pipes and cables that are closed again, by the face of the walls; 0: no drawing of them is known", "m/m2", 10.0
    )
    groove_width: int = _size(40 * MM, "Width of a groove", _PROJECT, most=200 * MM)
    groove_depth: int = _size(30 * MM, "Depth of a groove", _PROJECT, most=200 * MM)


class Patching(Rule):
    """Notches, handholds that show, and grooves are closed with patch mortar, which is bought by volume.

    What it asks
    ------------
    Nothing of the layout.  Patch mortar for each piece with a notch: around the piece that is put back (on both sides and over it, and
    behind it), or the whole notch from the face to the core; for each end of a whole unit that shows at a jamb or a free end, its
    handhold, where the units have one; and for grooves by the face of the walls, where the job says how many metres.

    Why
    ---
    What is cut open for inspection, gripped or chased is closed with a mortar like the block, so that the wall stays whole and tight.

    Source
    ------
    That the piece is kept and put back with thin-bed mortar after inspection: common practice, no source.  Sizes are project inputs.
    How deep and where grooves may be cut is for local codes and the engineer; none crosses a bar, a bearing or a bond beam.

    Example
    -------
    A notch of 4 in by 4 in in 8 in block with cores of 4 in is 1-15/16 in deep: put back with 6 mm around, it takes 0.14 L.
    """

    code = "patching"
    title = "Patch mortar"
    Params = Params

    def measure(self, work: Work) -> Iterable[Amount]:
        """Mortar by piece for notches and handholds, by run for grooves."""
        pieces, p = work.pieces, self.params
        for row in sorted(pieces.work):
            if "notch" in pieces.work[row]:
                run = work.runs[pieces.runs[int(pieces.run[row])]]
                yield self._of(run, self._notch(run), row)
        if p.handhold_l:
            for row in _showing(work):
                yield self._of(work.runs[pieces.runs[int(pieces.run[row])]], p.handhold_l / 1000, row)
        if p.groove:
            for name in sorted(work.runs):
                run = work.runs[name]
                if name in pieces.runs:
                    face = float(pieces.volume[pieces.run == pieces.runs.index(name)].sum()) / run.thickness * 1e9
                    yield self._of(run, face * p.groove * p.groove_width * p.groove_depth / 1e18, None)

    def findings(self, work: Work) -> Iterable[Finding]:
        """Tell what is closed, and who says where grooves may be."""
        p = self.params
        notched = sum("notch" in words for words in work.pieces.work.values())
        said = [f"{notched} notches at the feet of cores"] if notched else []
        said += [f"{p.groove:g} m of groove for each square metre of wall"] if p.groove else []
        said += ["handholds that show at jambs and free ends"] if p.handhold_l else []
        if said:
            yield Finding(
                code="patching.closed",
                severity="note",
                text=f"Patch mortar is counted for {', '.join(said)}. Close no notch before the core behind it was looked at; grooves "
                "are cut wet or with extraction, never across a bar, a bearing or a bond beam: local codes and the engineer say how deep",
                rules=(self.code,),
            )

    def _notch(self, run: Run) -> float:
        """Cubic metres for one notch: from the face to the core."""
        p = self.params
        cores = [c.diameter for u in run.catalogue.of_kind("core", run.thickness) for c in u.cores]
        deep = max(0, run.thickness - min(cores, default=100 * MM)) // 2
        if not p.put_back:
            return float(p.notch_width * p.notch_height * deep) / 1e27
        gap = min(p.gap, p.notch_width // 2, p.notch_height, deep)
        inside = (p.notch_width - 2 * gap) * (p.notch_height - gap) * (deep - gap)
        return float(p.notch_width * p.notch_height * deep - inside) / 1e27

    def _of(self, run: Run, volume: float, piece: int | None) -> Amount:
        return Amount(item=MORTAR, quantity=volume, unit="m3", where=run.name, piece=piece)


def _showing(work: Work) -> Iterator[int]:
    """Yield the rows of whole units with an end at a jamb or a free end, once for each such end."""
    pieces = work.pieces
    whole = (pieces.cut == 0) & (pieces.fixed < 0)
    for at, name in enumerate(pieces.runs):
        run = work.runs[name]
        rows = (whole & (pieces.run == at)).nonzero()[0].tolist()
        yield from (row for row in rows for _ in _ends(pieces, run, row))


def _ends(pieces: Pieces, run: Run, row: int) -> Iterator[Nm]:
    start, end, bottom, top = (int(column[row]) for column in (pieces.start, pieces.end, pieces.bottom, pieces.top))
    shown = [(o.end, o.start) for o in run.openings if o.through and o.sill < top and o.head > bottom]
    first, last = run.first, run.last
    for station, others in ((start, [a for a, _ in shown] + ([first.station] if first.kind == "end" else [])),
                            (end, [b for _, b in shown] + ([last.station] if last.kind == "end" else []))):  # fmt: skip
        if any(abs(station - other) <= _NEAR for other in others):
            yield station
