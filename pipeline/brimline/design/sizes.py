"""Outlets sized for the design storm, and free dimensions for the goals that were set."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

from brimline.cascade import (
    SILL_WIDTH,
    Free,
    Network,
    route,
    shortfall_of,
    size,
    size_pipes,
    size_sills,
    value_of,
)
from brimline.design.rules import ROUTING_STEP_S
from brimline.elements import Basin, Kind
from brimline.errors import Problem, Severity

if TYPE_CHECKING:
    from collections.abc import Sequence

    from brimline.cascade import Routed, Sized, StormInflow
    from brimline.design.arrivals import Arrivals
    from brimline.design.elements import PlacedElement
    from brimline.design.rules import DesignRules, SizingRules
    from brimline.rainfall import Storm

_UNITS: Final = {"m3": "m³", "m2": "m²", "m": "m", "pct": "%"}
_SLACK: Final = 1e-9
_ROUNDS: Final = 2


@dataclass(frozen=True, slots=True)
class SizedDimension:
    """A dimension that was free, and what came of it.

    Parameters
    ----------
    storm : name of the storm that it was sized for.
    unit : of the values, as people write it; None for a ratio.
    bound : "low" or "high" where the value is that end of what was allowed.
    missed : how the goals are missed; empty where they are met.
    """

    storm: str
    element_id: str
    dimension: str
    unit: str | None
    value_before: float
    value_sized: float
    lowest: float
    highest: float
    bound: str | None
    applied: bool
    missed: str

    @property
    def goal_met(self) -> bool:
        """Whether all goals are met."""
        return not self.missed

    @property
    def notes(self) -> str:
        """How the goals are missed."""
        return self.missed

    @property
    def flags(self) -> tuple[str, ...]:
        """Why a person must look."""
        return ("goal-missed",) if self.missed else ()


@dataclass(frozen=True, slots=True)
class Sizes:
    """What the design aid chose.

    Parameters
    ----------
    network : the cascade with the sizes; as it was where nothing could be sized.
    met : whether they meet the goals.
    """

    network: Network
    rows: tuple[SizedDimension, ...] = ()
    problems: tuple[Problem, ...] = ()
    met: bool = False


@dataclass(frozen=True, slots=True)
class SizedCascade:
    """A cascade with every outlet and dimension that was left to be designed.

    Parameters
    ----------
    inflows : of the design storm, then of the others.
    first : routing of the design storm.
    """

    network: Network
    placed: tuple[PlacedElement, ...]
    arrivals: Arrivals
    inflows: tuple[StormInflow, ...]
    first: Routed
    sizes: Sizes


def sized_cascade(
    network: Network,
    placed: Sequence[PlacedElement],
    arrivals: Arrivals,
    storms: Sequence[Storm],
    later: Sequence[int],
    rules: DesignRules,
) -> SizedCascade:
    """Size outlets for the design storm, and what is free for the goals that were set.

    Other dimensions take a little more or less ground, on which rain falls; where the goals are
    missed by that, what is free is sized once more.

    Parameters
    ----------
    storms : the design storm, then the others.
    later : places of the links whose outlets are to be sized.
    """
    goals, pace = rules.sizing.goals, rules.pace
    inflows = tuple(arrivals.of(storm, ROUTING_STEP_S) for storm in storms)
    network, first = _with_outlets(network, inflows[0], later, rules)
    found = SizedCascade(network, tuple(placed), arrivals, inflows, first, Sizes(network))
    if goals is None:
        return found
    before = network
    for number in range(_ROUNDS):
        sizes = _sized(found.network, before, placed, found.inflows, later, rules)
        if not sizes.met:  # digging more for a goal that is missed all the same is not asked for
            built = rules.sizing.applied and number > 0
            rows = tuple(replace(row, applied=built) for row in sizes.rows)
            sizes = replace(sizes, rows=rows)
        found = replace(found, sizes=sizes)
        if not (sizes.rows and sizes.met and rules.sizing.applied):
            break
        now = tuple(replace(one, element=sizes.network.element(one.name)) for one in placed)
        arrivals = arrivals.over([one.element for one in now])
        inflows = tuple(arrivals.of(storm, ROUTING_STEP_S) for storm in storms)
        network, first = _with_outlets(sizes.network, inflows[0], later, rules)
        found = SizedCascade(network, now, arrivals, inflows, first, sizes)
        goal = next(one for one in inflows if one.name == sizes.rows[0].storm)
        routed = first if goal is inflows[0] else route(network, goal, pace)
        if not sizes.met or shortfall_of(routed, goals, pace).met:
            break
    return found


def _with_outlets(
    network: Network, inflow: StormInflow, places: Sequence[int], rules: DesignRules
) -> tuple[Network, Routed]:
    """Size the pipes and sills that were left empty, by their places among the links."""
    pipes = [network.links[place] for place in places]
    network = size_pipes(network, inflow, pipes, pace=rules.pace)
    sills = [network.links[place] for place in places]
    return size_sills(network, inflow, sills, head_m=rules.sill_head_m, pace=rules.pace)


def _sized(
    network: Network,
    before: Network,
    placed: Sequence[PlacedElement],
    inflows: Sequence[StormInflow],
    later: Sequence[int],
    rules: DesignRules,
) -> Sizes:
    """Size what is free; `before` is the cascade before anything was."""
    sizing = rules.sizing
    named = {inflow.name: inflow for inflow in inflows}
    inflow = named.get(sizing.storm) if sizing.storm else inflows[0]
    if inflow is None:
        return _told(
            network,
            f"nothing was sized: there is no storm called {sizing.storm}",
            f"set works.goal_storm to one of {', '.join(named)}, or add to [storm]",
        )
    free, problems = _free(network, placed, sizing)
    if not free or sizing.goals is None:
        return _told(
            network,
            "nothing was sized: no dimension is free",
            "leave a depth or a volume empty in the plan, or list dimensions as works.free",
            problems,
        )
    try:
        start = _wide_open(network, free, inflow, later, rules)
        found = size(start, inflow, tuple(free), sizing.goals, limits=rules.limits, pace=rules.pace)
    except ValueError as error:
        mend = "change the bounds of the free dimensions"
        return _told(network, f"nothing was sized: {error}", mend, problems)
    if not found.met:
        kept = "; it stays as drawn, and design_sizes lists what comes nearest"
        todo = "widen the bounds, free more, ask for less, or write those sizes into the plan"
        problems.append(_warning(_missed(found) + kept, todo))
    rows = _rows(before, found, free, inflow.name, sizing)
    return Sizes(found.network, rows, tuple(problems), found.met)


def _wide_open(
    network: Network,
    free: Sequence[Free],
    inflow: StormInflow,
    later: Sequence[int],
    rules: DesignRules,
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
    network: Network, placed: Sequence[PlacedElement], sizing: SizingRules
) -> tuple[list[Free], list[Problem]]:
    if not sizing.free:
        return [found for one in placed for found in _left_empty(one, sizing)], []
    free: list[Free] = []
    problems: list[Problem] = []
    for asked in sizing.free:
        fault = _fault(network, asked.element_id, asked.dimension)
        if fault:
            problems.append(_warning(fault, "correct works.free"))
        else:
            free.append(asked)
    return free, problems


def _left_empty(one: PlacedElement, sizing: SizingRules) -> list[Free]:
    """Dimensions of an element that decide what it holds and were left empty."""
    element = one.element
    bounds = {
        Kind.POND: ("depth_m", sizing.pond_depth_m, 0.05),
        Kind.SWALE: ("depth_m", sizing.swale_depth_m, 0.01),
        Kind.BASIN: ("depth_m", sizing.basin_depth_m, 0.01),
        Kind.TANK: ("volume_m3", sizing.tank_volume_m3, 0.5),
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
    known = value_of(network, name, dimension) is not None
    return "" if known else f"{name} has no dimension {dimension} to size"


def _rows(
    before: Network, found: Sized, free: Sequence[Free], storm: str, sizing: SizingRules
) -> tuple[SizedDimension, ...]:
    rows = []
    for one, value in zip(free, found.values, strict=True):
        ends = {"low": one.low, "high": one.high}
        rows.append(
            SizedDimension(
                storm,
                one.element_id,
                one.dimension,
                _UNITS.get(one.dimension.rsplit("_", 1)[-1]),
                was
                if (was := value_of(before, one.element_id, one.dimension)) is not None
                else math.nan,
                value,
                one.low,
                one.high,
                next((end for end, limit in ends.items() if abs(value - limit) <= _SLACK), None),
                sizing.applied,
                "" if found.met else _missed(found),
            )
        )
    return tuple(rows)


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
