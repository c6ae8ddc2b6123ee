"""Values between stages: the same after writing and reading, the same bytes each time."""

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from brimline.errors import InternalError
from brimline.grid import Grid
from brimline.io.crs import canonical, parsed
from brimline.io.frames import check_frame, conformed, empty
from brimline.io.intermediates import FileCodec, checked
from brimline.io.libraries import versions
from brimline.io.rasters import stepped
from brimline.layers import CATALOGUE, Column, Geometry, Layer, Raster, Table, raster

CUSTOM = (  # a projection of one site, as surveyors make them
    "+proj=tmerc +lat_0=47.1 +lon_0=15.3 +k=1.0001 +x_0=10000 +y_0=20000 +datum=WGS84 +units=m"
)
UTM = "EPSG:32633"
GRID = Grid(20, 30, 2.0, 500_000, 5_200_000, UTM)
CODEC = FileCodec()
FRAMES = [item for item in CATALOGUE.values() if not isinstance(item, Raster)]
RASTERS = [item for item in CATALOGUE.values() if isinstance(item, Raster)]
SHAPES = {
    Geometry.POINT: shapely.Point(500_000.1, 5_200_000.2),
    Geometry.POINT_Z: shapely.Point(500_000.1, 5_200_000.2, 3.3),
    Geometry.LINE: shapely.LineString([(0, 0), (1, 2)]),
    Geometry.LINE_Z: shapely.LineString([(0, 0, 1), (1, 2, 3)]),
    Geometry.MULTILINE: shapely.MultiLineString([[(0, 0), (1, 2)]]),
    Geometry.POLYGON: shapely.box(0, 0, 3, 4),
    Geometry.MULTIPOLYGON: shapely.MultiPolygon([shapely.box(0, 0, 3, 4)]),
    Geometry.ANY: shapely.box(0, 0, 3, 4),
}


def sample(item, count=3, crs=UTM):
    """Rows that fit a declaration: every second value of a column that may be empty is."""
    data = {}
    for column in item.columns:
        allowed = column.values or ("n° 1", "n° 2", "n° 3")  # noqa: PD011
        low = 1.0 if column.minimum is None else column.minimum
        high = low + 5 if column.maximum is None else column.maximum
        numbers = [low + (high - low) * place / (count + 1) for place in range(count)]
        values = {
            "int": [int(low) + place for place in range(count)],
            "float": numbers,
            "bool": [place % 2 == 0 for place in range(count)],
            "text": [allowed[place % len(allowed)] for place in range(count)],
        }[column.dtype]
        if not column.required:
            values = [None if place % 2 else value for place, value in enumerate(values)]
        data[column.name] = pd.Series(values, dtype="object")
    if isinstance(item, Layer):
        return gpd.GeoDataFrame(data, geometry=[SHAPES[item.geometry]] * count, crs=crs)
    return pd.DataFrame(data)


@pytest.mark.parametrize("item", FRAMES, ids=lambda item: item.name)
@pytest.mark.parametrize("count", [0, 1, 3])
def test_every_declared_frame_comes_back_equal_and_repeats_its_bytes(tmp_path, item, count):
    frame = conformed(sample(item, count), item, UTM)
    assert check_frame(frame, item) == []
    CODEC.write(tmp_path / "first", item, frame, None)
    CODEC.write(tmp_path / "second", item, frame.copy(), None)
    assert (tmp_path / "first").read_bytes() == (tmp_path / "second").read_bytes()
    back = CODEC.read(tmp_path / "first", item)
    pd.testing.assert_frame_equal(pd.DataFrame(back), pd.DataFrame(frame))
    if isinstance(item, Layer):
        assert back.crs == frame.crs
    CODEC.write(tmp_path / "third", item, back, None)  # what was read is written the same
    assert (tmp_path / "third").read_bytes() == (tmp_path / "first").read_bytes()


@pytest.mark.parametrize("item", RASTERS, ids=lambda item: item.name)
def test_every_declared_raster_comes_back_equal_and_repeats_its_bytes(tmp_path, item):
    values = (np.random.default_rng(3).random(GRID.shape) * 200).astype(item.dtype)
    if item.step:  # stages hand on whole multiples of it
        values = stepped(values, item.step)
    values[:3, :4] = 0 if item.nodata is None else item.nodata
    CODEC.write(tmp_path / "first", item, values, GRID)
    CODEC.write(tmp_path / "second", item, values.copy(), GRID)
    assert (tmp_path / "first").read_bytes() == (tmp_path / "second").read_bytes()
    back = CODEC.read(tmp_path / "first", item)
    np.testing.assert_array_equal(back, values)
    assert back.dtype == values.dtype
    assert sorted(path.name for path in tmp_path.iterdir()) == ["first", "second"]


@given(
    values=st.lists(
        st.one_of(st.none(), st.floats(allow_nan=False, allow_infinity=True)), max_size=8
    ),
    texts=st.lists(st.one_of(st.none(), st.text(max_size=8)), min_size=8, max_size=8),
    whole=st.lists(st.one_of(st.none(), st.integers(-(2**63), 2**63 - 1)), min_size=8, max_size=8),
)
@settings(deadline=None, max_examples=60)
def test_any_value_of_a_table_survives_bit_for_bit(tmp_path_factory, values, texts, whole):
    item = Table(
        "t",
        "T",
        "A table.",
        (
            Column("a_m", "float", "A.", required=False),
            Column("b", "text", "B.", required=False),
            Column("c", "int", "C.", required=False),
        ),
    )
    count = len(values)
    frame = conformed(
        pd.DataFrame(
            {
                "a_m": pd.Series(values, dtype="object"),
                "b": pd.Series(texts[:count], dtype="object"),
                "c": pd.Series(whole[:count], dtype="object"),
            }
        ),
        item,
    )
    path = tmp_path_factory.mktemp("table") / "value"
    CODEC.write(path, item, frame, None)
    back = CODEC.read(path, item)
    pd.testing.assert_frame_equal(back, frame, check_exact=True)


def test_a_custom_crs_survives(tmp_path):
    crs = canonical(parsed(CUSTOM))
    item = next(item for item in FRAMES if isinstance(item, Layer))
    frame = conformed(sample(item, crs=crs), item, crs)
    CODEC.write(tmp_path / "value", item, frame, None)
    back = CODEC.read(tmp_path / "value", item)
    assert canonical(back.crs) == canonical(frame.crs)


def test_a_missing_folder_is_an_error_of_the_system(tmp_path):
    with pytest.raises(FileNotFoundError):
        CODEC.write(
            tmp_path / "none" / "x", raster("elevation"), np.zeros(GRID.shape, np.float32), GRID
        )


def test_values_that_break_their_declaration_are_refused():
    checked(raster("elevation"), np.zeros(GRID.shape, np.float32))
    with pytest.raises(InternalError, match="must be a float32 array, is float64"):
        checked(raster("elevation"), np.zeros(GRID.shape))
    item = CATALOGUE["contours"]
    with pytest.raises(InternalError, match="must be a frame, is list"):
        checked(item, [])
    checked(item, empty(item, UTM))
    frame = conformed(sample(item), item, UTM)
    frame.loc[1, "level_m"] = None
    with pytest.raises(InternalError, match="level_m is empty in row 1"):
        checked(item, frame)


def test_versions_name_what_results_depend_on():
    assert {"numba", "numpy", "GDAL", "GEOS", "PROJ"} <= set(versions())
    assert all(versions().values())
