"""What no longer holds is told once, the gravest first."""

from dataclasses import replace
from types import SimpleNamespace

import pytest

from brimline.compare import ElementChange, LineChange, change_findings, told_shift
from brimline.terrain.change import Shift

STEADY = Shift("none", 0.0, 0.0, 0.0, 0.0, 0.03, 0.001, datum=False, cells=1)
DATUM = Shift("uniform", 0.6, 0.0, 0.0, 0.0, 0.03, 0.001, datum=True, cells=1)


def element(name, **changes):
    usual = ElementChange(
        name, "pond", "kept", 50.0, 50.0, 100.0, 100.0, "Brook", "Brook",
        40.0, 40.0, 3.0, 0.0, (), (), None,
    )  # fmt: skip
    return replace(usual, **changes)


def pair(shift, then_cost=None, now_cost=None):
    run = SimpleNamespace(flow_direction=None)
    return SimpleNamespace(
        change=SimpleNamespace(shift=shift), grid=SimpleNamespace(cell_m=1.0),
        then=SimpleNamespace(**vars(run), cost=then_cost),
        now=SimpleNamespace(**vars(run), cost=now_cost),
    )  # fmt: skip


def found(shift, *elements):
    return change_findings(pair(shift), [], [], [], elements)


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
        element("Turned", spills_to_now=""),
        element("Flagged", new_flags=("uphill",)),
    )
    assert [one.id for one in every] == ["Turned", "Flagged", "Silted"]
    assert "holds 30.0 m³" in every[2].text


@pytest.mark.parametrize("way", [("higher", 0.6), ("lower", -0.6)])
def test_the_shift_says_its_way(way):
    shift = Shift("uniform", way[1], 0.0, 0.0, 0.0, 0.03, 0.001, datum=False, cells=1)
    assert f"0.600 m {way[0]} than the old" in told_shift(shift)


def line(name, layer="swale_lines", **changes):
    usual = LineChange(layer, name, "", "gone", None, None, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, None)
    return replace(usual, **changes)


def of_lines(*lines):
    return change_findings(pair(STEADY), [], [], lines, [])


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


def test_what_is_mended_grown_or_cheaper_is_better_and_not_something_that_no_longer_holds():
    every = change_findings(
        pair(STEADY, 20_000.0, 15_000.0), [], [], [],
        [
            element("Mended", gone_flags=("uphill",)),
            element("Grown", storage_now_m3=80.0),
            element("Led away", spills_to_then="", spills_to_now="Brook"),
        ],
    )  # fmt: skip
    assert {one.effect for one in every} == {"better"}
    assert [one.id for one in every] == ["Mended", "Led away", "Grown", ""]
    worse = change_findings(
        pair(STEADY), [], [], [],
        [
            element("Grown", storage_now_m3=80.0),
            element("Shrunk", storage_now_m3=30.0),
            element("Raised", spill_level_now_m=100.2),
        ],
    )  # fmt: skip
    assert [(one.id, one.effect) for one in worse] == [
        ("Shrunk", "worse"), ("Raised", "different"), ("Grown", "better"),
    ]  # fmt: skip
