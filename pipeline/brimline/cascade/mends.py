"""What would mend each finding, with numbers that were proved by routing again."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from brimline.cascade.limits import Limits
from brimline.cascade.options import Case, options_for
from brimline.cascade.trial import Bench, cut_bench, whole_bench

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Mapping

    from brimline.cascade.changes import Option
    from brimline.cascade.findings import Finding
    from brimline.cascade.network import Network
    from brimline.cascade.routing import Pace, Routed

_STRIDE: Final = 1.25


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


def mends_for(
    routed: Routed,
    findings: Iterable[Finding],
    limits: Limits | None = None,
    pace: Pace | None = None,
    targets: Mapping[str, str] | None = None,
    *,
    most: int = 3,
) -> tuple[Mend, ...]:
    """Find what would mend each finding.

    Each change is the least that does, within the limits; it is searched for on the element and
    what it spills to, and proved on the whole cascade. Findings that no single change mends get
    none.

    Parameters
    ----------
    routed : routing that kept its series.
    findings : all findings of the cascade, so that a mend can be seen to bring no new one.
    targets : element to where its overflow would run on the ground, where that was traced.
    most : how many ways to mend one finding to look for.
    """
    limits = limits or Limits()
    findings = tuple(findings)
    whole = whole_bench(routed, findings, limits, pace)
    found: list[Mend] = []
    seen: set[tuple[str, str]] = set()
    for finding in findings:
        mark = (finding.element_id, finding.flag)
        if mark not in seen:
            seen.add(mark)
            found += _mends(routed, finding, whole, targets or {}, most)
    return tuple(found)


def _mends(
    routed: Routed, finding: Finding, whole: Bench, targets: Mapping[str, str], most: int
) -> list[Mend]:
    options = options_for(Case(routed, finding, whole.limits, targets))
    if not options:
        return []
    benches: dict[str, Bench] = {}
    found: list[Mend] = []
    for option in options:
        value = _least(option, finding, _bench_for(option, finding, routed, whole, benches))
        if value is None or not _proved(option, value, finding, whole):
            continue
        found.append(
            Mend(
                finding.flag,
                finding.element_id,
                option.element_id,
                option.dimension,
                option.unit,
                option.now,
                value,
                option.text(value),
                option.apply(whole.network, value),
            )
        )
        if len(found) == most:
            break
    return found


def _bench_for(
    option: Option, finding: Finding, routed: Routed, whole: Bench, benches: dict[str, Bench]
) -> Bench:
    """Choose what to try an option on, and make it once."""
    if option.everywhere:
        return whole
    if option.target not in benches:
        benches[option.target] = cut_bench(
            routed, finding.element_id, whole.limits, whole.pace, option.target
        )
    return benches[option.target]


def _proved(option: Option, value: float, finding: Finding, whole: Bench) -> bool:
    return whole.mends(
        lambda network: option.apply(network, value), finding.element_id, finding.flag
    )


def _least(option: Option, finding: Finding, bench: Bench) -> float | None:
    """Find the least change that mends on a bench; None where none does."""

    def mends(value: float) -> bool:
        return bench.mends(
            lambda network: option.apply(network, value), finding.element_id, finding.flag
        )

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
