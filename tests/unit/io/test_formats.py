"""Inputs are opened by what they are: nothing calls out, and what only points elsewhere is told."""

import os

import geopandas as gpd
import laspy
import numpy as np
import pytest
import rasterio
import shapely

from brimline.errors import InputError, shown
from brimline.io.elevation import read_elevation
from brimline.io.formats import check_vector, raster_driver
from brimline.io.points import read_points
from brimline.io.vectors import VectorSource, read_layer


def _tif(path):
    with rasterio.open(
        path, "w", driver="GTiff", width=30, height=20, count=1, dtype="float32",
        crs="EPSG:32626", transform=rasterio.transform.from_origin(352_000, 5_211_000, 1, 1),
    ) as file:  # fmt: skip
        file.write(np.linspace(100, 110, 600, dtype=np.float32).reshape(1, 20, 30))
    return path


_SERVICE = (
    '<GDAL_WMS><Service name="TMS"><ServerUrl>{web}/${{z}}/${{x}}/${{y}}.png</ServerUrl></Service>'
    "<DataWindow><UpperLeftX>0</UpperLeftX><UpperLeftY>20</UpperLeftY><LowerRightX>20</LowerRightX>"
    "<LowerRightY>0</LowerRightY><SizeX>20</SizeX><SizeY>20</SizeY><TileLevel>1</TileLevel>"
    "</DataWindow><Projection>EPSG:32626</Projection><BandsCount>1</BandsCount>"
    "<BlockSizeX>10</BlockSizeX><BlockSizeY>10</BlockSizeY></GDAL_WMS>"
)
_VIRTUAL = (
    '<VRTDataset rasterXSize="20" rasterYSize="20"><SRS>EPSG:32626</SRS>'
    "<GeoTransform>0,1,0,20,0,-1</GeoTransform>"
    '<VRTRasterBand dataType="Float32" band="1"><SimpleSource>'
    '<SourceFilename relativeToVRT="0">/vsicurl/{web}/far.tif</SourceFilename>'
    "<SourceBand>1</SourceBand></SimpleSource></VRTRasterBand></VRTDataset>"
)


@pytest.mark.parametrize("text", [_SERVICE, _VIRTUAL], ids=["web service", "virtual raster"])
def test_a_raster_that_points_elsewhere_is_refused_and_asks_nothing(tmp_path, web, text):
    address, asked = web
    path = tmp_path / "terrain.tif"
    path.write_text(text.format(web=address))
    with pytest.raises(InputError, match="describes where data lie elsewhere"):
        read_elevation(path)
    assert list(asked) == []


def test_the_server_would_be_asked_by_a_library_that_opens_all_it_knows(tmp_path, web, monkeypatch):
    """The check above can fail: GDAL itself goes out for the same file."""
    for name in ("GDAL_HTTP_PROXY", "GDAL_HTTPS_PROXY"):  # where a test has called the command
        monkeypatch.delenv(name, raising=False)
    address, asked = web
    path = tmp_path / "terrain.tif"
    path.write_text(_VIRTUAL.format(web=address))
    with pytest.raises(rasterio.errors.RasterioError), rasterio.open(path) as file:
        file.read(1)
    assert list(asked)


def test_side_files_send_nobody_elsewhere(tmp_path, web):
    address, asked = web
    path = _tif(tmp_path / "terrain.tif")
    (tmp_path / "terrain.tif.aux.xml").write_text(
        '<PAMDataset><Metadata domain="OVERVIEWS"><MDI key="OVERVIEW_FILE">'
        f"/vsicurl/{address}/far.tif</MDI></Metadata></PAMDataset>"
    )
    (tmp_path / "terrain.tif.ovr").write_text(_VIRTUAL.format(web=address))
    (tmp_path / "terrain.tif.msk").write_text(_VIRTUAL.format(web=address))
    assert read_elevation(path).grid.shape == (20, 30)
    assert list(asked) == []


@pytest.mark.parametrize(
    "text",
    [
        (
            '<OGRVRTDataSource><OGRVRTLayer name="a"><SrcDataSource>/vsicurl/{web}/far.gpkg'
            "</SrcDataSource></OGRVRTLayer></OGRVRTDataSource>"
        ),
        "<OGRWFSDataSource><URL>{web}/features</URL></OGRWFSDataSource>",
    ],
    ids=["virtual vector", "feature service"],
)
@pytest.mark.parametrize("name", ["boundary.gpkg", "boundary.geojson", "boundary.xml"])
def test_a_vector_file_that_points_elsewhere_is_refused_and_asks_nothing(tmp_path, web, name, text):
    address, asked = web
    path = tmp_path / name
    path.write_text(text.format(web=address))
    read = read_layer(path, kinds=["polygon"], crs="EPSG:32626")
    assert "describes where data lie elsewhere" in read.errors[0].message
    assert list(asked) == []


