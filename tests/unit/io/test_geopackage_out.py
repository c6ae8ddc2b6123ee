"""The published GeoPackage against the standard and two independent readers.

Requirements are those of OGC 12-128r17 (GeoPackage 1.3), checked here in the file's own tables;
their numbers are from memory.
"""

import json
import sqlite3
import struct
from contextlib import closing
from datetime import UTC, datetime

import fiona
import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely
from pyproj import CRS

from brimline.errors import InternalError, StoreError
from brimline.io._gpkg_tables import verify
from brimline.io.about import About
from brimline.io.crs import canonical, parsed
from brimline.io.frames import conformed, empty
from brimline.io.geopackage import write_geopackage
from brimline.layers import CATALOGUE, Column, Geometry, Layer, Raster, Table

CUSTOM = (  # a projection of one site, as surveyors make them
    "+proj=tmerc +lat_0=47.1 +lon_0=15.3 +k=1.0001 +x_0=10000 +y_0=20000 +datum=WGS84 +units=m"
)
UTM = "EPSG:32633"
MOMENT = datetime(2024, 5, 6, 7, 8, 9, tzinfo=UTC)
ABOUT = About(
    "Quiet Hill",
    "A site.",
    MOMENT,
    ("Set levels on site.",),
    {"units": "SI", "versions": {"a": 1}},
    {"wells": "<StyledLayerDescriptor/>"},
)
WELLS = Layer(
    "wells",
    Geometry.POINT_Z,
    "Wells",
    "Where wells are.",
    (
        Column("well_id", "int", "Number.", minimum=1),
        Column("depth_m", "float", "Depth below ground.", "m", 0, 200),
        Column("kind", "text", "How it was made.", values=("dug", "drilled")),
        Column("dry", "bool", "Dry in summer."),
        Column("owner", "text", "Who owns it.", required=False),
        Column("parent_id", "int", "The one beside it.", required=False),
    ),
)
ANY = Layer("elements", Geometry.ANY, "Elements", "Of any kind.", (Column("name", "text", "N."),))
HOURS = Table(
    "hours",
    "Hours",
    "Level by hour.",
    (Column("well_id", "int", "Well."), Column("time_h", "float", "Time.", "h", 0)),
)


def wells(crs=UTM):
    return gpd.GeoDataFrame(
        {
            "well_id": [1, 2],
            "depth_m": [12.5, 80.25],
            "kind": ["dug", "drilled"],
            "dry": [True, False],
            "owner": ["Żofia & Söhne", None],
            "parent_id": [None, 1],
            "extra": ["kept", "too"],
        },
        geometry=[shapely.Point(500_001, 5_200_002, 301.5), shapely.Point(500_003, 5_200_004, 9)],
        crs=crs,
    )


def items():
    mixed = gpd.GeoDataFrame(
        {"name": ["a", "b", "c"]},
        geometry=[
            shapely.Point(1, 2),
            shapely.LineString([(0, 0), (1, 1)]),
            shapely.box(0, 0, 2, 2),
        ],
        crs=UTM,
    )
    hours = pd.DataFrame({"well_id": [1, 1], "time_h": [0.0, 0.5]})
    declared = [
        (item, empty(item, UTM)) for item in CATALOGUE.values() if not isinstance(item, Raster)
    ]
    return [(WELLS, wells()), (ANY, mixed), (HOURS, hours)] + [
        (item, frame) for item, frame in declared if item.name != "elements"
    ]


@pytest.fixture(scope="module")
def package(tmp_path_factory):
    path = tmp_path_factory.mktemp("package") / "site.gpkg"
    write_geopackage(path, items(), crs=UTM, about=ABOUT)
    return path


@pytest.fixture
def rows(package):
    """Run SQL on the package."""
    with closing(sqlite3.connect(f"file:{package}?mode=ro", uri=True)) as file:
        yield lambda sql, *values: file.execute(sql, values).fetchall()


# readers -----------------------------------------------------------------------------------


def test_fiona_reads_schema_rows_and_crs(package):
    assert sorted(fiona.listlayers(package)) == sorted(item.name for item, _ in items())
    with fiona.open(package, layer="wells") as file:
        assert file.crs.to_epsg() == 32633
        assert file.schema["geometry"] == "3D Point"
        assert dict(file.schema["properties"]) == {
            "well_id": "int",
            "depth_m": "float",
            "kind": "str",
            "dry": "bool",
            "owner": "str",
            "parent_id": "int",
            "extra": "str",
        }
        first, second = list(file)
        assert first.geometry.coordinates == (500_001, 5_200_002, 301.5)
        assert first.properties["owner"] == "Żofia & Söhne"
        assert first.properties["parent_id"] is None
        assert second.properties["owner"] is None
        assert second.properties["dry"] is False


