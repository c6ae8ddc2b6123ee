"""The order of building and the bill of quantities, by hand and for any network."""

import networkx as nx
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from brimline.elements.building import (
    Quantity,
    Way,
    bill,
    build_order,
    earth_quantities,
    sill_quantities,
    total_cost,
)
from brimline.terrain.earthwork import Earth, Soil, Stockpile, Work, balanced


def told(steps):
    return [(step.action, step.element_id, step.to_id) for step in steps]


def test_outlets_first_then_from_the_top_down_and_overflows_when_both_ends_are_built():
    levels = {"low": 90.0, "high": 100.0, "side": 95.0}
    ways = [Way("high", "low"), Way("side", "low"), Way("low", "brook")]
    assert told(build_order(levels, ways)) == [
        ("make safe", "brook", ""),
        ("dig", "high", ""),
        ("dig", "side", ""),
        ("dig", "low", ""),
        ("open overflow", "high", "low"),
        ("open overflow", "side", "low"),
        ("open overflow", "low", "brook"),
    ]


def test_what_feeds_comes_before_what_merely_lies_higher():
    # "fed" lies highest by its level but takes water from "feeder": uphill links are flagged
    # elsewhere, here the water decides.
    steps = build_order({"fed": 100.0, "feeder": 99.0}, [Way("feeder", "fed")])
    assert [step.element_id for step in steps if step.action == "dig"] == ["feeder", "fed"]


def test_a_ring_is_told_and_what_lies_below_it_waits():
    levels = {"a": 3.0, "b": 2.0, "c": 1.0, "top": 5.0}
    ways = [Way("a", "b"), Way("b", "a"), Way("b", "c"), Way("top", "a"), Way("c", "")]
    steps = build_order(levels, ways)
    assert [step.element_id for step in steps if step.action == "dig"] == ["top", "a", "b", "c"]
    assert {step.element_id for step in steps if step.in_ring} == {"a", "b"}
    assert ("open overflow", "b", "a") in told(steps)
    assert len(steps) == 4 + 4


@settings(deadline=None, max_examples=100)
@given(st.integers(0, 100_000))
def test_nothing_is_led_to_what_is_not_built(seed):
    """Each element is dug once, after all that feeds it; overflows open after both their ends."""
    rng = np.random.default_rng(seed)
    count = int(rng.integers(1, 9))
    levels = {f"e{k}": float(rng.uniform(0, 10)) for k in range(count)}
    targets = [*levels, "out", ""]
    ways = [Way(name, targets[rng.integers(len(targets))]) for name in levels for _ in range(2)]
    steps = build_order(levels, ways)
    digs = [step.element_id for step in steps if step.action == "dig"]
    assert sorted(digs) == sorted(levels)
    assert [step.number for step in steps] == list(range(1, len(steps) + 1))
    done = {step.element_id: step.number for step in steps if step.action != "open overflow"}
    for step in steps:
        if step.action == "open overflow":
            assert done[step.element_id] < step.number
            assert done[step.to_id] < step.number
    opened = {(step.element_id, step.to_id) for step in steps if step.action == "open overflow"}
    assert opened == {(way.from_id, way.to_id) for way in ways if way.to_id}
    graph = nx.DiGraph([(way.from_id, way.to_id) for way in ways if way.to_id in levels])
    for feeder, fed in graph.edges:
        if not nx.has_path(graph, fed, feeder):
            assert done[feeder] < done[fed]
    rings = {name for group in nx.strongly_connected_components(graph) for name in group
             if len(group) > 1 or graph.has_edge(name, name)}  # fmt: skip
    assert {step.element_id for step in steps if step.in_ring and step.action == "dig"} == rings


def test_a_bill_by_hand():
    soil = Soil(loose_per_bank=1.25, compacted_per_bank=0.8, topsoil_m=0.1, respread_m=0.05)
    earth = Earth(cut_m3=60, fill_m3=20, cut_m2=100, fill_m2=40)
    done = balanced([Work("s1", earth)], soil, [Stockpile("heap", (30, 40))])
    found = earth_quantities("s1", earth, done.needs["s1"], soil, done.hauls)
    amounts = {quantity.item: quantity.amount for quantity in found}
    # strip 0.1 × 140; dig 60 - 10; fill 20 + 4 - 2; 50 dug less 22/0.8 used, times 1.25
    assert amounts == pytest.approx({
        "strip": 14, "cut": 50, "fill": 22, "haul": 22.5 * 1.25, "respread": 2, "seed": 140,
        "mulch": 140,
    })  # fmt: skip
    stone = sill_quantities("s1", 2.0, 3.0, 0.3, side=2.0, height_m=0.25)
    assert stone[1].amount == pytest.approx((2 + 0.5 * np.sqrt(5)) * 3)
    assert stone[0].amount == pytest.approx(stone[1].amount * 0.3)
    rows = bill([*stone, *found], {"cut": 4.0, "haul": 3.0})
    assert [row.item for row in rows] == ["strip", "cut", "fill", "haul", "respread", "seed",
                                          "mulch", "sill_stone", "sill_cloth"]  # fmt: skip
    assert rows[1].cost == pytest.approx(200)
    assert rows[1].unit == "m³"
    assert rows[0].cost is None
    assert total_cost(rows) == (pytest.approx(200 + 84.375), 7)


def test_a_bill_runs_in_the_order_of_building_and_adds_up_what_is_alike():
    steps = build_order({"b": 2.0, "a": 1.0}, [Way("b", "a"), Way("a", "brook")])
    rows = bill(
        [
            Quantity("a", "pipe", 5.0, "150 mm"),
            Quantity("a", "pipe", 2.0, "100 mm"),
            Quantity("a", "pipe", 3.0, "150 mm"),
            Quantity("brook", "sill_stone", 1.0),
            Quantity("b", "cut", 7.0),
            Quantity("elsewhere", "cut", 1.0),
        ],
        {},
        steps,
    )
    assert [(row.step, row.element_id, row.note, row.amount) for row in rows] == [
        (1, "brook", "", 1.0),
        (2, "b", "", 7.0),
        (3, "a", "100 mm", 2.0),
        (3, "a", "150 mm", 8.0),
        (0, "elsewhere", "", 1.0),
    ]


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: build_order({"a": 1.0}, [Way("b", "a")]), "'b', which is not an element"),
        (lambda: Quantity("a", "gold", 1.0), "not an item of the bill"),
        (lambda: Quantity("a", "cut", -1.0), "must be 0 or more, got -1.0"),
        (lambda: bill([], {"gold": 1.0}), "not an item of the bill"),
        (lambda: bill([], {"cut": -1.0}), "rate of cut must be 0 or more"),
        (lambda: sill_quantities("a", -1.0, 1.0, 1.0), "0 m or more"),
    ],
)
def test_unusable_requests_are_refused(call, message):
    with pytest.raises(ValueError, match=message):
        call()
