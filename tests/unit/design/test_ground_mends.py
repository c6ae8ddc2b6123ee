"""Guesses for what water shows on the designed surface, each on ground whose answer is known."""

import json

import pytest
import shapely

from brimline.design import (
    DrawnDischarge,
    DrawnDrain,
    DrawnSwale,
    Followed,
    Plan,
    changed_plan,
    changes_of,
    designed,
    mends_on_ground,
    running_ground,
)

SITE = shapely.box(0, 0, 60, 80)


def test_a_drain_that_cuts_into_its_swale_is_begun_past_the_bank_and_ends_as_before(slope):
    """Drawn from the swale's own end, its bed 0.3 m down, it empties the swale below its sill."""
    swale = DrawnSwale("Swale", shapely.LineString([(10, 50), (30, 50)]), "trapezoid", 0.4, 0.6,
                       2.5, 2.0, 0.15, spills_to="Drain")  # fmt: skip
    line = shapely.LineString([(30, 50), (30, 20)])
    drain = DrawnDrain("Drain", line, 0.3, 0.4, 1.5, "short-grass", "silt-loam", 0.1,
                       spills_to="Brook")  # fmt: skip
    end = DrawnDischarge("Brook", shapely.Point(30, 18))
    plan = Plan(swales=(swale,), drains=(drain,), discharges=(end,))
    done = designed(plan, slope.standing, slope.survey, slope.storms, slope.rules)
    running = running_ground(
        done.design.placed, plan.discharges, slope.survey.directions, slope.grid
    )
    way = shapely.LineString([(20, 50), (30, 50), (30, 40)])
    followed = [
        Followed("Swale", frozenset({"leaks"}), "Drain", "Drain", -0.2, way, shapely.Point(30, 49))
    ]
    rows = mends_on_ground(
        done.design, followed, [("Swale", "leaks")], running, slope.standing, SITE
    )
    first = rows[0]
    assert first["dimension"] == "beginning of Drain"
    change, led = json.loads(first["change"])
    begun = shapely.from_wkt(change["shape_wkt"])
    element = done.design.network.element("Swale")
    # past the crest and both batters of its mound, and the rest of the line as it was drawn
    assert begun.distance(swale.shape) > 2
    assert line.buffer(1e-6).contains(begun)
    assert begun.coords[-1] == line.coords[-1]
    values = change["values"]
    ground_m = slope.standing.level_at(shapely.Point(begun.coords[0]))
    head_m = ground_m - values["depth_m"]
    assert head_m < element.spill_level_m
    was = done.design.network.element("Drain").shape
    foot_m = head_m - values["fall_pct"] / 100 * begun.length
    assert foot_m == pytest.approx(was.to_level_m, abs=0.01)
    assert led["values"] == {"from_id": "Swale", "to_id": "Drain"}
    # where nothing else does, the swale spills over its sill and no drain is dug
    last = rows[-1]
    assert last["text"] == "leave Drain out: Swale spills over its sill to Brook"
    without = changed_plan(plan, changes_of(last["change"]), {})
    assert without.drains == ()
    assert without.swales[0].spills_to == "Brook"
