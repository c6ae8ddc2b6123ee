"""Building: an element as shapes and stakes, in which order, and the bill of quantities."""

from brimline.elements.building.bill import (
    ITEMS,
    BillRow,
    Item,
    Quantities,
    Quantity,
    bill,
    earth_quantities,
    over_bank_quantities,
    sill_quantities,
    total_cost,
)
from brimline.elements.building.buried import (
    DEEP_M,
    Refilled,
    Trench,
    bed_stakes,
    fitting_quantities,
    pit_of,
    pit_stakes,
    usual_width_m,
)
from brimline.elements.building.ground_shapes import (
    Building,
    Outfall,
    PathDip,
    SillAt,
    filling_m,
    shapes_of,
    uphill_left,
)
from brimline.elements.building.order import Step, Way, build_order
from brimline.elements.building.pads import Plane, pad_of
from brimline.elements.building.profiles import SectionProfile, profiles
from brimline.elements.building.setting_out import Margins, StakeSpacing, set_out

__all__ = [
    "DEEP_M",
    "ITEMS",
    "BillRow",
    "Building",
    "Item",
    "Margins",
    "Outfall",
    "PathDip",
    "Plane",
    "Quantities",
    "Quantity",
    "Refilled",
    "SectionProfile",
    "SillAt",
    "StakeSpacing",
    "Step",
    "Trench",
    "Way",
    "bed_stakes",
    "bill",
    "build_order",
    "earth_quantities",
    "filling_m",
    "fitting_quantities",
    "over_bank_quantities",
    "pad_of",
    "pit_of",
    "pit_stakes",
    "profiles",
    "set_out",
    "shapes_of",
    "sill_quantities",
    "total_cost",
    "uphill_left",
    "usual_width_m",
]
