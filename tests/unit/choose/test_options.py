"""Designs side by side: the cheapest first, what each adds, and which are beaten."""

import pytest

from brimline.choose.options import OptionFigures, side_by_side
from brimline.cli import options as command
from brimline.errors import InputError

SMALL = OptionFigures("small", 10_000.0, 300.0, 0.0, 200.0, 10.0, 40.0, 100.0)
LARGE = OptionFigures("large", 25_000.0, 900.0, 1.0, 800.0, 35.0, 60.0, 260.0)
WORSE = OptionFigures("worse", 26_000.0, 950.0, 1.0, 700.0, 30.0, 60.0, 250.0)


def test_each_adds_over_the_next_cheaper_one():
    rows = side_by_side([WORSE, LARGE, SMALL])
    assert [row["name"] for row in rows] == ["small", "large", "worse"]
    assert rows[0]["adds_cost"] is None
    assert rows[1]["adds_cost"] == 15_000.0
    assert rows[1]["adds_storage_m3"] == 600.0
    assert rows[2]["adds_storage_m3"] == -100.0


def test_only_what_is_nowhere_better_is_beaten():
    rows = {row["name"]: row for row in side_by_side([SMALL, LARGE, WORSE])}
    assert rows["worse"]["beaten_by"] == "large"
    assert rows["small"]["beaten_by"] == ""
    assert rows["large"]["beaten_by"] == ""


def test_what_is_not_known_beats_nothing():
    bare = OptionFigures("bare", cost=5_000.0)
    rows = {row["name"]: row for row in side_by_side([bare, LARGE])}
    assert rows["large"]["beaten_by"] == ""
    assert rows["large"]["adds_storage_m3"] is None
    twins = side_by_side([OptionFigures("a", cost=1.0), OptionFigures("b", cost=1.0)])
    assert all(not row["beaten_by"] for row in twins)


def test_figures_of_a_run():
    headline = {
        "cost": 100.0, "rows_without_price": 0, "cut_m3": 70.0, "fill_m3": 30,
        "design_storm_arrives_m3": 200.0, "design_storm_leaves_m3": 150.0, "storage_m3": 60.0,
    }  # fmt: skip
    found = OptionFigures.of_headline("x", headline)
    assert found.kept_pct == pytest.approx(25.0)
    assert found.earth_m3 == 100.0
    assert found.without_mains_driest_pct is None
    assert OptionFigures.of_headline("y", headline | {"rows_without_price": 2}).cost is None


def test_one_site_is_no_choice(tmp_path):
    with pytest.raises(InputError, match="two site files"):
        command.run([tmp_path / "a.toml"], None, as_json=False)
