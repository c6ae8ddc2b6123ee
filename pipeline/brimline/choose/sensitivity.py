"""What a design does where rain, soakage, ground, survey or prices are not as they were taken.

The design stays as it is; the world around it is changed, one thing at a time and then all
together (Latin hypercube, the same draws for every design, so that designs can be compared).
Each factor has a range in which its true value lies nine times in ten; between and beyond its
ends the factor is taken as normal, or as log-normal where it multiplies.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import TYPE_CHECKING, Final

import numpy as np

from brimline.cascade import route
from brimline.rainfall import MixedGround, Storm

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence

    from numpy.typing import NDArray

    from brimline.cascade import Network
    from brimline.design import Arrivals, Design

NINE_IN_TEN: Final = 1.6448536269514722  # standard errors to either side
RAIN, SOAKAGE, CURVE, CATCHMENT, EARTH = "rain", "soakage", "curve number", "catchments", "earth"
TOGETHER: Final = "all together"
ADDED: Final = frozenset({CURVE, CATCHMENT, EARTH})  # added to what was taken, not multiplied
PRICE: Final = "price: "
WORST_YEAR: Final = "without_mains_worst_pct"
_STEP_S: Final = 300.0
_AFTER_STEP_S: Final = 1800.0


def price_of(item: str) -> str:
    """Return the name of the factor that an item's price is."""
    return f"{PRICE}{item}"


@dataclass(frozen=True, slots=True)
class Ranges:
    """How far off each thing may be: nine times in ten its true value lies within.

    Parameters
    ----------
    rain_share : of the depth of the storm, above and below.
    soakage_factor : by which tested rates are multiplied and divided.
    curve_number : above and below that of all open ground.
    catchments : element to low and high end of its ground, over the estimate.
    earth_m3 : standard errors of all cut and of all fill [m³].
    price_share : of each price, above and below.
    """

    rain_share: float = 0.15
    soakage_factor: float = 2.0
    curve_number: float = 5.0
    catchments: Mapping[str, tuple[float, float]] = field(default_factory=dict)
    earth_m3: tuple[float, float] = (0.0, 0.0)
    price_share: float = 0.25


@dataclass(frozen=True, slots=True)
class WorldOutcome:
    """What a design comes to in one world.

    Parameters
    ----------
    kept_pct, kept_m3 : of what the storm brings, that does not leave.
    over_safe_m : deepest that water stands within a freeboard or over a crest; 0 where nowhere.
    cost : of the works; NaN where prices are missing.
    """

    kept_pct: float
    kept_m3: float
    over_safe_m: float
    earth_m3: float
    cost: float

    @property
    def cost_per_kept(self) -> float:
        """Cost of each cubic metre that is kept of the storm."""
        return self.cost / self.kept_m3 if self.kept_m3 > 0 else math.nan


FIGURES: Final = ("kept_pct", "kept_m3", "over_safe_m", "earth_m3", "cost", "cost_per_kept")


@dataclass(frozen=True, slots=True)
class Priced:
    """The bill: amount and price of each item, and how much earth is moved.

    Parameters
    ----------
    items : item to its amount and price; None where a price is missing.
    """

    items: Mapping[str, tuple[float, float]] | None
    earth_m3: float = 0.0

    def cost(self, factors: Mapping[str, float], more_m3: tuple[float, float]) -> float:
        """Return the sum with other prices, and so much more cut and fill than measured."""
        if self.items is None:
            return math.nan
        more = {"cut": more_m3[0], "fill": more_m3[1]}
        total = 0.0
        for item, (amount, price) in self.items.items():
            factor = factors.get(price_of(item), 1.0)
            total += (amount + more.get(item, 0.0)) * price * factor
        return total


@dataclass(frozen=True, slots=True)
class Effect:
    """What one factor does to the outcome.

    Parameters
    ----------
    low_at, high_at : values of the factor: a multiple, or what is added to a curve number; NaN
        for all together.
    low, high : outcomes there; of all together the 5th and 95th percentile of each figure.
    """

    factor: str
    low_at: float
    high_at: float
    low: WorldOutcome
    high: WorldOutcome


