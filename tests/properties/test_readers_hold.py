"""Damaged files are read or refused with a message for people, never with another exception."""

import json
import re

import geopandas as gpd
import laspy
import numpy as np
import pyogrio
import pytest
import rasterio
import shapely
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from rasterio.transform import from_origin

from brimline.config import load
from brimline.errors import InputError
from brimline.io.elevation import read_elevation
from brimline.io.inflows import read_inflows
from brimline.io.plants import read_guilds, read_plants
from brimline.io.rainfall import depth_doubts, read_depth_table
from brimline.io.surveyed import read_surveyed
from brimline.io.vectors import VectorSource, read_layer
from brimline.io.weather import read_weather

CRS = "EPSG:32626"
FOREIGN = re.compile(r"Traceback|pandas|numpy|pydantic|NoneType|object at 0x|could not convert")
TOML = (
    b'[site]\nname = "a"\n[inputs]\nelevation = "a.tif"\nboundary = "b.gpkg"\n'
    b"[storm]\nduration_h = 6\ncheck_periods_y = [100]\n[works]\nusual_cover = 'pasture'\n"
)
RAIN = b"duration_h,2,10,100\n1,20,30,45\n24,50,70,100\n"
INFLOWS = b"time_h,Ditch\n0,0\n1,0.2\n2,0\n"
PLANTS = b"name,layer,spacing_m,height_m,crown_m,care\nfig,canopy,4,4,4,prune @ 1-2 @ 20\n"
GUILDS = b"guild,plant,count,radius_m\nset,fig,1,0\n"
LEVELS = b"name,easting,northing,level\n1,5,5,9.5\n2,15,5,9.4\n3,5,15,9.1\n4,15,15,9.0\n"
WEATHER = b"date,rain_mm,temp_max_c,temp_min_c\n" + b"".join(
    f"2011-01-{day:02d},{day % 3}.5,{day},{day - 9}\n".encode() for day in range(1, 32)
)


def _raster(path):
    dem = 100 + np.add.outer(np.arange(12.0), np.arange(12.0)).astype(np.float32)
    with rasterio.open(
        path, "w", driver="GTiff", height=12, width=12, count=1, dtype="float32", crs=CRS,
        transform=from_origin(350_000, 5_210_000, 1, 1), nodata=-9999,
    ) as target:  # fmt: skip
        target.write(dem, 1)


def _layer(path):
    shapes = [shapely.box(0, 0, 9, 9), shapely.box(20, 0, 29, 9)]
    frame = gpd.GeoDataFrame({"cover": ["roof", "yard"], "height_m": [3.0, 0.0]}, geometry=shapes)
    pyogrio.write_dataframe(frame.set_crs(CRS), path)


def _cloud(path):
    header = laspy.LasHeader(point_format=6, version="1.4")
    header.scales = [0.01] * 3
    points = laspy.LasData(header)
    points.x, points.y = (part.ravel() * 1.0 for part in np.indices((8, 8)))
    points.z = points.x * 0.1
    points.classification = np.full(64, 2, np.uint8)
    points.write(path)


def _polygons(path):
    return read_layer(VectorSource(path), kinds={"polygon"}, crs=CRS).usable()


READERS = {  # kind: what is damaged, and the reader
    "site.toml": (TOML, load),
    "rain.csv": (RAIN, lambda path: depth_doubts(read_depth_table(path), str(path))),
    "inflows.csv": (INFLOWS, read_inflows),
    "plants.csv": (PLANTS, read_plants),
    "guilds.csv": (GUILDS, lambda path: read_guilds(path, {"fig": None})),
    "weather.csv": (WEATHER, read_weather),
    "levels.csv": (LEVELS, lambda path: read_elevation(path, crs=CRS, max_cells=10**6)),
    "built.csv": (LEVELS, lambda path: read_surveyed(VectorSource(path), run_crs=CRS)),
    "dem.tif": (_raster, lambda path: read_elevation(path, max_cells=10**6)),
    "cloud.las": (_cloud, lambda path: read_elevation(path, crs=CRS, max_cells=10**6)),
    "layer.gpkg": (_layer, _polygons),
    "layer.geojson": (_layer, _polygons),
    "layer.fgb": (_layer, _polygons),
}


@pytest.fixture(scope="session")
def whole(tmp_path_factory):
    """Bytes of a sound file of each kind."""
    folder, found = tmp_path_factory.mktemp("whole"), {}
    for name, (made, _) in READERS.items():
        if callable(made):
            made(folder / name)
            made = (folder / name).read_bytes()
        found[name] = made
    return found


EDITS = st.lists(
    st.tuples(
        st.sampled_from(["put", "cut", "twice", "end"]),
        st.floats(0, 1),
        st.one_of(
            st.binary(min_size=1, max_size=4),
            st.sampled_from(
                [b"\0", b"\xff\xff\xff\xff", b"nan", b"inf", b"-", b"1e999", b'"', b",", b"\n",
                 b"\r", b";", b"9" * 30, "\u202e".encode(), b"[", b"=", b"#", b"\xfe"]
            ),
        ),
    ),
    min_size=1,
    max_size=4,
)  # fmt: skip


def damaged(raw, edits):
    """Put bytes over others, cut some out, write some twice, or end the file early."""
    for how, share, piece in edits:
        at = int(share * len(raw))
        if how == "put":
            raw = raw[:at] + piece + raw[at + len(piece) :]
        elif how == "cut":
            raw = raw[:at] + raw[at + len(piece) :]
        elif how == "twice":
            raw = raw[:at] + piece + raw[at:]
        else:
            raw = raw[:at]
    return raw


def _read_or_refused(name, path):
    told = "read"
    try:
        READERS[name][1](path)
    except InputError as error:
        told = str(error)
    assert told
    assert not FOREIGN.search(told), told


@pytest.mark.filterwarnings("ignore::RuntimeWarning", "ignore::UserWarning")
@pytest.mark.parametrize("name", READERS)
def test_a_damaged_file_is_read_or_refused(tmp_path_factory, whole, name):
    path = tmp_path_factory.mktemp("damaged") / name

    @settings(max_examples=30, deadline=None, suppress_health_check=list(HealthCheck))
    @given(EDITS)
    def holds(edits):
        path.write_bytes(damaged(whole[name], edits))
        _read_or_refused(name, path)

    holds()


@settings(max_examples=60, deadline=None)
@given(
    st.recursive(
        st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=20),
        lambda inner: st.lists(inner, max_size=4)
        | st.dictionaries(
            st.sampled_from(["type", "features", "geometry", "coordinates", "properties", "crs"]),
            inner, max_size=4,
        ),
        max_leaves=12,
    )
)  # fmt: skip
def test_any_json_is_read_or_refused(tmp_path_factory, document):
    path = tmp_path_factory.getbasetemp() / "any.geojson"
    path.write_text(json.dumps(document), encoding="utf-8")
    _read_or_refused("layer.geojson", path)
