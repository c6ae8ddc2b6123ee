"""A survey larger than memory: drained in tiles, and the run on what drains to the site."""

from __future__ import annotations

import json
import os
from typing import TYPE_CHECKING

import geopandas as gpd
import pytest
import rasterio
import shapely
from tests.pipeline.conftest import NORTH, WEST, valley

from brimline.io.elevation import read_elevation

if TYPE_CHECKING:
    from tests.pipeline.conftest import Site

SIZE = 320
TILES = '\n[tiles]\nuse = "always"\nmemory_gb = 1.5\nworkers = 1\n'


@pytest.fixture
def long_valley(site: Site) -> Site:
    """A site in the upper third of a valley, which ground above drains to."""
    site.dem = valley(SIZE)
    south = NORTH - 110
    site.write_shapes(
        "boundary", [shapely.box(WEST + 130, south, WEST + 190, south + 40)], name=["Tern Bank"]
    )
    ford = shapely.Point(WEST + 160, south + 5)
    site.write_shapes("intakes", [ford], name=["Ford"])
    around = [
        shapely.box(WEST, NORTH, WEST + SIZE, NORTH + 100),
        shapely.box(WEST - 100, NORTH - SIZE, WEST, NORTH),
        shapely.box(WEST, NORTH - SIZE, WEST + SIZE, NORTH),
    ]
    site.write_shapes("tile_index", around, name=["n7", "w3", "here"])
    return site


def test_check_says_which_way_a_run_goes_and_what_it_takes(long_valley: Site) -> None:
    found = long_valley.check()
    assert found.code == 0, found.err
    assert "all 0.102 million cells in memory" in found.out
    long_valley.tables += TILES.replace('"always"', '"auto"').replace("1.5", "0.5")
    found = long_valley.check()
    assert found.code == 0, found.err
    assert "drained in 1 tile in 1 process" in found.out
    assert "the run takes the ground that drains to the site" in found.out
    assert "boundary: 1 row" in found.out


def test_coarser_elevation_that_cannot_be_joined_is_never_passed_over(long_valley: Site) -> None:
    long_valley.inputs["coarser"] = "terrain.tif"
    long_valley.tables += '\n[tiles]\nuse = "never"\n'
    found = long_valley.check()
    assert found.code == 2
    assert "joined to rasters only, in tiles" in found.err


@pytest.mark.slow
def test_a_run_on_what_drains_to_the_site_has_the_whole_surveys_catchment(
    long_valley: Site,
) -> None:
    assert long_valley.run("--until", "catchments").code == 0
    (whole,) = long_valley.layer("intakes").to_dict("records")
    assert whole["edge_limited"]
    assert "north" in whole["edge_sides"]
    assert "south" not in whole["edge_sides"]
    assert "n7" in whole["missing_tiles"]
    long_valley.tables += TILES
    done = long_valley.run("--until", "catchments")
    assert done.code == 0, done.err
    (cut,) = long_valley.layer("intakes").to_dict("records")
    for name in ("area_m2", "edge_limited", "edge_sides", "missing_tiles"):
        assert cut[name] == whole[name]
    drained = long_valley.folder / "surveys/site"
    with rasterio.open(drained / "clip.tif") as file:
        assert file.height < SIZE - 100  # what lies below is left out
    facts = read_elevation(drained / "clip.tif").facts
    assert facts.cut_from == f"1 file of {SIZE} × {SIZE} cells, drained in tiles"
    (told,) = json.loads((drained / "survey.json").read_text())["intakes"]
    assert told["area_m2"] == whole["area_m2"] == told["own_area_m2"]
    assert told["edge_sides"] == whole["edge_sides"]


@pytest.mark.slow
def test_what_is_too_much_for_a_run_is_handed_on_as_inflow(
    long_valley: Site, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("brimline.inputs.size.most_cells", lambda *_: 200 * 170)
    long_valley.tables += TILES + "[terrain]\nspan_voids_m2 = 0\n"
    done = long_valley.run("--until", "catchments")
    assert done.code == 2
    assert "itself larger than a run can take" in done.err
    assert "site.tif" in done.err
    assert "inflow.gpkg" in done.err
    drained = long_valley.folder / "surveys/site"
    assert not (drained / "clip.tif").exists()
    points = gpd.read_file(drained / "inflow.gpkg", layer="inflow_points")
    (told,) = json.loads((drained / "survey.json").read_text())["intakes"]
    with rasterio.open(drained / "site.tif") as file:
        part = file.read(1)
        bounds = file.bounds
    assert part.size <= 200 * 170
    assert points.intersects(shapely.box(*bounds)).all()
    entering_m2 = points["area_m2"].sum()  # also of what passes beside the intake
    assert entering_m2 > 0
    assert told["area_m2"] <= entering_m2 + part.size


@pytest.mark.slow
def test_a_run_in_tiles_of_which_nothing_changed_ends_at_a_glance(
    long_valley: Site, monkeypatch: pytest.MonkeyPatch
) -> None:
    long_valley.draft = True
    long_valley.tables += TILES
    site = long_valley.write()
    for path in long_valley.folder.iterdir():
        os.utime(path, (0, 0))  # else too fresh to be sure of
    monkeypatch.setattr("brimline.engine.glance.is_fresh", lambda *_: False)
    assert long_valley.call("run", str(site)).code == 0
    again = long_valley.call("run", str(site))
    assert "Nothing has changed" in again.out
    assert "ground" not in again.err  # no tile was looked at
    os.utime(long_valley.folder / "terrain.tif", (1, 1))
    assert "drained in" in long_valley.call("run", str(site)).err
    (long_valley.folder / "surveys/site/clip.tif").unlink()
    assert "drained in" in long_valley.call("run", str(site)).err
