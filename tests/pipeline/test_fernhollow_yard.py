"""The garden demo from end to end: spot levels, a local grid, no map."""

import json
import os
import subprocess
import sys
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import rasterio

from brimline.cli.main import main
from brimline.config import Site, Year
from brimline.errors import InputError
from brimline.grid import Grid
from brimline.inputs.year import position_of
from brimline.io.crs import LOCAL, is_local

ROOT = Path(__file__).parents[2]


@pytest.fixture(scope="module")
def yard(tmp_path_factory):
    """Run the demo once, in a folder of its own."""
    top = tmp_path_factory.mktemp("garden")
    data = top / "sample_data" / "fernhollow_yard"
    script = ROOT / "sample_data" / "make_fernhollow_yard.py"
    subprocess.run([sys.executable, str(script), str(data)], check=True, capture_output=True)
    site = top / "configs" / "fernhollow_yard.toml"
    site.parent.mkdir()
    site.write_text((ROOT / "configs" / "fernhollow_yard.toml").read_text())
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(sys, "argv", ["brimline", "run", str(site), "--out", str(top / "run")])
        with pytest.raises(SystemExit) as left:
            main()
    assert not left.value.code
    return top / "run"


@pytest.fixture(scope="module")
def manifest(yard):
    return json.loads((yard / "run.json").read_text())


def rows(run, name):
    return gpd.read_file(run / "site.gpkg", layer=name)


def truth(x, y):
    """The ground that the script drew its levels from."""
    sys.path.insert(0, str(ROOT / "sample_data"))
    try:
        from make_fernhollow_yard import ground
    finally:
        sys.path.pop(0)
    return ground(x, y)


def test_the_run_lies_in_a_local_grid_and_says_what_is_left_out(yard, manifest):
    assert is_local(rows(yard, "stakes").crs)
    told = [p["message"] for p in manifest["problems"] if "local grid" in p["message"]]
    assert "GPX" in told[0]
    assert not (yard / "stakes" / "site.gpx").exists()
    assert not list((yard / "stakes").glob("*.geojson"))
    assert (yard / "stakes" / "site.dxf").stat().st_size > 1000
    assert "longitude_deg" not in (yard / "stakes" / "stakes.csv").read_text().splitlines()[0]
    assert rows(yard, "stakes")["longitude_deg"].isna().all()


def test_the_profile_is_a_gardens_and_its_layers_are_not_empty(yard, manifest):
    assert manifest["parameters"]["site"]["profile"] == "garden"
    for name in ("flow_paths", "hollows", "contours", "swale_lines", "elements", "levels"):
        assert len(rows(yard, name)), name
    assert np.diff(np.unique(rows(yard, "contours")["level_m"])) == pytest.approx(0.1, abs=1e-9)


def test_evaporation_asks_for_the_latitude_that_no_map_tells():
    levels = np.full((4, 4), 10.0, dtype=np.float32)
    ground = levels, Grid(4, 4, 1.0, 0.0, 4.0, LOCAL), np.ones((4, 4), dtype=np.bool_), Year()
    assert position_of(*ground, Site(name="a", latitude_deg=47.1)) == (47.1, 10.0)
    with pytest.raises(InputError, match="how far north"):
        position_of(*ground, Site(name="a"))


def test_nine_in_ten_places_lie_within_the_stated_error(yard):
    with rasterio.open(yard / "rasters" / "elevation.tif") as file:
        surface, to_map = file.read(1), file.transform
    with rasterio.open(yard / "rasters" / "level_error_m.tif") as file:
        sd = file.read(1)
    row, col = np.mgrid[0 : surface.shape[0], 0 : surface.shape[1]]
    x, y = to_map.c + (col + 0.5) * to_map.a, to_map.f + (row + 0.5) * to_map.e
    inside = (x > 101) & (x < 147) & (y > 51) & (y < 81) & np.isfinite(sd)
    inside &= ~((x > 129) & (x < 146) & (y > 69) & (y < 80))  # no levels beneath the classroom
    off = np.abs(surface - truth(x, y))
    held = np.mean(off[inside] <= 1.645 * sd[inside])
    assert 0.85 <= held <= 0.95, held


def test_the_kerb_stands_as_a_step(yard):
    with rasterio.open(yard / "rasters" / "elevation.tif") as file:
        north, south = (
            next(file.sample([(137.0, y)]))[0] - truth(np.array(137.0), np.array(y))
            for y in (66.3, 65.7)
        )
    assert abs(north) < 0.03
    assert abs(south) < 0.03


def test_places_to_measure_next_lie_inside_and_off_the_roof(yard):
    places = rows(yard, "measure_next")
    assert places["rank"].tolist() == list(range(1, 9))
    assert places.within(rows(yard, "boundary").geometry.iloc[0]).all()
    surfaces = rows(yard, "surfaces")
    roof = surfaces[surfaces["cover"] == "roof"].geometry.union_all()
    assert not places.intersects(roof.buffer(-0.3)).any()


def test_the_levels_error_decides_tolerances(yard, manifest):
    stated = {problem["message"] for problem in manifest["problems"]}
    assert any("good to 0.0" in message for message in stated)
    assert rows(yard, "levels")["left_out_m"].abs().median() < 0.02


