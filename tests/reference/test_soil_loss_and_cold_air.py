"""Soil loss against worked values of published formulas; cold air against a plain second way."""

import numpy as np
import pytest
from scipy import ndimage

from brimline.drainage.flow import accumulate, flow_directions
from brimline.drainage.flow.spreading import mfd_accumulation
from brimline.drainage.soil_loss import erosivity_of, ls_factor, settled, slope_factor
from brimline.drainage.soil_loss.loss import length_exponent
from brimline.sun.cold_air import cold_pools, looked_m, low_ground
from brimline.terrain.conditioning import fill


@pytest.mark.parametrize(
    ("slope", "length_m", "expected"),
    [(0.09, 22.13, 1.006), (0.05, 50, 0.789), (0.10, 60.96, 1.980), (0.20, 100, 7.06),
     (0.02, 30, 0.265)],
)  # fmt: skip
def test_ls_of_a_uniform_slope(slope, length_m, expected):
    """McCool et al. (1987) and AH-703, equations 4-1 to 4-5, worked by hand.

    The mean of Desmet & Govers' factor down a plane is that of the whole slope (an identity).
    """
    cells = 200
    cell_m = length_m / cells
    area = np.tile((np.arange(cells) + 1.0)[:, None] * cell_m**2, (1, 3))
    east, north = np.zeros((cells, 3), np.float32), np.full((cells, 3), slope, np.float32)
    found = ls_factor(area, east, north, cell_m=cell_m).mean()
    assert found == pytest.approx(expected, rel=0.004)


@pytest.mark.parametrize(
    ("slope_pct", "length_ft", "printed"),
    [(0.5, 200, 0.09), (1, 300, 0.17), (2, 100, 0.27), (2, 1000, 0.47), (3, 400, 0.60),
     (4, 250, 0.72), (5, 50, 0.49), (5, 100, 0.65), (5, 1000, 1.63), (6, 200, 1.05),
     (8, 100, 1.04), (8, 600, 2.47), (10, 75, 1.19), (10, 100, 1.38), (10, 1000, 4.56),
     (12, 50, 1.23), (12, 600, 4.75), (14, 100, 2.19)],
)  # fmt: skip
def test_ls_is_that_of_the_printed_table(slope_pct, length_ft, printed):
    """AH-703 (Renard et al. 1997), table 4-2, moderate ratio of rill to interrill erosion.

    As a university's page prints it (read).
    """
    cells = 100
    cell_m = length_ft * 0.3048 / cells
    area = np.tile((np.arange(cells) + 1.0)[:, None] * cell_m**2, (1, 3))
    flat = np.zeros((cells, 3), np.float32)
    found = ls_factor(
        area, flat, flat + np.float32(slope_pct / 100), cell_m=cell_m, most_length_m=305
    ).mean()
    assert found == pytest.approx(printed, abs=0.006, rel=0.012)


@pytest.mark.parametrize(
    ("cover", "tons_per_acre"), [(0.90, 100.7), (0.45, 50.4), (0.10, 11.2), (0.06, 6.7)]
)
def test_soil_loss_of_a_worked_example(cover, tons_per_acre):
    """A building site of 12 % over 150 ft: R 140, K 0.37 (customary), P 1; a design page, read.

    It takes the exponent of length as 0.5, LS 2.160; by AH-703, which we follow, it is 0.546.
    """
    cells, feet, slope = 150, 0.3048, 0.12
    area = np.tile((np.arange(cells) + 1.0)[:, None] * feet**2, (1, 3))
    flat = np.zeros((cells, 3), np.float32)
    ls = ls_factor(area, flat, flat + np.float32(slope), cell_m=feet).mean()
    of_page = (150 / 72.6) ** (0.5 - 0.5458)
    found = 140 * 17.02 * 0.37 * 0.1317 * ls * of_page * cover  # t/(ha y), AH-703, appendix A
    assert found / 2.2417 == pytest.approx(tons_per_acre, rel=0.006)
    assert length_exponent(np.array([slope]))[0] == pytest.approx(0.5458, abs=1e-3)


