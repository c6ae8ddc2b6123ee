"""Counts against closed forms; water against the landscape coefficient method and FAO-56."""

import math

import numpy as np
import pytest
from shapely import LineString, MultiLineString, Polygon, box
from shapely.affinity import rotate

from brimline.planting import (
    Climate,
    Plant,
    a_week,
    along_line,
    demand_l,
    filled,
    need_l,
    round_centre,
    zone_kc,
)

TREE = Plant("tree", "apple", "canopy", 4.0, 5.0, 4.0, mature_y=10, kc=0.5, kc_dormant=0.2)
FLAT_YEAR = Climate(np.full(12, 30.0), np.zeros(12))


@pytest.mark.parametrize("spacing", [1.0, 0.5, 2.0])
def test_a_square_fill_is_the_area_over_the_spacing_squared(spacing):
    places, _ = filled(box(0, 0, 40, 20), spacing, pattern="square")
    assert len(places) == 40 * 20 / spacing**2


def test_a_triangular_fill_holds_a_seventh_more():
    # A / (0.866 s²): 115 % of the square fill, where the edge hardly counts
    places, rows = filled(box(0, 0, 300, 300), 1.0)
    assert len(places) / 90_000 == pytest.approx(1 / 0.866, rel=0.005)
    assert rows.max() + 1 == math.floor((300 - 0.433) / 0.8660254) + 1
    gaps = np.linalg.norm(places[1:400] - places[:399], axis=1)
    assert gaps.min() == pytest.approx(1.0)
    # all neighbours are one spacing away
    one = places[rows == 11][20]
    near = np.sort(np.linalg.norm(places - one, axis=1))[1:7]
    np.testing.assert_allclose(near, 1.0, atol=1e-9)


def test_a_small_bed_is_counted_and_not_divided():
    # 100 ft² at 12 in: 100 square (a planting table, second hand); triangular by counting its rows
    side = 10 * 0.3048
    bed = box(0, 0, side, side)
    assert len(filled(bed, 0.3048, pattern="square")[0]) == 100
    rows = math.floor((10 - 0.433) / 0.866) + 1
    expected = sum(10 if row % 2 == 0 else 11 for row in range(rows))  # edge to edge in odd rows
    assert len(filled(bed, 0.3048)[0]) == expected


def test_a_fill_turns_with_its_area_and_keeps_out_of_holes():
    turned = rotate(box(0, 0, 40, 20), 33, origin=(0, 0))
    assert len(filled(turned, 2.0, pattern="square")[0]) == 200
    holed = Polygon([(0, 0), (40, 0), (40, 20), (0, 20)], [[(10, 5), (20, 5), (20, 15), (10, 15)]])
    assert len(filled(holed, 1.0, pattern="square")[0]) == 800 - 100
    assert len(filled(Polygon(), 1.0)[0]) == 0


@pytest.mark.parametrize(("length", "spacing"), [(10.0, 2.0), (10.0, 3.0), (1.0, 4.0)])
def test_a_row_holds_one_more_than_its_gaps(length, spacing):
    places = along_line(LineString([(0, 0), (length, 0)]), spacing)
    assert len(places) == math.floor(length / spacing) + 1
    assert places[0, 0] == pytest.approx(length - places[-1, 0])


def test_rows_lie_beside_their_line_and_begin_anew_on_each_part():
    two = MultiLineString([[(0, 0), (10, 0)], [(20, 0), (25, 0)]])
    assert len(along_line(two, 5.0)) == 3 + 2
    beside = along_line(LineString([(0, 0), (10, 0)]), 5.0, offset_m=2.0)
    np.testing.assert_allclose(beside[:, 1], 2.0)


def test_companions_stand_evenly_round_their_centre():
    ring = round_centre((5.0, 5.0), 4, 2.0)
    np.testing.assert_allclose(ring, [[5, 7], [7, 5], [5, 3], [3, 5]], atol=1e-12)


