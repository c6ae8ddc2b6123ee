"""The four questions of whoever pays and lives there, answered from the layers.

What is built, what it costs (`costs`), how much water it keeps, and what is risky and who must
look. Values here are plain; words around them are the client page's.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

from brimline.layers import FLAGS
from brimline.report.attention import codes_of
from brimline.units import counted, shown

if TYPE_CHECKING:
    from collections.abc import Iterable

    from pandas import DataFrame

    from brimline.layers.schema import Who
    from brimline.report.results import Results
    from brimline.units import System

_DIGITS: Final = 3  # that a figure of a plan is worth
_DESIGN: Final = (
    "elements", "overflows", "pads", "design_proof", "proof_paths", "storm_results",
    "drain_results", "overflow_results", "earth_volumes", "spoil_hauls", "building_steps", "stakes",
    "planting_check", "bank_hazards", "check_high_end",
)  # fmt: skip
_FIRST: Final[tuple[Who, ...]] = (
    "a licensed engineer",
    "the local authority",
    "the neighbour and the local authority",
    "a hydrologist",
    "the designer",
    "the surveyor",
    "the crew, with a level",
)
KINDS: Final[dict[str, str]] = {
    "swale": "a level ditch with a mound below it, which holds rain until it has soaked in",
    "drain": "an open channel with a gentle fall, which leads water on",
    "pond": "open water, dug out and held by a bank",
    "basin": "a shallow hollow, planted, which fills in rain and soaks away",
    "tank": "a closed store for roof water",
}
_PLAIN: Final[dict[str, str]] = {
    "engineer": "Its bank is so high, or holds so much water, that the law usually asks for a"
    " licensed design and a permit",
    "overtopped": "In the storm that is planned for, water would run over its bank",
    "freeboard": "In the storm that is planned for, less of its bank stays dry than is safe",
    "fails-beyond": "In a greater or longer storm than the one planned for, water runs over its"
    " bank",
    "takes-next": "Were its bank to fail, the water would run over what lies below it",
    "harm-below": "Were its bank to fail, dangerous water could reach a building or a road",
    "no-emergency-way": "What is too much for its pipe has no safe way out over ground",
    "spillway-on-fill": "Its way out in great storms runs over its own bank, which may wear away",
    "fails-high-end": "Were its catchment as large as the survey leaves possible, water would run"
    " over its bank",
    "blocked-pipe": "Were its pipe to block, water would run over its edge",
    "feed-left-on": "Were the water that fills it left on in the storm that is planned for, it"
    " would run over",
    "pipe-only": "A pipe is its only way out: if that blocks, the water has no safe way",
    "near-building": "It holds water close to a building",
    "in-setback": "It lies in ground that is to be kept free of works",
    "outside-boundary": "Part of it lies beyond the boundary of the site",
    "over-boundary": "Its overflow would leave the site",
    "at-building": "Its overflow would run at a building",
    "steep-ground": "It wets ground that is steep, where that can start a slip",
    "no-safe-outlet": "Where its overflow ends is not settled yet",
    "slow-drawdown": "Water stands in it for longer than it should",
    "level-on-site": "Its levels must be set on site with a level before anybody digs: the survey"
    " is not exact enough for that",
    "assumed": "A figure that it rests on was assumed, not measured",
    "outside-method": "How much water reaches it was worked out at the edge of what the method is"
    " good for",
    "short-circuit": "Water may leave it close to where it comes in",
    "leaks": "As drawn, water would find a way out of it below its sill",
    "reaches-other": "As drawn, its overflow would run to something else than it should",
    "fast-flow": "Water in it may run faster than its lining stands",
    "small-outlet": "Its outlet is smaller than the storm asks for",
    "small-drop": "Its sill is barely higher than what it spills to",
}


@dataclass(frozen=True, slots=True)
class Amount:
    """A quantity with the range that it may lie in.

    Parameters
    ----------
    key : stable for machines.
    value : SI.
    low, high : None where no range is known.
    of_range : what the range tells, in words.
    """

    key: str
    title: str
    value: float
    quantity: str
    low: float | None = None
    high: float | None = None
    of_range: str = ""
    note: str = ""

    def text(self, system: System) -> str:
        """Show the value as plainly as it is known."""
        return rounded(self.value, self.quantity, system)

    def range_text(self, system: System) -> str:
        """Show the range; empty where there is none."""
        if self.low is None or self.high is None:
            return ""
        low, high = (rounded(v, self.quantity, system) for v in (self.low, self.high))
        return low if low == high else f"{low} to {high}"


@dataclass(frozen=True, slots=True)
class Risk:
    """Something that can go wrong: in plain words, where, and who must look before it is built."""

    code: str
    what: str
    where: tuple[str, ...]
    who: Who


def rounded(value: float, quantity: str, system: System) -> str:
    """Show an SI value to three digits: more would promise what no plan can keep."""
    unit = shown(quantity, system)
    number = value * unit.per_si
    places = _DIGITS - 1 - math.floor(math.log10(abs(number))) if number else 0
    places = min(places, unit.digits)
    text = f"{round(number, places):z,.{max(places, 0)}f}"
    return f"{text.replace(',', chr(0x202F))}\N{NO-BREAK SPACE}{unit.symbol}"


def storage(results: Results) -> Amount | None:
    """Return what all elements but drains hold, between what two ways of measuring tell."""
    elements = results.layer("elements")
    if elements is None:
        return None
    holding = elements[elements["kind"] != "drain"]
    low = high = total = float(holding["storage_m3"].sum())
    proof, told = results.table("design_proof"), ""
    if proof is not None:
        by_name = dict(zip(holding["element_id"], holding["storage_m3"], strict=True))
        ways = [
            (by_name[name], held + by_name[name] - said)
            for name, held, said in zip(
                proof["element_id"], proof["holds_m3"], proof["storage_m3"], strict=True
            )
            if name in by_name and held == held and said == said
        ]
        low = total + sum(min(0.0, b - a) for a, b in ways)
        high = total + sum(max(0.0, b - a) for a, b in ways)
        told = "from drawn sections, and from the ground as it will be"
    note = counted(len(holding), "element")
    if not told:
        return Amount("storage_m3", "Together they hold", total, "volume", note=note)
    return Amount("storage_m3", "Together they hold", total, "volume", low, high, told, note)


def storm_water(results: Results) -> tuple[Amount, ...]:
    """Return where the water of the design storm goes."""
    balance = results.table("storm_balance")
    if balance is None:
        return ()
    row, other = balance.iloc[0], results.table("storm_range")
    told = "where the ground was dry, or soaked, beforehand"

    def amount(key: str, title: str, column: str) -> Amount:
        value = float(row[column])
        if other is None:
            return Amount(key, title, value, "volume")
        values = [value, *map(float, other[column])]
        return Amount(key, title, value, "volume", min(values), max(values), told)

    return tuple(
        amount(key, title, column)
        for key, title, column in (
            ("storm_arrives_m3", "Runs into the works", "outside_m3"),
            ("storm_soaked_m3", "Soaks into the ground", "soaked_m3"),
            ("storm_leaves_m3", "Is passed on by the last outlet", "left_m3"),
            ("storm_start_m3", "Was in store before", "start_m3"),
            ("storm_end_m3", "Is in store afterwards", "end_m3"),
        )
    )


def year_water(results: Results) -> tuple[Amount, ...]:
    """Return what happens to water in an average year, between the least and the most of all."""
    years, stores = results.table("site_years"), results.table("store_years")
    if years is None:
        return ()
    found = [
        _of_years(years, "caught_m3", "Comes into the works"),
        _of_years(stores, "soaked_m3", "Soaked into the ground"),
        _of_years(stores, "drawn_m3", "Drawn from store for watering and use"),
        _of_years(years, "passed_on_m3", "Passed on to where it always went"),
        _of_years(years, "mains_avoided_m3", "Mains water spared"),
    ]
    return tuple(amount for amount in found if amount is not None)


def risks(results: Results) -> tuple[Risk, ...]:
    """Return what a person must look at in the design, those first whom the law asks for."""
    where: dict[str, dict[str, None]] = {}
    for name in _DESIGN:
        frame = results.table(name)
        if frame is None or "flag" not in frame.columns:
            continue
        for place, codes in _flags(frame):
            for code in codes:
                where.setdefault(code, {})[place] = None
    found = [
        Risk(code, _PLAIN.get(code, flag.meaning.removesuffix(".")), tuple(where[code]), flag.who)
        for code, flag in FLAGS.items()
        if code in where and flag.severity == "look"
    ]
    return tuple(sorted(found, key=lambda risk: _FIRST.index(risk.who)))


def greater_storms(results: Results) -> tuple[tuple[str, str], ...]:
    """Return what storms beyond the design storm do, in words: cases that end alike, and how."""
    alike: dict[str, list[str]] = {}
    for name in ("check_storms", "check_high_end"):
        cases = results.table(name)
        for _, row in cases.iterrows() if cases is not None else ():
            alike.setdefault(_outcome(row), []).append(_case(row))
    return tuple(("; ".join(names), outcome) for outcome, names in alike.items())


def _case(row: Any) -> str:  # noqa: ANN401 - a row
    if row["case"] == "pipe blocked":
        return f"{row['storm']} storm, the pipe of {row['element_id']} blocked"
    if row["case"] == "feed left on":
        return f"{row['storm']} storm, the feed of {row['element_id']} left on"
    if row["case"] == "bank fails":
        return f"{row['storm']} storm, the bank of {row['element_id']} failed"
    if row["case"] == "frozen ground":
        return f"{row['storm']} storm on frozen ground"
    if row["case"] == "high end":
        return f"{row['storm']} storm, with as much ground as may drain there (high end, 95 %)"
    return f"{row['storm']} storm"


def _outcome(row: Any) -> str:  # noqa: ANN401 - a row
    first = row["first_id"] if isinstance(row["first_id"], str) else ""
    if row["failure"] == "overtopped":
        follows = str(row["follows"]).replace(";", ",") if isinstance(row["follows"], str) else ""
        then = f"; then over {follows}" if follows else ""
        return f"water runs over the edge of {first}{then}" if first else "water runs over an edge"
    if row["failure"] == "freeboard":
        return f"nothing runs over, but the safety height of {first} is used up"
    return "nothing runs over"


def _of_years(years: DataFrame | None, column: str, title: str) -> Amount | None:
    """Sum a column by year: its average row, and the least and most of whole years."""
    if years is None or column not in years.columns:
        return None
    average = years[years["year"].isna()]
    if not len(average):
        return None
    whole = years[years["year"].notna() & years["whole"].astype(bool)]
    by_year = whole.groupby("year")[column].sum()
    low, high = (float(by_year.min()), float(by_year.max())) if len(by_year) else (None, None)
    span = f"in the {counted(len(by_year), 'year')} on record" if len(by_year) else ""
    return Amount(column, title, float(average[column].sum()), "volume", low, high, span)


def _flags(frame: DataFrame) -> Iterable[tuple[str, tuple[str, ...]]]:
    column = next((c for c in ("element_id", "from_id") if c in frame.columns), None)
    if column is None:
        return
    places = frame[column]
    if "first_id" in frame.columns:  # a case of a whole storm is of what fails first in it
        places = places.fillna(frame["first_id"])
    for place, value in zip(places, frame["flag"], strict=True):
        codes = codes_of(value)
        if codes and isinstance(place, str) and place:
            yield place, codes
