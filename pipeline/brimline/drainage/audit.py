"""A second opinion on where water goes, from a library that shares no code with ours."""

from __future__ import annotations

import os
from contextlib import contextmanager
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from brimline.drainage.catchments.subcatchments import intake_cells
from brimline.drainage.flow.accumulation import accumulate
from brimline.drainage.flow.directions import checked_directions, counted_donors, flow_directions
from brimline.grid import NO_DATA, OUTLET, checked_elevation, checked_same_shape
from brimline.grid.nodata import outside
from brimline.terrain.conditioning import burn, fill, fill_shallow

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from numpy.typing import ArrayLike, NDArray

    from brimline.grid import Accumulation, BoolGrid, Directions, Elevation

_NODATA_M: Final = -99_999.0
_ABOVE_ALL_M: Final = 99_999.0
_PLACE_OF: Final = np.array([5, 4, 3, 2, 1, 8, 7, 6])  # the library's place of our codes 0 to 7
_CODE_AT: Final = np.array([OUTLET, 4, 3, 2, 1, 0, 7, 6, 5], dtype=np.uint8)
_NO_FLOW, _HAS_FLOW, _VOID = -1.0, 0.0, -2.0  # first entry of the library's proportions
_ALONG_SIDE, _AT_CORNER = 0.5, 0.354  # its weights of a slope by width of contour
_ALIKE: Final = 1e-6  # slopes closer than this, relatively, are equal: it keeps float32


@dataclass(frozen=True, slots=True)
class Disagreement:
    """How far the library's figures are from ours; 0 everywhere is full agreement.

    Parameters
    ----------
    accumulation_pct : greatest difference of a cell's contributing area, added up by the library
        along our directions [% of the larger].
    directions_pct : share of cells that the library's own routing sends elsewhere [%].
    area_m2 : float64 (intakes,) [m²]; what drains to each intake by the library's own routing.
    intake_pct : float64 (intakes,); how far that is from ours [% of the larger].
    """

    accumulation_pct: float
    directions_pct: float
    area_m2: NDArray[np.float64]
    intake_pct: NDArray[np.float64]

    @property
    def greatest_pct(self) -> float:
        """The greatest difference of any area [%]."""
        return max(self.accumulation_pct, float(np.max(self.intake_pct, initial=0.0)))


def second_opinion(
    surface: Elevation,
    directions: Directions,
    area_m2: Accumulation,
    intakes: ArrayLike,
    *,
    cell_m: float,
    sinks: BoolGrid | None = None,
) -> Disagreement:
    """Recompute contributing areas with richdem, along our directions and along its own.

    Its own routing starts from the conditioned surface: flats are resolved by its increments in
    float64, slopes are its proportions after Quinn et al. (1991) less their weights by width of
    contour, and each cell drains to the steepest. (Its D8 takes the lowest neighbour without
    regard to distance, so it cannot be compared.) Where two neighbours are equally steep our
    choice stands. It is given a frame of nodata, for it routes no water from the raster's edge;
    ground above everything where nodata is enclosed, which it would drain into; and kept sinks.

    Takes about 150 bytes a cell. What the library writes to standard error while it works, and
    what any other thread writes there meanwhile, is dropped.

    Parameters
    ----------
    surface : float32 (rows, cols) [m]; the conditioned surface.
    directions : uint8 (rows, cols); those that came from it.
    area_m2 : float64 (rows, cols) [m²]; the contributing area that is questioned.
    intakes : int (intakes, 2); row and column.
    cell_m : side of a cell [m].
    sinks : bool (rows, cols), optional; kept sinks.

    Raises
    ------
    GridError
        If the shapes differ, a direction is wrong, or an intake lies outside the data.

    References
    ----------
    Barnes (2016), RichDEM: terrain analysis software, https://richdem.com; Quinn et al. (1991),
    doi:10.1002/hyp.3360050106
    """
    checked_same_shape(surface=surface, directions=directions, area_m2=area_m2)
    codes = checked_directions(directions)
    counted_donors(codes)  # refuses codes that lead out of the data
    places = intake_cells(codes, intakes)
    cell_area_m2 = np.float64(cell_m) ** 2
    theirs = _own_routing(checked_elevation(surface, "surface"), codes, sinks)
    with _quiet():
        along_ours = _added_up(codes) * cell_area_m2
        along_theirs = _added_up(theirs).ravel()[places] * cell_area_m2
    valid = codes != NO_DATA
    return Disagreement(
        accumulation_pct=float(np.max(_apart_pct(along_ours[valid], area_m2[valid]))),
        directions_pct=100.0 * float(np.mean(theirs[valid] != codes[valid])),
        area_m2=along_theirs,
        intake_pct=_apart_pct(along_theirs, area_m2.ravel()[places]),
    )


