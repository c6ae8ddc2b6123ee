"""Rainfall and runoff against published examples, tables and an independent solver.

"From memory" marks values of a source that could not be opened when the test was written; each of
them is also reproduced by hand from the formula that the source gives.
"""

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from scipy.special import lambertw

from brimline.rainfall import (
    _distributions,
    alternating_block,
    concentration_h,
    curve_number,
    excess_mm,
    lag_h,
    nrcs_24h,
    rational_peak_m3_s,
    route_excess,
    runoff_depth_mm,
    unit_hydrograph,
)
from brimline.rainfall.concentration import (
    Segment,
    channel_flow_h,
    kirpich_h,
    manning_velocity_m_s,
    shallow_flow_h,
    sheet_flow_h,
)
from brimline.rainfall.infiltration import GreenAmpt, soaked_under_rain_mm

IN_MM = 25.4
FT_M = 0.3048

# TR-55 (NRCS 1986), Table 2-1: rain, then runoff for curve numbers 40 45 ... 95 98, all in inches
# (from memory)
TABLE_2_1 = """
1.0  0.00 0.00 0.00 0.00 0.00 0.00 0.00 0.03 0.08 0.17 0.32 0.56 0.79
1.4  0.00 0.00 0.00 0.00 0.00 0.02 0.06 0.13 0.24 0.39 0.61 0.92 1.18
2.0  0.00 0.00 0.00 0.02 0.06 0.14 0.24 0.38 0.56 0.80 1.09 1.48 1.77
3.0  0.00 0.02 0.09 0.19 0.33 0.51 0.71 0.96 1.25 1.59 1.98 2.45 2.77
4.0  0.06 0.18 0.33 0.53 0.76 1.03 1.33 1.67 2.04 2.46 2.92 3.43 3.77
5.0  0.24 0.44 0.69 0.98 1.30 1.65 2.04 2.45 2.89 3.37 3.88 4.42 4.76
6.0  0.50 0.80 1.14 1.52 1.92 2.35 2.81 3.28 3.78 4.30 4.85 5.41 5.76
"""
TABLE_2_1_NUMBERS = np.array([*range(40, 100, 5), 98], dtype=float)


@pytest.mark.parametrize("line", TABLE_2_1.strip().splitlines())
def test_runoff_depths_of_tr55_table_2_1(line):
    rain_in, *runoff_in = map(float, line.split())
    found = runoff_depth_mm(rain_in * IN_MM, TABLE_2_1_NUMBERS) / IN_MM
    np.testing.assert_allclose(found, runoff_in, atol=0.0051)  # the table rounds to 0.01 in


def test_runoff_of_tr55_example_2_1():
    # TR-55, Example 2-1: pasture in good condition, 30 % group B and 70 % group C: CN 70; 6.0 in
    # of rain run off 2.81 in
    number = 0.3 * curve_number("pasture", "good", "B") + 0.7 * curve_number("pasture", "good", "C")
    assert round(number) == 70
    assert runoff_depth_mm(6.0 * IN_MM, 70) / IN_MM == pytest.approx(2.81, abs=0.005)


def test_excess_hyetograph_of_chow():
    # Chow, Maidment & Mays (1988), Example 5.5.3: CN 80, hourly cumulative rain and excess in
    # inches (from memory)
    rain = np.array([0.20, 0.90, 1.27, 2.31, 4.65, 5.29, 5.36])
    excess = np.array([0.0, 0.06, 0.18, 0.76, 2.59, 3.15, 3.21])
    found = np.cumsum(excess_mm(np.diff(rain, prepend=0.0) * IN_MM, 80)) / IN_MM
    np.testing.assert_allclose(found, excess, atol=0.0051)


