"""Drawn elements through a storm: a chain that works, and each way of breaking it on purpose."""

import geopandas as gpd
import numpy as np
import pyogrio
import pytest
import shapely

pytestmark = pytest.mark.usefixtures("stages_kept")

POND = shapely.Point(80, 70).buffer(11)
BASIN = shapely.Point(80, 38).buffer(8)
END = shapely.Point(80, 18)
STORM = "[storm]\ndepth_mm = 70\nduration_h = 3\n[works]\nusual_soak_mm_per_h = 30\n"


def plan(**changes):
    """A pond that spills to a basin that spills to a named discharge point."""
    layers = {
        "drawn_ponds": [{"name": "Upper pond", "depth_m": 1.2, "shape": POND}],
        "drawn_basins": [{"name": "Lower basin", "depth_m": 0.4, "shape": BASIN}],
        "discharge_points": [{"name": "Brook", "shape": END}],
    }
    return layers | changes


def flags(site, name):
    rows = site.layer("elements").set_index("element_id")
    return set(filter(None, (rows.loc[name, "flag"] or "").split(";")))


def run(site, *options, **changes):
    site.tables = STORM
    site.write_plan(**plan(**changes))
    done = site.run("--draft", *(options or ("--until", "advice")))
    assert done.code == 0, done.err
    return done


def test_the_chain_follows_the_ground_and_closes_its_balance(site):
    run(site)
    elements = site.layer("elements").set_index("element_id")
    assert elements.loc["Upper pond", "spills_to"] == "Lower basin"
    assert elements.loc["Lower basin", "spills_to"] == "Brook"
    assert (elements["storage_m3"] > 0).all()
    balance = site.table("storm_balance").iloc[0]
    assert balance["outside_m3"] > 100
    assert abs(balance["residual_ratio"]) < 1e-4
    results = site.table("storm_results").set_index("element_id")
    assert (results["residual_m3"].abs() <= 1e-4 * results["outside_m3"].clip(lower=1)).all()
    for name in elements.index:
        assert not flags(site, name) & {"no-safe-outlet", "cycle", "uphill", "overtopped"}
    overflows = site.layer("overflows")
    assert (overflows["sill_width_m"] > 0).all()  # empty widths are sized
    assert (overflows.length > 0).all()
    series = site.table("storm_series")
    assert set(series["element_id"]) == set(elements.index)
    peak = series.groupby("element_id")["level_m"].max()
    np.testing.assert_allclose(peak[elements.index], elements["peak_level_m"], atol=0.005)
    # without a rainfall table, multiples of the stated rain tell what fails first
    checks = site.table("check_storms")
    storms = list(checks.loc[checks["case"] == "storm", "storm"])
    assert storms == ["stated rain", *(f"{k} times the stated rain" for k in ("1.25", "1.5", "2"))]
    assert ((checks["failure"] == "overtopped") == (checks["flag"] != "")).all()


def test_a_pond_added_to_the_plan_with_a_name_alone_changes_the_numbers(site):
    run(site)
    before = site.manifest["headline"]
    was = site.table("storm_results").set_index("element_id").loc["Upper pond"]
    # as a viewer saves it: one more row in the file, every other column empty
    corner = np.array([site.west, site.north - site.size])
    shape = shapely.transform(shapely.Point(80, 110).buffer(12), lambda xy: xy + corner)
    row = gpd.GeoDataFrame({"name": ["Third pond"]}, geometry=[shape], crs=site.crs)
    pyogrio.write_dataframe(row, site.folder / "plan.gpkg", layer="drawn_ponds", append=True)
    assert site.run("--draft", "--until", "advice").code == 0
    after = site.manifest["headline"]
    assert after["elements"] == before["elements"] + 1
    assert after["storage_m3"] > before["storage_m3"]
    elements = site.layer("elements").set_index("element_id")
    assert elements.loc["Third pond", "spills_to"] == "Upper pond"
    assert elements.loc["Third pond", "depth_m"] == pytest.approx(1.5)  # works.pond_depth_m
    way = site.layer("overflows").set_index("from_id").loc["Third pond"]
    assert way["sill_width_m"] > 0
    assert way["peak_m3_s"] > 0
    now = site.table("storm_results").set_index("element_id").loc["Upper pond"]
    assert now["outside_m3"] < was["outside_m3"]  # the new pond takes the ground above
    assert now["received_m3"] > was["received_m3"] == 0


def test_a_sill_set_too_high_is_uphill_and_the_mend_lowers_or_raises_one(site):
    level = run_level(site) + 0.05
    basin = {"name": "Lower basin", "spill_level_m": level, "depth_m": 0.4, "shape": BASIN}
    run(site, drawn_basins=[basin])
    assert "uphill" in flags(site, "Upper pond")
    mends = site.table("cascade_mends")
    assert ((mends["code"] == "uphill") & (mends["unit"] == "m")).any()


def test_without_a_discharge_point_the_end_is_not_safe(site):
    layers = plan()
    del layers["discharge_points"]
    site.tables = STORM
    site.write_plan(**layers)
    assert site.run("--draft", "--until", "advice").code == 0
    assert "no-safe-outlet" in flags(site, "Lower basin")
    run(site, discharge_points=[{"name": None, "shape": END}])
    assert "no-safe-outlet" in flags(site, "Lower basin")  # it has no name


