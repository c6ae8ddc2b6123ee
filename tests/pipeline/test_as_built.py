"""What was built against the design, through the command: known faults are found, and no others."""

import csv
from collections import Counter

import fiona
import geopandas as gpd
import numpy as np
import pyogrio
import pytest
import rasterio
import shapely
from tests.pipeline.careless_sites import Stages
from tests.pipeline.conftest import Silent

from brimline.io.frames import check_frame
from brimline.layers import CATALOGUE

POND = shapely.Point(80, 70).buffer(11)
BASIN = shapely.Point(80, 36).buffer(8)
SWALE = shapely.LineString([(30, 100), (31, 112), (32, 124)])
END = shapely.Point(80, 14)
TABLES = (
    "[storm]\ndepth_mm = 70\nduration_h = 3\n[works]\nusual_soak_mm_per_h = 30\n"
    "[survey]\nrealisations = 0\n[keep]\nruns = 0\n"
)
LEVEL = '[as_built]\nsurveyed_by = "level"\n'
SETTLED = f"{LEVEL}settled = true\n"
NAMES = ("as_built_findings", "as_built_elements", "as_built_sills", "as_built_stakes")


def as_points(stakes, level="build_m"):
    return [
        {"name": row.stake_id, "easting": row.geometry.x, "northing": row.geometry.y,
         "level": getattr(row, level)}
        for row in stakes.itertuples()
    ]  # fmt: skip


def write_csv(site, rows, name="built.csv"):
    with (site.folder / name).open("w", newline="", encoding="utf-8") as file:
        writer = csv.DictWriter(file, fieldnames=list(rows[0]))
        writer.writeheader()
        writer.writerows(rows)
    site.inputs["as_built"] = name


def table(site, name):
    return pyogrio.read_dataframe(site.results / "site.gpkg", layer=name)


def run(site, extra="", *options):
    site.tables = TABLES + extra
    done = site.run(*(options or ("--only", "rasters")))
    assert done.code == 0, done.err
    return done


@pytest.fixture(scope="module")
def finished(tmp_path_factory, site_class):
    """A finished design: a swale and a pond that spill to a basin, with a named end."""
    with pytest.MonkeyPatch.context() as patch:
        site = site_class(tmp_path_factory.mktemp("as_built"), Silent(), patch)
        site.tables = TABLES
        x, y = shapely.get_coordinates(SWALE).astype(int).T
        level = round(float(np.median(site.dem[site.size - 1 - y, x])), 2)
        site.write_plan(
            drawn_swales=[{"name": "Swale", "depth_m": 0.5, "level_m": level, "bottom_m": 1.5,
                           "shape": SWALE}],
            drawn_ponds=[{"name": "Pond", "depth_m": 1.2, "shape": POND}],
            drawn_basins=[{"name": "Basin", "depth_m": 0.4, "shape": BASIN}],
            discharge_points=[{"name": "Brook", "shape": END}],
        )  # fmt: skip
        done = site.run("--only", "rasters")
        assert done.code == 0, done.err
        stakes = site.layer("stakes")
        stakes = stakes[stakes["offset_m"] == 0].reset_index(drop=True)
        write_csv(site, as_points(stakes))
        run(site, LEVEL)
        yield site, stakes, {name: table(site, name) for name in NAMES}


@pytest.fixture
def designed(finished, capsys):
    """The finished design, heard by this test."""
    site, stakes, _ = finished
    site.capsys = capsys
    return site, stakes


@pytest.fixture
def everywhere(finished):
    """The stakes as surveyed, and a point on each place of the bottoms."""
    _, stakes, first = finished
    rows = as_points(stakes)
    for row in first["as_built_stakes"].itertuples():
        if "-B" in row.stake_id:
            rows.append({"name": row.stake_id, "easting": row.geometry.x,
                         "northing": row.geometry.y, "level": row.design_m})  # fmt: skip
    return rows


def verdicts(site):
    return table(site, "as_built_elements").set_index("element_id")


def fails(site):
    stakes = table(site, "as_built_stakes")
    return stakes[stakes["verdict"] == "fail"].set_index("stake_id")


