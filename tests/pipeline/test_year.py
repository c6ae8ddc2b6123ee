"""Water through the year by the command: answers, identifiers, bad files, and what is missing."""

import shutil
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest
import shapely

BARN = shapely.box(30, 100, 50, 112)  # 240 m²
BEDS = shapely.box(55, 100, 69, 112)
GROVE = shapely.box(40, 48, 120, 60)
FAR = shapely.box(20, 20, 40, 30)
SWALE = shapely.LineString([(45, 62), (115, 62)])
BASIN = shapely.Point(80, 35).buffer(8)
TABLES = "[storm]\ndepth_mm = 40\nduration_h = 2\n"
YEAR_TABLES = [
    "zone_years", "zone_months", "store_years", "store_months", "site_years", "site_months",
    "size_curves", "size_answers", "year_sensitivity",
]  # fmt: skip


def record(first="2001-01-01", last="2004-12-31", dry_year=2003):
    """Wet winters, dry summers, one dry year."""
    dates = pd.date_range(first, last)
    season = np.cos(2 * np.pi * (dates.day_of_year.to_numpy() - 20) / 365.25)
    rng = np.random.default_rng(3)
    rain = np.where(rng.random(dates.size) < 0.3 + 0.15 * season, rng.gamma(0.8, 10, dates.size), 0)
    rain = np.where(dates.year == dry_year, 0.4 * rain, rain)
    return pd.DataFrame({
        "date": dates.strftime("%Y-%m-%d"),
        "precipitation_mm": rain.round(1),
        "temp_max_c": (17 - 9 * season).round(1),
        "temp_min_c": (8 - 6 * season).round(1),
    })  # fmt: skip


def write_weather(site, table):
    table.to_csv(site.folder / "weather.csv", index=False)
    site.inputs["weather"] = "weather.csv"


def write_site(site, zones=None, **plan):
    site.tables = TABLES
    corner = np.array([site.west, site.north - site.size])
    barn = shapely.transform(BARN, lambda xy: xy + corner)
    site.write_shapes("surfaces", [barn], name=["Barn"], cover=["roof"])
    layers = {
        "drawn_tanks": [{"name": "Barn tank", "volume_m3": 12.0, "roofs": "Barn",
                         "first_flush_mm": 0.5, "spills_to": "Long swale",
                         "shape": shapely.Point(52, 98)}],
        "drawn_swales": [{"name": "Long swale", "depth_m": 0.4, "soak_mm_per_h": 10.0,
                          "spills_to": "Hollow", "shape": SWALE}],
        "drawn_basins": [{"name": "Hollow", "shape": BASIN}],
        "discharge_points": [{"name": "Brook", "shape": shapely.Point(80, 14)}],
        "planting_zones": zones or [
            {"name": "Beds", "planting": "small vegetables", "texture": "loam",
             "draws_on": "Barn tank", "shape": BEDS},
            {"name": "Grove", "planting": "orchard, grassed floor", "irrigated": False,
             "shape": GROVE},
            {"name": "Far corner", "planting": "berries", "irrigated": False, "shape": FAR},
        ],
    }  # fmt: skip
    site.write_plan(**(layers | plan))


def problems(result):
    return [f"{p['source']}, {p['place']}: {p['message']}" for p in result.json["problems"]]


UNTIL = ("--until", "year", "--json")


class _Silent:
    """Stands for pytest's own in a fixture that outlives one test; what is said is kept aside."""

    def readouterr(self):
        return SimpleNamespace(out="", err="")


@pytest.fixture(scope="module")
def answered(tmp_path_factory, site_class):
    """One run to the year's end that the tests look at, or copy and change."""
    with pytest.MonkeyPatch.context() as patch:
        site = site_class(tmp_path_factory.mktemp("answered"), _Silent(), patch)
        write_site(site)
        write_weather(site, record())
        assert site.run(*UNTIL, "--only", "tables").code == 0
        yield site


@pytest.fixture
def again(answered, site):
    """A copy of that run, which may be changed and run again."""
    shutil.copytree(answered.folder, site.folder, dirs_exist_ok=True)
    site.inputs, site.tables = dict(answered.inputs), answered.tables
    return site


