"""Building: in which order, and the bill of quantities."""

from brimline.elements.building.bill import (
    ITEMS,
    BillRow,
    Item,
    Quantity,
    bill,
    earth_quantities,
    sill_quantities,
    total_cost,
)
from brimline.elements.building.order import Step, Way, build_order

__all__ = [
    "ITEMS",
    "BillRow",
    "Item",
    "Quantity",
    "Step",
    "Way",
    "bill",
    "build_order",
    "earth_quantities",
    "sill_quantities",
    "total_cost",
]
