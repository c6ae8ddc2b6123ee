"""A design in other worlds, against closed forms."""

import math
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from brimline.cascade import Network, Pace
from brimline.choose.choice import COST, KEPT, PER_KEPT, Tried, leader, shares_best, turns
from brimline.choose.sensitivity import (
    CATCHMENT,
    CURVE,
    EARTH,
    NINE_IN_TEN,
    RAIN,
    SOAKAGE,
    OtherWorld,
    Priced,
    Ranges,
    price_of,
    together,
)
from brimline.design import Arrivals, ElementCatchment
from brimline.elements import Tank
from brimline.rainfall import MixedGround, Storm

TANK_M3, GROUND_M2, RAIN_MM = 46.0, 1000.0, 100.0  # 40 m³ to the overflow, 6 to the lid


def world(curve_number: float = 100.0, **ranges) -> OtherWorld:
    """A tank that holds 46 m³ of what a storm sheds from 1000 m² of ground."""
    tank = Tank("tank", 0.0, 40.0, 2.0, start_share=0.0).element()
    ground = ElementCatchment(MixedGround((curve_number,), (GROUND_M2,)), 0.1)
    arrivals = Arrivals({"tank": ground}, {}, (), {"tank": 0.0}, {})
    design = SimpleNamespace(
        network=Network((tank,), ()), arrivals=arrivals, pace=Pace(after_h=6.0)
    )
    storm = Storm("storm", 600.0, np.full(12, RAIN_MM / 12))
    priced = Priced({"cut": (40.0, 5.0), "fill": (10.0, 4.0), "tank": (1.0, 300.0)}, 50.0)
    return OtherWorld(design, storm, priced, Ranges(**ranges))


def test_the_world_as_it_was_taken():
    """All rain runs off at curve number 100: 100 m³, of which the tank holds 46."""
    base = world().base
    assert base.kept_m3 == pytest.approx(TANK_M3, rel=0.01)
    assert base.kept_pct == pytest.approx(46.0, rel=0.01)
    assert base.cost == 40 * 5 + 10 * 4 + 300
    assert base.cost_per_kept == pytest.approx(540 / 46, rel=0.01)


def test_more_rain_is_kept_less_of():
    found = {one.factor: one for one in world(rain_share=0.25).one_at_a_time()}
    assert found[RAIN].low_at == pytest.approx(0.8)
    assert found[RAIN].low.kept_pct == pytest.approx(100 * TANK_M3 / 80, rel=0.01)
    assert found[RAIN].high.kept_pct == pytest.approx(100 * TANK_M3 / 125, rel=0.01)
    assert found[SOAKAGE].high.kept_pct - found[SOAKAGE].low.kept_pct == pytest.approx(
        0.0, abs=1e-6
    )  # a tank leaks nothing


def test_a_curve_number_moves_runoff_by_the_book():
    """NEH 630 ch. 10: Q = (P - 0.2 S)² / (P + 0.8 S), S = 25400 / CN - 254 mm."""
    asked = world(curve_number=60.0)
    for errors, number in ((-NINE_IN_TEN, 55.0), (NINE_IN_TEN, 65.0)):
        s_mm = 25400 / number - 254
        runoff_m3 = (RAIN_MM - 0.2 * s_mm) ** 2 / (RAIN_MM + 0.8 * s_mm) * GROUND_M2 / 1000
        found = asked.outcome({CURVE: errors})
        assert found.kept_m3 == pytest.approx(min(runoff_m3, TANK_M3), rel=0.01)


def test_catchments_reach_the_ends_of_their_ranges():
    asked = world(catchments={"tank": (0.5, 1.6)})
    low, high = (asked.outcome({CATCHMENT: side * NINE_IN_TEN}) for side in (-1, 1))
    assert low.kept_pct == pytest.approx(100 * TANK_M3 / 50, rel=0.01)
    assert high.kept_pct == pytest.approx(100 * TANK_M3 / 160, rel=0.01)


def test_earth_and_prices_move_the_cost_alone():
    asked = world(earth_m3=(2.0, 1.0), price_share=0.5)
    off = NINE_IN_TEN * (2.0 * 5 + 1.0 * 4)
    earth = asked.outcome({EARTH: NINE_IN_TEN})
    assert earth.cost - asked.base.cost == pytest.approx(off)
    assert earth.earth_m3 - 50.0 == pytest.approx(3 * NINE_IN_TEN)
    found = {one.factor: one for one in asked.one_at_a_time()}
    cut = found[price_of("cut")]
    assert (cut.low.cost, cut.high.cost) == pytest.approx((540 - 200 / 3, 640))
    assert cut.high.kept_m3 == asked.base.kept_m3


