"""Proposed rows that are worth digging: level, holding what reaches them, as many as asked."""

import os
from pathlib import Path

import numpy as np
import pytest
import rasterio
import shapely
from matplotlib import cbook
from scipy.ndimage import gaussian_filter

from brimline.drainage.flow import accumulate, flow_directions
from brimline.grid import Grid
from brimline.layers.flags import needs_look
from brimline.lines.level_lines import Drawing
from brimline.lines.limits import limits
from brimline.lines.rows import Duty, RowSection, RowSpacing, WantedRows, swale_rows
from brimline.terrain.conditioning import fill
from brimline.terrain.smooth import smoothed

DUTY = Duty(runoff_mm=25.0, storage_m2=0.56, soak_mm=20.0, wetted_width_m=1.4)
DEEPER = tuple(RowSection(*one, 10.0) for one in ((0.4, 0.588), (0.6, 1.116), (0.8, 1.8)))
SPACING = RowSpacing("volume", 8.0, 40.0)


def rows_on(dem, wanted, *, path_m2=np.inf, spacing=SPACING):
    grid = Grid(*dem.shape, 1.0)
    surface = smoothed(dem, cell_m=1.0, sigma_m=2.0)
    area = accumulate(flow_directions(fill(dem)))
    where = limits(surface, grid, area_m2=area, path_area_m2=path_m2, max_slope_pct=30.0)
    drawing = Drawing(min_length_m=30.0, tolerance_m=0.05)
    return swale_rows(dem, surface, grid, where, DUTY, spacing, drawing=drawing, wanted=wanted)


@pytest.fixture(scope="module")
def hillside():
    """Spurs and hollows on a slope, so that some rows get more than they hold."""
    row, col = np.indices((240, 240), dtype=np.float64)
    rng = np.random.default_rng(5)
    rough = smoothed(rng.normal(size=row.shape).astype(np.float32), cell_m=1.0, sigma_m=3.0)
    dem = 60 - 0.1 * row + 2.0 * np.cos(2 * np.pi * col / 120) * row / 240
    return (dem + 0.03 * rough / rough.std()).astype(np.float32)


def test_what_is_proposed_holds_what_reaches_it_and_asks_no_one_to_look(hillside):
    every = rows_on(hillside, WantedRows(any_size=True), path_m2=3000.0)
    worth = rows_on(hillside, WantedRows(sections=DEEPER), path_m2=3000.0)
    assert any(row.must_hold_m3 > row.holds_m3 for row in every)
    assert sum(row.length_m for row in worth) > 0.6 * sum(row.length_m for row in every)
    for row in worth:
        reaches_m3 = row.must_hold_m3 + row.from_above_m3
        assert row.passes_on_m3 == pytest.approx(max(reaches_m3 - row.holds_m3, 0.0), abs=1e-9)
        assert row.passes_on_m3 == 0 or row.passes_to >= 0
        assert row.length_m >= 30.0 - 1e-6
        assert not needs_look(row.flags)
        # none is dug deeper than the first depth that holds all that reaches it
        enough = [one.depth_m for one in DEEPER if one.holds_m3_per_m * row.length_m >= reaches_m3]
        assert row.depth_m <= [*enough, DEEPER[-1].depth_m][0]
    # what is kept is what runs off their strips: nothing leaves the last row of a stack
    assert sum(row.kept_m3 for row in worth) == pytest.approx(
        sum(row.must_hold_m3 for row in worth)
    )


def test_a_length_and_a_budget_pick_the_set(hillside):
    every = rows_on(hillside, WantedRows(sections=DEEPER))
    some = rows_on(hillside, WantedRows(sections=DEEPER, most_length_m=600.0))
    paid = rows_on(hillside, WantedRows(sections=DEEPER, most_cost=6000.0))
    total = sum(row.length_m for row in some)
    assert 0 < total <= 600.0 < sum(row.length_m for row in every)
    assert [row.line.wkt for row in paid] == [row.line.wkt for row in some]
    assert not any(needs_look(row.flags) for row in some)

    def kept_per_m(rows):
        return sum(row.kept_m3 for row in rows) / sum(row.length_m for row in rows)

    assert kept_per_m(some) >= 0.9 * kept_per_m(every)


def test_a_row_that_curls_in_a_hollow_is_not_proposed_and_one_round_a_knoll_is():
    row, col = np.indices((200, 200), dtype=np.float64)
    apart = np.hypot(row - 99.5, col - 99.5)
    knoll, hollow = (100 - 0.1 * apart).astype(np.float32), (80 + 0.1 * apart).astype(np.float32)
    assert any(one.line.is_ring for one in rows_on(knoll, WantedRows(sections=DEEPER)))
    rings = rows_on(hollow, WantedRows(any_size=True))
    assert any(one.line.is_ring for one in rings)
    for one in rows_on(hollow, WantedRows(sections=DEEPER)):
        way = np.diff(shapely.get_coordinates(one.line), axis=0)
        turned = np.unwrap(np.arctan2(way[:, 1], way[:, 0]))
        assert turned[-1] - turned[0] < 1.5 * np.pi + 0.1


def test_numbers_out_of_range_are_refused():
    with pytest.raises(ValueError, match="budget"):
        WantedRows(most_cost=100.0)
    with pytest.raises(ValueError, match="negative"):
        WantedRows(most_length_m=-1.0)


def moraine():
    folder = os.environ.get("BRIMLINE_DATA")
    if not folder:
        pytest.skip("BRIMLINE_DATA is not set")
    with rasterio.open(Path(folder) / "moraine_1m.tif") as source:
        return source.read(1, masked=True).filled(np.nan).astype(np.float32)


def mountain():
    """Mountains and valleys of a real survey of 90 m, made small so that their slopes stay."""
    with cbook.get_sample_data("jacksboro_fault_dem.npz") as sample:
        return gaussian_filter(sample["elevation"].astype(np.float32), 1.0) / np.float32(92.7)


@pytest.mark.parametrize("ground", [mountain, pytest.param(moraine, marks=pytest.mark.realdata)])
def test_on_real_ground_at_most_a_tenth_needs_a_person(ground):
    dem = ground()
    before = rows_on(dem, WantedRows(any_size=True), path_m2=20_000.0)
    rows = rows_on(dem, WantedRows(sections=DEEPER), path_m2=20_000.0)
    assert sum(needs_look(row.flags) for row in before) > 0.5 * len(before)
    assert len(rows) > 10
    assert sum(needs_look(row.flags) for row in rows) <= 0.1 * len(rows)
