"""The audit by an independent library: silent on sound results, loud on broken ones."""

import os
from pathlib import Path

import numpy as np
import pytest
import rasterio
from matplotlib import cbook
from scipy import ndimage

from brimline.drainage.audit import across_hollows_pct, second_opinion
from brimline.drainage.flow import accumulate, flow_directions
from brimline.errors import GridError
from brimline.grid import D_COL, D_ROW, NO_DATA, OUTLET
from brimline.terrain.conditioning import breach, fill


def jacksboro():
    with cbook.get_sample_data("jacksboro_fault_dem.npz") as sample:
        return sample["elevation"].astype(np.float32)


def rolling(seed, rows=160, cols=130):
    """Smooth hills, half of whose ground lies in hollows."""
    noise = np.random.default_rng(seed).normal(size=(rows, cols))
    return (50 * ndimage.gaussian_filter(noise, 5)).astype(np.float32)


def results(dem, sinks=None):
    """Surface, directions, area in cells of 4 m², and the largest intakes well apart."""
    surface = fill(dem, sinks=sinks)
    directions = flow_directions(surface, sinks=sinks)
    area = 4.0 * accumulate(directions)
    gathered = np.argwhere(area >= np.nanquantile(area, 0.99))
    return surface, directions, area, gathered[::11]


def opinion(case, **options):
    return second_opinion(*case, cell_m=2.0, **options)


def test_real_elevation_of_whole_metres_agrees_though_it_is_full_of_flats_and_ties():
    case = results(jacksboro())
    found = opinion(case)
    assert found.accumulation_pct == 0.0
    assert found.greatest_pct == 0.0
    # the library lets a flat at the raster's edge leave at fewer cells than we do
    assert found.directions_pct < 0.01
    np.testing.assert_array_equal(found.area_m2, case[2][tuple(case[3].T)])


@pytest.mark.realdata
def test_a_survey_of_glacial_ground_agrees_in_every_cell():
    folder = os.environ.get("BRIMLINE_DATA")
    if not folder:
        pytest.skip("BRIMLINE_DATA is not set")
    with rasterio.open(Path(folder) / "moraine_1m.tif") as source:
        dem = source.read(1, masked=True).filled(np.nan).astype(np.float32)
    breached = breach(dem, cell_m=1.0, max_depth_m=1.0, max_length_m=30.0)
    found = opinion(results(breached))
    assert (found.greatest_pct, found.directions_pct) == (0.0, 0.0)


@pytest.mark.parametrize("seed", range(4))
def test_hilly_surfaces_agree_in_every_cell(seed):
    found = opinion(results(rolling(seed)))
    assert (found.greatest_pct, found.directions_pct) == (0.0, 0.0)


def test_an_outline_of_nodata_and_kept_sinks_agree():
    dem = rolling(8)
    row, col = np.indices(dem.shape)
    dem[np.hypot(row - 80, col - 60) > 70 + 6 * np.sin(row / 5.0)] = np.nan
    sinks = np.zeros(dem.shape, dtype=bool)
    sinks[[70, 90], [50, 66]] = True
    found = opinion(results(dem, sinks), sinks=sinks)
    assert (found.greatest_pct, found.directions_pct) == (0.0, 0.0)


def test_enclosed_nodata_away_from_hollows_agrees():
    row, col = np.indices((60, 50))
    dem = (0.5 * row + 0.03 * (col - 25.0) ** 2).astype(np.float32)
    dem[20:26, 20:23] = np.nan
    found = opinion(results(dem))
    assert (found.greatest_pct, found.directions_pct) == (0.0, 0.0)


def test_a_corrupted_area_is_found_with_its_size():
    surface, directions, area, intakes = results(jacksboro())
    broken = area.copy()
    broken[tuple(intakes[2])] *= 1.25
    found = second_opinion(surface, directions, broken, intakes, cell_m=2.0)
    assert found.accumulation_pct == pytest.approx(20.0)
    np.testing.assert_allclose(found.intake_pct[2], 20.0)
    assert (np.delete(found.intake_pct, 2) == 0).all()
    broken[tuple(intakes[2])] = np.nan
    assert second_opinion(surface, directions, broken, intakes, cell_m=2.0).greatest_pct == 100.0


def test_water_sent_to_the_wrong_neighbour_is_found():
    """Areas that follow wrong directions add up, and only the library's own routing tells."""
    surface, directions, area, _ = results(rolling(3))
    row, col = np.unravel_index(
        np.nanargmax(np.where(directions < OUTLET, area, np.nan)), area.shape
    )
    broken = directions.copy()
    broken[row, col] = OUTLET  # the largest stream ends here
    wrong = 4.0 * accumulate(broken)
    code = directions[row, col]
    below = np.array([[row + D_ROW[code], col + D_COL[code]]])
    found = second_opinion(surface, broken, wrong, below, cell_m=2.0)
    assert found.accumulation_pct == 0.0
    assert found.intake_pct[0] > 50.0
    assert found.directions_pct == pytest.approx(100.0 / area.size)


def test_nothing_is_printed(capfd):
    opinion(results(rolling(1, 40, 30)))
    assert capfd.readouterr() == ("", "")
    os.write(2, b"heard again")
    assert capfd.readouterr().err == "heard again"


def test_an_intake_outside_the_data_is_refused():
    dem = rolling(1, 20, 20)
    dem[:3] = np.nan
    surface, directions, area, _ = results(dem)
    assert directions[0, 0] == NO_DATA
    with pytest.raises(GridError, match="outside the data"):
        second_opinion(surface, directions, area, [[0, 0]], cell_m=2.0)


def test_no_intakes_leaves_the_accumulation_to_compare():
    surface, directions, area, _ = results(rolling(1, 20, 20))
    found = second_opinion(surface, directions, area, [], cell_m=2.0)
    assert found.area_m2.size == found.intake_pct.size == 0
    assert found.greatest_pct == 0.0


def test_ground_that_arrives_only_across_a_deep_hollow_is_told():
    # a gutter that falls south, 1 cell wide, its walls 5 m high; a hole of 2 m in its fifth cell
    dem = np.full((12, 3), 50.0, dtype=np.float32)
    dem[:, 1] = 20.0 - 0.1 * np.arange(12)
    dem[4, 1] -= 2.0
    intake = [(9, 1)]

    def told(deep_m, **options):
        area_m2 = accumulate(flow_directions(fill(dem))).astype(np.float64)
        return across_hollows_pct(dem, area_m2, intake, cell_m=1.0, deep_m=deep_m, **options)[0]

    # filled, 30 cells arrive: ten rows of three; five rows drain into the hole, and the sixth back
    # into it, for it is the steepest way from there
    assert told(0.5) == pytest.approx(100 * 18 / 30)
    assert told(2.5) == pytest.approx(0.0)  # no deeper than what is filled anyway
