"""Point clouds as a survey: their ground points, brought to metres and laid on a grid."""

from __future__ import annotations

import math
from collections import Counter
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np
from pyproj import Transformer

from brimline.errors import InputError, Problem, Severity
from brimline.grid import Grid
from brimline.io import crs as crs_of
from brimline.io import lengths, metric
from brimline.io._clouds import (
    GROUND,
    UNCLASSIFIED,
    Cloud,
    CloudPiece,
    census,
    no_ground,
    pieces,
    read_cloud,
)
from brimline.io._mosaic import OVERLAPPING, grouped, too_many_cells
from brimline.io.survey_facts import FLOWN, WRITTEN, SurveyFacts, SurveyStep, first_and_last
from brimline.terrain.ground import GroundFilter, ground_cells
from brimline.terrain.points import (
    STEP_LIMIT_M,
    LowestBins,
    PointBins,
    StepsBetween,
    fitting_cell_m,
    gridded,
    levelled,
)

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence
    from pathlib import Path

    from numpy.typing import NDArray
    from pyproj import CRS

    from brimline.grid import Elevation

_LEAST_GAP_M: Final = 10.0  # a house or a thicket is spanned
_GAP_SPACINGS: Final = 5.0
_LINES: Final = 1 << 16  # numbers that flight lines of a file may have
_BETWEEN_LINES: Final = "flight lines"
_LEAST_FILLED: Final = 0.02  # cells of the mean spacing are mostly filled where points are spread
ON_GROUND_M: Final = 0.2  # points this close above a cell's lowest are ground with it


@dataclass(frozen=True, slots=True)
class PointsRead:
    """The ground of one or several point clouds on a grid.

    Parameters
    ----------
    dem : float32 (rows, cols) [m]; NaN where no point is near.
    ground_points : how many points it is made from.
    known_share : of the cells that have a level, those that hold points.
    counts : int32 (rows, cols); ground points a cell.
    facts : what the files say of the survey.
    """

    dem: Elevation
    grid: Grid
    notices: tuple[Problem, ...]
    ground_points: int
    known_share: float
    counts: NDArray[np.int32]
    facts: SurveyFacts


@dataclass(frozen=True, slots=True)
class _ToMetres:
    """How a cloud's coordinates become those of the run."""

    crs: CRS
    factor: float
    across: Transformer | None

    def xy(
        self, x: NDArray[np.float64], y: NDArray[np.float64]
    ) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        if self.across is None:
            return x * self.factor, y * self.factor
        east, north = self.across.transform(x, y)
        return np.asarray(east), np.asarray(north)

    def box(self, box: metric.Box) -> metric.Box:
        if self.across is not None:
            west, south, east, north = self.across.transform_bounds(*box, densify_pts=21)
            return float(west), float(south), float(east), float(north)
        west, south, east, north = (edge * self.factor for edge in box)
        return west, south, east, north


