"""Dual crop coefficients against FAO-56's example 35 and the USDA's pyfao56.

FAO-56 (Allen et al. 1998), chapter 7, could not be reached: example 35's inputs are from memory,
and its days were worked by hand from equations 71 to 77, to the digits that the book prints.
"""

import numpy as np
import pandas as pd
import pytest
from pyfao56 import Irrigation, Model, Parameters, Weather

from brimline.balance.planting import Planting
from brimline.balance.simulate import ZONE_COLUMNS, columns, simulate
from brimline.balance.soil import TEXTURES
from brimline.balance.surface import Air, SoilSurface, cover_share, most_kc
from brimline.balance.system import System, Zone

DAYS = 240

# Example 35: young cotton on sandy loam (field capacity 0.23, wilting point 0.10), REW 8 mm, TEW
# 18 mm; 40 mm of water on 0.8 of the ground before the first day, 6 mm of rain on the morning of
# the sixth; Kc max 1.21.
ET0 = [4.5, 5.0, 3.9, 4.2, 4.8, 2.7, 5.8, 5.1, 4.7, 5.2]
KCB = [0.30, 0.31, 0.32, 0.33, 0.34, 0.36, 0.37, 0.38, 0.39, 0.40]
BARE = [0.92, 0.91, 0.91, 0.90, 0.89, 0.88, 0.87, 0.86, 0.86, 0.85]
# By hand. Day 1: the surface is wet (Kr 1), Ke = min(1.21 - 0.30, 0.8 × 1.21) = 0.91, E = 0.91 ×
# 4.5 = 4.10, De = 4.10 / 0.8 = 5.12. Day 2: De below REW, Ke 0.90, E 4.50, De 10.74. Day 3: Kr =
# (18 - 10.74) / 10 = 0.726, Ke = 0.726 × 0.89 = 0.646, E 2.52, De 13.89; and so on. Day 6: rain
# leaves De = 16.94 - 6 = 10.94 and wets all, so that 0.88 is exposed and wetted: Kr 0.706, Ke
# 0.600, E 1.62, De 10.94 + 1.62 / 0.88 = 12.78.
KE = [0.91, 0.90, 0.65, 0.36, 0.19, 0.60, 0.44, 0.19, 0.10, 0.05]
DRY_MM = [5.12, 10.74, 13.89, 15.79, 16.94, 12.78, 15.70, 16.83, 17.36, 17.68]


@pytest.mark.interpreted
def test_fao56_example_35():
    # the day before, without evapotranspiration, waters the drawn-down soil in the evening
    days = 11
    rain = np.array([0, 0, 0, 0, 0, 0, 6.0, 0, 0, 0, 0])
    surface = SoilSurface(
        np.full(days, 1.21), 1 - np.array([0.92, *BARE]), 18.0, 8.0, wetted_share=0.8,
        start_dry_mm=18.0,
    )  # fmt: skip
    zone = Zone("cotton", 1000.0, 200.0, 0.8, np.array([0.3, *KCB]), np.zeros(days),
                efficiency=1.0, most_mm=40.0, start_full=0.19, surface=surface)  # fmt: skip
    system = System(rain, np.array([0.0, *ET0]), (zone,), ())
    found = {
        name: values[1:]
        for name, values in columns(simulate(system).zones[:, 0], ZONE_COLUMNS).items()
    }
    given = simulate(system).zones[:, 0, ZONE_COLUMNS.index("irrigation_mains_m3")]
    assert given.tolist() == [40.0] + [0.0] * 10
    np.testing.assert_allclose(found["evaporated_mm"] / ET0, KE, atol=0.0051)
    np.testing.assert_allclose(found["surface_dry_mm"], DRY_MM, atol=0.011)
    # roots are not short of water: all of it is transpired, and the rest of the loss evaporates
    np.testing.assert_allclose(found["et_mm"] - found["evaporated_mm"], np.multiply(KCB, ET0))
    np.testing.assert_allclose(found["demand_mm"], found["et_mm"])


@pytest.mark.parametrize("name", TEXTURES)
def test_what_evaporates_from_each_texture_follows_from_its_contents(name):
    # FAO-56, equation 73: TEW = 1000 (θFC - 0.5 θWP) Ze, with the 0.10 m of table 19
    soil = TEXTURES[name]
    middle = [sum(ends) / 2 for ends in (soil.field_capacity, soil.wilting_point)]
    readily, evaporable = soil.evaporable_mm()
    assert evaporable == pytest.approx(1000 * (middle[0] - middle[1] / 2) * 0.1, abs=1.6)
    assert 0.3 < readily / evaporable < 0.6
    for within in ("low", "high"):
        assert soil.evaporable_mm(within)[0] < soil.evaporable_mm(within)[1]


# pyfao56 (Thorp 2022, doi:10.1016/j.softx.2022.101208) takes rain and water in the evening and
# lets what is too much for the surface drain before the day's evaporation; here rain comes in the
# morning, and what was given in the evening drains then. So where no wetting is more than what has
# evaporated, and rain is given there a day earlier, both must agree to rounding; elsewhere theirs
# evaporates less, by up to a day's share for each wetting.
PLANTING = Planting(
    "test", (0.3, 1.05, 0.5), (0.15, 1.0, 0.4), (40, 50, 90, 60), 1, 0.5, 0.6, 0.4,
    height_m=(0.05, 0.6), standard_climate=False,
)  # fmt: skip


