"""Snapping on a hand-made valley: what a person expects at joints, bends, branches and edges."""

import numpy as np
import pytest

from brimline.drainage.catchments import snap
from brimline.drainage.flow import accumulate
from brimline.errors import GridError
from brimline.grid import NO_DATA, OUTLET

E, N, W, S = 0, 2, 4, 6

pytestmark = pytest.mark.interpreted


def valley():
    """A stream along row 5 to the east, joined at column 5 by one from the north.

    Each cell is 1 m² of ground. Northern rows 0 to 3 gather in column 5: 11, 22, 33, 44 m²;
    row 4 and the southern rows drain straight to the stream, which grows by 7 m² a column:
    35 m² at column 4, 86 at the joint, 93 after it.
    """
    codes = np.full((11, 11), N, dtype=np.uint8)
    codes[:4, :5], codes[:4, 6:], codes[:5, 5], codes[4] = E, W, S, S
    codes[5], codes[5, 10] = E, OUTLET
    return codes, accumulate(codes)


def moved(points, *, codes_and_area=None, radius_m=3.0, min_area_m2=30.0, **options):
    codes, area = codes_and_area or valley()
    return snap(
        points, area, codes, cell_m=1.0, radius_m=radius_m, min_area_m2=min_area_m2, **options
    )


def test_the_areas_are_those_of_the_drawing():
    _, area = valley()
    assert [area[0, 5], area[3, 5], area[4, 5]] == [11, 44, 45]
    assert [area[5, 4], area[5, 5], area[5, 6]] == [35, 86, 93]


def test_a_point_on_a_flow_path_stays():
    found = moved([[4.6, 8.3]])
    assert (found.row[0], found.col[0], found.moved_m[0]) == (5, 8, 0.0)
    assert found.area_m2[0] == 107
    assert found.flags == ((),)


def test_a_point_beside_a_flow_path_moves_to_its_nearest_cell_and_says_how_far():
    found = moved([[7.25, 8.0]])
    np.testing.assert_array_equal(found.cells, [[5, 8]])
    assert found.moved_m[0] == pytest.approx(2.25)


def test_distances_are_metres_not_cells():
    codes, area = valley()
    found = snap([[7, 8]], 4 * area, codes, cell_m=2.0, radius_m=4.0, min_area_m2=120.0)
    assert (found.row[0], found.moved_m[0], found.area_m2[0]) == (5, 4.0, 4 * 107)
    short = snap([[7, 8]], 4 * area, codes, cell_m=2.0, radius_m=3.9, min_area_m2=120.0)
    assert short.flags == (("snap-failed",),)


def test_without_a_path_within_reach_the_point_stays_and_fails():
    found = moved([[9.2, 2.1]])
    assert (found.row[0], found.col[0], found.moved_m[0]) == (9, 2, 0.0)
    assert found.area_m2[0] == 2
    assert found.flags == (("snap-failed",),)


def test_a_point_that_may_not_move_stays_without_a_flag():
    found = moved([[9.2, 2.1], [7.0, 8.0]], movable=[False, True])
    np.testing.assert_array_equal(found.cells, [[9, 2], [5, 8]])
    assert found.flags == ((), ())


def test_a_branch_beside_the_joint_is_ambiguous_and_the_other_path_is_named():
    """At (5, 4) the western branch gathers 35 m²; one cell on, the stem gathers 86 m²."""
    found = moved([[5, 4]], radius_m=1.0)
    assert (found.row[0], found.col[0]) == (5, 4)
    assert found.flags == (("snap-ambiguous",),)
    assert (found.other_area_m2[0], found.other_distance_m[0]) == (86, 1.0)


def test_up_and_down_one_stem_is_never_ambiguous_though_areas_differ_by_more_than_two():
    """The stem comes from the north (45 of 86 m²); (3, 5) and (5, 6) are one path."""
    found = moved([[2, 6]], radius_m=3.2, min_area_m2=40.0)
    assert (found.row[0], found.col[0]) == (3, 5)
    assert valley()[1][5, 6] > 2 * found.area_m2[0]
    assert found.flags == ((),)
    assert np.isnan(found.other_area_m2[0])


def test_a_path_that_bends_back_within_reach_is_still_one_path():
    codes = np.full((5, 10), NO_DATA, dtype=np.uint8)
    codes[0], codes[:4, 9], codes[4] = E, S, W
    codes[4, 0] = OUTLET
    area = accumulate(codes)
    area[codes == NO_DATA] = np.nan
    found = moved([[1.9, 3.0]], codes_and_area=(codes, area), radius_m=2.2, min_area_m2=2.0)
    assert (found.row[0], found.col[0]) == (0, 3)
    assert area[4, 3] > 2 * area[0, 3]
    assert found.flags == ((),)


def two_streams(upper, lower):
    codes = np.full((3, 6), S, dtype=np.uint8)
    codes[[0, 2]] = E
    codes[[0, 2], 5] = OUTLET
    weights = np.zeros(codes.shape)
    weights[0, 0], weights[2, 0] = upper, lower
    return codes, accumulate(codes, weights)


def test_of_equally_near_paths_the_larger_is_taken_then_the_first():
    larger_below = moved([[1, 3]], codes_and_area=two_streams(10, 12), min_area_m2=5.0)
    assert (larger_below.row[0], larger_below.col[0], larger_below.flags[0]) == (2, 3, ())
    equal = moved([[1, 3]], codes_and_area=two_streams(10, 10), min_area_m2=5.0)
    assert (equal.row[0], equal.col[0]) == (0, 3)


@pytest.mark.parametrize(("other", "flags"), [(20.0, ()), (20.1, ("snap-ambiguous",))])
def test_two_paths_are_ambiguous_from_a_factor_above_two_in_either_direction(other, flags):
    nearer_small = moved([[0.2, 3]], codes_and_area=two_streams(10, other), min_area_m2=5.0)
    assert (nearer_small.row[0], nearer_small.flags[0]) == (0, flags)
    nearer_large = moved([[0.2, 3]], codes_and_area=two_streams(other, 10), min_area_m2=5.0)
    assert (nearer_large.row[0], nearer_large.flags[0]) == (0, flags)


def test_a_point_beyond_the_edge_moves_in_if_a_path_is_near_and_is_named_if_not():
    found = moved([[5, 11.4]], radius_m=2.0)
    assert (found.row[0], found.col[0]) == (5, 10)
    with pytest.raises(ValueError, match="point 2 at row 0, column 12 lies outside the data"):
        moved([[5, 3], [0, 12]], radius_m=2.0)


def test_no_points_give_no_rows():
    found = moved([])
    assert found.cells.shape == (0, 2)
    assert found.flags == ()


def test_sizes_and_shapes_are_checked():
    codes, area = valley()
    with pytest.raises(ValueError, match="radius_m >= 0 m"):
        moved([[5, 5]], radius_m=-1.0)
    with pytest.raises(ValueError, match="finite"):
        moved([[np.nan, 5]])
    with pytest.raises(GridError, match="share one shape"):
        moved([[5, 5]], codes_and_area=(codes[1:], area))