def across_hollows_pct(
    surveyed: Elevation,
    area_m2: Accumulation,
    intakes: ArrayLike,
    *,
    cell_m: float,
    deep_m: float,
    burns: Iterable[ArrayLike] = (),
    kept: BoolGrid | None = None,
) -> NDArray[np.float64]:
    """Share of each intake's ground that reaches it only because deep hollows were bridged [%].

    The library routes the ground as surveyed, its culverts opened. Hollows up to a depth, which any
    survey is full of, are filled; deeper ones end the water.

    Parameters
    ----------
    surveyed : float32 (rows, cols) [m]; NaN is nodata.
    area_m2 : float64 (rows, cols) [m²]; the contributing area on the conditioned surface.
    intakes : int (intakes, 2); row and column.
    deep_m : depth from which a hollow is deep [m].
    burns : culverts, as `brimline.terrain.conditioning.burn` takes them.
    kept : bool (rows, cols), optional; sinks that are kept on the conditioned surface too.

    Raises
    ------
    GridError
        As `second_opinion`.
    """
    places = np.asarray(intakes, dtype=np.int64).reshape(-1, 2)
    if not len(places):
        return np.empty(0)
    opened = burn(surveyed, burns, cell_m=cell_m).surface
    shallow = fill_shallow(opened, depth_m=deep_m)
    surface, sinks = shallow or (fill(opened), np.zeros(opened.shape, dtype=np.bool_))
    sinks = sinks if kept is None else sinks | kept
    directions = flow_directions(surface, sinks=sinks)
    ours_m2 = accumulate(directions) * np.float64(cell_m) ** 2
    found = second_opinion(surface, directions, ours_m2, places, cell_m=cell_m, sinks=sinks)
    told_m2 = area_m2[places[:, 0], places[:, 1]]
    crosses: NDArray[np.float64] = 100 * np.clip(1 - found.area_m2 / told_m2, 0, 1)
    return crosses


def _own_routing(surface: Elevation, codes: Directions, sinks: BoolGrid | None) -> Directions:
    """Directions by the library's own slopes."""
    import richdem

    level = surface.astype(np.float64)
    nodata = codes == NO_DATA
    level[nodata] = np.where(outside(nodata)[nodata], _NODATA_M, _ABOVE_ALL_M)
    if sinks is not None:
        kept = np.asarray(sinks, dtype=np.bool_) & ~nodata
        level[kept] = np.nextafter(level[kept], -np.inf)  # a flat must find its way there
    framed = np.pad(level, 1, constant_values=_NODATA_M)
    ground = richdem.rdarray(framed, no_data=_NODATA_M, geotransform=(0, 1, 0, 0, 0, -1))
    with _quiet():
        richdem.ResolveFlats(ground, in_place=True)
        slopes = np.asarray(richdem.FlowProportions(ground, method="Quinn"))[1:-1, 1:-1]
    theirs = _steepest(slopes, codes)
    if sinks is not None:
        theirs[np.asarray(sinks, dtype=np.bool_)] = OUTLET
    theirs[nodata] = NO_DATA
    return theirs


def _steepest(slopes: NDArray[np.float32], codes: Directions) -> Directions:
    """Send each cell down its steepest slope; our way where that is as steep."""
    best = np.zeros(codes.shape, dtype=np.float32)
    ours = np.zeros(codes.shape, dtype=np.float32)
    theirs: Directions = np.full(codes.shape, OUTLET, dtype=np.uint8)
    for place in range(1, 9):
        code = _CODE_AT[place]
        slope = slopes[..., place] / np.float32(_AT_CORNER if code & 1 else _ALONG_SIDE)
        steeper = slope > best
        theirs[steeper] = code
        np.maximum(best, slope, out=best)
        np.copyto(ours, slope, where=codes == code)
    alike = (ours > 0) & (ours >= best * (1.0 - _ALIKE))
    np.copyto(theirs, codes, where=alike)
    return theirs


def _added_up(codes: Directions) -> NDArray[np.float64]:
    """Cells that drain through each cell, as the library adds them up."""
    import richdem

    shares = np.full((*codes.shape, 9), _NO_FLOW, dtype=np.float32)
    flows = codes < OUTLET
    shares[flows, 0] = _HAS_FLOW
    shares[codes == NO_DATA, 0] = _VOID
    row, col = np.nonzero(flows)
    shares[row, col, _PLACE_OF[codes[row, col]]] = 1.0
    framed = np.pad(shares, ((1, 1), (1, 1), (0, 0)), constant_values=_NO_FLOW)
    framed[[0, -1], :, 0] = _VOID
    framed[:, [0, -1], 0] = _VOID
    wrapped = richdem.rd3array(framed, no_data=_VOID)
    wrapped.geotransform = (0, 1, 0, 0, 0, -1)
    total: NDArray[Any] = np.asarray(richdem.FlowAccumFromProps(wrapped))[1:-1, 1:-1]
    return np.ascontiguousarray(total, dtype=np.float64)


def _apart_pct(theirs: NDArray[np.float64], ours: NDArray[np.float64]) -> NDArray[np.float64]:
    """Difference in per cent of the larger; 100 where one of them is no number."""
    larger = np.maximum(np.abs(theirs), np.abs(ours))
    apart = 100.0 * np.abs(theirs - ours) / np.where(larger > 0, larger, 1.0)
    return np.where(np.isnan(apart), 100.0, apart)


@contextmanager
def _quiet() -> Iterator[None]:
    """Drop what compiled code writes to standard error."""
    try:
        kept = os.dup(2)
    except OSError:  # closed: nothing is shown anyway
        yield
        return
    try:
        with open(os.devnull, "wb") as nowhere:  # noqa: PTH123 the name is no path on Windows
            os.dup2(nowhere.fileno(), 2)
        yield
    finally:
        os.dup2(kept, 2)
        os.close(kept)
