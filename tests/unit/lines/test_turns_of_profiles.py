"""Reaches and turns of long profiles that are known exactly."""

import numpy as np
import pytest
from scipy import ndimage

from brimline.lines.keyline import keypoints
from brimline.lines.keyline.profile import ValleyProfile, profile_noise
from brimline.lines.keyline.reaches import Noise, chance, gains, hinges, straight_reaches
from brimline.lines.keyline.turns import break_place, inflection

S = np.arange(0.0, 401.0)
NOISE = Noise(0.07, 12.0)


def rounded_break(at, width):
    """Slope goes over from 20 % to 5 % as a logistic curve; its middle is known."""
    return -(0.2 * (S - at) - 0.15 * width * np.logaddexp(0, (S - at) / width))


PROFILES = {
    "two straight reaches": (-np.interp(S, [0, 180, 400], [0, 30, 40]), 180),
    "rounded over 10 m": (rounded_break(170, 10.0), 170),
    "rounded over 20 m": (rounded_break(170, 20.0), 170),
    "two bent reaches": (
        -np.where(
            S < 230,
            0.12 * S - 1.5e-4 * (S - 230) ** 2,
            0.12 * 230 + 0.05 * (S - 230) - 1e-4 * (S - 230) ** 2,
        ),
        230,
    ),
}


@pytest.mark.parametrize("name", PROFILES)
def test_a_break_is_placed_within_a_cell(name):
    z, at = PROFILES[name]
    assert break_place(S, z, NOISE) == pytest.approx(at, abs=1.0)


def test_a_break_below_a_crest_and_above_another_is_placed_within_a_cell():
    z = -np.interp(S, [0, 60, 200, 400], [0, 3, 28, 36])
    reaches = straight_reaches(S, z, NOISE, min_reach_m=25.0)
    np.testing.assert_allclose(reaches.breaks_m, [60, 200], atol=8)
    np.testing.assert_allclose(reaches.slopes, [-3 / 60, -25 / 140, -8 / 200], atol=0.012)
    assert (reaches.sure > 0.99).all()
    here = S >= reaches.breaks_m[0]
    assert break_place(S[here], z[here], NOISE) == pytest.approx(200, abs=1.0)


CURVES = {
    "tanh": -20 * np.tanh((S - 170) / 60),
    "arctan": -20 * np.arctan((S - 170) / 40),
    "two parabolas": np.where(
        S < 170, -0.15 * S - 3e-4 * (S - 170) ** 2, -0.15 * S + 2e-4 * (S - 170) ** 2
    ),
}


@pytest.mark.parametrize("name", CURVES)
def test_an_inflection_is_placed_within_a_cell(name):
    # In each, the second derivative changes sign at 170 m and nowhere else.
    (turn,) = keypoints._turns(
        ValleyProfile(S, CURVES[name]), NOISE, "inflection", 30.0, 2.0, 100.0
    )
    assert turn.kind == "inflection"
    assert turn.chainage_m == pytest.approx(170, abs=1.0)
    assert turn.above_pct > turn.below_pct


def test_three_straight_reaches_have_no_inflection():
    z = -np.interp(S, [0, 120, 235, 400], [0, 6, 34, 40])
    assert inflection(S, z, (120.0, 235.0), (120.0, 235.0)) is None


def test_an_even_bend_turns_nowhere():
    assert break_place(S, -0.15 * S + 1e-4 * S**2, NOISE) is None


def test_a_straight_profile_has_one_reach():
    reaches = straight_reaches(S, -0.1 * S, NOISE, min_reach_m=25.0)
    assert reaches.breaks_m.size == 0
    np.testing.assert_allclose(reaches.slopes, [-0.1])


def test_the_chance_of_a_break_is_bounded_closely_by_the_length_of_the_path():
    # The best of many one-break fits to pure noise: simulated, against the bound of Hotelling
    # (1939) and Davies (1987), which is nearly exact where the chance is small.
    s = np.arange(0.0, 100.0)
    base = np.column_stack([np.ones_like(s), s])
    columns = hinges(s, np.linspace(10, 90, 81))
    rng = np.random.default_rng(7)
    noise = rng.normal(size=(s.size, 20_000))
    _, unit = gains(base, columns, noise[:, 0])
    best = np.abs(unit.T @ noise).max(axis=0)  # the columns are free of the base already
    for score in (2.0, 2.5, 3.0):
        seen = (best >= score).mean()
        bound = chance(score, unit)
        assert seen <= bound + 0.01
        assert bound <= 1.25 * seen + 0.005


@pytest.mark.parametrize("slope", [0.002, 0.01, 0.05])
def test_noise_alone_seldom_bends_a_straight_profile(slope):
    # Bell-shaped correlation over 10 m: at most the stated 5 % of profiles may show a break.
    noise = profile_noise(
        noise_m=0.1, correlation_m=10.0, smooth_m=0.0, profile_smooth_m=0.0, cell_m=1.0
    )
    rng = np.random.default_rng(3)
    s = np.arange(0.0, 300.0, 2.0)
    found = 0
    for _ in range(100):
        white = rng.normal(size=s.size + 80)
        rough = ndimage.gaussian_filter1d(white, 10 / np.sqrt(2) / 2)[40:-40]
        rough *= 0.1 * np.sqrt(2 * np.sqrt(np.pi) * 10 / np.sqrt(2) / 2)
        found += straight_reaches(s, rough - slope * s, noise, min_reach_m=30.0).breaks_m.size > 0
    assert found <= 10


def test_a_break_within_the_noise_is_less_sure_than_a_clear_one():
    # The tolerance for a straight reach is 3 % of the fall: the weak break is above that.
    weak = -np.interp(S, [0, 200, 400], [0, 1.9, 2.6])
    clear = -np.interp(S, [0, 200, 400], [0, 20, 26])
    rough = Noise(0.25, 25.0)
    sure = [straight_reaches(S, z, rough, min_reach_m=30.0).sure for z in (weak, clear)]
    assert sure[1].max() > 0.999
    assert sure[0].size == 0 or sure[0].max() < sure[1].max()


def test_smoothing_takes_noise_off_a_profile_as_the_bell_says():
    # White noise of 1 m a cell over a plane, smoothed by 3 m: 1 / sqrt(4 pi 9) is left (standard
    # result); smoothed along by 6 m more, a bell of sqrt(9 + 36) in one direction of two.
    one = profile_noise(noise_m=1.0, correlation_m=0, smooth_m=3, profile_smooth_m=0, cell_m=1)
    assert one.sigma_m == pytest.approx(1 / np.sqrt(4 * np.pi * 9), rel=0.01)
    two = profile_noise(noise_m=1.0, correlation_m=0, smooth_m=3, profile_smooth_m=6, cell_m=1)
    rng = np.random.default_rng(2)
    plane = ndimage.gaussian_filter(rng.normal(size=(900, 300)), 3.0)
    along = ndimage.gaussian_filter1d(plane, 6.0, axis=0)[40:-40, 20:-20]
    assert two.sigma_m == pytest.approx(along.std(), rel=0.03)
    assert two.alike_m > one.alike_m


def test_a_profile_is_thinned_evenly():
    thin = ValleyProfile(S, -S).thinned(150)
    assert len(thin.chainage_m) <= 150
    assert thin.step_m == 3.0
