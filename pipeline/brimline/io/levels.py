"""Single levels and breaklines as a survey: read, doubted row by row, laid on a grid."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
import shapely
from scipy import ndimage
from scipy.spatial import KDTree

from brimline.errors import GridError, InputError, Problem, Severity
from brimline.grid import Grid
from brimline.io import crs as crs_of
from brimline.io import metric
from brimline.io._mosaic import too_many_cells
from brimline.io.paths import is_table
from brimline.io.surveyed import places_in_degrees, read_surveyed
from brimline.io.vectors import VectorSource, WantedColumn, holds_rows, layer_names, read_layer
from brimline.terrain.levels import (
    LevelError,
    SpotLevels,
    level_error,
    level_mesh,
    levels_on,
    spacing_m,
)
from brimline.units import counted

if TYPE_CHECKING:
    from pathlib import Path

    from numpy.typing import NDArray

    from brimline.grid import Elevation
    from brimline.io.surveyed import Surveyed
    from brimline.terrain.levels import LevelMesh

    Floats = NDArray[np.float64]

_CELLS: Final = (0.05, 0.1, 0.2, 0.25, 0.5, 1.0, 2.0, 5.0, 10.0, 20.0)  # sides of cells [m]
_CELLS_A_SPACING: Final = 8.0
_BEYOND_SPACINGS: Final = 2.0  # how far the surface goes on beyond the outermost levels
_BY_NEAREST: Final = 8  # levels that the ground beyond is told from
_SAME_PLACE_M: Final = 0.01
_SAME_LEVEL_M: Final = 0.02
_WILD: Final = 8.0  # robust standard deviations off what the levels around say
_WILD_M: Final = 0.5
_FAR: Final = 10.0  # usual distances from the middle of the levels
_FOOT_SHARE: Final = 0.15
_MOST_TOLD: Final = 20


@dataclass(frozen=True, slots=True, eq=False)
class LevelsRead:
    """A surface through single levels.

    Parameters
    ----------
    dem : float32 (rows, cols) [m]; NaN farther than two usual distances from the levels.
    points : the levels as read, in the run's CRS.
    error : how far the surface may be off; None where too few levels tell.
    """

    dem: Elevation
    grid: Grid
    mesh: LevelMesh
    points: Surveyed
    error: LevelError | None
    notices: tuple[Problem, ...]

    @property
    def spots(self) -> SpotLevels:
        """The levels and what they tell, as stages hand them on."""
        at = self.points
        return SpotLevels(at.x, at.y, at.level_m, at.row, at.name, at.role, self.mesh, self.error)


def levels_run_crs(path: Path, crs: str | None) -> str:
    """Return the CRS that a run on these levels has.

    Raises
    ------
    InputError
        If the file cannot be read, or neither it nor the configuration says where it is.
    """
    source = _source(path)
    if crs is not None:
        return _metres(crs, source)
    if not is_table(path):
        read = read_layer(source, kinds={"point"}, crs=None, keep_z=True)
        return crs_of.canonical(read.usable().crs)
    box = places_in_degrees(path)
    if box is not None:
        return crs_of.canonical(
            metric.run_crs(crs_of.parsed("EPSG:4326"), box, source=str(path))[0]
        )
    raise InputError.of(
        "does not say its coordinate reference system",
        mend='state terrain.crs, for example "EPSG:32633", or "local" for a grid of your own.',
        source=str(path),
    )


def read_levels(
    path: Path,
    *,
    cell_m: float | None,
    vertical_unit: str,
    crs: str | None,
    max_cells: int,
    breaklines: VectorSource | None = None,
) -> LevelsRead:
    """Read single levels, and lay a surface through them that keeps to breaklines.

    Parameters
    ----------
    path : CSV with a column each for easting, northing and level, or points of a vector file with
        heights or a column of levels.
    cell_m : side of a cell [m]; None takes about an eighth of the usual distance between levels.
    vertical_unit : ``"auto"`` (metres), ``"m"``, ``"ft"`` or ``"us-ft"``.
    crs : where the file does not say it.
    breaklines : lines that the surface may bend at: kerbs, walls, tops and toes of banks; their
        levels from heights of their corners, else from the levels around.

    Raises
    ------
    InputError
        With every problem of every row.
    """
    run_crs = levels_run_crs(path, crs)
    points = read_surveyed(_source(path), run_crs=run_crs, crs=crs, vertical_unit=vertical_unit)
    if points.errors:
        raise InputError(points.errors)
    notices = [*points.problems, *_doubled(points), *_far(points)]
    (west, east), (south, north) = (
        (float(at.min()), float(at.max())) for at in (points.x, points.y)
    )
    box = (west, south, east, north)
    notices += metric.off_its_area(crs_of.parsed(run_crs), box, source=str(path))
    lines, told = _lines(breaklines, run_crs)
    notices += told
    try:
        mesh = level_mesh(points.x, points.y, points.level_m, lines)
        usual_m = spacing_m(points.x, points.y)
    except GridError as fault:
        raise InputError.of(str(fault), mend="measure more levels.", source=str(path)) from fault
    notices += _crossings(mesh, breaklines)
    grid = _grid(points, cell_m or _fitting(usual_m), usual_m, run_crs)
    if grid.rows * grid.cols > max_cells:
        raise InputError(too_many_cells(grid.shape, max_cells, str(path)))
    dem = levels_on(mesh, grid)
    notices += _extended(dem, grid, points, _BEYOND_SPACINGS * usual_m)
    try:
        error = level_error(mesh, grid)
    except GridError as fault:
        error = None
        notices.append(Problem(Severity.WARNING, str(fault), "measure more levels.", str(path)))
    if error is not None:
        notices += _wild(points, error)
        notices.append(_told(points, error, usual_m, grid))
    return LevelsRead(dem, grid, mesh, points, error, tuple(notices))


def _source(path: Path) -> VectorSource:
    """Name the layer of points where a file holds several (GPX, drawings)."""
    if is_table(path):
        return VectorSource(path)
    names = layer_names(path)
    for name in ("levels", "waypoints", "entities", "track_points", "route_points"):
        if len(names) > 1 and name in names and holds_rows(path, name):
            return VectorSource(path, name)  # a track has a layer of waypoints too, without any
    return VectorSource(path)


def _metres(crs: str, source: VectorSource) -> str:
    given = crs_of.parsed(crs, source="configuration")
    if given.is_geographic and is_table(source.path):
        box = places_in_degrees(source.path)
        if box is not None:
            return crs_of.canonical(metric.run_crs(given, box, source=str(source))[0])
    target, _, _ = metric.run_crs(given, (0.0, 0.0, 1.0, 1.0), source=str(source))
    return crs_of.canonical(target)


def _lines(breaklines: VectorSource | None, run_crs: str) -> tuple[list[Floats], list[Problem]]:
    if breaklines is None:
        return [], []
    read = read_layer(
        breaklines,
        kinds={"line", "polygon"},
        crs=run_crs,
        columns=[WantedColumn("level_m", "float")],
        assume_crs=run_crs,
        keep_z=True,
        default_layer="breaklines",
    )
    lines = []
    for shape, level in zip(read.usable().geometry, read.frame["level_m"], strict=True):
        outline = shape.boundary if shape.geom_type.endswith("Polygon") else shape
        for part in shapely.get_parts(outline):
            corners = shapely.get_coordinates(part, include_z=True)
            if np.isfinite(level):
                corners[:, 2] = level
            lines.append(corners)
    return lines, list(read.problems)


def _fitting(usual_m: float) -> float:
    """Return a plain cell side that shows what the levels can show."""
    fitting = [side for side in _CELLS if side <= usual_m / _CELLS_A_SPACING]
    return fitting[-1] if fitting else _CELLS[0]


def _grid(points: Surveyed, cell_m: float, usual_m: float, crs: str) -> Grid:
    """Lay whole cells around the levels and a rim of two usual distances."""
    rim = _BEYOND_SPACINGS * usual_m
    west = math.floor((points.x.min() - rim) / cell_m) * cell_m
    north = math.ceil((points.y.max() + rim) / cell_m) * cell_m
    cols = math.ceil((points.x.max() + rim - west) / cell_m)
    rows = math.ceil((north - points.y.min() + rim) / cell_m)
    return Grid(rows, cols, cell_m, west, north, crs)


def _extended(dem: Elevation, grid: Grid, points: Surveyed, reach_m: float) -> list[Problem]:
    """Go on beyond the outermost levels by planes through the nearest ones; in place."""
    known = np.isfinite(dem)
    beyond_m = ndimage.distance_transform_edt(~known, sampling=grid.cell_m)
    row, col = np.nonzero(~known & (beyond_m <= reach_m))
    if not row.size:
        return []
    here = np.column_stack(grid.xy(row, col))
    places = np.column_stack([points.x, points.y])
    count = min(_BY_NEAREST, len(places))
    _, near = KDTree(places).query(here, k=list(range(1, count + 1)))
    around = places[near] - here[:, np.newaxis]
    design = np.concatenate([np.ones((*near.shape, 1)), around], axis=2)
    # a little pull towards level keeps planes through levels on one line from standing up
    normal = design.transpose(0, 2, 1) @ design + np.diag([0.0, 1.0, 1.0]) * 1e-6 * reach_m**2
    mean = points.level_m[near].mean(axis=1, keepdims=True)
    right = np.einsum("ijk,ij->ik", design, points.level_m[near] - mean)
    dem[row, col] = np.linalg.solve(normal, right[..., np.newaxis])[:, 0, 0] + mean[:, 0]
    area_m2 = row.size * grid.cell_area_m2
    return [
        Problem(
            Severity.NOTICE,
            f"goes on beyond the outermost levels by up to {reach_m:.1f} m ({area_m2:.0f} m²), as"
            " planes through the nearest levels",
            "measure levels out there where it matters.",
            points.source,
        )
    ]


def _doubled(points: Surveyed) -> list[Problem]:
    """Tell levels at one place that read differently."""
    pairs = KDTree(np.column_stack([points.x, points.y])).query_pairs(_SAME_PLACE_M)
    apart = [
        (one, other)
        for one, other in sorted(pairs)
        if abs(points.level_m[one] - points.level_m[other]) > _SAME_LEVEL_M
    ]
    return [
        Problem(
            Severity.WARNING,
            f"two levels at one place differ: {points.level_m[one]:.3f} and"
            f" {points.level_m[other]:.3f} m; the mean was taken",
            "take the wrong row out.",
            points.source,
            f"rows {points.row[one]} and {points.row[other]}",
        )
        for one, other in apart[:_MOST_TOLD]
    ]


def _far(points: Surveyed) -> list[Problem]:
    """Refuse rows that lie far off all others, and say where their two numbers look swapped."""
    places = np.column_stack([points.x, points.y])
    middle = np.median(places, axis=0)
    off_m = np.hypot(*(places - middle).T)
    limit_m = _FAR * max(float(np.median(off_m)), 1.0)
    far = np.flatnonzero(off_m > limit_m)
    if not far.size:
        return []
    problems = []
    for at in far[:_MOST_TOLD].tolist():
        swapped = math.hypot(places[at, 1] - middle[0], places[at, 0] - middle[1]) <= limit_m
        problems.append(
            Problem(
                Severity.ERROR,
                f"lies {off_m[at]:.0f} m from the middle of the levels"
                + ("; its easting and northing look swapped" if swapped else ""),
                "swap them." if swapped else "correct its place or take the row out.",
                points.source,
                f"row {points.row[at]}",
            )
        )
    raise InputError(problems)


def _wild(points: Surveyed, error: LevelError) -> list[Problem]:
    """Tell levels that stand far off what those around them say."""
    off_m = -error.left_out_m  # of the level from the surface without it
    usual_m = 1.4826 * float(np.nanmedian(np.abs(off_m)))
    wild = np.flatnonzero(np.abs(np.nan_to_num(off_m)) > max(_WILD_M, _WILD * usual_m))
    # one wild level makes its neighbours look wrong too: the worst is named first
    order = wild[np.argsort(-np.abs(off_m[wild]))]
    problems = []
    for at in order[:_MOST_TOLD].tolist():
        level, around = float(points.level_m[at]), float(points.level_m[at] - off_m[at])
        in_feet = abs(level * 0.3048 - around) < _FOOT_SHARE * abs(off_m[at])
        problems.append(
            Problem(
                Severity.WARNING,
                f"reads {level:.3f} m where the levels around say about {around:.2f} m"
                + (", as if it were in feet" if in_feet else ""),
                "correct the row, or draw the edge it stands on as a breakline.",
                points.source,
                f"row {points.row[at]}",
            )
        )
    return problems


def _crossings(mesh: LevelMesh, breaklines: VectorSource | None) -> list[Problem]:
    return [
        Problem(
            Severity.WARNING,
            f"two breaklines cross {crossing.apart_m:.2f} m above one another; the mean was taken",
            "end one at the other, or correct their levels.",
            str(breaklines),
            f"at {crossing.x:.2f}, {crossing.y:.2f}",
        )
        for crossing in mesh.crossings[:_MOST_TOLD]
    ]


def _told(points: Surveyed, error: LevelError, usual_m: float, grid: Grid) -> Problem:
    return Problem(
        Severity.NOTICE,
        f"{counted(points.x.size, 'level')}, usually {usual_m:.1f} m apart, on cells of"
        f" {grid.cell_m:g} m; left out one at a time, they lie {error.rmse_m:.3f} m (RMSE) off the"
        " surface through the others",
        "",
        points.source,
    )