def average_and_worst(rows):
    return rows[rows["year"].isna()].iloc[0], rows[rows["worst"]].iloc[0]


def test_every_table_is_published_as_csv_too(answered):
    for name in YEAR_TABLES:
        csv = pd.read_csv(answered.results / "tables" / f"{name}.csv")
        assert len(csv) == len(answered.table(name)) > 0
        assert set(csv["weather"]) == {"measured"}


def test_the_worst_year_is_named_and_the_headline_repeats_the_sites_table(answered):
    years = answered.table("site_years")
    assert years.loc[years["driest"], "year"].tolist() == [2003]  # the one that was made dry
    headline = answered.manifest["headline"]
    assert headline["worst_year"] == headline["year_of_least_rain"] == "2003"
    assert headline["weather_of_the_year"] == "measured"
    average, worst = average_and_worst(years)
    # what stores give of what rain leaves is told apart from what rain gives
    zones = answered.table("zone_years")
    watered = answered.layer("zones").set_index("zone_id")["irrigated"].astype(bool)
    own = zones[zones["year"].isna() & zones["zone_id"].map(watered)].sum(numeric_only=True)
    need = own["harvested_m3"] + own["mains_m3"] + own["deficit_m3"]
    assert headline["watering_need_a_year_m3"] == pytest.approx(need)
    assert headline["harvested_of_need_average_pct"] == pytest.approx(
        100 * own["harvested_m3"] / need
    )
    assert average["watered_demand_m3"] - average["watered_rain_m3"] == pytest.approx(need)
    stores = answered.table("store_years")
    caught = stores[stores["year"].isna()].sum(numeric_only=True)
    assert average["caught_m3"] == pytest.approx(caught["runoff_in_m3"])
    passed = caught["spilled_m3"] - caught["overflow_in_m3"]
    assert average["passed_on_m3"] == pytest.approx(passed)
    assert headline["without_mains_average_pct"] == pytest.approx(
        100 * average["share_without_mains"]
    )
    assert headline["without_mains_worst_pct"] == pytest.approx(100 * worst["share_without_mains"])
    assert headline["mains_avoided_a_year_m3"] == pytest.approx(average["mains_avoided_m3"])
    assert worst["share_without_mains"] < average["share_without_mains"] < 1
    assert average["mains_avoided_m3"] > 0
    whole = years[years["year"].notna()]
    assert whole["whole"].all()
    assert average["demand_m3"] == pytest.approx(whole["demand_m3"].mean())


def test_demand_is_what_met_it_everywhere_and_parts_add_up(answered):
    years, zones = answered.table("site_years"), answered.table("zone_years")
    months = answered.table("site_months")
    for rows in (years, zones, answered.table("zone_months"), months):
        met = rows[["rain_m3", "harvested_m3", "mains_m3", "deficit_m3"]].sum(axis=1)
        np.testing.assert_allclose(met, rows["demand_m3"], rtol=1e-9)
    by_year = zones.groupby("year", dropna=False)["demand_m3"].sum()
    np.testing.assert_allclose(by_year.to_numpy(), years["demand_m3"])
    average, worst = average_and_worst(years)
    assert months[months["year"].isna()]["rain_mm"].sum() == pytest.approx(average["rain_mm"])
    assert months[months["year"] == 2003]["demand_m3"].sum() == pytest.approx(worst["demand_m3"])


