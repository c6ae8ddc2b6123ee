"""Goals stated in the site's file size what was left empty, and the design is built with it."""

import pytest
import shapely

pytestmark = pytest.mark.usefixtures("stages_kept")

POND = shapely.Point(80, 70).buffer(11)
BASIN = shapely.Point(80, 38).buffer(8)
END = shapely.Point(80, 18)
STORM = "[storm]\ndepth_mm = 60\nduration_h = 3\n[works]\nusual_soak_mm_per_h = 30\n"
FREE = (
    'goal_drawdown_h = 48\n[[works.free]]\nelement = "{}"\ndimension = "{}"\nlow = 0.5\nhigh = 2\n'
)


def run(site, goals, *, pond=None, basin=None, **layers):
    """A pond and a basin whose depths are left empty, before a named discharge point."""
    site.tables = STORM + goals
    site.write_plan(
        drawn_ponds=[{"name": "Pond", "start_share": 0.0, "shape": POND} | (pond or {})],
        drawn_basins=[{"name": "Basin", "shape": BASIN} | (basin or {})],
        discharge_points=[{"name": "Brook", "shape": END}],
        **layers,
    )
    done = site.run("--draft", "--until", "works")
    assert done.code == 0, done.err
    return done


def captured(site):
    balance = site.table("storm_balance").iloc[0]
    return 1 - balance["left_m3"] / balance["outside_m3"]


def test_depths_left_empty_are_sized_to_capture_a_share_of_the_storm(site):
    run(site, "goal_capture_share = 0.7\ngoal_drawdown_h = 48\n")
    sizes = site.table("design_sizes").set_index("element_id")
    assert set(sizes.index) == {"Pond", "Basin"}
    assert sizes["goal_met"].all()
    assert sizes["applied"].all()
    assert captured(site) >= 0.7
    elements = site.layer("elements").set_index("element_id")
    for name, row in sizes.iterrows():
        assert row["lowest"] <= row["value_sized"] <= row["highest"]
        assert elements.loc[name, "depth_m"] == pytest.approx(row["value_sized"], abs=1e-6)
    assert elements.loc["Basin", "drawdown_h"] <= 48
    # the least that does it: with a shallower pond, less is captured
    assert sizes.loc["Pond", "value_sized"] > sizes.loc["Pond", "lowest"]
    depths = sizes["value_sized"]
    pond, basin = {"depth_m": depths["Pond"] - 0.1}, {"depth_m": depths["Basin"]}
    run(site, "", pond=pond, basin=basin)
    assert captured(site) < 0.7
    assert site.table("design_sizes").empty


def test_named_dimensions_can_be_sized_and_listed_only(site):
    run(site, "")
    before = site.layer("elements").set_index("element_id")["depth_m"]
    free = (
        "goal_capture_share = 0.4\ngoal_applied = false\n[[works.free]]\n"
        'element = "Pond"\ndimension = "depth_m"\nlow = 0.5\nhigh = 2.5\nstep = 0.1\n'
    )
    run(site, free)
    sizes = site.table("design_sizes")
    assert list(sizes["element_id"]) == ["Pond"]
    assert not sizes["applied"].any()
    assert sizes["value_before"].iloc[0] == pytest.approx(before["Pond"])
    after = site.layer("elements").set_index("element_id")["depth_m"]
    assert after.to_dict() == before.to_dict()


def test_goals_out_of_reach_are_flagged_at_their_bound(site):
    done = run(site, "goal_capture_share = 1\npond_depth_range_m = [0.3, 0.4]\n")
    sizes = site.table("design_sizes").set_index("element_id")
    assert not sizes["goal_met"].any()
    assert sizes.loc["Pond", "bound"] == "high"
    assert set(sizes["flag"]) == {"goal-missed"}
    assert "too little stays on the site" in sizes.loc["Pond", "notes"]
    assert "goals are not met" in done.err


@pytest.mark.parametrize(
    ("goals", "says"),
    [
        ('goal_drawdown_h = 48\ngoal_storm = "7-year"\n', "no storm called 7-year"),
        (
            FREE.format("Pomd", "depth_m"),
            "no such element",
        ),
        (
            FREE.format("Pond", "girth_m"),
            "no dimension girth_m",
        ),
    ],
)
def test_what_cannot_be_sized_is_said(site, goals, says):
    assert says in run(site, goals).err
    assert site.table("design_sizes").empty


def test_a_pipe_left_empty_lets_half_the_pond_go_in_a_day(site):
    line = shapely.LineString([(80, 62), (80, 40)])
    pipe = {"from_id": "Pond", "to_id": "Basin", "shape": line}
    run(site, "", drawn_pipes=[pipe])
    ways = site.layer("overflows").query("outlet == 'pipe'")
    assert ways["diameter_mm"].iloc[0] == 100  # the smallest that does not block is enough here
    run(site, "", drawn_pipes=[pipe | {"diameter_mm": 300.0}])
    ways = site.layer("overflows").query("outlet == 'pipe'")
    assert ways["diameter_mm"].iloc[0] == 300
