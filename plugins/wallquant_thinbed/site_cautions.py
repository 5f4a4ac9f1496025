"""Rule site_cautions."""

from __future__ import annotations

from collections.abc import Iterable

from wallquant.findings import Finding
from wallquant.layout import Work
from wallquant.rules import Rule
from wallquant_thinbed.cautions import CAUTIONS


class SiteCautions(Rule):
    """The usual cautions go with every plan: dust, mortar, props, wind, heat and cold, young slabs, and who decides.

    What it asks
    ------------
    Nothing of the layout.  It tells the cautions of every site; those that depend on heights and masses are told by stability,
    handling and scaffold_lifts.

    Why
    ---
    Whoever reads the plan on site may read nothing else.

    Source
    ------
    29 CFR 1926.1153 Table 1 on silica (read); TMS 602 on hot and cold weather as the MCAA tells it (read); the others are
    usual cautions, common practice, no source.  Elsewhere local rules apply.

    Example
    -------
    Every plan tells that a handheld saw needs water, and indoors a respirator too.
    """

    code = "site_cautions"
    title = "Cautions on site"

    def findings(self, work: Work) -> Iterable[Finding]:
        """Tell the cautions of every site."""
        for caution in CAUTIONS:
            yield Finding(code=f"caution.{caution.title}", severity="note", text=f"{caution.text} ({caution.source})", rules=(self.code,))
