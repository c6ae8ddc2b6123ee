"""The survey as a person gives it, brought to the run's one grid; every change is said."""

from __future__ import annotations

import math
from dataclasses import asdict, dataclass, field
from typing import TYPE_CHECKING, Any, Final

import numpy as np
from scipy import ndimage

from brimline.errors import InputError, Problem, Severity
from brimline.grid import held_levels
from brimline.io import crs as crs_of
from brimline.io import lengths, metric
from brimline.io import paths as paths_of
from brimline.io._mosaic import read_mosaic
from brimline.io._raster_source import HIGHEST_M, LOWEST_M, read_header
from brimline.io._regrid import to_run_grid
from brimline.io.levels import levels_run_crs, read_levels
from brimline.io.machine import most_cells
from brimline.io.paths import is_levels, is_points
from brimline.io.points import points_run_crs, read_points
from brimline.io.survey_facts import WRITTEN, SurveyFacts
from brimline.units import counted

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence
    from pathlib import Path

    from numpy.typing import NDArray

    from brimline.grid import BoolGrid, Elevation, Grid
    from brimline.io.vectors import VectorSource
    from brimline.terrain.ground import GroundFilter
    from brimline.terrain.levels import SpotLevels

_NATIVE_FACTOR: Final = 8  # a survey may have this many times more cells before resampling
_SPIKE_M: Final = 100.0
_LOOKED_AT: Final = 250_000  # cells by which the relief is judged
_STEEP: Final = 1.0  # fall per metre that no whole survey has
_LEAST_RELIEF: Final = 2e-4  # rise from end to end; less is a plate, not ground
_AROUND: Final = ((-1, -1), (-1, 0), (-1, 1), (0, -1), (0, 1), (1, -1), (1, 0), (1, 1))
_STEPS_TOLD: Final = 50  # the largest
_ZERO_FILL_M: Final = 10.0  # ground that starts this high has no level of exactly 0


@dataclass(frozen=True, slots=True)
class ElevationRead:
    """The survey on the run's grid.

    Parameters
    ----------
    dem : float32 (rows, cols) [m]; NaN is nodata.
    notices : what was found and changed, for the person; no errors.
    files : what was read, in the order in which it was named.
    holes, hole_cells : nodata inside the data: how many pieces, how many cells.
    known_share : of the cells that have a level, those that hold points of a cloud; else 1.
    spots : single levels and their error; None where the survey is none.
    facts : what the files say of the survey.
    counts : int32 (rows, cols), ground points a cell of a point cloud; else None.
    """

    dem: Elevation
    grid: Grid
    notices: tuple[Problem, ...]
    files: tuple[Path, ...]
    holes: int
    hole_cells: int
    known_share: float = 1.0
    spots: SpotLevels | None = None
    facts: SurveyFacts = field(default_factory=SurveyFacts)
    counts: NDArray[np.int32] | None = None

    def plain(self) -> dict[str, Any]:
        """Return what the survey is, beside its levels, as plain values."""
        return asdict(self.facts) | {
            "known_share": self.known_share,
            "holes": self.holes,
            "hole_m2": self.hole_cells * self.grid.cell_area_m2,
            "files": len(self.files),
            "steps": [step._asdict() for step in self.facts.steps[:_STEPS_TOLD]],
        }


