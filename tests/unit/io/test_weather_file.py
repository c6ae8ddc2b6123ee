"""Weather files as people bring them: what is recognised, mended, and refused by row."""

import os
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from brimline.errors import InputError
from brimline.io.weather import Layout, read_weather


def record(days=800, start="2001-01-01", **changes):
    dates = pd.date_range(start, periods=days)
    season = np.cos(2 * np.pi * (dates.day_of_year - 200) / 365)
    rain = np.where(np.arange(days) % 4 == 0, 8.0, 0.0)
    table = pd.DataFrame({
        "date": dates.strftime("%Y-%m-%d"),
        "precipitation_mm": [f"{value:.1f}" for value in rain],
        "temp_max_c": [f"{value:.1f}" for value in 16 + 9 * season],
        "temp_min_c": [f"{value:.1f}" for value in 7 + 6 * season],
    })  # fmt: skip
    for column, values in changes.items():
        for row, value in values.items():
            table.loc[row, column] = value
    return table


def read(tmp_path, table, layout=None):
    path = tmp_path / "weather.csv"
    table.to_csv(path, index=False)
    return read_weather(path, layout)


def told(result, severity):
    return [f"{p.place}: {p.message}" for p in result.problems if p.severity == severity]


def test_a_clean_record_is_read_as_it_is(tmp_path):
    result = read(tmp_path, record())
    weather = result.usable()
    assert weather.days == 800
    assert str(weather.first_day) == "2001-01-01"
    assert weather.precipitation_mm[:5].tolist() == [8, 0, 0, 0, 8]
    assert weather.radiation_mj_m2_d is None
    assert told(result, "error") == []
    assert any(
        line.startswith("line 801: covers 2.2 years and ends on 2003-03-11")
        for line in told(result, "warning")
    )


def test_less_than_a_year_names_its_last_line(tmp_path):
    lines = told(read(tmp_path, record(days=200)), "error")
    assert lines == ["line 201: holds 200 days: it ends on 2001-07-19"]


@pytest.mark.parametrize(("every", "wet_mm"), [(4, 8.0), (2, 15.0)])
def test_inches_without_saying_so_are_told_even_where_it_is_wet(tmp_path, every, wet_mm):
    # 15 mm every other day are 2700 mm a year: 108 in, which a dry place may have in mm
    table = record()
    table["precipitation_mm"] = np.where(table.index % every == 0, f"{wet_mm / 25.4:.2f}", "0")
    table.loc[40, "precipitation_mm"] = "3.5"
    lines = told(read(tmp_path, table), "warning")
    assert any(line.startswith("line 42: only ") and "3.5 on the wettest" in line for line in lines)
    stated = Layout(precipitation_unit="in")
    assert not any("only" in line for line in told(read(tmp_path, table, stated), "warning"))


@pytest.mark.parametrize("names", [
    ("DATE", "PRCP", "TMAX", "TMIN"), ("Day", "Rainfall (mm)", "Max_temp", "Min_temp"),
    ("date", "precip", "tmax_c", "tmin_c"),
])  # fmt: skip
def test_usual_names_are_recognised(tmp_path, names):
    table = record()
    table.columns = list(names)
    assert read(tmp_path, table).usable().days == 800


def test_units_in_names_are_heeded(tmp_path):
    table = record()
    table["temp_max_c"] = [f"{float(v) * 1.8 + 32:.2f}" for v in table["temp_max_c"]]
    table["temp_min_c"] = [f"{float(v) * 1.8 + 32:.2f}" for v in table["temp_min_c"]]
    table["precipitation_mm"] = [f"{float(v) / 25.4:.4f}" for v in table["precipitation_mm"]]
    table.columns = ["date", "precip_in", "tmax_f", "tmin_f"]
    weather = read(tmp_path, table).usable()
    clean = read(tmp_path, record()).usable()
    np.testing.assert_allclose(weather.temp_max_c, clean.temp_max_c, atol=0.01)
    np.testing.assert_allclose(weather.precipitation_mm, clean.precipitation_mm, atol=0.01)


def test_fahrenheit_without_saying_so_is_refused_and_can_be_stated(tmp_path):
    table = record()
    for name in ("temp_max_c", "temp_min_c"):
        table[name] = [f"{float(v) * 1.8 + 32:.2f}" for v in table[name]]
    table.columns = ["date", "rain", "tmax", "tmin"]
    refused = read(tmp_path, table)
    assert refused.weather is None
    assert any("looks like °F" in line for line in told(refused, "error"))
    stated = read(tmp_path, table, Layout(temperature_unit="F")).usable()
    assert stated.temp_max_c.max() == pytest.approx(25, abs=0.1)


def test_swapped_columns_are_named_with_their_lines(tmp_path):
    table = record().rename(columns={"temp_max_c": "temp_min_c", "temp_min_c": "temp_max_c"})
    lines = told(read(tmp_path, table), "error")
    assert len(lines) == 1
    assert "swapped" in lines[0]
    assert lines[0].startswith("lines 2, 3, 4")


