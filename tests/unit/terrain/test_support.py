"""What a survey can carry, on seeded ground whose error, rounding and cells are known."""

import numpy as np
import pytest

from brimline.terrain.support import survey_power, wanted_survey

DEPTH_M, APART_M = 0.4, 8.0  # a farm's swales


def ground(cell_m, *, noise_m=0.0, step_m=0.0, seed=1, size=200):
    """Rolling hills of 300 m length and 12 m height, with white noise, rounded."""
    y, x = np.mgrid[:size, :size] * cell_m
    rng = np.random.default_rng(seed)
    level = 200 + 12 * np.sin(2 * np.pi * x / 300) * np.cos(2 * np.pi * y / 260) - 0.03 * y
    level += rng.normal(0, noise_m, level.shape) if noise_m else 0.0
    return (np.round(level / step_m) * step_m if step_m else level).astype(np.float32)


def power(dem, cell_m, *, known_share=1.0, said_m=0.10, stated=False):
    return survey_power(
        dem, cell_m=cell_m, known_share=known_share, class_error_m=said_m, named="class QL2",
        stated=stated,
    )  # fmt: skip


def test_a_fine_exact_survey_keeps_the_error_of_its_class():
    told = power(ground(1.0, noise_m=0.03), 1.0)
    assert told.error_m == 0.10
    assert told.because == "class QL2"
    assert told.lacks(DEPTH_M, APART_M) == ""


@pytest.mark.parametrize("noise_m", [0.3, 0.6])
def test_noise_that_the_ground_shows_counts_where_it_is_more(noise_m):
    told = power(ground(1.0, noise_m=noise_m), 1.0)
    assert told.error_m == pytest.approx(noise_m, rel=0.1)
    assert "from cell to cell" in told.because
    assert f"levels err by {told.error_m:.2f} m" in told.lacks(DEPTH_M, APART_M)
    # who states an error knows better
    assert power(ground(1.0, noise_m=noise_m), 1.0, stated=True).error_m == 0.10


def test_levels_of_whole_metres_carry_no_swale():
    told = power(ground(1.0, step_m=1.0), 1.0)
    assert told.step_m == 1.0
    # rounding to a step spreads evenly over it: its standard deviation is the step over sqrt(12)
    assert told.error_m >= 1 / np.sqrt(12)
    assert "whole multiples of 1 m" in told.lacks(DEPTH_M, APART_M)
    assert power(ground(1.0, step_m=0.01), 1.0).lacks(DEPTH_M, APART_M) == ""


@pytest.mark.parametrize("cell_m", [30.0, 86.0])
def test_coarse_cells_carry_no_swale(cell_m):
    told = power(ground(cell_m, noise_m=0.1), cell_m)
    assert f"levels lie {cell_m:g} m apart" in told.lacks(DEPTH_M, APART_M)
    assert told.lacks(DEPTH_M, 100.0) == "" or told.error_m > 0.26


def test_a_cloud_with_ground_in_a_hundredth_of_its_cells_is_ten_times_as_coarse():
    told = power(ground(1.0), 1.0, known_share=0.01)
    assert told.spacing_m == pytest.approx(10.0)
    assert "levels lie 10 m apart" in told.lacks(DEPTH_M, APART_M)
    assert power(ground(1.0), 1.0, known_share=0.5).lacks(DEPTH_M, APART_M) == ""


def test_the_survey_that_would_do_is_named():
    assert "every 8 m" in wanted_survey(DEPTH_M, APART_M)
    assert "no more than 0.27 m" in wanted_survey(DEPTH_M, APART_M)


def test_large_grids_are_weighed_by_a_part_of_them():
    dem = ground(1.0, noise_m=0.3, size=300)
    large = np.tile(dem, (14, 4))[:4100, :1100]
    assert power(large, 1.0).error_m == pytest.approx(0.3, rel=0.1)
