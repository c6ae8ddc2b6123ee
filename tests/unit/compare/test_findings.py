"""What no longer holds is told once, the gravest first."""

from types import SimpleNamespace

import pytest

from brimline.stages._compare_findings import findings, told_shift
from brimline.terrain.change import Shift

STEADY = Shift("none", 0.0, 0.0, 0.0, 0.0, 0.03, 0.001, datum=False, cells=1)
DATUM = Shift("uniform", 0.6, 0.0, 0.0, 0.0, 0.03, 0.001, datum=True, cells=1)


def element(name, **changes):
    row = {
        "element_id": name, "status": "kept", "new_flags": None, "spills_to_then": "Brook",
        "spills_to_now": "Brook", "spill_level_then_m": 100.0, "spill_level_now_m": 100.0,
        "storage_then_m3": 50.0, "storage_now_m3": 50.0, "changed_m2": 0.0,
        "ground_then_m3": 40.0, "ground_now_m3": 40.0, "ground_error_m3": 3.0,
    }  # fmt: skip
    return row | changes


def found(shift, *elements):
    pair = SimpleNamespace(change=SimpleNamespace(shift=shift), grid=None)
    return findings(pair, [], [], elements)


def test_nothing_changed_is_nothing_found():
    assert found(STEADY, element("Pond")) == []
    assert told_shift(STEADY) == ""


def test_levels_that_follow_the_height_reference_are_told_once_with_the_survey():
    raised = element("Pond", spill_level_now_m=100.6)
    (only,) = found(DATUM, raised)
    assert "datum or geoid" in only.text
    (only,) = found(STEADY, raised)
    assert (only.id, "(+0.60 m)" in only.text) == ("Pond", True)


def test_the_gravest_comes_first_and_silt_is_told_from_noise():
    every = found(
        STEADY,
        element("Silted", ground_now_m3=30.0, changed_m2=9.0),
        element("Within the noise", ground_now_m3=38.0, changed_m2=9.0),
        element("Turned", spills_to_now=None),
        element("Flagged", new_flags="uphill"),
    )
    assert [one.id for one in every] == ["Turned", "Flagged", "Silted"]
    assert "holds 30.0 m³" in every[2].text


@pytest.mark.parametrize("way", [("higher", 0.6), ("lower", -0.6)])
def test_the_shift_says_its_way(way):
    shift = Shift("uniform", way[1], 0.0, 0.0, 0.0, 0.03, 0.001, datum=False, cells=1)
    assert f"0.600 m {way[0]} than the old" in told_shift(shift)


def line(name, layer="swale_lines", **changes):
    row = {
        "layer": layer, "line_id": name, "status": "gone", "changed_m": 0.0, "mean_m": 0.0,
        "most_m": 0.0, "least_change_m": 0.0, "greatest_change_m": 0.0,
    }  # fmt: skip
    return row | changes


def of_lines(*lines):
    pair = SimpleNamespace(change=SimpleNamespace(shift=STEADY), grid=SimpleNamespace(cell_m=1.0))
    return findings(pair, [], lines, [])


def test_few_lines_are_told_one_by_one_and_many_together():
    few = of_lines(line("1"), line("2", status="moved", mean_m=3.0, most_m=5.0), line("3"))
    assert [(one.id, one.weight) for one in few] == [("1", 5), ("3", 5), ("2", 6)]
    many = [line(str(number)) for number in range(20)] + [line("kept", status="kept")]
    (only,) = of_lines(*many)
    assert only.id == ""
    assert only.text.startswith("20 of 21 have no line in the new run beside them: 0, 1, 2,")
    assert "and 8 more" in only.text


def test_cultivation_lines_are_always_told_together():
    (only,) = of_lines(line("7", "cultivation_lines", status="moved", mean_m=2.0, most_m=2.0))
    assert (only.layer, only.id) == ("cultivation_lines", "")
    assert "1 of 1 lie elsewhere in the new run: 7" in only.text
