"""What holds for snapped points on any surface."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from brimline.drainage.catchments import snap
from brimline.drainage.flow import accumulate, flow_directions
from brimline.grid import D_COL, D_ROW, OUTLET
from brimline.terrain.conditioning import fill

CELL_M = 2.0


@st.composite
def cases(draw):
    """A rough tilted surface, its areas, points on it, a radius and a threshold."""
    random = np.random.default_rng(draw(st.integers(0, 10_000)))
    dem = random.normal(0, 1, (9, 12)) + 0.4 * np.arange(9)[:, None]
    dem[random.random(dem.shape) < 0.05] = np.nan
    directions = flow_directions(fill(dem.astype(np.float32)))
    inside = np.argwhere(~np.isnan(dem))
    points = inside[random.integers(0, len(inside), 4)] + random.uniform(-0.5, 0.5, (4, 2))
    radius_m, threshold = draw(st.sampled_from([0.0, 2.5, 5.0])), draw(st.sampled_from([8.0, 20.0]))
    return directions, CELL_M**2 * accumulate(directions), points, radius_m, threshold


def snapped(case):
    directions, area, points, radius_m, threshold = case
    return snap(points, area, directions, cell_m=CELL_M, radius_m=radius_m, min_area_m2=threshold)


def distances(area, point):
    """From a point to every cell's centre [m]; 0 to the cell that holds it."""
    row, col = np.indices(area.shape)
    found = CELL_M * np.hypot(row - point[0], col - point[1])
    found[tuple(np.floor(point + 0.5).astype(int))] = 0.0
    return found


def stem_end(directions, area, row, col):
    """Walk down until another donor of the receiver gathers more."""
    while directions[row, col] != OUTLET:
        code = directions[row, col]
        r, c = row + D_ROW[code], col + D_COL[code]
        rivals = []
        for k in range(8):
            rr, cc = r + D_ROW[k], c + D_COL[k]
            if 0 <= rr < area.shape[0] and 0 <= cc < area.shape[1] and directions[rr, cc] == k ^ 4:
                rivals.append((-area[rr, cc], rr, cc))
        if min(rivals)[1:] != (row, col):
            break
        row, col = r, c
    return row, col


@given(cases())
@settings(deadline=None, max_examples=120)
@pytest.mark.interpreted
def test_a_point_moves_to_the_nearest_path_within_reach_or_fails_in_place(case):
    _, area, points, radius_m, threshold = case
    found = snapped(case)
    for number, point in enumerate(points):
        distance = distances(area, point)
        near = (distance <= radius_m) & (area >= threshold)
        place = found.row[number], found.col[number]
        if near.any():
            assert distance[place] == distance[near].min() == found.moved_m[number]
            assert area[place] == found.area_m2[number] >= threshold
            assert "snap-failed" not in found.flags[number]
        else:
            assert distance[place] == found.moved_m[number] == 0
            assert found.flags[number] == ("snap-failed",)


@given(cases())
@settings(deadline=None, max_examples=120)
@pytest.mark.interpreted
def test_a_point_is_ambiguous_where_another_stem_within_reach_differs_by_more_than_two(case):
    directions, area, points, radius_m, threshold = case
    found = snapped(case)
    for number, point in enumerate(points):
        distance = distances(area, point)
        nearest = {}
        for row, col in np.argwhere((distance <= radius_m) & (area >= threshold)):
            end = stem_end(directions, area, row, col)
            here = (distance[row, col], -area[row, col], row, col)
            nearest[end] = min(nearest.get(end, here), here)
        ratios = [-rank[1] / found.area_m2[number] for rank in nearest.values()]
        expected = any(ratio > 2 or ratio < 0.5 for ratio in ratios)
        assert ("snap-ambiguous" in found.flags[number]) == expected
        assert np.isnan(found.other_area_m2[number]) != expected