def air_and_demand(seed=4):
    rng = np.random.default_rng(seed)
    air = Air(rng.uniform(0.5, 7, DAYS), rng.uniform(15, 85, DAYS))
    return air, rng.uniform(1.0, 7.0, DAYS)


def zone_of(air, *, available_mm, start_full, **changes):
    days = np.arange(1, DAYS + 1)
    kcb, height = PLANTING.kcb_of(days, air), PLANTING.height_of(days)
    most = most_kc(kcb, height, air)
    capacity = 0.1 + available_mm / 1000 / PLANTING.root_depth_m
    evaporable = 1000 * (capacity - 0.05) * 0.1
    surface = SoilSurface(
        most, cover_share(kcb, most, height), evaporable, 4.0,
        wetted_share=changes.pop("wetted_share", 1.0), start_dry_mm=evaporable,
    )  # fmt: skip
    return Zone("beds", 1000.0, available_mm, PLANTING.depletion, kcb, np.zeros(DAYS),
                efficiency=1.0, start_full=start_full, surface=surface, **changes)  # fmt: skip


def peer(air, et0_mm, rain_mm, zone, given_mm):
    climate = Weather()
    climate.z, climate.lat, climate.wndht = 100.0, 47.0, 2.0
    dates = pd.date_range("2001-01-01", periods=DAYS)
    keys = dates.strftime("%Y-%j")
    climate.wdata = pd.DataFrame(dict.fromkeys(climate.cnames, np.nan), index=keys, dtype=object)
    climate.wdata["Tmax"], climate.wdata["Tmin"] = 20.0, 10.0
    climate.wdata["Rain"], climate.wdata["ETref"] = rain_mm, et0_mm
    climate.wdata["Wndsp"], climate.wdata["RHmin"] = air.wind_m_s, air.humidity_min_pct
    capacity = 0.1 + zone.available_mm / 1000 / PLANTING.root_depth_m
    initial, middle, end = PLANTING.kcb
    soil = Parameters(
        Kcbini=initial, Kcbmid=middle, Kcbend=end,
        Lini=40, Ldev=50, Lmid=90, Lend=60, hini=0.05, hmax=0.6,
        thetaFC=capacity, thetaWP=0.1, theta0=0.1 + zone.start_full * (capacity - 0.1),
        Zrini=PLANTING.root_depth_m, Zrmax=PLANTING.root_depth_m, pbase=zone.depletion,
        Ze=0.1, REW=zone.surface.readily_mm,
    )  # fmt: skip
    watering = Irrigation()
    for place in np.flatnonzero(given_mm > 0):
        day = dates[place]
        watering.addevent(day.year, day.day_of_year, given_mm[place], zone.surface.wetted_share)
    model = Model(keys[0], keys[-1], soil, climate, irr=watering)
    model.run()
    return {name: model.odata[name].astype(float).to_numpy() for name in
            ("Kcmax", "fc", "few", "E", "De", "ETc", "ETa", "Dr", "Ks")}  # fmt: skip


def run(zone, et0_mm, rain_mm):
    found = columns(simulate(System(rain_mm, et0_mm, (zone,), ())).zones[:, 0], ZONE_COLUMNS)
    return found, found["irrigation_mains_m3"]  # m³ on 1000 m² is mm


def test_watered_through_a_dry_season_as_by_the_usda_model():
    air, et0 = air_and_demand()
    zone = zone_of(air, available_mm=75.0, start_full=0.9, start_at=0.8, most_mm=2.0,
                   wetted_share=0.8)  # fmt: skip
    rain = np.zeros(DAYS)
    ours, given = run(zone, et0, rain)
    theirs = peer(air, et0, rain, zone, given)
    assert (given > 0).sum() > 100
    assert theirs["Ks"].min() < 0.7  # the season is short of water, too
    assert ours["evaporated_mm"].sum() > 50
    np.testing.assert_allclose(zone.surface.kc_most, theirs["Kcmax"], atol=1e-3)
    np.testing.assert_allclose(zone.surface.cover, theirs["fc"], atol=1e-3)
    for name, column in (("evaporated_mm", "E"), ("demand_mm", "ETc"), ("et_mm", "ETa")):
        np.testing.assert_allclose(ours[name], theirs[column], atol=0.01, err_msg=column)
    np.testing.assert_allclose(ours["surface_dry_mm"], theirs["De"], atol=0.02)
    np.testing.assert_allclose(zone.available_mm - ours["soil_water_mm"], theirs["Dr"], atol=0.1)


def test_wetted_by_small_rains_as_by_the_usda_model():
    air, et0 = air_and_demand(7)
    rain = np.where(np.arange(DAYS) % 4 == 1, 3.5, 0.0)
    zone = zone_of(air, available_mm=600.0, start_full=1.0, irrigated=False)
    ours, _ = run(zone, et0, rain)
    theirs = peer(air, et0, np.append(rain[1:], 0.0), zone, np.zeros(DAYS))
    assert ours["evaporated_mm"].sum() > 50
    np.testing.assert_allclose(ours["evaporated_mm"], theirs["E"], atol=0.01)
    evening = ours["surface_dry_mm"][:-1] - rain[1:]  # theirs has had the next morning's rain
    np.testing.assert_allclose(evening, theirs["De"][:-1], atol=0.02)
