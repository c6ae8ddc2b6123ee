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
from functools import cached_property
from itertools import combinations
from typing import TYPE_CHECKING, Final

import numpy as np
from scipy.optimize import differential_evolution

from brimline.cascade import Dimensions, Goals, route, shortfall_of

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from numpy.typing import NDArray

    from brimline.cascade import Free, Network, Pace, Routed, StormInflow
    from brimline.cascade.design import Changes
    from brimline.elements import Element

Values = tuple[float, ...]
_UNBUILT: Final = 1e12  # what a design that cannot be built falls short by
_MET: Final = 1e-9
_FEWEST: Final = 12  # of a population
_EACH: Final = 4  # members of a population for each dimension
_EXCHANGES: Final = 24  # dimensions up to which all pairs are exchanged
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
        if values not in self.known:
            try:
                network = self.built(values)
            except ValueError:
                self.known[values] = TriedDesign(values, math.inf, 0.0, 0.0, _UNBUILT)
            else:
                self.known[values] = self._tried(values, network)
        return self.known[values]

    def _tried(self, values: Values, network: Network) -> TriedDesign:
        first = route(network, self.storms[0], self.pace)
        outside = float(first.elements.outside_m3.sum())
        kept = outside - float(first.left_m3)
        limits = replace(self.goals, capture_share=0.0)
        short = shortfall_of(first, limits, self.pace).total
        for storm in self.storms[1:]:
            short += over_crest_m(route(network, storm, self.pace))
        share = kept / outside if outside > 0 else 1.0
        return TriedDesign(values, self.cost(values), kept, share, short)


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
    return Searched(best, _curve(space, asked), len(space.known))


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
    scale = 1.0 + max(
        (one.cost for one in map(space.trial, starts) if math.isfinite(one.cost)), default=0.0
    )
    members = max(_FEWEST, _EACH * len(space.free))
    before = len(space.known)

    def worth(steps: NDArray[np.float64]) -> float:
        one = space.trial(space.values(np.round(steps).astype(np.int64)))
        short, cost, _ = _rank(one, asked)
        return 10 * scale * (1 + short) if short else min(cost, 9 * scale)

    if (space.steps > 0).all() and tries > members:
        differential_evolution(
            worth,
            list(zip(np.zeros(len(space.free)), space.steps, strict=True)),
            integrality=np.ones(len(space.free), dtype=bool),
            init=_population(space, starts, members, seed),
            maxiter=max(1, tries // members - 1),
            mutation=(0.4, 0.9), recombination=0.8, tol=1e-6, polish=False, rng=seed,
            callback=lambda *_, **__: len(space.known) - before >= tries,
        )  # fmt: skip
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
    """Return the first neighbour that is better, or the same."""
    at = space.places(best.values)
    count = len(space.free)
    moves = [(one, side, -1, 0) for one in range(count) for side in (-1, 1)]
    if count <= _EXCHANGES:
        moves += [
            (one, side, two, -side)
            for one, two in combinations(range(count), 2)
            for side in (-1, 1)
        ]
    for one, side, two, other in moves:
        near = at.copy()
        near[one] += side * size[one]
        if two >= 0:
            near[two] += other * size[two]
        near = np.clip(near, 0, space.steps)
        trial = space.trial(space.values(near))
        if _rank(trial, asked) < _rank(best, asked):
            return trial
    return best
