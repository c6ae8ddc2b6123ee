"""The tables of the GeoPackage standard that GDAL leaves empty: schema and metadata extensions.

Written after OGC 12-128r17 (GeoPackage 1.3), annexes F.8 (metadata) and F.9 (schema).
"""

from __future__ import annotations

import json
import math
import sqlite3
from contextlib import closing
from typing import TYPE_CHECKING, Final

import brimline
from brimline.layers import Layer

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from pathlib import Path

    from brimline.io.about import About
    from brimline.layers import Column, Table

_DUBLIN_CORE: Final = "http://purl.org/dc/terms/"
_SLD: Final = "http://www.opengis.net/sld"
_SLD_MIME: Final = "application/vnd.ogc.sld+xml"
_SPEC: Final = "http://www.geopackage.org/spec130/#extension_"

_TABLES: Final = (
    """CREATE TABLE gpkg_data_columns (
        table_name TEXT NOT NULL,
        column_name TEXT NOT NULL,
        name TEXT,
        title TEXT,
        description TEXT,
        mime_type TEXT,
        constraint_name TEXT,
        CONSTRAINT pk_gdc PRIMARY KEY (table_name, column_name),
        CONSTRAINT gdc_tn UNIQUE (table_name, name)
    )""",
    """CREATE TABLE gpkg_data_column_constraints (
        constraint_name TEXT NOT NULL,
        constraint_type TEXT NOT NULL,
        value TEXT,
        min NUMERIC,
        min_is_inclusive BOOLEAN,
        max NUMERIC,
        max_is_inclusive BOOLEAN,
        description TEXT,
        CONSTRAINT gdcc_ntv UNIQUE (constraint_name, constraint_type, value)
    )""",
    """CREATE TABLE gpkg_metadata (
        id INTEGER CONSTRAINT m_pk PRIMARY KEY ASC NOT NULL,
        md_scope TEXT NOT NULL DEFAULT 'dataset',
        md_standard_uri TEXT NOT NULL,
        mime_type TEXT NOT NULL DEFAULT 'text/xml',
        metadata TEXT NOT NULL DEFAULT ''
    )""",
    """CREATE TABLE gpkg_metadata_reference (
        reference_scope TEXT NOT NULL,
        table_name TEXT,
        column_name TEXT,
        row_id_value INTEGER,
        timestamp DATETIME NOT NULL DEFAULT (strftime('%Y-%m-%dT%H:%M:%fZ','now')),
        md_file_id INTEGER NOT NULL,
        md_parent_id INTEGER,
        CONSTRAINT crmr_mfi_fk FOREIGN KEY (md_file_id) REFERENCES gpkg_metadata(id),
        CONSTRAINT crmr_mpi_fk FOREIGN KEY (md_parent_id) REFERENCES gpkg_metadata(id)
    )""",
)
_EXTENSIONS: Final = (
    ("gpkg_data_columns", "gpkg_schema", f"{_SPEC}schema"),
    ("gpkg_data_column_constraints", "gpkg_schema", f"{_SPEC}schema"),
    ("gpkg_metadata", "gpkg_metadata", f"{_SPEC}metadata"),
    ("gpkg_metadata_reference", "gpkg_metadata", f"{_SPEC}metadata"),
)
_UNIT_ENDINGS: Final = (
    "_mm_per_h",
    "_m3_s",
    "_m2",
    "_m3",
    "_mm",
    "_pct",
    "_m",
    "_h",
    "_s",
)


def describe(path: Path, declarations: Sequence[Layer | Table], about: About, stamp: str) -> None:
    """Add the titles, meanings, ranges and metadata of layers that are in the file."""
    with closing(sqlite3.connect(path, isolation_level=None)) as file:
        file.execute("PRAGMA foreign_keys = ON")
        file.execute("PRAGMA synchronous = OFF")  # it is flushed as a whole before it has its name
        file.execute("BEGIN")
        for statement in _TABLES:
            file.execute(statement)
        file.execute(
            """CREATE TABLE IF NOT EXISTS gpkg_extensions (
                table_name TEXT, column_name TEXT, extension_name TEXT NOT NULL,
                definition TEXT NOT NULL, scope TEXT NOT NULL,
                CONSTRAINT ge_tce UNIQUE (table_name, column_name, extension_name))"""
        )
        file.executemany(
            "INSERT INTO gpkg_extensions VALUES (?, NULL, ?, ?, 'read-write')", _EXTENSIONS
        )
        for declaration in declarations:
            for column in declaration.columns:
                _describe_column(file, declaration.name, column)
        _describe_file(file, declarations, about, stamp)
        file.execute("COMMIT")


