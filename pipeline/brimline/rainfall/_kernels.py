"""Compiled loops over time: the wetting front of Green and Ampt."""

from __future__ import annotations

import numpy as np

from brimline._jit import kernel

_MOST_ROUNDS = 60  # Newton's method from above converges in fewer than ten


@kernel
def _ponded_gain(soaked, pull, conductivity, step):
    """Depth soaked during a step with water standing on the ground.

    Root of gain - pull ln(1 + gain / (soaked + pull)) = conductivity step, which is convex; the
    start lies above it, so that Newton's method comes down without overshooting.
    """
    drained = conductivity * step
    if drained <= 0.0:
        return 0.0
    if pull <= 0.0:
        return drained
    gain = drained + np.sqrt(2.0 * pull * drained)
    for _ in range(_MOST_ROUNDS):
        excess = gain - pull * np.log1p(gain / (soaked + pull)) - drained
        if excess <= 0.0:
            break
        slope = (soaked + gain) / (soaked + gain + pull)
        lower = gain - excess / slope
        if not lower < gain:
            break
        gain = lower
    return gain


@kernel
def green_ampt_step(soaked, supply, pull, conductivity, step):
    """Depth soaked by the end of a step under a steady supply of water.

    Parameters
    ----------
    soaked : depth soaked so far.
    supply : water that reaches the ground in a unit of time, during the step. Water that already
        stands there counts: add its depth / step.
    pull : suction head × moisture deficit; with standing water (suction + its depth) × deficit.
    conductivity : hydraulic conductivity.
    step : length of the step.

    Any one unit of length and one of time; all 0 or more. The ground takes all until it ponds
    (Chow, Maidment & Mays 1988, equations 5.4.1 to 5.4.6), then what suction and gravity draw.
    """
    offered = supply * step
    if offered <= 0.0:
        return soaked
    dry_gain = 0.0
    if supply <= conductivity:
        return soaked + offered  # gravity alone takes it
    ponds_at = conductivity * pull / (supply - conductivity)
    if soaked < ponds_at:
        dry_gain = ponds_at - soaked
        if dry_gain >= offered:
            return soaked + offered
    left = step - dry_gain / supply
    gain = dry_gain + _ponded_gain(soaked + dry_gain, pull, conductivity, left)
    return soaked + min(gain, offered)  # by rounding only: past ponding, supply exceeds capacity


@kernel
def green_ampt_rain(depth, pull, conductivity, step, soaked):
    """Depth soaked by the end of each step of a rain, from a depth soaked before it."""
    total = np.empty(depth.size, dtype=np.float64)
    for place in range(depth.size):
        soaked = green_ampt_step(soaked, depth[place] / step, pull, conductivity, step)
        total[place] = soaked
    return total


@kernel
def green_ampt_ponded(times, pull, conductivity):
    """Depth soaked by given times with water standing on dry ground from time 0."""
    total = np.empty(times.size, dtype=np.float64)
    for place in range(times.size):
        total[place] = _ponded_gain(0.0, pull, conductivity, times[place])
    return total
