"""Swales off level: judged by one surface, moved onto their level, or stepped in bays."""

import itertools
import json
from dataclasses import replace

import numpy as np
import pytest
import shapely

from brimline.design import (
    KEPT_SHARE,
    DrawnDischarge,
    DrawnPipe,
    DrawnSwale,
    DrawnTank,
    KeptClear,
    Plan,
    designed,
    mends_to_level,
    off_level,
    placed_elements,
)
from brimline.elements import Orifice, Pipe
from brimline.lines.level_lines import Drawing

SITE = shapely.box(0, 0, 60, 80)
TOLERANCE_M = 0.10


def swale(line, **columns):
    return DrawnSwale("Fence", line, "trapezoid", 0.4, 0.6, 2.5, 2.0, 0.15, **columns)


def placed(slope, line):
    return placed_elements([swale(line)], slope.standing, slope.rules.water)[0]


def mends(slope, line, kept_clear=()):
    one = placed(slope, line)
    findings = list(off_level(one, slope.standing.levels, slope.grid, TOLERANCE_M))
    drawing = Drawing(tolerance_m=TOLERANCE_M)
    marks = [(finding.element_id, finding.flag) for finding in findings]
    rows = mends_to_level(marks, one, slope.standing.levels, slope.grid, kept_clear, SITE, drawing)
    return findings, {row["dimension"]: row for row in rows}


def lines_of(row):
    return [shapely.from_wkt(change["shape_wkt"]) for change in json.loads(row["change"])]


def test_a_moved_line_keeps_its_length_and_is_never_flagged_itself(slope):
    """Drawn straight along a valley side that bends; 8 cm a metre."""
    line = shapely.LineString([(12, 40), (30, 36), (48, 40)])
    findings, found = mends(slope, line)
    assert [one.flag for one in findings] == ["off-level"]
    (moved,) = lines_of(found["line"])
    assert moved.length > 0.9 * line.length
    again, _ = mends(slope, moved)
    assert again == []


def test_a_line_moved_twice_keeps_nine_tenths_of_what_was_drawn_first(slope):
    """Each move by itself may lose a tenth; all of them together no more than that."""
    line = shapely.LineString([(12, 40), (30, 36), (48, 40)])
    one, marks = placed(slope, line), [("Fence", "off-level")]
    levels, drawing = slope.standing.levels, Drawing(tolerance_m=TOLERANCE_M)
    for drawn_m, offered in ((line.length, True), (1.2 * line.length, False)):
        least_m = {"Fence": KEPT_SHARE * drawn_m}
        rows = mends_to_level(marks, one, levels, slope.grid, (), SITE, drawing, None, least_m)
        assert any(row["dimension"].startswith("line") for row in rows) == offered


def test_a_line_that_may_not_move_there_is_stepped(slope):
    """A fence down the slope: 12 m at 8 cm a metre are 0.96 m of fall."""
    line = shapely.LineString([(10, 46), (50, 34)])
    house = shapely.box(0, 41, 60, 45)
    clear = [KeptClear(house, house, "other", 0.5)]
    free, stepped = mends(slope, line), mends(slope, line, clear)
    assert "bays" in free[1]
    bays = lines_of(stepped[1]["bays"])
    # ground is left between two of them, so that the upper one's water does not run into the lower
    checks = [upper.distance(lower) for upper, lower in itertools.pairwise(bays)]
    assert sum(bay.length for bay in bays) + sum(checks) == pytest.approx(line.length, rel=0.02)
    changes = json.loads(stepped[1]["bays"]["change"])
    levels = [change["values"]["level_m"] for change in changes]
    assert levels == sorted(levels, reverse=True)
    # sides of 2 to 1, 0.4 m deep: slopes from both floors meet half a metre wide at its water
    steps = [upper - lower for upper, lower in itertools.pairwise(levels)]
    for check_m, step_m in zip(checks, steps, strict=True):
        assert (check_m - 0.5) / 4 - step_m / 2 == pytest.approx(0.4, abs=0.01)
    for bay in bays:
        assert mends(slope, bay)[0] == []
    # each bay spills to the next lower one
    for upper, lower in itertools.pairwise(changes):
        assert upper["values"]["spills_to"] == lower["row"]


def test_a_line_as_level_as_the_tolerance_is_not_flagged(slope):
    x = np.linspace(10, 50, 41)
    y = 40 - 0.0005 * (x - 30) ** 2 / 0.08
    findings, found = mends(slope, shapely.LineString(np.column_stack([x, y])))
    assert findings == []
    assert found == {}


def tank_plan(**columns):
    tank = DrawnTank("Tank", shapely.Point(30, 50), 10.0, 2.0, 100.0, 0.5, 0.0, 0.1, 1.0,
                     empty=("overflow_mm",))  # fmt: skip
    line = shapely.LineString([(30, 50), (30, 20)])
    pipe = DrawnPipe("Down", line, 100.0, 0.013, 0.1, 0.3, **columns)
    end = DrawnDischarge("Brook", shapely.Point(30, 20))
    return Plan(tanks=(tank,), pipes=(pipe,), discharges=(end,))


def test_a_pipe_from_a_tank_is_its_overflow_unless_a_level_is_given(slope):
    done = designed(tank_plan(), slope.standing, slope.survey, slope.storms, slope.rules)
    (link,) = done.design.links
    tank = done.design.network.element("Tank")
    assert isinstance(link.outlet, Pipe)
    assert link.outlet.crest_m == tank.spill_level_m
    assert link.to_id == "Brook"
    assert any(f"{tank.spill_level_m:.2f} m" in problem.message for problem in done.problems)


def test_a_pipe_from_a_tank_with_a_low_level_leaves_the_overflow_there(slope):
    level = slope.standing.level_at(shapely.Point(30, 50)) + 0.3
    plan = tank_plan(from_level_m=level)
    done = designed(plan, slope.standing, slope.survey, slope.storms, slope.rules)
    outlets = [type(link.outlet) for link in done.design.links]
    assert sorted(kind.__name__ for kind in outlets) == [Orifice.__name__, Pipe.__name__]


def test_an_end_that_misses_by_a_metre_is_taken_to_meet_and_named_by_its_coordinates(slope):
    level = slope.standing.level_at(shapely.Point(30, 50)) + 0.3
    plan = tank_plan(from_level_m=level)
    near = replace(plan.pipes[0], shape=shapely.LineString([(30.9, 50), (30, 20)]))
    done = designed(
        replace(plan, pipes=(near,)), slope.standing, slope.survey, slope.storms, slope.rules
    )
    assert any(link.from_id == "Tank" and isinstance(link.outlet, Pipe)
               for link in done.design.links)  # fmt: skip
    (told,) = [one.message for one in done.problems if "misses" in one.message]
    assert told == "the end of Down at 30.9, 50.0 misses Tank by 0.9 m and is taken to meet it"
