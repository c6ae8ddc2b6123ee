"""What a sheet is drawn from is told whole: the same is drawn once, anything else anew."""

import geopandas as gpd
import pytest
import shapely

from brimline.grid import Grid
from brimline.report.plates.frame import MapFrame
from brimline.report.plates.nearby import layers_near
from brimline.report.results import Results


class Kept:
    """Keeps drawings in a dictionary."""

    def __init__(self):
        self.drawings, self.raster = {}, "a"

    def told(self, raster):
        return f"{raster} {self.raster}"

    def recall(self, of, draw):
        return self.drawings.setdefault(repr(of), draw() if repr(of) not in self.drawings else None)


def drawn(part, name):
    assert part.memory is None
    assert not part.facts
    return f"{name} {sorted(part.frames)} {len(part.frames['elements'])}"


@pytest.fixture
def results():
    boxes = [shapely.box(x, 0, x + 5, 5) for x in (0, 40, 900)]
    elements = gpd.GeoDataFrame(
        {"element_id": ["a", "b", "c"], "kind": "pond", "peak_level_m": [1.0, 2.0, 3.0]},
        geometry=boxes,
        crs="EPSG:32633",
    )
    grid = Grid(10, 10, 1.0, 0.0, 10.0, "EPSG:32633")
    return Results("Site", "metric", grid, {"elements": elements}, {}, {}, memory=Kept())


def near(results):
    return layers_near(results, MapFrame(0, 0, 60, 40), ("elements", "overflows"))


def test_only_rows_near_and_columns_drawn_by_are_shown(results):
    shown = near(results)
    assert list(shown) == ["elements"]
    assert list(shown["elements"]["element_id"]) == ["a", "b"]
    assert "peak_level_m" not in shown["elements"]


def test_the_same_is_drawn_once(results):
    def draw():
        return results.drawn(drawn, "a", frames=near(results), rasters=("hillshade",))

    assert draw() == draw() == "a ['elements'] 2"
    assert len(results.memory.drawings) == 1
    results.frames["elements"].loc[2, "geometry"] = shapely.box(800, 0, 805, 5)  # far
    results.frames["elements"].loc[0, "peak_level_m"] = 1.5  # not drawn by
    draw()
    assert len(results.memory.drawings) == 1
    results.frames["elements"].loc[1, "geometry"] = shapely.box(41, 0, 46, 5)
    draw()
    assert len(results.memory.drawings) == 2
    results.memory.raster = "b"
    draw()
    assert len(results.memory.drawings) == 3
