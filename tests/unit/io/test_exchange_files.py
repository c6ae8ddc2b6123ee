"""Exchange files, each read back by a reader that is not ours."""

import csv
import json
import os
import re
import subprocess
import sys
import xml.etree.ElementTree as ET
from datetime import UTC, datetime

import ezdxf
import fiona
import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely
from pyproj import Transformer

from brimline.cli.options import _csv
from brimline.errors import InternalError, StoreError
from brimline.grid import Grid
from brimline.io.exchange_csv import write_logger_csv, write_points_csv, write_table_csv
from brimline.io.exchange_dxf import write_dxf
from brimline.io.exchange_geojson import write_geojson
from brimline.io.exchange_gpx import write_gpx
from brimline.io.exchange_landxml import NAMESPACE, write_landxml
from brimline.layers import CATALOGUE, Column, Geometry, Layer, Table
from brimline.layers.catalogue import layer
from brimline.terrain.triangles import triangulated

CRS = "EPSG:32633"
EAST, NORTH = 500_123.456, 5_300_987.654
MOMENT = datetime(2026, 5, 4, 10, 30, tzinfo=UTC)
TO_DEGREES = Transformer.from_crs(CRS, "EPSG:4326", always_xy=True)

STAKES = layer("stakes")
SWALES = layer("swale_lines")


@pytest.fixture
def stakes():
    rows = {
        "element_id": ["Upper swale", "Pond & sill"],
        "stake_id": ["s1-lip-01", 'p1 "sill" <2>'],
        "chainage_m": [0.0, 12.3456],
        "ground_m": [101.25, 99.0],
        "design_m": [100.8004, 99.5],
        "cut_m": [0.4496, -0.5],
        "build_m": [100.8004, 99.55],
        "offset_m": [0.0, 0.0],
        "role": ["lip", "sill"],
        "tolerance_m": [0.05, np.nan],
        "flag": ["level-on-site", ""],
    }
    points = [shapely.Point(EAST, NORTH, 100.8004), shapely.Point(EAST + 10, NORTH - 20, 99.5)]
    return gpd.GeoDataFrame(rows, geometry=points, crs=CRS)


@pytest.fixture
def swales():
    rows = {
        "swale_id": [1], "level_m": [100.8], "length_m": [50.0], "level_error_m": [0.02],
        "mean_slope_pct": [8.0], "spacing_m": [12.0], "catchment_m2": [700.0],
        "must_hold_m3": [7.0], "from_above_m3": [0.0], "passes_on_m3": [0.0], "passes_to": [0],
        "stack_id": [1], "holds_m3": [20.0], "depth_m": [0.4], "kept_m2": [700.0],
        "rank": [1], "drawn": [False], "name": [None],
        "moved_m": [0.0], "moved_level_m": [0.0], "flag": [""],
    }  # fmt: skip
    line = shapely.LineString([(EAST, NORTH), (EAST + 30, NORTH + 5), (EAST + 50, NORTH)])
    return gpd.GeoDataFrame(rows, geometry=[line], crs=CRS)


_COLUMNS = (Column("name", "text", "Name."), Column("spill_level_m", "float", "Level.", "m"))
OUTLINES = Layer("outlines", Geometry.POLYGON, "Outlines", "Outlines.", _COLUMNS)


@pytest.fixture
def outlines():
    ring = shapely.box(EAST, NORTH, EAST + 20, NORTH + 10).exterior.coords[::-1]
    hole = shapely.box(EAST + 5, NORTH + 2, EAST + 8, NORTH + 5).exterior.coords
    shape = shapely.Polygon(ring, [hole])  # clockwise with a counter-clockwise hole: both wrong
    rows = {"name": ["pond"], "spill_level_m": [99.25]}
    return gpd.GeoDataFrame(rows, geometry=[shape], crs=CRS)


def test_csv_holds_both_kinds_of_coordinates(tmp_path, stakes):
    write_points_csv(tmp_path / "stakes.csv", stakes, STAKES)
    content = (tmp_path / "stakes.csv").read_bytes()
    assert content.count(b"\r\n") == 3
    with (tmp_path / "stakes.csv").open(newline="", encoding="utf-8") as file:
        first, second = csv.DictReader(file)
    assert second["stake_id"] == 'p1 "sill" <2>'
    assert first["design_m"] == "100.800"
    assert second["tolerance_m"] == ""
    assert (first["easting_m"], first["northing_m"]) == ("500123.456", "5300987.654")
    lon, lat = TO_DEGREES.transform(EAST, NORTH)
    assert float(first["longitude_deg"]) == pytest.approx(lon, abs=1e-8)
    assert float(first["latitude_deg"]) == pytest.approx(lat, abs=1e-8)


