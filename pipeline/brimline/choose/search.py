"""The cheapest design that holds, and what more water kept costs: a search over free dimensions.

Every trial routes the cascade through the storms in which it must hold. The search is scipy's
differential evolution over whole steps of the dimensions, begun at designs that the design aid
finds; then dimensions are brought back, alone and two at a time, until none saves anything. A
design that falls short is worth less than any that does not, and among those less the shorter it
falls (Deb 2000, an efficient constraint handling method for genetic algorithms, doi:
10.1016/S0045-7825(99)00389-8, from memory), so that one number orders all trials.

The curve of cost against water kept comes of the same search with more and more asked for; of all
designs that were tried, those stay that no other beats in both.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from functools import cached_property, partial
from itertools import combinations
from typing import TYPE_CHECKING, Final

import numpy as np
from scipy.optimize import differential_evolution

from brimline._jit import side_by_side
from brimline.cascade import Dimensions, Goals, route, shortfall_of

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from numpy.typing import NDArray
    from scipy.optimize import OptimizeResult

    from brimline.cascade import Free, Network, Pace, Routed, StormInflow
    from brimline.cascade.design import Changes
    from brimline.elements import Element

Values = tuple[float, ...]
_UNBUILT: Final = 1e12  # what a design that cannot be built falls short by
_MET: Final = 1e-9
_FEWEST: Final = 12  # of a population
_EACH: Final = 4  # members of a population for each dimension
_EXCHANGES: Final = 24  # dimensions up to which all pairs are exchanged
_AT_A_TIME: Final = 8  # neighbours, whatever the number of cores
_AFTER_CHECK_H: Final = 24.0  # for which a check storm is routed on; what is shown, for longer
_POINTS_SHARE: Final = 0.5  # of the tries that goes into the first point of the curve


@dataclass(frozen=True, slots=True)
class TriedDesign:
    """A design that was tried.

    Parameters
    ----------
    values : of the free dimensions, in their order.
    cost : in the currency of the prices.
    kept_m3, kept_share : of what the first storm brings, that does not leave.
    short : by how much it falls short of holding; 0 where it holds.
    """

    values: Values
    cost: float
    kept_m3: float
    kept_share: float
    short: float

    @property
    def holds(self) -> bool:
        """Whether it keeps every limit in every storm."""
        return self.short <= _MET


@dataclass(frozen=True, slots=True)
class _Begun:
    """What the first storm shows of a design; `network` is None where nothing is left to route."""

    network: Network | None
    kept_m3: float
    kept_share: float
    short: float


@dataclass(frozen=True, eq=False)
class DesignSpace:
    """What may be chosen, what it costs, and the storms in which it must hold.

    Parameters
    ----------
    network : the cascade as it stands.
    storms : inflow of the design storm, in which freeboards stay dry and the goals are met; then
        of the check storms, in which no crest is passed.
    free : what may be chosen.
    cost : of the values of all free dimensions.
    goals : in the design storm; its share to be kept is the least that is asked for.
    """

    network: Network
    storms: tuple[StormInflow, ...]
    free: tuple[Free, ...]
    cost: Callable[[Values], float]
    goals: Goals
    pace: Pace
    known: dict[Values, TriedDesign] = field(default_factory=dict)
    made: dict[tuple[str, Changes], Element | None] = field(default_factory=dict)
    costs: dict[Values, float] = field(default_factory=dict)
    begun: dict[Values, _Begun] = field(default_factory=dict)

    @cached_property
    def steps(self) -> NDArray[np.int64]:
        """How many steps each dimension has, from its low end to its high one."""
        return np.array([max(1, round((one.high - one.low) / one.step)) for one in self.free])

    def values(self, steps: Sequence[int] | NDArray[np.int64]) -> Values:
        """Return the values of the dimensions so many steps from their low ends."""
        return tuple(
            min(round(one.low + int(step) * one.step, 9), one.high)
            for one, step in zip(self.free, steps, strict=True)
        )

    def places(self, values: Values) -> NDArray[np.int64]:
        """Return how many steps from their low ends values are."""
        pairs = zip(values, self.free, strict=True)
        near = [round((value - one.low) / one.step) for value, one in pairs]
        return np.clip(np.array(near, dtype=np.int64), 0, self.steps)

    def built(self, values: Values) -> Network:
        """Return the cascade with these values.

        Raises
        ------
        ValueError
            If it cannot be built.
        """
        return Dimensions(self.network, self.free, self.made).at(values)

    def trial(self, values: Values) -> TriedDesign:
        """Route the cascade with these values. Remembered."""
        self.trials([values])
        return self.known[values]

    def trials(
        self,
        every: Sequence[Values],
        dearest: Sequence[float] | None = None,
        asked: float = 0.0,
    ) -> list[TriedDesign | None]:
        """Route designs side by side; what comes of it does not depend on how many at a time.

        Parameters
        ----------
        dearest : for each, what a design costs that holds and keeps what is asked for, which it
            has to beat: it is routed no further than to know that it does not, and is then None.
        asked : share of the first storm that is to be kept.
        """
        limits = [math.inf] * len(every) if dearest is None else dearest
        most: dict[Values, float] = {}
        for values, limit in zip(every, limits, strict=True):
            if values not in self.known and self._cost(values) < limit:
                most[values] = max(limit, most.get(values, 0.0))
        begun = self._begun([values for values in most if values not in self.begun])
        self.begun.update(begun)
        going = [values for values in most if self._goes_on(values, most[values], asked)]
        self._finish(going)
        return [self.known.get(values) for values in every]

    def _cost(self, values: Values) -> float:
        if values not in self.costs:
            self.costs[values] = self.cost(values)
        return self.costs[values]

    def _goes_on(self, values: Values, dearest: float, asked: float) -> bool:
        """Tell whether the first storm leaves it open that a design is worth having."""
        begun = self.begun[values]
        return math.isinf(dearest) or (begun.short <= _MET and begun.kept_share >= asked - _MET)

    def _begun(self, every: Sequence[Values]) -> dict[Values, _Begun]:
        """Route the first storm."""
        networks: dict[Values, Network] = {}
        found: dict[Values, _Begun] = {}
        for values in every:
            try:
                networks[values] = self.built(values)
            except ValueError:
                found[values] = _Begun(None, 0.0, 0.0, _UNBUILT)
        calls = [partial(self._first, network) for network in networks.values()]
        return found | dict(zip(networks, side_by_side(calls), strict=True))

    def _first(self, network: Network) -> _Begun:
        routed = route(network, self.storms[0], self.pace)
        outside = float(routed.elements.outside_m3.sum())
        kept = outside - float(routed.left_m3)
        limits = replace(self.goals, capture_share=0.0)
        short = shortfall_of(routed, limits, self.pace).total
        return _Begun(network, kept, kept / outside if outside > 0 else 1.0, short)

    def _finish(self, every: Sequence[Values]) -> None:
        """Route the other storms of designs that were begun."""
        pace = replace(self.pace, after_h=min(self.pace.after_h, _AFTER_CHECK_H))

        def over_m(network: Network, storm: StormInflow) -> float:
            return over_crest_m(route(network, storm, pace, keep_series=False))

        calls = [
            partial(over_m, begun.network, storm)
            for begun in map(self.begun.__getitem__, every)
            if begun.network is not None
            for storm in self.storms[1:]
        ]
        found = iter(side_by_side(calls))
        for values in every:
            begun = self.begun[values]
            if begun.network is None:
                self.known[values] = TriedDesign(values, math.inf, 0.0, 0.0, _UNBUILT)
                continue
            short = begun.short + sum(next(found) for _ in self.storms[1:])
            cost = self._cost(values)
            self.known[values] = TriedDesign(values, cost, begun.kept_m3, begun.kept_share, short)
            self.begun[values] = replace(begun, network=None)


def over_crest_m(routed: Routed) -> float:
    """Return how far water stands over crests, of all elements [m]."""
    crests = np.array([one.crest_level_m for one in routed.network.elements])
    return float(np.maximum(routed.elements.peak_level_m - crests, 0.0).sum())


@dataclass(frozen=True, slots=True)
class Searched:
    """What a search found.

    Parameters
    ----------
    best : the cheapest design that holds and keeps what is asked for; where none does, the one
        that falls least short.
    curve : designs that hold and that none beats in both cost and water kept, the cheapest first.
    tries : designs that were routed.
    """

    best: TriedDesign
    curve: tuple[TriedDesign, ...]
    tries: int

    @property
    def met(self) -> bool:
        """Whether any design does what is asked for."""
        return bool(self.curve)


def search(
    space: DesignSpace,
    *,
    tries: int = 2000,
    points: int = 6,
    seed: int = 1,
    starts: Sequence[Values] = (),
) -> Searched:
    """Find the cheapest design that holds, and the curve of cost against water kept.

    Parameters
    ----------
    tries : designs that are routed, about; more find more.
    points : of the curve that are searched for by themselves.
    seed : of the search; the same seed finds the same designs.
    starts : values to begin from, such as those of the design as it stands.

    Raises
    ------
    ValueError
        If nothing is free, or not one design can be built.
    """
    if not space.free:
        raise ValueError("there is no free dimension to search over")
    asked = space.goals.capture_share
    first = tries if points < 2 else int(_POINTS_SHARE * tries)
    ends = (space.values(0 * space.steps), space.values(space.steps))
    found = _cheapest(space, asked, first, seed, (*starts, *ends))
    reachable = max((one.kept_share for one in space.known.values() if one.holds), default=0.0)
    if found.holds and found.kept_share >= asked - _MET and points > 1:
        each = (tries - first) // (points - 1)
        lowest = found.kept_share
        for number in range(1, points):
            share = lowest + number / (points - 1) * (reachable - lowest)
            if share > lowest:
                _cheapest(space, share, each, seed + number, _near(space, share))
    if all(math.isinf(one.cost) for one in space.known.values()):
        raise ValueError("no combination of the free dimensions can be built")
    best = min(space.known.values(), key=lambda one: _rank(one, asked))
    return Searched(best, _curve(space, asked), len(space.begun))


def affordable(space: DesignSpace, most_cost: float) -> tuple[TriedDesign, ...]:
    """Return designs of a search that hold for no more than a cost, those that keep most first."""
    found = [one for one in space.known.values() if one.holds and one.cost <= most_cost]
    return tuple(sorted(found, key=lambda one: (-one.kept_m3, one.cost, one.values)))


def _rank(one: TriedDesign, asked: float) -> tuple[float, float, Values]:
    """Less shortfall first, then less cost."""
    short = one.short + max(asked - one.kept_share, 0.0)
    return (short if short > _MET else 0.0), one.cost, one.values


def _near(space: DesignSpace, share: float) -> tuple[Values, ...]:
    """Return what to begin from where more is asked for: the best that are known."""
    ranked = sorted(space.known.values(), key=lambda one: _rank(one, share))
    return tuple(one.values for one in ranked[: _EACH * len(space.free)])


def _curve(space: DesignSpace, asked: float) -> tuple[TriedDesign, ...]:
    holds = [one for one in space.known.values() if one.holds and one.kept_share >= asked - _MET]
    holds.sort(key=lambda one: (one.cost, -one.kept_m3, one.values))
    curve: list[TriedDesign] = []
    for one in holds:
        if not curve or one.kept_m3 > curve[-1].kept_m3 + 1e-6:
            curve.append(one)
    return tuple(curve)


def _cheapest(
    space: DesignSpace, asked: float, tries: int, seed: int, starts: Sequence[Values]
) -> TriedDesign:
    """Search for the cheapest design that keeps a share, by evolution, then bring it back."""
    first = [one for one in space.trials(list(starts)) if one is not None]
    scale = 1.0 + max((one.cost for one in first if math.isfinite(one.cost)), default=0.0)
    members = max(_FEWEST, _EACH * len(space.free))
    before = len(space.begun)
    to_beat = np.full(members, math.inf)

    def worth(steps: NDArray[np.float64]) -> NDArray[np.float64]:
        """Rate a generation, a column each: its cost where it holds, else more than any cost."""
        every = [space.values(np.round(one).astype(np.int64)) for one in steps.T]
        found = space.trials(every, to_beat.tolist(), asked)
        return np.array([math.inf if one is None else rated(one) for one in found])

    def rated(one: TriedDesign) -> float:
        short, cost, _ = _rank(one, asked)
        return 10 * scale * (1 + short) if short else min(cost, 9 * scale)

    def after_each(intermediate_result: OptimizeResult) -> bool:
        """Note what each member of the next generation has to beat."""
        energies = intermediate_result.population_energies
        to_beat[:] = np.where(energies < 9 * scale, energies, math.inf)
        return len(space.begun) - before >= tries

    left = max(1, tries // members - 1) if (space.steps > 0).all() and tries > members else 0
    while left > 0 and len(space.begun) - before < tries:  # anew where all members have become one
        to_beat[:] = math.inf
        done = differential_evolution(
            worth,
            list(zip(np.zeros(len(space.free)), space.steps, strict=True)),
            integrality=np.ones(len(space.free), dtype=bool),
            init=_population(space, starts, members, seed + left),
            maxiter=left,
            mutation=(0.4, 0.9), recombination=0.8, tol=1e-6, polish=False, rng=seed + left,
            callback=after_each, updating="deferred", vectorized=True,
        )  # fmt: skip
        left -= max(int(done.nit), 1)
        starts = (min(space.known.values(), key=lambda one: _rank(one, asked)).values,)
    best = min(space.known.values(), key=lambda one: _rank(one, asked))
    return _brought_back(space, best, asked)


def _population(
    space: DesignSpace, starts: Sequence[Values], members: int, seed: int
) -> NDArray[np.float64]:
    """Begin at what is given, and at points spread evenly over the bounds."""
    rng = np.random.default_rng(seed)
    count = len(space.free)
    given = np.array([space.places(start) for start in starts[: members // 2]]).reshape(-1, count)
    spread = np.empty((members - len(given), count))
    for column in range(count):
        strata = (rng.permutation(len(spread)) + rng.random(len(spread))) / max(len(spread), 1)
        spread[:, column] = np.round(strata * space.steps[column])
    return np.vstack([given, spread])


def _brought_back(space: DesignSpace, start: TriedDesign, asked: float) -> TriedDesign:
    """Move dimensions alone, then two against each other, while that is better."""
    best = start
    size = np.maximum(space.steps // 4, 1)
    while True:
        better = _moved(space, best, asked, size)
        if better is not best:
            best = better
            continue
        if (size == 1).all():
            return best
        size = np.maximum(size // 2, 1)


def _moved(
    space: DesignSpace, best: TriedDesign, asked: float, size: NDArray[np.int64]
) -> TriedDesign:
    """Return the best of the first neighbours that are better, or the same."""

    def rank(one: TriedDesign) -> tuple[float, float, Values]:
        return _rank(one, asked)

    at = space.places(best.values)
    count = len(space.free)
    moves = [(one, side, -1, 0) for one in range(count) for side in (-1, 1)]
    if count <= _EXCHANGES:
        moves += [
            (one, side, two, -side)
            for one, two in combinations(range(count), 2)
            for side in (-1, 1)
        ]
    near = [_stepped(space, at, size, move) for move in moves]
    holds = best.holds and best.kept_share >= asked - _MET
    to_beat = best.cost if holds else math.inf
    for first in range(0, len(near), _AT_A_TIME):
        batch = near[first : first + _AT_A_TIME]
        found = space.trials(batch, [to_beat] * len(batch), asked)
        better = min((one for one in found if one is not None), key=rank, default=best)
        if rank(better) < rank(best):
            return better
    return best


def _stepped(
    space: DesignSpace, at: NDArray[np.int64], size: NDArray[np.int64], move: tuple[int, ...]
) -> Values:
    """Return the values after one dimension, or two, were moved a step."""
    one, side, two, other = move
    near = at.copy()
    near[one] += side * size[one]
    if two >= 0:
        near[two] += other * size[two]
    return space.values(np.clip(near, 0, space.steps))
