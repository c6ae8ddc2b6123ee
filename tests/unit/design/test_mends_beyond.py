"""What would hold an element in a storm greater than those of the run."""

from dataclasses import replace

import pytest
import shapely

from brimline.cascade import Finding, judge, route, told_tries
from brimline.design import (
    DrawnDischarge,
    DrawnSwale,
    Plan,
    changed_plan,
    changes_of,
    designed,
    mends_beyond,
)
from brimline.rainfall import Storm, uniform

GREAT = Storm("100-year", 300.0, uniform(300.0, 2.0, step_s=300.0), 100.0)


def made(slope, plan):
    return designed(plan, slope.standing, slope.survey, slope.storms, slope.rules).design


def great(design):
    """Route it as greater storms are: in joined steps, for some hours after the rain."""
    inflow = design.arrivals.of(GREAT, 60.0).thinned()
    return route(design.network, inflow, design.pace.brief())


def overtopped(routed):
    return {one.element_id for one in judge(routed) if one.flag == "overtopped"}


@pytest.fixture
def plan(slope):
    line = shapely.LineString([(12, 40), (30, 40.3), (48, 40)])
    swale = DrawnSwale("Swale", line, "trapezoid", 0.4, 0.6, 2.5, 2.0, 0.15, sill_width_m=0.05)
    end = DrawnDischarge("Brook", shapely.Point(30, 4))
    return Plan(swales=(swale,), discharges=(end,))


def test_each_change_that_is_told_holds_the_element_in_that_storm(slope, plan):
    design = made(slope, plan)
    assert overtopped(great(design)) == {"Swale"}

    def after(row):
        return made(slope, changed_plan(plan, changes_of(row["change"]), {}))

    rows, why = mends_beyond(
        design,
        [great(design)],
        ["Swale"],
        slope.rules,
        lambda row: not overtopped(great(after(row))),
    )
    assert len(rows) >= 2
    assert why == {}
    assert {row["code"] for row in rows} == {"fails-beyond"}
    assert {row["storm"] for row in rows} == {"100-year"}
    widened = next(row for row in rows if row["dimension"] == "sill width")
    assert f"to {widened['value_mended']:.1f} m" in widened["text"]
    for row in rows:
        assert overtopped(great(after(row))) == set(), row["text"]
    # no least change is told that is more than it takes
    less = replace(plan.swales[0], sill_width_m=widened["value_mended"] - 0.1)
    assert overtopped(great(made(slope, replace(plan, swales=(less,))))) == {"Swale"}


def test_where_none_holds_it_is_said_what_was_tried_and_how_far(slope, plan):
    """A swale that may neither be widened at its sill nor raised, its bottom nearly its sill."""
    limits = replace(slope.rules.limits, largest_sill_m=0.01, highest_raise_m=0.01)
    rules = replace(slope.rules, limits=limits)
    shallow = replace(plan.swales[0], depth_m=0.05)
    design = made(slope, replace(plan, swales=(shallow,)))
    routed = great(design)
    rows, why = mends_beyond(design, [routed], ["Swale"], rules, lambda _: True)
    tried = told_tries(routed, Finding("overtopped", "Swale", ""), limits)
    assert "the sill width of Swale of 0.1 m" in tried
    assert "the crest level of Swale 0.01 m higher" in tried
    assert rows == []
    assert why["Swale"].startswith("in the 100-year storm water peaks at")
    assert tried in why["Swale"]
