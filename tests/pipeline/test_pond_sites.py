"""Places for ponds as a person gets them, and one taken into the plan."""

import json
import shutil

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
    done = site.run("--only", "rasters")
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
    hauls = site.table("spoil_hauls")
    short_m3 = hauls.loc[hauls["kind"] == "borrow", "bank_m3"].sum()
    told = json.loads((site.results / "run.json").read_text(encoding="utf-8"))["problems"]
    assert any(f"fill is short by {short_m3:.0f} m³" in str(one) for one in told)

    # built as staked: as designed; its crest settled by 0.3 m in the middle: found, with the mend
    shutil.copytree(site.results, site.folder / "old")
    stakes = stakes[stakes["offset_m"] == 0]

    middle = set(stakes[stakes["role"] == "crest"]["stake_id"].iloc[4:8])

    def surveyed(lower_m: float):
        rows = [
            f"{row.stake_id},{row.geometry.x},{row.geometry.y},"
            f"{row.build_m - (lower_m if row.stake_id in middle else 0.0)}"
            for row in stakes.itertuples()
        ]
        text = "\n".join(["name,easting,northing,level", *rows])
        (site.folder / "built.csv").write_text(text, encoding="utf-8")
        site.inputs["as_built"] = "built.csv"
        site.tables = TABLES + '[as_built]\nsurveyed_by = "level"\n'
        again = site.run("--draft")
        assert again.code == 0, again.err
        return site.table("as_built_findings"), site.table("as_built_elements").iloc[0]

    findings, dam = surveyed(0.0)
    assert set(findings["code"]) == {"not-surveyed"}  # no stake stands on the bottom
    assert (dam["failed"], dam["verdict"]) == (0, "as designed")
    findings, dam = surveyed(0.3)
    assert set(findings["element_id"]) == {"dam p1"}
    assert {"freeboard", "built-off"} <= set(findings["code"])
    assert findings["mend"].str.contains("fill 0.30 m").any()
    assert (dam["failed"], dam["verdict"]) == (4, "fails")

    # and drawn 0.3 m lower, the comparison of the runs says so
    level = float(place["level_m"]) - 0.3
    rows = pyogrio.read_dataframe(site.folder / "plan.gpkg", layer="drawn_dams")
    rows["spill_level_m"], rows["crest_level_m"] = level, rows["crest_level_m"] - 0.3
    rows.to_file(site.folder / "plan.gpkg", layer="drawn_dams", driver="GPKG")
    del site.inputs["as_built"]
    assert site.run("--only", "rasters").code == 0
    done = site.call("compare", str(site.folder / "old"), str(site.results))
    assert done.code in (0, 1), done.err
    assert "dam p1: its designed storage goes from" in done.out
    assert "dam p1: its designed spill level goes from" in done.out
