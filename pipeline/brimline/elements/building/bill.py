"""The bill of quantities: what is built, how much of it, at what rate, in which step."""

from __future__ import annotations

import math
from collections import defaultdict
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, NamedTuple

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from brimline.elements.building.ground_shapes import Building, SillAt
    from brimline.elements.building.order import Step
    from brimline.terrain.earthwork import Earth, Haul, Need, Soil


class Item(NamedTuple):
    """What is paid for: its title and unit of measurement."""

    title: str
    unit: str

    def rate_key(self, item: str) -> str:
        """Name of its rate in the configuration, such as ``cut_per_m3``."""
        if self.unit == "each":
            return f"{item}_each"
        return f"{item}_per_{self.unit.replace('³', '3').replace('²', '2')}"


ITEMS: Final[dict[str, Item]] = {
    "strip": Item("Strip topsoil and heap it beside the work", "m³"),
    "cut": Item("Dig, in place", "m³"),
    "fill": Item("Place and compact in mounds and banks, compacted", "m³"),
    "form": Item("Form ditch and mound to line and level", "m"),
    "haul": Item("Load and haul to stockpile, loose", "m³"),
    "haul_fill": Item("Load and haul to another element, loose", "m³"),
    "borrow": Item("Bring fill, loose", "m³"),
    "respread": Item("Spread topsoil", "m³"),
    "seed": Item("Seed bare ground", "m²"),
    "mulch": Item("Mulch bare ground", "m²"),
    "sill_stone": Item("Stone for sills and aprons", "m³"),
    "sill_cloth": Item("Filter cloth under stone", "m²"),
    "gravel": Item("Filling of basins and beds, before it settles: gravel, mulch or soil", "m³"),
    "liner": Item("Lining sheet, laid", "m²"),
    "clay": Item("Clay lining, compacted", "m³"),
    "shelf_plants": Item("Plant a shelf with marsh plants", "m²"),
    "bed_wall": Item("Wall of a raised bed", "m²"),
    "bed_soil": Item("Soil of a raised bed", "m³"),
    "trench": Item("Dig trench or pit, in place", "m³"),
    "bedding": Item("Bed pipe or tank in sand or fine gravel", "m³"),
    "backfill": Item("Fill trench or pit again, in place", "m³"),
    "trench_spoil": Item("Spoil of trench or pit, in place", "m³"),
    "pipe": Item("Pipe, laid", "m"),
    "downpipe": Item("Downpipe or trough, fixed", "m"),
    "tank": Item("Tank, supplied and set", "each"),
    "set_out": Item("Stake, set and levelled", "each"),
}


@dataclass(frozen=True, slots=True)
class Quantity:
    """An amount of one item for one element.

    Parameters
    ----------
    item : key of `ITEMS`.
    note : size or kind, such as a pipe's diameter; amounts with different notes stay apart.

    Raises
    ------
    ValueError
        If the item is not known, or the amount is negative or not finite.
    """

    element_id: str
    item: str
    amount: float
    note: str = ""

    def __post_init__(self) -> None:
        if self.item not in ITEMS:
            raise ValueError(f"{self.item!r} is not an item of the bill: {', '.join(ITEMS)}")
        if not (math.isfinite(self.amount) and self.amount >= 0):
            raise ValueError(f"{self.element_id}: {self.item} must be 0 or more, got {self.amount}")


@dataclass(frozen=True, slots=True)
class Quantities:
    """The amounts of all that a design builds."""

    rows: tuple[Quantity, ...] = ()


@dataclass(frozen=True, slots=True)
class BillRow:
    """One row of the bill.

    Parameters
    ----------
    step : number of the building step in which it falls due; 0 where there is none.
    rate, cost : in the currency of the rates; None where no rate is given.
    """

    step: int
    element_id: str
    item: str
    title: str
    note: str
    amount: float
    unit: str
    rate: float | None
    cost: float | None


