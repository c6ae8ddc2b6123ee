"""The fast searches for breaks of a profile find what the same fits told plainly find.

Told plainly, every fit at every place is a QR decomposition of its own, and the bell is evaluated
for every station. Both ways must agree to a millionth.
"""

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.special import ndtr

from brimline.lines.keyline import turns
from brimline.lines.keyline.breaks import _kernels
from brimline.lines.keyline.reaches import gains, hinges

pytestmark = pytest.mark.interpreted

seeds = st.integers(0, 2**31)


def profile(seed, count=40):
    """A floor of a few reaches, straight or bent, with correlated noise; and its step."""
    random = np.random.default_rng(seed)
    step = random.uniform(0.5, 5.0)
    s = random.uniform(0, 500) + step * np.arange(count)
    slope = np.interp(s, np.sort(random.uniform(s[0], s[-1], 5)), -random.uniform(0, 0.4, 5))
    if random.random() < 0.5:
        slope = np.round(slope * 10) / 10
    z = 100 + np.cumsum(slope) * step
    return s, z + np.cumsum(random.normal(0, 0.02 * step, count)), random


def whitened(values, rho):
    result = np.array(values, dtype=float)
    result[1:] = (values[1:] - rho * values[:-1]) / np.sqrt(1 - rho * rho)
    return result


def scores(s, z, breaks, at, rho):
    """Score of one more break at each place, and the freed columns, by QR."""
    base = np.column_stack([np.ones_like(s), s, hinges(s, breaks)])
    return gains(*(whitened(part, rho) for part in (base, hinges(s, at), z)))


def some_breaks(random, s, apart):
    """At most three breaks, at least `apart` from each other and from the ends."""
    breaks = np.sort(random.uniform(s[0], s[-1], random.integers(0, 4)))
    gaps = np.diff([s[0], *breaks, s[-1]])
    return breaks if (gaps > apart).all() else np.empty(0)


@given(seeds)
@settings(deadline=None, max_examples=40)
def test_one_more_break_scores_the_same_by_running_sums(seed):
    """Scores, and the path that they lie on, are those of QR."""
    s, z, random = profile(seed)
    step, rho = s[1] - s[0], random.choice([0.0, 0.5, 0.95])
    breaks = some_breaks(random, s, 7 * step)
    ends = [s[0], *breaks, s[-1]]
    at = np.concatenate([np.linspace(a + 3 * step, b - 3 * step, 7) for a, b in pairwise(ends)])
    found, path = _kernels.scan(s, z, breaks, at, rho, 1)
    plain, unit = scores(s, z, breaks, at, rho)
    scale = np.abs(plain).max()
    np.testing.assert_allclose(
        np.abs(found) / np.sqrt(1 - rho**2), np.abs(plain), atol=1e-7 * scale
    )
    turned = np.arccos(np.clip((unit[:, 1:] * unit[:, :-1]).sum(axis=0), -1, 1)).sum()
    assert path == pytest.approx(turned, rel=1e-6)


@given(seeds)
@settings(deadline=None, max_examples=30)
def test_a_broken_line_leaves_the_same(seed):
    """What a line with given breaks leaves is what least squares leave."""
    s, z, random = profile(seed)
    breaks = some_breaks(random, s, 4 * (s[1] - s[0]))
    base = np.column_stack([np.ones_like(s), s - s[0], hinges(s, breaks)])
    found, *_ = np.linalg.lstsq(base, z, rcond=None)
    np.testing.assert_allclose(_kernels.off_line(s, z, breaks), z - base @ found, atol=1e-9)


@given(seeds)
@settings(deadline=None, max_examples=15)
def test_breaks_settle_in_the_same_places(seed):
    """Each break in turn goes to the best of its places, three times over."""
    s, z, random = profile(seed)
    reach, rho, tries = 4 * (s[1] - s[0]), 0.6, 9
    breaks = some_breaks(random, s, 2 * reach)
    found = _kernels.settled(s, z, breaks, rho, reach, tries, 3)
    for _ in range(3 if len(breaks) > 1 else 1):
        for place in range(len(breaks)):
            others = np.delete(breaks, place)
            ends = [s[0], *others, s[-1]]
            low, high = ends[place] + reach, ends[place + 1] - reach
            if high > low:
                at = np.linspace(low, high, tries)
                score, _ = scores(s, z, others, at, rho)
                breaks[place] = at[np.abs(score).argmax()]
    np.testing.assert_allclose(found, breaks, rtol=1e-12)


