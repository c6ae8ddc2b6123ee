"""The page on the year says what the program does: its keys, its tables, its plantings."""

import re
import tomllib
from pathlib import Path

import pytest

from brimline.balance.planting import PLANTINGS
from brimline.config import Year
from brimline.layers import CATALOGUE, layer

PAGE = (Path(__file__).parents[3] / "docs" / "year.md").read_text(encoding="utf-8")


@pytest.mark.parametrize("block", re.findall(r"```toml\n(.*?)```", PAGE, re.DOTALL))
def test_examples_are_valid(block):
    text = "\n".join(line.strip() for line in block.splitlines())
    found = Year.model_validate(tomllib.loads(text)["year"])
    assert found.uses or found.plantings


def test_keys_that_are_named_exist():
    zone_columns = {column.name for column in layer("planting_zones").columns}
    stated = {
        "soak_reach_m", "soak_share", "mains_limit_m3_per_d", "start_at", "most_mm_per_d",
        "wetted_share", "irrigation_efficiency", "goal_share", "tank_worth_m3_per_y",
        "pond_worth_m3_per_y",
    }  # fmt: skip
    assert stated <= set(Year.model_fields)
    assert all(f"`{key}`" in PAGE for key in stated)
    assert set(re.findall(r"`year\.(\w+)`", PAGE)) <= set(Year.model_fields)
    assert {"planting", "texture", "draws_on", "irrigated", "mulch_share"} <= zone_columns


def test_every_table_of_the_year_is_described():
    named = set(re.findall(r"`(\w+)`", PAGE[PAGE.index("| table | holds |") :]))
    tables = {
        name
        for name in CATALOGUE
        if re.match(r"(zone|store|site)_(years|months)|size_|year_", name)
    }
    assert tables | {"zones"} <= named


def test_every_planting_is_listed_with_its_coefficients():
    rows = dict(re.findall(r"^\| ([^|]+) \| ([\d., ]+) \|", PAGE, re.MULTILINE))
    assert {name: ", ".join(f"{k:.2f}" for k in one.kc) for name, one in PLANTINGS.items()} == rows
