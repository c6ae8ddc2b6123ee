"""Several elevation files on one grid, joined; what does not fit is said for all of them."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

import numpy as np
from affine import Affine

from brimline.errors import InputError, Problem, Severity
from brimline.io import crs as crs_of
from brimline.io import lengths
from brimline.io._raster_source import Header, read_header, read_levels
from brimline.io.machine import needs
from brimline.io.survey_facts import SurveyStep, first_and_last
from brimline.terrain.spread import middle_and_spread

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from pathlib import Path

    from pyproj import CRS

    from brimline.grid import Elevation

_SAME_SIZE: Final = 1e-5  # relative difference of cell sizes that rounding in a header explains
_ON_GRID: Final = 0.02  # cells by which a tile may be off the first one's grid
_AGREE_M: Final = 0.02  # overlapping tiles of one survey differ by rounding only
_SEAM_CELLS: Final = 20  # along a seam, from which a median is told
OVERLAPPING: Final = "files that overlap"
MEETING: Final = "files that meet"
_OTHER_DATUM_M: Final = 1.0  # a difference this common is another height datum or unit


@dataclass(frozen=True, slots=True)
class Mosaic:
    """Levels on the files' own grid, whatever its CRS and shape of cell.

    Parameters
    ----------
    levels : float32 (rows, cols) [m]; NaN is nodata.
    transform : from (column, row) of cell corners to coordinates of `crs`.
    """

    levels: Elevation
    transform: Affine
    crs: CRS
    unit: lengths.LengthUnit
    notices: tuple[Problem, ...]
    days: tuple[str, str] = ("", "")
    cut_from: str = ""
    steps: tuple[SurveyStep, ...] = ()


@dataclass(slots=True)
class _Overlap:
    """Where a tile lies over those before it, and how far it differs from them."""

    path: Path
    cells: int
    median_m: float
    largest_m: float
    step: SurveyStep


def read_mosaic(
    paths: Sequence[Path], *, vertical_unit: str, crs: str | None, max_cells: int
) -> Mosaic:
    """Read elevation files into one array; where two overlap the one that is named first wins.

    Raises
    ------
    InputError
        With every problem of every file: unreadable, without CRS, in different reference
        systems, resolutions or grids, disagreeing where they overlap, too large together.
    """
    headers = checked_headers(paths, vertical_unit, crs)
    first = headers[0]
    offsets, shape, transform = layout(headers)
    if shape[0] * shape[1] > max_cells:
        raise InputError(_too_large(headers, shape, max_cells))
    notices = [notice for header in headers for notice in header.notices]
    days = first_and_last(day for header in headers for day in header.days)
    if len(headers) == 1:
        levels, found = read_levels(first)
        notices += found
        return Mosaic(
            levels, transform, first.crs, first.unit, grouped(notices), days, first.cut_from
        )
    levels = np.full(shape, np.nan, dtype=np.float32)
    overlaps = []
    for header, (row, col) in zip(headers, offsets, strict=True):
        tile, found = read_levels(header)
        notices += found
        window = levels[row : row + header.rows, col : col + header.cols]
        overlap = _overlap(header.path, window, tile)
        if overlap is not None:
            overlaps.append(overlap)
        np.copyto(window, tile, where=np.isnan(window))
    notices += _overlap_notices(overlaps)
    steps = [overlap.step for overlap in overlaps] + list(_seams(headers, offsets, levels))
    steps.sort(key=lambda step: -abs(step.step_m))
    return Mosaic(
        levels, transform, first.crs, first.unit, grouped(notices), days, steps=tuple(steps)
    )  # fmt: skip


def grouped(problems: Sequence[Problem]) -> tuple[Problem, ...]:
    """Say what many files have in common once, naming the first and how many more."""
    groups: dict[tuple[Severity, str, str, str], list[str]] = {}
    for problem in problems:
        key = (problem.severity, problem.message, problem.mend, problem.place)
        groups.setdefault(key, []).append(problem.source)
    result = []
    for (severity, message, mend, place), sources in groups.items():
        more = f" and {len(sources) - 1} more" if len(sources) > 1 else ""
        result.append(Problem(severity, message, mend, sources[0] + more, place))
    return tuple(result)


def checked_headers(paths: Sequence[Path], vertical_unit: str, crs: str | None) -> list[Header]:
    """Read all headers, and refuse files that do not lie on the first one's grid.

    Raises
    ------
    InputError
        With every problem of every file.
    """
    headers: list[Header] = []
    problems: list[Problem] = []
    for path in paths:
        try:
            headers.append(read_header(path, vertical_unit=vertical_unit, crs=crs))
        except InputError as error:
            problems += error.problems
    if headers:
        problems += _misfits(headers)
    if problems:
        raise InputError(grouped(problems))
    return headers


def _misfits(headers: Sequence[Header]) -> list[Problem]:
    first = headers[0]
    problems = []
    for header in headers[1:]:
        message = _misfit(first, header)
        if message:
            problems.append(
                Problem(
                    Severity.ERROR,
                    message,
                    "bring all tiles to one grid first, for example with gdalwarp -tr and -tap,"
                    " or name the tiles of one survey only.",
                    str(header.path),
                )
            )
    return problems


def _misfit(first: Header, other: Header) -> str:
    """Say how a tile does not fit the first one; empty where it does."""
    if not crs_of.same(first.crs, other.crs):
        return (
            f"is in {crs_of.title(other.crs)}, but {first.path.name} is in"
            f" {crs_of.title(first.crs)}"
        )
    a, b = first.transform, other.transform
    size = max(abs(a.a), abs(a.b))
    if max(abs(a.a - b.a), abs(a.b - b.b), abs(a.d - b.d), abs(a.e - b.e)) > _SAME_SIZE * size:
        return f"has cells of {_cell_text(b)}, but {first.path.name} has cells of {_cell_text(a)}"
    col, row = ~a @ (b.c, b.f)
    off = max(abs(col - round(col)), abs(row - round(row)))
    if off > _ON_GRID:
        return f"lies {off:.2f} of a cell off the grid of {first.path.name}"
    return ""


def _cell_text(transform: Affine) -> str:
    width, height = np.hypot(transform.a, transform.d), np.hypot(transform.b, transform.e)
    text = f"{width:.6g}" if abs(width - height) < 1e-6 * width else f"{width:.6g} × {height:.6g}"
    return f"{text}, turned" if transform.b or transform.d else text


def layout(
    headers: Sequence[Header],
) -> tuple[list[tuple[int, int]], tuple[int, int], Affine]:
    """Place every tile on the first one's grid: offsets (row, col), total shape, transform."""
    a = headers[0].transform
    corners = []
    for header in headers:
        col, row = ~a @ (header.transform.c, header.transform.f)
        corners.append((round(row), round(col)))
    top, left = min(row for row, _ in corners), min(col for _, col in corners)
    bottom = max(row + h.rows for (row, _), h in zip(corners, headers, strict=True))
    right = max(col + h.cols for (_, col), h in zip(corners, headers, strict=True))
    offsets = [(row - top, col - left) for row, col in corners]
    return offsets, (bottom - top, right - left), a @ Affine.translation(left, top)


