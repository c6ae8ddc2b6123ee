"""The design aid in a run: goals and free dimensions as configured, and what came of them."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, Final

from brimline.cascade import (
    SILL_WIDTH,
    Free,
    Goals,
    Network,
    route,
    shortfall_of,
    size,
    size_pipes,
    size_sills,
)
from brimline.elements import Basin, Kind, Sill
from brimline.errors import Problem, Severity
from brimline.layers.flags import joined

if TYPE_CHECKING:
    from collections.abc import Sequence

    from brimline.cascade import Limits, Pace, Routed, Sized, StormInflow
    from brimline.config import Works
    from brimline.rainfall import Storm
    from brimline.stages._works_arrivals import Arrivals
    from brimline.stages._works_shapes import Drawn

_UNITS: Final = {"m3": "m³", "m2": "m²", "m": "m", "pct": "%"}
_SLACK: Final = 1e-9
_ROUNDS: Final = 2


@dataclass(frozen=True, slots=True)
class Rules:
    """What a design keeps to; `step_s` is the step of routing [s]."""

    works: Works
    limits: Limits
    pace: Pace
    step_s: float


@dataclass(frozen=True, slots=True)
class Sizes:
    """What the design aid chose.

    Parameters
    ----------
    network : the cascade with the sizes; as it was where nothing could be sized.
    records : rows of the table of design sizes.
    met : whether they meet the goals.
    """

    network: Network
    records: tuple[dict[str, Any], ...] = ()
    problems: tuple[Problem, ...] = ()
    met: bool = False


@dataclass(frozen=True, slots=True)
class Designed:
    """A cascade with every outlet and dimension that was left to be designed.

    Parameters
    ----------
    inflows : of the design storm, then of the others.
    first : routing of the design storm.
    """

    network: Network
    drawn: list[Drawn]
    arrivals: Arrivals
    inflows: list[StormInflow]
    first: Routed
    sizes: Sizes


def designed(
    network: Network,
    drawn: Sequence[Drawn],
    arrivals: Arrivals,
    storms: Sequence[Storm],
    later: Sequence[int],
    rules: Rules,
) -> Designed:
    """Size outlets for the design storm, and what is free for the goals of the configuration.

    Other dimensions take a little more or less ground, on which rain falls; where the goals are
    missed by that, what is free is sized once more.

    Parameters
    ----------
    storms : the design storm, then the others.
    later : places of the links whose outlets are to be sized.
    """
    works, pace = rules.works, rules.pace
    inflows = [arrivals.of(storm, rules.step_s) for storm in storms]
    network, first = _with_outlets(network, inflows[0], later, rules)
    found = Designed(network, list(drawn), arrivals, inflows, first, Sizes(network))
    if works.goal_capture_share == 0 and works.goal_drawdown_h is None:
        return found
    before = network
    for _ in range(_ROUNDS):
        sizes = _sized(found.network, before, drawn, found.inflows, later, rules)
        found = replace(found, sizes=sizes)
        if not (sizes.records and works.goal_applied):
            break
        now = [replace(one, element=sizes.network.element(_name(one))) for one in drawn]
        arrivals = arrivals.over([one.element for one in now])
        inflows = [arrivals.of(storm, rules.step_s) for storm in storms]
        network, first = _with_outlets(sizes.network, inflows[0], later, rules)
        found = Designed(network, now, arrivals, inflows, first, sizes)
        goal = next(one for one in inflows if one.name == sizes.records[0]["storm"])
        routed = first if goal is inflows[0] else route(network, goal, pace)
        if not sizes.met or shortfall_of(routed, _goals(works), pace).met:
            break
    return found


def _name(one: Drawn) -> str:
    return one.element.element_id


def _goals(works: Works) -> Goals:
    return Goals(works.goal_capture_share, works.goal_drawdown_h or math.inf)


def _with_outlets(
    network: Network, inflow: StormInflow, places: Sequence[int], rules: Rules
) -> tuple[Network, Routed]:
    """Size the pipes and sills that were left empty, by their places among the links."""
    pipes = [network.links[place] for place in places]
    network = size_pipes(network, inflow, pipes, pace=rules.pace)
    sills = [network.links[place] for place in places]
    return size_sills(network, inflow, sills, head_m=rules.works.sill_head_m, pace=rules.pace)


def _sized(
    network: Network,
    before: Network,
    drawn: Sequence[Drawn],
    inflows: Sequence[StormInflow],
    later: Sequence[int],
    rules: Rules,
) -> Sizes:
    """Size what is free; `before` is the cascade before anything was."""
    works = rules.works
    named = {inflow.name: inflow for inflow in inflows}
    inflow = named.get(works.goal_storm) if works.goal_storm else inflows[0]
    if inflow is None:
        return _told(
            network,
            f"nothing was sized: there is no storm called {works.goal_storm}",
            f"set works.goal_storm to one of {', '.join(named)}, or add to [storm]",
        )
    free, problems = _free(network, drawn, works)
    if not free:
        return _told(
            network,
            "nothing was sized: no dimension is free",
            "leave a depth or a volume empty in the plan, or list dimensions as works.free",
            problems,
        )
    try:
        start = _wide_open(network, free, inflow, later, rules)
        found = size(
            start, inflow, tuple(free), _goals(works), limits=rules.limits, pace=rules.pace
        )
    except ValueError as error:
        mend = "change the bounds of the free dimensions"
        return _told(network, f"nothing was sized: {error}", mend, problems)
    if not found.met:
        problems.append(_warning(_missed(found), "widen the bounds, free more, or ask for less"))
    records = _records(before, found, free, inflow.name, works)
    return Sizes(found.network, records, tuple(problems), found.met)


def _wide_open(
    network: Network,
    free: Sequence[Free],
    inflow: StormInflow,
    later: Sequence[int],
    rules: Rules,
) -> Network:
    """Return the cascade with the outlets that it needs where it holds least.

    So nothing is dug deeper for the sake of a narrow sill that is itself to be sized.
    """
    smallest = network
    for one in free:
        if one.dimension != SILL_WIDTH:
            element = smallest.element(one.element_id).changed(one.dimension, one.low)
            smallest = smallest.with_element(element)
    opened, _ = _with_outlets(smallest, inflow, later, rules)
    return replace(network, links=opened.links)


def _free(
    network: Network, drawn: Sequence[Drawn], works: Works
) -> tuple[list[Free], list[Problem]]:
    if not works.free:
        return [found for one in drawn for found in _left_empty(one, works)], []
    free: list[Free] = []
    problems: list[Problem] = []
    for asked in works.free:
        fault = _fault(network, asked.element, asked.dimension)
        if fault:
            problems.append(_warning(fault, "correct works.free"))
        else:
            free.append(Free(asked.element, asked.dimension, asked.low, asked.high, asked.step))
    return free, problems


def _left_empty(one: Drawn, works: Works) -> list[Free]:
    """Dimensions of an element that decide what it holds and were left empty."""
    element = one.element
    bounds = {
        Kind.POND: ("depth_m", works.pond_depth_range_m, 0.05),
        Kind.SWALE: ("depth_m", works.swale_depth_range_m, 0.01),
        Kind.BASIN: ("depth_m", works.basin_depth_range_m, 0.01),
        Kind.TANK: ("volume_m3", works.tank_volume_range_m3, 0.5),
    }
    if element.kind not in bounds:
        return []
    dimension, (low, high), step = bounds[element.kind]
    # a filling is as deep as it was said to be
    filled = isinstance(element.shape, Basin) and bool(element.shape.fill)
    if dimension not in one.empty or filled:
        return []
    return [Free(element.element_id, dimension, low, high, step)]


def _fault(network: Network, name: str, dimension: str) -> str:
    if name not in network.index:
        return f"{dimension} of {name} cannot be sized: there is no such element"
    if dimension == SILL_WIDTH:
        way = network.main_way_out(name)
        known = way is not None and isinstance(way.outlet, Sill)
    else:
        known = isinstance(getattr(network.element(name).shape, dimension, None), int | float)
    return "" if known else f"{name} has no dimension {dimension} to size"


def _records(
    before: Network, found: Sized, free: Sequence[Free], storm: str, works: Works
) -> tuple[dict[str, Any], ...]:
    records = []
    for one, value in zip(free, found.values, strict=True):
        ends = {"low": one.low, "high": one.high}
        bound = next((end for end, limit in ends.items() if abs(value - limit) <= _SLACK), None)
        records.append(
            {
                "storm": storm,
                "element_id": one.element_id,
                "dimension": one.dimension,
                "unit": _UNITS.get(one.dimension.rsplit("_", 1)[-1]),
                "value_before": _value(before, one),
                "value_sized": value,
                "lowest": one.low,
                "highest": one.high,
                "bound": bound,
                "applied": works.goal_applied,
                "goal_met": found.met,
                "flag": joined(() if found.met else ("goal-missed",)),
                "notes": None if found.met else _missed(found),
            }
        )
    return tuple(records)


def _value(network: Network, one: Free) -> float:
    if one.dimension != SILL_WIDTH:
        return float(getattr(network.element(one.element_id).shape, one.dimension))
    way = network.main_way_out(one.element_id)
    return float(way.outlet.width_m) if way and isinstance(way.outlet, Sill) else math.nan


def _missed(found: Sized) -> str:
    """Say by how much a design falls short of its goals."""
    short = found.shortfall
    parts = {
        f"{100 * short.capture:.0f} % too little stays on the site": short.capture,
        "water stands longer than asked": short.drawdown,
        f"levels stand {short.level_m:.2f} m into the freeboard, all together": short.level_m,
        "a way below an outlet is too small": short.outlet,
    }
    told = "; ".join(text for text, missing in parts.items() if missing > _SLACK)
    return f"the goals are not met within the bounds: {told}"


def _warning(message: str, mend: str) -> Problem:
    return Problem(Severity.WARNING, message, mend, "site.toml", "works")


def _told(network: Network, message: str, mend: str, problems: Sequence[Problem] = ()) -> Sizes:
    return Sizes(network, (), (*problems, _warning(message, mend)))
