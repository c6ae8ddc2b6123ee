"""``options.html``: designs of one site side by side, in one table and one plate."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

from markupsafe import Markup

from brimline.choose.choice import COST, KEPT, PER_KEPT, Tried, leader, shares_best, turns
from brimline.choose.options import FIGURES, OptionFigures, side_by_side
from brimline.choose.sensitivity import PRICE, TOGETHER
from brimline.elements.building import ITEMS
from brimline.layers.flags import needs_look
from brimline.report import attention
from brimline.report.costs import costs, money
from brimline.report.palette import theme_colours
from brimline.report.plates.frame import MapFrame
from brimline.report.plates.options import bars, option_map
from brimline.report.plates.sensitivity import at_words, factor_words, sensitivity
from brimline.report.plates.svg import theme_variables, themed
from brimline.report.quantities import NINE_IN_TEN
from brimline.report.templates import environment
from brimline.units import counted, shown

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from brimline.choose.choice import Turn
    from brimline.report.results import Results
    from brimline.units import System

WORDS: Final = {
    "cost": "cost before contingency",
    "earth_m3": "earth moved",
    "elements_flagged": "elements that need a person",
    "findings": "findings that need a person",
    "banks_asking": "banks that ask for care",
    "storage_m3": "storage",
    "kept_pct": "kept of the design storm",
    "without_mains_worst_pct": "without mains, worst year",
    "mains_avoided_a_year_m3": "mains spared a year",
}
_QUANTITY: Final = {
    "earth_m3": "earth",
    "storage_m3": "volume",
    "mains_avoided_a_year_m3": "volume",
}
_DESIGN: Final = ("elements", "overflows")
_MOST_FINDINGS: Final = 5
_MARGIN: Final = 0.15  # around what is built, as a share of the longer side


@dataclass(frozen=True, slots=True)
class Alternative:
    """One design and its run.

    Parameters
    ----------
    differs : what its table says in place of the site's, a line a key.
    ran, reused : stages that were worked out for it, and those that were there.
    """

    name: str
    results: Results
    differs: tuple[str, ...] = ()
    ran: int = 0
    reused: int = 0

    @property
    def figures(self) -> OptionFigures:
        """Its figures, from the headline of the run and its layers."""
        results, headline = self.results, self.results.manifest.get("headline", {})

        def known(key: str) -> float | None:
            value = headline.get(key)
            return float(value) if isinstance(value, int | float) else None

        arrives, leaves = known("design_storm_arrives_m3"), known("design_storm_leaves_m3")
        cut, fill = known("cut_m3"), known("fill_m3")
        return OptionFigures(
            self.name,
            # a sum from which prices are missing says less than none
            None if known("rows_without_price") else known("cost"),
            None if cut is None or fill is None else cut + fill,
            known("elements_flagged"),
            _rows(results, "advice"),
            _rows(results, "bank_hazards", flagged=True),
            known("storage_m3"),
            100.0 * (1.0 - leaves / arrives) if arrives and leaves is not None else None,
            known("without_mains_worst_pct"),
            known("mains_avoided_a_year_m3"),
        )

    @property
    def ranges(self) -> dict[str, tuple[float, float]]:
        """Low and high of what is known no better, by figure."""
        found: dict[str, tuple[float, float]] = {}
        bill, earth = costs(self.results), self.results.table("earth_volumes")
        if bill is not None and not bill.unpriced:
            below, above = bill.below_pct / 100, bill.above_pct / 100
            found["cost"] = bill.works * (1 - below), bill.works * (1 + above)
        if earth is not None:
            moved = float(earth[["cut_m3", "fill_m3"]].sum().sum())
            errors = earth[["cut_error_m3", "fill_error_m3"]].to_numpy()
            off = NINE_IN_TEN * math.sqrt(float((errors**2).sum()))
            found["earth_m3"] = max(moved - off, 0.0), moved + off
        draws = self.results.table("sensitivity_draws")
        if draws is not None:
            low, high = draws["kept_pct"].quantile([0.05, 0.95])
            found["kept_pct"] = float(low), float(high)
        return found

    def tried(self, figure: str) -> Tried:
        """Return a figure and what each thing that may be off does to it."""
        found = _records(self.results, "design_sensitivity")
        bill = _records(self.results, "bill")
        items: dict[str, tuple[float, float]] = {}
        if all(row["cost"] == row["cost"] for row in bill):  # none lacks a price
            for row in bill:
                amount, _ = items.get(row["item"], (0.0, 0.0))
                items[row["item"]] = amount + row["amount"], row["rate"]
        own = [row for row in found if row["figure"] == figure]
        return Tried(
            own[0]["base"] if own else math.nan,
            {
                row["factor"]: (row["low_at"], row["high_at"], row["low"], row["high"])
                for row in own
                if row["factor"] != TOGETHER
            },
            items,
            next((row["base"] for row in found if row["figure"] == "kept_m3"), math.nan),
            tuple(row[figure] for row in _records(self.results, "sensitivity_draws")),
        )


def _records(results: Results, name: str) -> list[dict[str, Any]]:
    """Return the rows of a table; none where the run has no such table."""
    frame = results.table(name)
    rows = [] if frame is None else frame.to_dict("records")
    return [{str(key): value for key, value in row.items()} for row in rows]


_CRITERIA: Final = {
    COST: "the cheapest",
    KEPT: "the one that keeps most of the design storm",
    PER_KEPT: "the one that pays least for each cubic metre that it keeps of the storm",
}
_MOST_TURNS: Final = 3


def choices(options: Sequence[Alternative]) -> list[str]:
    """Say by each measure which design is best, how surely, and what would change that."""
    told = []
    for figure, words in _CRITERIA.items():
        tried = {one.name: one.tried(figure) for one in options}
        leads = leader(figure, tried)
        if not leads:
            continue
        shares = shares_best(figure, tried)
        count = len(tried[leads].drawn)
        sure = f", in {shares[leads]:.0%} of {count} worlds in which all is off" if shares else ""
        found = turns(figure, tried)[:_MOST_TURNS]
        then = "; ".join(_turn_words(one, tried) for one in found)
        told.append(f"{leads} is {words}{sure}. " + (then or "Nothing alone changes that"))
    return told


def _turn_words(turn: Turn, tried: Mapping[str, Tried]) -> str:
    words = factor_words(turn.factor)
    if turn.factor.startswith(PRICE):
        item = turn.factor.removeprefix(PRICE)
        rates = [one.items[item][1] for one in tried.values() if item in one.items]
        words += f" at {turn.at * rates[0]:.2f} instead of {rates[0]:.2f}" if rates else ""
    elif told := at_words(turn.factor, turn.at):
        words += f" {told}"
    return f"{turn.then} from {words} on"


def _rows(results: Results, name: str, *, flagged: bool = False) -> float | None:
    frame = results.frames.get(name)
    if frame is None:
        return None
    if not flagged:
        return float(len(frame))
    return float(sum(needs_look(codes.split(";")) for codes in frame["flag"].fillna("")))


def option_rows(options: Sequence[Alternative]) -> list[dict[str, Any]]:
    """Return the designs as rows, the cheapest first, with the ranges of their figures."""
    ranges = {one.name: one.ranges for one in options}
    rows = side_by_side([one.figures for one in options])
    for row in rows:
        for name in FIGURES:
            low, high = ranges[row["name"]].get(name, (None, None))
            row |= {f"{name}_low": low, f"{name}_high": high}
    return rows


def figure_text(name: str, value: float | None, units: System, currency: str) -> str:
    """Show a figure of a design in the units of the site."""
    if value is None:
        return "not known"
    if name == "cost":
        return money(value, currency)
    if name in _QUANTITY:
        return shown(_QUANTITY[name], units).text(value)
    return f"{value:.1f}\N{NO-BREAK SPACE}%" if name.endswith("_pct") else f"{value:.0f}"


def added_text(name: str, row: Mapping[str, Any], units: System, currency: str) -> str:
    """Show what a design adds over the next cheaper one; empty where that is not known."""
    added = row[f"adds_{name}"]
    if not added:
        return ""
    return ("+" if added > 0 else "") + figure_text(name, added, units, currency)


def range_text(name: str, row: Mapping[str, Any], units: System, currency: str) -> str:
    """Show the range of a figure; empty where none is known."""
    low, high = row[f"{name}_low"], row[f"{name}_high"]
    if low is None:
        return ""
    ends = " to ".join(figure_text(name, end, units, currency) for end in (low, high))
    if name == "cost":
        return ends
    outside = row[name] is not None and not low <= row[name] <= high
    return f"5 to 95 %: {ends}" + (", and the figure lies outside" if outside else "")


def verdicts(options: Sequence[Alternative], rows: Sequence[Mapping[str, Any]]) -> list[str]:
    """Say in sentences which design is cheapest, keeps most, and which are beaten."""
    told = list(_without_price(options))
    leads = (("cost", "is the cheapest"), ("kept_pct", "keeps most of the design storm"),
             ("without_mains_worst_pct", "needs least mains in the worst year"))  # fmt: skip
    for name, words in leads:
        known = [row for row in rows if row[name] is not None]
        if len(known) == len(rows) and known:
            best = (max if FIGURES[name] else min)(known, key=lambda row: row[name])
            alike = [row["name"] for row in known if math.isclose(row[name], best[name])]
            told.append(f"{best['name']} {words}" if len(alike) == 1 else
                        f"{', '.join(alike)} are alike: each {words}")  # fmt: skip
    told += [
        f"{row['name']} is beaten in everything that is known by {row['beaten_by']}"
        for row in rows
        if row["beaten_by"]
    ]
    return told


def _without_price(options: Sequence[Alternative]) -> Iterator[str]:
    """Say once of all designs that lack the same prices how many they lack."""
    for lacking, group in _grouped({one.name: tuple(_unpriced(one)) for one in options}).items():
        if lacking:
            costs = "costs" if len(group) == 1 else "cost"
            items = counted(len(lacking), "item of the bill has", "items of the bill have")
            where = "named at the end of the page"
            yield f"what {_listed(group)} {costs} is not known: {items} no price, {where}"


def _grouped(values: Mapping[str, tuple[str, ...]]) -> dict[tuple[str, ...], list[str]]:
    """Return the names that share each value, in order."""
    groups: dict[tuple[str, ...], list[str]] = {}
    for name, value in values.items():
        groups.setdefault(value, []).append(name)
    return groups


def _listed(names: Sequence[str]) -> str:
    *first, last = names
    return f"{', '.join(first)} and {last}" if first else last


def _unpriced(one: Alternative) -> dict[str, float]:
    """Return how much there is of each item of a bill that has no price, by its key."""
    bill = one.results.table("bill")
    if bill is None:
        return {}
    lacking = bill[bill["cost"].isna()].groupby("item", sort=False)["amount"].sum()
    return {str(key): float(amount) for key, amount in lacking.items()}


def unpriced_rows(options: Sequence[Alternative]) -> list[dict[str, Any]]:
    """Name each item that has no price, the key to set, and how much of it each design has."""
    lacking = [_unpriced(one) for one in options]
    return [
        {
            "item": ITEMS[key].title,
            "key": f"rates.{ITEMS[key].rate_key(key)}",
            "amounts": [
                f"{one[key]:.3g} {ITEMS[key].unit}" if key in one else "" for one in lacking
            ],
        }
        for key in dict.fromkeys(key for one in lacking for key in one)
    ]


def _findings(ordered: Sequence[Alternative]) -> list[dict[str, Any]]:
    """Return what to look at first: what all designs share once, then what each has beside."""
    found = {one.name: attention.first_lines(one.results, _MOST_FINDINGS)[0] for one in ordered}
    first, *rest = found.values()
    shared = [line for line in first if rest and all(line in other for other in rest)]
    parts = [{"title": "In every design", "lines": shared}] if shared else []
    for name, lines in found.items():
        own = [line for line in lines if line not in shared]
        parts.append({"title": f"{name}, beside these" if shared and own else name, "lines": own,
                      "none": "Nothing else" if shared else "Nothing"})  # fmt: skip
    return parts


def options_html(options: Sequence[Alternative], rows: Sequence[Mapping[str, Any]]) -> str:
    """Return the page as one HTML text that opens offline.

    Parameters
    ----------
    rows : of `option_rows`.
    """
    by_name = {one.name: one for one in options}
    ordered = [by_name[row["name"]] for row in rows]
    first = ordered[0].results
    units, currency = first.units, first.parameter("rates", "currency") or ""
    frames = [MapFrame.around(one.results, _DESIGN, _MARGIN) for one in ordered]
    frame = MapFrame(
        min(one.west for one in frames), min(one.south for one in frames),
        max(one.east for one in frames), max(one.north for one in frames),
    )  # fmt: skip

    def text(name: str, value: float | None) -> str:
        return figure_text(name, value, units, currency)

    table = [
        {
            "title": title,
            "cells": [
                {
                    "text": text(name, row[name]),
                    "added": added_text(name, row, units, currency),
                    "range": range_text(name, row, units, currency),
                    "best": _is_best(name, row, rows),
                }
                for row in rows
            ],
        }
        for name, title in WORDS.items()
    ]
    return environment().get_template("options.html.j2").render(
        **first.title_block,
        options=[
            {
                "name": one.name,
                "differs": one.differs,
                "ran": one.ran,
                "reused": one.reused,
                "map": Markup(themed(option_map(one.results, frame, f"option-{number}"))),  # noqa: S704
                "worlds": _worlds(one.results, frame, number),
            }
            for number, one in enumerate(ordered)
        ],
        verdicts=verdicts(options, rows),
        choices=choices(ordered),
        findings=_findings(ordered),
        unpriced=unpriced_rows(ordered),
        table=table,
        bars=Markup(themed(bars(rows, WORDS, text))),  # noqa: S704
        light=theme_colours(dark=False) + theme_variables(dark=False),
        dark=theme_colours(dark=True) + theme_variables(dark=True),
        cautions=first.cautions,
    )  # fmt: skip


def _worlds(results: Results, frame: MapFrame, number: int) -> Markup:
    """Draw the design in other worlds; empty where they were not tried."""
    plate = sensitivity(results, frame)
    svg = "" if plate is None else themed(plate.svg).replace("sensitivity-", f"worlds-{number}-")
    return Markup(svg)  # noqa: S704


def _is_best(name: str, row: Mapping[str, Any], rows: Sequence[Mapping[str, Any]]) -> bool:
    known = [one[name] for one in rows if one[name] is not None]
    if row[name] is None or len(known) < 2 or math.isclose(min(known), max(known)):
        return False
    return bool(math.isclose(row[name], max(known) if FIGURES[name] else min(known)))
