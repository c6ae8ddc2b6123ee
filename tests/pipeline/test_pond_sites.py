"""Places for ponds as a person gets them, and one taken into the plan."""

import numpy as np
import pyogrio
import pytest
import shapely

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
    drawn = pyogrio.read_dataframe(site.folder / "plan.gpkg", layer="drawn_dams")
    assert list(drawn["name"]) == ["dam p1"]
    assert drawn["spill_level_m"].iloc[0] == round(places["level_m"].iloc[0], 3)
    assert (site.folder / "plan.before-1.gpkg").exists()


@pytest.mark.slow
def test_a_place_taken_is_a_dam_with_everything_of_one(site):
    """Held, sized, staked, screened for its failure, and with a way out over natural ground."""
    site.tables = TABLES
    site.write_plan(discharge_points=[{"name": "Brook", "shape": shapely.Point(80, 18)}])
    assert site.run("--until", "ponds").code == 0
    place = site.layer("pond_sites").iloc[0]
    assert site.call("apply", str(site.folder / "site.toml"), "p1").code == 0
    done = site.run("--draft")
    assert done.code == 0, done.err
    (dam,) = site.layer("elements").itertuples()
    assert (dam.element_id, dam.kind) == ("dam p1", "pond")
    assert 0.5 * place["storage_m3"] < dam.storage_m3 < 1.1 * place["storage_m3"]
    stakes = site.layer("stakes")
    assert {"crest", "sill"} <= set(stakes["role"])
    (hazard,) = site.layer("bank_hazards").itertuples()
    assert hazard.height_m == pytest.approx(place["bank_height_m"], abs=0.3)
    assert hazard.emergency_way == "natural ground"
    (way,) = site.layer("overflows").itertuples()
    assert way.sill_width_m > 0
    assert site.table("earth_volumes")["deepest_m"].iloc[0] < 3.0
    # followed by water on the designed surface: it holds what is said, and leaves by its spillway
    (proof,) = site.table("design_proof").itertuples()
    assert proof.brim_level_m == pytest.approx(proof.spill_level_m, abs=0.02)
    assert proof.holds_m3 == pytest.approx(proof.storage_m3, rel=0.05)
    assert "leaks" not in (proof.flag or "")
    earth = site.table("earth_volumes")
    assert earth["fill_m3"].iloc[0] > 0.5 * place["fill_m3"]
