"""Points that were surveyed on site, each with a level: CSV or any file of points with heights.

A CSV with a header has columns for easting, northing and level under any of their usual names; one
without is read as controllers write it: name, northing, easting, level, code.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import pyproj
import shapely

from brimline.errors import InputError, Problem, Severity
from brimline.io import crs as crs_of
from brimline.io import lengths, paths
from brimline.io.text_tables import number_of, read_lines
from brimline.io.vectors import VectorSource, WantedColumn, read_layer

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from numpy.typing import NDArray
    from pyproj import CRS

_NAMES: Final[dict[str, tuple[str, ...]]] = {
    "east": (
        "easting_m",
        "easting",
        "east",
        "e",
        "x",
        "x_m",
        "lon",
        "longitude",
        "rechtswert",
        "rechts",
        "ostwert",
        "ost",
        "este",
        "est",
    ),
    "north": (
        "northing_m",
        "northing",
        "north",
        "n",
        "y",
        "y_m",
        "lat",
        "latitude",
        "hochwert",
        "hoch",
        "nordwert",
        "nord",
        "norte",
    ),
    "level": (
        "level_m",
        "built_m",
        "z",
        "z_m",
        "level",
        "elevation",
        "elev",
        "ele",
        "height",
        "h",
        "rl",
        "alt",
        "altitude",
        "höhe",
        "hoehe",
        "reduced level",
        "cota",
        "quota",
    ),
    "name": ("stake_id", "name", "point", "point_id", "id", "number", "no", "nr", "punkt", "punto"),
    "role": ("role", "code", "feature", "description", "desc", "remark", "bemerkung"),
}
_DEGREES: Final = frozenset({"lon", "longitude", "lat", "latitude"})
_BARE: Final = ("name", "north", "east", "level", "role")  # of a file without a header
_UNITS: Final = ("auto", "m", "ft", "us-ft")
_MOST_TOLD: Final = 20


@dataclass(frozen=True, slots=True, eq=False)
class Surveyed:
    """Surveyed points in the run's CRS.

    Parameters
    ----------
    x, y, level_m : float64 (n,) [m].
    name, role : as written; empty where nothing was.
    row : number of each in its file.
    problems : what was found on the way; errors among them mean that the points are not usable.
    own_x, own_y : as the file has them, before any reprojection.
    """

    x: NDArray[np.float64]
    y: NDArray[np.float64]
    level_m: NDArray[np.float64]
    name: tuple[str, ...]
    role: tuple[str, ...]
    row: tuple[int, ...]
    own_x: NDArray[np.float64]
    own_y: NDArray[np.float64]
    source: str = ""
    problems: list[Problem] = field(default_factory=list)

    @property
    def errors(self) -> list[Problem]:
        """The problems that a run cannot go on with."""
        return [problem for problem in self.problems if problem.severity is Severity.ERROR]


def read_surveyed(
    source: VectorSource, *, run_crs: str, crs: str | None = None, vertical_unit: str = "auto"
) -> Surveyed:
    """Read surveyed points into the run's CRS, levels in metres.

    Parameters
    ----------
    crs : of the points, where the file does not say; None takes the run's, and says so.
    vertical_unit : ``"m"``, ``"ft"``, ``"us-ft"`` or ``"auto"``, which is metres.

    Raises
    ------
    ValueError
        If the unit is not one of these.
    """
    if vertical_unit not in _UNITS:
        raise ValueError(f"vertical_unit must be one of {', '.join(_UNITS)}, got {vertical_unit!r}")
    try:
        found = (
            _table(source, run_crs, crs)
            if paths.is_table(source.path)
            else _layer(source, run_crs, crs)
        )
    except InputError as error:
        return _nothing(str(source), list(error.problems))
    unit = lengths.length_unit("m" if vertical_unit == "auto" else vertical_unit)
    if unit is not None and not unit.is_metre:
        found.level_m[:] = found.level_m * unit.metres
        found.problems.append(lengths.converted(unit, str(source)))
    return found


def places_in_degrees(path: Path) -> tuple[float, float, float, float] | None:
    """Return the extent (west, south, east, north) of a table in degrees; None of one in metres.

    Raises
    ------
    InputError
        If it cannot be read.
    """
    lines = read_lines(path, old_letters=True)
    columns, first, degrees = _columns(lines, str(path))
    if not degrees:
        return None
    places = [
        (number_of(cells[columns["east"]]), number_of(cells[columns["north"]]))
        for _, cells in lines[first:]
        if len(cells) > max(columns["east"], columns["north"])
    ]
    east = [x for x, y in places if x is not None and y is not None]
    north = [y for x, y in places if x is not None and y is not None]
    return (min(east), min(north), max(east), max(north)) if east else None


def _nothing(source: str, problems: list[Problem]) -> Surveyed:
    none = np.zeros(0)
    return Surveyed(none, none, none, (), (), (), none, none, source, problems)


def _layer(source: VectorSource, run_crs: str, crs: str | None) -> Surveyed:
    read = read_layer(
        source,
        kinds={"point"},
        crs=run_crs,
        columns=[
            WantedColumn("level_m", "float", aliases=_NAMES["level"]),
            WantedColumn("name", aliases=_NAMES["name"]),
            WantedColumn("role", aliases=_NAMES["role"]),
        ],
        assume_crs=crs or run_crs,
        keep_z=True,
    )
    problems, rows = list(read.problems), read.frame
    shapes = rows.geometry.to_numpy()
    level = rows["level_m"].to_numpy(np.float64)
    drawn = shapely.get_z(shapes)
    level = np.where(np.isnan(level), drawn, level)
    problems += [
        Problem(
            Severity.ERROR,
            "has no level: neither a height of its point nor a column level_m",
            "survey it again, fill in level_m, or take the point out.",
            str(read.source),
            f"row {row}",
        )
        for row in rows["row"][np.isnan(level)].tolist()[:_MOST_TOLD]
    ]
    x, y = shapely.get_x(shapes), shapely.get_y(shapes)
    return Surveyed(
        x, y, level, _texts(rows["name"]), _texts(rows["role"]), tuple(rows["row"].tolist()),
        x, y, str(read.source), problems,
    )  # fmt: skip


def _texts(values: Any) -> tuple[str, ...]:  # noqa: ANN401 - a column
    return tuple(value.strip() if isinstance(value, str) else "" for value in values)


def _table(source: VectorSource, run_crs: str, crs: str | None) -> Surveyed:
    path = source.path
    lines = read_lines(path, old_letters=True)
    columns, first, degrees = _columns(lines, str(path))
    problems: list[Problem] = []
    values, texts, numbers = [], [], []
    for number, cells in lines[first:]:
        record = {key: cells[at].strip() if at < len(cells) else "" for key, at in columns.items()}
        row = [number_of(record[key]) for key in ("east", "north", "level")]
        faults = [
            (key, record[key])
            for key, value in zip(("east", "north", "level"), row, strict=True)
            if value is None
        ]
        if faults:
            problems.append(_unreadable_row(faults, path, number))
            continue
        values.append(row)
        texts.append((record.get("name", ""), record.get("role", "")))
        numbers.append(number)
    if len(problems) > _MOST_TOLD:
        more = len(problems) - _MOST_TOLD
        problems = problems[:_MOST_TOLD]
        problems.append(Problem(Severity.ERROR, f"{more} more rows cannot be read", "", str(path)))
    if first == 0:
        problems.append(
            Problem(
                Severity.NOTICE,
                "has no header; it was read as name, northing, easting, level, code",
                "write a header, such as name,easting,northing,level, where that is not so.",
                str(path),
            )
        )
    if not values and not problems:
        problems.append(Problem(Severity.ERROR, "holds no points", "survey some.", str(path)))
    own = np.array(values, dtype=np.float64).reshape(-1, 3)
    x, y, told = _in_run_crs(own[:, 0], own[:, 1], run_crs, crs, str(path), degrees=degrees)
    return Surveyed(
        x, y, own[:, 2].copy(), tuple(name for name, _ in texts), tuple(role for _, role in texts),
        tuple(numbers), own[:, 0], own[:, 1], str(path), [*problems, *told],
    )  # fmt: skip


def _columns(
    lines: Sequence[tuple[int, list[str]]], source: str
) -> tuple[dict[str, int], int, bool]:
    """Place of each column, the first row of values, and whether places are in degrees."""
    heads = [cell.strip().casefold().replace(" ", "_") for cell in lines[0][1]]
    found: dict[str, int] = {}
    for key, names in _NAMES.items():
        at = next((heads.index(name) for name in names if name in heads), None)
        if at is not None:
            found[key] = at
    missing = [key for key in ("east", "north", "level") if key not in found]
    if not missing:
        return found, 1, heads[found["east"]] in _DEGREES
    if len(heads) >= 4 and all(number_of(cell) is not None for cell in heads[1:4]):
        return {key: at for at, key in enumerate(_BARE) if at < len(heads)}, 0, False
    words = {"east": "easting", "north": "northing", "level": "level"}
    raise InputError(
        Problem(
            Severity.ERROR,
            f"has no column for the {words[key]} (its columns: {', '.join(lines[0][1])})",
            f"call it one of {', '.join(_NAMES[key][:6])}.",
            source,
        )
        for key in missing
    )


def _unreadable_row(faults: Sequence[tuple[str, str]], path: Path, number: int) -> Problem:
    words = {"east": "easting", "north": "northing", "level": "level"}
    told = ", ".join(
        f'{words[key]} is "{text}", which is not a number' if text else f"{words[key]} is empty"
        for key, text in faults
    )
    mend = "correct the row or take it out."
    return Problem(Severity.ERROR, told, mend, str(path), f"row {number}")


def _in_run_crs(
    x: NDArray[np.float64],
    y: NDArray[np.float64],
    run_crs: str,
    crs: str | None,
    source: str,
    *,
    degrees: bool,
) -> tuple[NDArray[np.float64], NDArray[np.float64], list[Problem]]:
    target = crs_of.parsed(run_crs)
    if crs is None and not degrees:
        told = f"does not say its coordinate reference system; the run's, {crs_of.title(target)},"
        return x, y, [
            Problem(
                Severity.NOTICE,
                f"{told} was taken",
                "set crs under [as_built] where it is another.",
                source,
            )
        ]  # fmt: skip
    if degrees and crs_of.is_local(target):
        crs = None  # columns of longitude and latitude are what they say, in a local grid too
    own: CRS = crs_of.parsed(crs or "EPSG:4326", source="configuration")
    crs_of.refuse_mixed(own, target, source=source)
    if crs_of.same(own, target):
        return x, y, []
    way = pyproj.Transformer.from_crs(
        crs_of.horizontal(own), crs_of.horizontal(target), always_xy=True
    )
    moved_x, moved_y = way.transform(x.tolist(), y.tolist())  # also of a single point
    told = f"was reprojected from {crs_of.title(own)} to {crs_of.title(target)}"
    return np.asarray(moved_x), np.asarray(moved_y), [Problem(Severity.NOTICE, told, "", source)]
