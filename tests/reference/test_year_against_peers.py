"""Evapotranspiration, planting tables and the root zone's balance against independent libraries."""

import os
import warnings
from pathlib import Path

import numpy as np
import pandas as pd
import pyet
import pytest
import refet
from eto import ETo
from pyfao56 import Irrigation, Model, Parameters, Weather
from pyfao56.tools import FAO56Tables

from brimline.balance.evapotranspiration import reference_et
from brimline.balance.planting import PLANTINGS, Planting
from brimline.balance.simulate import ZONE_COLUMNS, columns, simulate
from brimline.balance.system import System, WaterStore, Zone
from brimline.io.weather import Layout, read_weather
from brimline.rainfall.daily import DailyWeather

REAL = pytest.mark.skipif("BRIMLINE_DATA" not in os.environ, reason="BRIMLINE_DATA is not set")


def full_record(days=1461, seed=4):
    """Four years with everything that a good station measures."""
    rng = np.random.default_rng(seed)
    season = np.cos(2 * np.pi * (np.arange(days) - 200) / 365.25)
    mean = 11 + 8 * season + rng.normal(0, 2, days)
    spread = 8 + 3 * season + rng.uniform(0, 3, days)
    return DailyWeather(
        np.datetime64("2001-01-01"),
        precipitation_mm=np.where(rng.random(days) < 0.3, rng.gamma(0.8, 9, days), 0.0),
        temp_max_c=mean + spread / 2,
        temp_min_c=mean - spread / 2,
        radiation_mj_m2_d=12 + 8 * season + rng.uniform(-2, 2, days),
        humidity_max_pct=rng.uniform(75, 98, days),
        humidity_min_pct=rng.uniform(35, 70, days),
        wind_m_s=rng.uniform(0.5, 5, days),
    )


def real_record():
    path = Path(os.environ["BRIMLINE_DATA"]) / "daily_weather.csv"
    return read_weather(path, Layout(wind_height_m=10)).usable()


def vapour_kpa(temp_c):
    # FAO-56, equation 11
    return 0.6108 * np.exp(17.27 * temp_c / (temp_c + 237.3))


def test_penman_monteith_agrees_with_the_asce_standard_over_four_years():
    # refet is the ASCE standardised equation (ASCE-EWRI 2005) for short grass by the US Geological
    # Survey's and the Desert Research Institute's code; for daily steps its constants are FAO-56's
    weather = full_record()
    ours = reference_et(weather, latitude_deg=47.0, elevation_m=140.0)
    assert ours.substitutes == ()
    vapour = (
        vapour_kpa(weather.temp_min_c) * weather.humidity_max_pct
        + vapour_kpa(weather.temp_max_c) * weather.humidity_min_pct
    ) / 200
    peer = refet.Daily(
        tmin=weather.temp_min_c, tmax=weather.temp_max_c, ea=vapour,
        rs=weather.radiation_mj_m2_d, uz=weather.wind_m_s, zw=2.0, elev=140.0, lat=47.0,
        doy=weather.day_of_year, method="asce",
    ).eto()  # fmt: skip
    np.testing.assert_allclose(ours.et0_mm, np.maximum(peer, 0), atol=0.002)


@pytest.mark.parametrize("record", [full_record, pytest.param(
    real_record, marks=[pytest.mark.realdata, REAL])])  # fmt: skip
def test_both_formulas_agree_with_a_library_of_their_own_over_four_years(record):
    # ETo (PyPI) is FAO-56 with its substitutes for missing data; it rounds to 0.01 mm
    weather = record()
    data = {"T_max": weather.temp_max_c, "T_min": weather.temp_min_c}
    where = {"z_msl": 60, "lat": 47.6, "lon": -122.3, "TZ_lon": -120, "freq": "D",
             "day_of_year": weather.day_of_year}  # fmt: skip
    hargreaves = reference_et(weather, latitude_deg=47.6, elevation_m=60, method="hargreaves")
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        theirs = np.asarray(ETo(dict(data), **where).eto_hargreaves())
    np.testing.assert_allclose(hargreaves.et0_mm, theirs, atol=0.006)

    penman = reference_et(weather, latitude_deg=47.6, elevation_m=60, method="penman-monteith")
    if weather.wind_m_s is not None:
        data["U_z"] = weather.wind_m_s
    if weather.radiation_mj_m2_d is not None:
        data["R_s"] = weather.radiation_mj_m2_d
        data["RH_max"] = weather.humidity_max_pct
        data["RH_min"] = weather.humidity_min_pct
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        theirs = np.asarray(ETo(data, **where).eto_fao())
    # under heavy cloud the ASCE standard (equation 18) and we take radiation as at least 0.3 of a
    # clear sky's in the loss of long waves; FAO-56 and ETo set no limit there
    sun = weather.radiation_mj_m2_d
    above_air = pyet.extraterrestrial_r(pd.DatetimeIndex(weather.dates), np.radians(47.6))
    clear = (0.75 + 2e-5 * 60) * np.asarray(above_air)
    estimated = 0.16 * np.sqrt(weather.temp_max_c - weather.temp_min_c) * above_air.to_numpy()
    cloudy = (estimated if sun is None else sun) < 0.3 * clear
    assert cloudy.mean() < 0.03
    np.testing.assert_allclose(penman.et0_mm[~cloudy], theirs[~cloudy], atol=0.006)
    np.testing.assert_allclose(penman.et0_mm[cloudy], theirs[cloudy], atol=0.15)
    # the two methods differ from day to day, but not by much over the years
    assert hargreaves.et0_mm.sum() == pytest.approx(penman.et0_mm.sum(), rel=0.25)


