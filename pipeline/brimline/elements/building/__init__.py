"""Building: in which order, the bill of quantities, and whether it was built as designed."""

from brimline.elements.building.as_built import (
    Ground,
    drain_as_built,
    element_as_built,
    stages_as_built,
    standing_water_m,
)
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
from brimline.elements.building.checking import (
    Asked,
    Checked,
    SillLine,
    Tolerances,
    checked,
    sill_verdict,
)
from brimline.elements.building.ground_shapes import (
    Building,
    Dimensions,
    Outfall,
    SillAt,
    dimensions,
    shapes_of,
    uphill_left,
)
from brimline.elements.building.order import Step, Way, build_order
from brimline.elements.building.pads import Plane, pad_of
from brimline.elements.building.profiles import Profile, profiles
from brimline.elements.building.setting_out import Margins, Spacing, set_out

__all__ = [
    "ITEMS",
    "Asked",
    "BillRow",
    "Building",
    "Checked",
    "Dimensions",
    "Ground",
    "Item",
    "Margins",
    "Outfall",
    "Plane",
    "Profile",
    "Quantity",
    "SillAt",
    "SillLine",
    "Spacing",
    "Step",
    "Tolerances",
    "Way",
    "bill",
    "build_order",
    "checked",
    "dimensions",
    "drain_as_built",
    "earth_quantities",
    "element_as_built",
    "pad_of",
    "profiles",
    "set_out",
    "shapes_of",
    "sill_quantities",
    "sill_verdict",
    "stages_as_built",
    "standing_water_m",
    "total_cost",
    "uphill_left",
]
