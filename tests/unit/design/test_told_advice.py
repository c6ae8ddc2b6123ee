"""Advice in words and money."""

from types import SimpleNamespace

import pytest

from brimline.design import Advice, Outcome, cost_of, effect_told, held_by, why_none

PRICES = {"cut": 5.0, "fill": 4.0, "sill_stone": 60.0, "pipe": None}
LEAKS = ("A", "leaks")


def mend(**columns):
    return {"cut_m3": 0.0, "fill_m3": 0.0, "brings": None, "clears": 1, "cost": None,
            "raises_id": None, "raises_m": 0.0} | columns  # fmt: skip


@pytest.mark.parametrize(
    ("row", "cost"),
    [
        # 2 m³ dug at 5, 1.5 m³ less heaped at 4, 0.25 m³ of stone at 60
        ({"cut_m3": 2.0, "fill_m3": -1.5, "fittings": {"sill_stone": 0.25}}, 10.0 - 6.0 + 15.0),
        ({"cut_m3": -2.0, "fill_m3": 0.0, "fittings": {}}, -10.0),
        # what changes by nothing needs no price, what changes does
        ({"cut_m3": 1.0, "fill_m3": 0.0, "fittings": {"pipe": 0.0}}, 5.0),
        ({"cut_m3": 1.0, "fill_m3": 0.0, "fittings": {"pipe": 3.0}}, None),
        # one that was not dug has no amounts
        ({"cut_m3": None, "fill_m3": None}, None),
    ],
)
def test_a_mend_costs_its_earth_and_fittings_at_their_prices(row, cost):
    assert cost_of(dict(row), PRICES) == {"cost": pytest.approx(cost) if cost else cost}


def test_what_following_does_is_told_without_signs():
    told = effect_told(
        mend(clears=3, cut_m3=1.26, fill_m3=-0.4, cost=-1250.0, raises_id="B", raises_m=0.031)
    )
    assert told == (
        "clears 2 other findings too; brings none; 1.3 m³ more dug; 0.4 m³ less heaped up; costs"
        " 1,250 less; raises the water of B by 0.03 m"
    )


def advice(in_vain, *left):
    last = SimpleNamespace(outcome=Outcome(dict.fromkeys(left, "wrong"), 0.0, 0.0))
    return Advice((), in_vain, last)


def test_why_there_is_no_mend_is_told_by_what_came_of_those_tried():
    gone = why_none(LEAKS, advice({}), [], "look")
    assert gone == "gone with what is advised for other findings"
    worse = why_none(LEAKS, advice({}, LEAKS), [mend(proved="no", brings="uphill of B")], "look")
    assert worse == "what takes it away brings uphill of B"
    vain = why_none(LEAKS, advice({LEAKS: 7}, LEAKS), [], "look")
    assert vain.startswith("7 changes were dug and followed")
    nothing = why_none(LEAKS, advice({}, LEAKS), [], "Walk the line.")
    assert nothing == "by hand: walk the line."


def test_what_holds_in_a_greater_storm_is_named_with_its_mend():
    rows = [
        {"storm": "100-year", "text": "widen the sill of A to 0.9 m", "mend_id": "m1"},
        {"storm": "100-year", "text": "raise the crest of A by 0.10 m to 9.10 m", "mend_id": "m2"},
    ]
    told = held_by(rows)
    assert "in the 100-year storm" in told
    assert "if you widen the sill of A to 0.9 m (m1); or raise the crest of A by 0.10 m" in told
