"""Mends followed to the end: what they cost against the bill, bays against stakes and bill."""

import numpy as np
import pyogrio
import pytest
import shapely
from tests.pipeline.careless_sites import Stages
from tests.pipeline.conftest import CRS

from brimline.design import changes_of
from brimline.io.plan_rows import write_changes

STORM = "[storm]\ndepth_mm = 70\nduration_h = 3\n[works]\nusual_soak_mm_per_h = 30\n"
RATES = {"cut": 5.0, "fill": 4.0, "sill_stone": 60.0, "sill_cloth": 3.0}
PRICED = "[rates]\n" + "".join(
    f"{key}_per_m{2 if key == 'sill_cloth' else 3} = {rate}\n" for key, rate in RATES.items()
)
POND = shapely.Point(80, 70).buffer(11)
BASIN = shapely.Point(80, 38).buffer(8)
END = {"name": "Brook", "shape": shapely.Point(80, 18)}
FENCE = shapely.LineString([(80, 64), (81, 28)])  # down the valley, 5 cm a metre


def follow(path, rows):
    """Write mends into the plan, as `brimline apply` does."""
    changes = [one for text in rows["change"] for one in changes_of(text)]
    write_changes(path.parent / "plan.gpkg", changes, [one.told for one in changes], crs=CRS)


def test_a_mend_costs_what_the_bill_grows_by(site):
    """Two sills too narrow for their peaks: stone, cloth and earth by their prices."""
    site.tables = STORM + PRICED
    site.write_plan(
        drawn_ponds=[{"name": "Pond", "depth_m": 1.2, "sill_width_m": 0.1, "shape": POND}],
        drawn_basins=[{"name": "Basin", "depth_m": 0.4, "sill_width_m": 0.05, "shape": BASIN}],
        discharge_points=[END],
    )
    path = site.write()
    advice, works = Stages(path), Stages(path, "building")
    mends = advice.compute("plan")["cascade_mends"]
    taken = mends[mends["advised"] > 0]
    assert len(taken)
    before = works.compute("plan")["bill"]
    follow(path, taken)
    after = works.compute("plan")["bill"]
    assert not after["cost"][after["item"].isin(RATES)].isna().any()
    assert (before.groupby("item")["amount"].sum()["sill_stone"]
            < after.groupby("item")["amount"].sum()["sill_stone"])  # fmt: skip
    grown = after["cost"].sum() - before["cost"].sum()
    assert taken["cost"].sum() == pytest.approx(grown, rel=0.1)
    # a price that is not known leaves the cost open
    site.tables = STORM + PRICED.replace("sill_stone_per_m3 = 60.0\n", "")
    follow(path, mends[:0])
    unpriced = Stages(site.write()).compute("plan")["cascade_mends"]
    assert unpriced["cost"].isna().all()


def test_bays_of_a_stepped_swale_are_staked_at_their_levels_and_billed(site):
    """A swale along a fence that falls: each bay with its sill, its floor, its stone, its water."""
    site.tables = STORM + PRICED + "[lines]\nlevel_tolerance_m = 0.2\n"
    site.write_plan(
        drawn_swales=[{"name": "Fence", "depth_m": 0.4, "bottom_m": 0.6, "shape": FENCE}],
        discharge_points=[END],
    )
    path = site.write()
    mends = Stages(path).compute("plan")["cascade_mends"]
    (bays,) = mends[mends["dimension"] == "bays"].head(1).itertuples()
    changes = changes_of(bays.change)
    names = [one.row for one in changes]
    assert len(names) > 1
    follow(path, mends[mends["mend_id"] == bays.mend_id])
    drawn = pyogrio.read_dataframe(path.parent / "plan.gpkg", layer="drawn_swales")
    assert sorted(drawn["name"]) == sorted(names)
    known = Stages(path, "building").compute("plan")
    stakes, bill = known["stakes"], known["bill"]
    levels = {one.row: one.values["level_m"] for one in changes}
    for name in names:
        mine = stakes[stakes["element_id"] == name].set_index("role")
        sill = mine.loc[["sill"]]
        assert len(sill) == 2  # its two ends
        np.testing.assert_allclose(sill["design_m"], levels[name], atol=1e-6)
        np.testing.assert_allclose(mine.loc[["floor"]]["design_m"], levels[name] - 0.4, atol=1e-6)
        billed = bill[bill["element_id"] == name].groupby("item")["amount"].sum()
        assert billed["cut"] > 0
        assert billed["sill_stone"] > 0
        assert billed["form"] == pytest.approx(drawn.set_index("name").geometry[name].length, 0.02)
        assert billed["set_out"] == (stakes["element_id"] == name).sum()
    # and water on the designed surface stays behind the checks
    proof = Stages(path, "proof").compute("plan")["design_proof"].set_index("element_id")
    assert not proof.loc[names, "flag"].fillna("").str.contains("leaks").any()
    # one bay spills into the next
    overflows = known["overflows"].set_index("from_id")["to_id"]
    assert {overflows[name] for name in names} & set(names)
