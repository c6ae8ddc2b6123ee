"""The page from design to ground names only keys, layers and flags' words that there are."""

import re
from pathlib import Path

from brimline.config import Settings
from brimline.layers import CATALOGUE, FLAGS
from brimline.layers.drawn import ITEMS

PAGE = (Path(__file__).parents[3] / "docs" / "earthworks.md").read_text(encoding="utf-8")
TABLES = ("earthworks", "proof", "stakes")


def test_keys_that_are_named_exist():
    found = re.findall(rf"`({'|'.join(TABLES)})\.(\w+)[` ]", PAGE)
    keys = [(table, key) for table, key in found if key not in ("csv", "html")]
    assert len(keys) == 9
    for table, key in keys:
        assert key in Settings.model_fields[table].annotation.model_fields, (table, key)


def test_layers_that_are_named_exist():
    names = {
        "earth_volumes", "spoil_hauls", "design_proof", "proof_paths", "flood_depth_m",
        "flood_speed_m_s", "flood_levels", "building_steps", "bill", "design_surface",
    }  # fmt: skip
    assert names <= set(CATALOGUE)
    assert all(name in PAGE for name in names)
    assert {"drawn_pads", "stockpiles"} <= {item.name for item in ITEMS}


def test_the_words_on_stakes_are_those_of_the_flag():
    assert "level on site before digging" in PAGE
    assert "level on site before digging" in FLAGS["level-on-site"].meaning