def read_points(
    files: Sequence[Path],
    *,
    cell_m: float | None,
    vertical_unit: str,
    crs: str | None,
    max_cells: int,
    max_gap_m: float | None,
    rule: GroundFilter | None = None,
    level_steps: bool = False,
) -> PointsRead:
    """Read the ground points of LAS, LAZ or COPC files onto one grid in metres.

    Points are read piece by piece; their means in every cell are triangulated
    (`brimline.terrain.points`). Ground is what the files classify as such; where none is,
    `brimline.terrain.ground` finds it among the unclassified points, with a warning.

    Parameters
    ----------
    cell_m : side of a cell [m]; None takes the mean spacing of the ground points, rounded up.
    vertical_unit : ``"auto"``, ``"m"``, ``"ft"`` or ``"us-ft"``.
    crs : where the files do not say theirs, or say it wrongly.
    max_gap_m : ground farther than this from any point is nodata [m]; None takes five times the
        spacing, at least 10 m.
    rule : how ground is told from what stands on it, where the files do not say.
    level_steps : take off the steps between flight lines and files, of classified ground.

    Raises
    ------
    InputError
        With every problem of every file.
    """
    clouds = _clouds(files, vertical_unit, crs)
    source = str(files[0]) + (f" and {len(files) - 1} more" if len(files) > 1 else "")
    to_metres, notices = _to_metres(clouds, source)
    counts, *days = census(clouds)
    ground = sum(counts.get(code, 0) for code in GROUND)
    filtering = ground < 3
    if filtering:
        ground = sum(counts.get(code, 0) for code in UNCLASSIFIED)
        if ground < 3:
            raise InputError(no_ground(source, counts))
    box = to_metres.box(_hull(clouds))
    area_m2 = (box[2] - box[0]) * (box[3] - box[1])
    if not (0 < area_m2 < math.inf):
        raise InputError(_no_area(source))
    spacing_m = math.sqrt(area_m2 / ground)
    stated_m, cell_m = cell_m, cell_m or fitting_cell_m(area_m2, ground)
    gap_m = max_gap_m or max(_LEAST_GAP_M, _GAP_SPACINGS * spacing_m)
    grid = _grid(box, cell_m, to_metres.crs)
    if grid.rows * grid.cols > max_cells:
        raise InputError(too_many_cells(grid.shape, max_cells, source))
    bins = PointBins(grid)
    steps: list[SurveyStep] = []
    if filtering:
        used = _gather_filtered(clouds, bins, to_metres, rule)
        notices.append(_filtered_notice(used, ground, source))
    else:
        used, steps = _gather_levelled(clouds, bins, to_metres, level_steps=level_steps)
        if used < ground:
            notices.append(_off_the_map(ground - used, source))
        notices += _step_notices(steps, source)
    if bins.filled_cells < 3:
        raise InputError(_off_its_extent(ground, source))
    points = sum(counts.values())
    notices.append(_gridded_notice(points, used, bins, gap_m, source))
    occupied, filled = bins.counts(), int(bins.filled_cells)
    if stated_m is None and filled < _LEAST_FILLED * bins.occupied.size:
        notices.append(_scattered(bins, source))
    dem = gridded(bins, max_gap_m=gap_m)
    known = filled / max(int(np.isfinite(dem).sum()), 1)
    by = FLOWN
    if not days[0]:
        days, by = list(first_and_last(cloud.written for cloud in clouds)), WRITTEN
    facts = SurveyFacts(
        "points", days[0], days[1], by if days[0] else "", points, used, filtering, tuple(steps)
    )
    return PointsRead(dem, grid, grouped(notices), used, min(known, 1.0), occupied, facts)


def canopy_height_m(
    files: Sequence[Path], grid: Grid, ground: Elevation, *, vertical_unit: str, crs: str | None
) -> Elevation:
    """Return how high the highest point of each cell lies over the ground: trees, roofs, wires.

    Parameters
    ----------
    grid, ground : of `read_points`; float32 (rows, cols) [m].
    vertical_unit, crs : likewise.

    Returns
    -------
    float32 (rows, cols) [m]; NaN where the cell holds no point, or the ground is not known.

    Raises
    ------
    InputError
        If a file cannot be read.
    """
    clouds = _clouds(files, vertical_unit, crs)
    to_metres, _ = _to_metres(clouds, str(files[0]))
    lowest = LowestBins(grid)  # of levels upside down
    for cloud in clouds:
        for piece in pieces(cloud):
            x, y, level_m, _ = _in_metres(piece.taken(~piece.is_noise), cloud, to_metres)
            lowest.add(x, y, -level_m)
    height: Elevation = -lowest.levels() - ground
    return np.maximum(height, np.float32(0.0))


def points_run_crs(path: Path, crs: str | None) -> str:
    """Return the CRS that a run on this point cloud has, from its header alone."""
    cloud = read_cloud(path, vertical_unit="m", crs=crs)
    return crs_of.canonical(metric.run_crs(cloud.crs, cloud.box, source=str(path))[0])


def _clouds(files: Sequence[Path], vertical_unit: str, crs: str | None) -> tuple[Cloud, ...]:
    clouds: list[Cloud] = []
    problems: list[Problem] = []
    for path in files:
        try:
            cloud = read_cloud(path, vertical_unit=vertical_unit, crs=crs)
        except InputError as error:
            problems += error.problems
            continue
        clouds.append(cloud)
        if not crs_of.same(cloud.crs, clouds[0].crs):
            problems.append(
                Problem(
                    Severity.ERROR,
                    f"is in {crs_of.title(cloud.crs)}, but {clouds[0].path.name} is in"
                    f" {crs_of.title(clouds[0].crs)}",
                    "bring all clouds to one coordinate reference system first.",
                    str(path),
                )
            )
    if problems:
        raise InputError(grouped(problems))
    return tuple(clouds)


