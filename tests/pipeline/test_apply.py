"""Mends written into the plan: what they change, what they leave, and what they refuse."""

import json
import shutil
import sqlite3

import geopandas as gpd
import pyogrio
import pytest
import shapely
from pyproj import Transformer
from tests.pipeline.conftest import Silent

from brimline.design import PlanChange
from brimline.io.plan_rows import write_changes

POND = shapely.Point(80, 70).buffer(11)
BASIN = shapely.Point(80, 38).buffer(8)
END = shapely.Point(80, 18)
STORM = "[storm]\ndepth_mm = 70\nduration_h = 3\n[works]\nusual_soak_mm_per_h = 30\n"


def flags(site, name):
    rows = site.layer("elements").set_index("element_id")
    return set(filter(None, (rows.loc[name, "flag"] or "").split(";")))


@pytest.fixture(scope="module")
def finished(tmp_path_factory, site_class):
    """A sill too narrow for its peak on a pond, and on a basin without a name."""
    with pytest.MonkeyPatch.context() as patch:
        site = site_class(tmp_path_factory.mktemp("broken"), Silent(), patch)
        site.tables = STORM
        site.write_plan(
            drawn_ponds=[
                {"name": "Upper pond", "depth_m": 1.2, "sill_width_m": 0.1, "shape": POND}
            ],
            drawn_basins=[{"name": None, "depth_m": 0.4, "sill_width_m": 0.05, "shape": BASIN}],
            discharge_points=[{"name": "Brook", "shape": END}],
        )
        assert site.run("--draft", "--until", "advice").code == 0
        return site


@pytest.fixture
def broken(finished, site):
    shutil.copytree(finished.folder, site.folder, dirs_exist_ok=True)
    site.tables, site.inputs = finished.tables, dict(finished.inputs)
    return site


def apply(site, *arguments):
    return site.call("apply", str(site.folder / "site.toml"), *arguments)


def mends(site, element_id, dimension):
    rows = site.table("cascade_mends")
    return rows[(rows["element_id"] == element_id) & (rows["dimension"] == dimension)].iloc[0]


def test_a_mend_is_written_and_takes_its_flag_away(broken):
    row = mends(broken, "basin 1", "sill width")
    assert json.loads(row["change"])[0]["layer"] == "drawn_basins"
    assert row["code"] in flags(broken, "basin 1")
    before = (broken.folder / "plan.gpkg").read_bytes()
    points = pyogrio.read_dataframe(broken.folder / "plan.gpkg", layer="discharge_points")
    done = apply(broken, row["mend_id"], "--json")
    assert done.code == 0, done.err
    assert [one["mend_id"] for one in done.json["applied"]] == [row["mend_id"]]
    assert (broken.folder / "plan.before-1.gpkg").read_bytes() == before
    basins = pyogrio.read_dataframe(broken.folder / "plan.gpkg", layer="drawn_basins")
    assert basins["sill_width_m"].iloc[0] == pytest.approx(row["value_mended"])
    assert row["mend_id"] in basins["note"].iloc[0]
    assert basins.geometry.iloc[0].area == pytest.approx(BASIN.area)
    after = pyogrio.read_dataframe(broken.folder / "plan.gpkg", layer="discharge_points")
    assert after.equals(points)
    assert broken.run("--draft", "--until", "advice").code == 0
    assert row["code"] not in flags(broken, "basin 1")


def test_a_run_before_the_plan_changed_is_refused(broken):
    row = mends(broken, "basin 1", "sill width")
    assert apply(broken, row["mend_id"]).code == 0
    again = apply(broken, row["mend_id"])
    assert again.code == 2
    assert "run the site again" in again.err


def test_what_is_not_known_or_not_named_is_refused_and_nothing_is_written(broken):
    before = (broken.folder / "plan.gpkg").read_bytes()
    assert apply(broken).code == 2
    done = apply(broken, "m000000")
    assert done.code == 2
    assert "m000000" in done.err
    assert (broken.folder / "plan.gpkg").read_bytes() == before
    assert not list(broken.folder.glob("plan.before*"))


def test_two_mends_of_one_finding_are_refused(broken):
    """A sill is widened, or lowered: a person takes one of them."""
    rows = broken.table("cascade_mends").dropna(subset="change")
    rows = rows[rows["presumes"].isna()]
    both = next(part for _, part in rows.groupby(["element_id", "code"]) if len(part) > 1)
    done = apply(broken, *both["mend_id"].iloc[:2])
    assert done.code == 2
    assert "both change" in done.err


def test_a_new_sill_becomes_a_row_with_a_shape_that_viewers_find(broken):
    """The spatial index of the layer must know the row."""
    row = mends(broken, "Upper pond", "sill at leak")
    change = json.loads(row["change"])[0]
    assert change["added"]
    assert apply(broken, row["mend_id"]).code == 0
    path = broken.folder / "plan.gpkg"
    sills = pyogrio.read_dataframe(path, layer="drawn_overflows")
    assert "Upper pond" in sills["from_id"].to_list()
    box = sills.geometry.iloc[0].buffer(1).bounds
    assert len(pyogrio.read_dataframe(path, layer="drawn_overflows", bbox=box)) == 1
    with sqlite3.connect(path) as file:
        assert file.execute("PRAGMA integrity_check").fetchone() == ("ok",)
    assert broken.run("--draft", "--until", "advice").code == 0
    assert row["code"] not in flags(broken, "Upper pond")


def test_what_is_safe_is_what_raises_no_other_peak(broken):
    rows = broken.table("cascade_mends")
    safe = rows[rows["safe"].astype(bool)]
    assert (safe["raises_m"] <= 0.002).all()
    done = apply(broken, "--all-safe", "--json")
    assert done.code == 0
    assert {one["mend_id"] for one in done.json["applied"]} <= set(safe["mend_id"])
    assert done.json["applied"]


def test_a_row_that_is_left_out_stands_in_the_copy_alone(broken):
    path = broken.folder / "plan.gpkg"
    backup = write_changes(
        path, [PlanChange("drawn_ponds", "Upper pond", removed=True)], ["left out"], crs="EPSG:4326"
    )
    assert len(pyogrio.read_dataframe(path, layer="drawn_ponds")) == 0
    assert len(pyogrio.read_dataframe(path, layer="drawn_basins")) == 1
    assert pyogrio.read_dataframe(backup, layer="drawn_ponds")["name"].to_list() == ["Upper pond"]
    with sqlite3.connect(path) as file:
        assert file.execute("PRAGMA integrity_check").fetchone() == ("ok",)


def test_shapes_go_into_the_crs_of_the_plan(broken):
    frame = pyogrio.read_dataframe(broken.folder / "plan.gpkg", layer="discharge_points")
    point = frame.geometry.iloc[0]
    path = broken.folder / "degrees.gpkg"
    far = gpd.GeoDataFrame({"name": ["Brook"]}, geometry=[shapely.Point(0, 0)], crs="EPSG:4326")
    far.to_file(path, layer="discharge_points", driver="GPKG")
    moved = shapely.Point(point.x + 5, point.y)
    change = PlanChange("discharge_points", "Brook", {}, moved.wkt)
    write_changes(path, [change], ["moved"], crs=frame.crs.to_wkt())
    found = pyogrio.read_dataframe(path, layer="discharge_points").geometry.iloc[0]
    to_metres = Transformer.from_crs("EPSG:4326", frame.crs, always_xy=True)
    assert to_metres.transform(found.x, found.y) == pytest.approx((moved.x, moved.y), abs=0.01)
