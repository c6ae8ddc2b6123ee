"""In which order to build, and the bill of quantities."""

from __future__ import annotations

import math
from dataclasses import asdict
from typing import TYPE_CHECKING

from brimline.config import Rates
from brimline.elements.building import Quantities, Quantity, Way, bill, build_order, total_cost
from brimline.engine.stage import Stage
from brimline.inputs.rules import prices_of
from brimline.layers.flags import joined
from brimline.stages._frames import table_of

if TYPE_CHECKING:
    from brimline.engine.stage import Given, Made, Reporter


def _run(given: Given, _report: Reporter) -> Made:
    rates = given.params("rates", Rates)
    prices = prices_of(rates)
    elements, overflows = given.frame("elements"), given.frame("overflows")
    levels = dict(zip(elements["element_id"], elements["spill_level_m"], strict=True))
    # pads are ground for all else, so they come first
    levels |= dict.fromkeys(given.frame("pads")["element_id"], math.inf)
    ways = [
        Way(row.from_id, row.to_id if isinstance(row.to_id, str) else "")
        for row in overflows.itertuples(index=False)
    ]
    steps = build_order(levels, ways)
    quantities = [*given.value("quantities", Quantities).rows]
    staked = given.frame("stakes")["element_id"].value_counts()
    quantities += [Quantity(str(name), "set_out", float(n)) for name, n in staked.items()]
    rows = bill(quantities, {k: p for k, p in prices.items() if p is not None}, steps)
    cost, unpriced = total_cost(rows)
    records = [
        {
            "step": step.number,
            "action": step.action,
            "element_id": step.element_id,
            "to_id": step.to_id,
            "flag": joined(["cycle"] if step.in_ring else []),
        }
        for step in steps
    ]
    return {
        "building_steps": table_of(records, "building_steps"),
        "bill": table_of([asdict(row) for row in rows], "bill"),
        "cost": {"headline": {"cost": round(cost, 2), "rows_without_price": unpriced}},
    }


STAGE = Stage(
    name="building",
    version=1,
    title="order of building and bill of quantities",
    needs=("grid", "elements", "overflows", "pads", "quantities", "stakes"),
    makes=("building_steps", "bill", "cost"),
    run=_run,
    tables=("rates",),
)
