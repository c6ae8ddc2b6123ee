"""Designs side by side: the cheapest first, what each adds, and which are beaten."""

from dataclasses import replace

import pandas as pd
import pytest

from brimline.choose.options import OptionFigures, side_by_side
from brimline.cli import options as command
from brimline.config import load
from brimline.errors import InputError
from brimline.grid import Grid
from brimline.report.options_page import Alternative, figure_text, unpriced_rows, verdicts
from brimline.report.results import Results

SITE = """\
[site]
name = "A"
[inputs]
elevation = "a.tif"
boundary = "a.gpkg"
"""

SMALL = OptionFigures("small", 10_000.0, 300.0, 0.0, 0.0, 0.0, 200.0, 10.0, 40.0, 100.0)
LARGE = OptionFigures("large", 25_000.0, 900.0, 1.0, 2.0, 1.0, 800.0, 35.0, 60.0, 260.0)
WORSE = OptionFigures("worse", 26_000.0, 950.0, 1.0, 2.0, 1.0, 700.0, 30.0, 60.0, 250.0)


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


def of_run(manifest: dict, units="metric", **frames) -> Alternative:
    grid = Grid(10, 10, 1.0)
    return Alternative("x", Results("Site", units, grid, frames, {}, manifest))


def test_figures_of_a_run():
    headline = {
        "cost": 100.0, "rows_without_price": 0, "cut_m3": 70.0, "fill_m3": 30,
        "design_storm_arrives_m3": 200.0, "design_storm_leaves_m3": 150.0, "storage_m3": 60.0,
    }  # fmt: skip
    banks = pd.DataFrame({"flag": ["engineer", ""]})
    found = of_run({"headline": headline}, bank_hazards=banks, advice=banks).figures
    assert found.kept_pct == pytest.approx(25.0)
    assert found.earth_m3 == 100.0
    assert (found.findings, found.banks_asking) == (2.0, 1.0)
    assert found.without_mains_worst_pct is None
    assert of_run({"headline": headline | {"rows_without_price": 2}}).figures.cost is None


def test_ranges_of_a_run():
    errors = {"cut_m3": [30.0, 10.0], "fill_m3": [20.0, 0.0]}
    errors |= {"cut_error_m3": [3.0, 0.0], "fill_error_m3": [4.0, 0.0]}
    bill = pd.DataFrame({"element_id": ["a"], "step": [1], "cost": [1000.0]})
    said = {"parameters": {"rates": {"range_below_pct": 10.0, "range_above_pct": 40.0}}}
    found = of_run(said, earth_volumes=pd.DataFrame(errors), bill=bill).ranges
    assert found["cost"] == pytest.approx((900.0, 1400.0))
    # 3 and 4 of two sums that know nothing of each other: 5; nine in ten lie within 1.645 of them
    assert found["earth_m3"] == pytest.approx((60 - 8.225, 60 + 8.225))


def test_what_has_no_price_is_named_with_how_much_of_it_there_is_and_the_key_to_set():
    bill = pd.DataFrame(
        {
            "item": ["cut", "shelf_plants", "shelf_plants", "pipe"],
            "amount": [10.0, 80.0, 4.5, 2.0],
            "cost": [50.0, None, None, None],
        }
    )
    one = of_run({}, bill=bill)
    assert verdicts([one], []) == [
        "what x costs is not known: 2 items of the bill have no price, named at the end of the page"
    ]
    assert unpriced_rows([one]) == [
        {"item": "Plant a shelf with marsh plants", "key": "rates.shelf_plants_per_m2",
         "amounts": ["84.5 m²"]},
        {"item": "Pipe, laid", "key": "rates.pipe_per_m", "amounts": ["2 m"]},
    ]  # fmt: skip
    twice = [one, replace(one, name="y")]
    assert verdicts(twice, [])[0].startswith("what x and y cost is not known")  # said once


def test_units_of_the_site_are_shown():
    assert figure_text("storage_m3", 3.785411784, "us", "") == "1\u202f000\xa0gal"
    assert figure_text("earth_m3", 0.764554857984, "us", "") == "1\xa0yd³"
    assert figure_text("kept_pct", None, "us", "") == "not known"


def test_one_site_is_no_choice(tmp_path):
    site = tmp_path / "a.toml"
    site.write_text(SITE, encoding="utf-8")
    with pytest.raises(InputError, match="two designs"):
        command.run([site], None, as_json=False)


def test_an_option_overrides_key_by_key(tmp_path):
    site = tmp_path / "a.toml"
    said = '[options.large]\ninputs.plan = "large.gpkg"\nworks.pond_depth_m = 3.0\n'
    site.write_text(f"{SITE}[works]\nsill_head_m = 0.2\n{said}", encoding="utf-8")
    loaded = load(site)
    large = loaded.option("large").settings
    assert (loaded.settings.inputs.plan, large.inputs.plan) == (None, "large.gpkg")
    assert (large.works.pond_depth_m, large.works.sill_head_m) == (3.0, 0.2)
    assert large.inputs.elevation == loaded.settings.inputs.elevation
    assert [one.name for one in command._designs(site)] == ["large"]  # the site has no plan
    with pytest.raises(InputError, match="no option called small"):
        loaded.option("small")


@pytest.mark.parametrize(
    ("said", "told"),
    [
        ("[options.large]\nworks.pond_deph_m = 3.0\n", "options.large.works.pond_deph_m"),
        ("[options]\nlarge = 3\n", "not the table of an option"),
        ('[options."a b"]\nworks.pond_depth_m = 3.0\n', "not the table of an option"),
    ],
)
def test_faults_of_an_option_are_told(tmp_path, said, told):
    site = tmp_path / "a.toml"
    site.write_text(SITE + said, encoding="utf-8")
    with pytest.raises(InputError, match=told):
        load(site)
