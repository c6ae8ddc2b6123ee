"""Water on a designed surface, by hand: where it stands, where it leaves, what it meets."""

import numpy as np
import pytest

from brimline.cascade.proof import prove
from brimline.errors import GridError

CELL = 2.0


def slope_with_pits():
    """Ground that falls eastwards 0.1 m a cell, with two pits 1 m deep, one below the other."""
    surface = np.repeat(10 - 0.1 * np.arange(20.0)[None, :], 9, axis=0).astype(np.float32)
    labels = np.zeros(surface.shape, dtype=np.int32)
    for label, col in ((1, 4), (2, 12)):
        surface[3:6, col : col + 3] -= 1.0
        labels[3:6, col : col + 3] = label
    return surface, labels


def proof_of(surface, labels, *, buildings=None, inside=None):
    none, every = np.zeros(surface.shape, dtype=bool), np.ones(surface.shape, dtype=bool)
    return prove(
        surface, labels, (1, 2), cell_m=CELL,
        buildings=none if buildings is None else buildings,
        inside=every if inside is None else inside,
    )  # fmt: skip


def test_each_pit_holds_to_its_low_side_and_the_upper_one_feeds_the_lower():
    surface, labels = slope_with_pits()
    upper, lower = proof_of(surface, labels)
    # the cell east of the pit is the lowest of its rim: 10 - 0.7
    assert upper.brim_level_m == pytest.approx(9.3)
    assert lower.brim_level_m == pytest.approx(8.5)
    # three columns of three cells, 0.7, 0.8 and 0.9 m below the brim
    assert upper.holds_m3 == pytest.approx(3 * (0.7 + 0.8 + 0.9) * CELL**2, rel=1e-5)
    assert upper.reached == 2
    assert lower.reached == 0
    assert upper.outside_m == 0
    # it leaves over the cell east of the pit, in one of the pit's rows
    assert upper.cols[upper.leaves] == 7
    assert 3 <= upper.rows[upper.leaves] < 6


def test_a_gap_in_the_rim_shows_where_it_is():
    surface, labels = slope_with_pits()
    surface[6:, 5] -= 0.9  # a furrow out of the first pit, southwards
    upper, _ = proof_of(surface, labels)
    assert upper.brim_level_m < 9.3 - 0.5
    assert (upper.rows[upper.leaves], upper.cols[upper.leaves]) == (6, 5)
    assert upper.reached == 0  # it runs off the data, past the lower pit


def test_buildings_and_the_boundary_on_the_way_are_told():
    surface, labels = slope_with_pits()
    buildings = np.zeros(surface.shape, dtype=bool)
    buildings[:, 9] = True
    inside = np.ones(surface.shape, dtype=bool)
    inside[:, 17:] = False
    upper, lower = proof_of(surface, labels, buildings=buildings, inside=inside)
    assert upper.at_building
    assert not lower.at_building
    assert upper.outside_m == 0
    assert lower.outside_m == pytest.approx(3 * CELL)


def test_elements_without_a_cell_are_left_out_and_shapes_must_agree():
    surface, labels = slope_with_pits()
    labels[labels == 2] = 0
    assert [one.label for one in proof_of(surface, labels)] == [1]
    with pytest.raises(GridError, match="share one shape"):
        proof_of(surface, labels[:, 1:])
