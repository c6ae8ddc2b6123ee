"""The cheapest design that holds, and what more water kept would cost."""

from __future__ import annotations

import math
from dataclasses import replace
from itertools import pairwise
from typing import TYPE_CHECKING, Any, Final

from brimline.cascade import SILL_WIDTH, Free, Goals, route, shortfall_of, value_of
from brimline.choose.pricing import Prices, cost_of
from brimline.choose.search import DesignSpace, TriedDesign, affordable, over_crest_m, search
from brimline.config import DesignSearch, Earthworks, Rates, Works
from brimline.design import ROUTING_STEP_S, Design
from brimline.design.plan_changes import changes_text, plan_changes
from brimline.elements.building import ITEMS
from brimline.engine.stage import Stage
from brimline.errors import Problem, Severity
from brimline.inputs.rules import building_of, prices_of, soil_as_dug
from brimline.inputs.searching import search_problems
from brimline.layers.flags import joined
from brimline.stages._frames import table_of
from brimline.stages._plan import beyond_of, storms_of
from brimline.units import counted

if TYPE_CHECKING:
    from collections.abc import Sequence

    from brimline.cascade import StormInflow
    from brimline.config import SearchDimension
    from brimline.engine.stage import Given, Made, Reporter
    from brimline.rainfall import Storm

_TABLES: Final = ("searched_designs", "searched_sizes")
_AFTER_STEP_S: Final = 1800.0
_WHERE: Final = "search"
_ALIKE_H: Final = 0.01
_ROUTED: Final = 5  # designs within a budget that are routed step by step, the best first
_LEAST_M3: Final = 0.05  # of water kept, to tell what more of it costs


def _run(given: Given, report: Reporter) -> Made:
    params, design = given.params(_WHERE, DesignSearch), given.value("design", Design)
    further = [one.name for one in (*storms_of(given)[1:], *beyond_of(given))]
    report.tell(search_problems(params, given.params("rates", Rates), design.names, further))
    wanted = _free(params, design, report)
    if not wanted:
        return {name: table_of([], name) for name in _TABLES}
    free = tuple(Free(one.element, one.dimension, one.low, one.high, one.step) for one in wanted)
    inflows = _inflows(given, params, design, report)
    report.advanced(0.02, "digging each element at several sizes")
    prices = _prices(given, report)
    cost = cost_of(design, free, prices, [one.price for one in wanted])
    works = given.params("works", Works)
    asked = works.goal_capture_share if params.keep_share is None else params.keep_share
    space = DesignSpace(
        design.network,
        tuple(one.thinned() for one in inflows),
        free,
        cost,
        Goals(asked, works.goal_drawdown_h or math.inf),
        replace(design.pace, after_step_s=_AFTER_STEP_S),
    )
    report.advanced(0.2, "searching")
    drawn = [value_of(design.network, one.element_id, one.dimension) for one in free]
    now = space.values(space.places(tuple(value for value in drawn if value is not None)))
    found = search(space, tries=params.tries, points=params.points, seed=params.seed, starts=[now])
    report.advanced(0.9, "routing what was found step by step")
    kept = [one for one in found.curve if _holds(one, space, inflows, design)]
    _tell(kept, found.best, asked, found.tries, report)
    whole = _whole_cost(given) - cost(now)
    if params.most_cost is not None and not (kept and whole + kept[0].cost <= params.most_cost):
        # what was asked for cannot be had for it: what less water kept costs
        less = replace(space, goals=replace(space.goals, capture_share=0.0))
        search(less, tries=params.tries, points=params.points, seed=params.seed, starts=[now])
    within = _within(params.most_cost, whole, space, inflows, design, report)
    shown = {one.values: one for one in (*_spread(kept, params.points), *within)}
    if not kept:
        shown[found.best.values] = found.best
    rows, sizes = [], []
    for number, one in enumerate(sorted(shown.values(), key=lambda one: one.cost), start=1):
        holds = one in kept or one in within
        row = _row(f"s{number}", one, space, design, whole, holds=holds)
        rows.append(row | {"offered": _offered(asked=one in kept[:1], affordable=one in within)})
        sizes += _sizes(f"s{number}", one, free, now)
    _add_further_cost(rows)
    return {
        "searched_designs": table_of(rows, "searched_designs"),
        "searched_sizes": table_of(sizes, "searched_sizes"),
    }


