"""Two designs of one site run and set side by side."""

import csv

import pytest
import shapely


@pytest.mark.slow
def test_two_designs_stand_side_by_side(site):
    site.tables = "[storm]\ndepth_mm = 70\nduration_h = 3\n"
    files = []
    for name, radius in (("small", 6), ("large", 12)):
        site.write_plan(
            drawn_ponds=[{"name": "Pond", "shape": shapely.Point(80, 60).buffer(radius)}],
            discharge_points=[{"name": "Brook", "shape": shapely.Point(80, 18)}],
        )
        (site.folder / "plan.gpkg").rename(site.folder / f"{name}.gpkg")
        site.inputs["plan"] = f"{name}.gpkg"
        files.append(site.write().rename(site.folder / f"{name}.toml"))
    done = site.call("options", *map(str, files))
    assert done.code == 0, done.err
    with (site.folder / "options.csv").open(encoding="utf-8") as table:
        rows = {row["name"]: row for row in csv.DictReader(table)}
    assert rows.keys() == {"small", "large"}
    assert float(rows["large"]["storage_m3"]) > float(rows["small"]["storage_m3"]) > 0
    assert float(rows["large"]["kept_pct"]) >= float(rows["small"]["kept_pct"])
    assert rows["small"]["cost"] == ""  # no prices were given
    assert "storage" in done.out