def test_stores_fill_and_spill_as_in_the_storms(answered):
    # the roof by hand: 1 mm on 1 m² is 1 litre, 95 % reach the gutter, and the first 0.5 mm of each
    # run of wet days are led away
    kept, flush_mm = 0.0, 0.5
    for gutter_mm in 0.95 * record()["precipitation_mm"].to_numpy():
        flush_mm = 0.5 if gutter_mm == 0 else flush_mm
        away_mm = min(gutter_mm, flush_mm)
        flush_mm -= away_mm
        kept += 240 * (gutter_mm - away_mm) / 1000 / 4
    stores, zones = answered.table("store_years"), answered.table("zone_years")
    assert set(stores["element_id"]) == set(answered.layer("elements")["element_id"])
    mean = stores[stores["year"].isna()].set_index("element_id")
    assert mean.loc["Barn tank", "runoff_in_m3"] == pytest.approx(kept, rel=1e-6)
    # the cascade is that of the storms: what the tank spills is what the swale takes
    assert mean.loc["Long swale", "overflow_in_m3"] == pytest.approx(
        mean.loc["Barn tank", "spilled_m3"]
    )
    assert mean.loc["Barn tank", "spilled_m3"] > 0
    beds = zones[(zones["zone_id"] == "Beds") & zones["year"].isna()].iloc[0]
    assert mean.loc["Barn tank", "drawn_m3"] == pytest.approx(beds["irrigation_harvested_m3"])


def test_roots_within_reach_downslope_of_the_swale_are_fed_and_others_not(answered):
    zones, stores = answered.table("zone_years"), answered.table("store_years")
    mean = stores[stores["year"].isna()].set_index("element_id")
    layer = answered.layer("zones").set_index("zone_id")
    assert layer.loc["Grove", "fed_by"] == "Long swale"
    fed = zones[zones["year"].isna()].set_index("zone_id")["fed_m3"]
    assert 0 < fed["Grove"] <= 0.5 * mean.loc["Long swale", "soaked_m3"]
    assert fed["Far corner"] == 0
    # all that feeds roots in all zones is at most the stated share of all that soaked in
    assert fed.sum() <= 0.5 * mean["soaked_m3"].sum()
    assert "assumed" in layer.loc["Grove", "flag"]  # nobody said the soil there
    assert not layer.loc["Beds", "flag"]


def test_a_larger_tank_never_meets_less_for_what_draws_on_it(answered):
    curve = answered.table("size_curves")
    assert set(curve["element_id"]) == {"Barn tank"}
    assert len(curve) == 40
    assert (curve["share_without_mains"].diff().dropna() >= -1e-9).all()
    answer = answered.table("size_answers").iloc[0]
    assert (answer["serves"], answer["capacity_m3"]) == ("Beds", 12.0)
    zones = answered.table("zone_years")
    beds = zones[(zones["zone_id"] == "Beds") & zones["year"].isna()].iloc[0]
    assert answer["share_without_mains"] == pytest.approx(beds["share_without_mains"], abs=0.005)
    assert answer["text"].startswith("Barn tank: with 12.0 m³,")


def test_a_drier_climate_and_other_soils(answered):
    cases = answered.table("year_sensitivity").set_index("case")
    assert (
        cases.loc["drier climate", "share_without_mains"]
        < cases.loc["soil that holds less", "share_without_mains"]
        < cases.loc["as drawn", "share_without_mains"]
        < cases.loc["soil that holds more", "share_without_mains"]
    )


def test_only_what_depends_on_a_change_runs_again(again):
    again.tables = TABLES + "[year]\ngoal_share = 0.5\ngoal_by = 'days'\n"
    assert set(again.run(*UNTIL, "--draft").json["ran"]) == {"planting", "soil", "year"}
    answer, curve = again.table("size_answers").iloc[0], again.table("size_curves")
    assert (answer["goal_share"], answer["goal_by"]) == (0.5, "days")
    days = curve.set_index("capacity_m3")["share_of_days"]
    assert days[days.index < answer["smallest_m3"]].max() < 0.5
    assert days[days.index >= answer["smallest_m3"]].iloc[0] >= 0.5
    write_weather(again, record(dry_year=2002))
    told = {"weather", "soil", "reading", "planting", "year"}  # rain wears soil away, too
    assert set(again.run(*UNTIL, "--draft").json["ran"]) == told
    headline, years = again.manifest["headline"], again.table("site_years").set_index("year")
    assert headline["year_of_least_rain"] == "2002"
    # not always the worst: soils that a dry year leaves empty are missed in the next
    share = years["share_without_mains"].drop(index=years.index[years.index.isna()])
    assert headline["worst_year"] == f"{share.idxmin():.0f}"


