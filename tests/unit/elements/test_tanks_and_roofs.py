"""Tanks, first flush."""

from dataclasses import replace

import numpy as np
import pytest

from brimline.elements import Tank
from brimline.elements.tank import FIRST_FLUSH_MM, after_first_flush, flush_m3
from brimline.errors import GridError
from brimline.units import FOOT_M, US_GALLON_M3

TANK = Tank("t", 50.0, 10.0, height_m=2.0)


def test_tank_levels_and_volume():
    element = TANK.element()
    assert element.storage_m3 == pytest.approx(10.0)
    assert element.spill_level_m == pytest.approx(52.0)
    assert element.stages.storage_at(element.start_level_m) == pytest.approx(10.0)  # full
    assert TANK.overflow().crest_m == pytest.approx(52.0)


def test_half_full_tank():
    element = replace(TANK, start_share=0.5).element()
    assert element.stages.storage_at(element.start_level_m) == pytest.approx(5.0)


def test_first_flush_of_the_manual():
    # Texas Manual on Rainwater Harvesting (2005): 10 gallons from 1000 ft² (value from memory)
    assert flush_m3(1000 * FOOT_M**2) == pytest.approx(10 * US_GALLON_M3)
    assert pytest.approx(0.407, abs=0.001) == FIRST_FLUSH_MM


@pytest.mark.parametrize("flush", [0.0, 0.5, 1.7, 4.0, 11.9])
def test_flush_takes_its_volume_off_the_front(flush):
    edges = np.array([0.0, 10.0, 20.0, 40.0, 50.0])
    mean = np.array([0.1, 0.3, 0.35, 0.1])
    kept = after_first_flush(edges, mean, flush)
    volume = (mean * np.diff(edges)).sum()
    assert (kept * np.diff(edges)).sum() == pytest.approx(max(volume - flush, 0.0))
    assert (kept <= mean + 1e-12).all()
    later = np.cumsum(mean * np.diff(edges)) - mean * np.diff(edges) >= flush
    assert kept[later] == pytest.approx(mean[later])


def test_small_rain_is_all_flush():
    kept = after_first_flush(np.array([0.0, 10.0]), np.array([0.1]), 2.0)
    assert (kept == 0).all()


def test_flush_of_odd_arrays_is_refused():
    with pytest.raises(GridError, match="edges"):
        after_first_flush(np.array([0.0, 10.0]), np.array([0.1, 0.2]), 2.0)


@pytest.mark.parametrize("change", [{"volume_m3": 0.0}, {"start_share": 1.2}])
def test_impossible_tanks_are_refused(change):
    with pytest.raises(ValueError, match="t: "):
        replace(TANK, **change)
