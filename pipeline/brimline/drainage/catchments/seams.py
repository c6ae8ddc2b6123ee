"""Subcatchments tile by tile: which intake water meets first, across any number of seams."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from brimline.drainage.catchments import _kernels
from brimline.drainage.flow.seams import _kernels as seam_kernels
from brimline.drainage.flow.seams.accumulation import closed, places_led_to, receivers
from brimline.grid import D_COL, D_ROW, OUTLET
from brimline.grid.tiles import Tiling, Window, ring_cells

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from brimline.grid import Directions, Labels


@dataclass(frozen=True, slots=True)
class TileLabels:
    """The ground of intakes within one tile.

    Parameters
    ----------
    labels : int32 (rows, cols); the intake that a cell's water meets first, 0 for none.
    own_cells : int64 (intakes + 1,); cells of each label.
    touched : bool (intakes + 1,); labels on the survey's edge or beside nodata.
    downstream : int32 (intakes of the tile,); the next intake below each; 0 for none.
    """

    labels: Labels
    own_cells: NDArray[np.int64]
    touched: NDArray[np.bool_]
    downstream: NDArray[np.int32]


def ring_labels(
    codes: Directions, intakes: NDArray[np.int64], numbers: NDArray[np.int32]
) -> NDArray[np.int32]:
    """Intake that the water of each ring cell meets first within the tile.

    Parameters
    ----------
    codes : uint8 (rows, cols); directions, which may lead out of the tile.
    intakes : int64; cells of the tile, numbered within it; the first of those on one cell counts.
    numbers : int32; the number of each, from 1.

    Returns
    -------
    int32 (ring,)
        0 for none; -1 less the place, from 1, of the ring cell by which the water leaves.
    """
    within, out = closed(codes)
    ring = ring_cells(Window(0, 0, *codes.shape))
    ends = np.zeros(codes.shape, dtype=np.int32)
    ends.ravel()[out] = -1 - (np.searchsorted(ring, out) + 1)
    ends.ravel()[intakes[::-1]] = numbers[::-1]
    return _signed_exits(within, ends, ring)


def _signed_exits(
    within: Directions, ends: NDArray[np.int32], ring: NDArray[np.int64]
) -> NDArray[np.int32]:
    """Return the ends met first, whatever their sign: the kernel takes numbers from 1."""
    known = np.unique(ends)
    known = known[known != 0]
    place = np.where(ends == 0, 0, np.searchsorted(known, ends) + 1).astype(np.int32)
    met = seam_kernels.exits(within, place, ring, np.zeros(within.shape, dtype=np.int32))
    result: NDArray[np.int32] = np.concatenate(([0], known)).astype(np.int32)[met]
    return result


def solve_labels(
    tiling: Tiling, codes: Sequence[NDArray[np.uint8]], meets: Sequence[NDArray[np.int32]]
) -> list[NDArray[np.int32]]:
    """Intake that water meets after it has left a tile by each ring cell; 0 for none.

    Parameters
    ----------
    codes : uint8 (ring,) of each tile.
    meets : int32 (ring,) of each tile, of `ring_labels`.
    """
    entry = receivers(tiling, np.concatenate(codes))
    leads = places_led_to(tiling, [np.maximum(-1 - met, 0) for met in meets])
    label = np.concatenate([np.maximum(met, 0) for met in meets])
    # each ring cell points to the entry behind its exit; pointers double until all are at an end
    follows = np.where((leads >= 0) & (entry[leads] >= 0), entry[leads], -1)
    onward = follows >= 0
    while onward.any():
        at = np.flatnonzero(onward)
        to = follows[at]
        label[at] = np.where(onward[to], 0, label[to])
        follows[at] = np.where(onward[to], follows[to], -1)
        onward = follows >= 0
    after = np.where(entry >= 0, label[entry], 0).astype(np.int32)
    starts = tiling.ring_starts
    return np.split(after, starts[1:-1])


def label_tile(
    codes: Directions,
    core: Window,
    around: Window,
    intakes: NDArray[np.int64],
    numbers: NDArray[np.int32],
    onward: NDArray[np.int32],
    count: int,
) -> TileLabels:
    """Label the ground of one tile.

    Parameters
    ----------
    codes : uint8 (rows, cols); directions of `around`: the tile and one cell around it.
    core, around : where the tile lies, and `codes`.
    intakes, numbers : as in `ring_labels`.
    onward : int32 (ring,); of `solve_labels`.
    count : number of all intakes.
    """
    inner = np.ascontiguousarray(codes[core.inside(around)])
    within, out = closed(inner)
    ring = ring_cells(core)
    labels: Labels = np.full(core.shape, _kernels.UNSET, dtype=np.int32)
    flat = labels.ravel()
    flat[out] = onward[np.searchsorted(ring, out)]
    after = dict(zip(out.tolist(), flat[out].tolist(), strict=True))
    flat[intakes[::-1]] = numbers[::-1]
    _kernels.label_first(within, labels, 0, core.rows)
    framed = np.zeros(around.shape, dtype=np.int32)
    framed[core.inside(around)] = labels
    touched = np.zeros(count + 1, dtype=np.bool_)
    _kernels.mark_rim(codes, framed, touched)
    downstream = np.zeros(intakes.size, dtype=np.int32)
    last_on: dict[int, int] = {}
    for place, cell in enumerate(intakes.tolist()):
        to = int(within.ravel()[cell])
        if cell in after:
            downstream[place] = after[cell]
        elif to < OUTLET:
            downstream[place] = flat[cell + D_ROW[to] * core.cols + D_COL[to]]
        if cell in last_on:
            downstream[last_on[cell]] = numbers[place]
        last_on[cell] = place
    return TileLabels(
        labels, np.bincount(flat, minlength=count + 1).astype(np.int64), touched, downstream
    )
