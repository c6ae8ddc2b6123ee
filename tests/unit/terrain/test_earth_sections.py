"""Volumes from sections beside those from cells and closed forms."""

import numpy as np
import pytest
import shapely

from brimline.grid import Grid
from brimline.terrain.earthwork import earth_between, earth_by_sections, sections_across
from brimline.terrain.shaping import Bank, Bowl, Channel, LevelAlong, Pad, design

GRID = Grid(60, 80, 1.0, 0.0, 60.0)


def flat(x, _y):
    return np.zeros(np.shape(x))


def ready_with(*shapes, ground=flat):
    x, y = GRID.xy(*np.indices(GRID.shape))
    return design(ground(x, y).astype(np.float32), GRID, shapes)


def by_cells(ready, factor=8):
    done = ready.surface(factor=factor)
    parts = [earth_between(p.ground_m, p.design_m, p.grid.cell_area_m2) for p in done.pieces]
    return sum(parts[1:], parts[0])


def test_a_straight_channel_is_its_closed_form():
    b, z, y, length = 0.6, 2.0, 0.5, 40.0
    line = shapely.LineString([(20, 30), (60, 30)])
    ready = ready_with(Channel("a", line, LevelAlong.flat(-y), bottom_m=b, left=z, right=z))
    found = earth_by_sections(sections_across(ready, 1, flat, interval_m=5.0))
    exact = b * length * y + (length + b) * z * y**2 + np.pi * z**2 * y**3 / 3
    assert found.cut_m3 == pytest.approx(exact, rel=5e-3)
    assert found.fill_m3 == 0


def test_a_bend_counts_its_outside_longer_and_its_inside_shorter():
    # A bank 4 m outside a bend of radius 15 m: Pappus, length of the centroid's path.
    angle = np.linspace(0.1 * np.pi, 0.9 * np.pi, 60)
    line = shapely.LineString(np.c_[40 + 15 * np.cos(angle), 25 + 15 * np.sin(angle)])
    section_m2 = 2.0 * 0.5**2 + 0.4 * 0.5
    for offset, radius in ((-4.0, 19.0), (4.0, 11.0)):
        bank = Bank("a", line, LevelAlong.flat(0.5), offset_m=offset, top_m=0.4)
        ready = ready_with(bank)
        found = earth_by_sections(sections_across(ready, 1, flat, interval_m=2.0))
        ends = 0.4 * 2.0 * 0.5**2 + np.pi * 2.0**2 * 0.5**3 / 3
        assert found.fill_m3 == pytest.approx(section_m2 * radius * 0.8 * np.pi + ends, rel=0.01)
        assert found.fill_m3 == pytest.approx(by_cells(ready).fill_m3, rel=0.01)


def test_an_outline_is_cut_square_to_its_long_axis():
    outline = shapely.box(20, 25, 60, 35)
    ready = ready_with(Bowl("a", outline, 0.0, 1.5, 2.0))
    sections = sections_across(ready, 1, flat, interval_m=2.0)
    assert sections[0].left == pytest.approx((0, 1), abs=1e-9) or sections[0].left == pytest.approx(
        (0, -1), abs=1e-9
    )
    found = earth_by_sections(sections)
    # (A + 4 B + C)/6 D with sides of 2 to 1
    exact = (40 * 10 + 4 * 37 * 7 + 34 * 4) / 6 * 1.5
    assert found.cut_m3 == pytest.approx(exact, rel=0.01)


def test_only_the_element_asked_for_counts():
    line = shapely.LineString([(20, 30), (60, 30)])
    shapes = (
        Channel("ditch", line, LevelAlong.flat(-0.5), bottom_m=0.6),
        Pad("yard", shapely.box(30, 34, 50, 44), 1.0),
    )
    ready = ready_with(*shapes)
    alone = earth_by_sections(sections_across(ready_with(shapes[0]), 1, flat, interval_m=4.0))
    both = earth_by_sections(sections_across(ready, 1, flat, interval_m=4.0))
    assert both.cut_m3 == pytest.approx(alone.cut_m3, rel=1e-3)
    assert both.fill_m3 == 0
    yard = earth_by_sections(sections_across(ready, 2, flat, interval_m=1.0))
    assert yard.cut_m3 == 0
    assert yard.fill_m3 == pytest.approx(200 + 60 + np.pi * 4 / 3, rel=0.02)


def test_unusable_requests_are_refused():
    ready = ready_with(Pad("a", shapely.box(30, 34, 50, 44), 1.0))
    with pytest.raises(ValueError, match="no element number 2"):
        sections_across(ready, 2, flat, interval_m=1.0)
    with pytest.raises(ValueError, match="interval_m must be above 0"):
        sections_across(ready, 1, flat, interval_m=0.0)
