"""Designs side by side: what each adds over the next cheaper one, and which are beaten."""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import TYPE_CHECKING, Any, Final

if TYPE_CHECKING:
    from collections.abc import Sequence

# figure of a design: whether more of it is better
FIGURES: Final = {
    "cost": False,
    "earth_m3": False,
    "elements_flagged": False,
    "findings": False,
    "banks_asking": False,
    "storage_m3": True,
    "kept_pct": True,
    "without_mains_worst_pct": True,
    "mains_avoided_a_year_m3": True,
}


@dataclass(frozen=True, slots=True)
class OptionFigures:
    """The figures of one design; None where its run does not know one.

    Parameters
    ----------
    cost : of the works, before contingency, in the currency of the prices.
    earth_m3 : cut and fill together [m³].
    elements_flagged : elements that need a person.
    findings : what is wrong in a way that needs a person, each once.
    banks_asking : banks whose failure would do harm, or that an engineer is asked for.
    storage_m3 : of all elements [m³].
    kept_pct : share of what the design storm brings that does not leave [%].
    without_mains_worst_pct : share of the demand met without mains in the worst year [%].
    mains_avoided_a_year_m3 : mains spared in a mean year [m³].
    """

    name: str
    cost: float | None = None
    earth_m3: float | None = None
    elements_flagged: float | None = None
    findings: float | None = None
    banks_asking: float | None = None
    storage_m3: float | None = None
    kept_pct: float | None = None
    without_mains_worst_pct: float | None = None
    mains_avoided_a_year_m3: float | None = None


def side_by_side(options: Sequence[OptionFigures]) -> list[dict[str, Any]]:
    """Set designs side by side, the cheapest first.

    Returns
    -------
    One row a design: its figures, `adds_` each over the next cheaper one, and `beaten_by`, the
    names of designs that are nowhere worse and somewhere better. A design beats none that knows a
    figure which it does not know itself, or the other way round.
    """
    order = sorted(options, key=lambda one: (one.cost is None, one.cost or 0.0, one.name))
    rows: list[dict[str, Any]] = []
    for place, one in enumerate(order):
        row: dict[str, Any] = {key.name: getattr(one, key.name) for key in fields(one)}
        before = order[place - 1] if place else None
        for name in FIGURES:
            now, then = getattr(one, name), getattr(before, name) if before else None
            row[f"adds_{name}"] = None if now is None or then is None else now - then
        row["beaten_by"] = "; ".join(
            other.name for other in order if other is not one and _beats(other, one)
        )
        rows.append(row)
    return rows


def _beats(one: OptionFigures, other: OptionFigures) -> bool:
    better = False
    for name, more in FIGURES.items():
        mine, theirs = getattr(one, name), getattr(other, name)
        if mine is None and theirs is None:
            continue
        if mine is None or theirs is None:
            return False  # what is not known may be worse
        gain = mine - theirs if more else theirs - mine
        if gain < 0:
            return False
        better |= gain > 0
    return better