def test_tables_keep_the_digits_of_their_units(tmp_path):
    columns = (
        Column("item", "text", "Item."),
        Column("volume_m3", "float", "Volume.", "m³"),
        Column("count", "int", "Count.", required=False),
        Column("done", "bool", "Done."),
    )
    rows = {"item": ["Cut, loose"], "volume_m3": [-0.0004], "count": [None], "done": [True]}
    frame, bill = pd.DataFrame(rows), Table("bill", "Bill", "Bill.", columns)
    write_table_csv(tmp_path / "bill.csv", frame, bill)
    text = (tmp_path / "bill.csv").read_text(encoding="utf-8")
    assert text == 'item,volume_m3,count,done\n"Cut, loose",0.00,,true\n'


def test_the_form_of_data_loggers(tmp_path):
    write_logger_csv(tmp_path / "p.csv", ["a"], [NORTH], [EAST], [100.80049], ["lip"])
    assert (tmp_path / "p.csv").read_bytes() == b"a,5300987.654,500123.456,100.800,lip\r\n"


@pytest.mark.parametrize("name", ["=cmd|' /C calc'!A0", "+1+1", "-2+3", "@sum(a1)", "\t=1"])
def test_no_text_is_a_formula_to_a_spreadsheet(tmp_path, name):
    """OWASP, "CSV Injection": cells that begin with = + - @ tab or carriage return."""
    write_logger_csv(tmp_path / "p.csv", [name], [NORTH], [EAST], [-1.5], [name])
    with (tmp_path / "p.csv").open(newline="") as file:
        (row,) = csv.reader(file)
    assert row[0] == row[4] == f"'{name}"
    assert row[3] == "-1.500"  # numbers stay numbers


FORMULA = "=cmd|' /C calc'!A0"


def _cells(path):
    with path.open(newline="", encoding="utf-8") as file:
        return [cell for row in csv.reader(file) for cell in row]


@pytest.mark.parametrize("declared", [d for d in CATALOGUE.values() if isinstance(d, Table)],
                         ids=lambda one: one.name)  # fmt: skip
def test_no_table_of_the_catalogue_holds_a_formula(tmp_path, declared):
    filler = {"text": FORMULA, "float": -1.5, "int": -1, "bool": True}
    row = {one.name: filler[one.dtype] for one in declared.columns}
    write_table_csv(tmp_path / "t.csv", pd.DataFrame([row]), declared)
    cells = _cells(tmp_path / "t.csv")
    assert not [cell for cell in cells if cell[:1] in "=+@" and cell]
    assert all(re.fullmatch(r"-\d+(\.\d+)?", cell) for cell in cells if cell.startswith("-"))


def test_the_table_of_alternatives_holds_no_formula(tmp_path):
    (tmp_path / "t.csv").write_text(_csv([{"design": FORMULA, "cost": -1.5}]), encoding="utf-8")
    assert _cells(tmp_path / "t.csv") == ["design", "cost", f"'{FORMULA}", "-1.5"]


def test_geojson_keeps_to_its_standard(tmp_path, outlines):
    # RFC 7946: section 4 (WGS 84, longitude first, no crs member), 3.1.6 (right-hand rule),
    # 11.2 (seven digits are enough), 5 (bounding box).
    write_geojson(tmp_path / "o.geojson", outlines, OUTLINES)
    text = (tmp_path / "o.geojson").read_text(encoding="utf-8")
    found = json.loads(text)
    assert found["type"] == "FeatureCollection"
    assert "crs" not in found
    west, south, east, north = found["bbox"]
    assert -180 <= west < east <= 180
    assert -90 <= south < north <= 90
    (feature,) = found["features"]
    assert feature["properties"] == {"name": "pond", "spill_level_m": 99.25}
    outer, hole = feature["geometry"]["coordinates"]
    assert shapely.LinearRing(outer).is_ccw
    assert not shapely.LinearRing(hole).is_ccw
    assert {len(place) for place in outer} == {2}
    digits = [len(part) for part in re.findall(r"\d+\.(\d+)", json.dumps(outer))]
    assert max(digits) <= 7
    lon, lat = TO_DEGREES.transform(EAST, NORTH)
    assert min(np.hypot(x - lon, y - lat) for x, y in outer) < 1e-7
    with fiona.open(tmp_path / "o.geojson") as file:  # another GDAL build
        assert file.crs.to_epsg() == 4326
        assert len(file) == 1
        area = gpd.GeoDataFrame.from_features(file, crs=4326).to_crs(CRS).area.iloc[0]
    assert area == pytest.approx(200 - 9, rel=2e-3)  # seven digits are a centimetre


