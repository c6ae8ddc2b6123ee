"""What a track takes where it crosses water, against FHWA HDS-5 written out anew."""

import numpy as np
import pytest

from brimline.elements.crossing import crossing_of
from brimline.elements.pipe import Pipe

INCH_M, CUBIC_FOOT_M3 = 0.0254, 0.0283168


@pytest.mark.parametrize(
    ("inlet", "printed"),
    [("corrugated-headwall", 1.8), ("corrugated-mitred", 2.1), ("corrugated-projecting", 2.2)],
)
def test_the_example_printed_on_the_chart(inlet, printed):
    """HDS-5, chart 2: corrugated metal pipe of 36 in, 66 ft³/s; HW/D by inlet (value from memory).

    Read off a nomograph: to a tenth.
    """
    pipe = Pipe(0.0, 0.0, 36 * INCH_M, 0.01, 1e-6, inlet)  # a barrel that holds nothing back
    level_m = np.linspace(0.5, 3.0, 2501) * pipe.diameter_m
    passes = np.array([pipe.capacity_m3_s(float(level)) for level in level_m])
    found = np.interp(66 * CUBIC_FOOT_M3, passes, level_m / pipe.diameter_m)
    assert found == pytest.approx(printed, abs=0.06)


def headwater_over_diameter(flow_m3_s, diameter_m, slope=0.02):
    """Inlet control, form 1, projecting corrugated pipe: K 0.0340, M 1.5."""
    turns = np.linspace(0.01, 2 * np.pi - 0.01, 4000)  # angle of the water over the pipe's centre
    wide = diameter_m * np.sin(turns / 2)
    area = diameter_m**2 / 8 * (turns - np.sin(turns))
    at = np.argmin(np.abs(flow_m3_s**2 * wide - 9.81 * area**3))  # critical depth
    head = diameter_m / 2 * (1 - np.cos(turns[at] / 2)) + area[at] / (2 * wide[at])
    x = 1.811 * flow_m3_s / (np.pi / 4 * diameter_m**2 * diameter_m**0.5)
    return head / diameter_m + 0.0340 * x**1.5 - 0.5 * slope


def test_more_water_takes_wider_pipes_then_more_of_them_then_a_ford():
    peaks = np.geomspace(0.002, 12, 60)
    found = [crossing_of(float(peak), 0.01, 5.0) for peak in peaks]
    ways = [one.way for one in found]
    assert ways == sorted(ways, key=["dip", "culvert", "ford"].index)
    assert {(one.barrels, one.diameter_mm) for one in found if one.way != "culvert"} == {(0, None)}
    pipes = [(peak, one) for peak, one in zip(peaks, found, strict=True) if one.way == "culvert"]
    barrels = [one.barrels for _, one in pipes]
    assert barrels == sorted(barrels)
    assert set(barrels) == {1, 2, 3}
    area = [one.barrels * one.diameter_mm**2 for _, one in pipes]
    assert area == sorted(area)
    for peak, one in pipes:
        assert headwater_over_diameter(peak / one.barrels, one.diameter_mm / 1000) <= 1.0
    # the smallest: a size below would have water over its crown
    sizes = (300, 375, 450, 525, 600, 750, 900, 1050, 1200)
    for peak, one in pipes:
        at = sizes.index(one.diameter_mm)
        if at and one.barrels == 1:
            assert headwater_over_diameter(peak, sizes[at - 1] / 1000) > 0.98


def test_a_ford_is_what_three_of_the_largest_do_not_pass():
    most = 1.0  # flow of one pipe of 1.2 m with water at its crown, by the inlet
    while headwater_over_diameter(most, 1.2) < 1.0:
        most += 0.01
    assert crossing_of(2.9 * most, 0.01, 5.0).barrels == 3
    assert crossing_of(3.1 * most, 0.01, 5.0).way == "ford"
