"""A site in a bowl that no storm fills: water ends at its bottom, and the proof knows it."""

import os
from pathlib import Path

import numpy as np
import pytest
import rasterio
import shapely

RIM_M, DEEP_M = 70.0, 8.0
BOTTOM = (80, 80)
STORM = "[storm]\ndepth_mm = 70\nduration_h = 3\n"


def bowl(size=160):
    """A paraboloid 8 m deep and 70 m in radius, in ground that falls away from its rim."""
    row, col = np.indices((size, size), dtype=np.float64)
    away = np.hypot(col + 0.5 - BOTTOM[0], size - row - 0.5 - BOTTOM[1])
    inside = 100 + DEEP_M * (away / RIM_M) ** 2
    return np.where(away < RIM_M, inside, 100 + DEEP_M - 0.05 * (away - RIM_M)).astype(np.float32)


def plan(x=BOTTOM[0], y=BOTTOM[1]):
    return {
        "drawn_ponds": [
            {"name": "Upper pond", "depth_m": 0.8, "shape": shapely.Point(80, 122).buffer(6)}
        ],
        "drawn_basins": [
            {"name": "Lower basin", "depth_m": 0.3, "shape": shapely.Point(80, 104).buffer(5)}
        ],
        "discharge_points": [{"name": "Bottom", "shape": shapely.Point(x, y)}],
    }


def run(site, tables="", until="proof", dem=None, **place):
    site.dem = bowl() if dem is None else dem
    site.tables = STORM + tables
    site.write_intakes(points=[BOTTOM])
    site.write_plan(**plan(**place))
    done = site.run("--draft", "--until", until)
    assert done.code == 0, done.err
    return done


@pytest.mark.parametrize("place", [{}, {"x": 92, "y": 86}], ids=["at the bottom", "off it"])
def test_the_proof_agrees_where_the_discharge_point_lies_in_a_kept_hollow(site, place):
    run(site, **place)
    hollows = site.layer("hollows")
    kept = hollows[hollows["kept"]]
    assert len(kept) == 1
    (hollow,) = kept.itertuples()
    # a paraboloid holds half of its cylinder
    assert hollow.volume_m3 == pytest.approx(np.pi * RIM_M**2 * DEEP_M / 2, rel=0.02)
    # by hand, TR-55 on pasture in fair condition, soil C (79): S = 67.5 mm, P = 140 mm
    runoff_m = (140 - 0.2 * 67.52) ** 2 / (140 + 0.8 * 67.52) / 1000
    assert hollow.catchment_m2 == pytest.approx(np.pi * RIM_M**2, rel=0.03)
    assert hollow.arrives_m3 == pytest.approx(hollow.catchment_m2 * runoff_m, rel=0.001)
    assert not hollow.fills
    assert hollow.spills_m3 == 0
    proof = site.table("design_proof").set_index("element_id")
    assert set(proof.index) == {"Upper pond", "Lower basin"}
    assert not (proof["flag"].fillna("") != "").any(), proof[["flag", "notes"]].to_string()
    assert proof.loc["Upper pond", "reached_id"] == "Lower basin"
    assert proof.loc["Lower basin", "reached_id"] == "Bottom"


def fill_told(site):
    return [
        one["message"] for one in site.manifest["problems"] if "filled deeper" in one["message"]
    ]


def test_a_kept_hollow_is_not_filled_so_nothing_is_told(site):
    run(site, until="paths")
    assert site.layer("flow_paths")["on_fill_m"].sum() == 0
    assert not fill_told(site)