def read_elevation(
    paths: str | Path | Iterable[str | Path],
    *,
    cell_m: float | None = None,
    vertical_unit: str = "auto",
    crs: str | None = None,
    max_cells: int | None = None,
    max_gap_m: float | None = None,
    breaklines: VectorSource | None = None,
    ground: GroundFilter | None = None,
    level_steps: bool = False,
) -> ElevationRead:
    """Read elevation rasters, point clouds or single levels onto one north-up grid in metres.

    Parameters
    ----------
    paths : files or globs; all rasters, tiles of one grid, or all point clouds (LAS, LAZ, COPC); or
        one file of single levels (CSV, GeoPackage, GPX, DXF).
    cell_m : side of a cell that is asked for [m]; None keeps a raster's own, and fits point
        clouds by their ground points.
    vertical_unit : unit of the levels: ``"m"``, ``"ft"``, ``"us-ft"``, or ``"auto"`` for what
        the file says.
    crs : coordinate reference system where the files do not say theirs, or say it wrongly.
    max_cells : largest grid that is read; None reads what the machine has memory for.
    max_gap_m : point clouds: ground farther than this from any point is nodata [m]; None fits
        it by the spacing of the points.
    breaklines : single levels: lines that the surface may bend at.
    ground : point clouds without a class of ground: how it is told from what stands on it.
    level_steps : point clouds: take off the steps between flight lines and files.

    Raises
    ------
    InputError
        With every problem of every file, each with its mend.
    """
    files = _files(paths)
    max_cells = most_cells() if max_cells is None else max_cells
    source, known_share, spots, counts = _source(files), 1.0, None, None
    if is_points(files[0]):
        points = read_points(
            files,
            cell_m=cell_m,
            vertical_unit=vertical_unit,
            crs=crs,
            max_cells=max_cells,
            max_gap_m=max_gap_m,
            rule=ground,
            level_steps=level_steps,
        )
        dem, grid, notices = points.dem, points.grid, list(points.notices)
        known_share, counts, facts = points.known_share, points.counts, points.facts
    elif is_levels(files[0]):
        if len(files) > 1:
            raise InputError.of(
                "holds single levels, which come from one file",
                mend="join the files first.",
                source=source,
            )
        levels = read_levels(
            files[0],
            cell_m=cell_m,
            vertical_unit=vertical_unit,
            crs=crs,
            max_cells=max_cells,
            breaklines=breaklines,
        )
        dem, grid, notices = levels.dem, levels.grid, list(levels.notices)
        spots, facts = levels.spots, SurveyFacts("levels")
    else:
        finer = 1 if cell_m is None else _NATIVE_FACTOR
        mosaic = read_mosaic(
            files, vertical_unit=vertical_unit, crs=crs, max_cells=max_cells * finer
        )
        notices = [*mosaic.notices]
        by = WRITTEN if mosaic.days[0] else ""
        facts = SurveyFacts(
            "raster", *mosaic.days, by, steps=mosaic.steps, cut_from=mosaic.cut_from
        )
        if not mosaic.unit.is_metre:
            notices.append(lengths.converted(mosaic.unit, source))
        notices += _drop_zero_fill(mosaic.levels, source)
        run = to_run_grid(mosaic, cell_m=cell_m, max_cells=max_cells, source=source)
        dem, grid = run.dem, run.grid
        notices += run.notices
    dem = held_levels(dem)
    if not np.isfinite(dem).any():
        raise InputError.of(
            "holds no cell with a level: all is nodata",
            mend="check that the right file is named and that it is whole.",
            source=source,
        )
    notices += _drop_spikes(dem, source)
    notices += _range_notices(dem, grid.cell_m, source)
    holes, hole_cells = count_holes(dem)
    if holes:
        notices.append(_holes_notice(dem, grid, holes, hole_cells, source))
    return ElevationRead(
        dem, grid, tuple(notices), files, holes, hole_cells, known_share, spots, facts, counts
    )


def run_crs(paths: str | Path | Iterable[str | Path], *, crs: str | None = None) -> str:
    """Return the CRS that a run on these files has, from the first one's header alone.

    Raises
    ------
    InputError
        If the files are missing, or the first cannot be read or does not say where it is.
    """
    files = _files(paths)
    if is_points(files[0]):
        return points_run_crs(files[0], crs)
    if is_levels(files[0]):
        return levels_run_crs(files[0], crs)
    header = read_header(files[0], vertical_unit="m", crs=crs)
    corners = ((0, 0), (header.cols, 0), (0, header.rows), (header.cols, header.rows))
    places = [header.transform @ corner for corner in corners]
    box = metric.box_of([x for x, _ in places], [y for _, y in places])
    return crs_of.canonical(metric.run_crs(header.crs, box, source=str(files[0]))[0])


def inside_data(dem: Elevation) -> BoolGrid:
    """Tell which cells lie inside the data: valid cells and the holes that they enclose."""
    filled: BoolGrid = ndimage.binary_fill_holes(np.isfinite(dem))
    return filled


def count_holes(dem: Elevation) -> tuple[int, int]:
    """Count the nodata pieces that valid cells enclose, and their cells."""
    valid = np.isfinite(dem)
    if valid.all():
        return 0, 0
    inside: BoolGrid = ndimage.binary_fill_holes(valid) & ~valid
    _, holes = ndimage.label(inside)
    return int(holes), int(inside.sum())


def _files(paths: str | Path | Iterable[str | Path]) -> tuple[Path, ...]:
    """Return the files that are meant, all of one kind."""
    files = paths_of.spread(paths)
    if not files:
        raise InputError.of("names no file", mend="name the elevation file.", source="elevation")
    odd = [path for path in files if is_points(path) != is_points(files[0])]
    if odd:
        raise InputError(
            Problem(
                Severity.ERROR,
                f"cannot be mixed with {files[0].name}: one is a raster, the other a point cloud",
                "name rasters only or point clouds only.",
                str(path),
            )
            for path in odd
        )
    return files


def _source(files: Sequence[Path]) -> str:
    if not files:
        return ""
    return str(files[0]) + (f" and {len(files) - 1} more" if len(files) > 1 else "")


def _drop_zero_fill(levels: Elevation, source: str) -> list[Problem]:
    """Take levels of exactly 0 as nodata where all other ground lies well above; in place."""
    zero = levels == 0
    cells = int(zero.sum())
    if not cells:
        return []
    others = levels[np.isfinite(levels) & ~zero]
    if not others.size or others.min() < _ZERO_FILL_M:
        return []
    levels[zero] = np.nan
    return [
        Problem(
            Severity.WARNING,
            f"holds {cells} cells of exactly 0 while all other ground lies above"
            f" {others.min():.1f} m; they were taken as nodata",
            "set the file's nodata tag so that other programs see it too.",
            source,
        )
    ]


