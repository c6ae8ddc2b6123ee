"""Volumes of earth against closed forms and textbook examples."""

import numpy as np
import pytest
from tests.drawn_errors import error_field

from brimline.errors import GridError
from brimline.terrain.earthwork import (
    Earth,
    average_end_area_m3,
    earth_between,
    earth_by_label,
    prismoidal_m3,
    section_areas,
    volume_error_m3,
)
from brimline.units import CUBIC_YARD_M3, FOOT_M


def test_average_end_area_of_a_textbook():
    # Ghilani & Wolf, Elementary Surveying, chapter 26, example 26.1: 711 and 515 ft² 100 ft apart
    # are 2270 yd³ (value from memory).
    found = average_end_area_m3([0, 100 * FOOT_M], np.array([711, 515]) * FOOT_M**2)
    assert found / CUBIC_YARD_M3 == pytest.approx(2270, abs=0.5)


def test_a_prism_is_exact_by_both():
    assert average_end_area_m3([0, 5, 12], [3.0, 3.0, 3.0]) == pytest.approx(36)
    assert prismoidal_m3([0, 6, 12], [3.0, 3.0, 3.0]) == pytest.approx(36)


def test_a_wedge_is_exact_by_both():
    # Even taper in one direction: area falls linearly, V = A L / 2.
    assert average_end_area_m3([0, 10], [4.0, 0.0]) == pytest.approx(20)
    assert prismoidal_m3([0, 5, 10], [4.0, 2.0, 0.0]) == pytest.approx(20)


def test_a_pyramid_is_half_as_large_again_by_end_areas():
    # Base A = 9, height L = 4: end areas give A L / 2 = 18, the middle section A/4 makes A L / 3.
    assert average_end_area_m3([0, 4], [9.0, 0.0]) == pytest.approx(18)
    assert prismoidal_m3([0, 2, 4], [9.0, 9 / 4, 0.0]) == pytest.approx(12)


def test_a_cone_frustum_is_exact_by_the_prismoidal_formula():
    # π h (R² + R r + r²) / 3
    big, small, height = 5.0, 2.0, 3.0
    areas = [np.pi * radius**2 for radius in (big, (big + small) / 2, small)]
    exact = np.pi * height * (big**2 + big * small + small**2) / 3
    assert prismoidal_m3([0, height / 2, height], areas) == pytest.approx(exact)
    assert average_end_area_m3([0, height], areas[::2]) > exact


def test_the_prismoidal_formula_of_the_pond_handbook():
    # USDA Agriculture Handbook 590 (1997): A 13 024, B 7 936, C 4 000 ft², D 12 ft → 97 536 ft³
    # (value from memory).
    areas = np.array([13_024, 7_936, 4_000]) * FOOT_M**2
    found = prismoidal_m3(np.array([0, 6, 12]) * FOOT_M, areas)
    assert found / FOOT_M**3 == pytest.approx(97_536)


def test_a_sidehill_section_counts_both_parts_exactly():
    # Ground rising 1 in 5 through a level bed: two triangles of base 5 and height 1.
    offset = np.array([-5.0, 5.0])
    found = section_areas(offset, offset / 5, np.zeros(2))
    assert (found.cut_m2, found.fill_m2) == pytest.approx((2.5, 2.5))
    # the centroid of a triangle lies a third of its base from its high side
    assert (found.cut_offset_m, found.fill_offset_m) == pytest.approx((10 / 3, -10 / 3))


def test_a_trapezoidal_cut_section():
    offset = np.array([-3.0, -1.3, -0.3, 0.3, 1.3, 3.0])
    design = np.array([0, 0, -0.5, -0.5, 0, 0])
    found = section_areas(offset, np.zeros(6), design)
    assert found.cut_m2 == pytest.approx((0.6 + 2 * 0.5) * 0.5)
    assert found.fill_m2 == 0
    assert found.cut_offset_m == pytest.approx(0)


def test_stretches_beside_nodata_do_not_count():
    found = section_areas(np.arange(4.0), np.array([1, 1, np.nan, 1.0]), np.zeros(4))
    assert found.cut_m2 == pytest.approx(1)


def test_cells_by_hand():
    ground = np.array([[1.0, 2.0], [3.0, np.nan]])
    design = np.array([[0.5, 4.0], [3.0, 0.0]])
    found = earth_between(ground, design, 4.0)
    assert found == Earth(2.0, 8.0, 4.0, 4.0, 0.5, 2.0)
    assert found + Earth(1, 1, 1, 1, 3, 1) == Earth(3.0, 9.0, 5.0, 5.0, 3, 2.0)


