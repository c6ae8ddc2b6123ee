"""Stage tables, soakage, and what every element must satisfy."""

import numpy as np
import pytest

from brimline.elements import Element, Kind, Soak, StageTable, sampled, vertical
from brimline.errors import GridError
from brimline.rainfall.infiltration import GreenAmpt


def test_storage_and_level_invert_each_other():
    table = sampled(0.0, 2.0, lambda y: 3 * y**2, lambda y: 6 * y, also_at_m=(0.77,))
    for level in (0.0, 0.1, 0.77, 1.9, 2.5):
        assert table.level_at(table.storage_at(level)) == pytest.approx(level)
    assert table.storage_at(0.77) == pytest.approx(3 * 0.77**2)
    assert table.storage_at(-1.0) == 0.0


def test_one_level_gives_a_number_and_several_give_an_array():
    table = vertical(1.0, 2.0, 50.0)
    for read in (table.storage_at, table.area_at, table.soak_area_at, table.level_at):
        assert type(read(1.5)) is float
        assert read(np.array([1.2, 1.5])).shape == (2,)


def test_walls_are_vertical_above_the_table():
    table = vertical(1.0, 2.0, 50.0)
    assert table.storage_at(3.0) == pytest.approx(100.0)
    assert table.area_at(3.0) == 50.0


def test_wanted_levels_are_held_without_near_repeats():
    table = sampled(0.0, 1.0, lambda y: y, lambda _: 1.0, also_at_m=(0.5 + 1e-6, 0.5, 2.0))
    assert 0.5 in table.level_m
    assert (np.diff(table.level_m) > 1e-8).all()
    assert table.top_m == 1.0


def test_tables_cannot_be_written_to():
    with pytest.raises(ValueError, match="read-only"):
        vertical(0.0, 1.0, 5.0).storage_m3[0] = 3.0


@pytest.mark.parametrize(
    ("level", "storage", "area"),
    [
        ([0.0, 1.0], [0.0, 1.0, 2.0], [1.0, 1.0]),
        ([0.0], [0.0], [1.0]),
        ([1.0, 0.0], [0.0, 1.0], [1.0, 1.0]),
        ([0.0, 1.0], [0.5, 1.0], [1.0, 1.0]),
        ([0.0, 1.0], [0.0, 0.0], [1.0, 1.0]),
        ([0.0, 1.0], [0.0, 1.0], [1.0, -1.0]),
        ([0.0, np.nan], [0.0, 1.0], [1.0, 1.0]),
    ],
)
def test_broken_tables_are_refused(level, storage, area):
    arrays = [np.array(values) for values in (level, storage, area, area)]
    with pytest.raises(GridError):
        StageTable(*arrays)


def test_top_must_stand_over_the_floor():
    with pytest.raises(ValueError, match="above the floor"):
        sampled(1.0, 1.0, lambda y: y, lambda y: y)


def test_design_rate_is_the_tested_rate_over_the_safety_factor():
    assert Soak(36.0, 2.0).design_mm_per_h == 18.0
    assert Soak(36.0, 2.0).design_m_s == pytest.approx(5e-6)


def test_soil_by_green_and_ampt():
    soak = Soak.into(GreenAmpt(6.5, 167.0, 0.34), safety_factor=1.5)
    assert (soak.design_mm_per_h, soak.suction_mm, soak.deficit) == pytest.approx(
        (6.5 / 1.5, 167.0, 0.34)
    )


@pytest.mark.parametrize(
    "values", [(-1.0, 2.0), (1.0, 0.5), (1.0, 2.0, -5.0), (1.0, 2.0, 1.0, 1.0)]
)
def test_impossible_soakage_is_refused(values):
    with pytest.raises(ValueError, match="must be"):
        Soak(*values)


def element(**changes):
    values = {
        "element_id": "e",
        "kind": Kind.BASIN,
        "stages": vertical(0.0, 2.0, 10.0),
        "spill_level_m": 1.0,
        "crest_level_m": 1.4,
        "brim_length_m": 12.0,
        "freeboard_m": 0.15,
    }
    return Element(**(values | changes))


def test_element_levels_and_volumes():
    one = element()
    assert one.storage_m3 == pytest.approx(10.0)
    assert one.brim_storage_m3 == pytest.approx(14.0)
    assert one.highest_safe_m == pytest.approx(1.25)


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"spill_level_m": 1.5}, "must rise"),
        ({"spill_level_m": -0.1}, "must rise"),
        ({"brim_length_m": 0.0}, "brim"),
    ],
)
def test_impossible_elements_are_refused(change, says):
    with pytest.raises(ValueError, match=says):
        element(**change)


def test_element_without_a_shape_cannot_be_changed():
    with pytest.raises(ValueError, match="no dimension"):
        element().changed("depth_m", 1.0)


def test_a_level_asked_for_beside_an_end_takes_no_end_away():
    # nearer than a hundredth of a step to the floor and to the top
    table = sampled(10.0, 11.0, lambda y: y - 10, lambda _: 1.0, also_at_m=(10.00005, 10.99995))
    assert table.level_m[0] == 10.0
    assert table.level_m[-1] == 11.0
    assert {10.00005, 10.99995} <= set(table.level_m)
