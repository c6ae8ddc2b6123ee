"""Places for ponds as a person gets them, and one taken into the plan."""

import numpy as np
import pyogrio

TABLES = (
    "[storm]\ndepth_mm = 70\nduration_h = 3\n[ponds]\ndepths_m = [0.5, 1.0, 1.5]\nleast_m3 = 20\n"
    "path_area_m2 = 1000\nmost = 4\n"
)


def test_places_are_listed_and_one_is_drawn(site):
    site.tables = TABLES
    site.write_plan(discharge_points=[])
    assert site.run("--until", "ponds").code == 0
    places, curves = site.layer("pond_sites"), site.table("pond_curves")
    assert len(places)
    assert list(places["site_id"]) == [f"p{n}" for n in range(1, len(places) + 1)]
    assert places["pays"].is_monotonic_decreasing
    assert set(curves["site_id"]) == set(places["site_id"])
    np.testing.assert_allclose(
        places["storage_per_earth"], places["storage_m3"] / places["fill_m3"]
    )
    boundary = site.layer("boundary").union_all().buffer(1e-6)
    assert places.within(boundary).all()
    assert site.layer("pond_banks").intersects(places.union_all().buffer(1.5)).all()
    assert places["fills_pct"].isna().all()  # no weather was given

    applied = site.call("apply", str(site.folder / "site.toml"), "p1")
    assert applied.code == 0, applied.err
    drawn = pyogrio.read_dataframe(site.folder / "plan.gpkg", layer="drawn_ponds")
    assert list(drawn["name"]) == ["pond p1"]
    assert drawn["spill_level_m"].iloc[0] == round(places["level_m"].iloc[0], 3)
    assert (site.folder / "plan.before-1.gpkg").exists()
