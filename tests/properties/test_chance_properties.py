"""What holds for catchments over the error of a survey."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from brimline.drainage.catchments import subcatchments
from brimline.drainage.certainty import catchment_chance
from brimline.drainage.flow import accumulate, flow_directions
from brimline.terrain.conditioning import fill


def ground(seed, rows=30, cols=24):
    """A tilted, rough surface with a corner of nodata."""
    random = np.random.default_rng(seed)
    row, col = np.indices((rows, cols))
    dem = (0.2 * row + 0.02 * (col - cols / 2) ** 2 + random.normal(0, 0.05, row.shape)).astype(
        np.float32
    )
    dem[:4, :4] = np.nan
    return dem


def intakes_on(dem, count=3):
    """Directions of the filled surface, and the cells that gather most, one in each third."""
    directions = flow_directions(fill(dem))
    area = accumulate(directions)
    places = [
        np.unravel_index(np.nanargmax(np.where(rows, area, np.nan)), area.shape)
        for rows in (
            np.arange(dem.shape[0])[:, None] // (dem.shape[0] // count) == i for i in range(count)
        )
    ]
    return directions, np.array(places), area[tuple(np.array(places).T)]


def tried(dem, places, area, **options):
    settings_ = {
        "cell_m": 1.0,
        "rmse_m": 0.1,
        "correlations_m": (4.0,),
        "realisations": 6,
        "seed": 3,
        "snap_radius_m": 3.0,
    }
    return catchment_chance(dem, places, area, **(settings_ | options))


@given(st.integers(0, 1000))
@settings(deadline=None, max_examples=20)
def test_without_error_every_realisation_is_the_survey_itself(seed):
    dem = ground(seed)
    directions, places, area = intakes_on(dem)
    found = tried(dem, places, area, rmse_m=0.0)
    labels = subcatchments(directions, places).labels
    valid = ~np.isnan(dem)
    np.testing.assert_array_equal(found.chance[valid], (labels > 0)[valid])
    single = np.arange(len(found.areas_m2)) % 4 != 3  # the others share water between receivers
    np.testing.assert_array_equal(found.areas_m2[single], np.tile(area, (single.sum(), 1)))


@given(st.integers(0, 1000), st.integers(1, 5))
@settings(deadline=None, max_examples=15)
def test_results_depend_on_the_seed_alone_never_on_the_number_of_workers(seed, workers):
    dem = ground(seed)
    _, places, area = intakes_on(dem)
    one = tried(dem, places, area, seed=seed, workers=1)
    many = tried(dem, places, area, seed=seed, workers=workers)
    np.testing.assert_array_equal(one.chance, many.chance)
    np.testing.assert_array_equal(one.areas_m2, many.areas_m2)
    other = tried(dem, places, area, seed=seed + 1, workers=1)
    assert (one.areas_m2 != other.areas_m2).any()


@given(st.integers(0, 1000))
@settings(deadline=None, max_examples=15)
def test_more_realisations_keep_the_first_ones(seed):
    dem = ground(seed)
    _, places, area = intakes_on(dem)
    few = tried(dem, places, area, realisations=3)
    more = tried(dem, places, area, realisations=8)
    np.testing.assert_array_equal(few.areas_m2, more.areas_m2[:3])


@given(st.integers(0, 1000))
@settings(deadline=None, max_examples=15)
def test_chances_are_shares_and_sum_to_the_mean_area_of_a_lone_intake(seed):
    dem = ground(seed)
    _, places, area = intakes_on(dem)
    lowest = [np.argmax(area)]
    found = tried(dem, places[lowest], 4.0 * area[lowest], cell_m=2.0, realisations=3)
    assert (np.isnan(found.chance) == np.isnan(dem)).all()
    shares = found.chance[~np.isnan(dem)]
    assert ((shares >= 0) & (shares <= 1)).all()
    np.testing.assert_allclose(3 * shares, np.round(3 * shares), atol=1e-5)
    assert 4.0 * shares.sum(dtype=np.float64) == pytest.approx(found.areas_m2.mean(), rel=1e-6)
    assert (found.area_low_m2 <= np.median(found.areas_m2, axis=0)).all()
    assert (found.area_high_m2 >= np.median(found.areas_m2, axis=0)).all()
