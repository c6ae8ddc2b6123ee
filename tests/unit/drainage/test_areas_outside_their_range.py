"""An intake whose area lies outside its own range is flagged, at either end; one within is not."""

import numpy as np
import pytest

from brimline.drainage.catchments import subcatchments
from brimline.drainage.catchments.rows import intake_grounds
from brimline.drainage.flow import flow_directions
from brimline.grid import Grid

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
    (told,) = intake_grounds(found, dem, GRID, ranges_m2=[(low_m2, high_m2)])
    assert told.area_m2 == AREA_M2
    assert ("outside-range" in told.flags) == flagged
    (alone,) = intake_grounds(found, dem, GRID)
    assert "outside-range" not in alone.flags
