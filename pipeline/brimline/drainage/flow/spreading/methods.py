"""Adding up over facets, and over all lower neighbours."""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING, Any

import numpy as np

from brimline._jit import bands, side_by_side
from brimline.drainage.flow.directions import flow_directions
from brimline.drainage.flow.spreading import _kernels
from brimline.errors import GridError
from brimline.grid import NO_DATA, checked_elevation, checked_same_shape

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

    from brimline.grid import Accumulation, BoolGrid, Directions, Elevation

    Cells = NDArray[np.int64]
    Amounts = NDArray[np.float64]

_BAND_ROWS = 256


def dinf_accumulation(
    surface: Elevation, weights: NDArray[Any] | None = None, *, sinks: BoolGrid | None = None
) -> Accumulation:
    """Add up what drains through each cell, along the steepest of eight triangular facets.

    Water is shared between the two neighbours that span the facet, by the angle of its steepest
    descent; of equally steep facets the first clockwise from west counts. Where no facet falls
    (on flats, and where a corner of every facet lacks data) water takes its `flow_directions`.

    Parameters
    ----------
    surface : float32 (rows, cols) [m]; NaN is nodata. Not modified.
    weights : float (rows, cols), optional
        What each cell gives, such as its area or its runoff; 1 a cell where left out.
    sinks : bool (rows, cols), optional
        Cells that are kept as sinks; each is an outlet.

    Returns
    -------
    float64 (rows, cols)
        Cells, or the unit of the weights; NaN at nodata.

    Raises
    ------
    GridError
        If `surface` is not a 2-D float array with a finite cell or the shapes differ.

    References
    ----------
    Tarboton (1997), A new method for the determination of flow directions and upslope areas in
    grid digital elevation models, doi:10.1029/96WR03137
    """
    dem = checked_elevation(surface, "surface")
    codes = flow_directions(dem, sinks=sinks)
    total = _shares(codes, weights)
    facet = np.empty_like(codes)
    share = np.zeros(codes.shape, dtype=np.float32)
    side_by_side(
        [
            partial(_kernels.facets, dem, codes, facet, share, *band)
            for band in bands(codes.shape[0])
        ]
    )
    pending = np.zeros_like(codes)
    _kernels.count_facet_donors(facet, share, pending)
    _in_rounds(partial(_kernels.spread_over_facets, facet, share, pending, total), codes.shape)
    return total


def mfd_accumulation(
    surface: Elevation,
    weights: NDArray[Any] | None = None,
    *,
    exponent: float = 1.1,
    sinks: BoolGrid | None = None,
) -> Accumulation:
    """Add up what drains through each cell, each giving to all its lower neighbours.

    A lower neighbour's share goes by its slope to the power of the exponent: 1.1 suits spreading
    slopes (Freeman 1991), higher ones gather water more, towards the steepest neighbour alone.
    Cells without a lower neighbour take their `flow_directions`.

    Parameters
    ----------
    surface, weights, sinks : as in `dinf_accumulation`.
    exponent : power of the slope, above 0.

    Returns
    -------
    float64 (rows, cols)
        Cells, or the unit of the weights; NaN at nodata.

    Raises
    ------
    GridError
        As `dinf_accumulation`, and if the exponent is not above 0.

    References
    ----------
    Freeman (1991), Calculating catchment area with divergent flow based on a regular grid,
    doi:10.1016/0098-3004(91)90048-I; Holmgren (1994), doi:10.1002/hyp.3360080405
    """
    if not 0 < exponent < np.inf:
        raise GridError(f"exponent must be above 0 and finite, got {exponent}")
    dem = checked_elevation(surface, "surface")
    codes = flow_directions(dem, sinks=sinks)
    total = _shares(codes, weights)
    pending = np.empty_like(codes)
    side_by_side(
        [
            partial(_kernels.count_higher_donors, dem, codes, pending, *band)
            for band in bands(codes.shape[0])
        ]
    )
    power = float(exponent)
    _in_rounds(partial(_kernels.spread_downhill, dem, codes, power, pending, total), codes.shape)
    return total


def _shares(codes: Directions, weights: NDArray[Any] | None) -> Accumulation:
    """Return what each cell gives, NaN at nodata, as a fresh array to sum into."""
    if weights is None:
        given = np.ones(codes.shape)
    else:
        checked_same_shape(surface=codes, weights=weights)
        given = np.array(weights, dtype=np.float64)
    given[codes == NO_DATA] = np.nan
    return given


def _in_rounds(spread: Callable[..., tuple[Cells, Amounts]], shape: tuple[int, ...]) -> None:
    """Let bands of rows spread side by side, passing on what leaves them, until all is summed.

    The bands are the same whatever the number of threads, and what comes in is taken in the
    order of the bands that it comes from, so sums are the same too.
    """
    cols = shape[1]
    starts = range(0, shape[0], _BAND_ROWS)
    edges = [(first, min(first + _BAND_ROWS, shape[0])) for first in starts]
    nothing = np.empty(0, dtype=np.int64), np.empty(0)
    inbox = [nothing for _ in edges]
    busy = list(range(len(edges)))
    begin = True
    while busy:
        sent = side_by_side([partial(spread, *inbox[band], begin, *edges[band]) for band in busy])
        left: dict[int, list[tuple[Cells, Amounts]]] = {}
        for cells, amounts in sent:
            to = cells // (cols * _BAND_ROWS)
            for band in np.unique(to).tolist():
                left.setdefault(band, []).append((cells[to == band], amounts[to == band]))
        busy, begin = sorted(left), False
        for band, parcels in left.items():
            inbox[band] = (
                np.concatenate([cells for cells, _ in parcels]),
                np.concatenate([amounts for _, amounts in parcels]),
            )