@dataclass(frozen=True, slots=True)
class FigureSwing:
    """What a factor does to one figure; fields are named as columns of design_sensitivity.

    Parameters
    ----------
    base, low, high : the figure as everything was taken, and at both ends of the factor.
    """

    figure: str
    factor: str
    low_at: float
    high_at: float
    base: float
    low: float
    high: float

    @property
    def swing(self) -> float:
        """How far the two ends lie apart."""
        return abs(self.high - self.low)

    @property
    def outside(self) -> bool:
        """Whether the figure as everything was taken lies beyond both ends."""
        return not min(self.low, self.high) <= self.base <= max(self.low, self.high)

    @property
    def known(self) -> bool:
        """Whether all three are."""
        return all(math.isfinite(one) for one in (self.base, self.low, self.high))


@dataclass(frozen=True, eq=False)
class OtherWorld:
    """A design, its storm and its bill, ready to be asked what if.

    Parameters
    ----------
    storm : the design storm.
    """

    design: Design
    storm: Storm
    priced: Priced
    ranges: Ranges

    @cached_property
    def factors(self) -> tuple[str, ...]:
        """Everything that may be off, prices last."""
        own = [RAIN, SOAKAGE, CURVE]
        own += [CATCHMENT] if self.ranges.catchments else []
        own += [EARTH] if any(self.ranges.earth_m3) else []
        items = self.priced.items or {}
        return (*own, *(price_of(item) for item, (amount, _) in items.items() if amount > 0))

    def value(self, factor: str, errors: float) -> float:
        """Value of a factor so many standard errors off."""
        ends = self.ranges
        at = errors / NINE_IN_TEN
        if factor == CURVE:
            return at * ends.curve_number
        if factor in (CATCHMENT, EARTH):
            return at  # in units of their own ends
        if factor == SOAKAGE:
            return math.pow(ends.soakage_factor, at)
        return math.pow(1 + (ends.rain_share if factor == RAIN else ends.price_share), at)

    def outcome(self, errors: Mapping[str, float]) -> WorldOutcome:
        """Return what the design comes to with factors so many standard errors off."""
        at = {name: self.value(name, off) for name, off in errors.items()}
        outside, kept, over_m = self._storm(
            at.get(RAIN, 1.0), at.get(SOAKAGE, 1.0), at.get(CURVE, 0.0), at.get(CATCHMENT, 0.0)
        )
        off = at.get(EARTH, 0.0) * NINE_IN_TEN
        more = (off * self.ranges.earth_m3[0], off * self.ranges.earth_m3[1])
        return WorldOutcome(
            100 * kept / outside if outside > 0 else math.nan,
            kept,
            over_m,
            self.priced.earth_m3 + sum(more),
            self.priced.cost(at, more),
        )

    def _storm(
        self, rain: float, soakage: float, curve: float, catchment: float
    ) -> tuple[float, float, float]:
        """Route the storm: what it brings, what is kept [m³], deepest over what is safe [m]."""
        key = (rain, soakage, curve, catchment)
        if key not in self._known:
            storm = replace(self.storm, depth_mm=rain * self.storm.depth_mm)
            arrivals = _shedding(self.design.arrivals, curve)
            if catchment:
                arrivals = arrivals.larger(
                    {
                        name: (high if catchment > 0 else low) ** abs(catchment)
                        for name, (low, high) in self.ranges.catchments.items()
                    }
                )
            inflow = arrivals.of(storm, _STEP_S).thinned()
            pace = replace(self.design.pace, after_step_s=_AFTER_STEP_S)
            routed = route(_soaking(self.design.network, soakage), inflow, pace)
            safe = np.array([one.highest_safe_m for one in routed.network.elements])
            over = np.maximum(routed.elements.peak_level_m - safe, 0.0)
            outside = float(routed.elements.outside_m3.sum())
            left = float(routed.left_m3)
            self._known[key] = outside, outside - left, float(over.max(initial=0.0))
        return self._known[key]

    @cached_property
    def _known(self) -> dict[tuple[float, ...], tuple[float, float, float]]:
        return {}

    @cached_property
    def base(self) -> WorldOutcome:
        """What the design comes to as everything was taken."""
        return self.outcome({})

    def one_at_a_time(self) -> list[Effect]:
        """Move each factor to both ends of its range, all others as they were taken."""
        found = []
        for name in self.factors:
            low, high = (self.outcome({name: side * NINE_IN_TEN}) for side in (-1, 1))
            low_at, high_at = (self.value(name, side * NINE_IN_TEN) for side in (-1, 1))
            found.append(Effect(name, low_at, high_at, low, high))
        return found

    def drawn(self, count: int, seed: int) -> list[WorldOutcome]:
        """Move all factors at once, `count` times.

        The same count and seed move the same factors of two designs alike, whatever else they
        have, so that their outcomes can be compared draw by draw.
        """
        errors = {name: _errors(name, count, seed) for name in self.factors}
        return [
            self.outcome({name: float(one[draw]) for name, one in errors.items()})
            for draw in range(count)
        ]


