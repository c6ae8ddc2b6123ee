"""Setting out by hand: set-ups that a rod reaches from, and places by tape from two points."""

import numpy as np
import pytest

from brimline.lines.staking import Instrument, from_two_points, set_ups
from brimline.report.hand import hand

LEVEL = Instrument("bolt", 10.0, 1.5, 4.0)  # line of sight at 11.5 m


def test_one_set_up_serves_what_the_rod_reaches_from_the_benchmark():
    found, place = set_ups([11.0, 9.0, 11.5, 7.5], [10.5, 8.6, 11.5, 7.5], LEVEL)
    assert len(found) == 1
    assert found[0].sight_m == 11.5
    assert found[0].backsight_m == pytest.approx(1.5)
    assert place.tolist() == [0, 0, 0, 0]


def test_another_is_proposed_where_the_rod_does_not_reach_and_serves_all_that_one_can():
    ground = np.array([11.0, 13.0, 14.2, 7.0, 6.0])
    build = ground - 0.5
    found, place = set_ups(ground, build, LEVEL)
    assert place[0] == 0
    assert len({*place.tolist()}) == 3  # above and below
    for at, number in enumerate(place.tolist()):
        readings = found[number].sight_m - np.array([ground[at], build[at]])
        assert (readings >= 0).all()
        assert (readings <= LEVEL.rod_m).all()
    assert place[1] == place[2] != place[3] == place[4]


def test_the_level_is_carried_over_a_peg_that_both_set_ups_reach():
    found, place = set_ups([15.0], [14.6], LEVEL)
    one = found[int(place[0])]
    assert np.isnan(one.backsight_m)  # more than a rod above the benchmark
    low, high = one.peg_m
    for peg in (low, high):
        for sight in (LEVEL.sight_m, one.sight_m):
            assert -1e-9 <= sight - peg <= LEVEL.rod_m + 1e-9


def test_a_dig_deeper_than_the_rod_has_no_set_up():
    found, place = set_ups([11.0, 11.0], [10.0, 6.5], LEVEL)
    assert place.tolist() == [0, -1]
    assert len(found) == 1


def test_offsets_and_distances_are_those_of_a_three_four_five_triangle():
    # A at the origin, B 10 m east; a stake 3 m along and 4 m to the left: 5 m from A
    tape = from_two_points([3.0, 3.0], [4.0, -4.0], (0.0, 0.0), (10.0, 0.0))
    assert tape.along_m == pytest.approx([3, 3])
    assert tape.off_m == pytest.approx([4, -4])
    assert tape.from_a_m == pytest.approx([5, 5])
    assert tape.from_b_m == pytest.approx([np.hypot(7, 4)] * 2)
    # the same, turned and moved
    turned = from_two_points([100 - 4], [200 + 3], (100.0, 200.0), (100.0, 210.0))
    assert (turned.along_m[0], turned.off_m[0]) == pytest.approx((3, 4))


def test_tapes_that_cross_flatly_are_told():
    # on the line they do not cross at all; far off it at 2 atan(5/50) = 11.4°; at 45° each: 90°
    tape = from_two_points([5.0, 5.0, 5.0], [0.1, 50.0, 5.0], (0.0, 0.0), (10.0, 0.0))
    assert tape.weak.tolist() == [True, True, False]
    with pytest.raises(ValueError, match="apart"):
        from_two_points([1.0], [1.0], (0.0, 0.0), (0.5, 0.0))


@pytest.mark.parametrize(
    ("value_m", "metric", "us"),
    [
        (1.2346, "123.5", "48 5/8"),
        (0.0254, "2.5", "1"),
        (-0.0127, "-1.3", "-1/2"),
        (0.0, "0.0", "0"),
        (np.nan, "–", "–"),
    ],
)
def test_lengths_are_told_as_a_tape_shows_them(value_m, metric, us):
    # 1.2346 m are 48.606 in: 48 5/8 is the nearest eighth
    assert hand(value_m, "metric") == metric
    assert hand(value_m, "us") == us
