"""A storm over a small designed surface: volumes, and levels over a sill by the weir's law."""

import numpy as np
import pytest

from brimline.cascade.overland import OverlandElement, run_over
from brimline.errors import GridError
from brimline.rainfall import excess_mm

CELL = 1.0
RAIN = np.full(12, 10.0)  # 10 mm in each of 12 steps of 300 s: 120 mm/h


def hillside():
    """Ground that falls eastwards at 5 %, 60 m long and 12 m wide, with a pit at its foot."""
    surface = np.repeat(10 - 0.05 * np.arange(70.0)[None, :], 12, axis=0)
    labels = np.zeros(surface.shape, dtype=np.int32)
    surface[2:10, 60:64] = 6.0
    labels[2:10, 60:64] = 1
    return surface.astype(np.float32), labels


def basin(curve_number, soak_mm_per_h, start_level_m=None):
    return OverlandElement(excess_mm(RAIN, curve_number), soak_mm_per_h, start_level_m)


def run(surface, labels, basin, **options):
    usual = {"cell_m": CELL, "roughness": 0.03, "step_s": 300.0, "rain_mm": RAIN, "after_s": 600.0}
    return run_over(surface, labels, {1: basin}, **(usual | options))


def test_impervious_ground_fills_the_pit_and_every_litre_is_accounted_for():
    surface, labels = hillside()
    done = run(surface, labels, basin(100.0, 0.0))
    assert abs(done.flood.residual_m3) < 1e-9 * done.flood.rain_m3
    # the pit's low side lies at 10 - 0.05 × 64; water stands a little over it while it spills
    brim = 10 - 0.05 * 64
    assert brim < done.peak_level_m[1] < brim + 0.10
    assert done.flood.left_m3 > 0


def test_a_steady_storm_stands_over_the_low_side_as_critical_flow_has_it():
    # All of 8 rows run through the pit: q = rain × length per metre. Over a broad edge the head is
    # 1.5 times the critical depth (q²/g)^(1/3) (Chow 1959, section 4-2); the scheme leaves
    # advection out and a cell is a broad edge, so a third either way is what it can give.
    surface, labels = hillside()
    done = run(surface, labels, basin(100.0, 0.0))
    flow = 120 / 3.6e6 * 62
    critical = (flow**2 / 9.81) ** (1 / 3)
    over = done.peak_level_m[1] - (10 - 0.05 * 64)
    assert over == pytest.approx(1.5 * critical, rel=0.33)


def test_the_curve_number_takes_its_part_of_the_rain():
    surface, labels = hillside()
    hard, soft = (run(surface, labels, basin(number, 0.0)) for number in (98.0, 60.0))
    assert soft.flood.rain_m3 < 0.4 * hard.flood.rain_m3
    assert soft.peak_level_m[1] <= hard.peak_level_m[1]


def test_soakage_and_standing_water_count():
    surface, labels = hillside()
    dry = run(surface, labels, basin(60.0, 500.0))
    full = run(surface, labels, basin(60.0, 0.0, start_level_m=6.7))
    assert dry.flood.soaked_m3 > 0.5
    assert full.peak_level_m[1] > dry.peak_level_m[1]
    # what is not run below the standing water is part of its depth all the same
    assert full.depth_m[2, 60] == pytest.approx(full.peak_level_m[1] - 6.0, abs=1e-5)


def test_ground_that_drains_elsewhere_is_not_run():
    surface, labels = hillside()
    surface[:6] = surface[:6][:, ::-1]  # the upper half falls the other way, past a wall
    labels[:6] = 0
    done = run(surface, labels, basin(100.0, 0.0))
    assert np.isnan(done.depth_m[0, :20]).all()
    assert np.isfinite(done.depth_m[8, 5:60]).all()


def test_shallow_hollows_of_the_survey_hold_nothing_more():
    surface, labels = hillside()
    rng = np.random.default_rng(2)
    smooth = run(surface, labels, basin(80.0, 0.0))
    surface[:, :55] += rng.normal(0, 0.03, (12, 55)).astype(np.float32)
    rough = run(surface, labels, basin(80.0, 0.0))
    assert rough.peak_level_m[1] == pytest.approx(smooth.peak_level_m[1], abs=0.02)


def test_shapes_must_agree():
    surface, labels = hillside()
    with pytest.raises(GridError, match="share one shape"):
        run(surface, labels[:, 1:], basin(80.0, 0.0))