def test_a_ring_is_flagged(site):
    pond = {"name": "Upper pond", "spills_to": "Lower basin", "shape": POND}
    basin = {"name": "Lower basin", "spills_to": "Upper pond", "shape": BASIN}
    run(site, drawn_ponds=[pond], drawn_basins=[basin])
    assert "cycle" in flags(site, "Upper pond")
    assert "cycle" in flags(site, "Lower basin")
    mends = site.table("cascade_mends").query("code == 'cycle'")
    assert set(mends["text"]) == {"lead the overflow of Lower basin to Brook"}


def test_an_undersized_way_is_flagged_with_a_mend(site):
    way = {"from_id": "Upper pond", "to_id": "Lower basin", "sill_width_m": 4.0,
           "capacity_m3_s": 0.0005,
           "shape": shapely.LineString([(80, 59), (80, 46)])}  # fmt: skip
    run(site, drawn_overflows=[way])
    overflow = site.layer("overflows").set_index("from_id").loc["Upper pond"]
    assert overflow["peak_m3_s"] > 0.0005
    assert "small-outlet" in overflow["flag"]
    assert (site.table("cascade_mends")["code"] == "small-outlet").any()


def test_of_two_sills_the_lower_takes_the_water_until_the_higher_is_reached(site):
    level = run_level(site)
    line = shapely.LineString([(80, 59), (80, 46)])
    low = {"from_id": "Upper pond", "to_id": "Lower basin", "crest_level_m": level,
           "sill_width_m": 0.5, "shape": line}  # fmt: skip
    high = {"from_id": "Upper pond", "to_id": "Brook", "crest_level_m": level + 0.06,
            "sill_width_m": 3.0,
            "shape": shapely.LineString([(70, 66), (70, 20)])}  # fmt: skip
    run(site, drawn_overflows=[high, low])
    ways = site.layer("overflows").query("from_id == 'Upper pond'").set_index("to_id")
    assert ways.loc["Lower basin", "preference"] == 1
    assert ways.loc["Brook", "preference"] == 2
    volumes = site.table("overflow_results").query("from_id == 'Upper pond'").set_index("to_id")
    peak = site.layer("elements").set_index("element_id").loc["Upper pond", "peak_level_m"]
    assert volumes.loc["Lower basin", "volume_m3"] > 0
    assert (volumes.loc["Brook", "volume_m3"] > 0) == (peak > level + 0.06)


def run_level(site):
    """Spill level of the pond as designed."""
    run(site)
    elements = site.layer("elements").set_index("element_id")
    return float(elements.loc["Upper pond", "spill_level_m"])


def test_a_row_that_cannot_be_made_is_told_and_left_out(site):
    drain = {"name": "Uphill drain", "shape": shapely.LineString([(80, 20), (80, 120)])}
    done = run(site, drawn_drains=[drain])
    assert "Uphill drain cannot be made" in done.err
    assert "must fall" in done.err
    assert set(site.layer("elements")["element_id"]) == {"Upper pond", "Lower basin"}


def test_a_wrong_word_in_the_plan_is_named_with_its_row(site):
    site.write_plan(**plan(drawn_basins=[{"form": "bathtub", "shape": BASIN}]))
    for done in (site.check(), site.run()):
        assert done.code == 2
        assert "bathtub" in done.err
        assert "rain garden" in done.err


@pytest.mark.parametrize("periods", [(2.0, 25.0)])
def test_several_storms_come_from_the_rainfall_table(site, periods):
    rain = "duration_h,2y,10y,50y\n0.5,16,24,32\n1,20,30,40\n6,35,52,70\n24,55,80,110\n"
    (site.folder / "rain.csv").write_text(rain)
    site.inputs["rainfall"] = "rain.csv"
    site.write_plan(**plan())
    site.tables = f"[storm]\nreturn_period_y = 10\ncheck_periods_y = {list(periods)}\n"
    assert site.run("--draft", "--until", "advice").code == 0
    results = site.table("storm_balance").set_index("storm")["outside_m3"]
    assert results["2-year"] < results["10-year"] < results["25-year"]


def test_an_undersized_pipe_and_drain_are_flagged_and_enlarged(site):
    tank = {"name": "Tank", "overflow_mm": 50.0, "spills_to": "Upper pond",
            "shape": shapely.Point(60, 110)}  # fmt: skip
    drain = {"name": "Drain", "bottom_m": 0.1, "depth_m": 0.25, "fall_pct": 1.0,
             "lining": "gravel", "soil": "hardpan",
             "shape": shapely.LineString([(95, 100), (88, 80)])}  # fmt: skip
    water = [
        {"name": f"To {into}", "into": into, "peak_m3_s": peak, "volume_m3": 100.0,
         "shape": shapely.Point(20, 20)}
        for into, peak in (("Tank", 0.03), ("Drain", 0.2))
    ]  # fmt: skip
    run(site, drawn_tanks=[tank], drawn_drains=[drain], inflow_points=water)
    assert {"small-outlet", "overtopped"} <= flags(site, "Tank")
    assert "small-outlet" in flags(site, "Drain")
    mends = site.table("cascade_mends").query("code == 'small-outlet'")
    pipes = mends[(mends["changed_id"] == "Tank") & (mends["unit"] == "mm")]
    assert (pipes["value_mended"] > 50).all()
    assert len(pipes) == 1
    drains = mends[mends["changed_id"] == "Drain"]
    assert set(drains["dimension"]) & {"bottom width", "depth"}
    told = site.table("drain_results").set_index("element_id").loc["Drain"]
    assert told["peak_m3_s"] > told["capacity_m3_s"]