def figure_swings(effects: Sequence[Effect], base: WorldOutcome) -> list[FigureSwing]:
    """Return what each factor does to each figure; what does nothing is left out."""
    every = (
        FigureSwing(
            figure, one.factor, one.low_at, one.high_at,
            *(float(getattr(at, figure)) for at in (base, one.low, one.high)),
        )
        for one in effects
        for figure in FIGURES
    )  # fmt: skip
    return [one for one in every if one.known and one.swing]


def year_swing(
    world: OtherWorld, of_rain: Callable[[float], float | str | None]
) -> list[FigureSwing]:
    """Return what less rain and more do to the worst year; nothing where it is not known.

    Parameters
    ----------
    of_rain : the share met without mains, of so many times the rain [%].
    """
    at = [world.value(RAIN, off) for off in (0.0, -NINE_IN_TEN, NINE_IN_TEN)]
    values = [of_rain(one) for one in at]
    found = FigureSwing(
        WORST_YEAR, RAIN, at[1], at[2], *(math.nan if v is None else float(v) for v in values)
    )
    return [found] if found.known else []


def together(drawn: Sequence[WorldOutcome]) -> Effect:
    """Return the 5th and 95th percentile of every figure over draws."""
    names = FIGURES[:-1]
    values = np.array([[getattr(one, name) for name in names] for one in drawn])
    low, high = np.percentile(values, (5, 95), axis=0)
    return Effect(
        TOGETHER, math.nan, math.nan, WorldOutcome(*low.tolist()), WorldOutcome(*high.tolist())
    )


def _errors(name: str, count: int, seed: int) -> NDArray[np.float64]:
    """Draw standard errors of one factor, one from each of `count` strata."""
    rng = np.random.default_rng([seed, *name.encode()])
    from scipy.stats import norm, qmc  # a second to load; pages ask this module for words only

    column: NDArray[np.float64] = qmc.LatinHypercube(1, rng=rng).random(count)[:, 0]
    return np.asarray(norm.ppf(column), dtype=np.float64)


def _soaking(network: Network, factor: float) -> Network:
    """Return the cascade with all soakage multiplied."""
    if factor == 1.0:
        return network
    elements = tuple(
        replace(one, soak=replace(one.soak, rate_mm_per_h=factor * one.soak.rate_mm_per_h))
        for one in network.elements
    )
    return replace(network, elements=elements)


def _shedding(arrivals: Arrivals, more: float) -> Arrivals:
    """Return arrivals with the curve number of all open ground moved, within 1 to 100."""
    if not more:
        return arrivals
    catchments = {
        name: replace(one, ground=_moved(one.ground, more))
        for name, one in arrivals.catchments.items()
    }
    return replace(arrivals, catchments=catchments)


def _moved(ground: MixedGround, more: float) -> MixedGround:
    areas: dict[float, float] = {}
    for number, area_m2 in zip(ground.curve_numbers, ground.areas_m2, strict=True):
        moved = min(max(number + more, 1.0), 100.0)
        areas[moved] = areas.get(moved, 0.0) + area_m2
    return MixedGround(tuple(areas), tuple(areas.values()))