def test_geojson_leaves_heights_to_the_properties(tmp_path, stakes):
    write_geojson(tmp_path / "s.geojson", stakes, STAKES)
    found = json.loads((tmp_path / "s.geojson").read_text(encoding="utf-8"))
    first, second = found["features"]
    assert len(first["geometry"]["coordinates"]) == 2
    assert first["properties"]["design_m"] == pytest.approx(100.8004)
    assert second["properties"]["tolerance_m"] is None


def test_gpx_is_read_as_waypoints_and_tracks(tmp_path, stakes, swales, outlines):
    path = tmp_path / "site.gpx"
    lines = [("swale", swales), ("pond", outlines)]
    write_gpx(path, name="Hill & dale", points=stakes, notes=["design_m", "cut_m"], lines=lines,
              line_names=["swale_id", "name"])  # fmt: skip
    with fiona.open(path, layer="waypoints") as file:
        first, second = list(file)
    lon, lat = TO_DEGREES.transform(EAST, NORTH)
    assert first["geometry"]["coordinates"][:2] == pytest.approx((lon, lat), abs=1e-8)
    assert first["properties"]["ele"] == pytest.approx(100.8)
    assert second["properties"]["name"] == 'p1 "sill" <2>'
    assert second["properties"]["desc"] == "design_m 99.500; cut_m -0.500"
    with fiona.open(path, layer="tracks") as file:
        line, ring = list(file)
    assert line["properties"]["name"] == "swale 1"
    assert len(line["geometry"]["coordinates"][0]) == 3
    assert len(ring["geometry"]["coordinates"]) == 2  # the outline and its hole
    root = ET.parse(path).getroot()
    assert root.attrib["version"] == "1.1"
    assert root.attrib["creator"] == "brimline"


def test_dxf_has_a_drawing_layer_each_and_heights(tmp_path, stakes, swales, outlines):
    path = tmp_path / "site.dxf"
    drains = swales.assign(drain_id=[1], from_level_m=[100.0], to_level_m=[99.0], fall_pct=[2.0],
                           fall_error_m=[0.0]).drop(columns=["level_m", "swale_id"])  # fmt: skip
    write_dxf(path, [(STAKES, stakes), (SWALES, swales), (OUTLINES, outlines),
                     (layer("drain_lines"), drains)])  # fmt: skip
    with fiona.open(path) as file:
        rows = [
            (row["properties"]["Layer"], shapely.geometry.shape(row["geometry"]), row["properties"])
            for row in file
        ]
    by_layer = {}
    for name, shape, _ in rows:
        by_layer.setdefault(name, []).append(shape)
    assert set(by_layer) == {"stakes", "stakes_text", "swale_lines", "swale_lines_text", "outlines",
                             "outlines_text", "drain_lines", "drain_lines_text"}  # fmt: skip
    point = by_layer["stakes"][0]
    assert (point.x, point.y, point.z) == pytest.approx((EAST, NORTH, 100.8004), abs=6e-4)
    (line,) = by_layer["swale_lines"]
    heights = shapely.get_coordinates(line, include_z=True)[:, 2]
    np.testing.assert_allclose(heights, 100.8)
    assert line.length == pytest.approx(swales.length.iloc[0])
    (drain,) = by_layer["drain_lines"]
    heights = shapely.get_coordinates(drain, include_z=True)[:, 2]
    expected = [100, 100 - np.hypot(30, 5) / drain.length, 99]
    np.testing.assert_allclose(heights, expected, atol=6e-4)
    assert len(by_layer["outlines"]) == 2
    assert {shape.is_closed for shape in by_layer["outlines"]} == {True}
    texts = {props["Text"] for name, _, props in rows if name == "stakes_text"}
    assert texts == {"s1-lip-01", 'p1 "sill" <2>'}
    content = path.read_text(encoding="utf-8")
    assert "$INSUNITS\n 70\n6\n" in content  # metres


