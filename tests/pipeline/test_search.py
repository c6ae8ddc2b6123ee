"""The cheapest design of a small site, found and taken into its plan."""

import json

import pyogrio
import pytest
import shapely

_TABLES = """\
[storm]
depth_mm = 70
duration_h = 3
[rates]
cut_per_m3 = 5.0
fill_per_m3 = 4.0
sill_stone_per_m3 = 60.0
[search]
keep_share = 0.02
most_cost = 1e6
tries = 80
points = 2
[[search.free]]
element = "Pond"
dimension = "depth_m"
low = 0.6
high = 2.4
step = 0.1
[[search.free]]
element = "Pond"
dimension = "sill_width_m"
low = 1.0
high = 30.0
step = 0.5
"""


@pytest.mark.slow
def test_the_cheapest_design_is_found_and_taken(site):
    site.tables = _TABLES
    site.write_plan(
        drawn_ponds=[
            {
                "name": "Pond",
                "shape": shapely.Point(80, 60).buffer(8),
                "depth_m": 1.5,
                "start_share": 0.0,
            }
        ],
        discharge_points=[{"name": "Brook", "shape": shapely.Point(80, 18)}],
    )
    file = str(site.write())
    assert site.call("run", file, "--draft").code == 0
    found = site.table("searched_designs")
    assert found["holds"].all(), found
    assert found["cost"].is_monotonic_increasing
    assert (found["kept_pct"] >= 2.0).all()
    assert found["offered"].iloc[0] in ("asked", "both")
    affordable = found[found["offered"].isin(["affordable", "both"])]
    assert affordable["kept_m3"].tolist() == [found["kept_m3"].max()]
    further = found["cost"].diff() / found["kept_m3"].diff()
    told = found["further_water_cost"]
    assert told[told.notna()].to_numpy() == pytest.approx(further[told.notna()].to_numpy())
    sizes = site.table("searched_sizes")
    first = sizes[sizes["design_id"] == "s1"].set_index("dimension")["value"]
    done = site.call("apply", file, "s1")
    assert done.code == 0, done.err
    rows = pyogrio.read_dataframe(site.folder / "plan.gpkg", layer="drawn_ponds")
    written = {change for row in json.loads(found["change"].iloc[0]) for change in row["values"]}
    assert written
    for name in written:
        assert float(rows[name].iloc[0]) == pytest.approx(first[name])
    # the next run builds it, and what it costs is what was said, spoil between elements aside
    assert site.call("run", file, "--draft").code == 0
    assert float(site.table("bill")["cost"].sum()) == pytest.approx(found["cost"].iloc[0], rel=0.05)
