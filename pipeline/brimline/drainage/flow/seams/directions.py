"""Flow directions tile by tile, equal in every cell to those of the whole survey.

Three things look beyond a cell. Steepest descent sees its neighbours, and a tie the planes of up
to 65 by 65 cells around: both are covered by a halo of 32 cells. Heights in a flat are distances,
away from higher and towards lower ground, within the flat, which may cross any number of tiles;
a tie in a flat reads them two cells around. So a tile works out its flats with two cells on each
side, and distances cross seams as those of the cells just beyond: each tile spreads what it knows
and what its neighbours told, until no tile learns of a shorter way. A shortest way is cut by the
seams into finitely many pieces, each of which one tile spreads exactly, so the end is reached and
is the distance in the whole flat.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from brimline.drainage.flow import _kernels as flow_kernels
from brimline.drainage.flow.flats import _kernels as flat_kernels
from brimline.drainage.flow.seams import _kernels
from brimline.grid import NO_DATA, OUTLET
from brimline.grid.tiles import Window

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from brimline.grid import BoolGrid, Directions, Elevation

_TIE_REACH: Final = 32  # half the widest window of the planes that decide ties
_APART: Final = 2  # cells around a tile whose heights in flats decide ties inside it
HALO: Final = _TIE_REACH + _APART
_DEFERRED: Final = -1  # as in the kernels
_FAR: Final = np.int64(1) << 60
_LATER: Final = np.int64(1) << 59  # added to the key of a cell that is not beside nodata


@dataclass(frozen=True, slots=True)
class RimFlats:
    """The flats of a tile that neighbours have a part in, or may ask for.

    Parameters
    ----------
    box : the tile, two cells around it, and the cells just beyond, as far as the survey goes.
    cells : int64 (cells,); numbers within `box`.
    notes : int32 (cells,)
        What decides each cell; 0 for those just beyond, which neighbours tell.
    given : int64; places in `cells` of those that neighbours tell.
    offered : int64; places in `cells` of those that neighbours may ask for.
    """

    box: Window
    cells: NDArray[np.int64]
    notes: NDArray[np.int32]
    given: NDArray[np.int64]
    offered: NDArray[np.int64]


def rim_flats(
    surface: Elevation, core: Window, around: Window, sinks: BoolGrid | None
) -> RimFlats | None:
    """List the flats of one tile that reach its rim; None where there are none.

    Parameters
    ----------
    surface : float32 (rows, cols) [m]
        Of `around`: the filled tile with `HALO` cells on each side, as far as the survey goes;
        NaN is nodata outside, minus infinity enclosed nodata.
    core, around : where the tile lies, and `surface`.
    sinks : bool (rows, cols) or None; kept sinks in `around`.
    """
    dem, codes, undecided = _steepest(surface, sinks)
    if not undecided:
        return None
    steps = np.zeros(codes.shape, dtype=np.int32)
    return _listed(dem, codes, steps, core, around)


@dataclass(frozen=True, slots=True)
class FlatDistances:
    """Steps within flats, and what neighbours had told when they were counted.

    Parameters
    ----------
    away, toward : int64 (cells,)
        Steps away from higher ground, from 1, and towards a way down, of each listed cell;
        `1 << 60` where no way is known.
    told_away, told_toward : int64 (given,); what neighbours knew of `RimFlats.given`.
    outlets : int64; places of cells that are ways down because their flat has none.
    """

    away: NDArray[np.int64]
    toward: NDArray[np.int64]
    told_away: NDArray[np.int64]
    told_toward: NDArray[np.int64]
    outlets: NDArray[np.int64]


def flat_distances(
    flats: RimFlats,
    away: NDArray[np.int64] | None = None,
    toward: NDArray[np.int64] | None = None,
    outlets: NDArray[np.int64] | None = None,
    before: FlatDistances | None = None,
) -> FlatDistances:
    """Count steps from each listed cell, away from higher ground and towards a way down.

    Parameters
    ----------
    away, toward : int64 (given,); what neighbours know of `flats.given`, None for nothing yet.
    outlets : int64; places in `flats.cells` that are ways down because their flat has none.
    before : what was counted when neighbours knew less; the same comes out without it.
    """
    nothing = np.full(flats.given.size, _FAR)
    told = (nothing if away is None else away, nothing if toward is None else toward)
    down = np.empty(0, np.int64) if outlets is None else outlets
    if before is not None and not (
        np.array_equal(before.outlets, down)
        and (told[0] <= before.told_away).all()
        and (told[1] <= before.told_toward).all()
    ):
        before = None
    same = before is not None and (
        np.array_equal(told[0], before.told_away) and np.array_equal(told[1], before.told_toward)
    )
    if before is not None and same:
        return before
    at = _kernels.places(flats.cells, flats.box.shape)
    mine = flats.notes > 0
    results = []
    for heard, near, nearest, known in (
        (told[0], flats.notes & _kernels.HIGHER > 0, 1, None if before is None else before.away),
        (told[1], flats.notes >> 4 & 15 > 0, 0, None if before is None else before.toward),
    ):
        if known is None:
            start = np.where(mine & near, np.int64(nearest), _FAR)
            start[flats.given] = heard
            if nearest == 0:
                start[down] = 0
            sources = np.flatnonzero(start < _FAR)
        else:
            start = known.copy()
            lower = heard < start[flats.given]
            sources = flats.given[lower]
            start[sources] = heard[lower]
        results.append(_spread(flats, at, start, sources, 1))
    return FlatDistances(results[0], results[1], *told, down)


def outlet_keys(
    flats: RimFlats,
    linear: NDArray[np.int64],
    toward: NDArray[np.int64],
    keys: NDArray[np.int64],
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Rank the cells of flats that have no way down; the lowest of a flat becomes its outlet.

    The first cell in raster order beside nodata, or else the first of all.

    Parameters
    ----------
    linear : int64 (cells,); linear index of the listed cells on the whole grid.
    toward, keys : int64 (given,); what neighbours know, `1 << 60` for nothing.

    Returns
    -------
    keys : int64 (cells,)
        Lowest rank in the flat of each cell as far as it is known; `1 << 60` where the flat has
        a way down.
    outlets : int64; places in `flats.cells` of those whose own rank that is.
    """
    start = np.where((flats.notes > 0) & (flats.notes >> 4 & 15 > 0), np.int64(0), _FAR)
    start[flats.given] = np.where(keys < _FAR, _FAR, toward)
    at = _kernels.places(flats.cells, flats.box.shape)
    dry = _spread(flats, at, start, np.flatnonzero(start < _FAR), 1) == _FAR
    own = np.where(flats.notes & _kernels.VOID > 0, linear, linear + _LATER)
    own[~dry | (flats.notes == 0)] = _FAR
    start = own.copy()
    start[flats.given] = keys
    lowest = _spread(flats, at, start, np.flatnonzero(start < _FAR), 0)
    return lowest, np.flatnonzero((own < _FAR) & (lowest == own))