def _to_metres(clouds: Sequence[Cloud], source: str) -> tuple[_ToMetres, list[Problem]]:
    own, box = clouds[0].crs, _hull(clouds)
    notices = [notice for cloud in clouds for notice in cloud.notices]
    notices += metric.off_its_area(own, box, source=source)
    target, factor, why = metric.run_crs(own, box, source=source)
    if why:
        notices.append(Problem(Severity.NOTICE, why, "", source))
    units = dict.fromkeys(cloud.unit for cloud in clouds if not cloud.unit.is_metre)
    notices += [lengths.converted(unit, source) for unit in units]
    across = None
    if factor == 1.0 and not crs_of.same(own, target):
        across = Transformer.from_crs(own, target, always_xy=True)
    return _ToMetres(target, factor, across), notices


def _hull(clouds: Sequence[Cloud]) -> metric.Box:
    return (
        min(cloud.box[0] for cloud in clouds),
        min(cloud.box[1] for cloud in clouds),
        max(cloud.box[2] for cloud in clouds),
        max(cloud.box[3] for cloud in clouds),
    )


def _grid(box: metric.Box, cell_m: float, crs: CRS) -> Grid:
    """Lay a grid over the points, its lines at whole multiples of the cell."""
    west, south, east, north = box
    left, top = math.floor(west / cell_m), math.floor(north / cell_m) + 1
    cols = math.floor(east / cell_m) + 1 - left
    rows = top - math.floor(south / cell_m)
    return Grid(rows, cols, cell_m, left * cell_m, top * cell_m, crs_of.canonical(crs))


def _in_metres(
    piece: CloudPiece, cloud: Cloud, to_metres: _ToMetres
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64], NDArray[np.uint16]]:
    """Return coordinates and levels [m], and the flight line, of the points that have a place."""
    x, y = to_metres.xy(piece.x, piece.y)
    sane = np.isfinite(x) & np.isfinite(y) & np.isfinite(piece.z)
    return x[sane], y[sane], piece.z[sane] * cloud.unit.metres, piece.strip[sane]


def _ground(
    clouds: Sequence[Cloud], to_metres: _ToMetres
) -> Iterator[
    tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64], NDArray[np.int64]]
]:
    """Yield the ground points of all clouds piece by piece, with file and flight line as one."""
    for number, cloud in enumerate(clouds):
        for piece in pieces(cloud):
            x, y, level_m, line = _in_metres(piece.taken(piece.is_ground), cloud, to_metres)
            yield x, y, level_m, line.astype(np.int64) + number * _LINES


def _gather_levelled(
    clouds: Sequence[Cloud], bins: PointBins, to_metres: _ToMetres, *, level_steps: bool
) -> tuple[int, list[SurveyStep]]:
    """Gather classified ground; measure steps between strips, and take them off where asked.

    Returns
    -------
    how many points lay on the grid; the steps, the largest first.
    """
    if not level_steps:
        found, used = StepsBetween(bins.grid), 0
        for x, y, level_m, strip in _ground(clouds, to_metres):
            used += bins.add(x, y, level_m)
            found.add(x, y, level_m, strip)
        return used, _named(found, None, clouds)
    before, after = StepsBetween(bins.grid), StepsBetween(bins.grid)
    count: Counter[int] = Counter()
    for x, y, level_m, strip in _ground(clouds, to_metres):
        before.add(x, y, level_m, strip)
        numbers, points = np.unique(strip, return_counts=True)
        count.update(dict(zip(numbers.tolist(), points.tolist(), strict=True)))
    add_m, used = levelled(before.found(), count), 0
    for x, y, level_m, strip in _ground(clouds, to_metres):
        numbers, which = np.unique(strip, return_inverse=True)
        level_m += np.array([add_m.get(number, 0.0) for number in numbers.tolist()])[which]
        used += bins.add(x, y, level_m)
        after.add(x, y, level_m, strip)
    return used, _named(before, after, clouds)


