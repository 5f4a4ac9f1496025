"""Rule small_openings."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from wallquant.findings import Finding, Place, Source
from wallquant.layout import Bridge, Work
from wallquant.rules import ParamInfo, Rule, param
from wallquant.units import MM, Nm, text


@dataclass(frozen=True, kw_only=True)
class Params:
    """Parameters of small_openings."""

    size: Nm = param(
        400 * MM,
        ParamInfo(
            kind="length",
            text="An opening no wider and no higher than this is small: a sleeve or a duct, without a lintel",
            source=Source(basis="practice", text="small openings are spanned by a whole unit"),
            least=0,
            most=1000 * MM,
        ),
    )


class SmallOpenings(Rule):
    """Small openings and chases have no lintel: they are counted, and drilled or cut on site where the drawing shows them.

    What it asks
    ------------
    Nothing of the layout.  It counts the openings through a wall that are no wider and no higher than `size`, and the recesses that do
    not go through, with their runs.

    Why
    ---
    Whoever sets out must know them before the wall stands; cut afterwards they can hit a bar or a bearing.

    Source
    ------
    The size, and drilling on site: common practice, no source.  How deep and long a chase may be is for local codes and the
    engineer.

    Example
    -------
    Three pipe sleeves of 150 by 150 mm and one meter niche are told as three small openings and one recess.
    """

    code = "small_openings"
    title = "Chases, sleeves and small openings"
    Params = Params

    def findings(self, work: Work) -> Iterable[Finding]:
        """Tell how many there are, and where."""
        small = [b for b in work.bridges if b.through and b.bridged != "lintel" and self._small(b)]
        if small:
            yield self._told(
                work,
                small,
                "small_openings.on-site",
                f"small {'opening' if len(small) == 1 else 'openings'} no larger than {text(self.params.size, work.catalogue.system)} "
                "without a lintel",
                "units are cut round them, or drilled on site; none is cut within a bearing or at a bar without the engineer",
            )
        recesses = [b for b in work.bridges if not b.through]
        if recesses:
            yield self._told(
                work,
                recesses,
                "small_openings.recess",
                f"{'recess or chase' if len(recesses) == 1 else 'recesses or chases'} not through the wall",
                "cut on site into the laid wall; depth and length are for the engineer, none crosses a bar or runs under a bearing",
            )

    def _small(self, bridge: Bridge) -> bool:
        size: Nm = self.params.size
        return max(bridge.end - bridge.start, bridge.head - bridge.sill) <= size

    def _told(self, work: Work, several: list[Bridge], code: str, what: str, how: str) -> Finding:
        system = work.catalogue.system
        ordered = sorted(several, key=lambda b: (len(b.run), b.run, b.start, b.opening))
        shown = [f"{b.run} at {text(b.start, system)}, sill {text(b.sill - work.runs[b.run].bottom, system)}" for b in ordered[:8]]
        more = f" and {len(ordered) - 8} more" if len(ordered) > 8 else ""
        return Finding(
            code=code,
            severity="note",
            text=f"{len(ordered)} {what} ({'; '.join(shown)}{more}): {how}",
            place=Place(run=ordered[0].run, opening=ordered[0].opening),
            rules=(self.code,),
        )
