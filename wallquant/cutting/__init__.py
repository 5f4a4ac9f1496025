"""Cut pieces into bought units, and bars into bought bars: which comes from which, and how few there can be."""

from wallquant.cutting.assign import cut, cut_rows
from wallquant.cutting.bars import Bars, cut_bars
from wallquant.cutting.records import BOUND, Cutting, CutUnits

__all__ = ["BOUND", "Bars", "CutUnits", "Cutting", "cut", "cut_bars", "cut_rows"]
