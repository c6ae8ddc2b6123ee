"""Discs that touch a guide, and what they say of the lines beside it; by hand."""

import numpy as np
import pytest

from brimline.lines.keyline.parallels import _kernels
from brimline.lines.keyline.parallels.strands import guide_of, strands
from brimline.lines.plane import boxes_of
from brimline.lines.sample import chainage

pytestmark = pytest.mark.interpreted


def reaches(xy, side, most):
    foot, aside = _kernels.frames(xy, side, 0.02)
    at = chainage(xy, np.zeros(len(xy), dtype=np.int64))
    box, about = boxes_of(xy), _kernels.windows(at, 1.5)
    reach, bound = _kernels.reaches(xy, box, about, foot, aside, 1.0, most)
    return foot, aside, reach, bound


def test_the_reach_into_a_circle_is_its_radius_and_out_of_it_has_no_bound():
    angle = np.linspace(0.0, np.pi, 64)
    xy = 10.0 * np.column_stack([np.cos(angle), np.sin(angle)])  # its inside is on its left
    _, _, inwards, _ = reaches(xy, 1.0, 50.0)
    np.testing.assert_allclose(inwards[1:-1], 10.0, rtol=1e-9)
    _, _, outwards, bound = reaches(xy, -1.0, 50.0)
    assert (outwards == 50.0).all()
    assert (bound == -1).all()


def test_between_two_banks_the_reach_is_half_the_way_across():
    x = np.arange(0.0, 20.1, 0.5)
    end = np.array([[21.0, 4.0]])
    xy = np.vstack([np.column_stack([x, 0 * x]), end, np.column_stack([x[::-1], 0 * x + 8.0])])
    foot, _, reach, bound = reaches(xy, 1.0, 50.0)
    straight = xy[foot, 0] < 15.0
    np.testing.assert_allclose(reach[straight], 4.0, atol=1e-9)
    np.testing.assert_allclose(xy[bound[straight], 1], 8.0 - xy[foot[straight], 1])


def test_a_vertex_that_bulges_has_frames_from_leg_to_leg():
    xy = np.array([[0.0, 0.0], [1.0, 0.0], [1.0, 1.0]])  # turns to the left
    foot, aside = _kernels.frames(xy, -1.0, 0.5)
    assert foot.tolist() == [0, 1, 1, 1, 1, 1, 2]
    np.testing.assert_allclose(aside[[1, 5]], [[0.0, -1.0], [1.0, 0.0]], atol=1e-12)
    np.testing.assert_allclose(np.hypot(*aside.T), 1.0)
    foot, aside = _kernels.frames(xy, 1.0, 0.5)
    assert foot.tolist() == [0, 1, 2]
    np.testing.assert_allclose(aside[1], np.array([-1.0, 1.0]) / np.sqrt(2), atol=1e-12)


def test_a_corner_is_rounded_about_the_place_where_both_legs_are_equally_far():
    """Beside a right angle, at 5 m, the turn of 3 m has its centre 8 m from both legs."""
    xy = np.array([[0.0, 0.0], [30.0, 0.0], [30.0, 30.0]])
    guide = guide_of(xy, most_m=5.0, turning_radius_m=3.0)
    (lines,) = strands(guide, [5.0], turning_radius_m=3.0)
    (line,) = lines
    points = np.array(line.coords)
    np.testing.assert_allclose(points[[0, -1]], [[0.0, 5.0], [25.0, 30.0]], atol=1e-6)
    turn = (points[:, 0] > 22.0) & (points[:, 1] < 8.0)
    assert turn.sum() > 4
    np.testing.assert_allclose(
        np.hypot(points[turn, 0] - 22.0, points[turn, 1] - 8.0), 3.0, atol=0.03
    )
    (outer,) = strands(guide, [-5.0], turning_radius_m=3.0)
    bulge = np.array(outer[0].coords)
    round_it = (bulge[:, 0] > 30.0) & (bulge[:, 1] < 0.0)
    np.testing.assert_allclose(
        np.hypot(bulge[round_it, 0] - 30.0, bulge[round_it, 1]), 5.0, atol=0.02
    )


def test_beside_banks_too_near_for_a_turn_the_line_stays_outside():
    """A spur 6 m wide: no line of 3 m with turns of 6 m goes into it; nothing is told as sound."""
    xy = np.array([[0.0, 0.0], [40.0, 0.0], [40.0, 40.0], [46.0, 40.0], [46.0, 0.0], [90.0, 0.0]])
    guide = guide_of(xy, most_m=8.0, turning_radius_m=6.0)
    (lines,) = strands(guide, [-8.0], turning_radius_m=6.0)
    (line,) = lines
    assert np.array(line.coords)[:, 1].max() < 1.0
