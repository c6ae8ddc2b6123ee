"""Reading a site and planting it by the command: every layer against the others and the rules."""

import csv
import json
import math
import re

import numpy as np
import pandas as pd
import pytest
import rasterio
import shapely
from tests.pipeline.conftest import Silent

pytestmark = pytest.mark.slow  # one run serves all, but it is a whole one

PLANTS = """\
name,kind,layer,spacing_m,height_m,crown_m,mature_y,sun,water,frost_limit_c,kc,root_depth_m,price_each
Apple,apple,canopy,5,4.5,4,10,full,dry;moist;wet,-25,0.9,1.0,20
Fig,fig,understorey,4,3,3,8,full;part,dry;moist,5,0.7,0.5,30
Mint,mint,herb,0.5,0.5,0.5,1,part;full,moist;wet,-20,0.9,0.2,2
"""
ZONE = shapely.box(20, 100, 50, 130)
TALL = shapely.box(80, 96, 100, 100)
POND = shapely.Point(80, 60).buffer(9)
ROW = shapely.LineString([(104, 120), (134, 120)])
TRACK = shapely.LineString([(30, 30), (130, 34)])
TABLES = """\
[storm]
depth_mm = 40
duration_h = 2
[wind]
from_deg = [[180, 1.0]]
[growing]
depth_m = [0.4, 0.9]
[soil_loss]
erosivity = 1000
[year]
usual_texture = "loam"
"""


def weather():
    """Two wet winters and dry summers, coldest night -6 °C."""
    dates = pd.date_range("2001-01-01", "2002-12-31")
    season = np.cos(2 * np.pi * (dates.day_of_year.to_numpy() - 20) / 365.25)
    return pd.DataFrame({
        "date": dates.strftime("%Y-%m-%d"),
        "precipitation_mm": np.where(np.arange(len(dates)) % 3 == 0, 6 + 6 * season, 0).round(1),
        "temp_max_c": (15 - 11 * season).round(1),
        "temp_min_c": (4 - 10 * season).round(1),
    })  # fmt: skip


@pytest.fixture(scope="module")
def read(tmp_path_factory, site_class):
    """One finished run that all tests look at."""
    with pytest.MonkeyPatch.context() as patch:
        site = site_class(tmp_path_factory.mktemp("reading"), Silent(), patch)
        site.tables = TABLES
        (site.folder / "plants.csv").write_text(PLANTS, encoding="utf-8")
        weather().to_csv(site.folder / "weather.csv", index=False)
        site.inputs |= {"plants": "plants.csv", "weather": "weather.csv"}
        corner = np.array([site.west, site.north - site.size])
        soils = [shapely.box(0, 0, 60, 160), shapely.box(60, 0, 160, 160)]
        site.write_shapes(
            "soils", [shapely.transform(each, lambda xy: xy + corner) for each in soils],
            texture=["loam", "loam"], depth_m=[0.45, None],
        )  # fmt: skip
        site.write_plan(
            planting_zones=[{"name": "Orchard", "plants": "Apple", "fill": "square",
                             "rows_deg": 90.0, "shape": ZONE}],
            plant_rows=[{"name": "Hedge", "plants": "Fig", "shape": ROW}],
            drawn_plants=[
                {"plants": "Apple", "shape": shapely.Point(82.5, 48.5)},
                {"plants": "Mint", "shape": shapely.Point(90, 101)},
                {"plants": "Mint", "shape": shapely.Point(122, 120.4)},
            ],
            drawn_ponds=[{"name": "Pond", "depth_m": 1.2, "shape": POND}],
            discharge_points=[{"name": "Brook", "shape": shapely.Point(80, 14)}],
            drawn_shade=[{"name": "Barn", "height_m": 8.0, "shape": TALL}],
            drawn_tracks=[{"name": "Lane", "radius_m": 10.0, "most_grade_pct": 14.0,
                           "shape": TRACK}],
        )  # fmt: skip
        done = site.run("--only", "rasters", "--only", "stakes", "--only", "pages")
        assert done.code == 0, done.err
        yield site


def cells(site, shape):
    rows = np.arange(site.size - 0.5, 0, -1)
    x, y = np.meshgrid(np.arange(0.5, site.size), rows)
    return shapely.contains_xy(shape, x, y)


def raster(site, name):
    """Every band of a published raster, in its unit."""
    with rasterio.open(site.results / "rasters" / f"{name}.tif") as file:
        return (
            file.read(masked=True).filled(np.nan if file.dtypes[0][0] == "f" else 0)
            * (file.scales[0])
        )


def test_sun_and_wind_are_kept_off_where_something_stands(read):
    winter = raster(read, "sun_h")[12]
    north, south = (
        cells(read, shapely.box(82, 101, 98, 105)),
        cells(read, shapely.box(82, 88, 98, 92)),
    )
    assert winter[north].mean() < 0.5 * winter[south].mean()
    shelter = raster(read, "shelter_deg")[0]  # from a wind from the south
    assert shelter[north].mean() > 30 > 6 > shelter[south].mean()
    with rasterio.open(read.results / "rasters" / "sun_h.tif") as file:
        assert (file.dtypes[0], file.scales[0], file.units[0]) == ("int16", 0.05, "h")