def test_cells_by_element():
    ground = np.zeros((2, 3))
    design = np.array([[-1.0, -2.0, 0.0], [1.0, 0.5, -4.0]])
    dug = np.array([[1, 2, 0], [0, 0, 2]], dtype=np.int32)
    heaped = np.array([[0, 0, 0], [2, 2, 0]], dtype=np.int32)
    one, two, none = earth_by_label(ground, design, 0.25, dug, heaped, 3)
    assert one == Earth(0.25, 0.0, 0.25, 0.0, 1.0, 0.0)
    assert two == Earth(1.5, 0.375, 0.5, 0.5, 4.0, 1.0)
    assert none == Earth()


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: average_end_area_m3([0], [1]), "two or more"),
        (lambda: average_end_area_m3([1, 0], [1, 1]), "must rise"),
        (lambda: prismoidal_m3([0, 1], [1, 1]), "odd number of sections"),
        (lambda: prismoidal_m3([0, 1, 4], [1, 1, 1]), "midway"),
        (lambda: section_areas(np.zeros(2), np.zeros(2), np.zeros(2)), "offsets of a section"),
        (lambda: section_areas(np.arange(2.0), np.zeros(3), np.zeros(2)), "as many levels"),
        (lambda: earth_between(np.zeros((1, 1)), np.zeros((1, 1)), 0.0), "above 0 m²"),
    ],
)
def test_unusable_numbers_are_refused(call, message):
    with pytest.raises(ValueError, match=message):
        call()


def test_labels_beyond_the_count_are_refused():
    two = np.full((1, 1), 2, dtype=np.int32)
    with pytest.raises(GridError, match="at most 1"):
        earth_by_label(np.zeros((1, 1)), np.ones((1, 1)), 1.0, two, two, 1)


@pytest.mark.parametrize(("long_m", "wide_m"), [(120, 4), (60, 60), (12, 12)])
def test_the_error_of_a_volume_is_that_of_many_drawn_surfaces(long_m, wide_m):
    # the outside: fields of survey error drawn one by one, summed over the footprint
    rng = np.random.default_rng(3)
    sums = [
        error_field(
            (long_m, wide_m), rmse_m=0.1, correlation_m=10.0, cell_m=1.0, random=rng
        ).sum(dtype=float)
        for _ in range(600)
    ]  # fmt: skip
    told = volume_error_m3(0.1, long_m * wide_m, long_m, 10.0)
    assert told == pytest.approx(np.std(sums), rel=0.1)
    assert volume_error_m3(0.2, long_m * wide_m, long_m, 10.0) == pytest.approx(2 * told)


def test_a_volume_without_ground_has_no_error():
    assert volume_error_m3(0.1, 0.0, 10.0, 10.0) == 0.0


def test_prisms_end_to_end_are_added_whatever_their_lengths():
    # areas of x²: each prism is exact, so that all hold 6³/3 over lengths of 2 and 4
    chainage = np.array([0.0, 1.0, 2.0, 4.0, 6.0])
    assert prismoidal_m3(chainage, chainage**2) == pytest.approx(72)


def test_an_error_that_is_alike_everywhere_moves_all_of_the_ground():
    assert volume_error_m3(0.1, 50.0, 10.0, 1e6) == pytest.approx(0.1 * 50.0)
    # just above and below the size at which the sides are taken for points
    near, far = (volume_error_m3(0.1, 50.0, 10.0, long_m) for long_m in (9.9e3, 10.1e3))
    assert near == pytest.approx(far, rel=1e-3)


def test_ground_that_crosses_the_design_twice_is_parted_at_both_crossings():
    # by hand: 1 + 1/4 + 1/4 m² are dug, 1/4 + 1 + 1/4 m² heaped up
    found = section_areas(np.arange(5.0), np.array([1.0, 1.0, -1.0, -1.0, 1.0]), np.zeros(5))
    assert (found.cut_m2, found.fill_m2) == pytest.approx((1.5, 1.5))


def test_ground_of_another_shape_is_refused():
    labels = np.zeros((2, 2), dtype=np.int32)
    with pytest.raises(GridError, match="ground_m"):
        earth_by_label(np.zeros((3, 2)), np.zeros((2, 2)), 1.0, labels, labels, 1)
