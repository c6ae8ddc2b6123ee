"""A drawn plan becomes one frozen design, which the engine hands on as it is."""

import math
from dataclasses import replace

import numpy as np
import pytest
import shapely

from brimline import design as face
from brimline.cascade import route
from brimline.design import (
    Design,
    DrawnDischarge,
    DrawnDrain,
    DrawnPad,
    DrawnPipe,
    DrawnPond,
    DrawnSwale,
    DrawnTank,
    Plan,
    designed,
    designed_ground,
)
from brimline.elements.building import Building
from brimline.errors import InputError
from brimline.io.values import value_bytes, value_of

SWALE = DrawnSwale(
    "Upper", shapely.LineString([(55, 60), (30, 60)]), "trapezoid", 0.4, 0.6, 2.5, 2.0, 0.15
)
POND = DrawnPond(
    "Pond",
    shapely.Point(30, 30).buffer(8),
    1.5,
    3.0,
    1.0,
    0.0,
    1.0,
    0.3,
    6.0,
    "bank",
    sill_width_m=2.0,
)
DRAIN = DrawnDrain(
    "Drain", shapely.LineString([(45, 20), (55, 10)]), 0.4, 0.5, 2.0, "short-grass", "firm-loam",
    0.1,
)  # fmt: skip
TANK = DrawnTank(
    "Tank", shapely.Point(5, 5), 10.0, 2.0, 100.0, 1.0, 0.5, 0.1, 1.0, empty=("overflow_mm",)
)
PIPE = DrawnPipe(
    "Outlet",
    shapely.LineString([(30, 24), (30, 12)]),
    150.0,
    0.013,
    0.1,
    0.3,
    empty=("diameter_mm",),
)
CREEK = DrawnDischarge("Creek", shapely.Point(30, 4))
PLAN = Plan((SWALE,), (DRAIN,), (POND,), (), (TANK,), (PIPE,), (), (CREEK,))


def made(slope, plan=PLAN):
    return designed(plan, slope.standing, slope.survey, slope.storms, slope.rules)


@pytest.fixture(scope="module")
def whole(slope):
    return made(slope)


def test_every_row_is_an_element_in_the_order_of_the_plan(whole):
    assert whole.design.names == ("Upper", "Drain", "Pond", "Tank")
    assert [one.name for one in whole.design.placed] == ["Upper", "Drain", "Pond", "Tank"]
    assert whole.design.discharges[0].discharge_id == "Creek"


def test_water_goes_where_the_ground_leads(whole):
    assert whole.design.on_ground["Upper"] == "Pond"
    assert whole.design.network.spills_to("Upper") == "Pond"


def test_what_was_drawn_stays_and_what_was_left_open_is_sized(whole):
    pipe = next(link.outlet for link in whole.design.links if link.from_id == "Pond")
    assert pipe.diameter_m != pytest.approx(0.15, abs=1e-9)  # a size for the peak, not the first
    sill = next(link.outlet for link in whole.design.links if link.from_id == "Upper")
    assert sill.width_m > 0


def test_a_design_comes_back_from_its_bytes_whole(whole):
    content = value_bytes(whole.design)
    back = value_of(content)
    assert isinstance(back, Design)
    assert value_bytes(back) == content
    inflow, pace = whole.inflows[0], whole.design.pace
    one, other = route(whole.design.network, inflow, pace), route(back.network, inflow, pace)
    assert np.array_equal(one.elements.peak_level_m, other.elements.peak_level_m)
    assert back.shape_of("Pond").equals(POND.shape)


def test_the_same_plan_gives_the_same_bytes(slope, whole):
    assert value_bytes(made(slope).design) == value_bytes(whole.design)


def test_the_same_arrivals_give_the_same_inflow_again(whole, slope):
    again = whole.design.arrivals.of(slope.storms[0], 60.0)
    for name, flow in whole.inflows[0].mean_m3_s.items():
        assert np.array_equal(again.mean_m3_s[name], flow)


def test_a_row_that_cannot_be_made_is_told_and_keeps_its_name(slope):
    found = made(slope, replace(PLAN, drains=(replace(DRAIN, lining="velvet"),)))
    assert "Drain" in found.design.names
    assert "Drain" not in found.design.network.index
    assert any("lining must be one of" in problem.message for problem in found.problems)


def test_a_name_that_stands_twice_is_refused(slope):
    with pytest.raises(InputError, match="its own name"):
        made(slope, replace(PLAN, ponds=(POND, POND)))


def test_a_plan_of_nothing_is_a_design_of_nothing(slope):
    found = made(slope, Plan())
    assert (found.design.names, found.first, found.inflows) == ((), None, ())
    assert value_of(value_bytes(found.design)).network.elements == ()


def test_the_designed_ground_is_dug_where_elements_are_and_nowhere_else(whole, slope):
    pad = DrawnPad("Yard", shapely.box(2, 10, 10, 18), 0.0, 2.0)
    ground = designed_ground(
        whole.design, [pad], slope.dem, slope.grid, Building(returns_m=0.0), 40.0
    )
    assert ground.dug == ("Upper", "Drain", "Pond")
    assert ground.element("Yard") is None
    middle = ground.levels(np.array([30.0]), np.array([30.0]))[0]
    pond = whole.design.network.element("Pond")
    assert middle == pytest.approx(pond.spill_level_m - 1.5, abs=1e-6)
    far = np.array([58.0]), np.array([75.0])
    assert ground.levels(*far)[0] == ground.ground(*far)[0]


def test_the_face_hands_on_what_it_names_and_nothing_else():
    assert all(getattr(face, name) is not None for name in face.__all__)
    assert set(dir(face)) == set(face.__all__)
    with pytest.raises(AttributeError, match="no attribute 'nothing'"):
        _ = face.nothing


def test_open_numbers_are_nan():
    assert math.isnan(POND.spill_level_m)
    assert math.isnan(SWALE.level_m)