@pytest.mark.parametrize(
    ("segments", "printed"),
    [(2, (0.35, 0.65)), (3, (0.19, 0.35, 0.46)), (4, (0.12, 0.23, 0.30, 0.35)),
     (5, (0.09, 0.16, 0.21, 0.25, 0.28))],
)  # fmt: skip
def test_equal_parts_of_a_slope_lose_the_printed_shares(segments, printed):
    """AH-537 (Wischmeier & Smith 1978), table 4, exponent 0.5 (values from memory)."""
    cells = 60 * segments
    area = np.tile((np.arange(cells) + 1.0)[:, None], (1, 3))
    flat = np.zeros((cells, 3), np.float32)
    slope = np.float32(0.0905)  # at which AH-703's exponent is 0.5
    assert length_exponent(np.array([float(slope)]))[0] == pytest.approx(0.5, abs=0.003)
    ls = ls_factor(area, flat, flat + slope, cell_m=1.0, most_length_m=305)[:, 0]
    shares = ls.reshape(segments, -1).sum(axis=1) / ls.sum()
    np.testing.assert_allclose(shares, printed, atol=0.006)


def test_a_slope_across_the_cells_is_as_long_as_it_is():
    # towards a corner a cell's contour is √2 wide: Desmet & Govers' x
    one = ls_factor(np.array([[400.0]]), np.float32([[0.1]]), np.float32([[0.0]]), cell_m=1.0)
    half = np.float32([[0.1 / np.sqrt(2)]])
    turned = ls_factor(np.array([[400.0]]), half, half, cell_m=1.0)
    beta = (0.0995 / 0.0896) / (3 * 0.0995**0.8 + 0.56)
    assert turned[0, 0] / one[0, 0] == pytest.approx(np.sqrt(2) ** -(beta / (1 + beta)), rel=1e-3)


def test_steepness_joins_at_nine_percent_and_long_slopes_stop_growing():
    low, high = slope_factor(np.array([0.0899999, 0.0900001]))
    assert abs(low - high) < 0.03
    rise = np.float32([[0.0, 0.0]]), np.float32([[0.1, 0.1]])
    found = ls_factor(np.array([[301.0, 5000.0]]), *rise, cell_m=1.0)
    assert found[0, 0] == found[0, 1]


def test_erosivity_from_rain():
    # Renard & Freimund (1994), values from memory: the two branches meet near 850 mm
    assert erosivity_of(600) == pytest.approx(0.0483 * 600**1.61)
    assert erosivity_of(849.9) == pytest.approx(erosivity_of(850), rel=0.03)


@pytest.mark.interpreted
def test_soil_settles_where_water_carries_less_and_none_is_made():
    directions = np.full((1, 6), 0, np.uint8)  # eastwards
    directions[0, 5] = 8
    area, surface = np.arange(1.0, 7.0)[None], np.arange(6.0, 0.0, -1, dtype=np.float32)[None]
    loss = np.float32([[2, 2, 2, 0, 0, 0]])
    capacity = np.float32([[9, 9, 9, 4, np.nan, 1]])
    found = settled(surface, directions, area, loss, capacity)
    np.testing.assert_allclose(found, [[0, 0, 0, 2, 0, 3]])  # 6 arrive, 4 go on, 1 leaves


@pytest.mark.interpreted
def test_soil_is_carried_as_water_is_shared():
    # where water can carry everything, what arrives anywhere is what that water would bring
    rng = np.random.default_rng(5)
    rough = ndimage.gaussian_filter(rng.standard_normal((12, 14)), 2).astype(np.float32)
    surface = fill(rough)
    codes, loss = flow_directions(surface), rng.random(rough.shape).astype(np.float32)
    most = np.full(rough.shape, np.inf, np.float32)
    most[5, 6] = 0.0  # all of it settles there
    found = settled(surface, codes, accumulate(codes), loss, most)
    assert np.count_nonzero(found) == 1
    assert found[5, 6] == pytest.approx(mfd_accumulation(surface, loss)[5, 6], rel=1e-6)


