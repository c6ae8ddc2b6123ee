"""The contours that a drawing carries."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import shapely

from brimline.publish.stakes import thinned


def rings(step_m):
    angle = np.append(np.arange(0, 2 * np.pi, step_m / 100), 0)
    circle = np.column_stack([np.cos(angle), np.sin(angle)])
    lines = [shapely.MultiLineString([circle * radius]) for radius in (20, 60, 100, 400)]
    return gpd.GeoDataFrame({"level_m": [1.0, 2, 3, 4]}, geometry=lines, crs="EPSG:32633")


def test_contours_keep_to_the_tolerance_that_the_drawing_tells():
    rows = rings(0.5)
    declared, found = thinned(rows, [], 1.0)
    assert declared.title.endswith("no line is moved by more than 0.1 m")
    apart = shapely.hausdorff_distance(rows.geometry.to_numpy(), found.geometry.to_numpy())
    assert (apart <= 0.1 + 1e-9).all()
    before, after = (shapely.get_num_coordinates(one.geometry).sum() for one in (rows, found))
    assert after < before / 5


def test_contours_end_around_the_site():
    site = gpd.GeoDataFrame(geometry=[shapely.box(-30, -30, 30, 30)], crs="EPSG:32633")
    _, found = thinned(rings(0.5), [site], 1.0)
    assert found["level_m"].tolist() == [1, 2, 3]  # 50 m around; the ring of 400 m is beyond
    assert np.abs(found.total_bounds).max() == 80


def test_too_many_corners_are_thinned_further_and_told(monkeypatch):
    monkeypatch.setattr("brimline.publish.stakes._MOST_CORNERS", 250)
    declared, found = thinned(rings(0.5), [], 1.0)
    assert declared.title.endswith("0.4 m")
    assert shapely.get_num_coordinates(found.geometry).sum() <= 250
