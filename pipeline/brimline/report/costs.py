"""What the works cost: the bill by element, contingency, and the range that it may end in."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

from brimline.config import Rates

if TYPE_CHECKING:
    from brimline.report.results import Results

_THIN: Final = "\N{NARROW NO-BREAK SPACE}"


@dataclass(frozen=True, slots=True)
class ElementCost:
    """What one element costs; `cost` is None where none of its rows has a rate."""

    element_id: str
    step: int
    cost: float | None
    unpriced: int


@dataclass(frozen=True, slots=True)
class Costs:
    """The whole bill, in the currency of the rates.

    Parameters
    ----------
    currency : as it is written after a sum; empty where nobody has stated it.
    works : sum of all priced rows.
    contingency : what is added for what the ground hides.
    low, high : range that the sum with contingency may end in.
    unpriced : rows of the bill that have no rate, and so no part in any sum.
    """

    elements: tuple[ElementCost, ...]
    currency: str
    works: float
    contingency_pct: float
    low: float
    high: float
    below_pct: float
    above_pct: float
    unpriced: int

    @property
    def contingency(self) -> float:
        """What is added to the works."""
        return self.works * self.contingency_pct / 100

    @property
    def total(self) -> float:
        """Works and contingency."""
        return self.works + self.contingency

    def text(self, amount: float | None) -> str:
        """Show an amount in whole units of the currency."""
        return money(amount, self.currency)

    def about(self, amount: float) -> str:
        """Show an amount to three digits: an estimate is worth no more."""
        return money(float(f"{amount:.3g}"), self.currency)


def money(amount: float | None, currency: str) -> str:
    """Show an amount in whole units with its currency; a dash where there is no price."""
    if amount is None:
        return "not priced"
    text = f"{amount:,.0f}".replace(",", _THIN)
    return f"{text}\N{NO-BREAK SPACE}{currency}" if currency else text


def costs(results: Results) -> Costs | None:
    """Return the costs of a run; None where no row of its bill has a rate."""
    bill = results.table("bill")
    if bill is None or not bill["cost"].notna().any():
        return None
    elements = []
    for name, rows in bill.groupby("element_id", sort=False):
        priced = rows["cost"].dropna()
        cost = float(priced.sum()) if len(priced) else None
        missing = int(rows["cost"].isna().sum())
        elements.append(ElementCost(str(name), int(rows["step"].min()), cost, missing))
    works = float(bill["cost"].sum())
    contingency_pct = float(_rate(results, "contingency_pct"))
    below_pct, above_pct = (float(_rate(results, f"range_{way}_pct")) for way in ("below", "above"))
    total = works * (1 + contingency_pct / 100)
    return Costs(
        tuple(elements),
        str(_rate(results, "currency") or ""),
        works,
        contingency_pct,
        total * (1 - below_pct / 100),
        total * (1 + above_pct / 100),
        below_pct,
        above_pct,
        int(bill["cost"].isna().sum()),
    )


def _rate(results: Results, key: str) -> Any:  # noqa: ANN401 - a value of the configuration
    stated = results.parameter("rates", key)
    return Rates.model_fields[key].default if stated is None else stated