def test_rank_is_that_of_a_plain_second_way():
    rng = np.random.default_rng(2)
    dem = ndimage.gaussian_filter(rng.standard_normal((40, 50)), 4).astype(np.float32) * 50
    rank, relief = low_ground(dem, cell_m=1.0, radius_m=8.0)
    reach = np.hypot(*np.mgrid[-8:9, -8:9]) <= 8
    wide = np.pad(dem, 8, constant_values=np.nan)
    windows = np.lib.stride_tricks.sliding_window_view(wide, (17, 17))[..., reach]
    with np.errstate(invalid="ignore"):
        lower = (windows < dem[..., None]).sum(axis=-1)
    expected = lower / np.isfinite(windows).sum(axis=-1)
    np.testing.assert_allclose(rank, expected, atol=1e-6)
    np.testing.assert_allclose(relief, np.nanmax(windows, -1) - np.nanmin(windows, -1), rtol=1e-5)


def test_pools_are_those_of_the_definition_written_out():
    """Lundquist, Pepin & Rochford (2008): low percentile, below 30°, not convex; cell by cell."""
    rng = np.random.default_rng(6)
    dem = (ndimage.gaussian_filter(rng.standard_normal((50, 60)), 4) * 60).astype(np.float32)
    curvature = ndimage.gaussian_filter(rng.normal(0, 0.05, dem.shape), 2).astype(np.float32)
    slope = (100 * np.hypot(*np.gradient(dem))).astype(np.float32)
    found = cold_pools(dem, curvature, slope, cell_m=1.0, radius_m=9.0, least_relief_m=4.0)
    for row, col in rng.integers(0, 50, (200, 2)):
        around = [
            dem[r, c]
            for r in range(max(0, row - 9), min(50, row + 10))
            for c in range(max(0, col - 9), min(60, col + 10))
            if (r - row) ** 2 + (c - col) ** 2 <= 81
        ]
        low = sum(z < dem[row, col] for z in around) / len(around) <= 0.2
        gentle = np.degrees(np.arctan(slope[row, col] / 100)) < 30
        bulges = curvature[row, col] < -1 / 90
        expected = low and gentle and not bulges and max(around) - min(around) >= 4
        assert found[row, col] == expected


def test_a_narrow_survey_is_ranked_within_itself_and_says_what_it_cannot_tell():
    _, col = np.indices((60, 60))
    dem = (np.abs(col - 30) * 0.3).astype(np.float32)  # 9 m of relief
    slope, flat = np.full_like(dem, 30.0), np.zeros_like(dem)
    assert looked_m(dem.shape, cell_m=1.0, radius_m=300.0) == 30.0
    assert looked_m((900, 900), cell_m=1.0, radius_m=300.0) == 300.0
    wide = cold_pools(dem, flat, slope, cell_m=1.0, radius_m=300.0)
    np.testing.assert_array_equal(wide, cold_pools(dem, flat, slope, cell_m=1.0, radius_m=30.0))
    assert (wide[20:40, 28:33] == 1).all()
    told = cold_pools(dem / 3, flat, slope, cell_m=1.0, radius_m=300.0)  # 3 m: nothing to go by
    assert (told == 255).all()
    assert (cold_pools(dem / 3, flat, slope, cell_m=1.0, radius_m=30.0) == 0).all()


def test_cold_air_pools_on_the_valley_floor_and_not_on_the_flank():
    _, col = np.indices((120, 120))
    dem = (np.maximum(np.abs(col - 60) - 10, 0) * 0.3).astype(np.float32)
    dem[0, 0] = np.nan
    slope = 100 * np.hypot(*np.gradient(np.nan_to_num(dem))).astype(np.float32)
    flat = np.zeros_like(dem)
    pools = cold_pools(dem, flat, slope, cell_m=1.0, radius_m=40.0)
    assert pools[60, 55:65].all()
    assert not pools[60, :40].any()
    assert pools[0, 0] == 255
    level = np.zeros_like(dem)
    assert not cold_pools(level, flat, flat, cell_m=1.0, radius_m=40.0).any()  # no relief
    convex = np.full_like(dem, -0.1)
    assert not (cold_pools(dem, convex, slope, cell_m=1.0, radius_m=40.0) == 1).any()
