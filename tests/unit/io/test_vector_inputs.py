"""Every kind of drawn input that a person may bring."""

import geopandas as gpd
import numpy as np
import pytest
import shapely
from shapely import LineString, MultiLineString, MultiPoint, MultiPolygon, Point, Polygon, box

from brimline.errors import InputError, Severity
from brimline.io.vectors import VectorSource, WantedColumn, layer_names, read_layer

UTM = "EPSG:32633"
EAST, NORTH = 500_000.0, 5_200_000.0


def square(x=0.0, y=0.0, side=100.0):
    return box(EAST + x, NORTH + y, EAST + x + side, NORTH + y + side)


def spot(x=0.0, y=0.0):
    return Point(EAST + x, NORTH + y)


def texts(read, severity=None):
    found = [p for p in read.problems if severity is None or p.severity is severity]
    return " | ".join(str(problem) for problem in found)


def polygons(path, **kwargs):
    return read_layer(path, kinds={"polygon"}, crs=UTM, **kwargs)


def points(path, **kwargs):
    return read_layer(path, kinds={"point"}, crs=UTM, **kwargs)


@pytest.mark.parametrize("name", ["site.gpkg", "site.geojson", "site.shp", "site.fgb"])
def test_every_format_gives_the_same_rows(drawn, name):
    crs = "EPSG:4326" if name.endswith("geojson") else UTM  # RFC 7946 knows no other
    shape = gpd.GeoSeries([square()], crs=UTM).to_crs(crs).iloc[0]
    read = polygons(
        drawn([shape], name=name, crs=crs, name_=["north field"], setback_m=[3.5]),
        columns=[WantedColumn("name", aliases=("name_",)), WantedColumn("setback_m", "float")],
    )
    assert read.errors == ()
    assert read.frame.crs == UTM
    assert read.frame.geometry.iloc[0].geom_type == "MultiPolygon"
    assert read.frame.area.iloc[0] == pytest.approx(10_000, rel=1e-6)
    assert read.frame[["name", "setback_m"]].to_numpy().tolist() == [["north field", 3.5]]


def test_another_crs_is_reprojected_and_said(drawn):
    shape = gpd.GeoSeries([square()], crs=UTM).to_crs("EPSG:4326").iloc[0]
    read = polygons(drawn([shape], crs="EPSG:4326"))
    assert "was reprojected from WGS 84 (EPSG:4326)" in texts(read, Severity.NOTICE)
    np.testing.assert_allclose(read.frame.geometry.iloc[0].bounds, square().bounds, atol=0.001)
    assert read.errors == ()


def test_an_inexact_datum_shift_is_warned_of(drawn):
    # NAD27 (EPSG:4267) to NAD83 takes a grid that is not shipped with PROJ
    shape = box(-93.93, 46.50, -93.92, 46.51)
    read = read_layer(drawn([shape], crs="EPSG:4267"), kinds={"polygon"}, crs="EPSG:26915")
    assert read.errors == ()
    assert "no exact way from NAD27" in texts(read, Severity.WARNING)


def test_a_coarse_datum_shift_is_told(drawn):
    # WGS 84 to NAD83: the registry states 4 m
    shape = box(-93.93, 46.50, -93.92, 46.51)
    read = read_layer(drawn([shape], crs="EPSG:4326"), kinds={"polygon"}, crs="EPSG:26915")
    assert "good to about 4 m" in texts(read, Severity.NOTICE)
    assert not texts(read, Severity.WARNING)


@pytest.mark.filterwarnings("ignore:'crs' was not provided")
def test_missing_crs_is_refused_or_assumed(drawn):
    path = drawn([square()], name="plain.shp", crs=None)
    read = polygons(path)
    assert "coordinate reference system" in texts(read, Severity.ERROR)
    assert ".prj" in texts(read)
    assumed = polygons(path, assume_crs=UTM)
    assert assumed.errors == ()
    assert "was assumed" in texts(assumed, Severity.WARNING)


# shapes ------------------------------------------------------------------------------------


def test_a_small_fault_in_a_polygon_is_repaired_with_a_notice(drawn):
    # a spike to the east and back crosses itself by a sliver
    ring = [(0, 0), (100, 0), (100, 50), (110, 50.0), (100, 49.999), (100, 100), (0, 100)]
    bad = Polygon([(EAST + x, NORTH + y) for x, y in ring])
    assert not bad.is_valid
    read = polygons(drawn([square(200), bad]))
    assert read.errors == ()
    assert read.frame.geometry.is_valid.all()
    assert read.frame.area.iloc[1] == pytest.approx(10_000, abs=1)
    notice = texts(read, Severity.NOTICE)
    assert "it was repaired" in notice
    assert "row 2" in notice  # GeoPackage numbers features from 1
    assert "500100" in notice  # where