def write_surface(site, change, name="built.tif", **profile_changes):
    """Write the designed surface as surveyed, after what `change` does to it."""
    with rasterio.open(site.results / "rasters" / "design_surface.tif") as file:
        surface, profile = file.read(1), file.profile
    kept = ("driver", "height", "width", "count", "dtype", "crs", "transform", "nodata")
    profile = {key: profile[key] for key in kept} | profile_changes
    x, y = np.meshgrid(
        profile["transform"].c + profile["transform"].a * (np.arange(surface.shape[1]) + 0.5),
        profile["transform"].f + profile["transform"].e * (np.arange(surface.shape[0]) + 0.5),
    )
    with rasterio.open(site.folder / name, "w", **profile) as file:
        file.write(change(surface, x, y).astype(np.float32), 1)
    site.inputs["as_built"] = name


def test_points_on_every_stake_as_designed_show_nothing(designed, everywhere, finished):
    site, _ = designed
    first = finished[2]["as_built_findings"]
    # no stake stands on the bottoms of the pond and the basin, and that is all that is told
    assert set(first["code"]) == {"not-surveyed"}
    assert first["text"].str.contains("-B0").all()
    before = finished[2]["as_built_elements"].set_index("element_id")
    assert np.isnan(before.loc["Pond", "storage_built_m3"])
    write_csv(site, everywhere)
    done = run(site, LEVEL)
    assert len(table(site, "as_built_findings")) == 0
    found = verdicts(site)
    assert set(found["verdict"]) == {"as designed"}
    np.testing.assert_allclose(found["storage_pct"], 100, atol=0.01)
    np.testing.assert_allclose(found["spill_level_built_m"], found["spill_level_design_m"],
                               atol=1e-6)  # fmt: skip
    # routed again with the levels as built, every storm gives what it gave by design
    design = table(site, "elements").set_index("element_id")
    np.testing.assert_allclose(found["peak_level_m"], design["peak_level_m"], atol=2e-3)
    assert "Levels built off" in done.out


def test_known_faults_in_points_are_found_and_no_others(designed, everywhere):
    site, stakes = designed
    rows = [dict(row) for row in everywhere]
    ends = stakes[stakes["stake_id"].str.startswith("Pond-S")].geometry.tolist()
    for row in rows:
        if row["name"].startswith("Swale-F"):
            row["level"] += 0.05
        if row["name"] == "Basin-C06":
            row["level"] -= 0.12
    low = shapely.LineString(ends).interpolate(0.5, normalized=True)
    level = next(row["level"] for row in rows if row["name"] == "Pond-S01")
    rows.append({"name": "low spot", "easting": low.x, "northing": low.y, "level": level - 0.03})
    write_csv(site, rows)
    run(site, LEVEL)
    off = fails(site)
    floors = [name for name in off.index if name.startswith("Swale-F")]
    assert set(off.index) == {*floors, "Basin-C06"}
    assert len(floors) == stakes["stake_id"].str.startswith("Swale-F").sum()
    np.testing.assert_allclose(off.loc[floors, "cut_m"], 0.05, atol=1e-6)
    assert off.loc["Basin-C06", "cut_m"] == pytest.approx(-0.12, abs=1e-6)
    assert off.loc["Basin-C06", "mend"] == "fill 0.12 m"
    sills = table(site, "as_built_sills").set_index("element_id")
    assert list(sills.index[sills["verdict"] == "fail"]) == ["Pond"]
    pond = sills.loc["Pond"]
    assert pond["lowest_m"] == pytest.approx(pond["design_m"] - 0.03, abs=1e-6)
    assert pond["uneven_m"] == pytest.approx(0.03, abs=1e-6)
    assert pond["lowest_at_m"] == pytest.approx(pond["width_m"] / 2, abs=0.01)
    found = verdicts(site)
    assert found.loc["Pond", "spill_level_built_m"] == pytest.approx(
        found.loc["Pond", "spill_level_design_m"] - 0.03, abs=1e-6
    )
    assert found.loc["Basin", "crest_level_built_m"] == pytest.approx(
        found.loc["Basin", "crest_level_design_m"] - 0.12, abs=1e-6
    )
    # the basin's mound now stands below its flood: the gravest comes first
    assert found.loc["Basin", "verdict"] == "fails"
    assert found.loc["Basin", "new_flags"] == "overtopped"
    first = table(site, "as_built_findings").iloc[0]
    assert (first["element_id"], first["code"]) == ("Basin", "overtopped")
    assert "fill 0.12 m" in first["mend"]
    assert set(table(site, "as_built_findings")["element_id"]) == {"Swale", "Pond", "Basin"}
    # 5 cm of a swale 0.5 m deep with sides of 2 to 1 and a bottom of 1.5 m: b y + z y²
    short = 1 - (1.5 * 0.45 + 2 * 0.45**2) / (1.5 * 0.5 + 2 * 0.5**2)
    assert found.loc["Swale", "storage_pct"] == pytest.approx(100 * (1 - short), abs=2.5)


