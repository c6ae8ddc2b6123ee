"""What would mend each finding, with numbers that were proved by routing again."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import partial
from typing import TYPE_CHECKING, Final

from brimline._jit import side_by_side
from brimline.cascade.limits import CascadeLimits
from brimline.cascade.options import Case, options_for
from brimline.cascade.routing import Pace
from brimline.cascade.trial import fine_workshop, workshop

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Mapping

    from brimline.cascade.changes import Option
    from brimline.cascade.findings import Finding
    from brimline.cascade.network import Network
    from brimline.cascade.routing import Routed
    from brimline.cascade.trial import Bench, Workshop

_STRIDE: Final = 1.25
_RISE_M: Final = 0.002  # of a peak; less is what the steps of the routing leave open
_RISE_M3_S: Final = 0.0005


@dataclass(frozen=True, slots=True, eq=False)
class Mend:
    """One change that takes a flag away and brings no other, in the whole cascade.

    Parameters
    ----------
    flag, element_id : the finding that it mends.
    changed_id : element that is changed.
    dimension, unit : what is changed.
    now, to : its value; for levels, 0 and the rise.
    text : the change in words.
    network : the cascade with the change made.
    raised_m, raised_id : how much higher water peaks in the other element that it raises most; 0
        and empty where it raises none [m].
    more_leaves_m3_s : what the peaks grow by that leave the site [m³/s].
    """

    flag: str
    element_id: str
    changed_id: str
    dimension: str
    unit: str
    now: float
    to: float
    text: str
    network: Network
    raised_m: float = 0.0
    raised_id: str = ""
    more_leaves_m3_s: float = 0.0

    @property
    def costs_nothing_elsewhere(self) -> bool:
        """Whether no other element's water and no peak that leaves the site rises by it."""
        return self.raised_m <= _RISE_M and self.more_leaves_m3_s <= _RISE_M3_S


def mends_for(
    routed: Routed,
    findings: Iterable[Finding],
    limits: CascadeLimits | None = None,
    pace: Pace | None = None,
    targets: Mapping[str, str] | None = None,
    *,
    others: Iterable[Finding] = (),
    most: int = 3,
    exact: bool = False,
) -> tuple[Mend, ...]:
    """Find what would mend each finding.

    Each change is the least that does, within the limits; it is searched for on the element and
    what it spills to, and proved on everything that it can reach. Findings that no single change
    mends get none.

    Parameters
    ----------
    routed : routing that kept its series.
    findings : what to mend.
    others : all other findings of the cascade, so that a mend can be seen to bring no new one.
    targets : element to where its overflow would run on the ground, where that was traced.
    most : how many ways to mend one finding to look for.
    exact : try them in steps as short as those of `routed`, where nobody routes them again.
    """
    limits, pace = limits or CascadeLimits(), pace or Pace()
    findings = tuple(findings)
    if routed.series is None:
        raise ValueError("changes can only be tried on a routing that kept its series")
    firsts = {(finding.element_id, finding.flag): finding for finding in reversed(findings)}
    wanted = [
        case
        for finding in findings
        if firsts[finding.element_id, finding.flag] is finding
        and options_for(case := Case(routed, finding, limits, targets or {}))
    ]
    if not wanted:
        return ()
    fine = fine_workshop(routed, (*findings, *others), limits, pace)
    coarse = fine if exact else workshop(routed.network, routed.inflow, limits, pace)
    # where the coarse routing just misses a flag, or has one too many, the fine one is used
    shops = [
        coarse if coarse.flags_of(case.name) == fine.flags_of(case.name) else fine
        for case in wanted
    ]
    calls = [partial(_mends, case, shop, most) for case, shop in zip(wanted, shops, strict=True)]
    return tuple(mend for part in side_by_side(calls) for mend in part)


def told_tries(
    routed: Routed,
    finding: Finding,
    limits: CascadeLimits | None = None,
    targets: Mapping[str, str] | None = None,
) -> str:
    """Say what `mends_for` tries for a finding and how far; empty where nothing is known."""
    case = Case(routed, finding, limits or CascadeLimits(), targets or {})
    return ", ".join(_farthest(option) for option in options_for(case))


def _farthest(option: Option) -> str:
    most = max(option.values, default=option.most)
    what = f"the {option.dimension} of {option.element_id}"
    if option.unit == "m" and option.now == 0:  # a level
        return f"{what} {abs(most):.2f} m {'higher' if most > 0 else 'lower'}"
    return f"{what} of {most:g} {option.unit}".rstrip()


