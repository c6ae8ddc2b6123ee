"""Swales: storage to the sill, spoil into mound, freeboard."""

from dataclasses import replace

import pytest

from brimline.elements import Soak, Swale
from brimline.elements.profile import steepness

BASIC = Swale("s", 100.0, 50.0, 10.0, depth_m=0.4, bottom_m=0.6, side=2.0, upper_side=1.5)


def test_storage_is_section_times_length():
    # trapezoid to the lip: b y + (2 + 1.5)/2 y² = 0.24 + 0.28
    element = BASIC.element()
    assert element.storage_m3 == pytest.approx(50.0 * (0.6 * 0.4 + 1.75 * 0.16))
    assert element.floor_m == pytest.approx(99.6)
    assert element.spill_level_m == 100.0


def test_vee_and_parabola_storage():
    vee = replace(BASIC, form="vee").element()
    assert vee.storage_m3 == pytest.approx(50.0 * 1.75 * 0.16)
    parabola = replace(BASIC, form="parabola", top_m=2.4).element()
    # 40 chords hold 1 - 1/1600 of the parabola that they are drawn in
    assert parabola.storage_m3 == pytest.approx(50.0 * 2 / 3 * 2.4 * 0.4 * (1 - 1 / 1600))


def test_cut_equals_fill():
    fill = BASIC.mound.area_m2(BASIC.mound_height_m, steepness(10.0))
    assert fill == pytest.approx(BASIC.cut_m2)
    # by hand: the bank rises from (1.4, -0.4) at 1.5:1 to the 10 % ground at u = 1.4 + 1.5 up,
    # -0.4 + up = 0.1 (1.4 + 1.5 up), up = 0.54/0.85
    up = 0.54 / 0.85
    assert BASIC.profile.across_m[-2] == pytest.approx(1.4 + 1.5 * up)


def test_mound_is_built_higher_by_the_settlement():
    assert BASIC.built_height_m == pytest.approx(1.10 * BASIC.mound_height_m)
    assert BASIC.crest_level_m == pytest.approx(100.0 + BASIC.mound_height_m)


def test_water_over_the_lip_stands_against_the_mound():
    high = replace(BASIC, spill_over_line_m=0.2)
    low, more = BASIC.element(), high.element()
    assert more.storage_m3 > low.storage_m3
    assert more.held_above_ground_m3 == pytest.approx(
        more.stages.storage_at(more.crest_level_m) - low.storage_m3, rel=1e-3
    )


def test_too_little_spoil_for_the_freeboard_is_said_with_the_fill_that_is_needed():
    shallow = replace(BASIC, depth_m=0.15, freeboard_m=0.3)
    assert [caution.flag for caution in shallow.element().cautions] == ["freeboard"]
    assert f"{shallow.fill_needed_m2():.2f} m²" in shallow.element().cautions[0].text
    assert BASIC.element().cautions == ()


def test_a_deeper_swale_holds_more_and_gets_a_higher_mound():
    deeper = BASIC.element().changed("depth_m", 0.5)
    assert deeper.storage_m3 > BASIC.element().storage_m3
    assert deeper.crest_level_m > BASIC.crest_level_m


def test_wetted_area_by_stage_is_the_water_surface():
    element = replace(BASIC, soak=Soak(20.0)).element()
    for below in (0.3, 0.2, 0.0):
        width = 0.6 + 3.5 * (0.4 - below)
        assert element.stages.soak_area_at(100.0 - below) == pytest.approx(50 * width, rel=1e-6)


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"length_m": 0.0}, "length"),
        ({"form": "round"}, "trapezoid"),
        ({"spill_over_line_m": -0.5}, "above the floor"),
        ({"ground_slope_pct": 80.0}, "never meets"),
    ],
)
def test_impossible_swales_are_refused(change, says):
    with pytest.raises(ValueError, match=says):
        replace(BASIC, **change).element()


def test_a_short_shallow_swale_is_one_all_the_same():
    tiny = replace(BASIC, length_m=0.5, depth_m=0.1)
    whole = replace(tiny, length_m=50.0)
    assert tiny.element().storage_m3 == pytest.approx(whole.element().storage_m3 / 100)


def test_unknown_dimension_cannot_be_changed():
    with pytest.raises(ValueError, match="no dimension"):
        BASIC.element().changed("colour", 1.0)


def test_a_mound_is_as_high_as_its_crest_stands_over_its_toe():
    # by hand, on a fall of 10 %, 0.50 m over the line, sides of 2 to 1, crest 0.30 m: the mound
    # covers (2 x 2 x 0.50 + 0.30)/(1 - 0.10 x 2) = 2.875 m, and its outer side falls at 2 to 1 over
    # 2.875 - 1.30 m = 1.575 m, so by 0.7875 m
    made = Swale("s", 100.0, 40.0, 10.0, crest_over_line_m=0.5)
    assert made.mound_width_m == pytest.approx(2.875)
    assert made.element().embankment_height_m == pytest.approx(0.7875)
    level = Swale("s", 100.0, 40.0, 10.0, crest_over_line_m=0.0)
    assert level.element().embankment_height_m == 0


def test_a_sill_at_the_bottom_holds_nothing_and_is_refused():
    with pytest.raises(ValueError, match="over the line"):
        replace(BASIC, spill_over_line_m=-0.4)


def test_a_swale_may_start_with_water_and_its_freeboard_may_be_met_exactly():
    wet = replace(BASIC, start_level_m=99.8, freeboard_m=BASIC.crest_level_m - 100.0)
    assert wet.element().start_level_m == 99.8
    assert wet.element().cautions == ()
