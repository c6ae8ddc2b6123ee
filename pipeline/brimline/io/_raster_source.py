"""One elevation file: its header, and its levels in metres with NaN for nodata."""

from __future__ import annotations

import warnings
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np
from rasterio import windows
from rasterio.enums import MaskFlags
from rasterio.errors import NotGeoreferencedWarning, RasterioError

from brimline.errors import InputError, Problem, Severity
from brimline.grid import held_levels
from brimline.io import crs as crs_of
from brimline.io import lengths
from brimline.io.formats import open_raster
from brimline.io.survey_facts import CUT_DAYS, CUT_FROM, first_and_last, tiff_day

if TYPE_CHECKING:
    from pathlib import Path

    from affine import Affine
    from numpy.typing import NDArray
    from pyproj import CRS

    from brimline.grid import BoolGrid, Elevation
    from brimline.grid.tiles import Window

LOWEST_M: Final = -500.0  # below the Dead Sea's shore and every open pit
HIGHEST_M: Final = 9000.0
_HUGE: Final = 1e5  # in any unit of length, a level of this size is a marker
_MARKERS: Final = (-9999.0, -32768.0, -99999.0)  # commonly written for nodata without a tag
_BLOCK_ROWS: Final = 512
_FEW: Final = 3  # distinct impossible levels: markers; more: a wrong unit


@dataclass(frozen=True, slots=True)
class Header:
    """What an elevation file says of itself before its cells are read."""

    path: Path
    rows: int
    cols: int
    transform: Affine
    crs: CRS
    unit: lengths.LengthUnit
    notices: tuple[Problem, ...]
    days: tuple[str, str] = ("", "")  # on which it, or what it was cut from, was written
    cut_from: str = ""


def read_header(path: Path, *, vertical_unit: str, crs: str | None) -> Header:
    """Open a raster and check that it can serve as elevation.

    Parameters
    ----------
    vertical_unit : ``"auto"``, or the unit that the person states (``m``, ``ft``, ``us-ft``).
    crs : stated by the person; None takes the file's.

    Raises
    ------
    InputError
        If it cannot be read, has no place on the Earth, or is a picture.
    """
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", NotGeoreferencedWarning)  # said below
            with open_raster(path) as file:
                return _header(file, path, vertical_unit, crs)
    except RasterioError as fault:
        raise InputError.of(
            f"cannot be read as a raster ({fault})",
            mend="check that the file is whole; GeoTIFF is the safest format.",
            source=str(path),
        ) from fault


def damaged(path: Path, fault: RasterioError) -> InputError:
    """Return the error that a file's cells cannot be read."""
    return InputError.of(
        f"is damaged: its cells cannot be read ({fault})",
        mend="copy or download the file again.",
        source=str(path),
    )


def read_levels(
    header: Header, block: Window | None = None
) -> tuple[Elevation, tuple[Problem, ...]]:
    """Read the first band as levels in metres.

    Parameters
    ----------
    block : part of the file to read; None for all. Whether a level is a marker for nodata that no
        tag declares is judged by what is read.

    Returns
    -------
    float32 (rows, cols) [m]
        As `held_levels`; NaN where the file has no data: by its tag or mask, as NaN, or as a
        marker.
    notices
        What was found and changed.
    """
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", NotGeoreferencedWarning)
            with open_raster(header.path) as file:
                part = block and windows.Window(block.col, block.row, block.cols, block.rows)
                raw = file.read(1, window=part)
                whole = file.mask_flag_enums[0] == [MaskFlags.all_valid]
                valid = (
                    np.ones(raw.shape, dtype=np.bool_)
                    if whole
                    else file.read_masks(1, window=part) > 0
                )
                scale, offset = float(file.scales[0]), float(file.offsets[0])
    except RasterioError as fault:
        raise damaged(header.path, fault) from fault
    levels = np.empty(raw.shape, dtype=np.float32)
    doubtful = False
    # multiples of 1/2048 m come out alike of float32 and float64
    as_held = raw.dtype == np.float32 and (scale, offset, header.unit.metres) == (1.0, 0.0, 1.0)
    for top in range(0, raw.shape[0], _BLOCK_ROWS):  # float64 of a whole survey is too much
        rows = slice(top, top + _BLOCK_ROWS)
        values = raw[rows] if as_held else raw[rows].astype(np.float64) * scale + offset
        in_metres = values if as_held else values * header.unit.metres
        valid[rows] &= np.isfinite(values)
        with np.errstate(over="ignore"):
            levels[rows] = held_levels(
                np.where(valid[rows], in_metres, in_metres.dtype.type(np.nan))
            )
        if in_metres.size and not _usual(in_metres):
            doubtful |= bool((valid[rows] & _is_doubtful(values, in_metres)).any())
    if not doubtful:
        return levels, ()
    values = raw.astype(np.float64) * scale + offset
    markers = _markers(values, values * header.unit.metres, valid)
    if not markers.any():
        return levels, ()
    levels[markers] = np.nan
    return levels, (_markers_notice(header.path, values[markers]),)


