"""Rows keep their distance from each other, and the parts of one row from one another."""

import numpy as np
import pytest
import shapely

from brimline.lines.limits import Cut
from brimline.lines.rows.apart import made_room


def pieces(*lines):
    shapes = np.empty(len(lines), dtype=object)
    shapes[:] = [shapely.LineString(line) for line in lines]
    ends = np.zeros(len(lines), dtype=np.uint8)
    return Cut(shapes, np.arange(len(lines)), ends, ends)


def test_the_lower_row_makes_room():
    lower, upper = ((0, 0), (100, 0)), ((50, 3), (150, 3))
    found, level = made_room(
        pieces(lower, upper), np.array([9.0, 10.0]), np.zeros(0, dtype=object), 5.0, 10.0
    )
    assert level.tolist() == [10.0, 9.0]
    # 5 m from the upper row's end, 3 m up: 4 m short of it along the lower row
    assert found.lines[1].bounds == pytest.approx((0, 0, 46, 0), abs=0.01)


def test_parts_of_one_row_keep_their_distance_too():
    # The lower row comes within 4 m of the upper one's corner at 50 m alone: of the 82 and 18 m
    # left and right of it the longer stays, and the other keeps 4 m from that.
    lower, upper = ((0, 0), (100, 0)), ((60, 20), (70, 3.9), (80, 20))
    found, _ = made_room(
        pieces(lower, upper), np.array([9.0, 10.0]), np.zeros(0, dtype=object), 4.0, 5.0
    )
    first, second = found.lines[1], found.lines[2]
    gap = np.sqrt(4.0**2 - 3.9**2)
    assert first.bounds[2] == pytest.approx(70 - gap, abs=0.01)
    assert second.bounds[0] == pytest.approx(70 - gap + 4.0, abs=0.01)
    assert shapely.distance(first, second) == pytest.approx(4.0, abs=0.01)
