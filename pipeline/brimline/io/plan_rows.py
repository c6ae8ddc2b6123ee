"""Changes written into the rows of a plan, all of them or none; everything else stays."""

from __future__ import annotations

import re
import shutil
import sqlite3
import struct
from contextlib import closing
from typing import TYPE_CHECKING, Any, Final

import geopandas as gpd
import numpy as np
import pyogrio
import shapely
from pyproj import CRS, Transformer

from brimline.errors import InputError, Problem, Severity
from brimline.io.atomic import written_whole
from brimline.io.frames import empty
from brimline.layers.drawn import ITEMS

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from numpy.typing import NDArray

    from brimline.design import PlanChange
    from brimline.layers.schema import Layer

NOTE: Final = "note"
_BACKUP: Final = "before"
_NUMBERED: Final = re.compile(r"\w+ (\d+)")
_SQL_TYPES: Final = {"float": "REAL", "int": "INTEGER", "text": "TEXT", "bool": "BOOLEAN"}
_ENVELOPE_BYTES: Final = (0, 32, 48, 48, 64)  # by the code in a geometry's flags


def write_changes(
    path: Path, changes: Sequence[PlanChange], notes: Sequence[str], *, crs: str
) -> Path:
    """Write changes into a plan, with a copy of it as it was beside it.

    Only the columns that a change names are touched, and the column `note`, which says what was
    changed. Other rows, layers, styles and columns stay as they are. Layers and columns that the
    plan lacks are added; a row that is left out stands in the copy alone.

    Parameters
    ----------
    path : a GeoPackage.
    notes : what is told of each change, in its row.
    crs : of the shapes of the changes.

    Returns
    -------
    The copy of the plan as it was.

    Raises
    ------
    InputError
        If the plan is no GeoPackage, or a row is not there; nothing is written then.
    StoreError
        If it cannot be written; the plan stays as it was.
    """
    if path.suffix.lower() != ".gpkg":
        raise InputError.of(
            "is no GeoPackage, so mends cannot be written into it",
            mend="draw the plan in a GeoPackage, such as the one that `brimline new` makes",
            source=str(path),
        )
    backup = _backup_path(path)
    with written_whole(path) as part:
        shutil.copyfile(path, part)
        _add_layers(part, {change.layer for change in changes}, crs)
        with closing(sqlite3.connect(part, isolation_level=None)) as file:
            _teach_shapes(file)
            try:
                file.execute("BEGIN")
                _write(file, part, path, changes, notes, crs)
                file.execute("COMMIT")
            except sqlite3.Error as fault:
                raise InputError.of(
                    f"cannot be changed ({fault})",
                    mend="open and save it in a GIS viewer, then run again",
                    source=str(path),
                ) from fault
        with written_whole(backup) as copy:
            shutil.copyfile(path, copy)
    return backup


def _backup_path(path: Path) -> Path:
    """Return the first free name for a copy: an earlier copy is never written over."""
    number = 1
    while (copy := path.with_name(f"{path.stem}.{_BACKUP}-{number}{path.suffix}")).exists():
        number += 1
    return copy


def _add_layers(path: Path, wanted: set[str], crs: str) -> None:
    there = {str(name) for name, _ in pyogrio.list_layers(path)}
    for declared in ITEMS:
        if declared.name in wanted - there:
            frame = gpd.GeoDataFrame(empty(declared, crs))
            pyogrio.write_dataframe(
                frame, path, layer=declared.name, driver="GPKG", append=True,
                geometry_type=str(declared.geometry),
            )  # fmt: skip


def _write(
    file: sqlite3.Connection,
    part: Path,
    path: Path,
    changes: Sequence[PlanChange],
    notes: Sequence[str],
    crs: str,
) -> None:
    missing: list[Problem] = []
    for change, note in zip(changes, notes, strict=True):
        declared = next(item for item in ITEMS if item.name == change.layer)
        _add_columns(file, declared, {*change.values, "name", NOTE})
        fid, geometry = _special_columns(file, change.layer)
        row = None if change.added else _row_of(file, change, fid)
        if row is None and not change.added:
            text = f"there is no row {change.row}"
            mend = "run the site again: the plan is not the one that the mend was found for"
            missing.append(Problem(Severity.ERROR, text, mend, str(path), change.layer))
            continue
        if change.removed:
            sql = f"DELETE FROM {_quoted(change.layer)} WHERE {_quoted(fid)} = ?"  # noqa: S608
            file.execute(sql, [row])
            _freshen(file, change.layer, geometry)
            continue
        values: dict[str, Any] = {"name": change.row, **change.values}
        if row is not None:
            values[NOTE] = _noted(file, change.layer, fid, row, note)
        else:
            values["name"] = _free_name(file, change)
            values[NOTE] = note
        if change.shape_wkt:
            values[geometry] = _blob(file, part, change, crs)
        _put(file, change.layer, fid, row, values)
        _freshen(file, change.layer, geometry)
    if missing:
        raise InputError(missing)


def _put(
    file: sqlite3.Connection, layer: str, fid: str, row: int | None, values: dict[str, Any]
) -> None:
    names = [_quoted(name) for name in values]
    if row is None:
        marks = ", ".join("?" * len(names))
        sql = f"INSERT INTO {_quoted(layer)} ({', '.join(names)}) VALUES ({marks})"  # noqa: S608
        file.execute(sql, list(values.values()))
        return
    pairs = ", ".join(f"{name} = ?" for name in names)
    sql = f"UPDATE {_quoted(layer)} SET {pairs} WHERE {_quoted(fid)} = ?"  # noqa: S608
    file.execute(sql, [*values.values(), row])


