"""Subcatchments by hand, and what is refused."""

import numpy as np
import pytest

from brimline.drainage.catchments import height_above_drainage, longest_paths, subcatchments
from brimline.errors import GridError
from brimline.grid import NO_DATA, OUTLET

E, N, W, S = 0, 2, 4, 6

pytestmark = pytest.mark.interpreted


def ladder():
    """Six rows of five cells: each row runs east into column 4, which runs south."""
    codes = np.full((6, 5), E, dtype=np.uint8)
    codes[:, 4], codes[5, 4] = S, OUTLET
    return codes


def test_nested_intakes_share_the_ground_as_counted_by_hand():
    found = subcatchments(ladder(), [[5, 4], [1, 4], [3, 4], [3, 1]])
    np.testing.assert_array_equal(found.own_cells, [10, 10, 8, 2])
    np.testing.assert_array_equal(found.cells, [30, 10, 20, 2])
    np.testing.assert_array_equal(found.downstream_ids, [0, 3, 1, 3])
    np.testing.assert_array_equal(found.labels[3], [4, 4, 3, 3, 3])


def test_intakes_on_one_cell_follow_each_other_and_the_first_takes_the_ground():
    found = subcatchments(ladder(), [[3, 4], [5, 4], [3, 4], [3, 4], [1, 4]])
    np.testing.assert_array_equal(found.own_cells, [10, 10, 0, 0, 10])
    np.testing.assert_array_equal(found.cells, [20, 30, 20, 20, 10])
    np.testing.assert_array_equal(found.downstream_ids, [3, 0, 4, 2, 1])
    longest = longest_paths(ladder(), found, cell_m=2.0)
    np.testing.assert_array_equal(longest.length_m, [14.0, 18.0, 14.0, 14.0, 10.0])


def test_values_of_own_ground_gather_downstream():
    found = subcatchments(ladder(), [[5, 4], [1, 4], [3, 4]])
    np.testing.assert_array_equal(found.gathered([1.0, 2.0, 4.0]), [7, 2, 6])
    np.testing.assert_array_equal(found.gathered([1.0, 9.0, 4.0], np.maximum), [9, 9, 9])


def test_only_catchments_that_touch_what_lies_outside_are_edge_limited():
    """Rows 0 to 2 run south and rows 4 to 6 north, into row 3, which runs east."""
    codes = np.full((7, 9), N, dtype=np.uint8)
    codes[:3], codes[3], codes[3, 8] = S, E, OUTLET
    assert subcatchments(codes, [[2, 4]]).edge_limited[0]  # its column begins on row 0
    codes[0] = OUTLET  # now it begins on row 1, a cell away from the edge
    assert not subcatchments(codes, [[2, 4]]).edge_limited[0]
    codes[1, 5] = NO_DATA  # a hole beside it
    assert subcatchments(codes, [[2, 4]]).edge_limited[0]
    assert not subcatchments(codes, [[2, 2]]).edge_limited[0]


def test_an_intake_upstream_passes_its_limit_on_to_those_below():
    found = subcatchments(ladder(), [[3, 4], [3, 2]])
    assert found.edge_limited.tolist() == [True, True]


def test_no_intakes_leave_all_ground_unlabelled():
    found = subcatchments(ladder(), np.empty((0, 2), dtype=np.int64))
    assert found.labels.max() == 0
    assert found.cells.size == found.edge_limited.size == 0


def test_water_that_runs_in_a_circle_is_refused():
    codes = ladder()
    codes[2, 1], codes[2, 2] = E, W
    with pytest.raises(GridError, match="circle"):
        subcatchments(codes, [[5, 4]])
    with pytest.raises(GridError, match="circle"):
        height_above_drainage(np.zeros(codes.shape, np.float32), codes, codes == OUTLET)


def test_intakes_outside_the_data_are_named():
    codes = ladder()
    codes[0, 0] = NO_DATA
    with pytest.raises(
        GridError, match="2 of 3 intakes lie outside the data: 1 at row 0, column 0"
    ):
        subcatchments(codes, [[0, 0], [1, 1], [2, 5]])
    with pytest.raises(GridError, match="whole numbers"):
        subcatchments(codes, [[0.5, 1.0]])
