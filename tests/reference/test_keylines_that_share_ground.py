"""Two keypoints close together: whose ground is whose, and no line crosses another.

By rule the ground belongs to the nearest keyline (common practice, no source); distances by hand.
"""

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
import shapely

from brimline.grid import Grid
from brimline.lines.keyline import (
    cultivation_of_all,
    given_keypoint,
    guide_line,
    kept_apart,
    keylines,
    trimmed,
)
from brimline.lines.keyline.shares import share_of
from brimline.lines.level_lines import Drawing
from brimline.lines.limits import limits
from brimline.lines.relief import valley_lines

LINES = {"width_m": 3.0, "reach_m": 45.0, "turning_radius_m": 6.0}


@pytest.fixture(scope="module")
def valley():
    """A valley that falls by 10 %, its sides rising by distance squared; two keypoints 40 m apart.

    They lie 4 m apart in level, so half-way, 2 m from either, is where their ground meets.
    """
    grid = Grid(300, 240, 1.0, 0.0, 300.0)
    x, y = grid.xy(*np.indices(grid.shape))
    dem = (100 + 0.10 * y + 0.002 * (x - 120.3) ** 2).astype(np.float32)
    valleys = valley_lines(dem, grid, min_area_m2=2000.0)
    points = [
        given_keypoint(dem, grid, valleys, shapely.Point(120.3, north), keypoint_id=number)
        for number, north in ((1, 170.0), (2, 130.0))
    ]
    return dem, grid, valleys, keylines(points, dem, dem, grid, valleys)


def crossing(lines):
    one, other = shapely.STRtree(lines).query(lines, predicate="intersects")
    return [(int(a), int(b)) for a, b in zip(one, other, strict=True) if a < b]


def test_families_of_two_close_keypoints_share_the_ground(valley):
    dem, grid, _, both = valley
    upper, lower = both
    lines = cultivation_of_all(dem, grid, both, limits(dem, grid), min_length_m=5.0, **LINES)
    every = [one.line for one in (*lines, *both)]
    assert crossing(every) == []
    # half a pass between lines of different keylines, whole passes within a family
    own = {k: shapely.MultiLineString([o.line for o in lines if o.keyline_id == k]) for k in (1, 2)}
    assert own[1].distance(own[2]) >= 1.5 - 0.05
    assert own[1].distance(lower.line) >= 1.5 - 0.05
    for one in lines:
        mine, others = (upper, lower) if one.keyline_id == 1 else (lower, upper)
        places = shapely.points(shapely.get_coordinates(one.line))
        assert (shapely.distance(places, mine.line) < shapely.distance(places, others.line)).all()
    # on the floor the ground of the two meets half-way between their levels
    floor = shapely.LineString([(120.3, 172.0), (120.3, 128.0)])
    below = [o for o in lines if o.keyline_id == 1 and o.side == "below" and o.line.crosses(floor)]
    deepest = max(one.offset_m for one in below)
    assert deepest == 18.0  # 20 m is half-way, less half of 1.5 m to either side: 19.25 m
    # neither family loses ground that the other does not reach
    assert max(o.offset_m for o in lines if o.keyline_id == 1 and o.side == "above") == 45.0
    assert max(o.offset_m for o in lines if o.keyline_id == 2 and o.side == "below") == 45.0
    assert [one.line_id for one in lines] == list(range(1, len(lines) + 1))


def test_alone_a_keyline_has_all_the_ground_within_its_reach(valley):
    dem, grid, _, both = valley
    (alone,) = {
        max(
            one.offset_m
            for one in cultivation_of_all(dem, grid, both[:1], limits(dem, grid), **LINES)
        )
    }
    assert alone == 45.0
    assert len(share_of(both[0], both[:1], reach_m=45.0, apart_m=1.5).others) == 0


def test_a_drawn_guide_line_goes_before_a_keyline_that_it_crosses(valley):
    dem, grid, valleys, both = valley
    drawn = guide_line(
        shapely.LineString([(60, 150), (180, 190)]), dem, dem, grid, valleys, keyline_id=3
    )
    kept = kept_apart([drawn, *both], apart_m=1.5)
    assert kept[0] is drawn
    assert crossing([one.line for one in kept]) == []
    for one, other in pairwise(kept):
        assert one.line.distance(other.line) >= 1.5 - 0.01
    shortened = next(one for one in kept if one.keyline_id == 1)
    assert 0 < shortened.length_m < both[0].length_m
    lines = cultivation_of_all(dem, grid, kept, limits(dem, grid), **LINES)
    assert crossing([one.line for one in (*lines, *kept)]) == []


def test_a_keyline_that_lies_on_another_is_left_out(valley):
    *_, both = valley
    same = replace(both[0], keyline_id=9)
    assert [one.keyline_id for one in kept_apart([*both, same], apart_m=1.5)] == [1, 2]


def test_keylines_end_at_the_boundary_and_at_keep_outs(valley):
    dem, grid, _, both = valley
    site, pond = shapely.box(70, 60, 170, 240), shapely.Point(150, 152).buffer(6)
    where = limits(dem, grid, boundary=site, boundary_setback_m=5.0, keep_out=[pond])
    found = trimmed(both, dem, grid, where, Drawing(min_length_m=5.0))
    drawn = [one.line for one in found]
    assert shapely.contains(site.buffer(-4.99), drawn).all()
    assert not shapely.intersects(pond, drawn).any()
    assert {flag for one in found for flag in one.flags} == {"at-boundary", "at-keep-out"}
    for one in found:
        assert one.length_m == pytest.approx(one.line.length)
        assert one.level_rms_m <= one.level_error_m <= 0.05
    # the pond breaks the upper one: the longer piece keeps its number, the other comes after all
    assert [one.keyline_id for one in found] == [1, 2, 3]
    assert found[0].keypoint_id == found[2].keypoint_id == 1
    assert found[0].length_m > found[2].length_m
    nothing = limits(dem, grid, boundary=shapely.box(0, 0, 20, 20))
    assert trimmed(both, dem, grid, nothing, Drawing()) == []
