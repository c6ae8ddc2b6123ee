"""Travel times and the split of a flow path, on paths worked by hand."""

import numpy as np
import pytest

from brimline.rainfall import PathFlow, concentration_h, lag_h, segments_along_path
from brimline.rainfall.concentration import (
    SHEET_LIMIT_M,
    channel_flow_h,
    kirpich_doubts,
    kirpich_h,
    manning_velocity_m_s,
    shallow_flow_h,
    sheet_flow_h,
    sheet_limit_m,
)
from brimline.units import ACRE_M2, FOOT_M

FLOW = PathFlow(rain_2y_24h_mm=90.0, channel_area_m2=10_000.0)


def straight_path(length_m=500.0, fall=0.02, points=101):
    chainage = np.linspace(0, length_m, points)
    return chainage, 200 - fall * chainage, 40 * chainage  # 10 000 m² at 250 m


def test_a_path_is_sheet_then_shallow_then_channel():
    sheet, shallow, channel = segments_along_path(*straight_path(), FLOW)
    assert [one.kind for one in (sheet, shallow, channel)] == ["sheet", "shallow", "channel"]
    # McCuen & Spiess (1995): 100 √0.02 / 0.24 = 58.9 ft, less than the 100 ft of NEH 630
    assert sheet.length_m == pytest.approx(58.93 * FOOT_M, rel=1e-3)
    assert (shallow.from_m, shallow.to_m) == (pytest.approx(sheet.to_m), pytest.approx(250.0))
    assert channel.to_m == pytest.approx(500.0)
    assert [one.slope for one in (sheet, shallow, channel)] == pytest.approx([0.02] * 3)
    assert sheet.travel_h == pytest.approx(sheet_flow_h(0.24, sheet.length_m, 0.02, 90.0))
    assert shallow.travel_h == pytest.approx(shallow_flow_h(250 - sheet.length_m, 0.02))
    assert channel.travel_h == pytest.approx(channel_flow_h(250.0, 0.02, 0.05, 0.2))
    total = sheet.travel_h + shallow.travel_h + channel.travel_h
    assert concentration_h([sheet, shallow, channel]) == pytest.approx(total)


def test_sheet_flow_runs_as_far_as_the_ground_that_it_came_over_allows():
    chainage, elevation, area = straight_path()
    paved = segments_along_path(chainage, elevation, area, FLOW, sheet_n=np.full(101, 0.011))
    assert paved[0].length_m == pytest.approx(SHEET_LIMIT_M)  # 100 √0.02 / 0.011 is above 100 ft
    assert paved[0].travel_h == pytest.approx(sheet_flow_h(0.011, SHEET_LIMIT_M, 0.02, 90.0))
    # 10 m of yard, then dense woods: the mean n of 15 m allows 15.7 m, that of 20 m only 10.6 m
    mixed = np.where(chainage <= 10, 0.011, 0.80)
    sheet = segments_along_path(chainage, elevation, area, FLOW, sheet_n=mixed)[0]
    over_n = (10 * 0.011 + 5 * 0.80) / 15
    assert sheet.length_m == pytest.approx(15.0)
    assert sheet.travel_h == pytest.approx(sheet_flow_h(over_n, sheet.length_m, 0.02, 90.0))


@pytest.mark.parametrize("roughness", [[0.1], np.zeros(101)])
def test_roughness_must_stand_at_every_point(roughness):
    with pytest.raises(ValueError, match="sheet_n must be above 0 at each of 101 points"):
        segments_along_path(*straight_path(), FLOW, sheet_n=roughness)


def test_a_short_path_is_sheet_flow_alone_and_takes_the_least_time():
    chainage, elevation, area = straight_path(length_m=8.0)
    segments = segments_along_path(chainage, elevation, area, FLOW)
    assert [one.kind for one in segments] == ["sheet"]
    assert segments[0].travel_h < 0.1
    assert concentration_h(segments) == 0.1  # TR-55, chapter 3


def test_a_path_that_starts_in_a_channel_is_channel_alone():
    chainage, elevation, area = straight_path()
    segments = segments_along_path(chainage, elevation, area + 20_000, FLOW)
    assert [one.kind for one in segments] == ["channel"]