def test_dxf_passes_the_audit_and_takes_light_polylines_for_what_is_level(
    tmp_path, stakes, swales, outlines
):
    path = tmp_path / "site.dxf"
    raised = outlines.assign(name="a\nb ^ é", level_m=2.5)
    corners = [(EAST, NORTH, 1), (EAST + 9, NORTH, 2), (EAST, NORTH + 9, 3)]
    sloped = gpd.GeoDataFrame({"swale_id": [1]}, geometry=[shapely.LineString(corners)])
    declared = [STAKES, OUTLINES, SWALES]
    write_dxf(path, list(zip(declared, [stakes, raised, sloped], strict=True)), text_m=0.1)
    drawing = ezdxf.readfile(path)
    audit = drawing.audit()
    assert audit.errors == []
    assert audit.fixes == []
    kinds = {
        name: {one.dxftype() for one in drawing.modelspace().query(f'*[layer=="{name}"]')}
        for name in ("stakes", "outlines", "swale_lines", "outlines_text")
    }
    assert kinds == {"stakes": {"POINT"}, "outlines": {"LWPOLYLINE"}, "swale_lines": {"POLYLINE"},
                     "outlines_text": {"TEXT"}}  # fmt: skip
    rings = drawing.modelspace().query("LWPOLYLINE")
    assert {ring.dxf.elevation for ring in rings} == {2.5}
    assert all(ring.closed for ring in rings)
    (text,) = drawing.modelspace().query('TEXT[layer=="outlines_text"]')
    assert text.dxf.height == pytest.approx(0.1)
    assert text.dxf.text == "a b ^ é"
    (line,) = drawing.modelspace().query("POLYLINE")
    assert [tuple(one.dxf.location) for one in line.vertices] == corners
    assert sum(len(ring) for ring in rings) == len(
        shapely.get_coordinates(outlines.geometry.to_numpy())
    ) - len(rings)


def test_the_same_rows_give_the_same_bytes(tmp_path, stakes, swales):
    for name in ("a", "b"):
        write_dxf(tmp_path / f"{name}.dxf", [(STAKES, stakes), (SWALES, swales)])
        write_gpx(tmp_path / f"{name}.gpx", name="x", points=stakes)
        write_geojson(tmp_path / f"{name}.geojson", swales, SWALES)
        write_points_csv(tmp_path / f"{name}.csv", stakes, STAKES)
    for ending in ("dxf", "gpx", "geojson", "csv"):
        assert (tmp_path / f"a.{ending}").read_bytes() == (tmp_path / f"b.{ending}").read_bytes()


def test_a_drawing_does_not_depend_on_the_order_of_sets(tmp_path):
    code = (
        "import sys; from pathlib import Path; from brimline.io.exchange_dxf import write_dxf; "
        "write_dxf(Path(sys.argv[1]), [])"
    )
    written = set()
    for seed in ("1", "5"):  # which order what the frame of the file holds in two ways
        path = tmp_path / f"{seed}.dxf"
        env = {**os.environ, "PYTHONHASHSEED": seed}
        subprocess.run([sys.executable, "-c", code, path], env=env, check=True)
        written.add(path.read_bytes())
    assert len(written) == 1


def mesh():
    down, along = np.indices((17, 17))
    level = 100 + 0.05 * along + 0.3 * np.sin(down / 3)
    return level, triangulated(level, Grid(17, 17, 0.5, EAST, NORTH), 0.01)


def checked_landxml(path):
    """Check a file against the structure of LandXML 1.2; return its tree.

    Written from the published schema: what must be there, order of coordinates, ids, and that
    every face refers to points of its own surface.
    """
    root = ET.parse(path).getroot()
    tag = f"{{{NAMESPACE}}}"
    assert root.tag == f"{tag}LandXML"
    assert root.attrib["version"] == "1.2"
    assert re.fullmatch(r"\d{4}-\d\d-\d\d", root.attrib["date"])
    assert re.fullmatch(r"\d\d:\d\d:\d\d", root.attrib["time"])
    assert all(element.tag.startswith(tag) for element in root.iter())
    (metric,) = root.find(f"{tag}Units")
    assert metric.attrib["linearUnit"] == "meter"
    assert metric.attrib["areaUnit"] == "squareMeter"
    assert metric.attrib["volumeUnit"] == "cubicMeter"
    assert metric.attrib["temperatureUnit"] == "celsius"
    assert metric.attrib["pressureUnit"] == "milliBars"
    assert root.find(f"{tag}Application").attrib["name"] == "brimline"
    for surface in root.iter(f"{tag}Surface"):
        assert surface.attrib["name"]
        assert [child.tag for child in surface][-1] == f"{tag}Definition"
        definition = surface.find(f"{tag}Definition")
        assert definition.attrib["surfType"] == "TIN"
        points, faces = definition
        ids = [int(point.attrib["id"]) for point in points]
        assert len(ids) >= 3
        assert len(set(ids)) == len(ids)
        assert min(ids) > 0
        assert all(len(point.text.split()) == 3 for point in points)
        assert len(faces) >= 1
        for face in faces:
            corners = [int(number) for number in face.text.split()]
            assert len(set(corners)) == 3
            assert set(corners) <= set(ids)
    return root, tag


