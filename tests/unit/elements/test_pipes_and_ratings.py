"""Pipes by FHWA HDS-5, orifices, ratings."""

import math
from dataclasses import replace

import numpy as np
import pytest

from brimline.elements import Drain, Orifice, Pipe, Rating, flow_m3_s
from brimline.elements.pipe import INLETS, NOMINAL_MM, smallest_pipe
from brimline.errors import GridError

PIPE = Pipe(10.0, 9.5, 0.3, 25.0)


def test_full_flow_by_manning():
    # D 0.30 m, n 0.013, S 0.01: Q = π/4 D² (D/4)^(2/3) √S/n = 0.0967 m³/s
    assert Pipe(10.0, 9.0, 0.3, 100.0).full_flow_m3_s() == pytest.approx(0.0967, abs=5e-5)


def test_inlet_constants():
    # FHWA HDS-5 (2012), table A.1, circular: K, M, c, Y of square edge with headwall (concrete)
    # and of headwall, mitred and projecting (corrugated metal), as reprinted by several tools
    rows = {
        "concrete-headwall": (0.0098, 2.0, 0.0398, 0.67),
        "concrete-groove-headwall": (0.0018, 2.0, 0.0292, 0.74),
        "concrete-groove-projecting": (0.0045, 2.0, 0.0317, 0.69),
        "corrugated-headwall": (0.0078, 2.0, 0.0379, 0.69),
        "corrugated-mitred": (0.0210, 1.33, 0.0463, 0.75),
        "corrugated-projecting": (0.0340, 1.50, 0.0553, 0.54),
    }
    assert {name: (law.k, law.m, law.c, law.y) for name, law in INLETS.items()} == rows


def test_submerged_inlet_by_hand():
    # HW/D = c x² + Y - 0.5 S; x = 1.811 Q/(A √D). A steep pipe is held back by its inlet.
    pipe = Pipe(10.0, 8.0, 0.3, 20.0)
    x = 5.0
    flow = x * pipe.area_m2 * math.sqrt(0.3) / 1.811
    head = 0.3 * (0.0398 * x**2 + 0.67 - 0.5 * 0.1)
    assert pipe.capacity_m3_s(10.0 + head) == pytest.approx(flow, rel=2e-3)


def test_open_inlet_by_hand():
    # critical depth of a half-full pipe: Q² = g A³/T with A = πD²/8, T = D; Hc = D/2 + A/(2T)
    pipe = Pipe(10.0, 8.0, 0.4, 40.0)
    area, width = math.pi * 0.4**2 / 8, 0.4
    flow = math.sqrt(9.81 * area**3 / width)
    x = 1.811 * flow / (math.pi * 0.04 * math.sqrt(0.4))
    assert x < 3.5
    correction = max(0.0098 * x**2 - 0.5 * 0.05, 0.0)
    head = 0.2 + area / (2 * width) + 0.4 * correction
    assert pipe.capacity_m3_s(10.0 + head) == pytest.approx(flow, rel=5e-3)


def test_full_barrel_by_hand():
    # a long flat pipe is held back by its barrel: HW = h_o + losses V²/2g - fall
    pipe = Pipe(10.0, 9.95, 0.3, 80.0, roughness=0.024, inlet="corrugated-projecting")
    radius = 0.075
    losses = 1 + 0.9 + 19.63 * 0.024**2 * 80 / radius**1.33
    assert pipe.losses == pytest.approx(losses)
    level, tail = 11.2, 10.6
    expected = pipe.area_m2 * math.sqrt(2 * 9.81 * (level - tail) / losses)
    assert pipe.capacity_m3_s(level, tail) == pytest.approx(expected)


def test_the_lesser_of_inlet_and_barrel_rules():
    steep, flat = Pipe(10.0, 8.0, 0.3, 40.0), Pipe(10.0, 9.99, 0.3, 40.0)
    for head in (0.3, 0.6, 1.5):
        assert flat.capacity_m3_s(10 + head) < steep.capacity_m3_s(10 + head)


def test_flow_rises_with_head_and_falls_with_tail():
    levels = np.linspace(9.0, 13.0, 161)
    for tail in (9.0, 9.9, 10.5):
        flows = [PIPE.capacity_m3_s(float(level), tail) for level in levels]
        assert (np.diff(flows) >= -1e-12).all()
    for level in (10.2, 11.5):
        flows = [PIPE.capacity_m3_s(level, float(tail)) for tail in levels]
        assert (np.diff(flows) <= 1e-12).all()


def test_pipe_runs_back_when_the_level_beyond_is_higher():
    assert PIPE.capacity_m3_s(10.1, 11.0) < 0
    assert PIPE.capacity_m3_s(10.5, 10.5) == 0


def test_orifice_by_hand():
    # Cd A √(2 g h), Cd 0.61 (common practice), head to the centre
    orifice = Orifice(1.0, 0.1)
    expected = 0.61 * math.pi * 0.01 / 4 * math.sqrt(2 * 9.81 * 0.45)
    assert flow_m3_s(orifice, 1.5) == pytest.approx(expected, rel=2e-3)


