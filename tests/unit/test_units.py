"""Conversions against their definitions (NIST SP 811, appendix B; the international foot)."""

import pytest

from brimline import units


def test_defined_values():
    assert units.FOOT_M == 0.3048
    assert units.US_SURVEY_FOOT_M == pytest.approx(0.304_800_609_601, rel=1e-11)
    assert units.ACRE_M2 == pytest.approx(4046.856_422_4, rel=1e-12)
    assert units.US_GALLON_M3 == pytest.approx(3.785_411_784e-3, rel=1e-12)
    assert units.CUBIC_YARD_M3 == pytest.approx(0.764_554_857_984, rel=1e-12)


@pytest.mark.parametrize(
    ("quantity", "system", "value", "text"),
    [
        ("area", "metric", 404_685.6, "40.47 ha"),
        ("area", "us", 404_685.642_24, "100.00 ac"),
        ("length", "us", 30.48, "100.0 ft"),
        ("volume", "us", 3.785_411_784, "1 000 gal"),
        ("rain", "us", 25.4, "1.00 in"),
    ],
)
def test_values_are_shown_with_their_unit(quantity, system, value, text):
    shown = units.shown(quantity, system).text(value)
    assert (
        shown.replace("\N{NARROW NO-BREAK SPACE}", " ").replace("\N{NO-BREAK SPACE}", " ") == text
    )


def test_one_of_a_thing_is_told_as_one():
    from brimline.units import counted

    assert [counted(n, "row") for n in (0, 1, 2)] == ["0 rows", "1 row", "2 rows"]
    assert counted(2, "entry", "entries") == "2 entries"