def test_geopandas_reads_it_back_equal(package):
    back = gpd.read_file(package, layer="wells")
    expected = wells()
    assert back.crs == expected.crs
    assert back.geometry.to_wkt().tolist() == expected.geometry.to_wkt().tolist()
    for name in ("well_id", "depth_m", "kind", "dry", "extra"):
        assert back[name].tolist() == expected[name].tolist()


def test_any_geometry_and_tables_are_read(package):
    assert gpd.read_file(package, layer="elements").geom_type.tolist() == [
        "Point",
        "LineString",
        "Polygon",
    ]
    with fiona.open(package, layer="hours") as file:
        assert file.schema["geometry"] == "None"
        assert [row.properties["time_h"] for row in file] == [0.0, 0.5]


def test_a_custom_crs_is_written_and_read(tmp_path):
    crs = canonical(parsed(CUSTOM))
    write_geopackage(tmp_path / "a.gpkg", [(WELLS, wells(crs))], crs=crs)
    back = gpd.read_file(tmp_path / "a.gpkg", layer="wells")
    assert back.crs.equals(CRS(crs), ignore_axis_order=True)
    with fiona.open(tmp_path / "a.gpkg") as file:
        assert CRS(file.crs.to_wkt()).axis_info[0].unit_name == "metre"


# the standard ------------------------------------------------------------------------------


def test_file_identity_and_integrity(rows):
    assert rows("PRAGMA application_id") == [(0x47504B47,)]  # "GPKG", requirement 2
    assert rows("PRAGMA user_version") == [(10300,)]
    assert rows("PRAGMA integrity_check") == [("ok",)]  # requirement 6
    assert rows("PRAGMA foreign_key_check") == []  # requirement 7


def test_reference_systems(rows):
    known = {row[0]: row for row in rows(
        "SELECT srs_id, organization, organization_coordsys_id, definition"
        " FROM gpkg_spatial_ref_sys"
    )}  # fmt: skip
    assert {-1, 0, 4326, 32633} <= set(known)  # requirement 11
    assert known[32633][1:3] == ("EPSG", 32633)
    assert known[32633][3].startswith("PROJCS")


def test_contents_name_every_table_with_title_and_meaning(rows):
    found = rows("SELECT table_name, data_type, identifier, description, last_change, srs_id"
                 " FROM gpkg_contents")  # fmt: skip
    assert [row[0] for row in found] == [item.name for item, _ in items()]
    for (name, kind, title, meaning, changed, srs), (item, _) in zip(found, items(), strict=True):
        assert kind == ("features" if isinstance(item, Layer) else "attributes"), name
        assert (title, meaning) == (item.title, item.meaning)
        assert changed == "2024-05-06T07:08:09.000Z"  # requirement 15
        if isinstance(item, Layer):
            assert srs == 32633
    assert len({row[2] for row in found}) == len(found)  # identifiers are unique


def test_geometry_columns_hold_the_declared_types(rows):
    found = {row[0]: row[1:] for row in rows("SELECT * FROM gpkg_geometry_columns")}
    for item, _ in items():
        if not isinstance(item, Layer):
            assert item.name not in found
            continue
        column, kind, srs, z, m = found[item.name]
        assert kind == str(item.geometry).split()[0].upper()  # requirement 25
        assert (srs, z, m) == (32633, int(str(item.geometry).endswith("Z")), 0)
        declared = {row[1]: row[2] for row in rows(f'PRAGMA table_info("{item.name}")')}
        assert declared[column] == kind  # requirement 31


def test_geometry_blobs_carry_the_headers_of_the_standard(rows):
    for (blob,) in rows("SELECT geom FROM wells"):
        magic, version, flags, srs = struct.unpack("<2sBBi", blob[:8])
        assert (magic, version, srs) == (b"GP", 0, 32633)  # requirement 19 and 33
        assert flags & 0b0010_0000 == 0  # a standard geometry, not an extended one


