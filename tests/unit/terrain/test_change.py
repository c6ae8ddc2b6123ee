"""Two surveys compared: noise alone is no change, and known changes come out as they were made."""

import numpy as np
import pytest
from tests.drawn_errors import error_field

from brimline.errors import GridError
from brimline.terrain.change import (
    detection_level_m,
    detection_t,
    difference,
    find_shift,
    mean_error_ratio,
    several_at_once_t,
)

SIZE = 160
ERRORS = {"error_then_m": 0.10, "error_now_m": 0.10, "correlation_m": 4.0}


def hill():
    row, col = np.indices((SIZE, SIZE), dtype=np.float64)
    return (200 - 0.08 * row + 2 * np.sin(col / 15)).astype(np.float32)


def surveyed(ground, seed, rmse_m=0.10, correlation_m=4.0):
    noise = error_field(
        ground.shape, rmse_m=rmse_m, correlation_m=correlation_m, cell_m=1.0,
        random=np.random.default_rng(seed),
    )  # fmt: skip
    return ground + noise


def test_the_level_of_detection_by_hand():
    # t √(σ1² + σ2²), Brasington et al. (2003), Wheaton et al. (2010): 1.96 √(0.10² + 0.10²)
    assert detection_t(0.95) == pytest.approx(1.95996, abs=1e-5)  # normal table
    assert detection_t(0.68268949) == pytest.approx(1.0, abs=1e-6)
    assert detection_level_m(0.10, 0.10, 1.96) == pytest.approx(0.277, abs=5e-4)
    assert detection_level_m(0.03, 0.04, 1.0) == pytest.approx(0.05)
    # Bonferroni: 0.05 over 100 places, two sides: the deviate of 0.99975, 3.4808 (normal table)
    assert several_at_once_t(0.95, 100) == pytest.approx(3.4808, abs=1e-4)
    with pytest.raises(ValueError, match="between 0 and 1"):
        detection_t(1.0)
    with pytest.raises(ValueError, match="cannot be negative"):
        detection_level_m(-0.1, 0.1, 1.96)


def test_the_error_of_a_mean_is_that_of_drawn_error_fields():
    # exp(-(h/L)²) integrates to π L²: a mean over n of these has 1/√n of the error
    assert mean_error_ratio(400 * np.pi * 25.0, 5.0, 1.0) == pytest.approx(1 / 20)
    assert mean_error_ratio(10.0, 5.0, 1.0) == 1.0  # less than one part: no averaging
    assert mean_error_ratio(400.0, 0.0, 2.0) == pytest.approx(1 / 10)  # each cell its own
    means = [surveyed(np.zeros((120, 120)), seed, 1.0, 5.0).mean() for seed in range(300)]
    assert np.std(means) == pytest.approx(mean_error_ratio(120.0**2, 5.0, 1.0), rel=0.15)


@pytest.mark.parametrize("correlation_m", [0.0, 4.0, 10.0])
def test_noise_alone_is_no_change(correlation_m):
    errors = ERRORS | {"correlation_m": correlation_m}
    alarms = 0
    for seed in range(20):
        then = surveyed(hill(), 2 * seed, correlation_m=correlation_m)
        now = surveyed(hill(), 2 * seed + 1, correlation_m=correlation_m)
        found = difference(then, now, 1.0, **errors)
        alarms += bool(found.patches.any()) or found.shift.kind != "none"
    assert alarms <= 3  # one in twenty is expected at 95 %; four or more has a chance of 1.6 %


def test_noise_larger_than_stated_is_measured_and_is_no_change():
    then, now = surveyed(hill(), 1, 0.3), surveyed(hill(), 2, 0.3)
    found = difference(then, now, 1.0, error_then_m=0.05, error_now_m=0.05, correlation_m=4.0)
    assert not found.patches.any()
    assert found.sigma_m == pytest.approx(0.3 * np.sqrt(2), rel=0.1)


def test_a_box_of_known_volume_is_dug():
    ground = hill()
    dug = ground.copy()
    dug[40:60, 50:90] -= 1.5  # 20 × 40 × 1.5 = 1200 m³
    dug[100:110, 100:110] += 0.8  # 80 m³
    every = [
        difference(surveyed(ground, 2 * seed), surveyed(dug, 2 * seed + 1), 1.0, **ERRORS)
        for seed in range(12)
    ]
    # the edge of a patch is where noise helps to pass the level: a few hundredths too much
    assert np.mean([found.cut.volume_m3 for found in every]) == pytest.approx(1200, rel=0.03)
    assert np.mean([found.fill.volume_m3 for found in every]) == pytest.approx(80, rel=0.12)
    within = [abs(found.cut.volume_m3 - 1200) <= found.cut.error_m3 for found in every]
    assert sum(within) >= 10  # of twelve at 95 %: nine or fewer has a chance of 2 %
    net = [abs(found.net_m3 + 1120) <= found.net_error_m3 for found in every]
    assert sum(net) >= 10
    for found in every:
        assert found.shift.kind == "none"
        assert found.patches.max() == len(found.by_patch)
        assert sum(patch.volume_m3 for patch in found.by_patch) == pytest.approx(
            found.cut.volume_m3 + found.fill.volume_m3
        )


