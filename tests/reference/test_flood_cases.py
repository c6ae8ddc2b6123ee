"""The flow solver against analytic cases: still water, a bore, uniform flow, and conservation."""

import numba
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from brimline.drainage.flood import Ground, Rain, flood
from brimline.errors import GridError

NO_RAIN = Rain(60.0, np.zeros(1))


def ground(bed, cell_m=1.0, n=0.03, soak=0.0, open_slope=None):
    bed = np.asarray(bed, dtype=float)
    full = np.full(bed.shape, 1.0)
    return Ground(bed, cell_m, full * n, full * soak, full * np.inf,
                  full * 0 if open_slope is None else open_slope)  # fmt: skip


def test_a_lake_at_rest_stays_at_rest():
    # Still water over any bed is an exact solution: level surface, no flow.
    rng = np.random.default_rng(1)
    bed = rng.uniform(0, 2, (30, 40))
    depth = np.maximum(1.2 - bed, 0)
    done = flood(ground(bed), NO_RAIN, duration_s=120, start_depth_m=depth)
    np.testing.assert_allclose(done.depth_m, depth, atol=1e-12)
    assert np.nanmax(done.speed_m_s) < 1e-9


def stoker(x, t, left, right, g=9.80665):
    """Depth after a dam break on a wet bed (Stoker 1957, Water Waves, section 10.8)."""
    cl, cr = np.sqrt(g * left), np.sqrt(g * right)

    def mismatch(middle):
        u = 2 * (cl - np.sqrt(g * middle))
        shock = np.sqrt(g * middle * (middle + right) / (2 * right))
        return u - shock * (1 - right / middle)

    low, high = right, left
    for _ in range(200):
        middle = (low + high) / 2
        if mismatch(middle) > 0:
            low = middle
        else:
            high = middle
    cm = np.sqrt(g * middle)
    u = 2 * (cl - cm)
    shock = np.sqrt(g * middle * (middle + right) / (2 * right))
    fan = (2 * cl - x / t) ** 2 / (9 * g)
    return np.select(
        [x < -cl * t, x < (u - cm) * t, x < shock * t], [left, fan, middle], default=right
    ), cr


def test_a_small_dam_break_on_a_wet_bed_follows_stoker():
    # Without advection the scheme is right for small Froude numbers: 1.0 m against 0.9 m.
    cells = 1000
    x = np.arange(cells) - cells / 2 + 0.5
    depth = np.where(x < 0, 1.0, 0.9)[None, :].repeat(3, axis=0)
    done = flood(ground(np.zeros((3, cells)), n=1e-6), NO_RAIN, duration_s=60, start_depth_m=depth)
    exact, _ = stoker(x, 60.0, 1.0, 0.9)
    found = done.depth_m[1]
    away = np.abs(np.abs(x) - np.sqrt(9.80665 * 0.95) * 60) > 15  # beside the fronts
    np.testing.assert_allclose(found[away], exact[away], atol=0.003)
    middle = found[np.abs(x) < 80].mean()
    assert middle == pytest.approx(exact[np.abs(x) < 80].mean(), abs=0.002)


def test_rain_on_a_plane_reaches_mannings_uniform_flow():
    # Steady flow at the foot of a plane L long under rain i: q = i L, and Manning's normal depth
    # h = (q n / sqrt(S))^(3/5) (kinematic wave; Chow, Maidment & Mays 1988, section 9.2).
    length, slope, n, rain_mm_per_h = 100, 0.05, 0.05, 60.0
    bed = (slope * (length - np.arange(length)))[None, :].repeat(3, axis=0)
    edge = np.zeros(bed.shape)
    edge[:, -1] = slope
    storm = Rain(600.0, np.full(9, rain_mm_per_h / 6))
    done = flood(ground(bed, n=n, open_slope=edge), storm, duration_s=5400)
    rate = rain_mm_per_h / 3.6e6
    q = rate * (np.arange(length) + 1.0)  # through the lower face of each cell
    normal = (q * n / np.sqrt(slope)) ** 0.6
    np.testing.assert_allclose(done.depth_m[1, 20:-3], normal[20:-3], rtol=0.02)
    assert done.speed_m_s[1, 80] == pytest.approx(q[80] / normal[80], rel=0.05)


@settings(deadline=None, max_examples=15)
@given(st.integers(0, 10_000))
def test_water_is_neither_made_nor_lost(seed):
    """Rain plus what stood equals soaked plus left plus what stands, and no depth is negative."""
    rng = np.random.default_rng(seed)
    bed = rng.uniform(0, 3, (12, 15)) + np.arange(15) * rng.uniform(-0.3, 0.3)
    bed[rng.random(bed.shape) < 0.1] = np.nan
    edge = np.where(rng.random(bed.shape) < 0.1, 0.02, 0.0)
    where = Ground(bed, 2.0, np.full(bed.shape, 0.05), rng.uniform(0, 40, bed.shape),
                   rng.uniform(0, 20, bed.shape), edge)  # fmt: skip
    storm = Rain(60.0, rng.uniform(0, 3, 10))
    start = np.where(rng.random(bed.shape) < 0.2, 0.5, 0.0)
    done = flood(where, storm, duration_s=900, start_depth_m=start)
    through = done.rain_m3 + done.started_m3
    assert abs(done.residual_m3) <= 1e-9 * max(through, 1)
    assert np.nanmin(done.depth_m) >= 0
    assert done.soaked_m3 <= np.nansum(where.soil_room_mm[~np.isnan(bed)]) / 1000 * 4 + 1e-9


def test_results_do_not_depend_on_threads():
    rng = np.random.default_rng(4)
    bed = rng.uniform(0, 1, (40, 40))
    storm = Rain(300.0, np.array([5.0, 8.0]))
    found = []
    for threads in (1, 2):
        numba.set_num_threads(min(threads, numba.config.NUMBA_NUM_THREADS))
        found.append(flood(ground(bed, soak=5), storm, duration_s=900, probes=((3, 3),)))
    np.testing.assert_array_equal(found[0].depth_m, found[1].depth_m)
    np.testing.assert_array_equal(found[0].probe_levels_m, found[1].probe_levels_m)


def test_unusable_ground_is_refused():
    with pytest.raises(GridError, match="roughness must be above 0"):
        flood(ground(np.zeros((3, 3)), n=0.0), NO_RAIN, duration_s=1)
    with pytest.raises(GridError, match="above 0"):
        flood(ground(np.zeros((3, 3))), NO_RAIN, duration_s=0)
