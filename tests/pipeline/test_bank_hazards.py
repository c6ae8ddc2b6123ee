"""A pond above a house: how high its bank is as designed, and where its water would run."""

import numpy as np
import pytest
import rasterio
import shapely

pytestmark = pytest.mark.usefixtures("stages_kept")

POND = shapely.Point(80, 110).buffer(11)
TABLES = "[storm]\ndepth_mm = 70\nduration_h = 3\n[hazard]\nfollow_m = 200\n"


@pytest.fixture
def screened(site):
    """The pond's row, and the site that it lies on."""

    def run(*houses):
        corner = np.array([site.west, site.north - site.size])
        shapes = [shapely.transform(house, lambda xy: xy + corner) for house in houses]
        names = [f"House {place}" for place in range(len(shapes))]
        site.write_shapes("keep_out", shapes, kind=["building"] * len(shapes), name=names)
        site.tables = TABLES
        site.write_plan(
            drawn_ponds=[{"name": "Pond", "depth_m": 1.2, "shape": POND}],
            discharge_points=[{"name": "Brook", "shape": shapely.Point(80, 18)}],
        )
        done = site.run("--until", "hazards", "--only", "rasters")
        assert done.code == 0, done.err
        return site.layer("bank_hazards").set_index("element_id").loc["Pond"], done

    return run


def test_a_house_in_the_way_of_a_ponds_water_is_flagged(site, screened):
    below, beside = shapely.box(77, 60, 83, 66), shapely.box(20, 60, 26, 66)
    row, done = screened(beside, below)
    assert row["building_id"] == "House 1"  # the one on the side of the valley is out of reach
    assert row["buildings"] == 1
    assert 15 < row["building_m"] < 60
    assert row["rating_m2_s"] > 0.75
    assert "harm-below" in row["flag"].split(";")
    assert "House 1" in row["notes"]
    assert row["leaves_m"] > row["building_m"]
    assert "bank asks for care: Pond" in done.err
    # measured another way: the crest over the lowest ground that the designed surface heaps over
    with rasterio.open(site.results / "rasters" / "design_surface.tif") as design:
        heaped = design.read(1) - site.dem > 0.1
    elements = site.layer("elements").set_index("element_id").loc["Pond"]
    highest = elements["crest_level_m"] - site.dem[heaped].min()
    assert row["height_m"] == pytest.approx(highest, abs=0.25)  # the toe's last cell is thin
    assert row["height_m"] == pytest.approx(elements["embankment_height_m"])
    assert row["height_volume_m4"] == pytest.approx(row["height_m"] * row["held_m3"])
