"""Distances from lines and crossings of lines, against a general-purpose geometry library."""

import numpy as np
import pytest
import shapely
import shapely.affinity
from hypothesis import given, settings
from hypothesis import strategies as st

from brimline.lines.plane import crossings, legs_of, nearer_m

MODERATE = settings(deadline=None, max_examples=60)


@st.composite
def some_lines(draw, least=1):
    rng = np.random.default_rng(draw(st.integers(0, 10_000)))
    return [
        shapely.LineString(np.cumsum(rng.normal(0, 5, (rng.integers(2, 60), 2)), axis=0))
        for _ in range(draw(st.integers(least, 4)))
    ]


@MODERATE
@given(own=some_lines(), others=some_lines(), walk=some_lines(), most=st.floats(0, 5))
def test_points_are_nearer_by_what_shapely_says(own, others, walk, most):
    """Where it is below `most`; above it, it is at least that and no more than it is."""
    points, index = shapely.get_coordinates(shapely.segmentize(walk, 0.5), return_index=True)
    found = nearer_m(points, index, legs_of(own), legs_of(others), most_m=most)
    places = shapely.points(points)
    apart = [shapely.distance(places, shapely.MultiLineString(lines)) for lines in (others, own)]
    true = apart[0] - apart[1]
    near = true <= most
    np.testing.assert_allclose(found[near], true[near], atol=1e-9)
    assert (found[~near] > most - 1e-9).all()
    assert (found[~near] <= true[~near] + 1e-9).all()


@MODERATE
@given(line=some_lines(), others=some_lines(0))
def test_lines_cross_where_shapely_says(line, others):
    walk = shapely.affinity.translate(line[0], 0.123, 0.456)  # no leg on another
    found = crossings(np.array(walk.coords), legs_of(others))
    shape = shapely.MultiLineString(others)
    met = shapely.intersection(walk, shape)
    assert (np.diff(found) >= 0).all()
    expected = shapely.get_coordinates(met)
    assert (len(found) == 0) == (len(expected) == 0)
    if len(expected):
        places = shapely.line_interpolate_point(walk, found)
        assert shapely.distance(places, shape).max() < 1e-6
        away = shapely.distance(shapely.points(expected), shapely.MultiPoint(list(places)))
        assert away.max() < 1e-6


def test_nothing_has_no_legs_and_is_never_near():
    nothing, one = legs_of([]), legs_of(shapely.LineString([(0, 0), (9, 0)]))
    assert (len(nothing), len(one)) == (0, 1)
    assert len(legs_of(shapely.MultiLineString())) == 0
    points, index = np.zeros((2, 2)), np.zeros(2, dtype=np.int64)
    assert (nearer_m(points, index, one, nothing, most_m=1.0) == np.inf).all()
    assert len(crossings(np.array([[0.0, -1.0], [0.0, 1.0]]), nothing)) == 0
    with pytest.raises(ValueError, match="own has no legs"):
        nearer_m(points, index, nothing, one, most_m=1.0)
