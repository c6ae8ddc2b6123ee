"""What would make another of several designs the better one."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from brimline.choose.sensitivity import ADDED, PRICE

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

COST, PER_KEPT, KEPT = "cost", "cost_per_kept", "kept_pct"
_MORE_IS_BETTER: Final = frozenset({KEPT})
_ALIKE: Final = 1e-9  # of a figure: what comes of summing in another order


@dataclass(frozen=True, slots=True)
class Tried:
    """One figure of one design, and what each factor does to it.

    Parameters
    ----------
    base : as everything was taken.
    ends : factor to its low and high value, and the figure there.
    items : of the bill: amount and price; empty where prices are missing.
    kept_m3 : of the design storm.
    drawn : the figure in worlds where all is off at once, the same worlds for every design.
    """

    base: float
    ends: Mapping[str, tuple[float, float, float, float]]
    items: Mapping[str, tuple[float, float]]
    kept_m3: float
    drawn: Sequence[float] = ()


@dataclass(frozen=True, slots=True)
class Turn:
    """From which value of a factor on another design is the better one.

    Parameters
    ----------
    at : a multiple of what was taken; of curve numbers what is added, of what hangs on the survey
        1 for the high end of its range.
    """

    factor: str
    leads: str
    then: str
    at: float


def leader(figure: str, tried: Mapping[str, Tried]) -> str:
    """Return the design that alone is best in a figure as all was taken; empty if there is none."""
    if not tried or any(not math.isfinite(one.base) for one in tried.values()):
        return ""
    best, *others = sorted(tried, key=lambda name: -_worth(figure, tried[name].base))
    if others and math.isclose(tried[best].base, tried[others[0]].base, rel_tol=_ALIKE):
        return ""
    return best


def turns(figure: str, tried: Mapping[str, Tried]) -> list[Turn]:
    """Find where one factor alone changes which design is best, the nearest first.

    Prices are solved for, whatever their range; other factors are taken as straight between what
    was taken and the ends of their range, and not looked at beyond.

    Parameters
    ----------
    figure : `KEPT`, of which more is better, or `COST` or `PER_KEPT`.
    """
    leads = leader(figure, tried)
    if not leads:
        return []
    found = []
    for factor in dict.fromkeys(name for one in tried.values() for name in one.ends):
        solved = factor.startswith(PRICE) and figure in (COST, PER_KEPT)
        best: Turn | None = None
        for name in tried:
            if name == leads:
                continue
            pair = tried[leads], tried[name]
            at = _price_turn(factor, figure, *pair) if solved else _turn(factor, figure, *pair)
            turn = Turn(factor, leads, name, at)
            if math.isfinite(at) and (best is None or _far(turn) < _far(best)):
                best = turn
        if best is not None:
            found.append(best)
    return sorted(found, key=_far)


def shares_best(figure: str, tried: Mapping[str, Tried]) -> dict[str, float]:
    """Return in which share of the worlds that were drawn each design alone is best in a figure."""
    names = list(tried)
    values = np.array([[_worth(figure, one) for one in tried[name].drawn] for name in names])
    if not values.size or not np.isfinite(values).all():
        return {}
    best = np.isclose(values, values.max(axis=0), rtol=_ALIKE, atol=0.0)
    alone = (best & (best.sum(axis=0) == 1)).mean(axis=1)
    return dict(zip(names, alone.tolist(), strict=True))


def _worth(figure: str, value: float) -> float:
    return value if figure in _MORE_IS_BETTER else -value


def _far(turn: Turn) -> float:
    """How far from what was taken, so that halving is as far as doubling."""
    if turn.factor in ADDED:
        return abs(turn.at)
    return abs(math.log(turn.at)) if turn.at > 0 else math.inf


def _price_turn(factor: str, figure: str, one: Tried, other: Tried) -> float:
    """Multiple of a price at which two costs, or costs of what is kept, are alike; NaN if none."""
    item = factor.removeprefix(PRICE)

    def parts(tried: Tried) -> tuple[float, float]:
        amount, price = tried.items.get(item, (0.0, 0.0))
        per = tried.kept_m3 if figure == PER_KEPT else 1.0
        hangs = amount * price / per
        return tried.base - hangs, hangs

    (rest, hangs), (other_rest, other_hangs) = parts(one), parts(other)
    at = (other_rest - rest) / (hangs - other_hangs) if hangs != other_hangs else math.nan
    return at if at >= 0 else math.nan


def _turn(factor: str, figure: str, one: Tried, other: Tried) -> float:
    """Value of a factor, within its range, at which two designs are alike; NaN if none."""
    middle = 0.0 if factor in ADDED else 1.0
    mine, theirs = one.ends.get(factor), other.ends.get(factor)
    known = mine or theirs
    start = _worth(figure, one.base) - _worth(figure, other.base)
    if known is None or not start > 0:
        return math.nan
    places = []
    for at, side in ((known[0], 2), (known[1], 3)):
        ahead = _worth(figure, mine[side] if mine else one.base)
        ahead -= _worth(figure, theirs[side] if theirs else other.base)
        if ahead < 0:
            places.append(middle + (at - middle) * start / (start - ahead))
    return min(places, key=lambda at: abs(at - middle)) if places else math.nan
