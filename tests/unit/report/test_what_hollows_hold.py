"""A cubic metre of a hollow counts once, and only inside the boundary."""

from types import SimpleNamespace

import geopandas as gpd
import pytest
import shapely

from brimline.report.numbers import _hollows


def test_inner_hollows_and_ground_outside_do_not_count():
    hollows = gpd.GeoDataFrame(
        {"parent_id": [0, 1, 0], "volume_m3": [100.0, 40.0, 10.0]},
        geometry=[shapely.box(0, 0, 10, 10), shapely.box(2, 2, 4, 4), shapely.box(50, 50, 60, 60)],
    )
    boundary = gpd.GeoDataFrame({"name": ["site"]}, geometry=[shapely.box(0, 0, 5, 20)])
    layers = {"hollows": hollows, "boundary": boundary}
    (figure,) = _hollows(SimpleNamespace(layer=layers.get))
    assert figure.value == pytest.approx(50.0)  # half of the first, nothing of the others
    assert figure.note.startswith("1 hollow ")