@pytest.mark.parametrize(("lobe_m2", "repaired"), [(20, True), (400, False)])
def test_a_repair_may_change_the_area_by_one_percent(drawn, lobe_m2, repaired):
    # the outline crosses itself at its corner and turns the wrong way round a lobe outside
    side = np.sqrt(lobe_m2)
    ring = [
        (0, 0),
        (100, 0),
        (100, 100 + side),
        (100 + side, 100 + side),
        (100 + side, 100),
        (0, 100),
    ]
    read = polygons(drawn([Polygon([(EAST + x, NORTH + y) for x, y in ring])]))
    assert (read.errors == ()) is repaired
    if repaired:
        assert read.frame.area.iloc[0] == pytest.approx(10_000 + lobe_m2)
    else:
        assert "9600 m² as drawn, 10400 m² after" in texts(read, Severity.ERROR)


def test_a_crossed_outline_is_refused_with_the_place_of_the_fault(drawn):
    bow = Polygon(
        [(EAST, NORTH), (EAST + 100, NORTH + 100), (EAST + 100, NORTH), (EAST, NORTH + 100)]
    )
    read = polygons(drawn([bow]))
    message = texts(read, Severity.ERROR)
    assert "only guessing could repair" in message
    assert "row 1 at 500050.0, 5200050.0" in message
    assert read.frame.empty


def test_the_place_of_a_fault_is_told_in_the_files_own_coordinates(drawn):
    bow = Polygon([(15.0, 47.0), (15.001, 47.001), (15.001, 47.0), (15.0, 47.001)])
    message = texts(polygons(drawn([bow], crs="EPSG:4326")), Severity.ERROR)
    assert "row 1 at 15.000500, 47.000500" in message


def test_every_fault_is_told_not_only_the_first(drawn):
    bow = Polygon(
        [(EAST, NORTH), (EAST + 100, NORTH + 100), (EAST + 100, NORTH), (EAST, NORTH + 100)]
    )
    path = drawn([bow, square(), spot(), bow], kind=["a", "b", "c", "wrong"])
    read = polygons(path, columns=[WantedColumn("kind", allowed=("a", "b", "c"))])
    assert [p.place.split(" at ")[0] for p in read.errors] == ["row 1", "row 3", "row 4"]


def test_rows_without_a_shape_are_passed_over_with_a_warning(drawn):
    read = polygons(drawn([square(), None, Polygon()]))
    assert len(read.frame) == 1
    assert texts(read, Severity.WARNING).count("has no shape") == 2


def test_the_wrong_kind_of_shape_is_refused_by_row(drawn):
    read = polygons(drawn([square(), LineString([(EAST, NORTH), (EAST + 9, NORTH)])]))
    message = texts(read, Severity.ERROR)
    assert "row 2" in message
    assert "is a line, but a polygon is needed" in message
    assert "close the line" in message


def test_a_closed_line_is_taken_as_a_polygon(drawn):
    read = polygons(drawn([LineString(square().exterior.coords)]))
    assert read.errors == ()
    assert read.frame.area.iloc[0] == pytest.approx(10_000)
    assert "closed line" in texts(read, Severity.NOTICE)


def test_multi_part_points_and_lines_become_rows(drawn):
    pair = MultiPoint([spot(), spot(5)])
    read = points(drawn([pair, spot(9)], name_=["pair", "one"]), columns=[WantedColumn("name_")])
    assert read.frame["name_"].tolist() == ["pair", "pair", "one"]
    assert read.frame["row"].tolist() == [1, 1, 2]
    assert "2 parts became rows" in texts(read, Severity.NOTICE)
    lines = MultiLineString([[(EAST, NORTH), (EAST + 1, NORTH)]])
    one = read_layer(drawn([lines], name="l.gpkg"), kinds={"line"}, crs=UTM)
    assert one.frame.geometry.iloc[0].geom_type == "LineString"
    assert one.problems == ()  # a multi-part of one part is nothing to tell