def _header(file: Any, path: Path, vertical_unit: str, stated: str | None) -> Header:  # noqa: ANN401
    problems = _band_problems(file, path)
    crs = None
    try:
        own = crs_of.parsed(file.crs.to_wkt(), source=str(path)) if file.crs else None
        crs, said = crs_of.settled(own, stated, source=str(path))
        problems += said
    except InputError as error:
        problems += error.problems
    if file.transform.is_identity:
        how = "export it again with its world file or as GeoTIFF."
        if file.gcps[0]:
            how = "warp it onto its ground control points first, for example with gdalwarp."
        problems.append(
            Problem(
                Severity.ERROR,
                "is not georeferenced: the file does not say where its cells are",
                how,
                str(path),
            )
        )
    if crs is None or any(problem.severity is Severity.ERROR for problem in problems):
        raise InputError(p for p in problems if p.severity is Severity.ERROR)
    unit, unit_problems = _unit(file, path, crs, vertical_unit)
    tags = file.tags()
    days = (tiff_day(tags.get("TIFFTAG_DATETIME", "")), *tags.get(CUT_DAYS, "").split())
    return Header(
        path,
        file.height,
        file.width,
        file.transform,
        crs_of.horizontal(crs),
        unit,
        tuple(problems + unit_problems),
        first_and_last(days),
        tags.get(CUT_FROM, ""),
    )


def _band_problems(file: Any, path: Path) -> list[Problem]:  # noqa: ANN401
    source = str(path)
    dtype = np.dtype(file.dtypes[0])
    if dtype.kind not in "iuf":
        return [
            Problem(
                Severity.ERROR,
                f"holds {dtype} values, which are not levels",
                "name the elevation raster.",
                source,
            )
        ]
    if file.count >= 3 and dtype == np.uint8:
        return [
            Problem(
                Severity.ERROR,
                f"looks like a picture: {file.count} bands of whole numbers from 0 to 255",
                "name the raster that holds the levels, not its shaded or coloured image.",
                source,
            )
        ]
    found = []
    if file.count > 1:
        found.append(
            Problem(
                Severity.WARNING,
                f"has {file.count} bands; the first was read as the elevation",
                "export the elevation alone if another band holds it.",
                source,
            )
        )
    if dtype == np.uint8:
        found.append(
            Problem(
                Severity.WARNING,
                "holds whole numbers from 0 to 255 only; slopes will come in steps",
                "make sure that it is the elevation and not a shaded image of it.",
                source,
            )
        )
    return found


