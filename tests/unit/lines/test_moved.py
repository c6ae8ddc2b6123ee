"""How far lines of one survey lie from those of another."""

import numpy as np
import pytest
import shapely
from shapely import LineString

from brimline.lines.moved import moved, points_along


def wavy(shift=0.0):
    x = np.linspace(0, 200, 101)
    return LineString(np.column_stack([x, 20 * np.sin(x / 30) + shift]))


def one(then, now, tolerance_m=1.0, reach_m=10.0):
    return moved(then, now, tolerance_m=tolerance_m, reach_m=reach_m)


def test_parallel_straight_lines_lie_their_spacing_apart():
    (found,) = one([LineString([(0, 0), (100, 0)])], [LineString([(-9, 3), (109, 3)])])
    assert (found.status, found.then, found.now) == ("moved", 0, 0)
    assert found.mean_m == pytest.approx(3.0)
    assert found.most_m == pytest.approx(3.0)
    assert found.near_pct == 0.0


def test_the_greatest_distance_is_the_hausdorff_distance_by_shapely():
    old, new = wavy(), LineString([(0, 2), (200, 6)])
    (found,) = one([old], [new], reach_m=50)
    # to a single convex new line the directed distance is reached at a vertex of the old one
    directed = max(new.distance(shapely.Point(p)) for p in points_along(old, 0.05))
    assert found.most_m == pytest.approx(directed, abs=0.05)


def test_lines_are_matched_by_where_they_run_and_not_by_order():
    then = [wavy(0), wavy(50), wavy(100)]
    now = [wavy(100.2), wavy(-200), wavy(0.1)]
    found = one(then, now)
    assert [(m.then, m.now, m.status) for m in found] == [
        (0, 2, "kept"), (1, None, "gone"), (2, 0, "kept"), (None, 1, "new"),
    ]  # fmt: skip


def test_a_line_that_was_split_is_kept():
    whole = LineString([(0, 0), (100, 0)])
    parts = [LineString([(0, 0), (60, 0)]), LineString([(60, 0), (100, 0)])]
    found = one([whole], parts)
    assert (found[0].now, found[0].status, found[0].near_pct) == (0, "kept", 100.0)


def test_nothing_to_match_with():
    assert [m.status for m in one([wavy()], [])] == ["gone"]
    assert [m.status for m in one([], [wavy()])] == ["new"]
    with pytest.raises(ValueError, match="tolerance_m <= reach_m"):
        one([wavy()], [wavy()], tolerance_m=5, reach_m=1)