def test_polygons_of_one_row_stay_together(drawn):
    read = polygons(drawn([MultiPolygon([square(), square(300)])]))
    assert len(read.frame) == 1
    assert read.frame.area.iloc[0] == pytest.approx(20_000)


def test_parts_of_another_kind_in_a_collection_are_passed_over(drawn):
    mixed = shapely.GeometryCollection([square(), spot()])
    read = polygons(drawn([mixed]))
    assert read.errors == ()
    assert "1 of its 2 parts" in texts(read, Severity.WARNING)


def test_heights_are_dropped_or_kept(drawn):
    path = drawn([Point(EAST, NORTH, 312.5)])
    assert not points(path).frame.has_z.any()
    assert points(path, keep_z=True).frame.geometry.iloc[0].z == 312.5


def test_several_kinds_may_be_wanted(drawn):
    read = read_layer(
        drawn([square(), spot(), LineString([(EAST, NORTH), (EAST + 9, NORTH)])]),
        kinds={"point", "line", "polygon"},
        crs=UTM,
    )
    assert read.errors == ()
    assert read.frame.geom_type.tolist() == ["MultiPolygon", "Point", "LineString"]


def test_curves_are_followed_by_short_chords(tmp_path):
    path = tmp_path / "ponds.csv"
    ring = "500100 5200000, 500000 5200100, 499900 5200000, 500000 5199900, 500100 5200000"
    path.write_text(f'WKT\n"CURVEPOLYGON(CIRCULARSTRING({ring}))"\n')
    read = polygons(path, assume_crs=UTM)
    assert read.errors == ()
    assert read.frame.area.iloc[0] == pytest.approx(np.pi * 100**2, rel=0.002)


def test_a_line_without_length_is_passed_over(drawn):
    read = read_layer(drawn([LineString([(EAST, NORTH), (EAST, NORTH)])]), kinds={"line"}, crs=UTM)
    assert read.frame.empty
    assert "without length" in texts(read, Severity.WARNING)


# files and layers --------------------------------------------------------------------------


def test_a_missing_file_names_the_nearest(drawn, tmp_path):
    drawn([square()], name="boundary.gpkg")
    message = texts(polygons(tmp_path / "boundry.gpkg"), Severity.ERROR)
    assert 'did you mean "boundary.gpkg"' in message
    assert 'did you mean "boundary.gpkg"' in texts(polygons(tmp_path / "boundary.shp"))


def test_a_missing_layer_names_those_there_and_the_nearest(drawn):
    drawn([square()], layer="boundary")
    path = drawn([spot()], layer="intakes")
    assert layer_names(path) == ["boundary", "intakes"]
    message = texts(points(VectorSource(path, "intake")), Severity.ERROR)
    assert "it holds boundary, intakes" in message
    assert 'did you mean "intakes"' in message


def test_the_layer_of_the_inputs_own_name_is_taken(drawn):
    drawn([square()], layer="boundary")
    path = drawn([spot()], layer="intakes")
    assert len(points(path, default_layer="intakes").usable()) == 1
    assert "holds several layers (boundary, intakes)" in texts(points(path))


def test_a_filter_takes_rows_and_a_wrong_one_is_told(drawn):
    path = drawn([spot(), spot(1)], kind=["well", "tree"])
    assert len(points(VectorSource(path, "", "kind = 'tree'")).usable()) == 1
    assert "columns are kind" in texts(
        points(VectorSource(path, "", "knid = 'tree'")), Severity.ERROR
    )
    assert "no row fits" in texts(points(VectorSource(path, "", "kind = 'Oak'")), Severity.WARNING)


def test_a_file_that_is_no_vector_data_is_refused(tmp_path):
    path = tmp_path / "site.gpkg"
    path.write_text("nothing of the kind")
    assert "cannot be read as vector data" in texts(points(path), Severity.ERROR)


def test_an_empty_layer_is_warned_of_and_has_the_columns(drawn):
    path = drawn([spot()], name_=["a"])
    read = points(
        VectorSource(path, "", "name_ = 'b'"),
        columns=[WantedColumn("name_"), WantedColumn("x_m", "float")],
    )
    assert list(read.frame.columns) == ["name_", "x_m", "row", "geometry"]
    assert read.errors == ()


def test_an_unreadable_layer_still_gives_a_frame_with_the_columns(tmp_path):
    read = points(tmp_path / "none.gpkg", columns=[WantedColumn("name")])
    assert list(read.frame.columns) == ["name", "row", "geometry"]
    with pytest.raises(InputError, match="does not exist"):
        read.usable()