def test_traces_missing_marks_and_impossible_values(tmp_path):
    table = record(
        precipitation_mm={1: "T", 2: "trace", 9: "-4", 700: "-9999"},
        temp_max_c={20: "", 21: "-99.9", 30: "71"},
    )
    result = read(tmp_path, table)
    weather = result.usable()
    assert weather.precipitation_mm[[1, 2, 9, 700]].tolist() == [0, 0, 0, 0]
    middle = (weather.temp_max_c[19] + weather.temp_max_c[22]) / 2
    assert weather.temp_max_c[20:22].mean() == pytest.approx(middle, abs=1e-6)
    assert any("2 traces" in line for line in told(result, "notice"))
    warnings = told(result, "warning")
    assert any(line.startswith("line 11: impossible precipitation (-4)") for line in warnings)
    assert any(line.startswith("line 32: impossible temp_max (71)") for line in warnings)


def test_text_in_a_number_and_a_bad_date_name_their_lines(tmp_path):
    lines = told(read(tmp_path, record(temp_min_c={5: "cold"}, date={7: "31.02.2001"})), "error")
    assert any(line.startswith("line 7: temp_min") and '"cold"' in line for line in lines)
    assert any(line.startswith('line 9: "31.02.2001" is not a date') for line in lines)


def test_stated_date_format(tmp_path):
    table = record()
    table["date"] = pd.to_datetime(table["date"]).dt.strftime("%d.%m.%Y")
    assert read(tmp_path, table).weather is None
    assert read(tmp_path, table, Layout(date_format="%d.%m.%Y")).usable().days == 800


def test_repeated_rows_are_dropped_and_contradictions_refused(tmp_path):
    table = record()
    twice = pd.concat([table, table.iloc[[10]]])
    result = read(tmp_path, twice)
    assert result.usable().days == 800
    assert any("1 repeated rows" in line for line in told(result, "notice"))
    other = table.iloc[[10]].assign(precipitation_mm="55.0")
    lines = told(read(tmp_path, pd.concat([table, other])), "error")
    assert lines == ["lines 12, 802: 2001-01-11 stands twice with different values"]


def test_long_gaps_come_from_the_nearest_year_and_lost_years_are_named(tmp_path):
    table = record(days=1461)
    result = read(tmp_path, table.drop(index=range(40, 60)))
    weather = result.usable()
    assert weather.days == 1461
    np.testing.assert_allclose(weather.temp_max_c[40:60], weather.temp_max_c[405:425])
    assert any("20 days are missing" in line for line in told(result, "warning"))
    lost = told(read(tmp_path, table.drop(index=range(400, 500))), "error")
    assert any("2002 (100 days)" in line for line in lost)


def test_missing_columns_and_files_say_what_is_there(tmp_path):
    lines = told(read(tmp_path, record().drop(columns="temp_min_c")), "error")
    assert any("no column for temp_min; it holds date, precipitation_mm" in line for line in lines)
    missing = read_weather(tmp_path / "wether.csv")
    with pytest.raises(InputError, match=r"wether\.csv"):
        missing.usable()


def test_tenths_are_noticed_and_can_be_stated(tmp_path):
    table = record()
    table["precipitation_mm"] = [f"{float(v) * 100:.0f}" for v in table["precipitation_mm"]]
    lines = told(read(tmp_path, table), "error")
    assert any("the unit looks wrong" in line for line in lines)
    table = record()
    for name in ("precipitation_mm", "temp_max_c", "temp_min_c"):
        table[name] = [f"{float(v) * 10:.0f}" for v in table[name]]
    table.columns = ["date", "prcp", "tmax", "tmin"]
    refused = read(tmp_path, table)
    assert any("looks like tenths of °C" in line for line in told(refused, "error"))
    stated = Layout(temperature_unit="tenths of C", precipitation_unit="tenths of mm")
    clean = read(tmp_path, record()).usable()
    np.testing.assert_allclose(
        read(tmp_path, table, stated).usable().precipitation_mm, clean.precipitation_mm, atol=0.05
    )
    warned = read(tmp_path, table, Layout(temperature_unit="tenths of C"))
    assert any("which few places have" in line for line in told(warned, "warning"))


def test_kelvin_is_told_from_fahrenheit(tmp_path):
    table = record()
    for name in ("temp_max_c", "temp_min_c"):
        table[name] = [f"{float(v) + 273.15:.1f}" for v in table[name]]
    table.columns = ["date", "rain", "tmax", "tmin"]
    assert any("looks like kelvin" in line for line in told(read(tmp_path, table), "error"))


