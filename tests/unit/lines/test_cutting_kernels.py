"""Small loops behind the cutting of lines, on values worked out by hand."""

import numpy as np
import pytest

from brimline.lines import _kernels

pytestmark = pytest.mark.interpreted


def test_points_read_the_code_of_their_cell_and_another_beyond_the_grid():
    codes = np.array([[1, 2], [3, 4]], dtype=np.uint8)  # 2 m cells, north-west corner (10, 20)
    points = np.array([[10.0, 20.0], [13.9, 16.1], [12.0, 18.0], [9.9, 19.0], [11.0, 15.9]])
    found = _kernels.codes_at(points, codes, (10.0, 20.0, 2.0), np.uint8(9))
    assert found.tolist() == [1, 4, 4, 9, 9]


def test_chainage_begins_anew_with_each_line():
    points = np.array([[0.0, 0.0], [3.0, 4.0], [3.0, 5.0], [9.0, 9.0], [9.0, 7.0]])
    index = np.array([0, 0, 0, 1, 1])
    assert _kernels.chainages(points, index).tolist() == [0.0, 5.0, 6.0, 0.0, 2.0]


def test_only_ends_bends_and_turns_back_are_no_mere_samples():
    points = np.array(
        [[0, 0], [1, 0], [2, 0], [2, 1], [2, 2], [2, 1], [7, 7], [8, 7], [9, 7]], dtype=float
    )
    index = np.array([0, 0, 0, 0, 0, 0, 1, 1, 1])
    kept = _kernels.bends(points, index, 1e-6)
    assert kept.tolist() == [True, False, True, False, True, True, True, False, True]


def test_drift_along_a_line_is_the_fall_of_its_halves():
    """On a plane that falls by 2 % to the east: from x = 20 m it falls one way, rises the other."""
    dem = np.tile(50.0 - 0.02 * np.arange(60, dtype=np.float32), (4, 1)).astype(np.float32)
    xy, along = np.array([[5.0, 2.0], [55.0, 2.0]]), np.array([0.0, 50.0])
    parts = np.array([[15.0, 0.0], [15.0, 50.0]])
    fall, length, right = _kernels.drift(dem, (0.0, 4.0, 1.0), xy, along, parts, 0.0, 50.0, 2.5)
    assert length == pytest.approx(50.0)
    assert right == pytest.approx(35.0)
    assert fall == pytest.approx(0.02 * (35.0 - 15.0), abs=1e-4)
    nothing = np.empty((0, 2))
    assert _kernels.drift(dem, (0.0, 4.0, 1.0), xy, along, nothing, 0.0, 50.0, 2.5) == (
        0.0,
        0.0,
        0.0,
    )