def test_every_layer_has_a_spatial_index(rows):
    extensions = rows("SELECT table_name, column_name, scope FROM gpkg_extensions"
                      " WHERE extension_name = 'gpkg_rtree_index'")  # fmt: skip
    layers = [item.name for item, _ in items() if isinstance(item, Layer)]
    assert sorted(extensions) == sorted((name, "geom", "write-only") for name in layers)
    for name in layers:
        assert rows(f'SELECT count(*) FROM "rtree_{name}_geom"') == rows(
            f'SELECT count(*) FROM "{name}"'
        )
    triggers = {row[0] for row in rows("SELECT name FROM sqlite_master WHERE type = 'trigger'")}
    assert {"rtree_wells_geom_insert", "rtree_wells_geom_delete"} <= triggers


def test_every_column_has_title_meaning_and_constraint(rows):
    for item, _ in items():
        there = {row[1] for row in rows(f'PRAGMA table_info("{item.name}")')}
        told = {row[0]: row[1:] for row in rows(
            "SELECT column_name, name, title, description, constraint_name FROM gpkg_data_columns"
            " WHERE table_name = ?", item.name)}  # fmt: skip
        assert set(told) == {column.name for column in item.columns}
        assert set(told) <= there
        for column in item.columns:
            name, title, meaning, constraint = told[column.name]
            assert title == name
            assert meaning == column.meaning
            if column.unit:
                assert f"({column.unit})" in title
            limited = column.values or column.minimum is not None or column.maximum is not None  # noqa: PD011
            assert bool(constraint) == bool(limited)
    assert rows("SELECT title FROM gpkg_data_columns WHERE column_name = 'depth_m'"
                " AND table_name = 'wells'") == [("Depth (m)",)]  # fmt: skip


def test_constraints_follow_the_schema_extension(rows):
    used = {row[0] for row in rows("SELECT constraint_name FROM gpkg_data_columns"
                                   " WHERE constraint_name IS NOT NULL")}  # fmt: skip
    found = rows("SELECT constraint_name, constraint_type, value, min, min_is_inclusive, max,"
                 " max_is_inclusive FROM gpkg_data_column_constraints")  # fmt: skip
    assert {row[0] for row in found} == used
    for name, kind, value, low, low_in, high, high_in in found:
        assert name == name.lower()
        if kind == "enum":
            assert value is not None
            assert (low, low_in, high, high_in) == (None, None, None, None)
        else:
            assert kind == "range"
            assert value is None
            assert low < high
            assert (low_in, high_in) == (1, 1)
    assert [row[2] for row in found if row[0] == "wells_kind"] == ["dug", "drilled"]
    assert [row[3:6:2] for row in found if row[0] == "wells_depth_m"] == [(0, 200)]
    open_ended = next(row for row in found if row[0] == "wells_well_id")
    assert open_ended[5] == np.inf


def test_extensions_are_registered_once(rows):
    found = rows("SELECT table_name, extension_name, scope FROM gpkg_extensions"
                 " WHERE column_name IS NULL")  # fmt: skip
    assert sorted(found) == [
        ("gpkg_data_column_constraints", "gpkg_schema", "read-write"),
        ("gpkg_data_columns", "gpkg_schema", "read-write"),
        ("gpkg_metadata", "gpkg_metadata", "read-write"),
        ("gpkg_metadata_reference", "gpkg_metadata", "read-write"),
    ]


def test_metadata_tells_of_the_file_and_of_every_table(rows):
    (whole,) = rows("SELECT m.metadata FROM gpkg_metadata m JOIN gpkg_metadata_reference r"
                    " ON r.md_file_id = m.id WHERE r.reference_scope = 'geopackage'")  # fmt: skip
    told = json.loads(whole[0])
    assert told["title"] == "Quiet Hill"
    assert told["cautions"] == ["Set levels on site."]
    assert told["created"] == "2024-05-06T07:08:09.000Z"
    assert told["units"] == "SI"
    assert told["creator"].startswith("brimline ")
    tables = dict(rows("SELECT r.table_name, m.metadata FROM gpkg_metadata m"
                       " JOIN gpkg_metadata_reference r ON r.md_file_id = m.id"
                       " WHERE r.reference_scope = 'table'"
                       " AND m.md_scope <> 'undefined'"))  # fmt: skip
    assert set(tables) == {item.name for item, _ in items()}
    assert json.loads(tables["wells"])["columns"]["depth_m"]["unit"] == "m"
    scopes = {row[0] for row in rows("SELECT md_scope FROM gpkg_metadata")}
    assert scopes <= {"dataset", "featureType", "attributeType", "undefined"}
    assert rows("SELECT count(*) FROM gpkg_metadata_reference WHERE column_name IS NOT NULL") == [
        (0,)
    ]