def test_a_box_without_noise_is_exact():
    dug = hill()
    dug[40:60, 50:90] -= 1.5
    found = difference(hill(), dug, 2.0, error_then_m=0.0, error_now_m=0.0, correlation_m=0.0)
    assert found.cut.volume_m3 == pytest.approx(20 * 40 * 4 * 1.5, rel=1e-5)
    assert found.cut.area_m2 == 20 * 40 * 4
    assert found.fill.volume_m3 == 0
    assert len(found.by_patch) == 1


def test_a_broad_shallow_change_under_the_noise_of_one_cell_is_seen():
    raised = hill()
    raised[20:80, 20:120] += 0.45
    found = difference(surveyed(hill(), 5), surveyed(raised, 6), 1.0, **ERRORS)
    several = several_at_once_t(0.95, 4 * SIZE**2 / (np.pi * 16) * 6)
    assert several * found.sigma_m > 0.45  # a single cell would have to pass this
    assert found.fill.area_m2 > 0.7 * 60 * 100
    assert found.cut.area_m2 < 0.01 * found.fill.area_m2


def test_a_datum_mismatch_is_named_and_taken_off():
    dug = hill() + np.float32(0.85)
    dug[40:60, 50:90] -= 1.5
    found = difference(surveyed(hill(), 7), surveyed(dug, 8), 1.0, **ERRORS)
    assert found.shift.kind == "uniform"
    assert found.shift.datum
    assert found.shift.mean_m == pytest.approx(0.85, abs=3 * found.shift.error_m)
    assert found.cut.volume_m3 == pytest.approx(1200, rel=0.06)
    assert found.fill.area_m2 == 0


def test_a_small_shift_is_found_but_is_no_datum():
    found = difference(surveyed(hill(), 9), surveyed(hill() + np.float32(0.08), 10), 1.0, **ERRORS)
    assert found.shift.kind == "uniform"
    assert not found.shift.datum
    assert found.shift.mean_m == pytest.approx(0.08, abs=3 * found.shift.error_m)
    assert not found.patches.any()


def test_a_tilt_is_found_and_taken_off():
    row, col = np.indices((SIZE, SIZE), dtype=np.float64)
    tilted = hill() + (0.004 * col + 0.002 * row + 0.1).astype(np.float32)
    tilted[40:60, 50:90] -= 1.5
    found = difference(surveyed(hill(), 11), surveyed(tilted, 12), 1.0, **ERRORS)
    assert found.shift.kind == "tilt"
    assert found.shift.east_m_per_km == pytest.approx(4.0, rel=0.15)
    assert found.shift.north_m_per_km == pytest.approx(-2.0, rel=0.3)  # rows go southwards
    assert found.cut.volume_m3 == pytest.approx(1200, abs=1.5 * found.cut.error_m3)


def test_stable_ground_decides_where_most_of_the_ground_has_changed():
    built = hill()
    built[:, : int(0.7 * SIZE)] += 1.0
    stable = np.zeros(built.shape, dtype=np.bool_)
    stable[:, int(0.75 * SIZE) :] = True
    found = difference(surveyed(hill(), 13), surveyed(built, 14), 1.0, **ERRORS, stable=stable)
    assert found.shift.kind == "none"
    assert found.fill.volume_m3 == pytest.approx(112 * SIZE, abs=found.fill.error_m3 + 0.5 * 112)


def test_a_shift_that_is_left_in_counts_as_uncertainty():
    now = hill() + np.float32(0.5)
    found = difference(surveyed(hill(), 15), surveyed(now, 16), 1.0, **ERRORS, take_off_shift=False)
    assert found.fill.volume_m3 == pytest.approx(0.5 * SIZE**2, rel=0.1)
    assert found.fill.systematic_m3 > 0.9 * found.fill.volume_m3


def test_voids_stay_unknown_and_inputs_are_not_written_to():
    then, now = hill(), hill()
    then[10:20, 10:20] = np.nan
    now[30:40, 30:40] = np.nan
    copies = then.copy(), now.copy()
    found = difference(then, now, 1.0, **ERRORS)
    assert int(np.isnan(found.change_m).sum()) == 200
    np.testing.assert_array_equal(then, copies[0])
    np.testing.assert_array_equal(now, copies[1])


def test_surfaces_that_cannot_be_compared_are_refused():
    with pytest.raises(GridError, match="share one shape"):
        difference(hill(), hill()[:-1], 1.0, **ERRORS)
    then, now = hill(), hill()
    then[:, :80] = np.nan
    now[:, 80:] = np.nan
    with pytest.raises(GridError, match="no valid cell in common"):
        difference(then, now, 1.0, **ERRORS)
    with pytest.raises(GridError, match="no cell can be compared"):
        find_shift(np.full((3, 3), np.nan), 1.0, sigma_m=0.1, correlation_m=1.0)
