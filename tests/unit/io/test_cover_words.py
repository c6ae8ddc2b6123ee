"""A word for a ground cover that no table knows is refused on reading, with the known ones."""

import geopandas as gpd
import shapely

from brimline.inputs.drawn import layer_problems
from brimline.io.vectors import VectorSource
from brimline.rainfall.covers import COVERS


def told(tmp_path, word):
    path = tmp_path / "surfaces.gpkg"
    rows = gpd.GeoDataFrame({"cover": [word]}, geometry=[shapely.box(0, 0, 9, 9)], crs="EPSG:32633")
    rows.to_file(path, layer="surfaces")
    return [
        problem.message for problem in layer_problems({"surfaces": VectorSource(path, "surfaces")})
    ]


def test_every_known_cover_is_taken(tmp_path):
    for one in COVERS:
        assert told(tmp_path, one.name.upper()) == []


def test_an_unknown_cover_is_told_with_the_known_ones(tmp_path):
    (message,) = told(tmp_path, "lawnish")
    assert message.startswith('cover is "lawnish"; allowed are ')
    assert "pasture" in message
