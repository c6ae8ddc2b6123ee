"""Where the water of a failed bank runs, what it reaches, and what people must know of ponds."""

import tracemalloc
from dataclasses import replace

import numpy as np
import pytest
import shapely

from brimline.cascade import CascadeLimits, Discharge, Link, Network
from brimline.cascade.failure import failure_way, hazard_rating
from brimline.cascade.safety import unsafe, water_on_bank_m
from brimline.config import Hazard
from brimline.drainage.flow import flow_directions
from brimline.elements import Kind, Pipe, Sill
from brimline.grid import Grid
from brimline.units import ACRE_M2, FOOT_M


def test_the_thresholds_are_those_of_their_sources():
    # NRCS Code 378: 3 000 acre-feet x feet; an embankment pond has 3 ft against its fill
    usual = Hazard()
    assert usual.engineer_height_volume_m4 == pytest.approx(3000 * ACRE_M2 * FOOT_M**2, rel=1e-3)
    assert usual.embankment_water_m == pytest.approx(3 * FOOT_M, abs=0.005)
    assert usual.fence_depth_m == pytest.approx(2 * FOOT_M, abs=0.01)


@pytest.mark.parametrize(("water_m", "rating"), [(0.0, 0.0), (0.5, 0.4393), (1.0, 1.1502)])
def test_the_rating_is_that_of_ritters_wave_at_the_bank(water_m, rating):
    # by hand: d = 4/9 h, v = 2/3 sqrt(9.81 h); d (v + 0.5)
    assert hazard_rating(water_m) == pytest.approx(rating, abs=1e-4)
    depth = 4 / 9 * water_m
    by_unit_flow = 8 / 27 * np.sqrt(9.81) * water_m**1.5  # Ritter's discharge a metre of bank
    assert hazard_rating(water_m) == pytest.approx(by_unit_flow + 0.5 * depth)


GRID = Grid(60, 60, 2.0, 0.0, 120.0, "EPSG:32633")


@pytest.fixture
def valley():
    """Ground that falls 5 cm a metre southwards into a valley along x = 60."""
    x, y = GRID.xy(*np.indices(GRID.shape))
    return (100 - 0.05 * (120 - y) + 0.02 * np.abs(x - 61)).astype(np.float32)


def followed(ground, *, height_m=1.0, follow_m=500.0):
    _, y = GRID.xy(*np.indices(GRID.shape))
    x, _ = GRID.xy(*np.indices(GRID.shape))
    bank = (np.abs(y - 99) < 2) & (np.abs(x - 61) < 4)
    lowest = float(ground[bank].min())
    return failure_way(
        flow_directions(ground), ground, np.flatnonzero(bank), GRID,
        crest_m=lowest + height_m, height_m=height_m, follow_m=follow_m,
    )  # fmt: skip


def test_water_is_followed_down_the_valley_and_where_it_leaves_the_site(valley):
    way = followed(valley)
    x, y = np.array(way.line.coords).T
    assert np.abs(x - 61).max() < 2
    assert y[0] > 95
    assert y[-1] < 2
    assert way.leaves_m(shapely.box(0, 49, 120, 120)) == pytest.approx(y[0] - 49, abs=3)
    assert way.leaves_m(shapely.box(-9, -9, 200, 200)) == np.inf
    short = followed(valley, follow_m=20.0)
    assert short.line.length <= 20
    assert short.distance_m.max() <= 20


def test_a_house_counts_where_it_stands_low_enough_and_near_enough(valley):
    way = followed(valley, height_m=1.0)  # 0.44 m deep at most
    low = shapely.box(75, 40, 80, 45)  # its ground lies 14 m from the valley: 0.28 m over it
    high = shapely.box(100, 40, 105, 45)  # 39 m: 0.78 m over it, which the water cannot reach
    upstream = shapely.box(58, 110, 64, 116)
    found = way.reaches([high, low, upstream], valley, GRID, spread_m=50.0)
    assert [one.place for one in found] == [1]
    assert 45 < found[0].distance_m < 75  # beside the house, 55 m below the bank
    assert not way.reaches([low], valley, GRID, spread_m=5.0)
    higher_bank = followed(valley, height_m=2.0)
    assert [one.place for one in higher_bank.reaches([high], valley, GRID, 50.0)] == [0]


def test_a_bank_without_ground_beneath_has_no_way(valley):
    nowhere = np.empty(0, dtype=np.int64)
    way = failure_way(
        flow_directions(valley), valley, nowhere, GRID, crest_m=99.0, height_m=1.0, follow_m=9.0
    )
    assert way is None


def test_banks_on_vast_ground_need_no_more_room_than_their_ways():
    side = 4000
    ground = np.repeat(np.linspace(200, 100, side, dtype=np.float32)[:, None], side, axis=1)
    directions = np.full(ground.shape, 6, dtype=np.uint8)  # all of it southwards
    grid = Grid(side, side, 1.0)
    tracemalloc.start()
    for number in range(5):
        col = 100 + 700 * number
        bank = (1000 + np.arange(3)[:, None]) * side + col + np.arange(2)
        way = failure_way(
            directions, ground, bank.ravel(), grid, crest_m=176.0, height_m=2.0, follow_m=1000.0
        )
        assert way.line.length == pytest.approx(1000, abs=1)
        assert way.x.size == 2 * (1000 + 3)
        assert way.distance_m.max() == 1000
        assert way.level_m.min() == ground[2002, 0]
    held_bytes = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert held_bytes < 0.02 * ground.nbytes


@pytest.fixture
def pond(box):
    return replace(
        box("pond", floor=10.0, spill=12.0, crest=12.5, embankment_height_m=2.0),
        kind=Kind.POND,
    )


def flags(element, *outlets, limits=None):
    links = tuple(Link("pond", "creek", outlet) for outlet in outlets)
    network = Network((element,), links, (Discharge("creek", "Creek", 4.0),))
    return sorted(one.flag for one in unsafe(network, limits or CascadeLimits()))


def test_a_banked_pond_needs_a_way_over_ground_and_a_low_pipe(pond):
    sill, high = Sill(12.0, 2.0), Pipe(11.8, 9.0, 0.3, 10.0)
    low = Pipe(10.2, 9.0, 0.1, 10.0)
    assert water_on_bank_m(pond) == pytest.approx(1.5)
    assert flags(pond, sill, low) == ["deep-water"]
    assert flags(pond, sill, high) == ["deep-water", "no-drawdown"]
    assert flags(pond, sill) == ["deep-water", "no-drawdown"]
    assert flags(pond, low) == ["deep-water", "no-emergency-way"]
    assert flags(pond) == ["deep-water", "no-drawdown", "no-emergency-way"]
    dug = replace(pond, embankment_height_m=0.0)
    assert flags(dug) == ["deep-water"]
    basin = replace(pond, kind=Kind.BASIN)  # what soaks away needs no pipe
    assert flags(basin, sill) == ["deep-water"]
    assert flags(basin, low) == flags(basin) == ["deep-water", "no-emergency-way"]
    low_bank = replace(pond, embankment_height_m=1.3)  # 0.8 m of water: no embankment pond
    assert flags(low_bank, sill) == ["deep-water"]


def test_water_deeper_than_asked_is_told_with_its_depth(pond):
    sill, low = Sill(12.0, 2.0), Pipe(10.2, 9.0, 0.1, 10.0)
    assert flags(pond, sill, low, limits=CascadeLimits(fence_depth_m=2.1)) == []
    assert flags(replace(pond, kind=Kind.TANK)) == []
