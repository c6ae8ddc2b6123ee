"""The whole command asks for nothing from elsewhere, whatever its inputs would have it ask for.

Each file here would send a library that opens all it knows to a server of this machine, which must
not be asked for anything; and a run is made where there is no network at all.
"""

from __future__ import annotations

import json
import os
import shutil
import sqlite3
import subprocess
import sys

import geopandas as gpd
import pytest
import shapely

SERVICE = (
    '<GDAL_WMS><Service name="TMS"><ServerUrl>{web}/${{z}}/${{x}}/${{y}}.png</ServerUrl></Service>'
    "<DataWindow><UpperLeftX>0</UpperLeftX><UpperLeftY>20</UpperLeftY><LowerRightX>20</LowerRightX>"
    "<LowerRightY>0</LowerRightY><SizeX>20</SizeX><SizeY>20</SizeY><TileLevel>1</TileLevel>"
    "</DataWindow><Projection>EPSG:32626</Projection><BandsCount>1</BandsCount></GDAL_WMS>"
)
VIRTUAL = (
    '<VRTDataset rasterXSize="20" rasterYSize="20"><GeoTransform>0,1,0,20,0,-1</GeoTransform>'
    '<VRTRasterBand dataType="Float32" band="1"><SimpleSource><SourceFilename>/vsicurl/{web}/a.tif'
    "</SourceFilename><SourceBand>1</SourceBand></SimpleSource></VRTRasterBand></VRTDataset>"
)
LAYERS = (
    '<OGRVRTDataSource><OGRVRTLayer name="boundary"><SrcDataSource>/vsicurl/{web}/a.gpkg'
    "</SrcDataSource></OGRVRTLayer></OGRVRTDataSource>"
)
ENTITY = '<?xml version="1.0"?><!DOCTYPE a [<!ENTITY x SYSTEM "{web}/a">]>'
GPX = ENTITY + '<gpx version="1.1"><wpt lat="47" lon="-29"><name>&x;</name></wpt></gpx>'
KML = (
    ENTITY + '<kml xmlns="http://www.opengis.net/kml/2.2"><Document><NetworkLink><Link><href>'
    "{web}/a.kml</href></Link></NetworkLink><Placemark><name>&x;</name></Placemark></Document></kml>"
)
FEATURES = {"type": "FeatureCollection", "features": []}


def linked(kind, key="crs"):
    """GeoJSON whose reference system is said to lie elsewhere."""
    inner = json.dumps({"type": kind, "properties": {"href": "WEB/a", "url": "WEB/a"}})
    text = json.dumps(FEATURES)[:-1] + f', "{key}": {inner}}}'
    return text.replace("{", "{{").replace("}", "}}").replace("WEB", "{web}")


FILES = {
    "a web service as a raster": ("elevation", "terrain.tif", SERVICE),
    "a virtual raster": ("elevation", "terrain.tif", VIRTUAL),
    "a virtual raster among text grids": ("elevation", "terrain.asc", VIRTUAL),
    "a virtual vector": ("boundary", "boundary.gpkg", LAYERS),
    "a virtual vector as GeoJSON": ("boundary", "boundary.geojson", LAYERS),
    "a linked reference system": ("boundary", "boundary.geojson", linked("link")),
    "a reference system at an address": ("boundary", "boundary.geojson", linked("URL")),
    "a link in other letters": ("boundary", "boundary.json", linked("Link", "\\u0063RS")),
    "notes with an entity": ("notes", "notes.gpx", GPX),
    "areas with a network link": ("surfaces", "surfaces.kml", KML),
    "a survey that is markup": ("as_built", "built.xml", ENTITY + "<LandXML>&x;</LandXML>"),
    "weather that is a page": ("weather", "weather.csv", ENTITY + "<html>&x;</html>"),
    "an address for a file": ("soils", "", "{web}/soils.gpkg"),
    "an address for the elevation": ("elevation", "", "{web}/terrain.tif"),
    "a network path for a file": ("soils", "", "/vsicurl/{web}/soils.gpkg"),
    "a network path for a raster": ("elevation", "", "/vsicurl/{web}/terrain.tif"),
}


@pytest.mark.parametrize("what", FILES)
def test_a_hostile_input_is_checked_without_asking_anybody(site, web, what):
    address, asked = web
    kind, name, text = FILES[what]
    if name:
        site.write()
        (site.folder / name).write_text(text.format(web=address))
    site.inputs[kind] = name or text.format(web=address)
    told = site.check()
    assert list(asked) == []
    assert told.code == 2, told.err
    assert (name or "vsicurl" in text) or "soils" in told.err or "inputs.hosts" in told.err


def test_a_package_with_a_table_elsewhere_is_read_without_asking(site, web):
    address, asked = web
    site.write_boundary()
    path = site.folder / "boundary.gpkg"
    with sqlite3.connect(path) as base:
        base.execute("PRAGMA writable_schema = ON")
        sql = f"CREATE VIRTUAL TABLE far USING VirtualOGR('/vsicurl/{address}/far.gpkg')"
        base.execute("INSERT INTO sqlite_master VALUES ('table', 'far', 'far', 0, ?)", (sql,))
    site.check()
    assert list(asked) == []


def _command(site, address, *, offline):
    """Check a site whose boundary lies in a datum that PROJ would fetch a grid for."""
    boundary = gpd.GeoDataFrame({"name": ["a"]}, geometry=[shapely.box(-80.1, 40, -80, 40.1)],
                                crs="EPSG:4267")  # fmt: skip
    boundary.to_file(site.folder / "boundary.geojson", driver="GeoJSON")
    boundary.to_file(site.folder / "boundary.gpkg", layer="boundary")
    net = {"PROJ_NETWORK": "ON", "PROJ_NETWORK_ENDPOINT": address, "HOME": str(site.folder)}
    code = (
        "from brimline.cli.main import main; main()" if offline else
        "import geopandas; print(geopandas.read_file('boundary.gpkg').to_crs('EPSG:26917'))"
    )  # fmt: skip
    return subprocess.run(
        [sys.executable, "-c", code, "check", str(site.write())], cwd=site.folder,
        env=os.environ | net, capture_output=True, text=True, check=False,
    )  # fmt: skip


@pytest.mark.slow
def test_no_grid_of_a_datum_is_fetched_even_where_the_machine_says_so(site, web):
    address, asked = web
    _command(site, address, offline=True)
    assert list(asked) == []
    _command(site, address, offline=False)
    assert list(asked)  # the check can fail: the library alone goes out


def _can_unshare():
    return (
        shutil.which("unshare") is not None
        and subprocess.run(["unshare", "-rn", "true"], capture_output=True, check=False).returncode
        == 0
    )


@pytest.mark.slow
@pytest.mark.skipif(not _can_unshare(), reason="the kernel gives no namespace of one's own")
def test_a_run_without_any_network_leaves_the_same(site):
    site.write_intakes()
    path = site.write()
    left = []
    for wrapped, out in (((), "with"), (("unshare", "-rn"), "without")):
        folder = site.folder / out
        done = subprocess.run(
            [*wrapped, sys.executable, "-m", "brimline", "run", str(path), "--rebuild", "--out",
             str(folder)],
            capture_output=True, text=True, check=False,
        )  # fmt: skip
        assert done.returncode == 0, done.stderr
        left.append(gpd.read_file(folder / "site.gpkg", layer="intakes").to_json())
    assert left[0] == left[1]