def _drop_spikes(dem: Elevation, source: str) -> list[Problem]:
    """Take single cells as nodata that tower over, or gape below, all their neighbours; in place.

    A cell counts that is farther from the nearest of its neighbours than 100 m and than ten times
    what these differ among themselves: no ground stands so on its own.
    """
    lowest, highest = dem.copy(), dem.copy()
    lowest[:], highest[:] = np.inf, -np.inf
    for down, right in _AROUND:
        there, here = _shifted(dem.shape, down, right)
        np.fmin(lowest[here], dem[there], out=lowest[here])
        np.fmax(highest[here], dem[there], out=highest[here])
    with np.errstate(invalid="ignore"):
        apart = np.fmax(dem - highest, lowest - dem)
        spikes = np.isfinite(apart) & (apart > np.fmax(_SPIKE_M, 10 * (highest - lowest)))
    if not spikes.any():
        return []
    row, col = (int(place) for place in np.argwhere(spikes)[0])
    level_m, cells = float(dem[row, col]), int(spikes.sum())
    around = f"{lowest[row, col]:.1f} to {highest[row, col]:.1f} m"
    dem[spikes] = np.nan
    return [
        Problem(
            Severity.WARNING,
            f"{counted(cells, 'single cell stands', 'single cells stand')} more than"
            f" {_SPIKE_M:.0f} m off all neighbours (row {row}, column {col}: {level_m:.1f} m in"
            f" ground of {around}); taken as nodata",
            "look at the survey there; a mast, a bird or a marker is no ground.",
            source,
        )
    ]


def _shifted(
    shape: tuple[int, ...], down: int, right: int
) -> tuple[tuple[slice, slice], tuple[slice, slice]]:
    """Return where the neighbours lie, and the cells whose neighbours they are."""
    there, here = [], []
    for size, step in zip(shape, (down, right), strict=True):
        there.append(slice(max(step, 0), size + min(step, 0)))
        here.append(slice(max(-step, 0), size + min(-step, 0)))
    return (there[0], there[1]), (here[0], here[1])


def _odd_relief(
    dem: Elevation, cell_m: float, low: float, high: float
) -> Iterator[tuple[str, str]]:
    """Say where levels look like another unit, a wrong sign, or blunders; with each the mend."""
    step = max(1, round(math.sqrt(dem.size / _LOOKED_AT)))
    sample = dem[::step, ::step]
    known = sample[np.isfinite(sample)]
    least, middle, most = (float(level) for level in np.quantile(known, (0.005, 0.5, 0.995)))
    apart = max(_SPIKE_M, 10 * (most - least))
    if high > most + apart or low < least - apart:
        usual = f"{least:.1f} and {most:.1f} m"
        yield (
            f"has levels from {low:.1f} to {high:.1f} m, though nearly all stand between {usual}",
            "take out masts, birds and markers; they become cliffs and pits that water obeys.",
        )
    if high < 0:
        yield (
            f"lies wholly below the sea, at {middle:.1f} m in the middle",
            "check the sign and the unit of heights.",
        )
    if (known == np.rint(known)).all():
        yield (
            "has whole numbers for levels: slopes come in steps, and level lines follow none",
            "export it with decimals, or take a finer survey.",
        )
    rows = dem[:-1:step]
    fall = np.hypot(rows[:, 1:] - rows[:, :-1], (dem[1::step] - rows)[:, :-1]) / cell_m
    fall = fall[np.isfinite(fall)]
    slope = float(np.median(fall)) if fall.size else math.nan
    if slope > _STEEP:
        yield (
            f"is steeper than {100 * slope:.0f} % on half of its ground",
            "check the unit of heights (decimetres, centimetres, feet) and of the map.",
        )
    elif high - low < _LEAST_RELIEF * cell_m * max(dem.shape):
        yield (
            f"rises only {1000 * (high - low):.1f} mm from end to end",
            "check the unit of heights: kilometres look like this.",
        )


def _range_notices(dem: Elevation, cell_m: float, source: str) -> list[Problem]:
    low, high = float(np.nanmin(dem)), float(np.nanmax(dem))
    if low == high:
        return [
            Problem(
                Severity.WARNING,
                f"is wholly flat: every cell has {low:g} m, so that no water flows anywhere",
                "check that the right file and band are named.",
                source,
            )
        ]
    if low >= LOWEST_M and high <= HIGHEST_M:
        return [
            Problem(Severity.WARNING, message, mend, source)
            for message, mend in _odd_relief(dem, cell_m, low, high)
        ]
    return [
        Problem(
            Severity.WARNING,
            f"has levels from {low:.1f} to {high:.1f} m, outside {LOWEST_M:.0f} to"
            f" {HIGHEST_M:.0f} m",
            "check the unit of height and the nodata tag.",
            source,
        )
    ]


def _holes_notice(dem: Elevation, grid: Grid, holes: int, hole_cells: int, source: str) -> Problem:
    share_pct = 100 * hole_cells / (hole_cells + int(np.isfinite(dem).sum()))
    return Problem(
        Severity.NOTICE,
        f"has {counted(holes, 'hole')} without data inside it: {hole_cells} cells,"
        f" {hole_cells * grid.cell_area_m2:.0f} m² ({share_pct:.2g} % of the data)",
        "",
        source,
    )
