"""Where catchments meet the end of the data, and which tiles would go on from there."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final, NamedTuple

import numpy as np
import shapely

from brimline.drainage.catchments.subcatchments import gathered

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from brimline.grid import BoolGrid, Grid, Labels

SIDES: Final = ("north", "east", "south", "west")
_STEPS: Final = ((-1, 0), (0, 1), (1, 0), (0, -1))


class OpenEdge(NamedTuple):
    """Cells beyond the data that lie beside labelled ground.

    Parameters
    ----------
    label : int32 (places,); the ground's, from 1.
    row, col : int64 (places,); of the cell beyond, which may lie off the grid.
    side : uint8 (places,); place in `SIDES` of the way there.
    """

    label: NDArray[np.int32]
    row: NDArray[np.int64]
    col: NDArray[np.int64]
    side: NDArray[np.uint8]


def open_edge(labels: Labels, beyond: BoolGrid) -> OpenEdge:
    """List where labelled ground ends at the data's end: off the grid, or nodata outside.

    Parameters
    ----------
    labels : int32 (rows, cols); 0 for none.
    beyond : bool (rows, cols); nodata that is joined to the edge, as of `brimline.grid.outside`.
    """
    rows, cols = labels.shape
    found = []
    around = np.ones((rows + 2, cols + 2), dtype=np.bool_)  # what is off the grid is beyond
    around[1:-1, 1:-1] = beyond
    for side, (down, right) in enumerate(_STEPS):
        last = around[1 + down : rows + 1 + down, 1 + right : cols + 1 + right]
        row, col = np.nonzero(last & (labels > 0))
        kind = np.full(row.size, side, dtype=np.uint8)
        found.append(OpenEdge(labels[row, col], row + down, col + right, kind))
    return joined(found)


def joined(edges: Sequence[OpenEdge]) -> OpenEdge:
    """Put the edges of several pieces together."""
    return OpenEdge(*(np.concatenate(column) for column in zip(*edges, strict=True)))


def edge_sides(edge: OpenEdge, downstream_ids: NDArray[np.int32]) -> tuple[str, ...]:
    """Name the sides by which the ground of each intake leaves the data.

    Parameters
    ----------
    downstream_ids : int32 (intakes,); as in `Subcatchments`.

    Returns
    -------
    Such as ``"north, west"``, all that drains to an intake included; empty where it is whole.
    """
    held = np.zeros((downstream_ids.size, len(SIDES)), dtype=np.bool_)
    held[edge.label - 1, edge.side] = True
    held = gathered(downstream_ids, held, np.logical_or)
    return tuple(", ".join(np.array(SIDES)[one].tolist()) for one in held)


def tiles_beyond(
    edge: OpenEdge,
    downstream_ids: NDArray[np.int32],
    grid: Grid,
    shapes: NDArray[np.object_],
    names: Sequence[str],
) -> tuple[tuple[str, ...], ...]:
    """Name the tiles that hold the cells just beyond the ground of each intake.

    Parameters
    ----------
    shapes : polygons (tiles,) in map coordinates; footprints of tiles.
    names : one a tile.
    """
    held = np.zeros((downstream_ids.size, len(names)), dtype=np.bool_)
    if edge.label.size and len(names):
        points = shapely.points(*grid.xy(edge.row, edge.col))
        place, tile = shapely.STRtree(shapes).query(points, predicate="intersects")
        held[edge.label[place] - 1, tile] = True
    held = gathered(downstream_ids, held, np.logical_or)
    return tuple(tuple(names[tile] for tile in np.flatnonzero(one)) for one in held)