def earth_quantities(
    element_id: str, earth: Earth, need: Need, soil: Soil, hauls: Iterable[Haul]
) -> list[Quantity]:
    """Amounts of earth for one element, each in the state in which it is paid for.

    Topsoil is measured in place, digging in place below the topsoil, fill compacted, and hauls
    loose. Bare ground is all that is dug or heaped up, in plan.

    Parameters
    ----------
    hauls : of the site; those that leave or, as borrow, reach the element are taken.
    """
    loose: dict[str, float] = defaultdict(float)
    for haul in hauls:
        if haul.from_id == element_id and haul.kind in ("stockpile", "no place"):
            loose["haul"] += haul.loose_m3
        elif haul.from_id == element_id and haul.kind == "other fill":
            loose["haul_fill"] += haul.loose_m3
        elif haul.to_id == element_id and haul.kind == "borrow":
            loose["borrow"] += haul.loose_m3
    bare_m2 = earth.cut_m2 + earth.fill_m2
    amounts = {
        "strip": need.topsoil_m3,
        "cut": need.spoil_m3,
        "fill": need.fill_m3 * soil.compacted_per_bank,
        **loose,
        "respread": need.respread_m3,
        "seed": bare_m2,
        "mulch": bare_m2,
    }
    return [Quantity(element_id, item, amount) for item, amount in amounts.items() if amount > 0]


def sill_quantities(
    element_id: str,
    width_m: float,
    length_m: float,
    thickness_m: float,
    *,
    side: float = 0.0,
    height_m: float = 0.0,
    note: str = "",
) -> list[Quantity]:
    """Stone and filter cloth of an armoured sill and its apron.

    Parameters
    ----------
    width_m : level width [m].
    length_m : along the flow, from above the crest to the foot of the apron [m].
    thickness_m : of the stone; twice its middle size or more (common practice, no source) [m].
    side, height_m : batter and height of the sloping ends, lined as well [m].

    Raises
    ------
    ValueError
        If a size is negative.
    """
    if min(width_m, length_m, thickness_m, side, height_m) < 0:
        raise ValueError(f"{element_id}: the sizes of a sill must be 0 m or more")
    across_m = width_m + 2 * height_m * math.hypot(1.0, side)
    covered_m2 = across_m * length_m
    return [
        Quantity(element_id, "sill_stone", covered_m2 * thickness_m, note),
        Quantity(element_id, "sill_cloth", covered_m2, note),
    ]  # fmt: skip


def over_bank_quantities(
    element_id: str, sill: SillAt, crest_m: float, how: Building, stone_m: float, apron_m: float
) -> list[Quantity]:
    """Stone and filter cloth of a sill over a bank from toe to toe, and of the apron below it.

    Parameters
    ----------
    crest_m : level of the bank [m].
    stone_m, apron_m : thickness of the stone, and its length beyond the bank [m].
    """
    over_m = max(crest_m - sill.level_m, 0.0)
    along_m = how.top_m + 2 * how.outer * over_m + apron_m
    return sill_quantities(
        element_id, sill.width_m, along_m, stone_m, side=how.sill_batter, height_m=over_m
    )


def bill(
    quantities: Iterable[Quantity], rates: Mapping[str, float], steps: Sequence[Step] = ()
) -> list[BillRow]:
    """Add up and price quantities, in the order of building.

    Parameters
    ----------
    rates : price of one unit by item; items that are left out have no price.
    steps : the building; an element's amounts fall due when it is dug. Elements without a step
        come last.

    Raises
    ------
    ValueError
        If a rate is for an unknown item or negative.
    """
    for item, rate in rates.items():
        if item not in ITEMS:
            raise ValueError(f"{item!r} is not an item of the bill: {', '.join(ITEMS)}")
        if not rate >= 0:
            raise ValueError(f"the rate of {item} must be 0 or more, got {rate}")
    due = {step.element_id: step.number for step in steps if step.action != "open overflow"}
    total: dict[tuple[str, str, str], float] = defaultdict(float)
    for quantity in quantities:
        total[quantity.element_id, quantity.item, quantity.note] += quantity.amount
    place = {item: number for number, item in enumerate(ITEMS)}
    keys = sorted(total, key=lambda key: (due.get(key[0], math.inf), key[0], place[key[1]], key[2]))
    rows = []
    for element_id, item, note in keys:
        amount, price = total[element_id, item, note], rates.get(item)
        cost = None if price is None else amount * price
        title, unit = ITEMS[item]
        rows.append(
            BillRow(
                due.get(element_id, 0), element_id, item, title, note, amount, unit, price, cost
            )
        )
    return rows


def total_cost(rows: Iterable[BillRow]) -> tuple[float, int]:
    """Sum of all priced rows, and how many have no price."""
    rows = list(rows)
    return sum(row.cost for row in rows if row.cost is not None), sum(
        row.cost is None for row in rows
    )
