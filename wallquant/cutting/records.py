"""What cutting says: one row a cut piece, one record a unit type."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wallquant.files import COLUMNS
from wallquant.layout import Pieces
from wallquant.units import to_mm

BOUND = "dual feasible functions (area, Martello-Toth L2), and column generation over all ways of sawing in three stages"
"""What proves the least number of cut units."""


@dataclass(frozen=True, kw_only=True, slots=True)
class CutUnits:
    """The cut units of one unit type.

    Attributes
    ----------
    unit : str
        Code of the unit.
    pieces, units : int
        Cut pieces, and the units they are cut from.
    bound : int
        Proven: no way of sawing in three stages (`assign`) needs fewer units.
    waste_m3 : float
        Outer volume of the units less that of the pieces: offcuts and kerfs.
    """

    unit: str
    pieces: int
    units: int
    bound: int
    waste_m3: float


@dataclass(frozen=True, kw_only=True)
class Cutting:
    """Cut pieces by bought unit: arrays with one entry a cut piece, by stock and order.

    Attributes
    ----------
    stocks : tuple of str
        Names of the bought units that are cut, in the order in which laying first needs one of their pieces.
    stock_unit : (stocks,) int32
        Index into `Pieces.units`.
    piece, stock, order : (n,) int
        Row of `Pieces`, index into `stocks`, place in the unit from 1.
    length, height : (n,) int64
        Least box of the piece, nanometres; a raked or mitred piece by its longest length.
    angle_deg : (n,) float64
        Angle of its saw cut to the unit's length, 90 where it is square.
    kerf : (n,) int64
        What the cut that frees the piece takes, along the length (of a rip: along the height): the saw's kerf, less where
        less is left, 0 where the piece ends at the unit's own end.
    offcut : (n,) int64
        What is left after the last piece of a strip, or of the unit if that is not ripped; 0 on the rows before it.
    by_unit : tuple of CutUnits
        By code of the unit.

    Notes
    -----
    Of a unit with square cuts through its full height, lengths + kerfs + offcut are its length; of one that is only ripped,
    heights + kerfs + offcut are its height.  Where a unit is sawn across before it is ripped, blocks that are ripped come first.
    Two raked or mitred pieces that are nested follow one another, and what they take together is less than their lengths.
    """

    stocks: tuple[str, ...]
    stock_unit: NDArray[np.int32]
    piece: NDArray[np.int64]
    stock: NDArray[np.int64]
    order: NDArray[np.int64]
    length: NDArray[np.int64]
    height: NDArray[np.int64]
    angle_deg: NDArray[np.float64]
    kerf: NDArray[np.int64]
    offcut: NDArray[np.int64]
    by_unit: tuple[CutUnits, ...]

    def __len__(self) -> int:
        return len(self.piece)

    @property
    def units(self) -> int:
        """Units that are cut."""
        return len(self.stocks)

    @property
    def bound(self) -> int:
        """Proven least number of units that are cut."""
        return sum(u.bound for u in self.by_unit)

    @property
    def waste_m3(self) -> float:
        """Offcuts and kerfs, cubic metres."""
        return sum(u.waste_m3 for u in self.by_unit)

    def stock_of(self, pieces: Pieces) -> NDArray[np.int32]:
        """Return for each piece its index into `stocks`, -1 for a whole unit."""
        out = np.full(len(pieces), -1, dtype=np.int32)
        out[self.piece] = self.stock
        return out

    def table(self, pieces: Pieces) -> dict[str, list[object]]:
        """Return the columns of ``cuts.csv``, lengths in millimetres."""
        columns: tuple[list[object], ...] = (
            [self.stocks[i] for i in self.stock],
            [pieces.units[self.stock_unit[i]].code for i in self.stock],
            [int(i) for i in self.order],
            [pieces.names[i] for i in self.piece],
            [to_mm(int(i)) for i in self.length],
            [to_mm(int(i)) for i in self.height],
            [float(i) for i in self.angle_deg],
            [to_mm(int(i)) for i in self.kerf],
            [to_mm(int(i)) for i in self.offcut],
        )
        return dict(zip(COLUMNS["cuts.csv"], columns, strict=True))
