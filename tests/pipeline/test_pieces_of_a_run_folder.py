"""A run folder is made of pieces: only what changed is made again, and drafts leave pieces out."""

import hashlib
import json
import shutil

import pytest
from tests.pipeline.conftest import valley


@pytest.fixture(autouse=True)
def whole(site):
    """Each test says itself what it leaves out."""
    site.draft = False


def published(site):
    """What the last run says of its pieces, in its log."""
    lines = (site.folder / ".brimline" / "journal.jsonl").read_text().splitlines()
    events = [json.loads(line) for line in lines]
    return [event for event in events if event["event"] == "published"][-1]


def digests(folder):
    files = (path for path in folder.rglob("*") if path.is_file() and path.name != "run.json")
    return {str(path.relative_to(folder)): hashlib.sha256(path.read_bytes()).hexdigest()
            for path in files}  # fmt: skip


def test_a_draft_leaves_out_what_is_made_later_and_nothing_is_made_twice(site):
    until = ("--until", "contours")
    draft = site.run(*until, "--draft")
    assert draft.code == 0, draft.err
    assert {path.name for path in site.results.iterdir()} == {"site.gpkg", "run.json"}
    assert published(site)["left_out"] == ["rasters", "styles", "stakes", "pages"]

    pages = site.run(*until, "--only", "pages", "--jobs", "1")
    assert pages.code == 0, pages.err
    assert {"report.html", "map.html"} <= {path.name for path in site.results.iterdir()}
    assert not (site.results / "rasters").exists()
    assert "site.gpkg" not in published(site)["made"]

    whole = site.run(*until, "--jobs", "2")
    assert whole.code == 0, whole.err
    made = published(site)["made"]
    assert any(name.startswith("rasters/") for name in made)
    assert "report.html" not in made
    kept = digests(site.results)

    site.tables = "[contours]\ninterval_m = 2.5\n"
    assert site.run(*until).code == 0
    made = published(site)["made"]
    assert {"site.gpkg", "report.html", "parts/map/layers contours", "map.html"} <= set(made)
    assert not any(name.startswith(("rasters/", "parts/map/overlays")) for name in made)
    assert {name for name in made if name.startswith("parts/layers/")} == {
        "parts/layers/contours.gpkg"
    }
    joined = digests(site.results)["site.gpkg"]
    (site.folder / ".brimline").rename(site.folder / "aside")
    assert site.run(*until, "--draft").code == 0
    assert digests(site.results)["site.gpkg"] == joined  # as one that is made anew
    shutil.rmtree(site.folder / ".brimline")
    (site.folder / "aside").rename(site.folder / ".brimline")

    # back again: nothing is made, and the bytes are those of the first time
    site.tables = ""
    assert site.run(*until).code == 0
    assert published(site)["made"] == []
    assert digests(site.results) == kept


def test_a_part_that_there_is_none_of_is_refused_with_those_there_are(site):
    refused = site.run("--only", "plates")
    assert refused.code == 2
    assert "layers, tables, rasters, styles, stakes, pages" in refused.err


@pytest.mark.slow
def test_lines_far_from_the_site_stay_away_and_none_near_it_is_lost(site):
    site.dem, site.size = valley(600), 600
    site.tables = "[drainage]\npath_area_m2 = 500\n"
    assert site.run("--draft").code == 0
    every = {name: site.layer(name) for name in ("flow_paths", "contours")}
    site.write_boundary(inset=280)
    told = site.run("--draft")
    assert told.code == 0, told.err
    near = {name: site.layer(name) for name in every}
    around = site.box(280).buffer(95, join_style="mitre")  # the margin is 100 m

    paths, all_paths = near["flow_paths"], every["flow_paths"]
    assert len(paths) < 0.7 * len(all_paths)
    kept = all_paths[all_paths["path_id"].isin(paths["path_id"])]
    assert (kept.geometry.to_numpy() == paths.geometry.to_numpy()).all()
    missed = all_paths[~all_paths["path_id"].isin(paths["path_id"])]
    assert not missed.intersects(around).any()
    assert paths["downstream_id"].isin([0, *paths["path_id"]]).all()
    assert paths.total_bounds[3] == all_paths.total_bounds[3]  # as far up as water comes from

    length = {name: rows.intersection(around).length.sum() for name, rows in near.items()}
    assert length["contours"] == pytest.approx(every["contours"].intersection(around).length.sum())
    assert near["contours"].length.sum() < 0.8 * every["contours"].length.sum()
    assert near["contours"]["level_m"].is_monotonic_increasing