def _mends(case: Case, shop: Workshop, most: int) -> list[Mend]:
    benches: dict[str, Bench] = {}
    found: list[Mend] = []
    for option in options_for(case):
        value = _least(option, case, shop, benches)
        if value is None:
            continue
        raised_m, raised_id, more_m3_s = _elsewhere(option, case, shop, value)
        found.append(
            Mend(
                case.finding.flag,
                case.name,
                option.element_id,
                option.dimension,
                option.unit,
                option.now,
                value,
                option.text(value),
                option.apply(case.network, value),
                raised_m,
                raised_id,
                more_m3_s,
            )
        )
        if len(found) == most:
            break
    return found


def _elsewhere(
    option: Option, case: Case, shop: Workshop, value: float
) -> tuple[float, str, float]:
    """Tell what a change does to the peaks of all other elements, and to what leaves the site."""
    bench = shop.reached_by(lambda network: option.apply(network, value))
    if bench is None:
        return 0.0, "", 0.0
    before, after = bench.routed(), bench.routed(lambda network: option.apply(network, value))
    own = {option.element_id, case.name}
    rises = [
        (now - was, name)
        for name, was, now in zip(
            bench.network.index,
            before.elements.peak_level_m.tolist(),
            after.elements.peak_level_m.tolist(),
            strict=True,
        )
        if name not in own and now > was
    ]
    raised_m, raised_id = max(rises, default=(0.0, ""))
    left = (_leaving_m3_s(routed, case.network) for routed in (before, after))
    was_m3_s, now_m3_s = left
    return raised_m, raised_id if raised_m > _RISE_M else "", max(now_m3_s - was_m3_s, 0.0)


def _leaving_m3_s(routed: Routed, whole: Network) -> float:
    """Add up the peaks of the ways that lead to no element."""
    return float(
        sum(
            peak
            for link, peak in zip(routed.ways, routed.links.peak_m3_s.tolist(), strict=True)
            if link.to_id not in whole.index
        )
    )


def _mending(option: Option, case: Case, bench: Bench, value: float) -> bool:
    return bench.mends(lambda network: option.apply(network, value), case.name, case.finding.flag)


def _proved(option: Option, case: Case, shop: Workshop, value: float) -> bool:
    """Try a change on everything that it can reach."""
    bench = shop.reached_by(lambda network: option.apply(network, value))
    return bench is not None and _mending(option, case, bench, value)


def _least(option: Option, case: Case, shop: Workshop, benches: dict[str, Bench]) -> float | None:
    """Find the least change that mends; None where none does.

    It is searched for near the element, and proved on all that it can reach.
    """
    if option.everywhere:
        return _search(option, lambda value: _proved(option, case, shop, value))
    if option.target not in benches:
        beyond = {option.target, *(link.to_id for link in case.network.ways_out(case.name))}
        benches[option.target] = shop.near({case.name, *beyond & set(case.network.index)})
    near = benches[option.target]
    value = _search(option, lambda value: _mending(option, case, near, value))
    return value if value is not None and _proved(option, case, shop, value) else None


def _search(option: Option, mends: Callable[[float], bool]) -> float | None:
    if option.values:
        return next((value for value in option.values if mends(value)), None)
    return _least_by_halving(option, mends)


def _least_by_halving(option: Option, mends: Callable[[float], bool]) -> float | None:
    """Go outward in growing strides to a value that mends, then halve back to the least one.

    Going further can bring another flag, so the strides grow by a quarter only: a window of
    change that is wider than that is not stepped over.
    """
    sign = math.copysign(1.0, option.most - option.now)
    origin = math.floor(sign * option.now / option.step + 1e-9)

    def value_at(steps: int) -> float:
        return round(sign * (origin + steps) * option.step, 6)

    last = math.floor(abs(option.most - option.now) / option.step + 1e-9)
    if option.guess is not None:
        steps = max(math.ceil(sign * option.guess / option.step - origin - 1e-6), 1)
        if steps <= last and mends(value_at(steps)):
            return value_at(steps)
    failed, steps = 0, 1
    while not mends(value_at(steps)):
        if steps >= last:
            return None
        failed, steps = steps, min(max(steps + 1, math.ceil(steps * _STRIDE)), last)
    while steps - failed > 1:
        middle = (failed + steps) // 2
        if mends(value_at(middle)):
            steps = middle
        else:
            failed = middle
    return value_at(steps)
