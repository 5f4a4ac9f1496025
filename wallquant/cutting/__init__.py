"""Cut pieces into bought units: which piece comes from which unit, and how few units there can be."""

from wallquant.cutting.assign import cut, cut_rows
from wallquant.cutting.records import BOUND, Cutting, CutUnits

__all__ = ["BOUND", "CutUnits", "Cutting", "cut", "cut_rows"]
