"""An intake whose area lies outside its own range is flagged, at either end; one within is not."""

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest

from brimline.drainage.catchments import subcatchments
from brimline.drainage.flow import flow_directions
from brimline.grid import Grid
from brimline.stages.catchments import _intakes

GRID = Grid(9, 9, 1.0, 0.0, 9.0, "EPSG:32633")
AREA_M2 = 5.0  # what drains to the fifth cell of a column that runs south


@pytest.mark.parametrize(
    ("low_m2", "high_m2", "flagged"),
    [(4.0, 6.0, False), (5.0, 5.0, False), (5.1, 9.0, True), (1.0, 4.9, True),
     (float("nan"), float("nan"), False)],
)  # fmt: skip
def test_an_area_outside_its_range_is_flagged(low_m2, high_m2, flagged):
    row, _ = np.indices(GRID.shape)
    dem = (20.0 - row).astype(np.float32)
    found = subcatchments(flow_directions(dem), np.array([[4, 4]]))
    snapped = gpd.GeoDataFrame(
        {"intake_id": [1], "name": ["one"], "snap_m": [0.0], "flag": [""]},
        geometry=gpd.points_from_xy(*GRID.xy(np.array([4]), np.array([4]))), crs=GRID.crs,
    )  # fmt: skip
    certain = pd.DataFrame({"area_low_m2": [low_m2], "area_high_m2": [high_m2]})
    told = _intakes(snapped, found, certain, dem.ravel(), GRID)
    assert told["area_m2"].iloc[0] == AREA_M2
    flags = (told["flag"].iloc[0] or "").split(";")
    assert ("outside-range" in flags) == flagged
    assert "outside-range" not in (
        _intakes(snapped, found, None, dem.ravel(), GRID)["flag"].iloc[0] or ""
    )
