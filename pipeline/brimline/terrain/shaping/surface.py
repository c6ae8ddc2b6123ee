"""The designed surface: shapes on a finer local grid, and their mean back on the run's own."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import shapely

from brimline.errors import GridError
from brimline.grid import LABEL_NONE, checked_elevation
from brimline.terrain.shaping.areas import Pad
from brimline.terrain.shaping.compose import Composed, Placed, composed, elements_of
from brimline.terrain.shaping.refine import finer_ground

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from brimline.grid import Elevation, Grid, Labels
    from brimline.terrain.shaping.shapes import GroundShape

_BLOCK_CELLS: Final = 64  # side of the blocks that are refined
_FIRST_REACH_CELLS: Final = 4


@dataclass(frozen=True, slots=True, eq=False)
class SurfaceBlock:
    """A block of the run's grid, refined; arrays on `grid`.

    Parameters
    ----------
    ground_m, design_m : float64 [m].
    dug_by, heaped_by : int32; element that lowers or raises the ground, as `Composed`.
    row, col : of its first cell on the run's grid.
    """

    grid: Grid
    row: int
    col: int
    ground_m: NDArray[np.float64]
    design_m: NDArray[np.float64]
    dug_by: Labels
    heaped_by: Labels


@dataclass(frozen=True, slots=True, eq=False)
class Shaped:
    """The designed surface on the run's grid.

    Parameters
    ----------
    design_m : float32 (rows, cols), the ground and the mean change of each cell [m].
    change_m : float64 (rows, cols), design less ground [m]; NaN at nodata.
    dug_by, heaped_by : int32 (rows, cols); element that moves most of what is dug, or heaped up,
        in each cell: 1 for the first of `elements`, 0 where none is.
    pieces : the refined blocks; between them lies untouched ground.
    """

    elements: tuple[str, ...]
    design_m: Elevation
    change_m: NDArray[np.float64]
    dug_by: Labels
    heaped_by: Labels
    pieces: tuple[SurfaceBlock, ...]


@dataclass(frozen=True, slots=True, eq=False)
class DesignSurface:
    """Shapes on a ground, ready to be asked for levels.

    Parameters
    ----------
    open_ended : elements with a batter that met no ground within the limit: its slope is too
        near that of the ground, and what lies past the limit was left as it is.
    """

    dem: Elevation
    grid: Grid
    elements: tuple[str, ...]
    placed: tuple[Placed, ...]
    open_ended: tuple[str, ...]

    def at(
        self,
        x: NDArray[np.float64],
        y: NDArray[np.float64],
        ground_m: NDArray[np.float64],
        *,
        built: bool = False,
    ) -> Composed:
        """Levels at points, exact rather than those of a grid; see `composed`."""
        return composed(self.placed, x, y, ground_m, built=built)

    def surface(self, *, factor: int = 4, built: bool = False) -> Shaped:
        """Work out the surface on the run's grid.

        Parameters
        ----------
        factor : parts that the side of a cell is split into where something is built.
        built : True adds what heaps will settle by.

        Raises
        ------
        GridError
            If `factor` is below 1.
        """
        if factor < 1:
            raise GridError(f"factor must be 1 or more, got {factor}")
        change = np.where(np.isnan(self.dem), np.nan, 0.0)
        dug_by = np.full(self.grid.shape, LABEL_NONE, dtype=np.int32)
        heaped_by = dug_by.copy()
        pieces = []
        for row, col, placed in _blocks(self.grid, self.placed):
            size = _size(self.grid, row, col)
            piece = self._piece((row, col), size, placed, factor, built=built)
            pieces.append(piece)
            rows, cols = (size // factor for size in piece.grid.shape)
            here = slice(row, row + rows), slice(col, col + cols)
            moved = piece.design_m - piece.ground_m
            change[here] = _mean(moved, factor)
            dug_by[here] = _most(piece.dug_by, -moved, factor)
            heaped_by[here] = _most(piece.heaped_by, moved, factor)
        design = (self.dem.astype(np.float64) + change).astype(np.float32)
        return Shaped(self.elements, design, change, dug_by, heaped_by, tuple(pieces))

    def around(self, label: int, *, factor: int = 4, built: bool = False) -> SurfaceBlock:
        """Work out the surface around one element, with all others that reach there.

        Parameters
        ----------
        label : number of the element, from 1.
        factor, built : as `surface`.

        Raises
        ------
        GridError
            If the design has no such element, or `factor` is below 1.
        """
        mine = [one for one in self.placed if one.label == label]
        if factor < 1 or not mine:
            raise GridError(f"there is no element number {label} to split into {factor} parts")
        boxes = np.array([shapely.buffer(one.shape.core, one.reach_m).bounds for one in mine])
        west, south = boxes[:, :2].min(axis=0)
        east, north = boxes[:, 2:].max(axis=0)
        rows, cols = self.grid.cell([west, east], [north, south])
        row, last_row = (int(part) for part in np.clip(rows, 0, self.grid.rows - 1))
        col, last_col = (int(part) for part in np.clip(cols, 0, self.grid.cols - 1))
        size = (last_row - row + 1, last_col - col + 1)
        box = shapely.box(*self.grid.window(row, col, *size).bounds)
        return self._piece((row, col), size, _reaching(self.placed, box), factor, built=built)

    def _piece(
        self,
        corner: tuple[int, int],
        size: tuple[int, int],
        placed: Sequence[Placed],
        factor: int,
        *,
        built: bool,
    ) -> SurfaceBlock:
        ground = finer_ground(self.dem, *corner, *size, factor)
        fine = self.grid.window(*corner, *size).finer(factor)
        x, y = _centres(fine)
        found = composed(placed, x, y, ground.ravel(), built=built)
        return SurfaceBlock(
            fine, *corner, ground, found.level_m.reshape(fine.shape),
            found.dug_by.reshape(fine.shape), found.heaped_by.reshape(fine.shape),
        )  # fmt: skip


def design(
    dem: Elevation, grid: Grid, shapes: Sequence[GroundShape], *, limit_m: float = 60.0
) -> DesignSurface:
    """Place shapes on a ground: work out how far each of them reaches.

    A batter is followed from its shape outwards until it has met the ground all around; ground
    that rises through the prolonged batter farther out is not touched.

    Parameters
    ----------
    dem : float32 (rows, cols) [m]; NaN is nodata.
    limit_m : distance from its core past which no shape has a say [m].

    Raises
    ------
    GridError
        If `dem` is no elevation array on `grid`.
    """
    surface = checked_elevation(dem)
    if surface.shape != grid.shape:
        raise GridError(f"dem {surface.shape} does not lie on the grid of shape {grid.shape}")
    elements = elements_of(shapes)
    label = {element_id: place + 1 for place, element_id in enumerate(elements)}
    base = surface.astype(np.float64)
    found: dict[int, Placed] = {}
    open_ended = []
    for pads in (True, False):  # what stands on a pad meets the pad
        for place, shape in enumerate(shapes):
            if isinstance(shape, Pad) is pads:
                reach_m, closed = _reach(shape, base, grid, limit_m)
                found[place] = Placed(shape, label[shape.element_id], reach_m)
                if not closed:
                    open_ended.append(shape.element_id)
        if pads and found:
            base = _with_pads([found[place] for place in sorted(found)], base, grid)
    placed = tuple(found[place] for place in range(len(shapes)))
    return DesignSurface(surface, grid, elements, placed, tuple(dict.fromkeys(open_ended)))


def _with_pads(
    pads: Sequence[Placed], base: NDArray[np.float64], grid: Grid
) -> NDArray[np.float64]:
    """Return the ground with pads on it."""
    changed = base.copy()
    boxes = np.array([shapely.buffer(one.shape.core, one.reach_m).bounds for one in pads])
    here = _window(grid, *boxes[:, :2].min(axis=0), *boxes[:, 2:].max(axis=0))
    x, y = _centres(grid, here)
    changed[here] = composed(pads, x, y, base[here].ravel()).level_m.reshape(base[here].shape)
    return changed


def _reach(
    shape: GroundShape, ground_m: NDArray[np.float64], grid: Grid, limit_m: float
) -> tuple[float, bool]:
    """How far a shape reaches [m], and whether its batters met the ground within the limit."""
    margin_m = 1.5 * grid.cell_m
    reach_m = shape.core_reach_m + _FIRST_REACH_CELLS * grid.cell_m
    limit_m = max(limit_m, reach_m)
    west, south, east, north = shape.core.bounds
    while True:
        here = _window(grid, west - reach_m, south - reach_m, east + reach_m, north + reach_m)
        x, y = _centres(grid, here)
        levels = shape.levels(x, y, reach_m)
        ground = ground_m[here].ravel()
        active = (levels.dug < ground) | (levels.heaped > ground)
        points = shapely.points(x[active], y[active])
        farthest_m = float(shapely.distance(shape.core, points).max(initial=0.0))
        if farthest_m + margin_m < reach_m:
            return max(farthest_m + margin_m, shape.core_reach_m + margin_m), True
        if reach_m >= limit_m:
            return limit_m, False
        reach_m = min(reach_m * 1.5, limit_m)


def _window(
    grid: Grid, west_m: float, south_m: float, east_m: float, north_m: float
) -> tuple[slice, slice]:
    """Rows and columns of the cells that a rectangle touches."""
    rows, cols = grid.cell([west_m, east_m], [north_m, south_m])
    row, col = np.clip(rows, 0, grid.rows), np.clip(cols, 0, grid.cols)
    return slice(int(row[0]), int(row[1]) + 1), slice(int(col[0]), int(col[1]) + 1)


def _blocks(grid: Grid, placed: Sequence[Placed]) -> list[tuple[int, int, list[Placed]]]:
    """Blocks that something reaches: their first row and column, and what does."""
    found = []
    for row in range(0, grid.rows, _BLOCK_CELLS):
        for col in range(0, grid.cols, _BLOCK_CELLS):
            box = shapely.box(*grid.window(row, col, *_size(grid, row, col)).bounds)
            here = _reaching(placed, box)
            if here:
                found.append((row, col, here))
    return found


def _size(grid: Grid, row: int, col: int) -> tuple[int, int]:
    """Rows and columns of the block that begins at a cell."""
    return min(_BLOCK_CELLS, grid.rows - row), min(_BLOCK_CELLS, grid.cols - col)


def _reaching(placed: Sequence[Placed], box: shapely.Polygon) -> list[Placed]:
    return [one for one in placed if shapely.dwithin(one.shape.core, box, one.reach_m)]


def _centres(
    grid: Grid, here: tuple[slice, slice] = np.s_[:, :]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Middles of the cells in a window, row by row."""
    first, last = zip(
        *(part.indices(n)[:2] for part, n in zip(here, grid.shape, strict=True)), strict=True
    )
    rows, cols = np.mgrid[first[0] : last[0], first[1] : last[1]]
    x, y = grid.xy(rows, cols)
    return x.ravel(), y.ravel()


def _mean(fine: NDArray[np.float64], factor: int) -> NDArray[np.float64]:
    return np.asarray(_parts(fine, factor).mean(axis=(1, 3)))


def _parts(fine: NDArray[Any], factor: int) -> NDArray[Any]:
    rows, cols = fine.shape
    return fine.reshape(rows // factor, factor, cols // factor, factor)


def _most(labels: Labels, moved: NDArray[np.float64], factor: int) -> Labels:
    """Label that moves most in each cell; the smaller one of equals."""
    best = np.zeros((labels.shape[0] // factor, labels.shape[1] // factor))
    found = np.full(best.shape, LABEL_NONE, dtype=np.int32)
    for label in np.unique(labels[labels != LABEL_NONE]).tolist():
        amount = _parts(np.where(labels == label, moved, 0.0), factor).sum(axis=(1, 3))
        more = amount > best
        found[more] = label
        best[more] = amount[more]
    return found