# our planting: its rows in tables 12, 17, 11 and 22 of FAO-56, as the USDA's pyfao56 holds them
ROWS = {
    "orchard, bare floor": ("apples cherries pears no ground cover killing frost",) * 2
    + ("deciduous orchard", "apples cherries pears"),
    "orchard, grassed floor": ("apples cherries pears active ground cover killing frost",) * 2
    + ("deciduous orchard", "apples cherries pears"),
    "stone fruit, bare floor": ("apricots peaches stone fruit no ground cover killing frost",) * 2
    + ("deciduous orchard", "apricots peaches stone fruit"),
    "stone fruit, grassed floor":
        ("apricots peaches stone fruit active ground cover killing frost",) * 2
        + ("deciduous orchard", "apricots peaches stone fruit"),
    "walnuts": ("walnut orchard", "walnut orchard", "walnuts", "walnut orchard"),
    "almonds": ("almonds no ground cover",) * 2 + ("deciduous orchard", "almonds"),
    "olives": ("olives 40% to 60% ground coverage by canopy",) * 2
    + ("olives", "olives 40% to 60% ground coverage by canopy"),
    "citrus": ("citrus no ground cover 70% canopy",) * 2 + ("citrus", "citrus 70% canopy"),
    "table grapes": ("grapes table raisin", "grapes table raisin", "grapes", "grapes table raisin"),
    "wine grapes": ("grapes wine", "grapes wine", "grapes", "grapes wine"),
    "berries": ("berries bushes", "berries bushes", "", "berries bushes"),
    "strawberries": ("strawberries", "strawberries", "", "strawberries"),
    "small vegetables": ("small vegetables", "small vegetables", "", ""),
    "tomatoes": ("tomato", "tomato", "tomato", "tomato"),
    "potatoes": ("potato", "potato", "potato", "potato"),
    "pasture, grazed": ("grazing pasture rotated", "grazing pasture rotated grazing", "",
                        "grazing pasture rotated"),
    "lawn, cool season": ("turfgrass cool season", "turfgrass cool season", "",
                          "turfgrass cool season"),
    "lawn, warm season": ("turfgrass warm season", "turfgrass warm season", "",
                          "turfgrass warm season"),
}  # fmt: skip


def test_every_crop_is_compared():
    not_crops = {name for name, one in PLANTINGS.items() if "S623" in one.source}
    assert set(ROWS) | not_crops == set(PLANTINGS)
    assert len(not_crops) == 3


@pytest.mark.parametrize("name", ROWS)
def test_plantings_are_those_of_fao56(name):
    tables, ours = FAO56Tables(), PLANTINGS[name]
    single, basal, stages, roots = ROWS[name]

    def row(table, crop):
        found = table[table["Crop"].str.strip() == crop]
        assert len(found) >= 1, crop
        return found

    kc = row(tables.table12, single).iloc[0]
    assert ours.kc == tuple(float(kc[c]) for c in ("Kcmini", "Kcmmid", "Kcmend"))
    kcb = row(tables.table17, basal).iloc[0]
    assert ours.kcb == tuple(float(kcb[c]) for c in ("Kcbini", "Kcbmid", "Kcbend"))
    if str(kc["hmax"]).strip():
        assert ours.height_m[1] == float(kc["hmax"])
    else:  # the row of the whole group has none; broccoli and lettuce of it are 0.3 m high
        assert (name, ours.height_m[1]) == ("small vegetables", 0.3)
    if stages:
        known = row(tables.table11, stages)[["Lini", "Ldev", "Lmid", "Llate"]].astype(int)
        assert ours.stage_days in [tuple(values) for values in known.to_numpy().tolist()]
    if roots:
        depth = row(tables.table22, roots).iloc[0]
        middle = (float(depth["Zrmax1"]) + float(depth["Zrmax2"])) / 2
        assert ours.root_depth_m == pytest.approx(middle)
        assert ours.depletion == float(depth["pbase"])