def _within(
    most_cost: float | None,
    whole: float,
    space: DesignSpace,
    inflows: Sequence[StormInflow],
    design: Design,
    report: Reporter,
) -> list[TriedDesign]:
    """Return the design that keeps most for what the works may cost; none where none is asked."""
    if most_cost is None:
        return []
    tried = affordable(space, most_cost - whole)[:_ROUTED]
    found = next((one for one in tried if _holds(one, space, inflows, design)), None)
    if found is None:
        text = f"no design was found that holds for {most_cost:g}"
        mend = "widen the bounds in [search], or raise search.most_cost"
        report.problem(Problem(Severity.WARNING, text, mend, _WHERE))
        return []
    text = f"for {most_cost:g} a design keeps {found.kept_share:.1%} of the design storm"
    mend = "read searched_designs, offered affordable; nothing of it is applied unasked"
    report.problem(Problem(Severity.NOTICE, text, mend, _WHERE))
    return [found]


def _offered(*, asked: bool, affordable: bool) -> str | None:
    if asked and affordable:
        return "both"
    return "asked" if asked else "affordable" if affordable else None


def _add_further_cost(rows: Sequence[dict[str, Any]]) -> None:
    """Add what each further cubic metre costs over the next cheaper design that holds, in place."""
    holds = [row for row in rows if row["holds"]]
    for before, row in pairwise(holds):
        more_m3 = row["kept_m3"] - before["kept_m3"]
        if more_m3 > _LEAST_M3:
            row["further_water_cost"] = (row["cost"] - before["cost"]) / more_m3


def _free(params: DesignSearch, design: Design, report: Reporter) -> list[SearchDimension]:
    """Return the free dimensions; what was drawn but could not be built so stays as it is."""
    found = []
    for one in params.free:
        made = one.element in design.network.index
        if made and value_of(design.network, one.element, one.dimension) is not None:
            found.append(one)
            continue
        lacks = "sill" if one.dimension == SILL_WIDTH else one.dimension
        text = (
            f"{one.element} {f'has no {lacks}' if made else 'was left out'}: it is not searched for"
        )
        mend = (
            "name a dimension of its kind, such as depth_m or sill_width_m"
            if made
            else "draw it right"
        )
        report.problem(Problem(Severity.WARNING, text, mend, "site.toml", _WHERE))
    return found


def _inflows(
    given: Given, params: DesignSearch, design: Design, report: Reporter
) -> list[StormInflow]:
    """Return the design storm, then the storms in which no crest may be passed."""
    first, *others = storms_of(given)
    further = beyond_of(given)
    if params.check_storms:
        wanted = [one for one in (*others, *further) if one.name in params.check_storms]
    else:
        wanted = [*others, *(one for one in further if _is_rarer(one, first))]
    if not wanted:
        report.problem(
            Problem(
                Severity.WARNING,
                "the search knows no check storm: designs hold in the design storm alone",
                "give a rainfall table, or name one of the greater storms in search.check_storms",
                "site.toml",
                _WHERE,
            )
        )
    return [design.arrivals.of(one, ROUTING_STEP_S) for one in (first, *wanted)]


def _is_rarer(one: Storm, design: Storm) -> bool:
    """Tell whether a storm is the check storm: rarer than the design storm, and as long."""
    period_y, own_y = one.return_period_y, design.return_period_y
    rarer = period_y is not None and own_y is not None and period_y > own_y
    return rarer and abs(one.duration_h - design.duration_h) < _ALIKE_H