def test_known_faults_in_a_surface_are_found_and_no_others(designed):
    site, _ = designed
    stakes = table(site, "stakes")
    pond = table(site, "elements").set_index("element_id").loc["Pond"]

    def spoil(surface, x, y):
        near = shapely.contains_xy(SWALE.buffer(2.5).union(SWALE.buffer(2.5)), x - site.west,
                                   y - (site.north - site.size))  # fmt: skip
        floor = stakes[stakes["stake_id"] == "Swale-F03"]["design_m"].iloc[0]
        surface = np.where(near & (surface < floor + 0.35), surface + 0.05, surface)
        inside = shapely.contains_xy(pond.geometry, x, y)
        spill = pond["spill_level_m"]
        held = np.clip(spill - surface, 0, None)[inside].sum()
        low, high = surface[inside].min(), spill
        for _ in range(60):
            silt = (low + high) / 2
            half = np.clip(spill - np.maximum(surface, silt), 0, None)[inside].sum() < held / 2
            low, high = (low, silt) if half else (silt, high)
        return np.where(inside, np.maximum(surface, silt), surface)

    write_surface(site, spoil)
    run(site, SETTLED)
    found = verdicts(site)
    assert found.loc["Pond", "storage_pct"] == pytest.approx(50, abs=2)
    assert found.loc["Pond", "verdict"] == "fails"
    assert "short-storage" in found.loc["Pond", "flag"]
    assert found.loc["Basin", "verdict"] == "as designed"
    assert found.loc["Basin", "storage_pct"] == pytest.approx(100, abs=0.1)
    off = fails(site)
    assert set(off["element_id"]) == {"Swale", "Pond"}
    assert (off["role"] == "floor").all()
    swale = off[off["element_id"] == "Swale"]
    np.testing.assert_allclose(swale["cut_m"], 0.05, atol=0.015)  # cells at its ends hold less
    inner = [f"Swale-F{number:02}" for number in (2, 3, 4, 5)]
    # a survey's levels are held to 1/2048 m
    np.testing.assert_allclose(swale.loc[inner, "cut_m"], 0.05, atol=1 / 4096)
    assert (table(site, "as_built_sills")["verdict"] == "pass").all()
    first = table(site, "as_built_findings").iloc[0]
    assert first["element_id"] == "Pond"


def test_a_surface_as_designed_shows_nothing(designed):
    site, _ = designed
    write_surface(site, lambda surface, *_: surface)
    done = run(site, SETTLED, "--no-draft")
    assert len(table(site, "as_built_findings")) == 0
    assert set(verdicts(site)["verdict"]) == {"as designed"}
    names = {name for name, _ in pyogrio.list_layers(site.results / "site.gpkg")}
    assert set(NAMES) <= names
    for name in NAMES:
        assert check_frame(table(site, name), CATALOGUE[name]) == []
    with fiona.open(site.results / "site.gpkg", layer="as_built_stakes") as file:
        assert len(file) == len(table(site, "as_built_stakes"))
    assert (site.results / "stakes" / "as_built.csv").exists()
    assert (site.results / "tables" / "as_built_sills.csv").exists()
    page = (site.results / "report.html").read_text(encoding="utf-8")
    assert page.index("As built: what fails first") < page.index("Slope")
    assert "Storage as built" in done.out


