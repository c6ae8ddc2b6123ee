"""Variance and correlation of the error field, measured against the closed form."""

import numpy as np
import pytest
from tests.drawn_errors import error_field

from brimline.drainage.certainty import SURVEY_CLASSES


def fields(count, shape, **sizes):
    seeds = np.random.SeedSequence(11).spawn(count)
    return np.stack(
        [error_field(shape, random=np.random.default_rng(seed), **sizes) for seed in seeds]
    ).astype(np.float64)


@pytest.mark.parametrize("correlation_m", [0.0, 1.0, 4.0, 12.0])
def test_the_variance_is_that_of_the_survey_at_every_cell(correlation_m):
    rmse_m = 0.13
    drawn = fields(600, (24, 17), rmse_m=rmse_m, correlation_m=correlation_m, cell_m=1.0)
    variance = (drawn**2).mean(axis=0) / rmse_m**2
    # 600 draws of a squared normal number: standard error sqrt(2 / 600) = 0.058
    assert np.abs(variance - 1.0).max() < 5 * 0.058
    centre, edge = variance[8:16, 5:12].mean(), variance[[0, -1]].mean()
    assert abs(centre - 1.0) < 0.12
    assert abs(edge - 1.0) < 0.12
    assert np.abs(drawn.mean(axis=0)).max() < 5 * rmse_m / np.sqrt(600)


@pytest.mark.parametrize(("correlation_m", "cell_m"), [(6.0, 1.0), (5.0, 0.5), (20.0, 2.0)])
def test_the_correlation_falls_as_a_gaussian_of_the_distance(correlation_m, cell_m):
    """Oksanen & Sarjakoski (2005): rho(h) = exp(-(h / a)²); citation from memory."""
    drawn = fields(60, (90, 90), rmse_m=1.0, correlation_m=correlation_m, cell_m=cell_m)
    for lag in (1, 3, 6, 9, 12, 15, 24):
        expected = np.exp(-((lag * cell_m / correlation_m) ** 2))
        down = (drawn[:, lag:] * drawn[:, :-lag]).mean()
        across = (drawn[:, :, lag:] * drawn[:, :, :-lag]).mean()
        slanted = (drawn[:, lag:, lag:] * drawn[:, :-lag, :-lag]).mean()
        assert down == pytest.approx(expected, abs=0.06)
        assert across == pytest.approx(expected, abs=0.06)
        assert slanted == pytest.approx(expected**2, abs=0.06)


def test_opposite_edges_have_nothing_in_common():
    drawn = fields(2000, (40, 40), rmse_m=1.0, correlation_m=8.0, cell_m=1.0)
    # an edge holds about 3 independent values: standard error 1 / sqrt(6000) = 0.013
    assert abs((drawn[:, 0] * drawn[:, -1]).mean()) < 0.05
    assert abs((drawn[:, :, 0] * drawn[:, :, -1]).mean()) < 0.05


def test_errors_of_single_cells_are_independent_and_normal():
    drawn = fields(20, (100, 100), rmse_m=0.5, correlation_m=0.0, cell_m=1.0)
    assert abs((drawn[:, 1:] * drawn[:, :-1]).mean()) < 0.003
    share = (np.abs(drawn) < 0.5).mean()  # one standard deviation: 0.6827
    assert share == pytest.approx(0.6827, abs=0.005)


def test_a_correlation_length_beyond_the_grid_stays_within_memory_and_variance():
    drawn = fields(300, (20, 30), rmse_m=1.0, correlation_m=1e5, cell_m=1.0)
    assert drawn.std(axis=0).mean() == pytest.approx(1.0, abs=0.15)
    assert np.ptp(drawn, axis=(1, 2)).max() < 0.01


def test_sizes_out_of_range_are_refused_with_value_and_unit():
    with pytest.raises(ValueError, match=r"rmse_m >= 0 m.*-0\.1 m"):
        fields(1, (3, 3), rmse_m=-0.1, correlation_m=1.0, cell_m=1.0)


def test_classes_of_survey_are_those_of_the_specification():
    """USGS Lidar Base Specification, non-vegetated vertical RMSE; QL3 from memory."""
    rmse = {name: survey.rmse_m for name, survey in SURVEY_CLASSES.items()}
    assert rmse == {"QL0": 0.05, "QL1": 0.10, "QL2": 0.10, "QL3": 0.20}
