"""Shelter, wet ground, springs and depth of soil against closed forms and plain second ways."""

import numpy as np
import pytest
from scipy.ndimage import gaussian_filter, map_coordinates

from brimline._jit import threads
from brimline.drainage.springs import likely_springs, soil_wetness
from brimline.sun import shelter_deg
from brimline.terrain.soil_depth import soil_depth_m

FLAT = np.zeros((61, 61), np.float32)


@pytest.mark.interpreted
@pytest.mark.parametrize("bearing", [0, 90, 180, 270])
def test_a_barrier_shelters_by_its_height_over_the_distance(bearing):
    # Winstral et al. (2002): Sx is the greatest slope to the ground upwind; a wall of 6 m
    row, col = np.indices(FLAT.shape) - 30
    upwind = {0: -row, 90: col, 180: row, 270: -col}[bearing]
    surface = np.where(upwind == 10, np.float32(6), FLAT)
    found = shelter_deg(
        FLAT, surface, [(bearing, 2.0)], cell_m=2.0, reach_m=40, spread_deg=0, height_m=0
    )
    at = {0: (slice(None), 30), 180: (slice(None), 30)}.get(bearing, (30, slice(None)))
    along = upwind[at]
    away_m = 2.0 * (10 - along)
    seen = (away_m > 0) & (away_m <= 40)
    expected = np.where(seen, np.degrees(np.arctan2(6, np.where(seen, away_m, 1))), 0)
    behind = along != 10  # on the wall itself: all falls away, or level beyond the data
    np.testing.assert_allclose(found[at][behind], expected[behind], atol=1e-4)


def test_shelter_is_that_of_a_plain_march_over_the_bilinear_surface():
    """Winstral et al. (2002), equation 1, averaged over a sector; marched point by point."""
    rng = np.random.default_rng(11)
    ground = (30 * gaussian_filter(rng.standard_normal((80, 90)), 5)).astype(np.float32)
    ground[:4, :7] = np.nan
    winds = [(230.0, 3.0), (20.0, 1.0)]
    found = shelter_deg(ground, ground, winds, cell_m=1.0, reach_m=30, height_m=0.5)
    for row, col in rng.integers(5, 75, (25, 2)):
        total = 0.0
        for bearing, weight in winds:
            for turn in range(-15, 16, 5):
                a = np.radians(bearing + turn)
                lengthen = 1 / max(abs(np.sin(a)), abs(np.cos(a)))
                away = np.arange(1, 31) * lengthen
                at = [row - away * np.cos(a), col + away * np.sin(a)]
                inside = (at[0] >= 0) & (at[0] <= 79) & (at[1] >= 0) & (at[1] <= 89)
                level = map_coordinates(ground, at, order=1, mode="nearest").astype(float)
                rise = (level - ground[row, col] - 0.5) / away
                rise = np.where(inside & np.isfinite(rise), rise, 0.0)
                total += weight / 4 / 7 * np.degrees(np.arctan(rise.max()))
        assert found[row, col] == pytest.approx(total, abs=0.02)
    assert np.isnan(found[:4, :7]).all()
    assert np.isfinite(found[5:]).all()


def test_a_crest_is_exposed_and_a_hollow_sheltered_whatever_the_threads():
    col = np.indices((120, 120))[1]
    ground = (5 * np.cos(2 * np.pi * col / 60)).astype(np.float32)
    with threads(1):
        one = shelter_deg(ground, ground, cell_m=1.0, reach_m=25)
    with threads(2):
        two = shelter_deg(ground, ground, cell_m=1.0, reach_m=25)
    np.testing.assert_array_equal(one, two)
    assert one[60, 60] < 0 < 6 < one[60, 30]
    with pytest.raises(ValueError, match="weights"):
        shelter_deg(ground, ground, [(0, 0.0)], cell_m=1.0)


def test_springs_stand_where_a_slope_breaks():
    """O'Loughlin (1986) on planes: ground is wet where length above over slope passes the ratio.

    20 % for 200 m, then 4 %: x / 0.20 stays below 1 250 on the upper plane (250 m), and
    x / 0.04 passes it at once below the break.
    """
    row, _ = np.indices((400, 120))
    down = np.maximum(row - 200, 0) * 0.04 + np.minimum(row, 200) * 0.20
    dem = (100 - down).astype(np.float32)
    wet = soil_wetness(dem, cell_m=1.0, over_m=5.0)
    assert wet.index[100, 60] == pytest.approx(np.log(100 / 0.20), abs=0.1)
    assert wet.index[300, 60] == pytest.approx(np.log(300 / 0.04), abs=0.1)
    found = likely_springs(wet, np.log(1250.0), np.ones(dem.shape, bool), cell_m=1.0)
    assert found
    assert all(abs(one.row - 200) <= 10 for one in found)
    assert found[0].above_pct == pytest.approx(20, abs=3)
    assert found[0].below_pct == pytest.approx(4, abs=3)
    none = likely_springs(wet, 30.0, np.ones(dem.shape, bool), cell_m=1.0)
    assert none == []


def test_a_spring_stands_where_a_hollow_has_gathered_enough():
    """Half a cone, gathered to its middle at the edge of the data: area per width (R² − r²) / 2r.

    Over a slope of 10 % and a ratio of 3 000 it is wet within r = (√(600² + 4 R²) − 600) / 2.
    """
    row, col = np.indices((150, 301))
    r = np.hypot(150 - row, col - 150)
    dem = (0.10 * r).astype(np.float32)
    dem[r > 150] = np.nan
    wet = soil_wetness(dem, cell_m=1.0, over_m=5.0)
    expected = (np.sqrt(600**2 + 4 * 150**2) - 600) / 2
    ring = (r > expected + 8) & (r < 120) & (row < 135)
    assert (wet.index[ring] < np.log(3000)).mean() > 0.95
    assert (wet.index[(r < expected - 8) & (r > 10)] > np.log(3000)).mean() > 0.95


def test_depth_of_soil_falls_evenly_with_slope():
    # Saulnier, Beven & Obled (1997), formula from memory: most on the gentlest, least on steepest
    slope = np.linspace(0.0, 0.5, 101, dtype=np.float32)[None]
    found = soil_depth_m(slope, np.ones(slope.shape, bool), least_m=0.2, most_m=1.2)
    gentle, steep = np.quantile(slope, (0.02, 0.98))
    assert found[0, 50] == pytest.approx(1.2 - (0.25 - gentle) / (steep - gentle))
    assert found.max() == pytest.approx(1.2)
    assert found.min() == pytest.approx(0.2)
    assert np.isnan(
        soil_depth_m(np.float32([[np.nan]]), np.ones((1, 1), bool), least_m=0, most_m=1)
    )
    with pytest.raises(ValueError, match="in order"):
        soil_depth_m(slope, slope > 0, least_m=2, most_m=1)