@pytest.mark.parametrize(
    ("head", "driver"),
    [
        (b"II\x2a\0rest", "GTiff"),
        (b"MM\0\x2brest", "GTiff"),
        (b"ncols 4\nnrows 3\n", "AAIGrid"),
        (b"EHFA_HEADER_TAG\0", "HFA"),
    ],
)
def test_a_raster_is_known_by_its_first_bytes(tmp_path, head, driver):
    path = tmp_path / "named.anything"
    path.write_bytes(head)
    assert raster_driver(path) == driver


@pytest.mark.parametrize(
    ("content", "told"),
    [(b"", "is empty"), (b"PK\x03\x04", "packed archive"), (b"some words", "no format that")],
)
def test_what_else_a_file_can_be_is_told(tmp_path, content, told):
    path = tmp_path / "boundary.gpkg"
    path.write_bytes(content)
    with pytest.raises(InputError, match=told):
        check_vector(path)


@pytest.mark.parametrize("driver", ["GPKG", "GeoJSON", "FlatGeobuf", "ESRI Shapefile", "KML"])
def test_usual_vector_files_pass(tmp_path, driver):
    ending = {"GPKG": "gpkg", "GeoJSON": "geojson", "FlatGeobuf": "fgb", "KML": "kml"}
    path = tmp_path / f"a.{ending.get(driver, 'shp')}"
    rows = gpd.GeoDataFrame({"name": ["a"]}, geometry=[shapely.box(0, 0, 1, 1)], crs="EPSG:4326")
    rows.to_file(path, driver=driver)
    check_vector(path)
    assert not read_layer(path, kinds=["polygon"], crs="EPSG:32631").errors


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="the system has no named pipes")
def test_a_pipe_is_refused_at_once(tmp_path):
    path = tmp_path / "terrain.tif"
    os.mkfifo(path)
    with pytest.raises(InputError, match="pipe or a device"):
        read_elevation(path)


@pytest.mark.parametrize(
    "where",
    ["1=1) UNION SELECT * FROM x --", "kind = 'a'; DROP TABLE a", "kind = 'a", "1) OR (1",
     "name = (SELECT name FROM sqlite_master)", "1=1 LIMIT 1"],
)  # fmt: skip
def test_a_filter_is_a_condition_and_nothing_else(tmp_path, where):
    path = tmp_path / "a.gpkg"
    rows = gpd.GeoDataFrame({"kind": ["a"]}, geometry=[shapely.box(0, 0, 9, 9)], crs="EPSG:32626")
    rows.to_file(path, layer="a")
    read = read_layer(VectorSource(path, "a", where), kinds=["polygon"], crs="EPSG:32626")
    assert "is not a condition" in read.errors[0].message


def test_a_filter_may_hold_such_words_in_quotes(tmp_path):
    path = tmp_path / "a.gpkg"
    kinds = ["select; it's -- (odd", "other"]
    boxes = [shapely.box(0, 0, 9, 9), shapely.box(20, 0, 29, 9)]
    gpd.GeoDataFrame({"kind": kinds}, geometry=boxes, crs="EPSG:32626").to_file(path, layer="a")
    where = "kind = 'select; it''s -- (odd' AND (kind <> 'x')"
    read = read_layer(VectorSource(path, "a", where), kinds=["polygon"], crs="EPSG:32626")
    assert not read.errors
    assert len(read.frame) == 1


def test_a_cloud_that_ends_early_is_told_with_both_counts(tmp_path):
    header = laspy.LasHeader(point_format=6, version="1.4")
    header.scales, header.offsets = [0.01] * 3, [0, 0, 0]
    cloud = laspy.LasData(header)
    x, y = (a.ravel() for a in np.meshgrid(np.arange(20.0), np.arange(20.0)))
    cloud.x, cloud.y, cloud.z = x, y, 100 + 0.1 * x
    cloud.classification = np.full(400, 2)
    path = tmp_path / "cloud.las"
    cloud.write(path)
    content = path.read_bytes()
    path.write_bytes(content[: len(content) - 30 * 100])
    with pytest.raises(InputError, match=r"300 of the 400 points|cannot be read"):
        read_points(
            [path],
            cell_m=1.0,
            vertical_unit="m",
            crs="EPSG:32626",
            max_cells=10_000,
            max_gap_m=None,
        )


def test_what_a_person_wrote_is_shown_on_one_short_line():
    assert shown("a\nb\x1b[31m\u202ec") == "a\\nb\\x1b[31m\\u202ec"
    assert len(shown("x" * 5000)) == 80