# columns -----------------------------------------------------------------------------------


def test_columns_are_found_by_alias_and_in_any_case(drawn):
    path = drawn([spot()], NAME=["a"], Diameter=[0.3])
    read = points(
        path,
        columns=[WantedColumn("name"), WantedColumn("diameter_m", "float", aliases=("diameter",))],
    )
    assert read.frame[["name", "diameter_m"]].to_numpy().tolist() == [["a", 0.3]]


def test_a_columns_own_name_comes_before_its_aliases(drawn):
    path = drawn([spot()], label=["alias"], name_=["own"])
    read = points(path, columns=[WantedColumn("name_", aliases=("label",))])
    assert read.frame["name_"].tolist() == ["own"]


def test_shapefile_names_cut_after_ten_letters_are_found(drawn):
    path = drawn([square()], name="s.shp", runoff_coe=[0.9])
    read = polygons(path, columns=[WantedColumn("runoff_coefficient", "float")])
    assert read.frame["runoff_coefficient"].tolist() == [0.9]


def test_a_missing_required_column_names_the_nearest(drawn):
    read = points(drawn([spot()], kimd=["a"]), columns=[WantedColumn("kind", required=True)])
    message = texts(read, Severity.ERROR)
    assert 'has no column "kind"' in message
    assert 'rename "kimd" to "kind"' in message


def test_a_nearly_known_optional_column_is_warned_of(drawn):
    read = points(drawn([spot()], diametr_m=[0.3]), columns=[WantedColumn("diameter_m", "float")])
    assert 'rename it if "diameter_m" is meant' in texts(read, Severity.WARNING)
    assert read.frame["diameter_m"].isna().all()


def test_values_that_do_not_fit_are_named_by_row(drawn):
    path = drawn(
        [spot(), spot(1), spot(2), spot(3)],
        diameter_m=["0,3", "300 mm", None, "-1"],
        keep=["yes", "maybe", "N", None],
        count=[1.0, 2.5, 3.0, np.nan],
    )
    read = points(
        path,
        columns=[
            WantedColumn("diameter_m", "float", minimum=0),
            WantedColumn("keep", "bool"),
            WantedColumn("count", "int"),
        ],
    )
    message = texts(read, Severity.ERROR)
    assert 'row 2: diameter_m is "300 mm", which is not a number' in message
    assert "row 4: diameter_m is -1; the least allowed is 0" in message
    assert 'row 2: keep is "maybe", which is not yes or no' in message
    assert 'row 2: count is "2.5", which is not a whole number' in message
    read = points(path, columns=[WantedColumn("diameter_m", "float", maximum=0.2)])
    assert "row 1: diameter_m is 0.3; the most allowed is 0.2" in texts(read, Severity.ERROR)
    read = points(
        path,
        columns=[
            WantedColumn("diameter_m", "float"),
            WantedColumn("keep", "bool"),
            WantedColumn("count", "int"),
        ],
    )
    assert read.frame["diameter_m"].tolist()[0] == 0.3  # a decimal comma is understood
    assert read.frame["keep"].tolist()[0] is True
    assert read.frame["count"].tolist()[0] == 1


def test_allowed_texts_are_met_in_any_case_and_others_named(drawn):
    path = drawn([spot(), spot(1)], group=["b", "E"])
    read = points(path, columns=[WantedColumn("group", allowed=("A", "B", "C", "D"))])
    assert read.frame["group"].tolist()[0] == "B"
    assert 'row 2: group is "E"; allowed are A, B, C, D' in texts(read, Severity.ERROR)


def test_names_used_twice_are_warned_of(drawn):
    read = points(
        drawn([spot(), spot(1), spot(2)], name_=["a", "b", "a"]),
        columns=[WantedColumn("name_", unique=True)],
    )
    message = texts(read, Severity.WARNING)
    assert 'name_ "a" is used 2 times' in message
    assert "rows 1, 3" in message


def test_an_empty_required_value_is_named_by_row(drawn):
    read = points(
        drawn([spot(), spot(1)], kind=["well", "  "]), columns=[WantedColumn("kind", required=True)]
    )
    assert "row 2: kind is empty" in texts(read, Severity.ERROR)


def test_other_columns_are_kept_on_request(drawn):
    path = drawn([spot()], notes=["by the gate"])
    assert "notes" not in points(path).frame
    assert points(path, keep_others=True).frame["notes"].tolist() == ["by the gate"]
