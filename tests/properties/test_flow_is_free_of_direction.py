"""Turning or mirroring the ground turns or mirrors the flow, and does nothing else."""

import os
from pathlib import Path

import numpy as np
import pytest
import rasterio
from scipy.ndimage import gaussian_filter

from brimline.drainage.flow import accumulate, flow_directions
from brimline.terrain.conditioning import condition

MOST_THAT_DIFFER = 0.001  # share of cells whose contributing area is not the same in all eight


def eight(dem):
    """The ground turned and mirrored, each with the way back."""
    for mirrored in (False, True):
        for turns in range(4):

            def there(a, mirrored=mirrored, turns=turns):
                return np.ascontiguousarray(np.rot90(a[:, ::-1] if mirrored else a, turns))

            def back(a, mirrored=mirrored, turns=turns):
                a = np.rot90(a, -turns)
                return a[:, ::-1] if mirrored else a

            yield there(dem), back


def share_that_differs(dem, mode, cell_m=1.0):
    areas = []
    for ground, back in eight(dem):
        surface = condition(ground, cell_m=cell_m, mode=mode).surface
        areas.append(back(accumulate(flow_directions(surface))))
    areas = np.array(areas)
    valid = np.isfinite(areas[0])
    return float(np.mean(np.any(areas[:, valid] != areas[0, valid], axis=0)))


def rounded_ground(seed, step_m, side=300):
    random = np.random.default_rng(seed)
    dem = sum(
        gaussian_filter(random.standard_normal((side, side)), width) * width * 0.8
        for width in (2, 8, 30)
    )
    dem += 0.03 * np.arange(side)[:, None] + 50.0
    return (np.round(dem / step_m) * step_m).astype(np.float32)


@pytest.mark.parametrize("mode", ["fill", "breach"])
@pytest.mark.parametrize("step_m", [0.01, 0.1])
def test_on_rounded_ground(mode, step_m):
    shares = [share_that_differs(rounded_ground(seed, step_m), mode) for seed in range(3)]
    assert np.mean(shares) <= MOST_THAT_DIFFER, shares


def test_with_nodata_outside_and_inside():
    dem = rounded_ground(7, 0.01)
    dem[:60, :90] = np.nan
    dem[150:153, 200:204] = np.nan
    assert share_that_differs(dem, "fill") <= MOST_THAT_DIFFER


@pytest.mark.parametrize("band", [64, 300])
def test_whatever_the_bands_of_rows(band, monkeypatch):
    dem = rounded_ground(3, 0.05)
    whole = accumulate(flow_directions(condition(dem, cell_m=1.0).surface))

    def parts(rows):
        return [(top, min(top + band, rows)) for top in range(0, rows, band)]

    import brimline.drainage.flow.directions as directions
    import brimline.drainage.flow.flats.drain as drain

    monkeypatch.setattr(directions, "bands", parts)
    monkeypatch.setattr(drain, "bands", parts)
    in_bands = accumulate(flow_directions(condition(dem, cell_m=1.0).surface))
    np.testing.assert_array_equal(whole, in_bands)


@pytest.mark.realdata
@pytest.mark.parametrize("mode", ["fill", "breach"])
@pytest.mark.parametrize("step_m", [0.0, 0.01])
def test_on_glacial_ground(mode, step_m):
    folder = os.environ.get("BRIMLINE_DATA")
    if not folder:
        pytest.skip("BRIMLINE_DATA is not set")
    with rasterio.open(Path(folder) / "moraine_1m.tif") as source:
        dem = source.read(1, masked=True).filled(np.nan).astype(np.float64)
    if step_m:
        dem = np.round(dem / step_m) * step_m
    assert share_that_differs(dem.astype(np.float32), mode) <= MOST_THAT_DIFFER
