"""The confidence of a keypoint on seeded floors with a known turn is the share that is right."""

import numpy as np
import pytest
from scipy.ndimage import gaussian_filter1d

from brimline.lines.keyline import keypoints
from brimline.lines.keyline.profile import ValleyProfile, profile_noise

S = np.arange(0.0, 400.0, 2.0)
SMOOTH_M = 10.0


def floor(at_m, above, drop):
    """A floor that turns from steep to gentle, under the bell of the smoothing."""
    z = 100 - above * np.minimum(S, at_m) - (above - drop) * np.maximum(S - at_m, 0)
    return gaussian_filter1d(z, SMOOTH_M / 2.0, mode="nearest")


def noise_of(survey_m):
    return profile_noise(
        noise_m=survey_m, correlation_m=10.0, smooth_m=2.0, profile_smooth_m=SMOOTH_M, cell_m=2.0
    )


def turns_with(noise):
    def turns_of(profile):
        told = keypoints._turns(profile, noise, "break", 30.0, 2.0, 100.0)
        return [one for one in told if one.sure >= 0.8]

    return turns_of


def test_drawn_noise_has_the_spread_and_length_that_it_should():
    noise, random = noise_of(0.1), np.random.default_rng(2)
    drawn = np.array([noise.drawn(S.size, 2.0, random) for _ in range(400)])
    assert drawn.std() == pytest.approx(noise.sigma_m, rel=0.05)
    # length times variance, which decides over long distances: the variance of the mean
    assert drawn.mean(axis=1).var() == pytest.approx(2 * noise.long_run() / 400, rel=0.2)


def told_and_right(survey_m, count, drops):
    """Confidence of every keypoint found, and whether it lies within 10 m of the truth."""
    noise, random = noise_of(survey_m), np.random.default_rng(8)
    turns_of, told, right = turns_with(noise), [], []
    for case in range(count):
        at_m, above = random.uniform(130, 270), random.uniform(0.08, 0.2)
        level_m = floor(at_m, above, random.uniform(*drops)) + noise.drawn(S.size, 2.0, random)
        profile = ValleyProfile(S, level_m, SMOOTH_M)
        found = turns_of(profile)
        told += keypoints.shares_again(profile, noise, turns_of, found, near_m=10.0, seed=case)
        right += [abs(one.chainage_m - at_m) <= 10.0 for one in found]
    return np.array(told), np.array(right)


def test_what_is_sure_is_right_and_what_is_not_sure_is_told(monkeypatch):
    monkeypatch.setattr(keypoints, "_DRAWS", 16)
    told, right = told_and_right(0.3, 50, (0.02, 0.07))
    assert len(told) > 30
    assert told.mean() == pytest.approx(right.mean(), abs=0.12)
    unsure, sure = told < 0.75, told > 0.9
    assert unsure.sum() > 4
    assert right[sure].mean() > right[unsure].mean() + 0.1
    assert right[sure].mean() > 0.8  # of fourteen; of 72 it is 0.96