def _add_columns(file: sqlite3.Connection, declared: Layer, wanted: set[str]) -> None:
    there = {str(row[1]) for row in file.execute(f"PRAGMA table_info({_quoted(declared.name)})")}
    types = {column.name: _SQL_TYPES[column.dtype] for column in declared.columns}
    for name in sorted(wanted - there):
        kind = types.get(name, "TEXT")
        file.execute(f"ALTER TABLE {_quoted(declared.name)} ADD COLUMN {_quoted(name)} {kind}")


def _special_columns(file: sqlite3.Connection, layer: str) -> tuple[str, str]:
    """Names of the columns of the row number and of the shape."""
    key = next(
        str(row[1]) for row in file.execute(f"PRAGMA table_info({_quoted(layer)})") if row[5]
    )
    found = file.execute(
        "SELECT column_name FROM gpkg_geometry_columns WHERE table_name = ?", [layer]
    ).fetchone()
    return key, str(found[0])


def _row_of(file: sqlite3.Connection, change: PlanChange, fid: str) -> int | None:
    """Return the number of a row by its name, or by its place where it has none."""
    layer = _quoted(change.layer)
    sql = f"SELECT {_quoted(fid)}, name FROM {layer} ORDER BY {_quoted(fid)}"  # noqa: S608
    rows = file.execute(sql).fetchall()
    for number, name in rows:
        if isinstance(name, str) and name.strip() == change.row:
            return int(number)
    numbered = _NUMBERED.fullmatch(change.row)
    if numbered is None or not 1 <= int(numbered[1]) <= len(rows):
        return None
    number, name = rows[int(numbered[1]) - 1]
    return None if isinstance(name, str) and name.strip() else int(number)


def _free_name(file: sqlite3.Connection, change: PlanChange) -> str:
    sql = f"SELECT name FROM {_quoted(change.layer)}"  # noqa: S608
    taken = {row[0] for row in file.execute(sql)}
    name, number = change.row, 1
    while name in taken:
        number += 1
        name = f"{change.row} {number}"
    return name


def _noted(file: sqlite3.Connection, layer: str, fid: str, row: int, note: str) -> str:
    """Add to what the note says already."""
    sql = f"SELECT {NOTE} FROM {_quoted(layer)} WHERE {_quoted(fid)} = ?"  # noqa: S608
    before = file.execute(sql, [row]).fetchone()[0]
    return f"{before}; {note}" if isinstance(before, str) and before.strip() else note


def _blob(file: sqlite3.Connection, part: Path, change: PlanChange, crs: str) -> bytes:
    """Return a shape as GeoPackages hold it, in the CRS of its layer."""
    own = pyogrio.read_info(part, layer=change.layer)["crs"]
    shape = shapely.from_wkt(change.shape_wkt)
    if own and crs:
        across = Transformer.from_crs(CRS.from_user_input(crs), own, always_xy=True)

        def moved(xy: NDArray[np.float64]) -> NDArray[np.float64]:
            return np.column_stack(across.transform(xy[:, 0].tolist(), xy[:, 1].tolist()))

        shape = shapely.transform(shape, moved)
    sql = "SELECT srs_id FROM gpkg_geometry_columns WHERE table_name = ?"
    srs_id = int(file.execute(sql, [change.layer]).fetchone()[0])
    west, south, east, north = shape.bounds
    head = struct.pack("<2sBBi4d", b"GP", 0, 0b11, srs_id, west, east, south, north)
    return head + bytes(shapely.to_wkb(shape, byte_order=1))


def _freshen(file: sqlite3.Connection, layer: str, geometry: str) -> None:
    """Set when the layer was changed, and the box around its shapes."""
    shape, rows = _quoted(geometry), _quoted(layer)
    ends = (("MIN", "MinX"), ("MIN", "MinY"), ("MAX", "MaxX"), ("MAX", "MaxY"))
    box = ", ".join(f"{most}(ST_{end}({shape}))" for most, end in ends)
    bounds = file.execute(f"SELECT {box} FROM {rows}").fetchone()  # noqa: S608
    file.execute(
        "UPDATE gpkg_contents SET last_change = strftime('%Y-%m-%dT%H:%M:%fZ', 'now'),"
        " min_x = ?, min_y = ?, max_x = ?, max_y = ? WHERE table_name = ?",
        [*bounds, layer],
    )


def _teach_shapes(file: sqlite3.Connection) -> None:
    """Give SQLite the functions that the spatial index of a GeoPackage calls."""

    def shape_of(blob: bytes) -> Any:  # noqa: ANN401 - any shape
        return shapely.from_wkb(blob[8 + _ENVELOPE_BYTES[(blob[3] >> 1) & 7] :])

    def bound(place: int) -> Any:  # noqa: ANN401 - a function
        def of(blob: bytes | None) -> float | None:
            if blob is None:
                return None
            shape = shape_of(blob)
            return None if shape.is_empty else float(shape.bounds[place])

        return of

    def is_empty(blob: bytes | None) -> int | None:
        return None if blob is None else int(shape_of(blob).is_empty)

    file.create_function("ST_IsEmpty", 1, is_empty, deterministic=True)
    for place, name in enumerate(("ST_MinX", "ST_MinY", "ST_MaxX", "ST_MaxY")):
        file.create_function(name, 1, bound(place), deterministic=True)


def _quoted(name: str) -> str:
    return '"' + name.replace('"', '""') + '"'