def _named(
    before: StepsBetween, after: StepsBetween | None, clouds: Sequence[Cloud]
) -> list[SurveyStep]:
    """Return the steps between flight lines and between files, the largest first."""
    told: list[SurveyStep] = []
    kinds: tuple[tuple[str, Callable[[Any], Any], Callable[[int], str]], ...] = (
        (_BETWEEN_LINES, lambda strip: strip % _LINES, str),
        (OVERLAPPING, lambda strip: strip // _LINES, lambda number: clouds[number].path.name),
    )
    for between, of, name in kinds:
        found = after.found(of) if after else ()
        left_m = {step[:2]: step.step_m for step in found}
        told += [
            SurveyStep(
                between, name(step.one), name(step.other), *step[2:], left_m.get(step[:2])
            )
            for step in before.found(of)
        ]  # fmt: skip
    return sorted(told, key=lambda step: -abs(step.step_m))


def _step_notices(found: Sequence[SurveyStep], source: str) -> list[Problem]:
    """Tell the largest step between strips of a kind, and warn of what is beyond the usual limit.

    Of steps that were levelled, what is left counts.
    """
    problems = []
    for between in (_BETWEEN_LINES, OVERLAPPING):
        steps = [step for step in found if step.between == between]
        if not steps:
            continue
        worst, levelled_off = steps[0], steps[0].left_m is not None
        left = [step.step_m if step.left_m is None else step.left_m for step in steps]
        large = [step_m for step_m in left if abs(step_m) > STEP_LIMIT_M]
        more = (
            f"; {len(large)} pairs differ by more than {STEP_LIMIT_M:g} m" if len(large) > 1 else ""
        )
        kind = f"{between} " if between == _BETWEEN_LINES else ""
        after = (
            f"; levelled, at most {max(left, key=abs):+.2f} m is left between any two"
            if levelled_off
            else ""
        )
        problems.append(
            Problem(
                Severity.WARNING if large else Severity.NOTICE,
                f"{kind}{worst.one} and {worst.other} differ by {worst.step_m:+.2f} m on the same"
                f" ground (median of {worst.cells} cells, scatter {worst.scatter_m:.2f} m), the"
                f" most of {len(steps)} that overlap{after}{more}",
                "have the strips adjusted before levels across the step decide anything"
                + ("." if levelled_off else ", or set terrain.level_steps = true.")
                if large
                else "",
                source,
            )
        )
    return problems


def _gather_filtered(
    clouds: Sequence[Cloud], bins: PointBins, to_metres: _ToMetres, rule: GroundFilter | None
) -> int:
    """Gather the points that lie close above the lowest one of a cell on the ground."""
    grid = bins.grid
    lowest = LowestBins(grid)
    for cloud in clouds:
        for piece in pieces(cloud):
            lowest.add(*_in_metres(piece.taken(piece.may_be_ground), cloud, to_metres)[:3])
    levels = lowest.levels()
    if not np.isfinite(levels).any():
        return 0
    levels[~ground_cells(levels, cell_m=grid.cell_m, rule=rule)] = np.nan
    used = 0
    for cloud in clouds:
        for piece in pieces(cloud):
            x, y, level_m, _ = _in_metres(piece.taken(piece.may_be_ground), cloud, to_metres)
            row, col = grid.cell(x, y)
            on = grid.holds(row, col)
            close = np.zeros(x.shape, dtype=np.bool_)
            close[on] = level_m[on] - levels[row[on], col[on]] <= ON_GROUND_M
            used += bins.add(x[close], y[close], level_m[close])
    return used


def _filtered_notice(used: int, points: int, source: str) -> Problem:
    return Problem(
        Severity.WARNING,
        f"holds no points classified as ground; {used} of {points} unclassified ones were taken"
        " as ground by a morphological filter, which errs beside walls, on banks and in thickets",
        "have the cloud classified, or look at the elevation before relying on it.",
        source,
    )


def _off_the_map(count: int, source: str) -> Problem:
    return Problem(
        Severity.WARNING,
        f"holds {count} ground points outside the extent that its header states; they were left"
        " out",
        "write the file again with a right header.",
        source,
    )


def _off_its_extent(ground: int, source: str) -> Problem:
    return Problem(
        Severity.ERROR,
        f"has {ground} points that may be ground, in fewer than 3 cells of the extent that its"
        " header states",
        "write the file again with a right header, or set terrain.cell_m.",
        source,
    )


def _no_area(source: str) -> Problem:
    return Problem(
        Severity.ERROR,
        "its header has all points at one place or on one line, which is no ground",
        "write the file again with a right header, or name another.",
        source,
    )


def _scattered(bins: PointBins, source: str) -> Problem:
    return Problem(
        Severity.WARNING,
        f"holds points in {bins.filled_cells} of {bins.occupied.size} cells only: some lie far from"
        f" the others, and make cells as wide as {bins.grid.cell_m:g} m",
        "take out what lies far off, or set terrain.cell_m.",
        source,
    )


def _gridded_notice(
    points: int, ground: int, bins: PointBins, gap_m: float, source: str
) -> Problem:
    filled_pct = 100 * float(bins.occupied.mean())
    return Problem(
        Severity.NOTICE,
        f"{ground} ground points of {points} were gridded to cells of {bins.grid.cell_m:g} m"
        f" ({filled_pct:.0f} % of them hold points; ground farther than {gap_m:.0f} m from any is"
        " left out)",
        "",
        source,
    )
