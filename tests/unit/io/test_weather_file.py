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
    season = np.cos(2 * np.pi * (dates.dayofyear - 200) / 365)
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
    assert any("covers 2.2 years" in line for line in told(result, "warning"))


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


def test_tenths_of_millimetres_are_noticed(tmp_path):
    table = record()
    table["precipitation_mm"] = [f"{float(v) * 100:.0f}" for v in table["precipitation_mm"]]
    lines = told(read(tmp_path, table), "error")
    assert any("the unit looks wrong" in line for line in lines)


@pytest.mark.realdata
@pytest.mark.skipif("BRIMLINE_DATA" not in os.environ, reason="BRIMLINE_DATA is not set")
def test_a_real_coastal_record_is_recognised():
    result = read_weather(Path(os.environ["BRIMLINE_DATA"]) / "daily_weather.csv")
    weather = result.usable()
    assert weather.days == 1461
    assert weather.wind_m_s is not None
    assert 700 < weather.precipitation_mm.sum() / 4 < 1500
