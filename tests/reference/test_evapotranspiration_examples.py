"""Reference evapotranspiration against FAO-56's worked examples and a library."""

import numpy as np
import pytest

from brimline.balance.evapotranspiration import reference_et
from brimline.rainfall.daily import DailyWeather, wind_at_2m


def one_day(date, **columns):
    values = {name: np.array([float(value)]) for name, value in columns.items()}
    return DailyWeather(np.datetime64(date), precipitation_mm=np.zeros(1), **values)


def test_fao56_example_18_daily_penman_monteith():
    # FAO-56 (Allen et al. 1998), Example 18: 50°48' N, 100 m, 6 July: Tmax 21.5, Tmin 12.3 °C,
    # RH 84/63 %, wind at 2 m 2.078 m/s, Rs 22.07 MJ/m²/d; ETo 3.9 mm/d (3.88). From memory.
    weather = one_day(
        "2001-07-06",
        temp_max_c=21.5,
        temp_min_c=12.3,
        radiation_mj_m2_d=22.07,
        humidity_max_pct=84,
        humidity_min_pct=63,
        wind_m_s=2.078,
    )
    found = reference_et(weather, latitude_deg=50.8, elevation_m=100)
    assert found.method == "penman-monteith"
    assert found.substitutes == ()
    assert found.et0_mm[0] == pytest.approx(3.88, abs=0.02)


def test_fao56_example_18_from_what_the_station_wrote_down():
    # The same example as the station measured it: 9.25 h of sun, wind of 10 km/h at 10 m height
    # (2.078 m/s at 2 m, equation 47). From memory.
    wind = wind_at_2m(10 / 3.6, 10.0)
    assert wind == pytest.approx(2.078, abs=0.001)
    weather = one_day(
        "2001-07-06", temp_max_c=21.5, temp_min_c=12.3, sunshine_h=9.25, humidity_max_pct=84,
        humidity_min_pct=63, wind_m_s=wind,
    )  # fmt: skip
    found = reference_et(weather, latitude_deg=50.8, elevation_m=100)
    assert found.method == "penman-monteith"
    assert found.et0_mm[0] == pytest.approx(3.88, abs=0.03)


def test_vapour_pressure_comes_from_the_best_of_what_there_is():
    # Example 18's vapour pressure is 1.409 kPa (from memory); equation 14 the other way round gives
    # its dewpoint, and mean humidity over the mean of both saturation pressures (1.997 kPa) 70.6 %
    vapour = 1.409
    dewpoint = 237.3 * np.log(vapour / 0.6108) / (17.27 - np.log(vapour / 0.6108))
    common = {"temp_max_c": 21.5, "temp_min_c": 12.3, "radiation_mj_m2_d": 22.07, "wind_m_s": 2.078}
    best = one_day("2001-07-06", dewpoint_c=dewpoint, humidity_mean_pct=10, **common)
    assert reference_et(best, latitude_deg=50.8, elevation_m=100).et0_mm[0] == pytest.approx(
        3.88, abs=0.02
    )
    mean = one_day("2001-07-06", humidity_mean_pct=100 * vapour / 1.997, **common)
    assert reference_et(mean, latitude_deg=50.8, elevation_m=100).et0_mm[0] == pytest.approx(
        3.88, abs=0.02
    )


def test_fao56_example_20_hargreaves_and_substitutes():
    # FAO-56, Example 20 (Lyon, 45°43' N, 200 m, July, Tmax 26.6, Tmin 14.8 °C): with missing data
    # substituted, ETo 4.56 mm/d; and by equation 52 for the same data about 5.0 mm/d.
    # Values from memory; the text gives Ra 40.6 MJ/m²/d on 15 July.
    weather = one_day("2001-07-15", temp_max_c=26.6, temp_min_c=14.8)
    full = reference_et(weather, latitude_deg=45.72, elevation_m=200, method="penman-monteith")
    assert full.et0_mm[0] == pytest.approx(4.56, abs=0.08)
    assert len(full.substitutes) == 3
    ra_mm = 40.6 * 0.408
    by_hand = 0.0023 * (20.7 + 17.8) * np.sqrt(26.6 - 14.8) * ra_mm
    simple = reference_et(weather, latitude_deg=45.72, elevation_m=200)
    assert simple.method == "hargreaves"
    assert simple.et0_mm[0] == pytest.approx(by_hand, rel=0.005)


def test_a_year_stays_close_between_the_two_methods_and_never_below_zero():
    days = 365
    season = np.cos(2 * np.pi * (np.arange(days) - 200) / 365)
    weather = DailyWeather(
        np.datetime64("2003-01-01"),
        precipitation_mm=np.zeros(days),
        temp_max_c=16 + 9 * season,
        temp_min_c=6 + 7 * season,
    )
    hargreaves = reference_et(weather, latitude_deg=47, elevation_m=140)
    penman = reference_et(weather, latitude_deg=47, elevation_m=140, method="penman-monteith")
    assert (hargreaves.et0_mm >= 0).all()
    assert (penman.et0_mm >= 0).all()
    assert hargreaves.et0_mm.sum() == pytest.approx(penman.et0_mm.sum(), rel=0.2)


def test_latitudes_without_night_are_refused():
    weather = one_day("2001-07-15", temp_max_c=10, temp_min_c=2)
    with pytest.raises(ValueError, match="latitude_deg must lie between"):
        reference_et(weather, latitude_deg=80, elevation_m=0)


# Extraterrestrial radiation on the 15th of each month at the equator [MJ/m²/d]: FAO-56, annex 2,
# table 2.6 (values from memory)
EQUATOR = (36.2, 37.5, 37.9, 36.8, 34.8, 33.4, 33.9, 35.7, 37.2, 37.4, 36.3, 35.6)


def radiation_mj_m2(date, latitude_deg):
    """Radiation above the air, out of Hargreaves' relation (FAO-56, equation 52) turned round."""
    weather = one_day(date, temp_max_c=25.0, temp_min_c=15.0)
    et0 = reference_et(weather, latitude_deg=latitude_deg, elevation_m=0, method="hargreaves")
    return float(et0.et0_mm[0]) / (0.408 * 0.0023 * (20.0 + 17.8) * np.sqrt(10.0))


def test_the_latitude_acts_as_the_tables_of_fao56_have_it():
    found = [radiation_mj_m2(f"2001-{month:02}-15", 0.0) for month in range(1, 13)]
    assert found == pytest.approx(EQUATOR, rel=0.01)
    # example 8: 20° S on 3 September, 32.2; example 10: 22°54' S in May, 25.1 (from memory)
    assert radiation_mj_m2("2001-09-03", -20.0) == pytest.approx(32.2, rel=0.005)
    assert radiation_mj_m2("2001-05-15", -22.9) == pytest.approx(25.1, rel=0.01)


def test_a_garden_taken_for_the_equator_would_drink_a_quarter_more():
    # a year of the same weather at 47° N and at latitude 0, where pretended coordinates lie
    dates = [f"2001-{month:02}-15" for month in range(4, 10)]
    north = np.mean([radiation_mj_m2(date, 47.1) for date in dates])
    year = np.mean([radiation_mj_m2(f"2001-{month:02}-15", 47.1) for month in range(1, 13)])
    assert np.mean(EQUATOR) / year == pytest.approx(1.37, abs=0.06)
    assert north > year  # in the growing season much of that is made up for by long days