def _overlap(path: Path, before: Elevation, tile: Elevation) -> _Overlap | None:
    both = np.isfinite(before) & np.isfinite(tile)
    if not both.any():
        return None
    differences = tile[both].astype(np.float64) - before[both]
    apart = np.abs(differences)
    cells = int(both.sum())
    step = SurveyStep(
        OVERLAPPING, "tiles named before", path.name, cells, *middle_and_spread(differences)
    )
    return _Overlap(path, cells, float(np.median(apart)), float(apart.max()), step)


def _seams(
    headers: Sequence[Header], offsets: Sequence[tuple[int, int]], levels: Elevation
) -> Iterator[SurveyStep]:
    """Yield the step between each two tiles that meet edge to edge.

    The ground on each side is drawn on to the seam along its own slope of two cells; what the
    two then differ by, in the median, is the step.
    """
    for turned in (False, True):
        ground = levels.T if turned else levels
        boxes = []
        for header, (row, col) in zip(headers, offsets, strict=True):
            box = (row, col, header.rows, header.cols)
            boxes.append((box[1], box[0], box[3], box[2]) if turned else box)
        begins: dict[int, list[int]] = {}
        for number, (_, col, _, _) in enumerate(boxes):
            begins.setdefault(col, []).append(number)
        for number, (row, col, rows, cols) in enumerate(boxes):
            for other in begins.get(col + cols, ()):
                first = max(row, boxes[other][0])
                last = min(row + rows, boxes[other][0] + boxes[other][2])
                if last - first < _SEAM_CELLS or min(cols, boxes[other][3]) < 2:
                    continue
                edge = col + cols
                near = ground[first:last, edge - 2 : edge + 2].astype(np.float64)
                across = (3 * (near[:, 2] - near[:, 1]) - (near[:, 3] - near[:, 0])) / 2
                across = across[np.isfinite(across)]
                if across.size >= _SEAM_CELLS:
                    names = headers[number].path.name, headers[other].path.name
                    found = middle_and_spread(across)
                    yield SurveyStep(MEETING, *names, int(across.size), *found)


def _overlap_notices(overlaps: Sequence[_Overlap]) -> list[Problem]:
    apart = [overlap for overlap in overlaps if overlap.median_m > _OTHER_DATUM_M]
    if apart:
        raise InputError(
            Problem(
                Severity.ERROR,
                f"differs by {o.median_m:.2f} m (median of {o.cells} cells) from the tiles that it"
                " overlaps",
                "check the height datum and the unit of height of each tile.",
                str(o.path),
            )
            for o in apart
        )
    return [
        Problem(
            Severity.WARNING,
            f"differs by up to {o.largest_m:.2f} m from the tiles that it overlaps ({o.cells}"
            " cells); the tile that is named first was kept",
            "use the tiles of one survey only.",
            str(o.path),
        )
        for o in overlaps
        if o.largest_m > _AGREE_M
    ]


def _too_large(headers: Sequence[Header], shape: tuple[int, int], max_cells: int) -> Problem:
    tile_cells = sum(header.rows * header.cols for header in headers)
    apart = tile_cells < 0.2 * shape[0] * shape[1]
    return replace(
        too_many_cells(shape, max_cells, str(headers[0].path)),
        mend=(
            "the tiles lie far apart: name only those around the site."
            if apart
            else "name only the tiles around the site, or state a larger terrain.cell_m; or let"
            " `brimline survey` drain them all in tiles and crop them to the ground that drains to"
            " the site."
        ),
    )


def too_many_cells(shape: tuple[int, int], max_cells: int, source: str) -> Problem:
    """Say that a grid is larger than a run should take on."""
    cells = shape[0] * shape[1]
    return Problem(
        Severity.ERROR,
        f"makes a grid of {shape[0]} × {shape[1]} = {cells / 1e6:.3g} million cells, for which a"
        f" run needs about {needs(cells).memory_bytes / 1e9:.1f} GB of memory; this machine has"
        f" room for {max_cells / 1e6:.3g} million",
        "crop the elevation to the ground that drains to the site, or state a larger cell_m"
        f" under [terrain], {math.ceil(10 * math.sqrt(cells / max_cells)) / 10:g} times as wide, or"
        " close other programs.",
        source,
    )