def test_what_a_survey_cannot_tell_is_told_once_an_element_and_fails_nothing(designed, everywhere):
    """A right design, shot with 12 mm of noise, four more places on every sill."""
    site, stakes = designed
    rng = np.random.default_rng(12)
    rows = [dict(row) for row in everywhere]
    for name in ("Swale", "Pond", "Basin"):
        ends = stakes[stakes["stake_id"].str.startswith(f"{name}-S")].geometry.tolist()
        level = next(row["level"] for row in rows if row["name"] == f"{name}-S01")
        for place in (0.2, 0.4, 0.6, 0.8):
            at = shapely.LineString(ends).interpolate(place, normalized=True)
            rows.append({"name": "", "easting": at.x, "northing": at.y, "level": level})
    write_csv(site, [row | {"level": row["level"] + rng.normal(0, 0.012)} for row in rows])
    run(site, "[as_built]\nrmse_m = 0.012\n")
    assert len(fails(site)) == 0
    sills = table(site, "as_built_sills")
    assert "fail" not in set(sills["verdict"])
    assert (sills["even_verdict"] == "not decided").all()
    assert set(verdicts(site)["verdict"]) <= {"not decided", "as designed"}
    findings = table(site, "as_built_findings")
    assert set(findings["code"]) == {"not-decided"}
    assert findings["element_id"].is_unique
    assert findings["text"].str.contains("errs by 0.012 m").all()
    assert not table(site, "as_built_stakes")["flag"].fillna("").str.contains("decided").any()
    for name in NAMES:
        assert check_frame(table(site, name), CATALOGUE[name]) == []


@pytest.fixture(scope="module")
def half_metre_sills(tmp_path_factory, site_class):
    """A swale, a pond and a basin with sills 0.5 m wide, shot on every stake and the bottoms."""
    with pytest.MonkeyPatch.context() as patch:
        site = site_class(tmp_path_factory.mktemp("half_metre"), Silent(), patch)
        site.tables = TABLES
        half = {"sill_width_m": 0.5}
        site.write_plan(
            drawn_swales=[{"name": "Swale", "depth_m": 0.5, "shape": SWALE} | half],
            drawn_ponds=[{"name": "Pond", "depth_m": 1.2, "shape": POND} | half],
            drawn_basins=[{"name": "Basin", "depth_m": 0.4, "shape": BASIN} | half],
            discharge_points=[{"name": "Brook", "shape": END}],
        )
        stakes = Stages(site.write(), "stakes").compute("plan")["stakes"]
        write_csv(site, as_points(stakes[stakes["offset_m"] == 0]))
        found = Stages(site.write(), "as_built").compute("plan")["as_built_stakes"]
        # what no stake asks for is shot where it is asked for
        rows = [
            {"name": row.stake_id, "easting": row.geometry.x, "northing": row.geometry.y,
             "level": row.design_m}
            for row in found.itertuples()
        ]  # fmt: skip
        return site, rows


def noisy(site, rows, error_m, seeds, wrong):
    """What is judged of surveys with noise, their error stated; `wrong` maps stakes to metres."""
    site.tables = f"{TABLES}[as_built]\nrmse_m = {error_m}\n"
    stages = Stages(site.write(), "as_built")
    for seed in seeds:
        rng = np.random.default_rng([17, seed])
        write_csv(site, [
            row | {"level": row["level"] + wrong.get(row["name"], 0.0) + rng.normal(0, error_m)}
            for row in rows
        ])  # fmt: skip
        yield stages.compute("as_built")


def held_to_stated_error(site, rows, error_m, seeds):
    """Half-metre sills: right ones do not fail, low ones are low, tilted ones are uneven."""
    told = Counter()
    right = [one["as_built_sills"] for one in noisy(site, rows, error_m, seeds, {})]
    told["right fails"] = sum((one["verdict"] == "fail").any() for one in right)
    far_m = 5 * error_m  # beyond what chance may hide of two shots
    wrong = {"Pond-S01": -far_m, "Pond-S02": -far_m, "Basin-S01": far_m, "Basin-S02": -far_m}
    for found in noisy(site, rows, error_m, seeds, wrong):
        sills = found["as_built_sills"].set_index("element_id")
        told["low"] += sills.loc["Pond", "level_verdict"] == "fail"
        told["low told uneven"] += sills.loc["Pond", "even_verdict"] == "fail"
        told["uneven"] += sills.loc["Basin", "even_verdict"] == "fail"
        told["uneven told low"] += sills.loc["Basin", "level_verdict"] == "fail"
        told["works fail by noise"] += found["as_built_elements"].set_index("element_id").loc[
            "Swale", "verdict"
        ] in ("works", "fails")  # fmt: skip
    return told


