"""Whether the drawn inputs lie where there is elevation, and where they do not."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import shapely

from brimline.errors import Problem, Severity
from brimline.grid.shapes import cells_inside
from brimline.io._shapes import polygons_of

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray
    from shapely.geometry.base import BaseGeometry

    from brimline.grid import BoolGrid, Elevation, Grid
    from brimline.io.vectors import LayerRead

UNCOVERED_PCT: Final = 0.1  # of the boundary's area; less is a matter of the edges of cells
_FEW_CELLS: Final = 400  # 20 by 20
_FAR_M: Final = 50_000.0  # nobody draws this far off: another reference system
_SAMPLES: Final = 500  # along one shape
_NAMED_SHARE: Final = 0.1  # sides with less of what is uncovered are not named
_SIDES: Final = ("north", "east", "south", "west")
_POINTS: Final = (
    "east",
    "north-east",
    "north",
    "north-west",
    "west",
    "south-west",
    "south",
    "south-east",
)


@dataclass(frozen=True, slots=True)
class Uncovered:
    """How much of an outline has no elevation, and on which of its sides.

    Parameters
    ----------
    sides : of north, east, south, west, those that hold at least a tenth of it.
    distance_m, direction : to the outline from the data, where the two do not touch at all.
    """

    area_m2: float
    share_pct: float
    sides: tuple[str, ...]
    distance_m: float = 0.0
    direction: str = ""


def outline_of(read: LayerRead) -> tuple[shapely.MultiPolygon, tuple[Problem, ...]]:
    """Join the polygons of a layer to one outline.

    Returns
    -------
    outline, problems
        An empty outline and an error where the layer holds no polygon and says nothing itself.
    """
    outline = polygons_of(shapely.union_all(read.frame.geometry.to_numpy()))
    if not outline.is_empty or read.errors:
        return outline, ()
    return outline, (
        Problem(
            Severity.ERROR,
            "holds no polygon",
            "draw the site's outline as a polygon.",
            str(read.source),
        ),
    )


def uncovered(outline: BaseGeometry, covered: BoolGrid, grid: Grid) -> Uncovered:
    """Measure what of an outline lies off the grid or on cells without data.

    Parameters
    ----------
    outline : polygon in the grid's CRS, not empty.
    covered : bool (rows, cols), True where there is elevation (or a hole inside it).
    """
    frame = shapely.box(*grid.bounds)
    if not outline.intersects(frame):
        distance_m, direction = _way(frame, outline)
        return Uncovered(outline.area, 100.0, (), distance_m, direction)
    by_side = _beyond(outline, grid)
    void = cells_inside([outline.intersection(frame)], grid) & ~covered
    by_side += _void_by_side(void, outline, grid)
    area_m2 = outline.difference(frame).area + float(void.sum()) * grid.cell_area_m2
    named = by_side >= max(_NAMED_SHARE * by_side.sum(), 1e-9)
    sides = tuple(side for side, is_named in zip(_SIDES, named, strict=True) if is_named)
    return Uncovered(area_m2, 100 * area_m2 / outline.area, sides)


def boundary_problems(
    outline: BaseGeometry, covered: BoolGrid, grid: Grid, source: str
) -> tuple[Problem, ...]:
    """Say what of the boundary has no elevation; empty where all has."""
    if outline.is_empty:
        return ()
    found = uncovered(outline, covered, grid)
    if found.share_pct <= UNCOVERED_PCT:
        return _too_few_cells(outline, grid, source)
    mend = "add the missing elevation to inputs.elevation, or draw the boundary smaller."
    if found.direction:
        where = f": it lies {_distance(found.distance_m)} to the {found.direction} of the data"
        if found.distance_m > _FAR_M:
            mend = "check the coordinate reference systems of the boundary and the elevation."
    else:
        where = f": {found.area_m2:.0f} m² in its {' and '.join(found.sides)}"
    message = f"{found.share_pct:.1f} % of the boundary has no elevation{where}"
    return (Problem(Severity.ERROR, message, mend, source),)


def _too_few_cells(outline: BaseGeometry, grid: Grid, source: str) -> tuple[Problem, ...]:
    cells = outline.area / grid.cell_area_m2
    if cells >= _FEW_CELLS:
        return ()
    message = (
        f"the boundary covers {outline.area:.3g} m², {cells:.1f} cells of {grid.cell_m:g} m;"
        f" lines and catchments need {_FEW_CELLS} and more"
    )
    mend = "check the boundary's unit and place, or take a finer survey."
    return (Problem(Severity.WARNING, message, mend, source),)


def points_off_data(
    x: NDArray[np.float64],
    y: NDArray[np.float64],
    elevation: Elevation,
    grid: Grid,
) -> BoolGrid:
    """Tell which points lie off the grid or on a cell without elevation.

    Parameters
    ----------
    x, y : float64 (points,), map coordinates [m].

    Returns
    -------
    bool (points,)
    """
    row, col = grid.cell(x, y)
    off: BoolGrid = ~grid.holds(row, col)
    on = ~off
    off[on] = np.isnan(elevation[row[on], col[on]])
    return off


@dataclass(frozen=True, slots=True, eq=False)
class Under:
    """The ground under shapes, sampled at every cell along them.

    Parameters
    ----------
    void_share : float64 (shapes,), of each that has no elevation.
    low_m, high_m : float64 (shapes,), of the rest [m]; NaN where there is none.
    """

    void_share: NDArray[np.float64]
    low_m: NDArray[np.float64]
    high_m: NDArray[np.float64]


def ground_under(shapes: NDArray[Any], elevation: Elevation, grid: Grid) -> Under:
    """Tell how the ground lies under points, lines and outlines.

    Parameters
    ----------
    shapes : in the grid's CRS, none of them empty.
    """
    step_m = np.maximum(grid.cell_m, shapely.length(shapes) / _SAMPLES)
    places, of = shapely.get_coordinates(shapely.segmentize(shapes, step_m), return_index=True)
    inner = shapely.get_coordinates(shapely.point_on_surface(shapes))
    places, of = np.concatenate([places, inner]), np.concatenate([of, np.arange(len(shapes))])
    off = points_off_data(places[:, 0], places[:, 1], elevation, grid)
    low, high = np.full((2, len(shapes)), np.nan)
    row, col = grid.cell(places[~off, 0], places[~off, 1])
    np.fmin.at(low, of[~off], elevation[row, col])
    np.fmax.at(high, of[~off], elevation[row, col])
    counts = np.bincount(of, minlength=len(shapes))
    return Under(np.bincount(of, off, minlength=len(shapes)) / counts, low, high)


def off_data_problems(
    read: LayerRead, elevation: Elevation, grid: Grid, what: str
) -> tuple[Problem, ...]:
    """Name every point of a layer that lies where there is no elevation.

    Parameters
    ----------
    read : points with the columns ``row`` and ``name``.
    what : what a point is, for the message: ``"intake"``.
    """
    x, y = read.frame.geometry.x.to_numpy(), read.frame.geometry.y.to_numpy()
    names: Sequence[Any] = read.frame["name"].tolist()
    rows: Sequence[Any] = read.frame["row"].tolist()
    return tuple(
        Problem(
            Severity.ERROR,
            f"{_label(names[at], what)} at {x[at]:.1f}, {y[at]:.1f} lies where there is no"
            " elevation",
            "move it onto the data, or add the missing elevation.",
            str(read.source),
            f"row {rows[at]}",
        )
        for at in np.flatnonzero(points_off_data(x, y, elevation, grid)).tolist()
    )


def _label(name: Any, what: str) -> str:  # noqa: ANN401
    return f'{what} "{name}"' if isinstance(name, str) and name.strip() else f"this {what}"


def _beyond(outline: BaseGeometry, grid: Grid) -> NDArray[np.float64]:
    """Area of the outline beyond each side of the grid; corners count for both sides [m²]."""
    west, south, east, north = grid.bounds
    x0, y0, x1, y1 = outline.bounds
    strips = (
        shapely.box(x0, north, x1, max(north, y1)),
        shapely.box(east, y0, max(east, x1), y1),
        shapely.box(x0, min(south, y0), x1, south),
        shapely.box(min(west, x0), y0, west, y1),
    )
    return np.array([outline.intersection(strip).area for strip in strips])


def _void_by_side(void: BoolGrid, outline: BaseGeometry, grid: Grid) -> NDArray[np.float64]:
    """Area of cells without data by the quarter of the outline that they lie in [m²]."""
    row, col = np.nonzero(void)
    if not row.size:
        return np.zeros(4)
    x, y = grid.xy(row, col)
    x0, y0, x1, y1 = outline.bounds
    across = (x - (x0 + x1) / 2) / max(x1 - x0, grid.cell_m)
    up = (y - (y0 + y1) / 2) / max(y1 - y0, grid.cell_m)
    upright = np.abs(up) >= np.abs(across)
    quarter = np.where(upright, np.where(up >= 0, 0, 2), np.where(across >= 0, 1, 3))
    cells = np.bincount(quarter, minlength=4).astype(np.float64)
    return cells * grid.cell_area_m2


def _way(data: BaseGeometry, outline: BaseGeometry) -> tuple[float, str]:
    """Distance between two shapes [m] and the direction from the first to the second."""
    start, end = data.centroid, outline.centroid
    angle = math.atan2(end.y - start.y, end.x - start.x)
    return float(data.distance(outline)), _POINTS[round(angle / (math.pi / 4)) % 8]


def _distance(metres: float) -> str:
    return f"{metres:.0f} m" if metres < 10_000 else f"{metres / 1000:.0f} km"
