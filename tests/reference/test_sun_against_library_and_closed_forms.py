"""Sun on the ground against closed forms, FAO-56, and pvlib's own tilted planes."""

import numpy as np
import pandas as pd
import pytest
from pvlib import clearsky, irradiance, location
from scipy.ndimage import gaussian_filter, map_coordinates

from brimline._jit import threads
from brimline.errors import GridError
from brimline.grid.tiles import Window
from brimline.sun import skylines, sun_path, sunlight
from brimline.sun.path import ANGLES_RAD, BEARINGS_RAD, PERIODS

STEP_DEG = np.degrees(ANGLES_RAD[1])
FLAT = np.zeros((41, 41), np.float32)


def degrees(codes):
    return np.degrees(ANGLES_RAD[codes])


@pytest.mark.interpreted
@pytest.mark.parametrize("sector", [0, 16, 32, 48])
def test_a_wall_stands_as_high_as_its_height_over_its_distance(sector):
    east, north = round(np.sin(BEARINGS_RAD[sector])), round(np.cos(BEARINGS_RAD[sector]))
    surface = FLAT.copy()
    if north:
        surface[10 if north > 0 else 30] = 5.0
    else:
        surface[:, 30 if east > 0 else 10] = 5.0
    seen = skylines(FLAT, surface, cell_m=2.0)[sector]
    assert degrees(seen[20, 20]) == pytest.approx(np.degrees(np.arctan(5 / 20)), abs=STEP_DEG / 2)
    assert seen[20 - 12 * north, 20 + 12 * east] == 0 or (north, east) == (0, 0)


@pytest.mark.parametrize("rise_deg", [10.0, 30.0])
def test_sky_over_the_middle_of_a_crater_is_the_square_of_the_cosine(rise_deg):
    # uniform skyline, seen from level ground: Dozier & Frew (1990), equation 7b, integrated
    row, col = np.indices((121, 121)) - 60
    crater = (np.tan(np.radians(rise_deg)) * np.maximum(np.hypot(row, col) - 2, 0)).astype(
        np.float32
    )
    path = sun_path(45.0)
    seen = sunlight(crater, crater, path, cell_m=1.0).sky_share[60, 60]
    assert seen == pytest.approx(np.cos(np.radians(rise_deg)) ** 2, abs=0.02)


def test_sky_over_the_middle_of_an_endless_street_is_the_cosine():
    # walls of one height along both sides, far longer than high: Oke (1987), value from memory
    street = np.full((401, 41), 10.0, np.float32)
    ground = np.zeros_like(street)
    surface = ground.copy()
    surface[:, :11] = surface[:, 30:] = street[:, :11]
    seen = sunlight(ground, surface, sun_path(45.0), cell_m=1.0).sky_share[200, 20]
    assert seen == pytest.approx(np.cos(np.arctan(10 / 10)), abs=0.03)


@pytest.mark.parametrize("latitude", [-35.0, 0.0, 20.0, 47.0, 60.0])
def test_hours_of_open_ground_are_the_daylight_hours_of_fao_56(latitude):
    """FAO-56, equations 24, 25 and 34; refraction lengthens the days that are seen."""
    hours, _ = sun_path(latitude).open_ground()
    day = np.array([30.4 * month + 15 for month in range(12)])
    tilt = 0.409 * np.sin(2 * np.pi * day / 365 - 1.39)
    daylight = 24 / np.pi * np.arccos(-np.tan(np.radians(latitude)) * np.tan(tilt))
    longer = hours[:12] - daylight
    assert (longer > -0.1).all()
    assert (longer < 0.2 / np.cos(np.radians(latitude)) + 0.15).all()


def test_energy_of_a_plane_is_that_of_the_library():
    """pvlib's beam and isotropic sky on a tilted plane, one day at five minutes."""
    latitude, slope_deg, facing_deg = 47.0, 20.0, 150.0
    row, col = np.indices((31, 31)) - 15
    east, north = np.sin(np.radians(facing_deg)), np.cos(np.radians(facing_deg))
    plane = (-np.tan(np.radians(slope_deg)) * (east * col - north * row)).astype(np.float32)
    light = sunlight(plane, plane, sun_path(latitude), cell_m=1.0)
    for name, day in (("shortest day", "2025-12-21"), ("longest day", "2025-06-21")):
        times = pd.date_range(day, periods=288, freq="5min", tz="UTC")
        place = location.Location(latitude, 0.0, altitude=0)
        at = place.get_solarposition(times)
        at, times = at[at.apparent_elevation > 0], times[at.apparent_elevation > 0]
        sky = clearsky.ineichen(
            at.apparent_zenith, place.get_airmass(solar_position=at).airmass_absolute, 3.0,
            dni_extra=irradiance.get_extra_radiation(times),
        )  # fmt: skip
        beam = irradiance.beam_component(
            slope_deg, facing_deg, at.apparent_zenith, at.azimuth, sky.dni
        )
        diffuse = irradiance.isotropic(slope_deg, sky.dhi)
        expected = (beam + diffuse).sum() / 12 * 0.0036
        got = light.energy_mj_m2[PERIODS.index(name), 15, 15]
        assert got == pytest.approx(expected, rel=0.02)