def test_a_style_lies_beside_its_layer(rows):
    # OGC 12-128r17 (GeoPackage 1.3) has no scope for it; "style" came with 1.4, which not every
    # reader takes
    assert rows(
        "SELECT r.table_name, m.md_standard_uri, m.mime_type, m.metadata FROM gpkg_metadata m"
        " JOIN gpkg_metadata_reference r ON r.md_file_id = m.id WHERE m.md_scope = 'undefined'"
    ) == [
        (
            "wells",
            "http://www.opengis.net/sld",
            "application/vnd.ogc.sld+xml",
            "<StyledLayerDescriptor/>",
        )
    ]


def test_it_passes_the_strict_validator_of_gdal(package):
    """GDAL's own validate_gpkg, every check and every warning an error; without its bindings it
    leaves out only what needs them (the inside of tiles)."""
    validate = pytest.importorskip(
        "osgeo_utils.samples.validate_gpkg", reason="pip install --no-deps gdal-utils"
    )
    assert not validate.check(
        str(package), abort_at_first_error=False, extra_checks=True, warning_as_error=True
    )


# writing -----------------------------------------------------------------------------------


def test_same_rows_and_moment_give_the_same_bytes(package, tmp_path):
    write_geopackage(tmp_path / "again.gpkg", items(), crs=UTM, about=ABOUT)
    assert (tmp_path / "again.gpkg").read_bytes() == package.read_bytes()
    assert [entry.name for entry in tmp_path.iterdir()] == ["again.gpkg"]  # no journal beside it


def test_a_file_that_lost_rows_or_pages_is_noticed(package, tmp_path):
    counts = {item.name: len(frame) for item, frame in items()}
    verify(package, counts)
    with pytest.raises(sqlite3.DatabaseError, match="wells holds 2 of its 3 rows"):
        verify(package, counts | {"wells": 3})
    cut = tmp_path / "cut.gpkg"
    cut.write_bytes(package.read_bytes()[:-4096])
    with pytest.raises(sqlite3.DatabaseError):
        verify(cut, counts)


def test_the_moment_is_not_left_in_gdals_options(package):
    import pyogrio

    assert package.exists()
    assert not pyogrio.get_gdal_config_option("OGR_CURRENT_DATE")


def test_rows_in_another_crs_are_a_fault_of_ours(tmp_path):
    with pytest.raises(InternalError, match="not in the run's CRS"):
        write_geopackage(tmp_path / "a.gpkg", [(WELLS, wells("EPSG:32632"))], crs=UTM)
    assert not list(tmp_path.iterdir())


def test_a_failed_write_leaves_the_old_file_whole(tmp_path):
    path = tmp_path / "site.gpkg"
    write_geopackage(path, [(WELLS, wells())], crs=UTM, about=ABOUT)
    before = path.read_bytes()
    with pytest.raises(InternalError):
        write_geopackage(path, [(WELLS, wells()), (ANY, wells())], crs=UTM, about=ABOUT)
    assert path.read_bytes() == before
    assert [entry.name for entry in tmp_path.iterdir()] == ["site.gpkg"]


def test_a_missing_folder_is_told(tmp_path):
    with pytest.raises(StoreError, match="could not be written"):
        write_geopackage(tmp_path / "none" / "a.gpkg", [(WELLS, wells())], crs=UTM)


def test_many_rows_are_written_quickly(tmp_path):
    count = 20_000
    frame = gpd.GeoDataFrame(
        {"level_m": np.arange(count) * 0.1, "index": np.zeros(count, dtype=bool)},
        geometry=shapely.multilinestrings(
            shapely.linestrings(np.random.default_rng(1).random((count, 5, 2))).reshape(-1, 1)
        ),
        crs=UTM,
    )
    declaration = CATALOGUE["contours"]
    start = datetime.now(UTC)
    write_geopackage(tmp_path / "a.gpkg", [(declaration, frame)], crs=UTM)
    seconds = (datetime.now(UTC) - start).total_seconds()
    assert seconds < 20  # a guard against row-by-row writing, which takes minutes
    assert len(conformed(gpd.read_file(tmp_path / "a.gpkg"), declaration)) == count