def _prices(given: Given, report: Reporter) -> Prices:
    earthworks, rates = given.params("earthworks", Earthworks), given.params("rates", Rates)
    known = prices_of(rates)
    if lacking := [ITEMS[key].title for key in ("cut", "fill") if known[key] is None]:
        report.problem(
            Problem(
                Severity.WARNING,
                f"the search takes as free of cost: {'; '.join(lacking)}",
                "fill in [rates]",
                "site.toml",
                _WHERE,
            )
        )
    return Prices(
        given.raster("elevation"), given.grid, building_of(earthworks), earthworks.batter_limit_m,
        soil_as_dug(earthworks), {key: price for key, price in known.items() if price is not None},
        earthworks.sill_stone_m, earthworks.sill_apron_m,
    )  # fmt: skip


def _holds(
    one: TriedDesign, space: DesignSpace, inflows: Sequence[StormInflow], design: Design
) -> bool:
    """Tell whether a design holds in the storms as they are, not only in joined steps."""
    network = space.built(one.values)
    goals = replace(space.goals, capture_share=0.0)
    first = route(network, inflows[0], design.pace)
    if not shortfall_of(first, goals, design.pace).met:
        return False
    return all(over_crest_m(route(network, two, design.pace)) <= 0.0 for two in inflows[1:])


def _spread(curve: Sequence[TriedDesign], most: int) -> list[TriedDesign]:
    """Return so many of the curve, its ends among them, about evenly by the water kept."""
    if len(curve) <= most:
        return list(curve)
    ends = curve[0].kept_m3, curve[-1].kept_m3
    wanted = [ends[0] + part / (most - 1) * (ends[1] - ends[0]) for part in range(most)]
    near = [min(range(len(curve)), key=lambda at: abs(curve[at].kept_m3 - w)) for w in wanted]
    return [curve[at] for at in sorted(set(near))]


def _whole_cost(given: Given) -> float:
    bill = given.table("bill")
    return float(bill["cost"].sum()) if len(bill) else 0.0


def _tell(
    kept: Sequence[TriedDesign], best: TriedDesign, asked: float, tries: int, report: Reporter
) -> None:
    told = f"{counted(tries, 'design')} were routed"
    if kept:
        text = f"{told}; the cheapest that holds keeps {kept[0].kept_share:.1%} of the design storm"
        mend = "read searched_designs; brimline apply takes one of them into the plan"
        report.problem(Problem(Severity.NOTICE, text, mend, _WHERE))
        return
    lacks = f" and keeps {best.kept_share:.1%} of the {asked:.1%} asked for" if asked else ""
    report.problem(
        Problem(
            Severity.WARNING,
            f"{told}, and none within the bounds holds; the one that falls least short misses by"
            f" {best.short:.3g}{lacks}",
            "widen the bounds in [search], free more (sill_width_m among them), or ask for less",
            _WHERE,
        )
    )


def _row(
    name: str, one: TriedDesign, space: DesignSpace, design: Design, whole: float, *, holds: bool
) -> dict[str, Any]:
    mended = space.built(one.values)
    changes = plan_changes(design, mended)
    return {
        "design_id": name,
        "cost": whole + one.cost,
        "kept_m3": one.kept_m3,
        "kept_pct": 100 * one.kept_share,
        "further_water_cost": None,
        "holds": holds,
        "change": changes_text(changes) if changes else None,
        "flag": joined([] if holds else ["goal-missed"]),
    }


def _sizes(
    name: str, one: TriedDesign, free: Sequence[Free], now: Sequence[float]
) -> list[dict[str, Any]]:
    return [
        {
            "design_id": name,
            "element_id": dimension.element_id,
            "dimension": dimension.dimension,
            "value_now": was,
            "value": value,
            "lowest": dimension.low,
            "highest": dimension.high,
        }
        for dimension, value, was in zip(free, one.values, now, strict=True)
    ]


STAGE = Stage(
    name="search",
    version=2,
    title="the cheapest design that holds, and what more water kept costs",
    needs=("grid", "elevation", "design", "storms", "bill"),
    makes=_TABLES,
    run=_run,
    tables=("search", "earthworks", "rates", "works"),
)
