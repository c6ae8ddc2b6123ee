"""Two designs of one site run and set side by side."""

import csv
import json

import pytest
import shapely

_TABLES = """\
[storm]
depth_mm = 70
duration_h = 3
[options.small]
inputs.plan = "small.gpkg"
[options.large]
inputs.plan = "large.gpkg"
site.units = "metric"
"""


@pytest.mark.slow
def test_two_options_stand_side_by_side(site):
    site.tables = _TABLES
    for name, radius in (("small", 6), ("large", 12)):
        site.write_plan(
            drawn_ponds=[{"name": "Pond", "shape": shapely.Point(80, 60).buffer(radius)}],
            discharge_points=[{"name": "Brook", "shape": shapely.Point(80, 18)}],
        )
        (site.folder / "plan.gpkg").rename(site.folder / f"{name}.gpkg")
    del site.inputs["plan"]
    file = site.write()
    done = site.call("options", str(file))
    assert done.code == 0, done.err
    with (site.folder / "options.csv").open(encoding="utf-8") as table:
        rows = {row["name"]: row for row in csv.DictReader(table)}
    assert rows.keys() == {"small", "large"}
    assert float(rows["large"]["storage_m3"]) > float(rows["small"]["storage_m3"]) > 0
    assert float(rows["large"]["kept_pct"]) >= float(rows["small"]["kept_pct"])
    assert rows["small"]["cost"] == ""  # no prices were given
    assert "storage" in done.out
    page = (site.folder / "options.html").read_text(encoding="utf-8")
    assert "inputs.plan = large.gpkg" in page
    assert "http://" not in page.replace("http://www.w3.org/", "")  # nothing is asked for
    # the second works out only what hangs on its plan
    manifest = site.folder / "runs" / f"{file.stem}-large" / "run.json"
    stages = json.loads(manifest.read_text(encoding="utf-8"))["stages"]
    reused = {one["name"] for one in stages if one["reused"]}
    assert reused >= {"survey", "conditioning", "flow", "ponds", "keylines", "catchments"}
    assert {"plan", "works", "earthworks"}.isdisjoint(reused)