def test_a_zone_is_read_as_its_cells_are(read):
    (zone,) = read.table("zone_reading").to_dict("records")
    inside = cells(read, ZONE)
    growing = raster(read, "growing")[0].astype(int)[inside]
    hours = raster(read, "sun_h")[3:9].mean(axis=0)[inside]
    assert zone["sun_season_h"] == pytest.approx(hours.mean(), abs=0.05)
    assert (zone["sun_class"], zone["wind_class"]) == ("full", "exposed")
    assert zone["depth_m"] == pytest.approx(0.45)
    assert (zone["depth_class"], zone["dug_share"]) == ("medium", 1.0)
    assert zone["shelter_deg"] == pytest.approx(
        raster(read, "shelter_deg")[0][inside].mean(), abs=0.05
    )
    assert (growing // 100_000 == 3).mean() > 0.9
    assert (growing // 1000 % 10 == 2).all()
    assert (growing // 10 % 10 == 3).mean() == pytest.approx(zone["wet_share"])
    assert (growing % 10 == 2).mean() == pytest.approx(zone["cold_share"])
    assert zone["soil_loss_t_ha"] == pytest.approx(
        np.nanmean(raster(read, "soil_loss_t_ha")[0][inside]), rel=1e-5
    )


def test_ground_faces_down_its_valley_sides_and_machines_keep_off_what_is_steep(read):
    faces = raster(read, "aspect_deg")[0]
    assert (np.abs(faces[cells(read, shapely.box(10, 20, 30, 70))] - 90) < 60).all()
    assert (np.abs(faces[cells(read, shapely.box(130, 20, 150, 70))] - 270) < 60).all()
    works, slope = raster(read, "machine_ground")[0], raster(read, "slope_pct")[0]
    assert slope[works == 1].mean() < 20 < slope[works == 0].mean()
    (zone,) = read.table("zone_reading").to_dict("records")
    assert zone["machine_share"] == pytest.approx((works[cells(read, ZONE)] == 1).mean())


def test_springs_lie_in_wet_ground(read):
    springs, wet = read.layer("springs"), raster(read, "soil_wetness")[0]
    site = cells(read, shapely.box(12, 12, 148, 148))
    limit = np.quantile(wet[site], 0.9)
    assert 1 <= len(springs) <= 8
    assert (springs["wetness"] >= limit - 0.3).all()
    assert springs["wetness"].is_monotonic_decreasing


def test_plants_are_set_out_bought_and_flagged(read):
    plants = read.layer("plants")
    orchard = plants[plants["zone_id"] == "Orchard"]
    assert len(orchard) == 6 * 6  # 30 m by 30 m at 5 m
    assert len(plants[plants["zone_id"] == "Hedge"]) == math.floor(30 / 4) + 1
    assert orchard["flag"].fillna("").str.contains("shallow-soil").all()  # 0.45 m, roots 1.0 m
    hedge = plants[plants["zone_id"] == "Hedge"]
    assert hedge["flag"].str.contains("frost-tender").all()  # -6 °C, bears 5 °C
    assert not hedge["flag"].str.contains("shallow-soil").any()  # nobody dug there
    assert hedge["depth_m"].isna().all()
    single = plants[plants["zone_id"] == "single plants"].sort_values("plant_id")
    on_bank, behind_barn, under_fig = single["flag"].fillna("").tolist()
    assert "on-mound" in on_bank
    assert "little-sun" in behind_barn
    assert "little-sun" in under_fig
    assert str(single["shaded_by"].tolist()[2]).startswith("Hedge")
    schedule = read.table("plant_schedule")
    whole = schedule[schedule["zone_id"].isna() | (schedule["zone_id"] == "")]
    bought = whole.set_index("plant")["count"].to_dict()
    assert bought == plants["plant"].value_counts().to_dict()
    price = whole.set_index("plant")["price"]
    assert price["Apple"] == 20 * bought["Apple"]


def test_what_would_grow_in_a_zone_is_told_for_every_plant(read):
    grows = read.table("zone_plants").set_index("plant")
    assert set(grows.index) == {"Apple", "Fig", "Mint"}
    assert (grows.loc["Apple", "suits_share"], grows.loc["Apple", "lacks"]) == (0, "shallow-soil")
    assert (grows.loc["Fig", "suits_share"], grows.loc["Fig", "lacks"]) == (0, "frost-tender")
    assert 0.5 < grows.loc["Mint", "suits_share"] <= 1


def test_water_by_age_is_the_landscape_method_and_feeds_the_year(read):
    """Costello, Matheny & Clark (2000): crown area × coefficient × reference evapotranspiration."""
    water = read.table("plant_water")
    apple = water[(water["plant"] == "Apple") & (water["zone_id"] == "Orchard")]
    july = apple[apple["month"] == 7].set_index("age_y")
    crowns = [math.pi / 4 * (4 * min(1, age / 10)) ** 2 for age in (1, 3, 10)]
    np.testing.assert_allclose(july.loc[[1, 3, 10], "crown_m2"], crowns)
    per_m2_mm = july["demand_m3"] * 1000 / july["count"] / july["crown_m2"] / 0.9
    assert per_m2_mm.max() == pytest.approx(per_m2_mm.min())  # one evapotranspiration for all ages
    assert 80 < per_m2_mm.iloc[0] < 250
    trees = read.layer("plants")
    tree = trees[trees["zone_id"] == "Orchard"].iloc[0]
    lacks = apple.groupby("month")["need_m3"].max()
    need = apple[(apple["age_y"] == 10) & (apple["month"] == lacks.idxmax())].iloc[0]
    days = {6: 30, 7: 31, 8: 31}[int(need["month"])]
    assert tree["week_10y_l"] == pytest.approx(1000 * need["need_m3"] / 36 / days * 7)
    ages = read.table("zone_ages").set_index("age_y")
    assert ages.index.tolist() == [1, 3, 10]
    assert ages["demand_m3"].is_monotonic_increasing
    kc = read.table("zone_kc").query("month == 7").set_index("age_y")["kc"]
    cover = 36 * crowns[2] / ZONE.area
    assert kc[10] == pytest.approx(0.9 * cover + 0.3 * (1 - cover))
    assert (ages["lives"] == ((ages["share_without_mains"] >= 0.9)
                              & (ages["share_without_mains_worst"] >= 0.9))).all()  # fmt: skip


def test_the_track_keeps_to_its_limits_and_its_culverts_pass_the_peak(read):
    (track,) = read.layer("tracks").to_dict("records")
    assert not track["flag"]
    assert track["grade_pct"] <= 14.0
    assert track["radius_m"] >= 10.0
    line = track["geometry"]
    corner = np.array([read.west, read.north - read.size])
    ends = shapely.transform(TRACK, lambda xy: xy + corner)
    assert line.hausdorff_distance(ends) < 60
    crossings = read.layer("track_crossings")
    assert track["crossings"] == len(crossings) >= 1
    for one in crossings.to_dict("records"):
        assert line.distance(one["geometry"]) < 1e-6
        # rational method: C i A; only a depth is given, so rain is even and the row says so
        assert one["peak_m3_s"] == pytest.approx(0.4 * (40 / 2 / 1000 / 3600) * one["area_m2"])
        assert one["flag"] == "mean-rain"
        assert one["way"] == ("culvert" if one["peak_m3_s"] > 0.01 else "dip")
        assert (one["barrels"] > 0) == (one["way"] == "culvert") == (one["diameter_mm"] >= 300)


def test_every_reading_has_its_plate_and_lies_on_the_map_page(read):
    report = (read.results / "report.html").read_text(encoding="utf-8")
    plates = (
        "aspect", "machine-ground", "sun-winter", "sun-season", "sun-summer", "sun-energy",
        "cold-air", "wind", "wetness", "soil-loss", "deposits", "soil-depth", "together", "access",
        "planting",
    )  # fmt: skip
    assert [name for name in plates if f'id="plate-{name}"' not in report] == []
    assert "ranked within 80.0" in report.replace("\N{NO-BREAK SPACE}", " ")  # 160 m of survey
    page = (read.results / "map.html").read_text(encoding="utf-8")
    data = json.loads(re.search(r'<script[^>]*id="data"[^>]*>(.*?)</script>', page, re.DOTALL)[1])
    shown = {one["name"] for one in data["overlays"]}
    assert shown >= {
        "sun_h, shortest day", "sun_h, growing season", "sun_h, longest day", "sun_mj_m2, mean day",
        "aspect_deg", "shelter_deg", "soil_wetness", "soil_loss_t_ha", "deposit_t_ha",
        "soil_depth_m",
    }  # fmt: skip
    assert {"cold", "wet", "shade", "wind"} <= {one["name"] for one in data["offers"]}
    (zones,) = (one for one in data["layers"] if one["name"] == "zones")
    assert any("cold" in str(column[0]).lower() for column in zones["columns"])


def test_the_crew_gets_every_plant_and_its_place(read):
    with (read.results / "stakes" / "plants.csv").open(encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    plants = read.layer("plants").set_index("plant_id")
    assert {row["plant_id"] for row in rows} == set(plants.index)
    logger = pd.read_csv(
        read.results / "stakes" / "plants_for_logger.csv", header=None, index_col=0
    ).loc[plants.index]
    np.testing.assert_allclose(logger[1], plants.geometry.y, atol=5e-4)
    np.testing.assert_allclose(logger[3], plants["level_m"], atol=5e-4)
    assert logger[4].tolist() == plants["plant"].tolist()
