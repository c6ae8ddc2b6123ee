"""A slope that falls south, and all that a design takes beside what is drawn on it."""

from types import SimpleNamespace

import numpy as np
import pytest

from brimline.config import Works
from brimline.design import SurveyedGround, standing_ground
from brimline.drainage.flow import accumulate, flow_directions
from brimline.grid import Grid
from brimline.inputs.rules import design_rules
from brimline.rainfall import Storm, uniform

GRID = Grid(80, 60, 1.0, 0.0, 80.0, "EPSG:32633")


@pytest.fixture(scope="session")
def slope():
    """100 m high at the northern edge, falling 8 cm a metre, with a gentle valley in the middle."""
    x, y = GRID.xy(*np.indices(GRID.shape))
    dem = (100 - 0.08 * (80 - y) + 0.0005 * (x - 30) ** 2).astype(np.float32)
    directions = flow_directions(dem)
    area = accumulate(directions) * GRID.cell_area_m2
    steep = np.full(GRID.shape, 8.0, dtype=np.float32)
    return SimpleNamespace(
        dem=dem,
        grid=GRID,
        standing=standing_ground(dem, steep, GRID, ()),
        survey=SurveyedGround(GRID, dem, directions, area),
        storms=[Storm("10-year", 300.0, uniform(60.0, 6.0, step_s=300.0), 10.0)],
        rules=design_rules(Works(), 0.05),
    )