def direct_tile(
    surface: Elevation,
    core: Window,
    around: Window,
    sinks: BoolGrid | None,
    flats: RimFlats | None,
    far: FlatDistances | None,
) -> Directions:
    """Directions of one tile, given what neighbours know of its flats.

    Parameters
    ----------
    surface, core, around, sinks : as in `rim_flats`.
    flats, far : of `rim_flats` and `flat_distances`, when no tile learns more; None without flats.
    """
    dem, codes, undecided = _steepest(surface, sinks)
    rows, cols = core.inside(around)
    if undecided:
        steps = np.zeros(codes.shape, dtype=np.int32)
        first, last = max(rows.start - _APART, 0), min(rows.stop + _APART, around.rows)
        west, east = max(cols.start - _APART, 0), min(cols.stop + _APART, around.cols)
        for beyond in (np.s_[:first], np.s_[last:], np.s_[:, :west], np.s_[:, east:]):
            steps[beyond][codes[beyond] == flat_kernels.UNDECIDED] = _DEFERRED
        if flats is not None and far is not None:
            cells = _renumbered(flats.cells, flats.box, around)
            steps.ravel()[cells] = _DEFERRED
        flat_kernels.drain_flats(dem, codes, steps, first, last)
        if flats is not None and far is not None:
            notes = flats.notes.copy()
            notes[far.outlets] |= np.int32(_kernels.DOWN * (OUTLET + 1))
            _kernels.settle_rim_flats(codes, steps, cells, notes, far.away, far.toward)
        flat_kernels.settle_ties(dem, codes, steps, rows.start, rows.stop)
    return np.ascontiguousarray(codes[rows, cols])


def _steepest(surface: Elevation, sinks: BoolGrid | None) -> tuple[Elevation, Directions, bool]:
    """Directions that neighbours decide; the outermost cells are wrong unless on the edge."""
    enclosed = np.isneginf(surface)
    dem = np.where(enclosed, np.float32(np.nan), surface) if enclosed.any() else surface
    dem = np.ascontiguousarray(dem)
    dem.flags.writeable = False
    codes: Directions = np.empty(dem.shape, dtype=np.uint8)
    undecided, nodata = flow_kernels.steepest(dem, codes, 0, dem.shape[0])
    if sinks is not None:
        codes[sinks & (codes != NO_DATA)] = OUTLET
    if undecided and nodata:
        flow_kernels.settle_rim(codes, np.isnan(surface), 0, dem.shape[0])
    return dem, codes, bool(undecided)


def _listed(
    dem: Elevation, codes: Directions, steps: NDArray[np.int32], core: Window, around: Window
) -> RimFlats | None:
    rows, cols = core.inside(around)
    depth = _APART + 1  # a neighbour asks for cells just beyond those that it works out itself
    cells, notes = _kernels.list_rim_flats(
        dem, codes, steps, rows.start, cols.start, rows.stop, cols.stop, depth, _APART
    )
    if not cells.size:
        return None
    wide = _APART + 1
    box = Window(
        core.row - wide, core.col - wide, core.rows + 2 * wide, core.cols + 2 * wide
    ).common(around)
    row, col = np.divmod(cells, around.cols)
    row, col = row - rows.start, col - cols.start
    inner = np.minimum(np.minimum(row, core.rows - 1 - row), np.minimum(col, core.cols - 1 - col))
    return RimFlats(
        box=box,
        cells=_renumbered(cells, around, box),
        notes=notes,
        given=np.flatnonzero(notes == 0),
        offered=np.flatnonzero((inner >= 0) & (inner < depth)),
    )


def _spread(
    flats: RimFlats,
    at: NDArray[np.int32],
    start: NDArray[np.int64],
    sources: NDArray[np.int64],
    step: int,
) -> NDArray[np.int64]:
    order = sources[np.argsort(start[sources], kind="stable")]
    value: NDArray[np.int64] = _kernels.spread(flats.cells, at, start, order, step)
    return value


def _renumbered(cells: NDArray[np.int64], was: Window, becomes: Window) -> NDArray[np.int64]:
    row, col = np.divmod(cells, was.cols)
    cell: NDArray[np.int64] = (
        (row + was.row - becomes.row) * becomes.cols + col + was.col - becomes.col
    )
    return cell