def test_together_is_the_sum_of_what_is_normal():
    """Curve, rain and soakage still: a sum of earth errors alone has a known 90 % range."""
    asked = world(earth_m3=(2.0, 0.0), rain_share=1e-9, price_share=1e-9)
    drawn = asked.drawn(400, 1)
    effect = together(drawn)
    assert effect.high.cost - effect.low.cost == pytest.approx(2 * NINE_IN_TEN * 10, rel=0.03)
    assert asked.drawn(8, 1) == asked.drawn(8, 1)


def test_draws_of_two_designs_are_of_the_same_worlds():
    one = replace(world(), priced=Priced({"cut": (40.0, 5.0), "fill": (9.0, 4.0)}, 40.0))
    other = replace(one, priced=Priced({"cut": (80.0, 5.0)}, 80.0))
    for mine, theirs in zip(one.drawn(16, 3), other.drawn(16, 3), strict=True):
        assert mine.kept_m3 == theirs.kept_m3
        # cut is off by one factor in both; what is left is fill, within a few of its errors
        assert 4.0 * 9 / 2 < mine.cost - theirs.cost / 2 < 4.0 * 9 * 2


def tried(base, kept=100.0, items=None, ends=None, drawn=()):
    return Tried(base, ends or {}, items or {}, kept, drawn)


def test_the_price_at_which_two_designs_are_alike():
    """A: 100 m³ at 5 and 500 besides; B: 40 m³ at 5 and 900: alike at 400 / 60 = 6.67."""
    ends = {"price: cut": (0.8, 1.25, 0.0, 0.0)}
    both = {
        "A": tried(1000.0, items={"cut": (100.0, 5.0)}, ends=ends),
        "B": tried(1100.0, items={"cut": (40.0, 5.0)}, ends=ends),
    }
    assert leader(COST, both) == "A"
    (turn,) = turns(COST, both)
    assert (turn.leads, turn.then) == ("A", "B")
    assert turn.at * 5.0 == pytest.approx(400 / 60)
    # for each cubic metre kept: (500 + 100 p) / 100 = (900 + 40 p) / 120 at p = 3.75
    both["B"] = replace(both["B"], base=1100.0 / 120, kept_m3=120.0)
    both["A"] = replace(both["A"], base=1000.0 / 100)
    assert leader(PER_KEPT, both) == "B"
    (turn,) = turns(PER_KEPT, both)
    assert turn.at * 5.0 == pytest.approx(3.75)


def test_what_changes_the_lead_lies_within_the_range():
    both = {
        "A": tried(60.0, ends={"rain": (0.8, 1.2, 90.0, 40.0), "soakage": (0.5, 2.0, 59.0, 61.0)}),
        "B": tried(50.0, ends={"rain": (0.8, 1.2, 60.0, 45.0), "soakage": (0.5, 2.0, 49.0, 51.0)}),
    }
    (turn,) = turns(KEPT, both)
    # A leads by 10 at 1.0 and trails by 5 at 1.2: alike two thirds of the way
    assert (turn.factor, turn.then) == ("rain", "B")
    assert turn.at == pytest.approx(1 + 0.2 * 10 / 15)
    assert turns(KEPT, {"A": both["A"]}) == []
    assert leader(COST, both | {"C": tried(math.nan)}) == ""


def test_shares_of_worlds():
    both = {
        "A": tried(1.0, drawn=(1.0, 2.0, 3.0, 9.0)),
        "B": tried(2.0, drawn=(2.0, 3.0, 4.0, 5.0)),
    }
    assert shares_best(COST, both) == {"A": 0.75, "B": 0.25}
    assert shares_best(KEPT, both) == {"A": 0.25, "B": 0.75}


def test_designs_that_are_alike_lead_nowhere():
    same = {"A": tried(40.0, drawn=(40.0, 30.0)), "B": tried(40.0, drawn=(40.0, 29.0))}
    assert leader(KEPT, same) == ""
    assert turns(KEPT, same) == []
    assert shares_best(KEPT, same) == {"A": 0.5, "B": 0.0}
