"""Coarse, rounded ground: what it cannot carry is withheld, with the survey that would."""

import numpy as np
import shapely
from rasterio.transform import from_origin

CELL_M = 30.0


def test_coarse_whole_metres_give_no_rows_stakes_or_ranges(site):
    site.size = 160 * CELL_M  # the same valley, thirty times as long, wide and high
    site.dem = np.round(140 + (site.dem - 140) * 5).astype(np.float32)
    site.write_terrain(transform=from_origin(site.west, site.north, CELL_M, CELL_M))
    middle = site.west + 80 * CELL_M
    spots = [(middle, site.north - row * CELL_M) for row in (4.5, 120.5)]
    site.write_shapes("intakes", map(shapely.Point, spots), name=["high", "low"])
    site.write_boundary(inset=300.0)
    pond = shapely.Point(80 * CELL_M, 70 * CELL_M).buffer(60)
    site.write_plan(drawn_ponds=[{"name": "Pond", "shape": pond}])
    site.tables = "[survey]\nrealisations = 10\n"
    done = site.run("--until", "stakes", "--no-draft")
    assert done.code == 0, done.err
    assert "raised to what cells of 30 m can tell" in done.err
    assert "drainage.snap_radius_m 60" in done.err
    assert "the survey cannot carry works" in done.err
    assert "levels are whole multiples of 1 m and levels lie 30 m apart" in done.err
    assert "a level at least every 8 m" in done.err
    assert len(site.layer("swale_lines")) == 0
    assert len(site.layer("stakes")) == 0
    done = site.run("--until", "ponds")
    assert "no places for ponds are proposed: levels are whole multiples" in done.err
    assert len(site.layer("pond_sites")) == 0
    done = site.run("--until", "keylines")
    assert len(site.layer("keylines")) == len(site.layer("cultivation_lines")) == 0
    done = site.run("--until", "catchments")
    assert done.code == 0, done.err
    intakes = site.layer("intakes").set_index("name")
    assert "no range is told for intake" in done.err
    small = intakes["area_m2"] < 50 * CELL_M**2
    assert small.any()
    assert intakes.loc[small, ["area_low_m2", "area_high_m2"]].isna().all(axis=None)
    assert intakes.loc[~small, ["area_low_m2", "area_high_m2"]].notna().all(axis=None)
