"""A drone's surface with a house, a hedge and a wall in it, as people hand it over."""

import numpy as np
import shapely

HOUSE = shapely.box(60, 60, 72, 70)  # metres from the south-western corner
HEDGE = shapely.box(100, 40, 120, 42)
WALL = shapely.LineString([(30, 100), (130, 100)])


def cells(site, shape):
    west, south, east, north = (round(v) for v in shape.bounds)
    return (slice(site.size - north, site.size - south), slice(west, east))


def placed(site, shape):
    return shapely.transform(shape, lambda xy: xy + np.array([site.west, site.north - site.size]))


def test_a_surface_is_made_bare_as_far_as_the_plan_tells_and_the_rest_is_told(site):
    bare = site.dem.copy()
    for shape, height in ((HOUSE, 6.0), (HEDGE, 2.5)):
        at = cells(site, shape)
        site.dem[at] = bare[at].max() + height
    site.write_terrain()
    site.write_boundary()
    site.write_shapes("surfaces", [placed(site, HOUSE)], cover=["roof"], name=["House"])
    site.write_shapes("walls", [placed(site, WALL)], height_m=[0.5])
    site.tables = "[conditioning]\nbreach_depth_m = 1.0\n"
    done = site.run("--until", "raised", "--only", "rasters")
    assert done.code == 0
    elevation = site.raster("elevation")
    assert np.abs(elevation[cells(site, HOUSE)] - bare[cells(site, HOUSE)]).max() < 0.6
    wall_row = site.size - 100
    along = (
        elevation[wall_row - 1 : wall_row + 1, 31:129] - bare[wall_row - 1 : wall_row + 1, 31:129]
    )
    assert np.isclose(along.max(axis=0), 0.5, atol=1 / 4096 + 1e-5).all()
    left = site.layer("raised_areas")
    assert len(left) == 1
    assert left.geometry[0].intersection(placed(site, HEDGE)).area > 35
    assert left["flag"][0] == "not-ground"
    assert 2.5 <= left["height_m"][0] < 5.0  # 2.5 m over the highest ground beneath it, on a slope
    told = done.err
    assert "1 roof stands in the elevation" in told
    assert "breaching may let water through" in told
    assert "not bare ground" in told