def _unit(
    file: Any,  # noqa: ANN401
    path: Path,
    crs: CRS,
    stated: str,
) -> tuple[lengths.LengthUnit, list[Problem]]:
    """Find the unit of the levels: as stated, as tagged, by the CRS, or by its coordinates."""
    if stated != "auto":
        return stated_unit(stated), []
    tag = (file.units[0] or "").strip()
    tagged = lengths.length_unit(tag) if tag else None
    problems = []
    if tag and tagged is None:
        problems.append(
            Problem(
                Severity.WARNING,
                f'its unit of height "{tag}" is not known and was passed over',
                'state the unit: "m", "ft" or "us-ft".',
                str(path),
            )
        )
    unit, assumed = settle_unit(crs, tagged)
    if assumed:
        problems.append(assumed_feet(unit, str(path)))
    by_crs = crs_of.height_unit(crs)
    if tagged is not None and by_crs not in {None, tagged}:
        problems.append(
            Problem(
                Severity.WARNING,
                f"says that its levels are in {tagged.name}, its reference system says"
                f" {by_crs.name if by_crs else ''}; {tagged.name} were taken",
                'state the unit of height in the configuration: "m", "ft" or "us-ft".',
                str(path),
            )
        )
    return unit, problems


def stated_unit(stated: str) -> lengths.LengthUnit:
    """Return the unit of height that a person states.

    Raises
    ------
    InputError
        If it is not a unit of length.
    """
    unit = lengths.length_unit(stated)
    if unit is None:
        raise InputError.of(
            f'"{stated}" is not a unit of height',
            mend='write "m", "ft" or "us-ft", or "auto" to take what the file says.',
            source="configuration",
        )
    return unit


def settle_unit(crs: CRS, tagged: lengths.LengthUnit | None) -> tuple[lengths.LengthUnit, bool]:
    """Return the unit of height, and whether it had to be assumed from the map's feet."""
    by_crs = crs_of.height_unit(crs)
    if tagged is not None or by_crs is not None:
        return tagged or by_crs or lengths.METRE, False
    if crs_of.horizontal(crs).is_projected:
        plan = crs_of.plan_unit(crs)
        if not plan.is_metre:
            return plan, True
    return lengths.METRE, False


def assumed_feet(unit: lengths.LengthUnit, source: str) -> Problem:
    """Say that heights were taken to be in the unit of the map coordinates."""
    return Problem(
        Severity.WARNING,
        f"does not say its unit of height; {unit.name} were assumed, as its map coordinates are",
        'state the unit of height in the configuration: "m", "ft" or "us-ft".',
        source,
    )


def _usual(levels_m: NDArray[np.floating]) -> bool:
    """Tell whether all levels lie where ground does; no marker does, in any unit that is read."""
    return bool(
        np.fmin.reduce(levels_m, axis=None) >= LOWEST_M
        and np.fmax.reduce(levels_m, axis=None) <= HIGHEST_M
    )


def _is_doubtful(values: NDArray[np.floating], levels_m: NDArray[np.floating]) -> BoolGrid:
    """Find levels that may be markers."""
    with np.errstate(invalid="ignore"):
        off: BoolGrid = (levels_m < LOWEST_M) | (levels_m > HIGHEST_M) | np.isin(values, _MARKERS)
    return off


def _markers(
    values: NDArray[np.float64], levels_m: NDArray[np.float64], valid: BoolGrid
) -> BoolGrid:
    """Find cells whose level is a marker for nodata that no tag declares.

    A marker is a level too large for any unit, one of the usual numbers, or an impossible level
    that comes back as one of few distinct values. Where there are markers, other impossible
    levels are their traces from resampling and count with them.
    """
    with np.errstate(invalid="ignore"):
        found: BoolGrid = valid & ((np.abs(values) >= _HUGE) | np.isin(values, _MARKERS))
        impossible: BoolGrid = valid & ((levels_m < LOWEST_M) | (levels_m > HIGHEST_M))
    if found.any():
        return found | impossible
    if impossible.any() and not (impossible == valid).all():
        distinct = np.unique(values[impossible][:100_000])
        repeated = distinct.size <= _FEW and impossible.sum() > 2 * distinct.size
        if repeated:
            return impossible
    return found


def _markers_notice(path: Path, values: NDArray[np.float64]) -> Problem:
    seen, counts = np.unique(values, return_counts=True)
    usual = seen[np.argmax(counts)]
    return Problem(
        Severity.WARNING,
        f"holds {values.size} cells with impossible levels (mostly {usual:g}) that are not tagged"
        " as nodata; they were taken as nodata",
        "set the file's nodata tag so that other programs see it too.",
        str(path),
    )
