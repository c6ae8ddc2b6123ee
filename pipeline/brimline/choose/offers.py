"""Which designs of a search are offered: those that hold as routed step by step, by their cost."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from itertools import pairwise
from typing import TYPE_CHECKING, Final

from brimline.cascade import route, shortfall_of, value_of
from brimline.choose.search import affordable, over_crest_m, search
from brimline.design.plan_changes import changes_text, plan_changes
from brimline.errors import Problem, Severity
from brimline.units import counted

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from brimline.cascade import StormInflow
    from brimline.choose.search import DesignSpace, Searched, TriedDesign, Values
    from brimline.design import Design

_WHERE: Final = "search"
_ROUTED: Final = 5  # designs within a budget that are routed step by step, the best first
_LEAST_M3: Final = 0.05  # of water kept, to tell what more of it costs


@dataclass(frozen=True, slots=True)
class OfferedDesign:
    """One of the designs that a search shows; fields are named as columns of searched_designs."""

    design_id: str
    cost: float
    kept_m3: float
    kept_pct: float
    holds: bool
    offered: str
    change: str
    further_water_cost: float | None = None

    @property
    def flags(self) -> tuple[str, ...]:
        """Why a person must look before taking it."""
        return () if self.holds else ("goal-missed",)


@dataclass(frozen=True, slots=True)
class OfferedSize:
    """One free dimension of a design; fields are named as columns of searched_sizes."""

    design_id: str
    element_id: str
    dimension: str
    value_now: float
    value: float
    lowest: float
    highest: float


@dataclass(frozen=True, slots=True)
class Effort:
    """How much is tried; see `brimline.choose.search.search`."""

    tries: int
    points: int
    seed: int


@dataclass(frozen=True, slots=True)
class Offers:
    """What is offered, the cheapest first, and what there is to say of it."""

    designs: list[OfferedDesign]
    sizes: list[OfferedSize]
    problems: list[Problem]


@dataclass(frozen=True, eq=False)
class Choosing:
    """What designs are chosen among, and what the works may cost.

    Parameters
    ----------
    space : what may be chosen, with storms joined to fewer steps.
    inflows : the same storms as they are.
    bill : cost of the design as drawn.
    most_cost : of the works; None is any.
    """

    space: DesignSpace
    inflows: Sequence[StormInflow]
    design: Design
    effort: Effort
    bill: float
    most_cost: float | None = None

    def offers(self) -> Offers:
        """Search, and route what is found step by step.

        Raises
        ------
        ValueError
            If not one design can be built.
        """
        found = self._searched(self.space)
        kept = [one for one in found.curve if self._holds(one)]
        too_dear = not kept or self._whole + kept[0].cost > (self.most_cost or 0.0)
        if self.most_cost is not None and too_dear:
            # what was asked for cannot be had for it: what less water kept costs
            goals = replace(self.space.goals, capture_share=0.0)
            self._searched(replace(self.space, goals=goals))
        within, problems = self._within()
        shown = {one.values: one for one in (*_spread(kept, self.effort.points), *within)}
        if not kept:
            shown[found.best.values] = found.best
        ranked = sorted(shown.values(), key=lambda one: one.cost)
        named = {f"s{number}": one for number, one in enumerate(ranked, start=1)}
        designs = [
            self._design(name, one, asked=one in kept[:1], affordable=one in within,
                         holds=one in kept or one in within)
            for name, one in named.items()
        ]  # fmt: skip
        sizes = [size for name, one in named.items() for size in self._sizes(name, one.values)]
        return Offers(_with_further_cost(designs), sizes, [self._told(found, kept), *problems])

    @cached_property
    def _now(self) -> Values:
        """Values of the design as it stands, within the bounds."""
        drawn = [value_of(self.design.network, one.element_id, one.dimension)
                 for one in self.space.free]  # fmt: skip
        return self.space.values(self.space.places(tuple(v for v in drawn if v is not None)))

    @cached_property
    def _whole(self) -> float:
        """What the works cost besides the elements with free dimensions."""
        return self.bill - self.space.cost(self._now)

    def _searched(self, space: DesignSpace) -> Searched:
        effort = self.effort
        return search(
            space, tries=effort.tries, points=effort.points, seed=effort.seed, starts=[self._now]
        )

    def _holds(self, one: TriedDesign) -> bool:
        """Tell whether a design holds in the storms as they are, not only in joined steps."""
        network, pace = self.space.built(one.values), self.design.pace
        goals = replace(self.space.goals, capture_share=0.0)
        if not shortfall_of(route(network, self.inflows[0], pace), goals, pace).met:
            return False
        return all(over_crest_m(route(network, two, pace)) <= 0.0 for two in self.inflows[1:])

    def _told(self, found: Searched, kept: Sequence[TriedDesign]) -> Problem:
        routed = f"{counted(found.tries, 'design')} were routed"
        if kept:
            text = f"{routed}; the cheapest that holds keeps {_share(kept[0])}"
            mend = "read searched_designs; brimline apply takes one of them into the plan"
            return Problem(Severity.NOTICE, text, mend, _WHERE)
        best, asked = found.best, self.space.goals.capture_share
        lacks = f" and keeps {best.kept_share:.1%} of the {asked:.1%} asked for" if asked else ""
        text = (
            f"{routed}, and none within the bounds holds; the one that falls least short misses by"
            f" {best.short:.3g}{lacks}"
        )
        mend = "widen the bounds in [search], free more (sill_width_m among them), or ask for less"
        return Problem(Severity.WARNING, text, mend, _WHERE)

    def _within(self) -> tuple[list[TriedDesign], list[Problem]]:
        """Return the design that keeps most for what the works may cost; none if any may."""
        if self.most_cost is None:
            return [], []
        tried = affordable(self.space, self.most_cost - self._whole)[:_ROUTED]
        found = next((one for one in tried if self._holds(one)), None)
        if found is None:
            text = f"no design was found that holds for {self.most_cost:g}"
            mend = "widen the bounds in [search], or raise search.most_cost"
            return [], [Problem(Severity.WARNING, text, mend, _WHERE)]
        text = f"for {self.most_cost:g} a design keeps {_share(found)}"
        mend = "read searched_designs, offered affordable; nothing of it is applied unasked"
        return [found], [Problem(Severity.NOTICE, text, mend, _WHERE)]

    def _design(
        self, name: str, one: TriedDesign, *, asked: bool, affordable: bool, holds: bool
    ) -> OfferedDesign:
        changes = plan_changes(self.design, self.space.built(one.values))
        words = ("both" if affordable else "asked") if asked else "affordable" if affordable else ""
        return OfferedDesign(
            name, self._whole + one.cost, one.kept_m3, 100 * one.kept_share, holds, words,
            changes_text(changes) if changes else "",
        )  # fmt: skip

    def _sizes(self, name: str, values: Values) -> Iterator[OfferedSize]:
        for free, value, now in zip(self.space.free, values, self._now, strict=True):
            yield OfferedSize(
                name, free.element_id, free.dimension, now, value, free.low, free.high
            )


def _share(one: TriedDesign) -> str:
    return f"{one.kept_share:.1%} of the design storm"


def _with_further_cost(designs: Sequence[OfferedDesign]) -> list[OfferedDesign]:
    """Add what each further cubic metre costs over the next cheaper design that holds."""
    holding = [one for one in designs if one.holds]
    further = {
        one.design_id: (one.cost - before.cost) / more_m3
        for before, one in pairwise(holding)
        if (more_m3 := one.kept_m3 - before.kept_m3) > _LEAST_M3
    }
    return [replace(one, further_water_cost=further.get(one.design_id)) for one in designs]


def _spread(curve: Sequence[TriedDesign], most: int) -> list[TriedDesign]:
    """Return so many of the curve, its ends among them, about evenly by the water kept."""
    if len(curve) <= most:
        return list(curve)
    ends = curve[0].kept_m3, curve[-1].kept_m3
    wanted = [ends[0] + part / (most - 1) * (ends[1] - ends[0]) for part in range(most)]
    near = [min(range(len(curve)), key=lambda at: abs(curve[at].kept_m3 - w)) for w in wanted]
    return [curve[at] for at in sorted(set(near))]
