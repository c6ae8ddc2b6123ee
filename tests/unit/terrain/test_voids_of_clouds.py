"""How far levels are from points, and what they may be off there."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.spatial import KDTree

from brimline.terrain.points import error_of_levels_m, void_distance_m, void_errors


@pytest.mark.parametrize("share", [0.3, 0.01, 0.0002])
def test_the_distance_to_points_is_that_of_a_search_over_all_of_them(share: float) -> None:
    rng = np.random.default_rng(5)
    points = (rng.random((1300, 60)) < share).astype(np.int32)  # three bands, wide voids
    points[700, 10] = 1
    known = rng.random(points.shape) < 0.9
    found = void_distance_m(points, known, cell_m=0.5)
    apart, _ = KDTree(np.argwhere(points > 0)).query(np.argwhere(known))
    assert np.allclose(found[known], 0.5 * apart, rtol=1e-6)
    assert np.isnan(found[~known]).all()


def test_the_error_in_a_void_is_that_of_a_chord_over_a_bend() -> None:
    # level = x² / 200 along the rows: the chord over 2 d lies d² / 200 off its middle; columns
    # are level, so that the root mean square of both ways is 1 / sqrt 2 of it
    x = np.arange(300.0)
    dem = np.tile(x**2 / 200, (300, 1)).astype(np.float32)
    half_m, error_m = void_errors(dem, np.ones(dem.shape, np.int32), cell_m=1.0)
    assert half_m[:4].tolist() == [0.0, 1.0, 2.0, 3.0]
    assert np.allclose(error_m, half_m**2 / 200 / np.sqrt(2), rtol=2e-2, atol=1e-5)
    void_m = np.array([[0.0, 2.0, np.nan, 2 * half_m[-1]]], dtype=np.float32)
    levels_m = error_of_levels_m(void_m, half_m, error_m, point_error_m=0.1)
    assert levels_m[0, 0] == pytest.approx(0.1)
    assert levels_m[0, 1] == pytest.approx(np.hypot(0.1, 4 / 200 / np.sqrt(2)), rel=1e-3)
    assert np.isnan(levels_m[0, 2])
    assert levels_m[0, 3] == pytest.approx(np.hypot(0.1, 2 * error_m[-1]), rel=1e-3)


def test_the_error_told_for_a_void_is_about_what_levels_are_off_in_one() -> None:
    """Points are taken out of rough ground; what is drawn across is held against the ground."""
    from scipy.interpolate import LinearNDInterpolator
    from scipy.ndimage import gaussian_filter

    rng = np.random.default_rng(8)
    dem = (4 * gaussian_filter(rng.normal(size=(200, 200)), 6)).astype(np.float32)
    points = np.ones(dem.shape, np.int32)
    for row in range(10, 190, 25):
        for col in range(10, 190, 25):
            points[row : row + 9, col : col + 9] = 0
    at = points > 0
    surface = LinearNDInterpolator(np.argwhere(at), dem[at])
    drawn = dem.copy()
    drawn[~at] = surface(np.argwhere(~at))
    void_m = void_distance_m(points, np.isfinite(dem), cell_m=1.0)
    told = error_of_levels_m(void_m, *void_errors(drawn, points, cell_m=1.0), point_error_m=0.0)
    middle = void_m >= 3
    off = float(np.sqrt(np.mean((drawn - dem)[middle] ** 2)))
    said = float(np.sqrt(np.mean(told[middle] ** 2)))
    assert 0.7 * off < said < 2 * off
