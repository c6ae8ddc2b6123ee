"""Drawn inputs against the extent of the data, and the empty plan to draw in."""

import fiona
import geopandas as gpd
import numpy as np
import pytest
import shapely
from shapely import Point, box

from brimline.errors import InputError, InternalError, Severity
from brimline.grid import Grid
from brimline.io.coverage import (
    boundary_problems,
    off_data_problems,
    outline_of,
    points_off_data,
    uncovered,
)
from brimline.io.drawing import new_plan
from brimline.io.elevation import inside_data, read_elevation, run_crs
from brimline.io.vectors import WantedColumn, read_layer
from brimline.layers import Column, Geometry, Layer

UTM = "EPSG:32633"
GRID = Grid(100, 200, 1.0, 500_000, 5_200_000, UTM)
WEST, SOUTH, EAST, NORTH = GRID.bounds
ALL = np.ones(GRID.shape, dtype=bool)


def said(outline, covered=ALL):
    problems = boundary_problems(outline, covered, GRID, "site.gpkg")
    assert all(p.severity is Severity.ERROR and p.mend for p in problems)
    return " | ".join(str(problem) for problem in problems)


def test_a_boundary_inside_the_data_is_no_problem():
    assert said(box(WEST, SOUTH, EAST, NORTH)) == ""
    assert said(box(WEST + 5.3, SOUTH + 5.7, EAST - 5.1, NORTH - 5.9)) == ""


@pytest.mark.parametrize(
    ("outline", "share", "sides"),
    [
        (box(WEST, SOUTH, EAST, NORTH + 25), "20.0 %", "in its north"),
        (box(WEST, SOUTH, EAST + 50, NORTH), "20.0 %", "in its east"),
        (box(WEST, SOUTH - 100, EAST, NORTH), "50.0 %", "in its south"),
        (box(WEST - 200, SOUTH, EAST, NORTH), "50.0 %", "in its west"),
        (box(WEST, SOUTH - 50, EAST, NORTH + 50), "50.0 %", "in its north and south"),
    ],
)
def test_the_uncovered_share_and_its_side_are_named(outline, share, sides):
    message = said(outline)
    assert share in message
    assert sides in message


def test_a_side_with_little_of_what_is_missing_is_not_named():
    found = uncovered(box(WEST, SOUTH, EAST + 2, NORTH + 50), ALL, GRID)
    assert found.sides == ("north",)


def test_cells_without_data_count_by_the_quarter_that_they_lie_in():
    covered = ALL.copy()
    covered[:, 150:] = False
    found = uncovered(box(WEST, SOUTH, EAST, NORTH), covered, GRID)
    assert found.share_pct == pytest.approx(25.0)
    assert found.area_m2 == pytest.approx(5000)
    assert "east" in found.sides
    assert "west" not in found.sides


def test_a_hole_inside_the_data_does_not_count_as_missing():
    dem = np.ones(GRID.shape, dtype=np.float32)
    dem[40:60, 40:60] = np.nan
    assert said(box(WEST, SOUTH, EAST, NORTH), inside_data(dem)) == ""


def test_a_sliver_beyond_the_edge_is_passed_over():
    assert said(box(WEST, SOUTH, EAST, NORTH + 0.05)) == ""


def test_a_boundary_apart_from_the_data_tells_the_way():
    message = said(box(EAST + 300, NORTH + 400, EAST + 400, NORTH + 500))
    assert "100.0 %" in message
    assert "500 m to the north-east" in message  # 3-4-5 from corner to corner
    assert "coordinate reference systems" in said(box(0, 0, 100, 100))


def test_parts_of_a_boundary_are_joined(drawn):
    read = read_layer(
        drawn([box(WEST, SOUTH, WEST + 60, NORTH), box(WEST + 50, SOUTH, WEST + 90, NORTH)]),
        kinds={"polygon"},
        crs=UTM,
    )
    outline, problems = outline_of(read)
    assert problems == ()
    assert outline.geom_type == "MultiPolygon"
    assert outline.area == pytest.approx(90 * 100)


def test_a_boundary_without_a_polygon_is_an_error_once(drawn, tmp_path):
    empty = read_layer(drawn([None]), kinds={"polygon"}, crs=UTM)
    outline, problems = outline_of(empty)
    assert outline.is_empty
    assert "holds no polygon" in str(problems[0])
    assert boundary_problems(outline, ALL, GRID, "") == ()
    absent = read_layer(tmp_path / "none.gpkg", kinds={"polygon"}, crs=UTM)
    assert absent.errors
    assert outline_of(absent)[1] == ()  # that it is missing was said already


