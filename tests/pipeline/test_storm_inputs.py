"""What is given of surfaces, inflows and storms arrives at the elements to the last litre."""

import numpy as np
import pytest
import shapely

pytestmark = pytest.mark.usefixtures("stages_kept")

POND = shapely.Point(80, 70).buffer(11)
TANK = shapely.Point(30, 100)
ROOF = shapely.box(20, 105, 32, 115)
RAIN = "duration_h,2y,10y,50y\n0.5,16,24,32\n1,20,30,40\n6,35,60,70\n24,55,80,110\n"
STORM = '[storm]\nreturn_period_y = 10\nduration_h = 6\nshape = "uniform"\n'
DEPTH_M, HOURS = 0.060, 6.0


def write(site, coefficient):
    """A pond in a valley that is all one surface, and a roof that drains to a tank."""
    corner = np.array([site.west, site.north - site.size])
    roof = shapely.transform(ROOF, lambda xy: xy + corner)
    site.write_shapes(
        "surfaces", [site.box().difference(roof), roof], cover=["gravel", "roof"],
        name=["Ground", "Shed"], runoff_coefficient=[coefficient, 0.8],
    )  # fmt: skip
    (site.folder / "rain.csv").write_text(RAIN)
    site.inputs["rainfall"] = "rain.csv"
    site.write_plan(
        drawn_ponds=[{"name": "Pond", "shape": POND}],
        drawn_tanks=[{"name": "Tank", "roofs": "Shed", "first_flush_mm": 1.0, "shape": TANK}],
        inflow_points=[
            {"name": "Culvert", "into": "Pond", "shape": shapely.Point(80, 90)},
            {"name": "Ditch", "into": "Pond", "peak_m3_s": 0.02, "volume_m3": 36.0,
             "shape": shapely.Point(70, 90)},
        ],
    )  # fmt: skip


def results(site, tables=STORM):
    site.tables = tables
    done = site.run("--draft", "--until", "works")
    assert done.code == 0, done.err
    table = site.table("storm_results")
    return done, table[table["storm"] == "10-year"].set_index("element_id")


def test_surfaces_with_a_coefficient_are_rational_sources(site):
    write(site, 1.0)
    done, all_runs_off = results(site)
    assert "Culvert was left out" in done.err  # it has no peak, no volume and no hydrograph
    write(site, 0.35)
    _, some = results(site)
    # outside = C P A + what does not hang on C, so the difference gives the ground's area
    area_m2 = (all_runs_off["outside_m3"] - some["outside_m3"])["Pond"] / (0.65 * DEPTH_M)
    assert 5_000 < area_m2 < site.size**2
    # rational method: Q = C i A / 360 [m³/s, mm/h, ha] once all of it contributes
    rates = [c * (1000 * DEPTH_M / HOURS) * (area_m2 / 1e4) / 360 for c in (1.0, 0.35)]
    peaks = [found["inflow_peak_m3_s"]["Pond"] for found in (all_runs_off, some)]
    assert peaks[0] - peaks[1] == pytest.approx(rates[0] - rates[1], rel=0.02)
    # 0.8 of the rain on 120 m² of roof, less 1 mm of first flush
    assert some["outside_m3"]["Tank"] == pytest.approx(120 * (0.8 * DEPTH_M - 0.001), rel=1e-6)


def test_a_given_hydrograph_arrives_whole_and_several_durations_are_run(site):
    write(site, 0.35)
    _, before = results(site)
    # a trapezoid: 0 to 0.05 m³/s in half an hour, an hour long, back in half an hour
    (site.folder / "inflows.csv").write_text("time_h,Culvert\n0,0\n0.5,0.05\n1.5,0.05\n2.0,0\n")
    site.inputs["inflows"] = "inflows.csv"
    assert "Culvert 270 m³" in site.check().out
    tables = STORM + "check_periods_y = [50]\ncheck_durations_h = [1]\n"
    done, after = results(site, tables)
    assert "left out" not in done.err
    more_m3 = (after["outside_m3"] - before["outside_m3"])["Pond"]
    assert more_m3 == pytest.approx(0.05 * 1.5 * 3600, rel=1e-6)
    balance = site.table("storm_balance").set_index("storm")
    assert set(balance.index) == {"10-year", "50-year", "10-year 1 h", "50-year 1 h"}
    assert (balance["residual_ratio"].abs() < 1e-4).all()
    (site.folder / "inflows.csv").write_text("time_h,Culvrt\n0,0\n0.5,0.05\n2.0,0\n")
    assert "no inflow point is called Culvrt" in results(site)[0].err


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("hours,Culvert\n0,0\n1,1\n", "needs a column time_h"),
        ("time_h,Culvert\n0,0\n1,high\n", '"high" is not a number'),
        ("time_h,Culvert\n1,0\n0,1\n", "never fall"),
    ],
)
def test_a_wrong_hydrograph_is_named(site, text, says):
    (site.folder / "inflows.csv").write_text(text)
    site.inputs["inflows"] = "inflows.csv"
    done = site.check()
    assert done.code == 2
    assert says in done.err


def test_soil_soaks_faster_while_dry_by_its_texture(site):
    basin = {"name": "Basin", "soak_mm_per_h": 11.0, "shape": POND}
    site.write_shapes("soils", [site.box()], group=["B"], texture=["sandy loam"])
    site.write_plan(drawn_basins=[basin])
    soaked = []
    for infiltration in ("constant", "Green-Ampt"):
        site.tables = f'[storm]\ndepth_mm = 40\n[works]\ninfiltration = "{infiltration}"\n'
        done = site.run("--draft", "--until", "works")
        assert done.code == 0, done.err
        soaked.append(site.table("storm_results").set_index("element_id").loc["Basin"])
    constant, dry = soaked
    assert dry["peak_storage_m3"] < constant["peak_storage_m3"]
    assert dry["drawdown_h"] < constant["drawdown_h"]
    assert dry["outside_m3"] == pytest.approx(constant["outside_m3"])
    assert "has no texture" not in done.err
    site.write_plan(drawn_basins=[basin | {"shape": shapely.Point(80, 20).buffer(7)}])
    site.write_shapes("soils", [site.box(60)], group=["B"], texture=["sandy loam"])
    off_the_soil = site.run("--draft", "--until", "works")
    assert "the soil has no texture at Basin: a constant rate is taken" in off_the_soil.err