def test_time_of_concentration_of_tr55_example_3_1():
    # TR-55, Example 3-1: sheet 0.30 h, shallow 0.24 h, channel 0.99 h, in all 1.53 h
    sheet = sheet_flow_h(0.24, 100 * FT_M, 0.01, 3.6 * IN_MM)
    shallow = shallow_flow_h(1400 * FT_M, 0.01)
    radius_m = 27 / 28.2 * FT_M
    channel = channel_flow_h(7300 * FT_M, 0.005, 0.05, radius_m)
    assert sheet == pytest.approx(0.30, abs=0.005)
    assert shallow == pytest.approx(0.24, abs=0.005)
    assert manning_velocity_m_s(radius_m, 0.005, 0.05) / FT_M == pytest.approx(2.05, abs=0.01)
    assert channel == pytest.approx(0.99, abs=0.005)
    segments = [
        Segment("sheet", 0, 1, 0.01, sheet),
        Segment("shallow", 1, 2, 0.01, shallow),
        Segment("channel", 2, 3, 0.005, channel),
    ]
    assert concentration_h(segments) == pytest.approx(1.53, abs=0.005)


def test_shallow_flow_by_the_equations_of_tr55():
    # TR-55, appendix F: V = 16.1345 s^0.5 unpaved and 20.3282 s^0.5 paved, ft/s
    for slope in (0.005, 0.04, 0.3):
        for paved, coefficient in ((False, 16.1345), (True, 20.3282)):
            expected_h = 1000 / (coefficient * slope**0.5) / 3600
            found_h = shallow_flow_h(1000 * FT_M, slope, paved=paved)
            assert found_h == pytest.approx(expected_h, rel=1e-9)


def test_kirpich_in_its_own_units():
    # Kirpich (1940): tc = 0.0078 L^0.77 S^-0.385 minutes with L in feet (Chow, Maidment & Mays
    # 1988, Table 15.1.2); the metric 0.0195 is 0.0078 × 3.2808^0.77 rounded
    for length_ft, slope in ((1500.0, 0.05), (6000.0, 0.01)):
        expected_min = 0.0078 * length_ft**0.77 * slope**-0.385
        assert kirpich_h(length_ft * FT_M, slope) * 60 == pytest.approx(expected_min, rel=0.003)


def test_rational_method():
    # Q = C i A / 360 with i in mm/h and A in ha: 0.35 × 60 × 4 / 360 (by hand)
    assert rational_peak_m3_s(0.35, 60.0, 40_000.0) == pytest.approx(0.2333, abs=5e-5)


def test_unit_hydrograph_of_chow_example_7_7_1():
    # Chow, Maidment & Mays (1988), Example 7.7.1: 3 km², tc 1.25 h, 10-min rain: time to peak
    # 0.833 h, peak 7.49 m³/s for 1 cm
    flow = route_excess([10.0], 600.0, 3e6, concentration_h=1.25)
    assert 1 / 12 + lag_h(1.25) == pytest.approx(0.833, abs=5e-4)
    assert flow.peak_time_s / 3600 == pytest.approx(0.833, abs=5e-4)
    assert flow.peak_m3_s == pytest.approx(7.49, rel=0.005)
    assert flow.volume_m3 == pytest.approx(3e6 * 0.01, rel=1e-12)


def test_mass_curve_of_the_nrcs_dimensionless_unit_hydrograph():
    # NEH 630 (2007), chapter 16, Table 16-1, mass curve ratios at multiples of the time to peak
    # (read in a reprint of the table)
    step_s = 1.0
    shares = unit_hydrograph((1000 - step_s / 2) / 0.6 / 3600, step_s)  # time to peak 1000 s
    mass = np.cumsum(shares)
    for ratio, expected in ((0.5, 0.065), (0.8, 0.228), (1.0, 0.375), (1.2, 0.522), (1.6, 0.751)):
        assert mass[round(ratio * 1000)] == pytest.approx(expected, abs=0.004)


def test_alternating_block_of_chow_example_14_4_1():
    # Chow, Maidment & Mays (1988), Example 14.4.1: i = 96.6 / (T^0.97 + 13.90) in/h, T in minutes,
    # 10-min blocks over 2 h: 4.158 in/h and 0.693 in first; blocks as in Table 14.4.1 (from memory)
    def depth_mm(duration_h):
        return IN_MM * duration_h * 96.6 / ((duration_h * 60) ** 0.97 + 13.90)

    assert depth_mm(1 / 6) * 6 / IN_MM == pytest.approx(4.158, abs=5e-4)
    rain_in = alternating_block(depth_mm, 2.0, step_s=600.0) / IN_MM
    blocks = [0.024, 0.033, 0.050, 0.084, 0.178, 0.693, 0.308, 0.117, 0.063, 0.040, 0.028, 0.021]
    np.testing.assert_allclose(rain_in, blocks, atol=0.0011)


