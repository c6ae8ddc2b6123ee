"""Names of covers, their curve numbers and runoff coefficients, and what is refused."""

from itertools import pairwise

import pytest

from brimline.rainfall import (
    COVERS,
    antecedent_curve_number,
    composite_coefficient,
    composite_curve_number,
    cover,
    curve_number,
    curve_number_for_ratio_005,
    runoff_coefficient,
    soil_group,
)

# TR-55 (NRCS 1986), Tables 2-2a, 2-2b and 2-2c. Rows of 2-2a and 2-2c were read in reprints that
# name the tables; rows of 2-2b in the NRCS table as reprinted in hydrology texts.
TABULATED = [
    ("roof", "", (98, 98, 98, 98)),
    ("paving", "", (98, 98, 98, 98)),
    ("gravel", "", (76, 85, 89, 91)),
    ("dirt track", "", (72, 82, 87, 89)),
    ("bare", "", (77, 86, 91, 94)),
    ("farmstead", "", (59, 74, 82, 86)),
    ("meadow", "", (30, 58, 71, 78)),
    ("lawn", "good", (39, 61, 74, 80)),
    ("pasture", "poor", (68, 79, 86, 89)),
    ("pasture", "fair", (49, 69, 79, 84)),
    ("pasture", "good", (39, 61, 74, 80)),
    ("brush", "poor", (48, 67, 77, 83)),
    ("brush", "fair", (35, 56, 70, 77)),
    ("brush", "good", (30, 48, 65, 73)),
    ("orchard", "poor", (57, 73, 82, 86)),
    ("orchard", "fair", (43, 65, 76, 82)),
    ("orchard", "good", (32, 58, 72, 79)),
    ("woods", "poor", (45, 66, 77, 83)),
    ("woods", "fair", (36, 60, 73, 79)),
    ("woods", "good", (30, 55, 70, 77)),
    ("row crops", "poor", (72, 81, 88, 91)),
    ("row crops", "good", (67, 78, 85, 89)),
    ("contoured row crops", "good", (65, 75, 82, 86)),
    ("terraced row crops", "poor", (66, 74, 80, 82)),
    ("small grain", "good", (63, 75, 83, 87)),
    ("rotation meadow", "good", (58, 72, 81, 85)),
]


@pytest.mark.parametrize(("name", "condition", "row"), TABULATED)
def test_curve_numbers_are_those_of_tr55(name, condition, row):
    assert tuple(curve_number(name, condition, group) for group in "ABCD") == row


@pytest.mark.parametrize("one", COVERS, ids=lambda one: one.name)
def test_a_cover_sheds_more_on_tighter_soil_and_in_worse_condition(one):
    for row in one.curve_numbers.values():
        assert list(row) == sorted(row)
        assert all(30 <= number <= 100 for number in row)
    ordered = [one.curve_numbers[c] for c in ("good", "fair", "poor") if c in one.curve_numbers]
    for better, worse in pairwise(ordered):
        assert all(a <= b for a, b in zip(better, worse, strict=True))
    assert one.sheet_n > 0
    assert one.source


def test_condition_left_empty_is_fair_else_poor():
    assert curve_number("pasture", "", "C") == 79  # fair
    assert curve_number("row crops", "", "C") == 88  # poor
    assert curve_number("gravel", "", "C") == 89  # the only row


def test_names_are_read_whatever_their_case_hyphens_and_underscores():
    assert cover(" Dirt_Track").name == "dirt track"
    assert cover("ROW-CROPS").name == "row crops"


def test_a_wrong_name_is_told_the_nearest_one():
    with pytest.raises(
        ValueError, match="no ground cover is named 'pastur'; did you mean 'pasture'"
    ):
        cover("pastur")
    with pytest.raises(ValueError, match="known: roof, paving, water"):
        cover("zzz")
    with pytest.raises(ValueError, match="did you mean 'good'"):
        curve_number("woods", "goood", "A")
    with pytest.raises(ValueError, match="'meadow' has no hydrologic condition, got 'good'"):
        curve_number("meadow", "good", "A")


@pytest.mark.parametrize(
    ("text", "wet", "drained"),
    [("a", "A", "A"), ("D", "D", "D"), ("B/D", "D", "B"), (" c/d ", "D", "C")],
)
def test_dual_soil_groups_are_wet_unless_drained(text, wet, drained):
    assert soil_group(text) == wet
    assert soil_group(text, drained=True) == drained


@pytest.mark.parametrize("text", ["", "E", "A/B", "A/D/D", "D/A"])
def test_other_soil_groups_are_refused(text):
    with pytest.raises(ValueError, match="soil group must be A, B, C, D, A/D, B/D or C/D"):
        soil_group(text)


def test_composite_of_tr55_example_2_1():
    # TR-55, Example 2-1: 30 % group B (61) and 70 % group C (74), pasture in good condition: 70
    assert composite_curve_number([61, 74], [30.0, 70.0]) == pytest.approx(70.1)


