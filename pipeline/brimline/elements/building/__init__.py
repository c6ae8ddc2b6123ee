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
from brimline.elements.building.ground_shapes import (
    Building,
    Dimensions,
    SillAt,
    dimensions,
    shapes_of,
    uphill_left,
)
from brimline.elements.building.order import Step, Way, build_order

__all__ = [
    "ITEMS",
    "BillRow",
    "Building",
    "Dimensions",
    "Item",
    "Quantity",
    "SillAt",
    "Step",
    "Way",
    "bill",
    "build_order",
    "dimensions",
    "earth_quantities",
    "shapes_of",
    "sill_quantities",
    "total_cost",
    "uphill_left",
]
