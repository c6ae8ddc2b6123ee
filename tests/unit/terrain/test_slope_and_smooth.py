"""Slope, curvature, shade, smoothing and voids on surfaces with exact answers."""

import numpy as np
import pytest

from brimline.errors import GridError
from brimline.terrain.slope import contour_curvature, gradient, hillshade, slope_pct
from brimline.terrain.smooth import smoothed
from brimline.terrain.voids import span_voids


def plane(shape=(7, 9), east=0.03, north=-0.04, cell_m=2.0):
    row, col = np.indices(shape)
    return (100 + east * cell_m * col - north * cell_m * row).astype(np.float32)


@pytest.mark.interpreted
def test_plane_has_its_slope_up_to_the_edge():
    east, north = gradient(plane(), cell_m=2.0)
    np.testing.assert_allclose(east, 0.03, atol=1e-5)
    np.testing.assert_allclose(north, -0.04, atol=1e-5)
    np.testing.assert_allclose(slope_pct(plane(), cell_m=2.0), 5.0, atol=1e-3)


@pytest.mark.interpreted
def test_slope_beside_nodata_is_mirrored_and_nodata_stays():
    dem = plane()
    dem[3, 4] = np.nan
    slope = slope_pct(dem, cell_m=2.0)
    assert np.isnan(slope[3, 4])
    assert np.isfinite(slope).sum() == dem.size - 1
    np.testing.assert_allclose(slope[np.isfinite(slope)], 5.0, atol=1e-3)


@pytest.mark.interpreted
def test_horn_weights_on_a_hand_worked_window():
    # Horn (1981), over the window a b c / d e f / g h i:
    # east = ((c + 2f + i) - (a + 2d + g)) / 8, north = ((a + 2b + c) - (g + 2h + i)) / 8
    dem = np.array([[1, 2, 4], [2, 5, 9], [1, 0, 3]], dtype=np.float32)
    east, north = gradient(dem, cell_m=1.0)
    assert east[1, 1] == pytest.approx(((4 + 18 + 3) - (1 + 4 + 1)) / 8)
    assert north[1, 1] == pytest.approx(((1 + 4 + 4) - (1 + 0 + 3)) / 8)


@pytest.mark.interpreted
def test_curvature_of_a_cone_is_minus_one_over_slant_radius():
    # On the cone z = -s r the surface bends along its contours by -s / (r sqrt(1 + s²)).
    row, col = np.indices((41, 41)) - 20.0
    radius = np.hypot(row, col)
    bend = contour_curvature((200 - 0.2 * radius).astype(np.float32), cell_m=1.0)
    ring = (radius > 12) & (radius < 18)
    expected = -0.2 / (radius[ring] * np.sqrt(1 + 0.2**2))
    np.testing.assert_allclose(bend[ring], expected, rtol=0.02, atol=1e-4)


def test_many_rows_are_worked_block_by_block_as_one():
    rng = np.random.default_rng(3)
    dem = rng.normal(100.0, 0.5, (700, 6)).astype(np.float32)
    bend, shade = contour_curvature(dem, cell_m=1.0), hillshade(dem, cell_m=1.0)
    for first in range(0, 700, 175):  # parts that begin elsewhere, with a row around each
        top, last = max(first - 1, 0), first + 175
        part = dem[top : last + 1]
        np.testing.assert_array_equal(
            bend[first:last], contour_curvature(part, cell_m=1.0)[first - top :][:175]
        )
        np.testing.assert_array_equal(
            shade[first:last], hillshade(part, cell_m=1.0)[first - top :][:175]
        )


def test_exaggerated_shade_is_that_of_higher_ground():
    rng = np.random.default_rng(4)
    dem = rng.normal(0.0, 0.3, (20, 20)).astype(np.float32)
    told = hillshade(dem, cell_m=1.0, exaggeration=4.0).astype(int)
    higher = hillshade(4.0 * dem, cell_m=1.0).astype(int)
    assert np.abs(told - higher).max() <= 1
    assert np.abs(told - hillshade(dem, cell_m=1.0)).max() > 50


def test_hillshade_follows_lambert_on_a_plane_facing_the_light():
    # Facing the light at 45° the normal of a 100 % slope points straight at it: full light.
    row, col = np.indices((5, 5))
    toward_north_west = (row + col) / np.sqrt(2)
    shade = hillshade(toward_north_west.astype(np.float32), cell_m=1.0)
    assert (shade == 255).all()
    flat = hillshade(np.zeros((4, 4), dtype=np.float32), cell_m=1.0)
    assert (flat == 1 + round(254 * np.sin(np.pi / 4))).all()


def test_smoothing_keeps_a_plane_with_holes_and_edges():
    dem = plane((40, 50))
    dem[10:14, 20:23] = np.nan
    smooth = smoothed(dem, cell_m=2.0, sigma_m=5.0)
    np.testing.assert_array_equal(np.isnan(smooth), np.isnan(dem))
    np.testing.assert_allclose(smooth[np.isfinite(dem)], dem[np.isfinite(dem)], atol=2e-4)


def test_smoothing_takes_off_white_noise_as_the_bell_says():
    # Variance left by a Gaussian bell on white noise: 1 / (4 pi sigma²) in cells (standard result).
    rng = np.random.default_rng(3)
    noise = rng.normal(0, 1, (400, 400)).astype(np.float32)
    left = smoothed(noise, cell_m=1.0, sigma_m=3.0)[20:-20, 20:-20]
    assert left.std() == pytest.approx(1 / np.sqrt(4 * np.pi * 9), rel=0.05)


def test_membrane_is_exact_on_a_plane_and_large_holes_stay():
    dem = plane((60, 60), cell_m=1.0)
    truth = dem.copy()
    dem[5:9, 5:9] = np.nan
    dem[20:50, 20:50] = np.nan
    dem[0:3, 40:44] = np.nan  # reaches the edge: outside, not a hole
    spanned = span_voids(dem, cell_m=1.0, max_area_m2=100)
    assert (spanned.holes, spanned.spanned_cells, spanned.left_cells) == (1, 16, 900)
    np.testing.assert_allclose(spanned.surface[5:9, 5:9], truth[5:9, 5:9], atol=1e-4)
    assert np.isnan(spanned.surface[20:50, 20:50]).all()
    assert np.isnan(spanned.surface[0:3, 40:44]).all()


@pytest.mark.parametrize(
    "bad", [np.zeros(4, np.float32), np.zeros((2, 2), int), np.full((2, 2), np.nan)]
)
def test_unusable_arrays_are_refused(bad):
    with pytest.raises(GridError, match="dem"):
        slope_pct(bad, cell_m=1.0)