def test_landxml_holds_surface_stakes_and_breaklines(tmp_path):
    level, tin = mesh()
    crest = shapely.LineString([(EAST, NORTH, 101.0), (EAST + 5, NORTH - 5, 101.0)])
    path = tmp_path / "site.xml"
    write_landxml(path, name="Hill & dale", crs=CRS, written_at=MOMENT,
                  surfaces={"design": tin}, breaklines={"crest": crest},
                  points=[("s<1>", "lip", EAST, NORTH, 100.8)])  # fmt: skip
    root, tag = checked_landxml(path)
    assert root.find(f"{tag}Project").attrib["name"] == "Hill & dale"
    assert root.find(f"{tag}CoordinateSystem").attrib["epsgCode"] == "32633"
    (stake,) = root.find(f"{tag}CgPoints")
    assert stake.attrib == {"name": "s<1>", "code": "lip"}
    assert [float(part) for part in stake.text.split()] == [5300987.654, 500123.456, 100.8]
    (line,) = root.iter(f"{tag}Breakline")
    assert [float(part) for part in line[0].text.split()][:3] == [NORTH, EAST, 101.0]
    # the surface read back has every level of the grid, to its error
    definition = next(root.iter(f"{tag}Definition"))
    north, east, z = np.array([[float(v) for v in p.text.split()] for p in definition[0]]).T
    faces = np.array([[int(v) for v in f.text.split()] for f in definition[1]]) - 1
    area = (east[faces[:, 1]] - east[faces[:, 0]]) * (north[faces[:, 2]] - north[faces[:, 0]])
    area -= (east[faces[:, 2]] - east[faces[:, 0]]) * (north[faces[:, 1]] - north[faces[:, 0]])
    assert area.sum() / 2 == pytest.approx(8 * 8, rel=1e-6)
    row = np.round((NORTH - north) / 0.5 - 0.5).astype(int)
    col = np.round((east - EAST) / 0.5 - 0.5).astype(int)
    np.testing.assert_allclose(z, level[row, col], atol=1e-4)
    assert float(definition.attrib["elevMax"]) == pytest.approx(z.max())


def test_landxml_says_a_crs_without_code_in_words(tmp_path):
    _, tin = mesh()
    crs = "+proj=tmerc +lat_0=47 +lon_0=15.5 +ellps=GRS80 +units=m"
    write_landxml(tmp_path / "a.xml", name="a", crs=crs, written_at=MOMENT, surfaces={"a": tin})
    root, tag = checked_landxml(tmp_path / "a.xml")
    assert "Transverse_Mercator" in root.find(f"{tag}CoordinateSystem").attrib["ogcWktCode"]


def test_what_has_no_level_is_not_written(tmp_path):
    path = tmp_path / "a.xml"
    flat = shapely.LineString([(0, 0), (1, 1)])
    _, tin = mesh()
    with pytest.raises(InternalError, match="crest has no level"):
        write_landxml(path, name="a", crs=CRS, written_at=MOMENT, surfaces={"a": tin},
                      breaklines={"crest": flat})  # fmt: skip
    with pytest.raises(InternalError, match="need a surface"):
        write_landxml(path, name="a", crs=CRS, written_at=MOMENT, breaklines={"crest": flat})
    assert not path.exists()


def test_a_file_that_cannot_be_written_is_told_and_nothing_is_left(tmp_path, stakes):
    missing = tmp_path / "none" / "a"
    for write in (
        lambda: write_points_csv(missing, stakes, STAKES),
        lambda: write_geojson(missing, stakes, STAKES),
        lambda: write_gpx(missing, name="x", points=stakes),
        lambda: write_dxf(missing, [(STAKES, stakes)]),
        lambda: write_landxml(missing, name="a", crs=CRS, written_at=MOMENT),
    ):
        with pytest.raises(StoreError):
            write()
    assert list(tmp_path.iterdir()) == []
    with pytest.raises(InternalError, match="without a CRS"):
        write_geojson(tmp_path / "a", stakes.set_crs(None, allow_override=True), STAKES)