def test_one_year_in_another_unit_names_its_first_line(tmp_path):
    table = record(days=1461)
    year = table["date"].str.startswith("2003")
    for name in ("temp_max_c", "temp_min_c"):
        warm = table[name].astype(float) * 1.8 + 32
        table[name] = warm.where(year, table[name].astype(float)).round(1).astype(str)
    lines = told(read(tmp_path, table), "error")
    assert len(lines) == 1
    assert "in 2003 and 16.0 in other years: is that year in another unit?" in lines[0]
    assert lines[0].startswith("line 732: ")


def test_a_year_without_rain_is_told(tmp_path):
    table = record(days=1461)
    table.loc[table["date"].str.startswith("2002"), "precipitation_mm"] = "0"
    lines = told(read(tmp_path, table), "warning")
    assert any(line.startswith("line 367: 0 mm of rain in 2002 and") for line in lines)


def test_a_column_of_temperatures_in_place_of_rain_is_refused(tmp_path):
    table = record().rename(columns={"precipitation_mm": "temp_min_c",
                                     "temp_min_c": "precipitation_mm"})  # fmt: skip
    table["precipitation_mm"] = [f"{float(v) - 8:.1f}" for v in table["precipitation_mm"]]
    lines = told(read(tmp_path, table), "error")
    assert any("precipitation is below 0" in line and "right column" in line for line in lines)


def test_lines_count_remarks_and_blank_lines(tmp_path):
    table = record(days=400)
    table.loc[3, "temp_max_c"] = "warm"
    text = table.to_csv(index=False).splitlines()
    path = tmp_path / "weather.csv"
    path.write_text("\n".join(["# a station", "", *text[:2], "", *text[2:], ",,,", ""]))
    lines = told(read_weather(path), "error")
    assert lines == ['line 8: temp_max: "warm" is not a number']


def test_semicolons_and_decimal_commas_are_read(tmp_path):
    path = tmp_path / "weather.csv"
    record().to_csv(path, index=False, sep=";", decimal=",")
    text = path.read_text().replace(".", ",")
    path.write_text(text)
    np.testing.assert_allclose(
        read_weather(path).usable().temp_max_c, read(tmp_path, record()).usable().temp_max_c
    )


def test_further_quantities_and_their_units(tmp_path):
    table = record().assign(
        wind_km_h="18",
        RH="70",
        solar_radiation_W_m2="150",
        dewpoint_f="50",
        sunshine_hours="5",
        humidity_max="90",
    )
    result = read(tmp_path, table, Layout(wind_height_m=10))
    weather = result.usable()
    # FAO-56, equation 47: wind at 10 m is 0.748 of it at 2 m (value from memory)
    assert weather.wind_m_s[0] == pytest.approx(5 * 0.748, abs=0.002)
    assert weather.humidity_mean_pct[0] == 70
    assert weather.radiation_mj_m2_d[0] == pytest.approx(150 * 0.0864)
    assert weather.dewpoint_c[0] == pytest.approx(10)
    assert weather.sunshine_h[0] == 5
    assert weather.humidity_max_pct is None  # without its minimum it says nothing
    notices = told(result, "notice")
    assert any("humidity_max is not used: there is no humidity_min" in line for line in notices)
    assert any("km/h to m/s" in line for line in notices)
    assert any("from 10 m down to 2 m" in line for line in notices)


@pytest.mark.parametrize(
    ("column", "value", "mend"),
    [
        ("wind", "40", "wind_unit"),
        ("radiation", "210", "radiation_unit"),
        ("humidity", "0.6", "in %"),
        ("sunshine", "300", "hours"),
    ],
)
def test_further_quantities_in_the_wrong_unit_are_refused(tmp_path, column, value, mend):
    result = read(tmp_path, record().assign(**{column: value}))
    assert result.weather is None
    problem = next(p for p in result.problems if p.severity == "error")
    assert "the unit looks wrong" in problem.message
    assert mend in problem.mend
    assert problem.place.startswith("lines 2, 3")


def test_a_quantity_with_many_gaps_is_left_out_and_said(tmp_path):
    table = record().assign(wind=["3" if row % 3 else "" for row in range(800)])
    result = read(tmp_path, table)
    assert result.usable().wind_m_s is None
    assert any("wind is not used: 33 % of its days" in line for line in told(result, "notice"))


def test_a_gap_of_rows_names_the_line_before_it(tmp_path):
    result = read(tmp_path, record().drop(index=range(40, 60)))
    assert any(
        line.startswith("after line 41: 20 days are missing") for line in told(result, "warning")
    )


@pytest.mark.realdata
@pytest.mark.skipif("BRIMLINE_DATA" not in os.environ, reason="BRIMLINE_DATA is not set")
def test_a_real_coastal_record_is_recognised():
    result = read_weather(Path(os.environ["BRIMLINE_DATA"]) / "daily_weather.csv")
    weather = result.usable()
    assert weather.days == 1461
    assert weather.wind_m_s is not None
    assert 700 < weather.precipitation_mm.sum() / 4 < 1500
