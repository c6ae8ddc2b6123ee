"""How wet ground ranks on its site."""

import numpy as np
import pytest

from brimline.planting.wetness import wet_limits, wetness_classes

INDEX = np.arange(100, dtype=np.float32).reshape(10, 10)
ALL = np.ones(INDEX.shape, dtype=bool)


def test_a_fifth_of_a_site_ranks_as_dry_and_a_tenth_as_wet():
    found = wetness_classes(INDEX, ALL, 0.2, 0.1)
    assert [int((found == place).sum()) for place in (0, 1, 2)] == [20, 70, 10]


def test_only_the_site_is_ranked_and_all_that_is_known_where_it_has_nothing():
    site = INDEX < 10
    assert wet_limits(INDEX, site, 0.0, 0.0) == (0.0, 9.0)
    unknown = np.where(site, np.nan, INDEX)
    assert wet_limits(unknown, site, 0.0, 0.0) == (10.0, 99.0)
    assert (wetness_classes(unknown, site, 0.2, 0.1)[site] == 255).all()


def test_limits_lie_in_order():
    dry, wet = wet_limits(INDEX, ALL, 0.25, 0.25)
    assert dry == pytest.approx(24.75)
    assert wet == pytest.approx(74.25)
