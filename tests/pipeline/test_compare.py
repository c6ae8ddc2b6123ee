"""Two runs compared through the command: known changes of the ground come out, and only those."""

import json
import shutil

import fiona
import numpy as np
import pyogrio
import pytest
import rasterio
import shapely
from rasterio.transform import from_origin

from brimline.io.frames import check_frame
from brimline.layers import CATALOGUE

pytestmark = pytest.mark.usefixtures("stages_kept")

GROUND = ("--until", "terrain")
COMPARED = ("--only", "rasters")
NORTH_WEST = (350_000.0, 5_210_000.0)


@pytest.fixture
def surveyed(site):
    """Run the site as surveyed first, and again after what the test does to the ground."""
    site.write_intakes([(80, 30)], names=["Ford"])
    site.write_plan(
        drawn_ponds=[{"name": "Pond", "shape": shapely.Point(80, 60).buffer(9)}],
    )
    site.tables = "[survey]\nrmse_m = 0.03\ncorrelation_m = 2\n[keep]\nruns = 0\n"

    def both(change=None, *options, until=(), **how):
        first = site.run(*until, *COMPARED)
        assert first.code == 0, first.err
        old = site.folder / "old"
        shutil.copytree(site.results, old)
        if change is not None:
            change(site.dem)
        site.dem = site.dem + np.random.default_rng(8).normal(0, 0.01, site.dem.shape)
        site.write_terrain(**how)
        second = site.run(*until, *COMPARED)
        assert second.code == 0, second.err
        return site.call("compare", str(old), str(site.results), *options)

    return both


def layer(site, name):
    return pyogrio.read_dataframe(site.folder / "runs" / "site-change" / "change.gpkg", layer=name)


def test_noise_alone_changes_nothing(site, surveyed):
    done = surveyed()
    assert done.code == 0, done.err
    assert "no change of the ground beyond the errors" in done.out
    found = json.loads((site.folder / "runs" / "site-change" / "compare.json").read_text())
    # both surveys 0.03 m at 95 %: 1.96 √(2 · 0.03²), Brasington et al. (2003)
    assert found["detection_m"] == pytest.approx(1.95996 * 0.03 * np.sqrt(2), rel=1e-5)
    assert found["shift"]["kind"] == "none"
    assert found["cut"]["volume_m3"] == found["fill"]["volume_m3"] == 0
    assert len(layer(site, "change_areas")) == 0
    elements = layer(site, "element_changes")
    assert list(elements["element_id"]) == ["Pond"]
    assert (
        abs(elements["ground_now_m3"] - elements["ground_then_m3"])[0]
        < (elements["ground_error_m3"][0])
    )


def test_known_digging_comes_out_first_and_where_it_is(site, surveyed):
    def dig(dem):
        dem[30:50, 20:50] -= 1.0  # 600 m³, on the western side
        dem[95:105, 75:85] += 0.5  # 50 m³, into the pond

    done = surveyed(dig)
    assert done.code == 0, done.err
    found = json.loads((site.folder / "runs" / "site-change" / "compare.json").read_text())
    assert found["cut"]["volume_m3"] == pytest.approx(600, abs=found["cut"]["error_m3"] + 3)
    assert found["fill"]["volume_m3"] == pytest.approx(50, abs=found["fill"]["error_m3"] + 1)
    areas = layer(site, "change_areas").set_index("kind")
    box = shapely.box(
        NORTH_WEST[0] + 20, NORTH_WEST[1] - 50, NORTH_WEST[0] + 50, NORTH_WEST[1] - 30
    )
    cut = areas.loc["cut"].geometry
    assert cut.symmetric_difference(box).area < 0.03 * box.area
    pond = layer(site, "element_changes").set_index("element_id").loc["Pond"]
    assert pond["changed_m2"] == pytest.approx(100, abs=4)
    lines = layer(site, "line_changes")
    assert {"swale_lines", "keylines", "cultivation_lines"} <= set(lines["layer"])
    assert lines[lines["layer"] == "cultivation_lines"]["level_then_m"].isna().all()
    many = [row for row in found["findings"] if row["layer"] == "cultivation_lines"]
    assert len(many) <= 3  # told together: those that cross, moved and are gone
    assert all(row["id"] == "" for row in many)
    crossed = lines[(lines["layer"] == "swale_lines") & (lines["changed_m"] > 0)]
    for row in crossed.itertuples():
        assert row.geometry.intersects(box.buffer(1)) or row.geometry.intersects(
            areas.loc["fill"].geometry.buffer(1)
        )
        assert row.changed_m <= row.geometry.length
    path = site.folder / "runs" / "site-change" / "change.gpkg"
    names = ("change_areas", "intake_changes", "line_changes", "element_changes")
    assert set(fiona.listlayers(path)) >= {*names, "change_findings"}
    for name in names:
        assert check_frame(layer(site, name), CATALOGUE[name]) == []
    findings = layer(site, "change_findings")
    assert list(findings["rank"]) == list(range(1, len(findings) + 1))
    assert "Pond" in set(findings["id"])
    page = (site.folder / "runs" / "site-change" / "compare.html").read_text()
    assert page.index("What no longer holds") < page.index("The ground")
    assert "Pond" in page
    with rasterio.open(site.folder / "runs" / "site-change" / "rasters" / "change_m.tif") as file:
        change = file.read(1)
    assert np.median(change[32:48, 22:48]) == pytest.approx(-1.0, abs=0.02)


