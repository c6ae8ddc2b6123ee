"""Ranges on parts of the ground and on coarser cells, against the whole ground at its own cells."""

import numpy as np
import pytest

from brimline.drainage.catchments import subcatchments
from brimline.drainage.certainty import Patch, catchment_chance, catchment_ranges
from brimline.drainage.flow import accumulate, flow_directions
from brimline.terrain.conditioning import fill


def valleys(rows=240, cols=300, seed=5):
    """Three valleys running south, of unlike width, on rough ground."""
    random = np.random.default_rng(seed)
    row, col = np.indices((rows, cols))
    across = np.min([np.abs(col - at) for at in (60, 170, 250)], axis=0)
    rough = random.normal(0.0, 0.02, row.shape)
    return (0.12 * across + 0.06 * (rows - 1 - row) + rough + 50.0).astype(np.float32)


def ranges(dem, places, **options):
    given = {
        "cell_m": 1.0,
        "rmse_m": 0.1,
        "correlations_m": (5.0, 10.0),
        "realisations": 120,
        "seed": 3,
        "snap_radius_m": 4.0,
        "conditioning": lambda _patch, _sinks: fill,
    }
    directions = flow_directions(fill(dem))
    return catchment_ranges(dem, directions, places, **(given | options))


def lowest_in(dem, columns, row):
    area = accumulate(flow_directions(fill(dem)))
    return [[row, left + int(np.argmax(area[row, left:right]))] for left, right in columns]


def test_a_patch_tells_means_marks_places_and_positions():
    dem = np.arange(35, dtype=np.float32).reshape(5, 7)
    dem[1, 1] = np.nan
    patch = Patch(slice(1, 5), slice(1, 6), 2, 2.0)
    # 8 is not known; the last column of squares holds one column of cells
    expected = [[(9 + 15 + 16) / 3, (10 + 11 + 17 + 18) / 4, (12 + 19) / 2], [26, 28, 29.5]]
    np.testing.assert_allclose(patch.level(dem), expected, rtol=0, atol=1 / 4096)
    mask = np.zeros(dem.shape, dtype=bool)
    mask[4, 5] = True
    np.testing.assert_array_equal(patch.any(mask), [[0, 0, 0], [0, 0, 1]])
    np.testing.assert_array_equal(patch.places(np.array([[1, 1], [4, 5]])), [[0, 0], [1, 2]])
    np.testing.assert_allclose(patch.positions([[1.5, 1.5], [1.0, 1.0]]), [[0, 0], [-0.25, -0.25]])
    np.testing.assert_array_equal(
        patch.spread(np.array([[1, 2, 3], [4, 5, 6]])),
        [[1, 1, 2, 2, 3], [1, 1, 2, 2, 3], [4, 4, 5, 5, 6], [4, 4, 5, 5, 6]],
    )


def test_a_small_catchment_has_the_range_that_the_whole_ground_gives():
    dem = valleys()
    place = lowest_in(dem, [(240, 260)], 60)
    directions = flow_directions(fill(dem))
    area = subcatchments(directions, place).cells
    whole = catchment_chance(
        dem,
        place,
        area,
        cell_m=1.0,
        rmse_m=0.1,
        correlations_m=(5.0, 10.0),
        realisations=120,
        seed=3,
        snap_radius_m=4.0,
    )
    part = ranges(dem, place)
    assert part.cell_m[0] == 1.0
    # two samples of 120 surfaces: the ends differ by chance alone by about a tenth
    assert part.area_low_m2[0] == pytest.approx(whole.area_low_m2[0], rel=0.15)
    assert part.area_high_m2[0] == pytest.approx(whole.area_high_m2[0], rel=0.15)
    assert np.abs(part.chance - whole.chance).mean() < 0.02


def test_a_large_catchment_is_drawn_coarser_to_the_same_range():
    dem = valleys()
    places = lowest_in(dem, [(160, 180)], 236)
    coarse = ranges(dem, places)
    fine = ranges(dem, places, correlations_m=(5.0, 1.9))
    same = catchment_chance(
        dem,
        places,
        subcatchments(flow_directions(fill(dem)), places).cells,
        cell_m=1.0,
        rmse_m=0.1,
        correlations_m=(5.0, 10.0),
        realisations=120,
        seed=3,
        snap_radius_m=4.0,
    )
    assert coarse.cell_m[0] == 2.0
    assert fine.cell_m[0] == 1.0  # half the shortest correlation length is less than two cells
    # a tenth of the area is what a range may still move by once it counts as settled
    np.testing.assert_allclose(coarse.area_low_m2, same.area_low_m2, rtol=0.1)
    np.testing.assert_allclose(coarse.area_high_m2, same.area_high_m2, rtol=0.1)


def test_the_seed_moves_a_range_by_little_and_the_same_seed_by_nothing():
    dem = valleys()
    place = lowest_in(dem, [(240, 260)], 60)
    one, again, other = (ranges(dem, place, seed=seed, realisations=200) for seed in (1, 1, 2))
    assert one.area_low_m2[0] == again.area_low_m2[0]
    assert one.area_high_m2[0] == again.area_high_m2[0]
    assert one.area_high_m2[0] != other.area_high_m2[0]
    width = one.area_high_m2[0] - one.area_low_m2[0]
    assert abs(one.area_low_m2[0] - other.area_low_m2[0]) < 0.25 * width
    assert abs(one.area_high_m2[0] - other.area_high_m2[0]) < 0.25 * width


def test_the_same_ground_four_thousand_metres_higher_has_the_same_range():
    # levels in sixteenths of a metre, which float32 holds exactly at both heights
    dem = np.round(valleys() * 16) / np.float32(16)
    place = lowest_in(dem, [(240, 260)], 60)
    low, high = ranges(dem, place), ranges(dem + np.float32(4096.0), place)
    assert high.area_low_m2[0] == low.area_low_m2[0]
    assert high.area_high_m2[0] == low.area_high_m2[0]


def test_water_from_beyond_a_patch_makes_it_grow():
    dem = valleys()
    dem[:, 166:175] -= 0.05  # hardly a bed: the large valley's water can leave to its neighbours
    places = lowest_in(dem, [(160, 180), (240, 260)], 120)
    found = ranges(dem, places, rmse_m=0.4)
    directions = flow_directions(fill(dem))
    same = catchment_chance(
        dem,
        places,
        subcatchments(directions, places).cells,
        cell_m=1.0,
        rmse_m=0.4,
        correlations_m=(5.0, 10.0),
        realisations=120,
        seed=3,
        snap_radius_m=4.0,
    )
    np.testing.assert_allclose(found.area_high_m2, same.area_high_m2, rtol=0.25)


def test_sinks_that_could_be_kept_lower_the_low_end():
    """Where they are the same as those that are kept, nothing changes."""
    dem = valleys()
    place = lowest_in(dem, [(240, 260)], 60)
    sinks = np.zeros(dem.shape, dtype=bool)
    sinks[30, place[0][1] - 1 : place[0][1] + 2] = True

    def led(_patch, kept):
        return lambda surface: fill(surface, sinks=kept)

    usual, same, other = (
        ranges(dem, place, conditioning=led, realisations=48, other_sinks=kept)
        for kept in (None, np.zeros(dem.shape, dtype=bool), sinks)
    )
    assert same.area_low_m2[0] == usual.area_low_m2[0]
    assert other.area_low_m2[0] < usual.area_low_m2[0]