def verify(path: Path, counts: Mapping[str, int]) -> None:
    """Check that the file is sound and holds every row.

    Raises
    ------
    sqlite3.DatabaseError
        If it is not or does not.
    """
    with closing(sqlite3.connect(f"{path.resolve().as_uri()}?mode=ro", uri=True)) as file:
        (found,) = file.execute("PRAGMA quick_check").fetchone()
        if found != "ok":
            raise sqlite3.DatabaseError(f"the file is damaged ({found})")
        for table, count in counts.items():
            there = _count(file, table)
            if there != count:
                raise sqlite3.DatabaseError(f"{table} holds {there} of its {count} rows")


def row_count(path: Path, table: str) -> int:
    """Return how many rows a table of a file holds."""
    with closing(sqlite3.connect(f"{path.resolve().as_uri()}?mode=ro", uri=True)) as file:
        return _count(file, table)


def _count(file: sqlite3.Connection, table: str) -> int:
    quoted = table.replace('"', '""')
    (there,) = file.execute(f'SELECT count(*) FROM "{quoted}"').fetchone()  # noqa: S608
    return int(there)


def column_title(column: Column) -> str:
    """Return how people read a column's name: ``own_area_m2`` is ``Own area (m²)``."""
    words = column.name
    if column.unit:
        for ending in _UNIT_ENDINGS:
            if words.endswith(ending):
                words = words.removesuffix(ending)
                break
    text = words.replace("_", " ").strip() or column.name
    text = text[0].upper() + text[1:]
    return f"{text} ({column.unit})" if column.unit else text


def _describe_column(file: sqlite3.Connection, table: str, column: Column) -> None:
    constraint = _constraint(file, table, column)
    title = column_title(column)
    file.execute(
        "INSERT INTO gpkg_data_columns VALUES (?, ?, ?, ?, ?, NULL, ?)",
        (table, column.name, title, title, column.meaning, constraint),
    )


def _constraint(file: sqlite3.Connection, table: str, column: Column) -> str | None:
    """Write a column's range or allowed values; return the constraint's name, if there is one."""
    name = f"{table}_{column.name}".lower()
    if column.values:
        file.executemany(
            "INSERT INTO gpkg_data_column_constraints VALUES (?, 'enum', ?, NULL, NULL, NULL,"
            " NULL, NULL)",
            [(name, value) for value in column.values],
        )
        return name
    if column.minimum is None and column.maximum is None:
        return None
    low = -math.inf if column.minimum is None else column.minimum
    high = math.inf if column.maximum is None else column.maximum
    file.execute(
        "INSERT INTO gpkg_data_column_constraints VALUES (?, 'range', NULL, ?, 1, ?, 1, ?)",
        (name, low, high, column.unit or None),
    )
    return name


def _describe_file(
    file: sqlite3.Connection,
    declarations: Sequence[Layer | Table],
    about: About,
    stamp: str,
) -> None:
    whole = {
        "title": about.title,
        "description": about.description,
        "creator": f"brimline {brimline.__version__}",
        "created": stamp,
        "cautions": list(about.cautions),
        **about.details,
    }
    parent = _add_document(file, "dataset", whole)
    file.execute(
        "INSERT INTO gpkg_metadata_reference VALUES ('geopackage', NULL, NULL, NULL, ?, ?, NULL)",
        (stamp, parent),
    )
    for declaration in declarations:
        child = _add_document(
            file,
            "featureType" if isinstance(declaration, Layer) else "dataset",
            {
                "title": declaration.title,
                "description": declaration.meaning,
                "columns": {
                    column.name: {"unit": column.unit, "meaning": column.meaning}
                    for column in declaration.columns
                },
            },
        )
        told = [child]
        if declaration.name in about.styles:
            sld = about.styles[declaration.name]
            told.append(_add_metadata(file, "undefined", _SLD, _SLD_MIME, sld))
        file.executemany(
            "INSERT INTO gpkg_metadata_reference VALUES ('table', ?, NULL, NULL, ?, ?, ?)",
            [(declaration.name, stamp, number, parent) for number in told],
        )


def _add_document(file: sqlite3.Connection, scope: str, content: object) -> int:
    text = json.dumps(content, ensure_ascii=False, sort_keys=True)
    return _add_metadata(file, scope, _DUBLIN_CORE, "application/json", text)


def _add_metadata(
    file: sqlite3.Connection, scope: str, standard: str, mime_type: str, text: str
) -> int:
    row = file.execute(
        "INSERT INTO gpkg_metadata (md_scope, md_standard_uri, mime_type, metadata)"
        " VALUES (?, ?, ?, ?)",
        (scope, standard, mime_type, text),
    )
    if row.lastrowid is None:
        raise sqlite3.DatabaseError("no row was written to gpkg_metadata")
    return row.lastrowid
