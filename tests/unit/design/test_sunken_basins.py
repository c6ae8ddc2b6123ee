"""A sunken basin heaps nothing up, and holds no more than its rim lets it."""

import math

import numpy as np
import pytest
import shapely

from brimline.elements import Basin, Soak
from brimline.elements.building import Building, shapes_of

RING = shapely.Point(0, 0).buffer(3.0, 64)


def basin(*, sunken):
    return Basin("a", RING, 10.0, Soak(10.0, 2.0), 0.3, 2.0, sunken=sunken).element()


def ground(x, y):
    """Fall 4 % southwards; the lowest place of the ring is at 10.03 m."""
    return 10.15 + 0.04 * np.asarray(y)


def bowl_of(element):
    (bowl,) = shapes_of(element, RING, [], ground, Building(0.3, 2.0, 0.0))
    return bowl


def test_no_bank_stands_round_a_sunken_basin():
    assert bowl_of(basin(sunken=True)).crest_m is None
    assert bowl_of(basin(sunken=False)).crest_m > 10.0


def test_it_holds_what_a_frustum_holds():
    # frustum of a cone: pi h (R^2 + R r + r^2) / 3, with r = R - side x depth
    whole = math.pi * 0.3 * (3.0**2 + 3.0 * 2.4 + 2.4**2) / 3
    held = basin(sunken=True).storage_m3
    assert held == pytest.approx(whole, rel=0.01)
    assert held == basin(sunken=False).storage_m3
