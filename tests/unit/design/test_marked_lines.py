"""Lines marked on the ground: the level that they should have, and how far marks may err."""

import numpy as np
import pytest
import shapely

from brimline.design import MarkedLine, marked
from brimline.elements.building import StakeSpacing

LINE = shapely.LineString([(0, 0), (100, 0)])


def flat(x, y):
    return np.full(np.shape(x), 50.2)


def test_a_level_line_is_marked_at_its_level_and_a_falling_one_along_its_fall():
    spacing = StakeSpacing(25.0, 30.0, 0.0)
    level, falls = MarkedLine("A", LINE, 50.0, 50.0), MarkedLine("B", LINE, 50.0, 49.0, True)
    stakes, cuts = marked([level, falls], spacing, flat)
    a, b = ([one for one in stakes if one.element_id == name] for name in "AB")
    assert {one.design_m for one in a} == {50.0}
    assert [one.design_m for one in b] == pytest.approx([50 - one.x / 100 for one in b])
    assert a[0].cut_m == pytest.approx(0.2)
    assert [cut.element_id for cut in cuts] == ["A", "B"]
    assert cuts[1].design_m[[0, -1]].tolist() == pytest.approx([50.0, 49.0])


def test_marks_of_a_steeper_line_may_stand_farther_off():
    """The drop from one mark to the next is what an error may not turn round."""
    steep, gentle = (MarkedLine("B", LINE, 50.0, to_m, True) for to_m in (45.0, 49.5))
    assert steep.tolerance(20.0).error_m > gentle.tolerance(20.0).error_m > 0