def test_water_of_one_plant_is_that_of_the_drip_makers_formula():
    """0.623 × ft² × K × in/day / efficiency: 33.2 ft², 0.5, 0.20 in, 0.90 give 2.30 US gal a day.

    A drip maker's handbook, read; here in SI: m² × K × mm / efficiency.
    """
    crown_m = 2 * math.sqrt(33.2 * 0.3048**2 / math.pi)
    plant = Plant("a", "a", "canopy", 2.0, 3.0, crown_m, mature_y=1, kc=0.5, leaf_months=(7,))
    month = Climate(np.full(12, 0.20 * 25.4 * 31), np.zeros(12))
    a_day = need_l(plant, 1, month, efficiency=0.90)[6] / 31
    assert a_day / 3.785412 == pytest.approx(2.30, abs=0.01)
    assert a_week(need_l(plant, 1, month, efficiency=0.90), 7) == pytest.approx(7 * a_day)


def test_a_landscape_coefficient_gives_the_guide_s_depth():
    """K 0.5 × 1.2 × 1.4 = 0.84; 7.0 in of ETo: 5.88 in, 7.84 in at 75 % (Costello et al.)."""
    plant = Plant("a", "a", "shrub", 1.0, 1.0, 2.0, mature_y=1, kc=0.5 * 1.2 * 1.4)
    month = Climate(np.full(12, 7.0 * 25.4), np.zeros(12))
    assert demand_l(plant, 1, month)[6] / plant.crown_m2(1) / 25.4 == pytest.approx(5.88)
    given = need_l(plant, 1, month, efficiency=0.75)[6]
    assert given / plant.crown_m2(1) / 25.4 == pytest.approx(7.84)


def test_a_tree_drinks_with_the_square_of_its_age_until_it_is_grown():
    by_age = [demand_l(TREE, age, FLAT_YEAR)[6] for age in (1, 3, 10, 30)]
    np.testing.assert_allclose(np.array(by_age) / by_age[2], [0.01, 0.09, 1.0, 1.0])
    assert by_age[2] == pytest.approx(math.pi * 4 * 0.5 * 30)


def test_rain_on_the_crown_is_taken_off_and_never_more_than_all():
    wet = Climate(np.full(12, 30.0), np.array([10.0] * 6 + [100.0] * 6))
    need = need_l(TREE, 10, wet)
    assert need[5] == pytest.approx(math.pi * 4 * (0.5 * 30 - 10))
    assert need[6] == 0
    assert wet.driest_month == 1


@pytest.mark.parametrize("cover", [0.1, 0.3, 0.5, 0.7])
def test_a_zone_s_coefficient_is_at_most_a_third_below_that_of_fao_56_for_sparse_trees(cover):
    """FAO-56, chapter 9, as Allen & Pereira (2009), Irrigation Science 28, 17-34.

    Kc = Kc min + Kd (Kc full − Kc min), Kd the least of 1, 1.5 fc and fc^(1 / (1 + h)) (from
    memory): tall trees apart take more than the ground under them would. Ours is the even mean.
    """
    area, tree = 1000.0, Plant("t", "t", "canopy", 4.0, 4.0, 4.0, mature_y=1, kc=0.95)
    count = round(cover * area / tree.crown_m2(1))
    share = count * tree.crown_m2(1) / area
    density = min(1.0, 1.5 * share, share ** (1 / (1 + tree.height_m)))
    expected = 0.3 + density * (0.95 - 0.3)
    ours = zone_kc({tree: count}, area, 1, floor_kc=0.3)[6]
    assert 2 / 3 * expected < ours <= expected + 1e-9


def test_a_zone_s_coefficient_lies_between_its_crowns_and_its_floor():
    area = 100 * 16.0
    young, old = (zone_kc({TREE: 100}, area, age, floor_kc=0.3) for age in (0, 10))
    np.testing.assert_allclose(young, 0.3)
    cover = math.pi * 4 / 16
    assert old[6] == pytest.approx(cover * 0.5 + (1 - cover) * 0.3)
    crowded = zone_kc({TREE: 1000}, area, 10, floor_kc=0.3)
    assert crowded[6] == pytest.approx(0.5)  # ground is covered once