@pytest.mark.parametrize(
    ("numbers", "areas", "message"),
    [
        ([61, 74], [1.0], "2 curve numbers need as many areas"),
        ([61], [0.0], "sum to more than 0 m²"),
        ([61, 101], [1.0, 1.0], "curve number must be 0 to 100, got 101"),
        ([61, 74], [1.0, -1.0], "areas_m2 must not be below 0 m², got -1.0 m² at place 2"),
        ([], [], "curve_numbers must be a list of 1 or more values"),
    ],
)
def test_composites_that_make_no_sense_are_refused(numbers, areas, message):
    with pytest.raises(ValueError, match=message):
        composite_curve_number(numbers, areas)


# SCS (1985), National Engineering Handbook section 4, Table 10.1, as reprinted by Beven (2012),
# Rainfall-Runoff Modelling, Table B6.3.2: condition II, I (dry), III (wet)
@pytest.mark.parametrize(
    ("average", "dry", "wet"),
    [(100, 100, 100), (90, 78, 96), (80, 63, 91), (70, 51, 85), (60, 40, 78), (50, 31, 70)],
)
def test_antecedent_conditions_follow_the_table_within_two(average, dry, wet):
    assert antecedent_curve_number(average, "dry") == pytest.approx(dry, abs=1.9)
    assert antecedent_curve_number(average, "wet") == pytest.approx(wet, abs=1.9)
    assert antecedent_curve_number(average, "average") == pytest.approx(average)


def test_antecedent_conditions_in_closed_form():
    # Hawkins et al. (1985) as given by Mishra & Singh (2003), equation 3.145 and its fellow
    for number in (45.0, 70.0, 88.0):
        dry, wet = number / (2.281 - 0.01281 * number), number / (0.427 + 0.00573 * number)
        assert antecedent_curve_number(number, "dry") == pytest.approx(dry, rel=1e-6)
        assert antecedent_curve_number(number, "wet") == pytest.approx(wet, rel=1e-6)


def test_antecedent_conditions_refuse_other_words_and_numbers():
    with pytest.raises(ValueError, match="no antecedent condition is named 'soaked'"):
        antecedent_curve_number(70, "soaked")
    with pytest.raises(ValueError, match="above 0 and at most 100, got 0"):
        antecedent_curve_number(0, "dry")


def test_curve_number_for_a_ratio_of_005():
    # Woodward et al. (2003), equation 8, in its closed form for curve numbers
    for number in (55.0, 70.0, 90.0):
        closed = 100 / (1.879 * (100 / number - 1) ** 1.15 + 1)
        assert curve_number_for_ratio_005(number) == pytest.approx(closed, abs=0.01)
    assert curve_number_for_ratio_005(100) == pytest.approx(100)


# Chow, Maidment & Mays (1988), Table 15.1.1 (values from memory)
@pytest.mark.parametrize(
    ("name", "condition", "slope_pct", "period_y", "expected"),
    [
        ("roof", "", 1.0, 10, 0.83),
        ("paving", "", 1.0, 100, 0.95),
        ("pasture", "good", 1.0, 2, 0.25),
        ("pasture", "good", 5.0, 10, 0.38),
        ("woods", "fair", 12.0, 25, 0.45),
        ("row crops", "", 2.0, 100, 0.47),
        ("lawn", "good", 7.0, 5, 0.32),
        ("lawn", "poor", 7.1, 500, 0.62),
    ],
)
def test_runoff_coefficients_of_the_table(name, condition, slope_pct, period_y, expected):
    found = runoff_coefficient(name, condition, slope_pct=slope_pct, return_period_y=period_y)
    assert found == pytest.approx(expected)


def test_runoff_coefficient_between_and_below_tabulated_return_periods():
    # halfway in ln T between 2 and 50 years is 10 years; between 10 and 25 is 15.8 years
    middle = runoff_coefficient("woods", slope_pct=1, return_period_y=(10 * 25) ** 0.5)
    assert middle == pytest.approx((0.28 + 0.31) / 2)
    assert runoff_coefficient("woods", slope_pct=1, return_period_y=1) == pytest.approx(0.22)


def test_covers_without_a_coefficient_are_refused_with_the_way_out():
    with pytest.raises(ValueError, match="tabulated for 'gravel'; give the coefficient itself, or"):
        runoff_coefficient("gravel", slope_pct=1, return_period_y=10)
    with pytest.raises(ValueError, match="at most 500 years, got 1000 years"):
        runoff_coefficient("roof", slope_pct=1, return_period_y=1000)
    with pytest.raises(ValueError, match="slope_pct must not be below 0 %"):
        runoff_coefficient("roof", slope_pct=-1, return_period_y=10)


def test_composite_coefficient_is_the_weighted_mean():
    assert composite_coefficient([0.2, 0.8], [300.0, 100.0]) == pytest.approx(0.35)
    with pytest.raises(ValueError, match=r"coefficient must be 0 to 1, got 1\.2"):
        composite_coefficient([1.2], [1.0])
