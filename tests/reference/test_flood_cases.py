"""The flow solver against analytic cases: still water, a bore, uniform flow, and conservation."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from brimline import _jit
from brimline.drainage.flood import FloodGround, Inflow, Rain, flood, solver
from brimline.errors import GridError

NO_RAIN = Rain(60.0, np.zeros(1))


def ground(bed, cell_m=1.0, n=0.03, soak=0.0, open_slope=None):
    bed = np.asarray(bed, dtype=float)
    full = np.full(bed.shape, 1.0)
    return FloodGround(bed, cell_m, full * n, full * soak, full * np.inf,
                  full * 0 if open_slope is None else open_slope)  # fmt: skip


def test_a_lake_at_rest_stays_at_rest():
    # Still water over any bed is an exact solution: level surface, no flow.
    rng = np.random.default_rng(1)
    bed = rng.uniform(0, 2, (30, 40))
    depth = np.maximum(1.2 - bed, 0)
    done = flood(ground(bed), NO_RAIN, duration_s=120, start_depth_m=depth)
    np.testing.assert_allclose(done.depth_m, depth, atol=1e-12)
    assert np.nanmax(done.speed_m_s) < 1e-9


def test_a_disturbed_pond_comes_to_rest():
    # The roughest disturbance that a grid can hold, every second cell higher, must die away.
    down, along = np.indices((12, 14))
    depth = 0.8 + 0.01 * (-1.0) ** (down + along)
    done = flood(ground(np.zeros(depth.shape)), NO_RAIN, duration_s=120, start_depth_m=depth)
    assert np.abs(done.depth_m - 0.8).max() < 1e-4
    assert done.most_m.max() < 0.8101


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


def test_water_runs_down_a_slope_alike_in_every_direction():
    # The same uniform flow on a plane that falls at 45 degrees to the grid: a streamline through
    # (x, y) begins at the nearer of the two upper walls, sqrt(2) min(x, y) away. A cell's depth is
    # that of its lower faces, half a cell further.
    size, slope, n, rain_mm_per_h = 80, 0.05, 0.05, 60.0
    down, along = np.mgrid[0:size, 0:size] + 0.5
    bed = slope * (2 * size - down - along) / np.sqrt(2)
    edge = np.zeros(bed.shape)
    edge[-1, :] = edge[:, -1] = slope
    storm = Rain(600.0, np.full(6, rain_mm_per_h / 6))
    done = flood(ground(bed, n=n, open_slope=edge), storm, duration_s=3600)
    length = np.sqrt(2) * (np.minimum(down, along) + 0.5)
    normal = (rain_mm_per_h / 3.6e6 * length * n / np.sqrt(slope)) ** 0.6
    inner = (down > 20) & (along > 20) & (np.abs(down - along) > 20)
    inner &= (down < size - 4) & (along < size - 4)
    np.testing.assert_allclose(done.depth_m[inner], normal[inner], rtol=0.015)


@pytest.mark.parametrize("slope", [0.3, 1.0])
def test_thin_water_on_steep_ground_does_not_swing(slope):
    # A steady storm on a steep plane has one steady state, Manning's; levels that still move
    # after the water has run its course would be the scheme's own.
    length, n, rain_mm_per_h = 60, 0.1, 20.0
    bed = (slope * (length - np.arange(length)))[None, :].repeat(3, axis=0)
    edge = np.zeros(bed.shape)
    edge[:, -1] = slope
    storm = Rain(3600.0, np.full(1, rain_mm_per_h))
    probes = [(1, 20), (1, 40), (1, 55)]
    done = flood(ground(bed, n=n, open_slope=edge), storm, duration_s=3600, probes=probes,
                 record_s=1.0)  # fmt: skip
    late = done.probe_levels_m[done.probe_times_s > 1800]
    assert np.ptp(late, axis=0).max() < 1e-6  # in water 1 to 2 mm deep
    normal = (rain_mm_per_h / 3.6e6 * (np.arange(length) + 1) * n / np.sqrt(slope)) ** 0.6
    np.testing.assert_allclose(done.depth_m[1, 20:-3], normal[20:-3], rtol=0.02)


def test_a_wave_over_a_flat_plane_keeps_its_analytic_form():
    # h = (7/3 n^2 u^3 (t - x/u))^(3/7) on level ground, fed at x = 0 with u h (Hunter et al. 2005,
    # Advances in Water Resources 28, equation 15; the test of Bates et al. 2010, section 3.1;
    # equations from memory). Advection is left out of both.
    cells, cell_m, n, u, until_s = 220, 25.0, 0.03, 1.0, 3600.0
    step_s = 10.0
    moments = np.arange(0, until_s, step_s) + step_s / 2
    feed = u * (7 / 3 * n**2 * u**3 * moments) ** (3 / 7)
    inflow = Inflow((0, 0), step_s, feed * cell_m)
    done = flood(ground(np.zeros((1, cells)), cell_m, n), NO_RAIN, duration_s=until_s,
                 inflows=[inflow])  # fmt: skip
    x = (np.arange(cells) + 0.5) * cell_m
    exact = (7 / 3 * n**2 * u**3 * np.maximum(until_s - x / u, 0)) ** (3 / 7)
    # 5 cm in water up to 2.4 m deep; the last cells before the steep front are not resolved
    found = done.depth_m[0]
    behind = (x > 4 * cell_m) & (x < u * until_s - 12 * cell_m)
    np.testing.assert_allclose(found[behind], exact[behind], atol=0.05)
    assert abs(x[found > 0.01].max() - u * until_s) < 3 * cell_m


def test_a_basin_swings_with_merians_period():
    # Small waves in a closed basin: T = 2 L / sqrt(g h) (Merian 1828).
    cells, depth = 200, 1.0
    x = (np.arange(cells) + 0.5) / cells
    start = (depth + 0.01 * np.cos(np.pi * x))[None, :]
    period = 2 * cells / np.sqrt(9.80665 * depth)
    done = flood(ground(np.zeros((1, cells)), n=1e-6), NO_RAIN, duration_s=3.2 * period,
                 start_depth_m=start, probes=[(0, 0)], record_s=1.0)  # fmt: skip
    swing = done.probe_levels_m[:, 0] - depth
    down = np.flatnonzero((swing[:-1] > 0) & (swing[1:] <= 0))
    crossings = done.probe_times_s[down] + swing[down] / (swing[down] - swing[down + 1])
    assert len(crossings) == 3
    np.testing.assert_allclose(np.diff(crossings), period, rtol=0.005)


def test_a_heap_of_water_spreads_alike_to_all_sides():
    # Dry rows are passed over until water reaches them, which must not show.
    start = np.zeros((41, 41))
    start[19:22, 19:22] = 1.0
    found = flood(ground(np.zeros((41, 41))), NO_RAIN, duration_s=20, start_depth_m=start).depth_m
    for other in (found[::-1], found[:, ::-1], found.T):
        np.testing.assert_allclose(found, other, atol=1e-6)
    assert found[20, 30] > 0.01
    assert found[20, 0] == 0


def test_ground_cut_out_of_a_larger_raster_floods_the_same():
    # Rows are looked at over the span of their ground only, which must not show.
    rng = np.random.default_rng(11)
    bed = rng.uniform(0, 1, (20, 24))
    down, along = np.indices(bed.shape)
    round_about = (down - 9.5) ** 2 / 90 + (along - 11.5) ** 2 / 130 < 1
    bed[~round_about] = np.nan
    start = np.where(rng.random(bed.shape) < 0.15, 1.5, 0.0)
    edge = np.where(rng.random(bed.shape) < 0.1, 0.05, 0.0)

    def run(rows, cols, pad):
        inner = (slice(*rows), slice(*cols))
        wide = [np.pad(a[inner], pad, constant_values=v) for a, v in
                ((bed, np.nan), (start, 0.0), (edge, 0.0))]  # fmt: skip
        storm = Rain(60.0, np.array([10.0, 0.0]))
        done = flood(ground(wide[0], soak=3, open_slope=wide[2]), storm, duration_s=120,
                     start_depth_m=wide[1])  # fmt: skip
        back = tuple(slice(pad, size - pad) for size in wide[0].shape)
        return [getattr(done, name)[back] for name in ("depth_m", "most_m", "speed_m_s")]

    whole = run((0, 20), (0, 24), 0)
    for one, other in zip(whole, run((0, 20), (0, 24), 7), strict=True):
        np.testing.assert_array_equal(one, other)
    # a block of ground across the whole width takes the spans away
    floor = bed.copy()
    bed = np.vstack([np.zeros((1, 24)), np.full((1, 24), np.nan), floor])
    start, edge = (np.vstack([np.zeros((2, 24)), a]) for a in (start, edge))
    for one, other in zip(whole, run((0, 22), (0, 24), 0), strict=True):
        np.testing.assert_array_equal(one, other[2:])


@settings(deadline=None, max_examples=15)
@given(st.integers(0, 10_000))
def test_water_is_neither_made_nor_lost(seed):
    """Rain plus what stood equals soaked plus left plus what stands, and no depth is negative."""
    rng = np.random.default_rng(seed)
    bed = rng.uniform(0, 3, (12, 15)) + np.arange(15) * rng.uniform(-0.3, 0.3)
    bed[rng.random(bed.shape) < 0.1] = np.nan
    edge = np.where(rng.random(bed.shape) < 0.1, 0.02, 0.0)
    where = FloodGround(bed, 2.0, np.full(bed.shape, 0.05), rng.uniform(0, 40, bed.shape),
                   rng.uniform(0, 20, bed.shape), edge)  # fmt: skip
    storm = Rain(60.0, rng.uniform(0, 3, 10))
    start = np.where(rng.random(bed.shape) < 0.2, 0.5, 0.0)
    done = flood(where, storm, duration_s=900, start_depth_m=start)
    through = done.rain_m3 + done.started_m3
    assert abs(done.residual_m3) <= 1e-9 * max(through, 1)
    assert np.nanmin(done.depth_m) >= 0
    assert done.soaked_m3 <= np.nansum(where.soil_room_mm[~np.isnan(bed)]) / 1000 * 4 + 1e-9


def test_rain_may_differ_by_kind_of_ground():
    # Two walled halves, 30 mm on one and 6 mm on the other.
    bed = np.zeros((6, 9))
    bed[:, 4] = np.nan
    full = np.ones(bed.shape)
    kind = np.where(np.arange(9) < 4, 1, 2).astype(np.uint8) * np.ones((6, 1), np.uint8)
    where = FloodGround(bed, 2.0, 0.05 * full, 0 * full, np.inf * full, 0 * full, kind)
    done = flood(where, Rain(60.0, np.array([[10.0, 20.0], [6.0, 0.0]])), duration_s=180)
    np.testing.assert_allclose(done.depth_m[:, :4], 0.030, rtol=1e-9)
    np.testing.assert_allclose(done.depth_m[:, 5:], 0.006, rtol=1e-9)
    assert done.rain_m3 == pytest.approx((24 * 0.030 + 24 * 0.006) * 4)
    assert abs(done.residual_m3) < 1e-12
    with pytest.raises(GridError, match="1 rains for ground of 2 kinds"):
        flood(where, NO_RAIN, duration_s=1)


@pytest.mark.interpreted
def test_a_few_steps_on_rough_ground_close_their_volumes():
    # Small enough for the interpreter, which checks the bounds of every array.
    rng = np.random.default_rng(7)
    bed = rng.uniform(0, 0.5, (5, 6))
    bed[1, 2] = np.nan
    edge = np.zeros(bed.shape)
    edge[:, 0] = 0.05
    full = np.ones(bed.shape)
    where = FloodGround(bed, 1.0, 0.05 * full, 20 * full, 5 * full, edge)
    storm, inflow = (
        Rain(5.0, np.array([4.0, 0.0, 8.0])),
        Inflow((4, 5), 4.0, np.array([0.01, 0.02])),
    )
    done = flood(where, storm, duration_s=12, inflows=[inflow], probes=[(2, 2)])
    assert done.rain_m3 == pytest.approx((4.0 + 8.0 * 2 / 5) / 1000 * 29)
    assert done.inflow_m3 == pytest.approx(0.12)
    assert done.left_m3 > 0
    assert done.soaked_m3 > 0
    assert abs(done.residual_m3) < 1e-15


def test_results_do_not_depend_on_threads(monkeypatch):
    # Columns of water that collapse empty their cells, so that flows are cut back at every border.
    monkeypatch.setattr(solver, "_CELLS_A_BAND", 100)
    rng = np.random.default_rng(4)
    bed = rng.uniform(0, 1, (41, 40))
    start = np.where(rng.random(bed.shape) < 0.1, 2.0, 0.0)
    storm = Rain(300.0, np.array([5.0, 8.0]))
    where = ground(
        bed, soak=5, open_slope=np.where(np.arange(40) == 0, 0.05, 0.0) * np.ones((41, 1))
    )
    found = []
    for count in (1, 2, 5, 13):
        with _jit.threads(count):
            found.append(flood(where, storm, duration_s=400, start_depth_m=start, probes=[(3, 3)]))
    for other in found[1:]:
        for name in ("depth_m", "most_m", "speed_m_s", "soaked_m", "probe_levels_m", "left_m3"):
            np.testing.assert_array_equal(getattr(found[0], name), getattr(other, name))


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"roughness": np.zeros((3, 3))}, "roughness must be above 0"),
        ({"soil_room_mm": np.full((3, 3), -1.0)}, "soil_room_mm must be 0 or more"),
        ({"bed_m": np.full((3, 3), np.nan)}, "holds no finite cell"),
        ({"cell_m": 0.0}, "cell_m must be above 0 m"),
        ({"open_slope": np.zeros((3, 4))}, "share one shape"),
    ],
)
def test_unusable_ground_is_refused(change, message):
    full = np.ones((3, 3))
    parts = {"bed_m": full, "cell_m": 1.0, "roughness": full, "soak_mm_per_h": full,
             "soil_room_mm": full, "open_slope": full} | change  # fmt: skip
    with pytest.raises(GridError, match=message):
        FloodGround(**parts)


def test_unusable_requests_are_refused():
    flat = ground(np.zeros((3, 3)))
    with pytest.raises(GridError, match="above 0 s"):
        flood(flat, NO_RAIN, duration_s=0)
    with pytest.raises(GridError, match="probe at row 3, column 0"):
        flood(flat, NO_RAIN, duration_s=1, probes=[(3, 0)])
    with pytest.raises(GridError, match="start_depth_m must be 0 m or more"):
        flood(flat, NO_RAIN, duration_s=1, start_depth_m=np.full((3, 3), -0.1))
    with pytest.raises(GridError, match="none negative"):
        Rain(60.0, np.array([1.0, -1.0]))
