"""Names of pieces that are kept from an older plan."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from wallquant.files import CUTS
from wallquant.layout import Pieces, Run
from wallquant.marks import Marks


def marked(stamped: Pieces, done: Pieces, runs: Mapping[str, Run], marks: Marks) -> Pieces:
    """Return the stamped pieces with the names that an older plan has for what they are when they are done."""
    p = done
    lines = [runs[name] for name in p.runs]
    x, y = (np.array([r.start[k] for r in lines] or [0], np.float64)[p.run] for k in (0, 1))
    u, v = (np.array([r.direction[k] for r in lines] or [0], np.float64)[p.run] for k in (0, 1))
    boxes = np.stack([x + u * p.start, y + v * p.start, x + u * p.end, y + v * p.end, p.bottom, p.top], axis=1)
    cuts = ["+".join(word for bit, word in enumerate(CUTS) if mask >> bit & 1) for mask in p.cut.tolist()]
    kinds = [(p.units[n].code, cut) for n, cut in zip(p.unit.tolist(), cuts, strict=True)]
    rows = (f"{p.runs[r]}-C{c:02d}" for r, c in zip(p.run.tolist(), p.course.tolist(), strict=True))
    return replace(stamped, names=marks.piece_names(p.names, kinds, boxes, rows))
