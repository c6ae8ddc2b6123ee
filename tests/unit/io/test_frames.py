"""Layers and tables against their declaration: what is brought to it, what is told."""

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely

from brimline.errors import InternalError
from brimline.io.frames import check_frame, conformed, empty
from brimline.layers import CATALOGUE, Column, Geometry, Layer, Raster, Table

UTM = "EPSG:32633"
PONDS = Layer(
    "pond_lines",
    Geometry.LINE,
    "Ponds",
    "Ponds.",
    (
        Column("pond_id", "int", "Number.", minimum=1),
        Column("depth_m", "float", "Depth.", "m", 0, 5),
        Column("kind", "text", "Kind.", values=("lined", "earth")),
        Column("dry", "bool", "Dry."),
        Column("note", "text", "Note.", required=False),
        Column("parent_id", "int", "Parent.", required=False),
    ),
)
LINE = shapely.LineString([(0, 0), (1, 1)])


def ponds(**changes):
    rows = {
        "pond_id": [1, 2, 3],
        "depth_m": [1.0, 2.0, 3.0],
        "kind": ["lined", "earth", "earth"],
        "dry": [True, False, False],
        "note": ["a", None, ""],
        "parent_id": [None, 1, 1],
    } | {name: value for name, value in changes.items() if name != "geometry"}
    shapes = changes.get("geometry", [LINE] * 3)
    return gpd.GeoDataFrame(rows, geometry=shapes, crs=UTM)


def faults(**changes):
    return check_frame(conformed(ponds(**changes), PONDS), PONDS)


def test_rows_that_fit_are_not_faulted():
    assert faults() == []


@pytest.mark.parametrize(
    ("changes", "expected"),
    [
        ({"pond_id": [1, 2, 2]}, "pond_id repeats in rows 1, 2"),
        ({"pond_id": [0, 2, 3]}, "pond_id is below 1 in row 0 (least 0)"),
        ({"depth_m": [1, 9.5, 3]}, "depth_m is above 5 m in row 1 (most 9.5)"),
        ({"depth_m": [1, -0.5, 3]}, "depth_m is below 0 m in row 1 (least -0.5)"),
        ({"depth_m": [1, np.nan, 3]}, "depth_m is empty in row 1"),
        ({"depth_m": [1, np.inf, 3]}, "depth_m is not finite in row 1"),
        ({"kind": ["lined", "clay", "mud"]}, "kind holds clay, mud in rows 1, 2"),
        ({"kind": ["lined", None, "earth"]}, "kind is empty in row 1"),
        ({"geometry": [LINE, shapely.Point(0, 0), LINE]}, "must be LineString, is Point in row 1"),
        ({"geometry": [LINE, None, shapely.LineString()]}, "geometry is empty in rows 1, 2"),
        (
            {"geometry": [LINE, LINE, shapely.LineString([(0, 0, 1), (1, 1, 1)])]},
            "heights are there in row 2",
        ),
        (
            {"geometry": [LINE, LINE, shapely.LineString([(0, 0), (np.inf, 1)])]},
            "coordinates are not finite in row 2",
        ),
        ({"geometry": [LINE, shapely.LineString([(0, 0), (0, 0)]), LINE]}, "invalid in row 1"),
    ],
)
def test_every_departure_is_told_with_its_rows(changes, expected):
    found = faults(**changes)
    assert len(found) == 1
    assert found[0].startswith("pond_lines: ")
    assert expected in found[0]


def test_many_departures_are_all_told():
    found = faults(pond_id=[1, 1, 1], depth_m=[-1, 9, 1], kind=["a", "b", "earth"])
    assert len(found) == 4


def test_missing_columns_wrong_types_and_missing_crs_are_told():
    frame = conformed(ponds(), PONDS)
    assert "pond_lines: column note is missing" in check_frame(frame.drop(columns="note"), PONDS)
    frame["pond_id"] = frame["pond_id"].astype(float)
    assert "pond_lines: pond_id must be int, is float64" in check_frame(frame, PONDS)
    bare = gpd.GeoDataFrame(conformed(ponds(), PONDS)).set_crs(None, allow_override=True)
    assert "pond_lines: has no coordinate reference system" in check_frame(bare, PONDS)
    assert "pond_lines: has no geometry" in check_frame(
        pd.DataFrame(ponds().drop(columns="geometry")), PONDS
    )


def test_an_identifier_of_another_layer_may_repeat():
    stakes = Layer(
        "stakes", Geometry.POINT, "S", "S.", (Column("pond_id", "int", "Pond.", minimum=1),)
    )
    frame = gpd.GeoDataFrame({"pond_id": [1, 1]}, geometry=[shapely.Point(0, 0)] * 2, crs=UTM)
    assert check_frame(conformed(frame, stakes), stakes) == []


def test_conforming_orders_types_and_promotes():
    frame = ponds()[["note", "dry", "kind", "depth_m", "pond_id", "geometry"]]
    frame["depth_m"] = [1, 2, 3]
    frame["extra"] = ["x", "y", "z"]
    result = conformed(frame, PONDS)
    assert list(result.columns) == [c.name for c in PONDS.columns] + ["extra", "geometry"]
    assert result["depth_m"].dtype == np.float64
    assert result["parent_id"].dtype == "Int64"
    assert result["parent_id"].isna().all()  # may be empty, so it was added
    many = Layer("m", Geometry.MULTIPOLYGON, "M", "M.", ())
    shapes = gpd.GeoDataFrame(geometry=[shapely.box(0, 0, 1, 1)], crs=UTM)
    assert conformed(shapes, many).geometry.iloc[0].geom_type == "MultiPolygon"


def test_conforming_leaves_its_argument_alone():
    frame = ponds()
    before = frame.copy()
    conformed(frame, PONDS)
    pd.testing.assert_frame_equal(pd.DataFrame(frame), pd.DataFrame(before))


def test_what_cannot_be_conformed_is_a_fault_of_ours():
    with pytest.raises(InternalError, match="lacks its column depth_m"):
        conformed(ponds().drop(columns="depth_m"), PONDS)
    with pytest.raises(InternalError, match="pond_id must be int"):
        conformed(ponds(pond_id=["one", "two", "three"]), PONDS)
    with pytest.raises(InternalError, match=r"1\.5 is not a whole number"):
        conformed(ponds(pond_id=pd.Series([1.5, 2, 3], dtype=object)), PONDS)


def test_large_whole_numbers_beside_gaps_keep_every_digit():
    table = Table("t", "T", "T.", (Column("n", "int", "N.", required=False),))
    frame = conformed(pd.DataFrame({"n": pd.Series([2**60 + 1, None], dtype=object)}), table)
    assert frame["n"].tolist()[0] == 2**60 + 1


@pytest.mark.parametrize(
    "item",
    [item for item in CATALOGUE.values() if not isinstance(item, Raster)],
    ids=lambda item: item.name,
)
def test_an_empty_frame_of_every_declaration_fits_it(item):
    frame = empty(item, UTM)
    assert len(frame) == 0
    assert check_frame(frame, item) == []
    assert [name for name in frame.columns if name != "geometry"] == [c.name for c in item.columns]
