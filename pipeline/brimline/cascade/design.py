"""Sizing free dimensions so that a cascade meets its goals in a storm.

All free dimensions are first moved together from their low to their high end, to find the least
common share at which the goals are met; then each in turn is brought back as far as the goals
allow, from the top of the cascade down, until none moves. Where no common share does, the one
that falls least short is the start of a pattern search: one dimension at a time, up and down, in
steps that are halved when no step helps.

Large cascades are searched in joined steps, a little clear of the goals; whether the design meets
them is told from the storm as it is.

The result is a design from which no single dimension can be made smaller. It is not the cheapest
of all designs: where the dimensions trade against each other, bounds and judgement decide.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Final

import numpy as np

from brimline.cascade.limits import CascadeLimits
from brimline.cascade.routing import Pace, route
from brimline.elements import Sill

if TYPE_CHECKING:
    from brimline.cascade.inflow import StormInflow
    from brimline.cascade.network import Link, Network
    from brimline.cascade.routing import Routed
    from brimline.elements import Element

SILL_WIDTH: Final = "sill_width_m"  # the one dimension that is an outlet's, not a shape's

_SHARES: Final = 13  # common shares tried between the low and the high ends
_ROUNDS: Final = 4  # times that all dimensions are brought back in turn
_PATTERN_STEPS: Final = 6  # halvings of the pattern search's step
_FINE: Final = 60_000  # elements times steps, beyond which the search is done in joined steps
_CLEAR_SHARE: Final = 0.002
_CLEAR_M: Final = 0.002


@dataclass(frozen=True, slots=True)
class Free:
    """A dimension that may be chosen.

    Parameters
    ----------
    element_id : element that it belongs to.
    dimension : a dimension of its shape, such as ``depth_m``, or `SILL_WIDTH`.
    low, high : bounds; smaller is taken to be cheaper.
    step : to which the answer is rounded upwards.

    Raises
    ------
    ValueError
        If the bounds do not rise or the step is not positive.
    """

    element_id: str
    dimension: str
    low: float
    high: float
    step: float = 0.01

    def __post_init__(self) -> None:
        if not (self.high > self.low and self.step > 0):
            raise ValueError(
                f"{self.dimension} of {self.element_id} needs rising bounds and a step above 0, "
                f"got {self.low} to {self.high} by {self.step}"
            )


def value_of(network: Network, element_id: str, dimension: str) -> float | None:
    """Return a dimension as it is; None where the element has none such."""
    if dimension == SILL_WIDTH:
        way = network.main_way_out(element_id)
        return float(way.outlet.width_m) if way and isinstance(way.outlet, Sill) else None
    value = getattr(network.element(element_id).shape, dimension, None)
    return float(value) if isinstance(value, int | float) else None


Changes = tuple[tuple[str, float], ...]  # dimensions of an element and their values


@dataclass(frozen=True, slots=True, eq=False)
class Dimensions:
    """A cascade whose free dimensions can be given other values.

    Parameters
    ----------
    made : elements that were worked out, by name and changes; None where they cannot be built.
    """

    network: Network
    free: tuple[Free, ...]
    made: dict[tuple[str, Changes], Element | None] = field(default_factory=dict)

    def at(self, values: tuple[float, ...]) -> Network:
        """Make the cascade with the free dimensions at these values; what is so already stays.

        Raises
        ------
        ValueError
            If it cannot be built.
        """
        shapes: dict[str, list[tuple[str, float]]] = {}
        links: dict[int, Link] = {}
        for one, value in zip(self.free, values, strict=True):
            if value_of(self.network, one.element_id, one.dimension) == value:
                continue
            if one.dimension != SILL_WIDTH:
                shapes.setdefault(one.element_id, []).append((one.dimension, value))
                continue
            way = self.network.main_way_out(one.element_id)
            if way is None or not isinstance(way.outlet, Sill):
                raise ValueError(f"{one.element_id} has no sill to size")
            links[id(way)] = replace(way, outlet=replace(way.outlet, width_m=value))
        made = {name: self._element(name, tuple(changes)) for name, changes in shapes.items()}
        return replace(
            self.network,
            elements=tuple(made.get(old.element_id, old) for old in self.network.elements),
            links=tuple(links.get(id(link), link) for link in self.network.links),
        )

    def _element(self, name: str, changes: Changes) -> Element:
        if (name, changes) not in self.made:
            element: Element | None = self.network.element(name)
            try:
                for dimension, value in changes:
                    element = element.changed(dimension, value) if element else None
            except ValueError:
                element = None
            self.made[name, changes] = element
        found = self.made[name, changes]
        if found is None:
            raise ValueError(f"{name} cannot be built with {changes}")
        return found


@dataclass(frozen=True, slots=True)
class Goals:
    """What a design must do in its storm, besides keeping its freeboard everywhere.

    Parameters
    ----------
    capture_share : least share of the water from outside that must not leave the cascade.
    drawdown_h : longest that elements that are meant to empty may hold water after it [h].
    """

    capture_share: float = 0.0
    drawdown_h: float = math.inf


@dataclass(frozen=True, slots=True)
class Shortfall:
    """How far a cascade is from its goals; each part 0 where it is met.

    Parameters
    ----------
    capture : missing share of capture.
    drawdown : hours over the limit, over the limit, of all elements.
    level_m : height of water within the freeboard or over the crest, of all elements [m].
    outlet : flow over what the ways below the outlets carry, as a ratio.
    """

    capture: float
    drawdown: float
    level_m: float
    outlet: float

    @property
    def total(self) -> float:
        """All parts together; 0 where the goals are met."""
        return self.capture + self.drawdown + self.level_m + self.outlet

    @property
    def met(self) -> bool:
        """Whether nothing is missing."""
        return self.total <= _MET


@dataclass(frozen=True, slots=True, eq=False)
class Sized:
    """A sized design.

    Parameters
    ----------
    values : chosen value of each free dimension, in their order.
    shortfall : how far the design falls short; all parts 0 where it meets its goals.
    tries : routings that it took.
    """

    network: Network
    routed: Routed
    values: tuple[float, ...]
    shortfall: Shortfall
    tries: int

    @property
    def met(self) -> bool:
        """Whether all goals are met."""
        return self.shortfall.met


_MET: Final = 1e-9


def shortfall_of(routed: Routed, goals: Goals, pace: Pace, *, clear_m: float = 0.0) -> Shortfall:
    """Measure how far a routed cascade is from goals.

    Parameters
    ----------
    clear_m : by which levels must keep clear of their freeboard besides [m].
    """
    network, sums = routed.network, routed.elements
    outside = float(sums.outside_m3.sum())
    captured = 1 - routed.left_m3 / outside if outside > 0 else 1.0
    safe = np.array([element.highest_safe_m for element in network.elements])
    over = np.maximum(sums.peak_level_m - safe + clear_m - 1e-6, 0.0)
    capacity = np.array([link.capacity_m3_s for link in network.links])
    peaks = routed.links.peak_m3_s[: capacity.size]
    return Shortfall(
        max(goals.capture_share - captured, 0.0),
        _drawdown_over(routed, goals.drawdown_h, pace),
        float(over.sum()),
        float(np.maximum(peaks / capacity - 1, 0.0).sum()),
    )


def _drawdown_over(routed: Routed, limit_h: float, pace: Pace) -> float:
    if math.isinf(limit_h):
        return 0.0
    empties = np.array([element.empties for element in routed.network.elements])
    hours = np.minimum(routed.elements.drawdown_h, 2 * (pace.after_h + limit_h))
    return float((np.maximum(hours - limit_h, 0.0) / limit_h)[empties].sum())


def size(
    network: Network,
    inflow: StormInflow,
    free: tuple[Free, ...],
    goals: Goals | None = None,
    *,
    limits: CascadeLimits | None = None,
    pace: Pace | None = None,
) -> Sized:
    """Choose free dimensions so that a cascade meets its goals in a storm.

    Raises
    ------
    ValueError
        If nothing is free, or not one combination of the bounds can be built.
    """
    if not free:
        raise ValueError("there is no free dimension to size")
    goals, limits, pace = goals or Goals(), limits or CascadeLimits(), pace or Pace()
    search = _DesignSearch(network, inflow, free, goals, limits, pace)
    if len(network.elements) * inflow.edges_s.size > _FINE:
        search = _coarse(search)
    values = search.common()
    if search.total(values) > _MET:
        values = search.pattern(values)
    if search.total(values) <= _MET:
        values = search.brought_back(values)
    if math.isinf(search.total(values)):
        raise ValueError("no combination of the free dimensions can be built")
    sized = search.build(values)
    routed = route(sized, inflow, pace, residual_m=limits.residual_m)
    return Sized(sized, routed, values, shortfall_of(routed, goals, pace), len(search.known))


def _coarse(search: _DesignSearch) -> _DesignSearch:
    """Search in joined steps, keeping clear of the goals by what that may cost."""
    goals, pace = search.goals, search.pace
    return replace(
        search,
        inflow=search.inflow.thinned(),
        goals=Goals(
            min(goals.capture_share + _CLEAR_SHARE, 1.0) if goals.capture_share > 0 else 0.0,
            (1 - _CLEAR_SHARE) * goals.drawdown_h,
        ),
        pace=replace(pace, after_step_s=max(pace.after_step_s, 1800.0)),
        clear_m=_CLEAR_M,
    )


@dataclass(slots=True)
class _DesignSearch:
    network: Network
    inflow: StormInflow
    free: tuple[Free, ...]
    goals: Goals
    limits: CascadeLimits
    pace: Pace
    clear_m: float = 0.0
    known: dict[tuple[float, ...], float] = field(default_factory=dict)
    dimensions: Dimensions = field(init=False)

    def __post_init__(self) -> None:
        self.dimensions = Dimensions(self.network, self.free)

    def build(self, values: tuple[float, ...]) -> Network:
        return self.dimensions.at(values)

    def routed(self, network: Network) -> Routed:
        return route(network, self.inflow, self.pace, residual_m=self.limits.residual_m)

    def total(self, values: tuple[float, ...]) -> float:
        """Shortfall at these values; infinite where they cannot be built. Remembered."""
        if values not in self.known:
            try:
                network = self.build(values)
            except ValueError:
                self.known[values] = math.inf
            else:
                self.known[values] = self.shortfall(self.routed(network)).total
        return self.known[values]

    def shortfall(self, routed: Routed) -> Shortfall:
        return shortfall_of(routed, self.goals, self.pace, clear_m=self.clear_m)

    def rounded(self, place: int, value: float) -> float:
        """Round a value up to its step, within its bounds."""
        one = self.free[place]
        steps = math.ceil((value - one.low) / one.step - 1e-9)
        return min(round(one.low + steps * one.step, 9), one.high)

    def common(self) -> tuple[float, ...]:
        """Find the least common share of all ranges that meets the goals, or falls least short."""
        shares = np.linspace(0, 1, _SHARES)
        tried = [self._at_share(float(share)) for share in shares]
        best = min(
            range(_SHARES), key=lambda at: (self.total(tried[at]) > _MET, self._rank(tried[at]))
        )
        if self.total(tried[best]) > _MET or best == 0:
            return tried[best]
        low, high = float(shares[best - 1]), float(shares[best])
        for _ in range(6):
            middle = 0.5 * (low + high)
            if self.total(self._at_share(middle)) <= _MET:
                high = middle
            else:
                low = middle
        return self._at_share(high)

    def _rank(self, values: tuple[float, ...]) -> tuple[float, float]:
        """Less shortfall first, then smaller dimensions."""
        return max(self.total(values) - _MET, 0.0), sum(self._shares(values))

    def _at_share(self, share: float) -> tuple[float, ...]:
        return tuple(
            self.rounded(place, one.low + share * (one.high - one.low))
            for place, one in enumerate(self.free)
        )

    def _shares(self, values: tuple[float, ...]) -> list[float]:
        pairs = zip(self.free, values, strict=True)
        return [(value - one.low) / (one.high - one.low) for one, value in pairs]

    def pattern(self, values: tuple[float, ...]) -> tuple[float, ...]:
        """Search up and down from a start for less shortfall."""
        share = 0.25
        for _ in range(_PATTERN_STEPS):
            moved = True
            while moved and self.total(values) > _MET:
                moved = False
                for place, one in enumerate(self.free):
                    stride = share * (one.high - one.low)
                    for trial in (values[place] + stride, values[place] - stride):
                        near = self._changed(values, place, max(trial, one.low))
                        if self.total(near) < self.total(values) - 1e-12:
                            values, moved = near, True
                            break
            share /= 2
        return values

    def brought_back(self, values: tuple[float, ...]) -> tuple[float, ...]:
        """Make each dimension as small as the goals allow, in turn, until none moves."""
        for _ in range(_ROUNDS):
            before = values
            for place in self._downwards():
                values = self._smaller(values, place)
            if values == before:
                break
        return values

    def _downwards(self) -> list[int]:
        """Places of the free dimensions, from the top of the cascade down."""
        rank = {at: rank for rank, at in enumerate(self.network.order)}
        index = self.network.index
        return sorted(
            range(len(self.free)), key=lambda at: (rank[index[self.free[at].element_id]], at)
        )

    def _smaller(self, values: tuple[float, ...], place: int) -> tuple[float, ...]:
        one = self.free[place]
        low, high = 0, round((values[place] - one.low) / one.step)
        if self.total(self._changed(values, place, one.low)) <= _MET:
            return self._changed(values, place, one.low)
        while high - low > 1:
            middle = (low + high) // 2
            if self.total(self._changed(values, place, one.low + middle * one.step)) <= _MET:
                high = middle
            else:
                low = middle
        smaller = self._changed(values, place, one.low + high * one.step)
        return smaller if self.total(smaller) <= _MET else values

    def _changed(self, values: tuple[float, ...], place: int, value: float) -> tuple[float, ...]:
        return (*values[:place], self.rounded(place, value), *values[place + 1 :])