def peer_model(weather, et0_mm, rain_mm, planting, zone, given_mm):
    """pyfao56's daily balance with evaporation switched off, so that Kcb stands for Kc."""
    climate = Weather()
    climate.z, climate.lat, climate.wndht = 100.0, 47.0, 2.0
    dates = pd.DatetimeIndex(weather.dates)
    keys = dates.strftime("%Y-%j")
    climate.wdata = pd.DataFrame(dict.fromkeys(climate.cnames, np.nan), index=keys, dtype=object)
    climate.wdata["Tmax"], climate.wdata["Tmin"] = weather.temp_max_c, weather.temp_min_c
    climate.wdata["Rain"], climate.wdata["ETref"] = rain_mm, et0_mm
    climate.wdata["Wndsp"], climate.wdata["RHmin"] = 2.0, 45.0
    initial, middle, end = planting.kc
    capacity = 0.05 + zone.available_mm / 1000 / planting.root_depth_m
    soil = Parameters(
        Kcbini=initial, Kcbmid=middle, Kcbend=end,
        Lini=planting.stage_days[0], Ldev=planting.stage_days[1],
        Lmid=planting.stage_days[2], Lend=planting.stage_days[3],
        thetaFC=capacity, thetaWP=0.05, theta0=0.05 + zone.start_full * (capacity - 0.05),
        Zrini=planting.root_depth_m, Zrmax=planting.root_depth_m, pbase=zone.depletion,
        Ze=1e-9, REW=-1e9,
    )  # fmt: skip
    watering = Irrigation()
    for place in np.flatnonzero(given_mm > 0):
        watering.addevent(dates[place].year, dates[place].day_of_year, given_mm[place], 1.0)
    model = Model(keys[0], keys[-1], soil, climate, irr=watering)
    model.run()
    return model.odata


@pytest.mark.parametrize("irrigated", [False, True])
def test_the_root_zone_follows_the_usda_model_day_by_day(irrigated):
    # pyfao56 (Thorp 2022, doi:10.1016/j.softx.2022.101208), FAO-56 equations 82 to 88: depletion,
    # actual evapotranspiration and deep percolation of a season that dries out and fills up again
    weather = full_record(days=300)
    et0 = reference_et(weather, latitude_deg=47.0, elevation_m=100.0).et0_mm
    planting = Planting("test", (0.3, 1.05, 0.5), (0.2, 1.0, 0.4), (40, 50, 90, 60), 1, 0.5,
                        0.6, 0.4)  # fmt: skip
    zone = Zone(
        "beds", 1000.0, 75.0, planting.depletion, planting.kc_of(weather.day_of_year),
        np.zeros(weather.days), ("tank",), irrigated=irrigated, start_at=0.8, efficiency=1.0,
        most_mm=12.0, start_full=0.9,
    )  # fmt: skip
    tank = WaterStore("tank", 40.0, np.full(weather.days, 0.8), start_full=1.0)
    system = System(weather.precipitation_mm, et0, (zone,), (tank,))
    ours = columns(simulate(system).zones[:, 0], ZONE_COLUMNS)
    given_mm = ours["irrigation_harvested_m3"] + ours["irrigation_mains_m3"]  # m³ on 1000 m² is mm
    assert (given_mm.sum() > 0) == irrigated
    theirs = peer_model(weather, et0, weather.precipitation_mm, planting, zone, given_mm)
    stress = ours["et_mm"] / np.maximum(ours["demand_mm"], 1e-9)
    assert (stress.min() < 0.5) == (not irrigated)
    # they keep three decimals of the coefficients
    np.testing.assert_allclose(
        zone.available_mm - ours["soil_water_mm"], theirs["Dr"].astype(float), atol=0.05
    )
    np.testing.assert_allclose(ours["et_mm"], theirs["ETa"].astype(float), atol=0.02)
    np.testing.assert_allclose(ours["drained_mm"], theirs["DP"].astype(float), atol=0.05)
