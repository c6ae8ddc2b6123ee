"""What a surface tells of its own error, on noise that is known."""

import numpy as np
import pytest

from brimline.grid import held_levels
from brimline.terrain.noise import shown_noise


def rolling(side=200):
    row, col = np.indices((side, side), dtype=np.float64)
    return 300.0 + 0.05 * row + 8.0 * np.sin(row / 40.0) * np.cos(col / 55.0)


@pytest.mark.parametrize("noise_m", [0.02, 0.1, 0.5])
@pytest.mark.parametrize("ground", [rolling(), np.zeros((200, 200))])
def test_white_noise_is_found_to_a_twentieth(noise_m, ground):
    random = np.random.default_rng(4)
    dem = (ground + random.normal(0.0, noise_m, ground.shape)).astype(np.float32)
    assert shown_noise(dem).noise_m == pytest.approx(noise_m, rel=0.05)


def test_rough_ground_beside_calm_ground_does_not_pass_for_noise():
    random = np.random.default_rng(5)
    dem = rolling() + random.normal(0.0, 0.05, (200, 200))
    dem[:, :110] += random.normal(0.0, 2.0, (200, 110))
    assert shown_noise(dem.astype(np.float32)).noise_m == pytest.approx(0.05, rel=0.15)


def test_ground_without_noise_shows_hardly_any():
    assert shown_noise(rolling().astype(np.float32)).noise_m < 0.001


def test_gaps_are_left_out_and_nothing_is_told_of_what_is_all_gaps():
    random = np.random.default_rng(6)
    dem = (rolling() + random.normal(0.0, 0.1, (200, 200))).astype(np.float32)
    dem[50:90, 30:160] = np.nan
    assert shown_noise(dem).noise_m == pytest.approx(0.1, rel=0.08)
    dem[::10] = np.nan
    assert np.isnan(shown_noise(dem).noise_m)


@pytest.mark.parametrize("step_m", [1.0, 0.1, 0.01])
def test_rounded_levels_show_their_step(step_m):
    rounded = step_m * np.round(rolling() / step_m)
    for lift_m in (0.0, 4000.0):
        assert shown_noise((rounded + lift_m).astype(np.float32)).step_m == step_m
        assert shown_noise(held_levels(rounded + lift_m)).step_m == step_m  # as files are read


def test_levels_that_are_not_rounded_show_no_step():
    assert shown_noise(rolling().astype(np.float32)).step_m == 0.0
    assert shown_noise(held_levels(rolling())).step_m == 0.0