def bill(run):
    rows = pd.read_csv(run / "tables" / "bill.csv")
    return rows.set_index(["element_id", "item", rows["note"].fillna("")])["amount"]


def test_what_a_garden_is_made_of_is_designed_billed_and_staked(yard):
    elements = rows(yard, "elements").set_index("element_id")
    assert elements.loc["Cellar", "form"] == "buried tank"
    assert elements.loc["Bean bed", "storage_m3"] == pytest.approx(2.4 * 1.2 * 0.25 * 0.40)
    assert not elements["flag"].fillna("").str.contains("out-of-order|dam-in-path|small").any()
    amounts = bill(yard)
    for key in (
        ("Cellar", "trench", "pit"), ("Cellar", "bedding", "trench of Cellar drain"),
        ("Frog pond", "liner", "anchor"), ("Frog pond", "shelf_plants", ""),
        ("Fern basin", "sill_stone", "dip in a path"), ("Chip bed", "gravel", "mulch basin"),
        ("Bean bed", "bed_soil", ""), ("Frog pond", "downpipe", "trough 50 mm"),
    ):  # fmt: skip
        assert amounts[key] > 0, key
    stakes = rows(yard, "stakes")
    staked = set(zip(stakes["element_id"], stakes["role"], strict=True))
    assert {
        ("Fern basin", "dip"),
        ("Cellar", "pit"),
        ("Cellar", "trench"),
        ("Bean bed", "base"),
    } <= staked


def test_ways_out_run_in_the_order_of_the_plan(yard):
    ways = rows(yard, "overflows")
    mine = ways[ways["from_id"] == "Fern basin"].set_index("to_id")["crest_level_m"]
    assert mine["Chip bed"] - mine["Ditch"] == pytest.approx(0.05)


def test_a_sunken_rim_is_as_low_as_the_ground_is(yard):
    """What has no bank holds no water above the lowest ground of its rim."""
    elements = rows(yard, "elements")
    with rasterio.open(yard / "rasters" / "elevation.tif") as file:
        for row in elements[elements["kind"].isin(["basin", "pond"])].itertuples():
            ring = row.geometry.exterior
            at = [ring.interpolate(d) for d in np.arange(0, ring.length, 0.1)]
            rim = min(value[0] for value in file.sample([(p.x, p.y) for p in at]))
            assert row.spill_level_m < rim + 0.005, row.element_id


def test_the_roof_is_shared_out(yard):
    ways = rows(yard, "downpipes").set_index("name")
    assert ways["share"].sum() == pytest.approx(1.0)
    assert ways["area_m2"].sum() == pytest.approx(13 * 7)
    assert (ways["carries_m3_s"] >= ways["peak_m3_s"]).all()
    assert ways["flag"].fillna("").eq("").all()


def test_the_year_counts_outside_water_and_tells_what_was_brought(yard, manifest):
    years = pd.read_csv(yard / "tables" / "store_years.csv")
    mean = years[years["year"].isna()].set_index("element_id")
    assert mean.loc["Bean bed", "brought_m3"] > 0  # by the hand pump, from the cellar
    assert mean.loc["Cellar", "drawn_m3"] >= mean.loc["Bean bed", "brought_m3"] - 0.02
    assert not any("from outside without" in p["message"] for p in manifest["problems"])
    # the lane's corner: 120 m² x 0.7 of all rain on days from 8 mm
    weather = pd.read_csv(yard.parent / "sample_data" / "fernhollow_yard" / "weather.csv")
    rain = weather[next(name for name in weather if "prec" in name)]
    lane = 120 * 0.7 * rain[rain >= 8].sum() / 1000 / (len(weather) / 365.25)
    assert mean.loc["Fern basin", "runoff_in_m3"] > lane > 0


def test_sheets_for_hand_work_tell_rod_and_tape_on_pages_of_their_own(yard):
    text = (yard / "stakes" / "by_hand.html").read_text()
    assert "A is gate post in the north-west" in text
    assert "the rod on the benchmark reads 150.0 cm" in text
    assert "set-up 2" not in text.lower()
    assert text.count('class="sheet hand"') >= 5


@pytest.mark.printing
def test_each_sheet_for_hand_work_prints_on_one_page(yard):
    from weasyprint import HTML

    text = (yard / "stakes" / "by_hand.html").read_text()
    pages = HTML(string=text).render().pages
    assert len(pages) == 1 + text.count('class="sheet hand"')


@pytest.mark.slow
def test_the_order_of_sets_changes_nothing(yard, tmp_path):
    """The same site, worked out by processes that order their sets otherwise, byte for byte."""
    site = yard.parent / "configs" / "fernhollow_yard.toml"
    for seed in ("1", "5"):
        command = [sys.executable, "-m", "brimline", "run", site, "--rebuild", "--brief"]
        subprocess.run(
            [*command, "--out", tmp_path / seed],
            env={**os.environ, "PYTHONHASHSEED": seed},
            check=True,
            capture_output=True,
        )
    one, other = (
        {
            path.relative_to(tmp_path / seed).as_posix(): path.read_bytes()
            for path in (tmp_path / seed).rglob("*")
            if path.is_file() and path.name != "run.json"  # which tells the time
        }
        for seed in ("1", "5")
    )
    assert len(one) > 50
    assert one.keys() == other.keys()
    assert [name for name, content in one.items() if content != other[name]] == []
