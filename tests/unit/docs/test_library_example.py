"""The example of the library page runs as it stands, and shows what the page says of it."""

import re
from pathlib import Path

import pytest

_PAGE = Path(__file__).parents[3] / "docs" / "library.md"


@pytest.fixture(scope="module")
def made():
    (code,) = re.findall(r"```python\n(.*?)```", _PAGE.read_text(encoding="utf-8"), re.DOTALL)
    names = {}
    exec(compile(code, str(_PAGE), "exec"), names)
    return names


def test_the_intake_stands_in_the_valley_and_gathers_its_ground(made):
    assert abs(made["intake"].col[0] - 130) <= 5
    labelled = (made["ground"].labels == 1).sum() * made["grid"].cell_area_m2
    assert made["catchment_m2"] == labelled
    assert made["catchment_m2"] == made["intake"].area_m2[0]


def test_the_line_is_level_and_ends_at_the_flow_path_or_the_data(made):
    line = made["line"]
    assert line.length_m > 50
    assert line.level_error_m < 0.05
    assert set(line.flags) <= {"at-flow-path", "at-data-edge"}


def test_the_swale_is_told_against_what_arrives(made):
    # NRCS: S = 25400/CN - 254, Q = (P - 0.2 S)^2 / (P + 0.8 S)
    number = 79  # TR-55 table 2-2c, pasture in fair condition, soil group C
    retention = 25_400 / number - 254
    assert made["runoff_mm"] == pytest.approx((60 - 0.2 * retention) ** 2 / (60 + 0.8 * retention))
    swale = made["swale"]
    per_metre = made["holds_m3"] / swale.length_m
    # a trapezoid 0.6 m wide below, sides 2:1, 0.4 m deep, is 0.56 m²; sloping ground takes some
    assert 0.2 < per_metre <= 0.56 + 1e-9
