"""Placing rows from the top of the ground down."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from brimline.errors import GridError
from brimline.grid import NO_DATA
from brimline.lines.limits import Stop
from brimline.lines.rows import _kernels
from brimline.lines.rows.net import Net, net_of
from brimline.lines.rows.net import _kernels as net_kernels
from brimline.lines.tracing import lengths_m

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from brimline.grid import BoolGrid, Directions, Elevation, Grid, Labels
    from brimline.lines.rows.rules import Duty, RowSpacing

_FEWEST_BANDS = 16
_MOST_BANDS = 30_000  # their numbers are kept as int16
# ground in which ways up are lost, by its code: rows beyond it are not known of
_CLOSES: Final = ~np.isin(np.arange(256), (Stop.NONE, Stop.STEEP, Stop.ROW))


@dataclass(frozen=True, slots=True)
class PlacingGround:
    """What placing needs to know of the ground, worked out once.

    Parameters
    ----------
    piece : int32 (rows, cols), number of the connected free ground of one height band; 0 none.
    pieces : how many there are.
    length_m : float64 (pieces + 1,), length of the contour through each piece's middle [m].
    net : the cells that placing looks at, band by band from the top.
    top_m, band_m : upper end of the first band, height of a band [m].
    """

    piece: Labels
    pieces: int
    length_m: NDArray[np.float64]
    net: Net
    top_m: float
    band_m: float


def ground(
    surface: Elevation,
    slope_pct: NDArray[np.float32],
    directions: Directions,
    blocked: NDArray[np.uint8],
    drawn: BoolGrid,
    grid: Grid,
    max_slope_pct: float,
) -> PlacingGround:
    """Divide the ground into height bands and the bands into connected pieces.

    A band is as high as one cell falls on the steepest ground that rows may cross, so that the
    cells of a band hang together along the contour.

    Raises
    ------
    GridError
        If `directions` are missing where there is elevation, or the other way round.
    """
    if (np.isnan(surface) != (directions == NO_DATA)).any():
        raise GridError("directions must be given for exactly the cells that have elevation")
    low, top = float(np.nanmin(surface)), float(np.nanmax(surface))
    relief = max(top - low, 1e-3)
    band = min(max_slope_pct / 100.0 * grid.cell_m, relief / _FEWEST_BANDS)
    band = max(band, relief / _MOST_BANDS)
    number = _kernels.bands(surface, top, band)
    kind = net_kernels.kinds(surface, blocked, drawn, _CLOSES)
    piece, pieces = _kernels.pieces(number, (kind & net_kernels.FREE) > 0)
    middle = _kernels.middles(number, piece, pieces, top, band)
    length = lengths_m(surface, piece, middle, grid)
    slot, start = net_kernels.slots(number, kind, int(number.max()) + 1)
    del number  # the net is the largest of all, so what it does not need goes first
    return PlacingGround(
        piece=piece,
        pieces=pieces,
        length_m=length,
        net=net_of(surface, slope_pct, directions, kind, piece, slot, start, grid.cell_m),
        top_m=top,
        band_m=band,
    )


def levels_of_rows(
    where: PlacingGround,
    grid: Grid,
    duty: Duty,
    spacing: RowSpacing,
    *,
    min_length_m: float,
    length_m: NDArray[np.float64],
) -> NDArray[np.float64]:
    """Choose the level of the row in each piece of ground, from the top down.

    Parameters
    ----------
    min_length_m : pieces through which a row would be shorter get none [m].
    length_m : float64 (pieces + 1,), length of a row through each piece [m].

    Returns
    -------
    float64 (pieces + 1,), level of each piece's row, NaN where there is none [m].
    """
    level: NDArray[np.float64] = _kernels.place(
        where.net.node,
        where.net.flag,
        where.net.over_to,
        where.net.over_rise_m,
        where.net.start,
        where.pieces,
        length_m,
        spacing.numbers(duty),
        min_length_m,
        where.top_m,
        where.band_m,
        grid.cell_m,
    )
    return level