@pytest.mark.parametrize("error_m", [0.012, 0.03])
@pytest.mark.parametrize(
    ("works", "most_wrong"), [(2, 1), pytest.param(40, 5, marks=pytest.mark.slow)]
)
def test_noise_that_is_stated_judges_one_of_twenty_works_wrong_at_most(
    half_metre_sills, error_m, works, most_wrong
):
    """Of 40, 2 are expected at 5 %, and more than 5 in 2 % of trials."""
    told = held_to_stated_error(*half_metre_sills, error_m, range(works))
    assert told["low"] >= works - most_wrong
    assert told["uneven"] >= works - most_wrong
    for wrong in ("right fails", "low told uneven", "uneven told low", "works fail by noise"):
        assert told[wrong] <= most_wrong, wrong


def test_a_shifted_survey_is_named_and_taken_off(designed):
    site, _ = designed
    write_surface(site, lambda surface, *_: surface + 0.41)
    done = run(site, SETTLED)
    first = table(site, "as_built_findings").iloc[0]
    assert "0.410 m too high" in first["text"]
    assert "another height reference" in first["text"]
    assert "taken off" in first["text"]
    assert "0.410 m too high" in done.err
    assert len(fails(site)) == 0
    run(site, SETTLED + "take_off_shift = false\n")
    assert len(fails(site)) > 50
    assert "left in" in table(site, "as_built_findings").iloc[0]["text"]


@pytest.mark.parametrize(
    ("change", "told", "mend"),
    [
        (lambda row: row | {"level": row["level"] / 0.3048}, "levels in feet",
         'vertical_unit = "ft"'),
        (lambda row: row | {"easting": row["northing"], "northing": row["easting"]},
         "easting and northing have changed places", "swap the two columns"),
        (lambda row: row | {"easting": row["easting"] / 0.3048,
                            "northing": row["northing"] / 0.3048},
         "coordinates are in feet", "state the CRS in feet"),
        (lambda row: row | {"easting": row["easting"] + 40_000}, "no usual cause", "crs under"),
    ],
    ids=["feet", "swapped", "plan in feet", "elsewhere"],
)  # fmt: skip
def test_points_in_a_wrong_unit_or_place_are_refused_with_the_cause(designed, change, told, mend):
    site, stakes = designed
    write_csv(site, [change(row) for row in as_points(stakes)])
    site.tables = TABLES
    for done in (site.run(), site.check()):
        assert done.code == 2, done.err
        assert told in done.err
        assert mend in done.err
        assert "built.csv" in done.err


def test_points_in_the_next_zone_are_named_and_read_once_it_is_stated(designed):
    site, stakes = designed
    there = gpd.GeoSeries(stakes.geometry, crs=site.crs).to_crs("EPSG:32625")
    rows = [
        row | {"easting": point.x, "northing": point.y}
        for row, point in zip(as_points(stakes), there, strict=True)
    ]
    write_csv(site, rows)
    site.tables = TABLES
    done = site.run()
    assert done.code == 2
    assert "UTM zone 25N" in done.err
    assert 'crs = "EPSG:32625"' in done.err
    run(site, '[as_built]\ncrs = "EPSG:32625"\n')
    assert len(fails(site)) == 0


def test_every_bad_row_is_named(designed):
    site, stakes = designed
    rows = as_points(stakes)
    rows[2]["level"] = "12,x"
    rows[5]["easting"] = ""
    write_csv(site, rows)
    site.tables = TABLES
    done = site.check()
    assert done.code == 2
    assert 'row 4: level is "12,x", which is not a number' in done.err.replace("\n", " ")
    assert "row 7" in done.err
    assert "easting is empty" in done.err


def test_a_geopackage_of_points_with_heights_is_read(designed):
    site, stakes = designed
    shapes = [
        shapely.Point(row.geometry.x, row.geometry.y, row.build_m + 0.2) for row in
        stakes.itertuples()
    ]  # fmt: skip
    frame = gpd.GeoDataFrame({"name": stakes["stake_id"]}, geometry=shapes, crs=site.crs)
    frame.to_file(site.folder / "built.gpkg", layer="shots", driver="GPKG")
    site.inputs["as_built"] = "built.gpkg"
    done = run(site)
    # all too high alike, and nothing surveyed that tells the survey from the digging
    assert "every built level lies 0.200 m too high alike" in done.err
    assert (fails(site)["role"] != "crest").all()  # a mound that stands higher does no harm