def test_skyline_of_rough_ground_is_near_the_exact_one():
    """The exact one is marched in fine steps over the bilinear surface, from each cell's centre."""
    rng = np.random.default_rng(3)
    ground = (40 * gaussian_filter(rng.standard_normal((90, 90)), 6)).astype(np.float32)
    seen = degrees(skylines(ground, ground, cell_m=1.0))
    away = np.arange(0.1, 130, 0.1)
    off = []
    for row, col in rng.integers(15, 75, (25, 2)):
        for sector in range(0, 64, 5):
            rows = row - away * np.cos(BEARINGS_RAD[sector])
            cols = col + away * np.sin(BEARINGS_RAD[sector])
            inside = (rows >= 0) & (rows <= 89) & (cols >= 0) & (cols <= 89)
            levels = map_coordinates(ground, [rows[inside], cols[inside]], order=1)
            rise = ((levels - ground[row, col]) / away[inside]).max(initial=0)
            off.append(seen[sector, row, col] - np.degrees(np.arctan(rise)))
    assert np.abs(off).mean() < 0.3
    assert np.abs(np.mean(off)) < 0.1


def test_a_high_wall_in_the_south_takes_the_winter_sun():
    surface = FLAT.copy()
    surface[25] = 20.0
    light = sunlight(FLAT, surface, sun_path(47.0), cell_m=1.0)
    shortest = light.hours_h[PERIODS.index("shortest day")]
    assert shortest[20, 20] < 1.0
    assert shortest[30, 20] > 8.0  # south of it
    behind_far = skylines(FLAT, FLAT, cell_m=1.0, far=[(180, 30.0), (90, 0.0), (270, 0.0)])
    assert degrees(behind_far[32, 5, 5]) == pytest.approx(30.0, abs=STEP_DEG)


def test_grid_north_turns_the_sun():
    straight, turned = sun_path(47.0), sun_path(47.0, grid_north_deg=90.0)
    # a grid whose upward axis points east sees the southern sun to the right
    assert straight.table[32, 20, 0, 0] > 0
    hours = straight.table[:, 0, 0].clip(min=0), turned.table[:, 0, 0].clip(min=0)
    np.testing.assert_allclose(np.roll(hours[1], 16, axis=0), hours[0], atol=0.2)
    np.testing.assert_allclose(hours[1].sum(axis=0), hours[0].sum(axis=0), rtol=1e-6)


def test_nodata_stays_and_threads_do_not_matter():
    rng = np.random.default_rng(5)
    ground = rng.random((150, 40)).astype(np.float32) * 3
    ground[10:13, 5] = np.nan
    path = sun_path(30.0)
    with threads(1):
        one = sunlight(ground, ground, path, cell_m=1.0)
    with threads(2):
        two = sunlight(ground, ground, path, cell_m=1.0)
    np.testing.assert_array_equal(one.hours_h, two.hours_h)
    np.testing.assert_array_equal(one.energy_mj_m2, two.energy_mj_m2)
    assert np.isnan(one.hours_h[:, 11, 5]).all()
    assert np.isfinite(one.hours_h[:, 20]).all()


def test_what_cannot_be_is_refused():
    with pytest.raises(ValueError, match="latitude_deg"):
        sun_path(95.0)
    with pytest.raises(ValueError, match="below 90"):
        skylines(FLAT, FLAT, cell_m=1.0, far=[(0, 95.0)])
    with pytest.raises(GridError):
        skylines(FLAT, FLAT[:5], cell_m=1.0)


@pytest.mark.parametrize("block", [(5, 40, 20, 9), (0, 0, 60, 70), (59, 69, 1, 1)])
def test_sun_on_a_block_is_that_on_the_whole_ground(block):
    random = np.random.default_rng(2)
    ground = gaussian_filter(random.standard_normal((60, 70)), 4).astype(np.float32) * 40
    ground[10:14, 45:60] = np.nan
    at, path = Window(*block), sun_path(47.0)
    whole = sunlight(ground, ground, path, cell_m=2.0)
    part = sunlight(ground, ground, path, cell_m=2.0, block=at)
    for one, other in zip(part.__slots__, whole.__slots__, strict=True):
        expected = getattr(whole, other)[..., *at.slices]
        np.testing.assert_array_equal(getattr(part, one), expected)
