"""Between cells and polygons: which cells a shape covers, and the outline of labelled cells."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, TypeVar

import numpy as np
import shapely
from affine import Affine
from rasterio import features

if TYPE_CHECKING:
    from collections.abc import Iterable

    from numpy.typing import NDArray
    from shapely.geometry.base import BaseGeometry

    from brimline.grid.arrays import BoolGrid, Labels
    from brimline.grid.frame import Grid

_Number = TypeVar("_Number", bound=np.generic)


def cells_inside(
    shapes: Iterable[BaseGeometry], grid: Grid, *, all_touched: bool = False
) -> BoolGrid:
    """Tell which cells lie inside any of the shapes.

    Parameters
    ----------
    shapes : geometries in the grid's CRS; empty ones are passed over.
    all_touched : count every cell that a shape touches, not only those whose centre it holds.

    Returns
    -------
    bool (rows, cols)
    """
    drawn = [shape for shape in shapes if shape is not None and not shape.is_empty]
    if not drawn:
        return np.zeros(grid.shape, dtype=np.bool_)
    outside: BoolGrid = features.geometry_mask(
        drawn, out_shape=grid.shape, transform=grid.transform, all_touched=all_touched
    )
    return ~outside


def painted(
    base: NDArray[_Number], pairs: Iterable[tuple[BaseGeometry, float]], grid: Grid
) -> NDArray[_Number]:
    """Lay values on the cells that shapes hold; where shapes overlap the later one counts.

    Parameters
    ----------
    base : (rows, cols); what stays where no shape lies. Not modified.
    pairs : shapes in the grid's CRS, each with its value; empty ones are passed over.
    """
    drawn = [(shape, value) for shape, value in pairs if shape is not None and not shape.is_empty]
    made = base.copy()
    if drawn:
        features.rasterize(drawn, out=made, transform=grid.transform)
    return made


def cells_touched(shape: BaseGeometry, grid: Grid) -> NDArray[np.int64]:
    """Return the cells that one shape touches, without looking at the others.

    Returns
    -------
    int64 (cells,), linear indices in rising order.
    """
    if shape.is_empty:
        return np.empty(0, dtype=np.int64)
    west, south, east, north = shape.bounds
    (top, bottom), (left, right) = grid.cell([west, east], [north, south])
    top, left = max(int(top) - 1, 0), max(int(left) - 1, 0)
    rows, cols = min(int(bottom) + 2, grid.rows) - top, min(int(right) + 2, grid.cols) - left
    if rows < 1 or cols < 1:
        return np.empty(0, dtype=np.int64)
    near = cells_inside([shape], grid.window(top, left, rows, cols), all_touched=True)
    row, col = np.nonzero(near)
    cells: NDArray[np.int64] = (row + top) * grid.cols + col + left
    return cells


def outlines(
    labels: Labels, grid: Grid, *, origin: tuple[int, int] = (0, 0)
) -> dict[int, shapely.MultiPolygon]:
    """Return the outline of each label's cells along cell edges.

    Cells that touch only at a corner belong to one MultiPolygon as separate parts, so that every
    geometry is valid.

    Parameters
    ----------
    labels : int32 (rows, cols); 0 is no label.
    origin : row and column of the grid at which the labels begin.

    Returns
    -------
    Label to outline, in the order of the labels.
    """
    parts: dict[int, list[shapely.Polygon]] = {}
    if not labels.size:
        return {}
    row, col = origin
    transform = (
        grid.transform if origin == (0, 0) else grid.transform @ Affine.translation(col, row)
    )
    if labels.size == 0:  # which GDAL takes for a fault
        return {}
    found: Any = features.shapes(labels, mask=labels != 0, connectivity=4, transform=transform)
    for geometry, label in found:
        rings = geometry["coordinates"]
        parts.setdefault(int(label), []).append(shapely.Polygon(rings[0], rings[1:]))
    return {label: shapely.MultiPolygon(parts[label]) for label in sorted(parts)}