def test_points_off_the_data_are_named(drawn):
    dem = np.ones(GRID.shape, dtype=np.float32)
    dem[:10] = np.nan
    path = drawn(
        [Point(WEST + 5, SOUTH + 5), Point(EAST + 5, SOUTH), Point(WEST + 5, NORTH - 5)],
        name_=["spring", "outfall", None],
    )
    read = read_layer(
        path, kinds={"point"}, crs=UTM, columns=[WantedColumn("name", aliases=("name_",))]
    )
    problems = off_data_problems(read, dem, GRID, "intake")
    assert len(problems) == 2
    assert 'row 2: intake "outfall" at 500205.0' in str(problems[0])
    assert "row 3: this intake at 500005.0" in str(problems[1])
    x, y = read.frame.geometry.x.to_numpy(), read.frame.geometry.y.to_numpy()
    assert points_off_data(x, y, dem, GRID).tolist() == [False, True, True]


# before there is a grid --------------------------------------------------------------------


def test_the_runs_crs_is_known_from_headers(tif):
    dem = np.ones((10, 10), dtype=np.float32)
    for crs, west, north, cell in [
        (UTM, 500_000, 5_200_000, 2.0),
        ("EPSG:2903", 1_639_600, 1_454_700, 3.0),
        ("EPSG:4326", 15.2, 46.9, 1e-5),
        ("EPSG:3857", 1_692_000, 5_925_000, 2.0),
    ]:
        path = tif(dem, crs=crs, west=west, north=north, cell=cell)
        assert run_crs(path) == read_elevation(path).grid.crs
    with pytest.raises(InputError, match="does not exist"):
        run_crs("nowhere.tif")


def test_a_layer_can_be_checked_without_a_run_crs(drawn):
    bow = shapely.Polygon([(15.0, 47.0), (15.001, 47.001), (15.001, 47.0), (15.0, 47.001)])
    good = box(15.0, 47.0, 15.001, 47.001)
    read = read_layer(drawn([bow, good], crs="EPSG:4326"), kinds={"polygon"}, crs=None)
    assert len(read.errors) == 1
    assert read.frame.crs == UTM
    assert not [p for p in read.problems if "reprojected" in p.message]
    assert read.frame.area.iloc[0] == pytest.approx(76 * 111, rel=0.02)


# the plan ----------------------------------------------------------------------------------

DRAWING = (
    Layer(
        "drawn_ponds",
        Geometry.POLYGON,
        "Ponds to be",
        "Outlines.",
        (
            Column("name", "text", "Name.", required=False),
            Column("depth_m", "float", "Depth.", "m", 0, 10, required=False),
            Column("lining", "text", "Lining.", values=("clay", "sheet"), required=False),
        ),
    ),
    Layer(
        "drawn_lines", Geometry.LINE, "Lines", "Any.", (Column("a", "bool", "A.", required=False),)
    ),
)


def test_an_empty_plan_can_be_drawn_in_and_read(tmp_path):
    path = tmp_path / "plan.gpkg"
    new_plan(path, UTM, DRAWING)
    assert fiona.listlayers(path) == ["drawn_ponds", "drawn_lines"]
    with fiona.open(path, "a", layer="drawn_ponds") as file:
        assert file.crs.to_epsg() == 32633
        assert file.schema["geometry"] == "Polygon"
        assert list(file.schema["properties"]) == ["name", "depth_m", "lining"]
        shape = shapely.geometry.mapping(box(0, 0, 9, 9))
        file.write(
            {"geometry": shape, "properties": {"name": "top", "depth_m": None, "lining": "clay"}}
        )
    back = gpd.read_file(path, layer="drawn_ponds")
    assert back["name"].tolist() == ["top"]
    assert back["depth_m"].isna().all()


def test_a_drawing_is_never_overwritten(tmp_path):
    path = tmp_path / "plan.gpkg"
    path.write_bytes(b"a person's work")
    with pytest.raises(InputError, match="left as it is"):
        new_plan(path, UTM, DRAWING)
    assert path.read_bytes() == b"a person's work"


def test_a_plan_without_layers_is_a_fault_of_ours(tmp_path):
    with pytest.raises(InternalError, match="no layer"):
        new_plan(tmp_path / "plan.gpkg", UTM, ())