def test_another_height_reference_is_named_and_is_no_change(site, surveyed):
    def lift(dem):
        dem += 0.82

    done = surveyed(lift, "--json", until=GROUND)
    assert done.code == 0, done.err
    assert "a mismatch of datum or geoid model" in done.json["findings"][0]["text"]
    assert done.json["shift"]["mean_m"] == pytest.approx(0.82, abs=0.01)
    assert done.json["shift_taken_off"]
    assert done.json["changed_areas"] == 0


def test_a_shift_is_sought_off_the_elements_or_where_it_is_told(site, surveyed):
    """Works that fill half of the site do not pull the shift; nor does a slide off them."""

    def build(dem):
        dem += 0.15

    done = surveyed(build, "--json", until=("--until", "stakes"))
    assert done.code == 0, done.err
    assert done.json["stable_from"] == "ground farther than 10 m from every element"
    # the pond, 9 m in radius, and 10 m round it; circles are drawn with corners
    gone = 160 * 160 - done.json["stable_m2"]
    assert gone == pytest.approx(np.pi * 19**2, rel=0.02)
    assert done.json["shift"]["mean_m"] == pytest.approx(0.15, abs=0.005)
    steady = site.folder / "steady.gpkg"
    site.write_shapes("steady", [shapely.box(350_010, 5_209_850, 350_050, 5_209_890)])
    old, new = site.folder / "old", site.results
    told = site.call("compare", str(old), str(new), "--json", "--stable", str(steady))
    assert told.code == 0, told.err
    assert told.json["stable_m2"] == 1600
    assert told.json["shift"]["cells"] == 1600
    site.write_shapes("steady", [shapely.box(0, 0, 10, 10)])
    wrong = site.call("compare", str(old), str(new), "--stable", str(steady))
    assert wrong.code == 2
    assert "covers no ground that both runs have" in wrong.err


def test_a_survey_on_another_grid_is_compared_where_both_lie(site, surveyed):
    def dig(dem):
        dem[30:50, 20:50] -= 1.0

    # the new survey starts 10 m further east and south, on the same cells
    def cut_out(dem):
        dig(dem)
        site.dem = dem[10:, 10:]

    done = surveyed(
        cut_out, until=GROUND, transform=from_origin(NORTH_WEST[0] + 10, NORTH_WEST[1] - 10, 1, 1)
    )
    assert done.code == 0, done.err
    found = json.loads((site.folder / "runs" / "site-change" / "compare.json").read_text())
    assert found["compared_m2"] == 150 * 150
    assert found["cut"]["volume_m3"] == pytest.approx(600, abs=found["cut"]["error_m3"] + 3)


def test_folders_that_are_no_runs_or_no_comparisons_are_refused(site, tmp_path):
    wrong = site.call("compare", str(tmp_path / "none"), str(tmp_path))
    assert wrong.code == 2
    assert "is not a run folder" in wrong.err