def test_a_channel_within_the_sheet_limit_ends_the_sheet_flow():
    chainage = np.array([0.0, 10.0, 20.0, 60.0])
    segments = segments_along_path(chainage, 50 - chainage / 10, [0, 1e3, 1e5, 2e5], FLOW)
    assert [(one.kind, one.to_m) for one in segments] == [("sheet", 20.0), ("channel", 60.0)]


def test_flat_or_rising_stretches_take_the_least_slope():
    chainage, elevation, area = straight_path()
    for ground in (np.full_like(elevation, 7.0), elevation[::-1]):
        segments = segments_along_path(chainage, ground, area, FLOW)
        assert {one.slope for one in segments} == {FLOW.least_slope}


def test_chainage_may_begin_anywhere():
    chainage, elevation, area = straight_path()
    here = segments_along_path(chainage, elevation, area, FLOW)
    there = segments_along_path(chainage + 1000, elevation, area, FLOW)
    assert concentration_h(there) == pytest.approx(concentration_h(here))


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"chainage": [0.0, 10.0, 10.0]}, "chainage_m must rise.*got 10 then 10 m"),
        ({"elevation": [1.0, 2.0]}, "must have one length, got 3, 2 and 3"),
        ({"elevation": [1.0, np.nan, 0.0]}, "not finite; fill voids"),
        ({"chainage": [0.0], "elevation": [1.0], "area": [1.0]}, "list of 2 or more"),
    ],
)
def test_paths_that_make_no_sense_are_refused(change, message):
    path = {"chainage": [0.0, 10.0, 20.0], "elevation": [3.0, 2.0, 1.0], "area": [0, 1, 2]}
    path |= change
    with pytest.raises(ValueError, match=message):
        segments_along_path(path["chainage"], path["elevation"], path["area"], FLOW)


def test_values_outside_their_range_are_refused_with_the_limit():
    with pytest.raises(ValueError, match=r"at most 30.48 m long, got 50 m; take the rest"):
        sheet_flow_h(0.24, 50, 0.01, 90)
    with pytest.raises(ValueError, match="slope must be above 0 m/m, got 0 m/m"):
        shallow_flow_h(10, 0)
    with pytest.raises(ValueError, match="length_m must not be below 0 m, got -1 m"):
        channel_flow_h(-1, 0.01, 0.03, 0.3)
    with pytest.raises(ValueError, match="rain_2y_24h_mm must be above 0 mm"):
        PathFlow(rain_2y_24h_mm=0)
    with pytest.raises(ValueError, match="concentration_h must not be below 0 h"):
        lag_h(-1)


def test_paved_ground_is_quicker_and_times_scale_with_length():
    assert shallow_flow_h(100, 0.01, paved=True) < shallow_flow_h(100, 0.01)
    assert channel_flow_h(200, 0.01, 0.05, 0.3) == pytest.approx(
        2 * channel_flow_h(100, 0.01, 0.05, 0.3)
    )
    assert manning_velocity_m_s(1.0, 0.01, 0.1) == pytest.approx(1.0)
    assert kirpich_h(200, 0.01) / kirpich_h(100, 0.01) == pytest.approx(2**0.77)


def test_kirpich_is_doubted_outside_the_farms_that_he_measured():
    # seven farms in Tennessee, 1 to 112 acres, slopes of 3 to 10 % (values from memory)
    assert kirpich_doubts(0.05, 10 * ACRE_M2) == ()
    assert kirpich_doubts(0.03, ACRE_M2) == ()
    steep, small = kirpich_doubts(0.2, 1000.0)
    assert "20.0 % is outside 3 to 10 %" in steep
    assert "0.10 ha are outside 0.4 to 45 ha" in small


def test_rough_or_flat_ground_gathers_sheet_flow_sooner():
    # McCuen & Spiess (1995): 100 √s / n ft (from memory); 100 · 0.1 / 0.4 = 25 ft
    assert sheet_limit_m(0.4, 0.01) == pytest.approx(25 * FOOT_M)
    assert sheet_limit_m(0.011, 0.01) == SHEET_LIMIT_M
