"""One GeoPackage out of many that hold a layer or table each.

GDAL reads all that a file holds before it adds a layer, so that a file of fifty layers takes many
times what fifty files take. SQLite copies rows as they are. What comes out depends on the parts
alone: not on which of them were made anew.
"""

from __future__ import annotations

import shutil
import sqlite3
from contextlib import closing
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping
    from pathlib import Path

_ABOUT_TABLES: Final = (
    "gpkg_contents", "gpkg_geometry_columns", "gpkg_ogr_contents", "gpkg_extensions",
)  # fmt: skip


def join(path: Path, parts: Mapping[str, Path], stamp: str) -> None:
    """Write one file with every part, in their order.

    Parameters
    ----------
    parts : by the name of the layer or table that each holds.
    stamp : moment that the contents are said to be of.

    Raises
    ------
    sqlite3.Error
        If a part is none, or the disk is full.
    """
    first, *others = parts.items()
    shutil.copyfile(first[1], path)
    with closing(sqlite3.connect(path.resolve().as_uri(), isolation_level=None, uri=True)) as file:
        for pragma in ("synchronous = OFF", "journal_mode = OFF"):  # it has its name only when done
            file.execute(f"PRAGMA {pragma}")
        for name, part in others:
            file.execute("ATTACH ? AS part", (f"{part.resolve().as_uri()}?mode=ro",))
            file.execute("BEGIN")
            for statement in _copying(file, name):
                file.execute(*statement)
            file.execute("COMMIT")
            file.execute("DETACH part")
        file.execute("UPDATE gpkg_contents SET last_change = ?", (stamp,))


def _copying(file: sqlite3.Connection, name: str) -> Iterator[tuple[str, tuple[str, ...]]]:
    """Statements that bring the table of the attached file over."""
    schema = "SELECT name, sql FROM part.sqlite_master WHERE sql IS NOT NULL AND "
    about = file.execute(f"{schema} type = 'table' AND name IN {_ABOUT_TABLES}").fetchall()
    there = {row[0] for row in file.execute("SELECT name FROM main.sqlite_master")}
    for table, sql in about:
        if table not in there:
            yield sql, ()
    yield "INSERT OR IGNORE INTO gpkg_spatial_ref_sys SELECT * FROM part.gpkg_spatial_ref_sys", ()
    made = file.execute(f"{schema} type = 'table' AND tbl_name = ?", (name,)).fetchall()
    yield made[0][1], ()
    yield _rows_of(name), ()
    for table, _ in about:
        yield f"{_rows_of(table)} WHERE lower(table_name) = lower(?)", (name,)
    trees = file.execute(f"{schema} sql LIKE 'CREATE VIRTUAL TABLE%'").fetchall()
    for tree, sql in trees:
        yield sql, ()
        yield f"{_rows_of(tree)} ORDER BY id", ()
    for _, sql in file.execute(f"{schema} type = 'trigger' AND tbl_name = ?", (name,)).fetchall():
        yield sql, ()


def _rows_of(table: str) -> str:
    quoted = '"' + table.replace('"', '""') + '"'
    return f"INSERT INTO main.{quoted} SELECT * FROM part.{quoted}"  # noqa: S608
