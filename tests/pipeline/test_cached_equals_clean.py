"""The real stages: whatever changed, a run over what was kept gives what a clean run gives."""

import json
import os
import shutil

import pytest
import shapely
from tests.pipeline.conftest import Silent

POND = shapely.Point(80, 70).buffer(11)
TABLES = "[survey]\nrealisations = 2\n[keep]\nruns = 0\n"


@pytest.fixture(scope="module")
def finished(tmp_path_factory, site_class):
    """A site that ran once; `drawn` hands out copies."""
    with pytest.MonkeyPatch.context() as patch:
        site = site_class(tmp_path_factory.mktemp("finished"), Silent(), patch)
        site.tables = TABLES
        site.write_intakes([(80, 30)])
        plan(site)
        done = site.run()
        assert done.code == 0, done.err
        yield site


@pytest.fixture
def drawn(finished, site):
    shutil.copytree(finished.folder, site.folder, dirs_exist_ok=True)
    site.tables, site.inputs = TABLES, dict(finished.inputs)
    return site


def plan(site, depth_m=1.2):
    site.write_plan(
        drawn_ponds=[{"name": "Pond", "depth_m": depth_m, "shape": POND}],
        discharge_points=[{"name": "Brook", "shape": shapely.Point(80, 14)}],
    )


def corner(site):
    site.dem[:12, :12] += 0.3
    site.write_terrain()


def built(site):
    stakes = site.layer("stakes")
    rows = [f"{r.stake_id},{r.geometry.x},{r.geometry.y},{r.build_m}" for r in stakes.itertuples()]
    (site.folder / "built.csv").write_text("name,east,north,level\n" + "\n".join(rows))
    site.inputs["as_built"] = "built.csv"


def tables(text):
    def change(site):
        site.tables = TABLES + text

    return change


@pytest.mark.parametrize(
    "change",
    [
        corner,
        built,
        lambda site: plan(site, 1.5),
        tables("[storm]\ndepth_mm = 85\n"),
        tables("[works]\nsill_head_m = 0.1\n[swales]\nmin_spacing_m = 12\n"),
    ],
    ids=["corner of the survey", "as built", "plan", "storm", "works and swales"],
)
def test_any_change_gives_what_a_clean_run_gives(drawn, change):
    """Changing an input or a parameter and running again equals running in an empty folder."""
    before = drawn.manifest["outputs"]
    change(drawn)
    again = drawn.run()
    assert again.code == 0, again.err
    cached = drawn.manifest
    assert cached["outputs"] != before  # it did matter
    assert any(stage["reused"] for stage in cached["stages"])
    (drawn.folder / ".brimline").rename(drawn.folder / "put away")
    done = drawn.run("--out", str(drawn.folder / "clean"))
    assert done.code == 0, done.err
    clean = json.loads((drawn.folder / "clean" / "run.json").read_text(encoding="utf-8"))
    assert not any(stage["reused"] for stage in clean["stages"])
    assert clean["outputs"] == cached["outputs"]


def test_sites_share_a_store_and_damage_in_it_is_mended(drawn, tmp_path):
    shared = TABLES + 'store = "../kept"\n'  # of the table keep, which ends the text
    drawn.tables, drawn.draft = shared, False
    assert drawn.run().code == 0
    kept = drawn.folder.parent / "kept"
    other = drawn.folder / "site2.toml"
    other.write_text((drawn.folder / "site.toml").read_text(encoding="utf-8"), encoding="utf-8")
    done = drawn.call("run", str(other), "--until", "flow", "--json")
    assert done.code == 0, done.err
    assert done.json["ran"] == []
    objects = sorted(path for path in (kept / "objects").rglob("*") if path.is_file())
    assert objects
    for path in objects[::3]:
        content = bytearray(path.read_bytes())
        content[len(content) // 2] ^= 0xFF
        times = path.stat()
        path.write_bytes(content)
        os.utime(path, ns=(times.st_atime_ns, times.st_mtime_ns))
    before = drawn.manifest["outputs"]
    mended = drawn.call("run", str(drawn.folder / "site.toml"), "--verify", "--json")
    assert mended.code == 0, mended.err
    assert mended.json["ran"]
    assert drawn.manifest["outputs"] == before
    last = drawn.call("run", str(drawn.folder / "site.toml"), "--verify", "--json")
    assert last.json["ran"] == []