def test_filled_all_the_same_what_lies_in_the_bowl_is_told(site):
    filling, notched = '[conditioning]\nkeep = "none"\n', bowl()
    notched[80, 140:] = np.minimum(notched[80, 140:], 107.5 - 0.03 * (np.arange(20) - 10).clip(0))
    run(site, filling, until="hollows", dem=notched)
    hollow = site.layer("hollows").iloc[0]
    assert not hollow["kept"]
    assert not hollow["fills"]
    run(site, filling, until="paths", dem=notched)
    paths = site.layer("flow_paths")
    assert paths["deepest_fill_m"].max() == pytest.approx(7.5, abs=0.05)
    assert paths["on_fill_m"].sum() > RIM_M / 2
    (told,) = fill_told(site)
    # filled to the notch at 107.5 m, it is deeper than 0.5 m where 8 (r / R)² < 7
    area_m2 = np.pi * RIM_M**2 * 7 / 8
    assert float(told.split(" m²")[0]) == pytest.approx(area_m2, rel=0.02)
    run(site, filling, until="works", dem=notched)
    assert all("on-filled-ground" in flag for flag in site.layer("elements")["flag"])
    run(site, filling, until="catchments", dem=notched)
    assert all("on-filled-ground" in flag for flag in site.layer("intakes")["flag"])


@pytest.fixture
def moraine(site):
    """Glacial ground whose hollow of 450 000 m³ no storm on its own catchment fills."""
    folder = os.environ.get("BRIMLINE_DATA")
    if not folder:
        pytest.skip("BRIMLINE_DATA is not set")
    path = Path(folder) / "moraine_1m.tif"
    with rasterio.open(path) as source:
        dem, site.crs, site.size = source.read(1), source.crs.to_string(), source.height
        site.west, site.north = source.bounds.left, source.bounds.top
    row, col = np.unravel_index(np.argmin(np.where(dem > 0, dem, np.inf)), dem.shape)
    low = np.array([col + 0.5, site.size - row - 0.5])
    corner = np.array([site.west, site.north - site.size])
    site.inputs["elevation"] = str(path)
    site.write_shapes("boundary", [site.box(10)], crs=site.crs, name=["Moraine"])
    site.write_shapes("intakes", [shapely.Point(corner + low)], crs=site.crs, name=["Bottom"])
    site.write_plan(
        drawn_basins=[{"name": "Basin", "depth_m": 0.3, "shape": shapely.Point(low).buffer(5)}],
        discharge_points=[{"name": "Out", "shape": shapely.Point(low + np.array([0, 12]))}],
    )
    return site


def run_moraine(site, until, tables=""):
    site.tables = STORM + "[survey]\nrmse_m = 0.1\nrealisations = 0\n" + tables
    done = site.run("--draft", "--until", until)
    assert done.code == 0, done.err


@pytest.mark.slow
@pytest.mark.realdata
def test_a_real_hollow_that_no_storm_fills_stays_a_sink(moraine):
    run_moraine(moraine, "paths")
    hollows = moraine.layer("hollows")
    hollow = hollows.loc[hollows["volume_m3"].idxmax()]
    # depth and volume as richdem's hierarchy of depressions gives them
    assert hollow["volume_m3"] == pytest.approx(450_000, rel=0.02)
    assert hollow["depth_m"] == pytest.approx(15.5, abs=0.1)
    assert hollow["kept"]
    assert not hollow["fills"]
    assert hollow["spills_m3"] == 0
    assert hollow["arrives_m3"] < 0.05 * hollow["volume_m3"]
    run_over_m = moraine.layer("flow_paths")["deepest_fill_m"].max()
    assert run_over_m <= hollows.loc[hollows["fills"], "depth_m"].max() + 1e-3


@pytest.mark.slow
@pytest.mark.realdata
def test_what_lies_in_a_real_hollow_that_is_filled_all_the_same_is_flagged(moraine):
    filling = '[conditioning]\nkeep = "none"\n'
    run_moraine(moraine, "paths", filling)
    assert fill_told(moraine)
    assert moraine.layer("flow_paths")["deepest_fill_m"].max() > 10
    run_moraine(moraine, "works", filling)
    assert all("on-filled-ground" in flag for flag in moraine.layer("elements")["flag"])
    run_moraine(moraine, "catchments", filling)
    assert all("on-filled-ground" in flag for flag in moraine.layer("intakes")["flag"])
    run_moraine(moraine, "swales", filling)
    lines = moraine.layer("swale_lines")
    level_m = moraine.layer("hollows")["spill_level_m"].max()
    flagged = lines["flag"].fillna("").str.contains("on-filled-ground")
    assert flagged.any()
    assert (lines.loc[flagged, "level_m"] < level_m).all()