def test_drowned_orifice_feels_the_difference_of_levels():
    expected = 0.61 * math.pi * 0.01 / 4 * math.sqrt(2 * 9.81 * 0.2)
    assert flow_m3_s(Orifice(1.0, 0.1), 1.8, 1.6) == pytest.approx(expected)


def test_smallest_stocked_pipe():
    needed = smallest_pipe(PIPE, 0.2, 11.0)
    assert needed is not None
    size = round(needed.diameter_m * 1000)
    assert size in NOMINAL_MM
    below = NOMINAL_MM[NOMINAL_MM.index(size) - 1]
    assert needed.capacity_m3_s(11.0) >= 0.2
    assert replace(PIPE, diameter_m=below / 1000).capacity_m3_s(11.0) < 0.2
    assert smallest_pipe(PIPE, 1e6, 11.0) is None


def test_raising_moves_the_inlet_only():
    raised = PIPE.raised(0.2)
    assert (raised.crest_m, raised.outlet_m) == (10.2, 9.5)
    assert PIPE.raised(-1.0).outlet_m == 9.0  # never above the inlet


def test_rating_is_read_straight_and_drowned_over_its_outlet():
    rating = Rating(5.0, np.array([0.0, 1.0]), np.array([0.0, 2.0]), outlet_m=4.0)
    assert flow_m3_s(rating, 5.25) == pytest.approx(0.5)
    assert flow_m3_s(rating, 7.0) == pytest.approx(4.0)
    # the surface falls 1 m with the bed: free while the level beyond leaves it that much
    assert flow_m3_s(rating, 5.5, 4.5) == pytest.approx(1.0)
    # half the fall left: Q goes with the root of the slope (Manning)
    assert flow_m3_s(rating, 5.5, 5.0) == pytest.approx(math.sqrt(0.5))
    level = Rating(5.0, np.array([0.0, 1.0]), np.array([0.0, 2.0]))
    assert flow_m3_s(level, 5.5, 5.25) == pytest.approx((1 - 0.5**1.5) ** 0.385)
    assert flow_m3_s(rating, 5.5, 9.0) == 0.0


@pytest.mark.parametrize(
    ("heads", "flows"),
    [([0.0, 1.0], [0.0, 1.0, 2.0]), ([0.1, 1.0], [0.0, 1.0]), ([0.0, 1.0], [0.0, -1.0])],
)
def test_impossible_ratings_are_refused(heads, flows):
    with pytest.raises(GridError):
        Rating(0.0, np.array(heads), np.array(flows))


@pytest.mark.parametrize(
    ("make", "says"),
    [
        (lambda: Pipe(1.0, 2.0, 0.1, 5.0), "above its inlet"),
        (lambda: Pipe(1.0, 0.5, 0.0, 5.0), "diameter"),
        (lambda: Pipe(1.0, 0.5, 0.1, 5.0, inlet="trumpet"), "inlet"),
        (lambda: Orifice(1.0, -0.1), "diameter"),
    ],
)
def test_impossible_pipes_are_refused(make, says):
    with pytest.raises(ValueError, match=says):
        make()


def test_a_drain_backed_up_never_gives_more_for_a_higher_level_beyond():
    outlet = Drain("d", 100.0, 99.6, 100.0).outlet()
    beyond = np.linspace(99.0, 100.4, 281)
    flows = [flow_m3_s(outlet, 100.25, float(level)) for level in beyond]
    assert (np.diff(flows) <= 1e-12).all()
    assert flows[0] == pytest.approx(flow_m3_s(outlet, 100.25))
    assert flows[-1] == 0.0  # the levels have met
    above = [flow_m3_s(outlet, float(level), 100.1) for level in np.linspace(100.0, 100.5, 201)]
    assert (np.diff(above) >= -1e-12).all()


def test_a_barrel_that_runs_part_full_follows_the_head_to_the_power_of_three_halves():
    # below a headwater of 0.75 D the full-barrel law is not trusted (HDS-5, chapter 3)
    pipe = Pipe(10.0, 9.95, 0.3, 80.0, roughness=0.024, inlet="corrugated-projecting")
    whole = pipe.capacity_m3_s(10.0 + 0.75 * 0.3)
    assert pipe.capacity_m3_s(10.0 + 0.5 * 0.75 * 0.3) == pytest.approx(0.5**1.5 * whole, rel=0.01)


def test_water_beyond_an_orifice_counts_from_its_crest():
    assert Orifice(1.0, 0.1).row().tail_m == 1.0


def test_an_orifice_that_is_not_covered_follows_the_head_to_the_power_of_three_halves():
    # joined to the full flow at a head of one diameter: Cd A sqrt(2 g D / 2)
    row = Orifice(1.0, 0.1, discharge_coefficient=0.6).row()
    full = 0.6 * math.pi * 0.1**2 / 4 * math.sqrt(9.81 * 0.1)
    assert np.interp(0.1, row.heads_m, row.flows_m3_s) == pytest.approx(full, rel=1e-6)
    assert np.interp(0.05, row.heads_m, row.flows_m3_s) == pytest.approx(full * 0.5**1.5, rel=1e-6)


def test_an_orifice_without_losses_is_taken():
    assert Orifice(1.0, 0.1, discharge_coefficient=1.0).discharge_coefficient == 1.0