def test_dual_coefficients_let_the_wetted_surface_evaporate(answered, again):
    assert answered.table("zone_years")["evaporated_m3"].isna().all()
    again.tables = TABLES + "[year]\ncoefficients = 'dual'\n"
    done = again.run(*UNTIL, "--draft")
    assert set(done.json["ran"]) == {"planting", "soil", "year"}
    assert any(
        "dual crop coefficients); taken for what the record lacks: wind of 2 m/s" in line
        for line in problems(done)
    )
    rows = again.table("zone_years")
    met = rows[["rain_m3", "harvested_m3", "mains_m3", "deficit_m3"]].sum(axis=1)
    np.testing.assert_allclose(met, rows["demand_m3"], rtol=1e-9)
    assert (rows["evaporated_m3"] > 0).all()
    # the surface takes its part of what left the ground, and never what was not there
    assert (rows["evaporated_m3"] < rows["demand_m3"] - rows["deficit_m3"]).all()


def test_uses_orders_own_plantings_and_no_mains(again):
    write_weather(again, record(last="2002-12-31"))
    again.tables = TABLES + (
        "[year]\nmains_limit_m3_per_d = 0\ndraw_order = ['Hollow']\n"
        "zone_order = ['Grove', 'Beds']\n"
        "[[year.uses]]\nname = 'Ducks'\nm3_per_d = 0.05\nmonths = [6, 7, 8]\n"
        "draws_on = ['Barn tank']\n"
        "[[year.plantings]]\nname = 'small vegetables'\nkc_initial = 0.2\nkc_middle = 0.2\n"
        "kc_end = 0.2\nkc_dormant = 0.2\nstage_days = [0, 0, 365, 0]\nfirst_day = 1\n"
        "root_depth_m = 0.5\n"
    )
    done = again.run(*UNTIL, "--draft")
    assert done.code == 0, done.err
    zones = again.table("zone_years")
    ducks = zones[(zones["zone_id"] == "Ducks") & (zones["year"] == 2001)].iloc[0]
    assert ducks["demand_m3"] == pytest.approx(0.05 * 92)
    assert (zones["mains_m3"] == 0).all()
    assert zones["zone_id"].drop_duplicates().tolist() == ["Grove", "Beds", "Far corner", "Ducks"]
    beds = zones[(zones["zone_id"] == "Beds") & (zones["year"] == 2001)].iloc[0]
    et0 = again.table("site_years").set_index("year").loc[2001, "et0_mm"]
    assert beds["demand_m3"] == pytest.approx(0.2 * et0 * BEDS.area / 1000)  # its own planting
    assert set(again.table("size_answers")["serves"]) == {"Beds, Ducks"}


def test_zones_without_weather_and_weather_without_zones_are_said(again):
    del again.inputs["weather"]
    done = again.run(*UNTIL, "--draft")
    assert done.code == 0
    assert any("3 planting zones are drawn, but there is no weather" in p for p in problems(done))
    assert all(len(again.table(name)) == 0 for name in YEAR_TABLES)
    assert "worst_year" not in again.manifest["headline"]
    write_weather(again, record(last="2002-12-31"))
    write_site(again, planting_zones=[])
    done = again.run(*UNTIL, "--draft")
    assert done.code == 0
    assert any("no planting zone is drawn" in p for p in problems(done))
    assert len(again.layer("zones")) == 0


def test_zones_without_any_store_live_on_rain_and_mains(again):
    again.write_plan(planting_zones=[{"name": "Beds", "planting": "lawn, cool season",
                                      "texture": "sand", "shape": BEDS}])  # fmt: skip
    write_weather(again, record(last="2002-12-31"))
    done = again.run(*UNTIL, "--draft")
    assert done.code == 0, done.err
    years = again.table("site_years")
    assert (years["harvested_m3"] == 0).all()
    assert (years["mains_avoided_m3"] == 0).all()
    assert (years["mains_m3"] > 0).all()
    assert len(again.table("size_curves")) == 0


