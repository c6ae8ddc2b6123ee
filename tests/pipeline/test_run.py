"""A whole run: what it leaves, what it repeats, and what a reader sees meanwhile."""

import json
import shutil

import fiona
import numpy as np
import pytest
from rio_cogeo.cogeo import cog_validate
from tests.pipeline.conftest import Silent

from brimline.io.frames import check_frame
from brimline.layers import CATALOGUE, Layer, Raster


@pytest.fixture(scope="module")
def finished(tmp_path_factory, site_class):
    """A whole run, made once; `done` hands out copies."""
    with pytest.MonkeyPatch.context() as patch:
        site = site_class(tmp_path_factory.mktemp("finished"), Silent(), patch)
        site.write_intakes([(80, 30), (80, 90)], names=["Ford", "Upper ford"])
        site.draft = False
        result = site.run()
        assert result.code == 0, result.err
        yield site


@pytest.fixture
def done(finished, site):
    shutil.copytree(finished.folder, site.folder, dirs_exist_ok=True)
    site.inputs, site.draft = dict(finished.inputs), False


def test_every_layer_opens_with_fiona_and_keeps_its_declaration(site, done):
    path = site.results / "site.gpkg"
    for name in fiona.listlayers(path):
        declared = CATALOGUE[name]
        if not isinstance(declared, Layer):
            continue
        with fiona.open(path, layer=name) as source:
            assert source.crs.to_epsg() == 32626
            columns = {column.name for column in declared.columns}
            assert columns <= set(source.schema["properties"])
        assert check_frame(site.layer(name), declared) == []


def test_rasters_are_cloud_optimised_on_one_grid(site, done):
    found = sorted(path.stem for path in (site.results / "rasters").glob("*.tif"))
    assert {"elevation", "conditioned", "flow_direction", "contributing_area_m2"} <= set(found)
    for name in found:
        assert isinstance(CATALOGUE[name], Raster)
        valid, errors, _ = cog_validate(site.results / "rasters" / f"{name}.tif", quiet=True)
        assert valid, errors
        assert site.raster(name).shape == site.dem.shape


def test_nested_intakes_share_the_ground(site, done):
    intakes = site.layer("intakes").set_index("name")
    lower, upper = intakes.loc["Ford"], intakes.loc["Upper ford"]
    assert upper["downstream_id"] == lower["intake_id"]
    assert lower["area_m2"] == pytest.approx(lower["own_area_m2"] + upper["area_m2"])
    shapes = site.layer("subcatchments").set_index("intake_id")
    np.testing.assert_allclose(shapes.area.to_numpy(), shapes["own_area_m2"].to_numpy(), rtol=1e-12)
    labels = site.raster("subcatchment")
    assert (labels == lower["intake_id"]).sum() == lower["own_area_m2"]
    area = site.raster("contributing_area_m2")
    row, col = int(5_210_000 - lower.geometry.y), int(lower.geometry.x - 350_000)
    assert area[row, col] == lower["area_m2"]


def test_a_second_run_has_nothing_to_do(site, done):
    before = (site.results / "site.gpkg").stat().st_mtime_ns
    again = site.run()
    assert again.code == 0
    assert "Nothing has changed" in again.out
    assert (site.results / "site.gpkg").stat().st_mtime_ns == before
    quiet = site.run("--if-changed")
    assert (quiet.code, quiet.out) == (0, "")


def test_pages_and_styles_lie_beside_the_layers(site, done):
    manifest = json.loads((site.results / "run.json").read_text())
    report = (site.results / "report.html").read_text(encoding="utf-8")
    assert manifest["finished"][:10] in report
    assert (site.results / "map.html").stat().st_size < 10_000_000
    layers = set(fiona.listlayers(site.results / "site.gpkg"))
    drawn = {name for name in layers if isinstance(CATALOGUE.get(name), Layer)}
    assert drawn <= {path.stem for path in (site.results / "styles").glob("*.sld")}
    told = {figure["key"]: figure["value"] for figure in manifest["figures"]}
    assert told["site_area_m2"] == site.layer("boundary")["area_m2"].sum()
    last = site.layer("intakes").query("downstream_id == 0")
    assert told["gathered_m2"] == last["area_m2"].sum()


@pytest.mark.printing
def test_the_report_is_printed_on_demand_also_where_nothing_changed(site, done):
    assert not (site.results / "report.pdf").exists()
    again = site.run("--pdf")
    assert again.code == 0, again.err
    assert (site.results / "report.pdf").read_bytes().startswith(b"%PDF-")


def test_a_changed_parameter_reruns_only_what_depends_on_it(site, done):
    site.tables = "[drainage]\npath_area_m2 = 900\n"
    again = site.run("--json")
    assert set(again.json["ran"]) == {"paths", "snapping", "audit", "soil", "tracks"}
    assert again.json["written"]


def test_the_manifest_says_what_went_in(site, done):
    manifest = site.manifest
    assert manifest["headline"]["intakes"] == 2
    assert manifest["parameters"]["drainage"]["snap_radius_m"] == 10.0
    files = manifest["inputs"]["elevation"]["files"]
    assert files[0]["path"] == "terrain.tif"
    assert len(files[0]["sha256"]) == 64
    assert {stage["name"] for stage in manifest["stages"]} >= {"survey", "flow", "catchments"}


def test_a_folder_that_is_no_run_is_not_replaced(site):
    site.results.mkdir(parents=True)
    (site.results / "thesis.txt").write_text("years of work")
    done = site.run()
    assert done.code == 2
    assert "not a run of brimline" in done.err
    assert "survey" not in done.err  # said before any work
    assert (site.results / "thesis.txt").read_text() == "years of work"


def test_a_failed_run_leaves_the_last_good_one(site, done):
    before = (site.results / "run.json").read_bytes()
    (site.folder / "terrain.tif").write_bytes(b"not a raster")
    failed = site.run()
    assert failed.code == 2
    assert (site.results / "run.json").read_bytes() == before


def test_until_stops_early_and_an_unknown_stage_is_named(site):
    assert site.run("--draft", "--until", "flow").code == 0
    assert json.loads((site.results / "run.json").read_text())["stages"][-1]["name"] == "flow"
    wrong = site.run("--until", "flo")
    assert wrong.code == 2
    assert "did you mean flow" in wrong.err