def test_no_break_is_seen_beyond_the_outer_stations():
    s = np.arange(10.0)
    score, path = _kernels.scan(
        s, s * s, np.empty(0), np.array([-1.0, 0.0, 4.0, 9.0, 12.0]), 0.5, 1
    )
    assert (score != 0).tolist() == [False, False, True, False, False]
    assert path == pytest.approx(4 * np.pi / 2)  # what is nothing stands at right angles to all


def ramp(t, sigma):
    if sigma == 0:
        return np.maximum(t, 0)
    u = t / sigma
    return t * ndtr(u) + sigma * np.exp(-0.5 * u * u) / np.sqrt(2 * np.pi)


def bowl(t, sigma):
    if sigma == 0:
        return np.maximum(t, 0) ** 2
    return t * ramp(t, sigma) + sigma**2 * ndtr(t / sigma)


def columns(kind, t, sigma):
    """What is fitted: straight reaches, bent ones, or a curve, with the joint at t = 0."""
    line = [np.ones_like(t), t]
    bowls = [bowl(-t, sigma), bowl(t, sigma)]
    return np.column_stack(
        {
            _kernels.STRAIGHT: [*line, ramp(t, sigma)],
            _kernels.BENT: [*line, ramp(t, sigma), *bowls],
            _kernels.CURVE: [*line, *bowls],
        }[kind]
    )


def joint(s, z, sigma, kind):
    """The best place for a joint, its misfit, and the step between the last places tried."""
    low, high = s[0] + 0.12 * (s[-1] - s[0]), s[-1] - 0.12 * (s[-1] - s[0])
    best, least = np.nan, np.inf
    for _ in range(3):
        places = np.linspace(low, high, 60)
        for place in places:
            base = columns(kind, s - place, sigma)
            q, r = np.linalg.qr(base)
            misfit = np.square(z - q @ (q.T @ z)).sum()
            share = np.linalg.solve(r, q.T @ z)
            if kind == _kernels.CURVE and not share[2] < 0 < share[3]:
                continue
            if misfit < least:
                best, least = place, misfit
        if np.isnan(best):
            break
        low, high = best - (high - low) / 30, best + (high - low) / 30
    return best, least, places[1] - places[0]


@pytest.mark.parametrize("kind", [_kernels.STRAIGHT, _kernels.BENT, _kernels.CURVE])
@pytest.mark.parametrize("steps", [0.0, 0.7, 3.0])
@given(seed=seeds)
@settings(deadline=None, max_examples=4)
def test_a_joint_is_placed_where_every_place_tried_puts_it(kind, steps, seed):
    """Trying each place by QR gives the same joint and misfit, at whatever smoothing."""
    s, z, _ = profile(seed, 24)
    sigma = steps * (s[1] - s[0])
    fit = turns._best(s, z, kind, sigma)
    place, misfit, last_step = joint(s, z, sigma, kind)
    if fit is None:
        assert np.isnan(place)
        return
    # where two places next to each other fit alike to rounding, either may be named
    assert fit.place_m == pytest.approx(place, abs=1.001 * last_step)
    assert fit.misfit_m2 == pytest.approx(misfit, rel=1e-6, abs=1e-12)
    even = columns(kind, s - s.mean(), 0.0)[:, :2]
    if kind != _kernels.STRAIGHT:
        even = np.column_stack([even, (s - s.mean()) ** 2])
    q, _ = np.linalg.qr(even)
    np.testing.assert_allclose(fit.without_m, z - q @ (q.T @ z), atol=1e-9)


@pytest.mark.parametrize("sigma", [0.0, 0.3, 20.0])
def test_the_table_of_the_bell_is_exact_to_rounding(sigma):
    t = np.linspace(-9.0, 9.0, 3001) * (sigma or 1.0)
    per_m = 1 / sigma if sigma else 0.0
    found = np.array([_kernels.rounded(one, sigma, per_m, turns._BELL) for one in t])
    np.testing.assert_allclose(found[:, 0], ramp(t, sigma), atol=2e-13 * (sigma or 1.0))
    np.testing.assert_allclose(found[:, 1], bowl(t, sigma), atol=2e-12 * (sigma or 1.0) ** 2)