# City of Austin, Texas, Drainage Criteria Manual, Table 2-6: NRCS Type III, cumulative share at
# hour:minute, computed with an independent program
AUSTIN_TYPE_III = {
    "0:30": 0.0050, "1:00": 0.0100, "8:05": 0.1163, "8:15": 0.1208, "8:30": 0.1284, "8:45": 0.1367,
    "9:00": 0.1458, "9:10": 0.1522, "9:20": 0.1589, "16:10": 0.8903, "16:30": 0.8984,
    "16:55": 0.9078, "17:00": 0.9095, "17:15": 0.9146, "17:25": 0.9178,
}  # fmt: skip


def test_type_iii_distribution_against_a_city_manual():
    mass = np.concatenate([[0.0], np.cumsum(nrcs_24h(1.0, "type III", step_s=300))])
    for clock, expected in AUSTIN_TYPE_III.items():
        hour, minute = map(int, clock.split(":"))
        assert mass[hour * 12 + minute // 5] == pytest.approx(expected, abs=1.5e-4), clock


# SCS 24-hour distributions as printed in Chow, Maidment & Mays (1988), section 14.4, at three
# digits (from memory): hour, types I, IA, II, III. The tables in use today were smoothed since.
PRINTED = [
    (2.0, 0.035, 0.050, 0.022, 0.020),
    (4.0, 0.076, 0.116, 0.048, 0.043),
    (6.0, 0.125, 0.206, 0.080, 0.072),
    (8.0, 0.194, 0.425, 0.120, 0.115),
    (9.5, 0.303, 0.550, 0.163, 0.167),
    (10.0, 0.515, 0.577, 0.181, 0.189),
    (11.0, 0.624, 0.624, 0.235, 0.250),
    (11.5, 0.654, 0.645, 0.283, 0.298),
    (12.0, 0.682, 0.664, 0.663, 0.500),
    (12.5, 0.706, 0.683, 0.735, 0.702),
    (14.0, 0.767, 0.736, 0.820, 0.811),
    (16.0, 0.830, 0.800, 0.880, 0.886),
    (20.0, 0.926, 0.906, 0.952, 0.957),
]


@pytest.mark.parametrize(
    ("place", "kind"), [(1, "type I"), (2, "type IA"), (3, "type II"), (4, "type III")]
)
def test_nrcs_distributions_against_the_printed_curves(place, kind):
    mass = np.concatenate([[0.0], np.cumsum(nrcs_24h(1.0, kind, step_s=1800))])
    for row in PRINTED:
        assert mass[round(row[0] * 2)] == pytest.approx(row[place], abs=0.007), row[0]


def test_type_ii_distribution_through_its_steepest_half_hours():
    # NRCS TR-20 rainfall table 2, four digits, every 0.1 h from 11.5 to 12.5 (from memory)
    table = [0.2830, 0.3068, 0.3544, 0.4308, 0.5679, 0.6630, 0.6820, 0.6986, 0.7130, 0.7252, 0.7350]
    mass = np.concatenate([[0.0], np.cumsum(nrcs_24h(1.0, "type II", step_s=360))])
    np.testing.assert_allclose(mass[115:126], table, atol=6e-5)


def test_type_iii_distribution_is_symmetric_within_three_hours_of_noon():
    # so it was drawn (TR-55, figure B-1): what falls by 12 - t and by 12 + t makes the whole
    mass = np.concatenate([[0.0], np.cumsum(nrcs_24h(1.0, "type III", step_s=360))])
    np.testing.assert_allclose(mass[90:120] + mass[150:120:-1], 1.0, atol=2e-5)


@pytest.mark.parametrize(
    ("kind", "plain_sum", "weighted_sum"),
    [
        ("type I", 12970.674, 2157409.987),
        ("type IA", 13620.534, 2181976.892),
        ("type II", 12124.91, 2100889.637),
        ("type III", 12052.01, 2096928.95),
    ],
)
def test_ordinates_were_copied_without_a_slip(kind, plain_sum, weighted_sum):
    # sums of the 241 percentages, plain and weighted by place, in the file of the US EPA
    percent = _distributions.CUMULATIVE[kind] * 100
    assert percent.size == 241
    assert percent.sum() == pytest.approx(plain_sum, abs=1e-6)
    assert percent @ np.arange(241) == pytest.approx(weighted_sum, abs=1e-5)


def test_green_ampt_of_chow_example_4_3_1():
    # Chow, Maidment & Mays (1988), Example 4.3.1: silt loam, effective saturation 0.30; after 1 h
    # of standing water 3.17 cm have soaked in and the rate is 1.81 cm/h
    soil = GreenAmpt.of_texture("silt loam", effective_saturation=0.30)
    assert soil.deficit == pytest.approx(0.340, abs=5e-4)
    depth_mm = soil.soaked_mm(1.0)
    assert depth_mm / 10 == pytest.approx(3.17, abs=0.005)
    assert soil.capacity_mm_per_h(depth_mm) / 10 == pytest.approx(1.81, abs=0.01)


def test_ponding_times_of_chow_example_4_4_1():
    # Chow, Maidment & Mays (1988), Example 4.4.1: the same soil ponds after 10.5 h under 1 cm/h
    # and after 0.17 h under 5 cm/h
    soil = GreenAmpt.of_texture("silt loam", effective_saturation=0.30)
    assert soil.ponding_time_h(10.0) == pytest.approx(10.5, abs=0.05)
    assert soil.ponding_time_h(50.0) == pytest.approx(0.17, abs=0.005)


def test_infiltration_under_a_hyetograph_of_chow_example_5_4_1():
    # Chow, Maidment & Mays (1988), Example 5.4.1: sandy loam, effective saturation 0.40, 10-min
    # rain; water begins to stand at 60 min with 1.77 cm soaked and a capacity of 2.77 cm/h (from
    # memory); 2.20 cm at 70 min solve its equation 5.4.3 (by hand)
    soil = GreenAmpt.of_texture("sandy loam", effective_saturation=0.40)
    rain_cm = np.array([0.18, 0.21, 0.26, 0.32, 0.37, 0.43, 0.64])
    soaked_cm = soaked_under_rain_mm(rain_cm * 10, 600.0, soil) / 10
    np.testing.assert_allclose(soaked_cm[:6], np.cumsum(rain_cm)[:6])
    assert soil.capacity_mm_per_h(17.7) / 10 == pytest.approx(2.77, abs=0.005)
    assert soaked_cm[6] == pytest.approx(2.20, abs=0.005)


def test_standing_water_against_the_closed_form_in_lamberts_w():
    # 1 + F/p = -W₋₁(-exp(-1 - Kt/p)) solves F - p ln(1 + F/p) = Kt (Barry, Parlange & Li 2005)
    soil = GreenAmpt.of_texture("loam", effective_saturation=0.2)
    pull, conductivity = soil.pull_mm, soil.conductivity_mm_per_h
    for time_h in (0.05, 1.0, 24.0):
        branch = lambertw(-np.exp(-1.0 - conductivity * time_h / pull), k=-1)
        assert soil.soaked_mm(time_h) == pytest.approx(pull * (-branch.real - 1), rel=1e-8)


def test_infiltration_under_a_storm_against_an_independent_solver():
    # dF/dt = min(rain, K (1 + p/F)), integrated step by step by a Runge-Kutta method
    soil = GreenAmpt.of_texture("silt loam", effective_saturation=0.5)
    rain = nrcs_24h(120.0, "type II", step_s=1800)
    found = soaked_under_rain_mm(rain, 1800, soil)
    soaked = 1e-9
    for place, depth in enumerate(rain):

        def rate(_, state, intensity=2 * depth):
            return [min(intensity, soil.capacity_mm_per_h(max(state[0], 1e-9)))]

        solved = solve_ivp(rate, (0, 0.5), [soaked], rtol=1e-9, atol=1e-9, max_step=0.01)
        soaked = solved.y[0, -1]
        assert found[place] == pytest.approx(soaked, rel=1e-4)
    assert found[-1] < 119  # the storm did pond