def test_normals_stand_in_for_a_file_and_are_called_made_up_everywhere(again):
    del again.inputs["weather"]
    rain = "[90, 70, 60, 45, 40, 30, 15, 20, 45, 80, 95, 100]"
    again.tables = TABLES + (
        f"[weather]\nnormal_rain_mm = {rain}\n"
        "normal_wet_days = [14, 12, 11, 9, 8, 6, 3, 4, 8, 13, 15, 15]\n"
        "normal_temp_max_c = [8, 9, 12, 15, 19, 22, 26, 26, 22, 16, 11, 8]\n"
        "normal_temp_min_c = [2, 2, 3, 5, 8, 11, 13, 13, 10, 7, 4, 2]\nmade_up_years = 6\n"
    )
    done = again.run(*UNTIL, "--no-draft")
    assert done.code == 0, done.err
    assert any("6 years of days were made up from monthly normals" in p for p in problems(done))
    years = again.table("site_years")
    assert years["year"].dropna().tolist() == [2001, 2002, 2003, 2004, 2005, 2006]
    assert years[years["year"].isna()]["rain_mm"].iloc[0] == pytest.approx(690)
    for name in YEAR_TABLES:
        assert set(again.table(name)["weather"]) == {"made up"}
        csv = pd.read_csv(again.results / "tables" / f"{name}.csv")
        assert set(csv["weather"]) == {"made up"}
    assert set(again.layer("zones")["weather"]) == {"made up"}
    assert again.manifest["headline"]["weather_of_the_year"] == "made up"
    notes = [f["note"] for f in again.manifest["figures"] if f["source"] == "site_years"]
    assert len(notes) == 6
    assert all(note.endswith("of made-up weather") for note in notes)
    report = (again.results / "report.html").read_text(encoding="utf-8")
    assert "Water through the year (weather made up)" in report
    again.tables = again.tables.replace(rain, "[90, 70]")
    refused = again.check()
    assert refused.code == 2
    assert "normal_rain_mm has 2" in refused.err


def swapped(table):
    return table.rename(columns={"temp_max_c": "temp_min_c", "temp_min_c": "temp_max_c"})


def fahrenheit(table):
    warm = table[["temp_max_c", "temp_min_c"]] * 1.8 + 32
    table = table.rename(columns={"temp_max_c": "tmax", "temp_min_c": "tmin"})
    return table.assign(tmax=warm["temp_max_c"], tmin=warm["temp_min_c"])


def with_words(table):
    return table.assign(temp_min_c=table["temp_min_c"].astype(str).where(table.index != 5, "cold"))


def without_a_year(table):
    return table[~table["date"].str.startswith("2002-")]


@pytest.mark.parametrize(
    ("spoil", "line", "says"),
    [
        (swapped, "lines 2, 3", "the columns look swapped"),
        (fahrenheit, "line", "this looks like °F"),
        (with_words, "line 7", '"cold" is not a number'),
        (without_a_year, "after line 366", "2002 (365 days)"),
    ],
)
def test_a_bad_weather_file_stops_check_and_run_and_names_the_row(site, spoil, line, says):
    write_site(site)
    write_weather(site, spoil(record()))
    for done in (site.check(), site.run("--until", "year")):
        assert done.code == 2
        assert says in done.err
        assert f"weather.csv, {line}" in done.err
    assert not site.results.exists()


def test_names_that_nothing_has_are_refused_with_the_nearest(site):
    zones = [
        {"name": "Beds", "planting": "small vegtables", "shape": BEDS},
        {"name": "Grove", "planting": "berries", "texture": "lome", "shape": GROVE},
        {"name": "Far corner", "planting": "berries", "draws_on": "Barn tnak", "shape": FAR},
    ]
    write_site(site, zones)
    write_weather(site, record(last="2002-12-31"))
    site.tables = TABLES + "[year]\nzone_order = ['Groove']\n"
    for done in (site.check(), site.run("--until", "year")):
        assert done.code == 2
        assert "planting_zones, row 1: Beds: no planting is named 'small vegtables'" in done.err
        assert "did you mean 'small vegetables'?" in done.err
        assert "row 2: Grove: no soil texture is named 'lome'; did you mean 'loam'?" in done.err
        assert "row 3: there is no store Barn tnak" in done.err
        assert "did you mean Barn tank?" in done.err
        assert "there is no zone Groove" in done.err
