"""The cheapest design that holds, and what more water kept would cost."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Final

from brimline.choose.offers import Choosing, Effort
from brimline.choose.pricing import cost_of
from brimline.choose.search import DesignSpace
from brimline.config import DesignSearch, Earthworks, Rates, Works
from brimline.design import ROUTING_STEP_S, Design
from brimline.engine.stage import Stage
from brimline.inputs.rules import dug_prices, free_of
from brimline.inputs.searching import (
    held_storms,
    search_problems,
    searched_dimensions,
    searched_goals,
    unpriced_told,
)
from brimline.stages._frames import table_of
from brimline.stages._plan import storms_of

if TYPE_CHECKING:
    from brimline.engine.stage import Given, Made, Reporter

_TABLES: Final = ("searched_designs", "searched_sizes")
_AFTER_STEP_S: Final = 1800.0


def _run(given: Given, report: Reporter) -> Made:
    params, design = given.params("search", DesignSearch), given.value("design", Design)
    asked, rates = storms_of(given), given.params("rates", Rates)
    names = [one.name for one in (*asked.checks, *asked.beyond)]
    report.tell(search_problems(params, rates, design.names, names))
    wanted, problems = searched_dimensions(params, design.network)
    report.tell(problems)
    if not wanted:
        return {name: table_of([], name) for name in _TABLES}
    storms, problems = held_storms(params, asked)
    report.tell([*problems, *unpriced_told(rates)])
    inflows = [design.arrivals.of(one, ROUTING_STEP_S) for one in storms]
    report.advanced(0.02, "digging each element at several sizes")
    how = given.params("earthworks", Earthworks)
    prices = dug_prices(given.raster("elevation"), given.grid, how, rates)
    free = free_of(wanted)
    space = DesignSpace(
        design.network, tuple(one.thinned() for one in inflows), free,
        cost_of(design, free, prices, [one.price for one in wanted]),
        searched_goals(params, given.params("works", Works)),
        replace(design.pace, after_step_s=_AFTER_STEP_S),
    )  # fmt: skip
    report.advanced(0.2, "searching, and routing what is found step by step")
    effort = Effort(params.tries, params.points, params.seed)
    bill = float(given.table("bill")["cost"].sum())
    offers = Choosing(space, inflows, design, effort, bill, params.most_cost).offers()
    report.tell(offers.problems)
    return {
        "searched_designs": table_of(offers.designs, "searched_designs"),
        "searched_sizes": table_of(offers.sizes, "searched_sizes"),
    }


STAGE = Stage(
    name="search",
    version=2,
    title="the cheapest design that holds, and what more water kept costs",
    needs=("grid", "elevation", "design", "storms", "bill"),
    makes=_TABLES,
    run=_run,
    tables=("search", "earthworks", "rates", "works"),
)
