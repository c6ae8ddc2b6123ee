"""From what was drawn to what is built: elements, ways out, arrivals, sizes, designed ground.

Everything comes in as typed rows and arrays; `designed` gives one frozen `Design`, and
`designed_ground` makes earth of it. Names are loaded when they are first asked for.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from brimline._lazy import lazily

if TYPE_CHECKING:
    from brimline.design.advising import Advice, Mark, Outcome, advised
    from brimline.design.arrivals import (
        Arrivals,
        ElementCatchment,
        HardGround,
        PipedRoofs,
        SurveyedGround,
        arrivals_of,
    )
    from brimline.design.buried import buried_findings
    from brimline.design.collectors import collectors_of
    from brimline.design.cover import (
        CoverArea,
        CoveredGround,
        SoilArea,
        UsualGround,
        covered_ground,
    )
    from brimline.design.digging import DugDesign, DugElement, dug, quantities_of
    from brimline.design.earth import DesignedGround, designed_ground
    from brimline.design.elements import PlacedElement, placed_elements
    from brimline.design.extent import Extent, extents_of
    from brimline.design.ground_mends import Followed, mends_on_ground
    from brimline.design.level_mends import mends_to_level
    from brimline.design.making import Design, Designed, designed
    from brimline.design.mends import mends_of
    from brimline.design.place_mends import mends_of_place
    from brimline.design.places import BUILDING, KeptClear, misplaced, off_level, too_steep
    from brimline.design.plan import (
        KINDS,
        LAYERS,
        DrawnBasin,
        DrawnBed,
        DrawnDam,
        DrawnDischarge,
        DrawnDownpipe,
        DrawnDrain,
        DrawnElement,
        DrawnFeed,
        DrawnInflow,
        DrawnOverflow,
        DrawnPad,
        DrawnPipe,
        DrawnPond,
        DrawnSwale,
        DrawnTank,
        DrawnWay,
        Plan,
    )
    from brimline.design.plan_changes import PlanChange, changed_plan, changes_of
    from brimline.design.roofs import LedRoof, SizedDownpipe, led_roofs, sized_downpipes
    from brimline.design.rules import ROUTING_STEP_S, DesignRules, SizingRules, UsualWater
    from brimline.design.sizes import SizedCascade, SizedDimension, sized_cascade
    from brimline.design.standing import StandingGround, standing_ground
    from brimline.design.walls import StandingWall, StandingWalls, at_walls
    from brimline.design.ways import (
        RunningGround,
        WayOut,
        WaysOut,
        discharges_of,
        name_near,
        out_of_order,
        running_ground,
        ways_out,
    )

_HOME: Final = {
    "Mark": "advising",
    "Advice": "advising",
    "mends_of_place": "place_mends",
    "mends_on_ground": "ground_mends",
    "advised": "advising",
    "Outcome": "advising",
    "Followed": "ground_mends",
    "BUILDING": "places",
    "KINDS": "plan",
    "LAYERS": "plan",
    "ROUTING_STEP_S": "rules",
    "Arrivals": "arrivals",
    "CoverArea": "cover",
    "CoveredGround": "cover",
    "Design": "making",
    "DesignRules": "rules",
    "Designed": "making",
    "DesignedGround": "earth",
    "DrawnBasin": "plan",
    "DrawnBed": "plan",
    "DrawnDam": "plan",
    "DrawnDischarge": "plan",
    "DrawnDownpipe": "plan",
    "DrawnDrain": "plan",
    "DrawnElement": "plan",
    "DrawnFeed": "plan",
    "DrawnInflow": "plan",
    "DrawnOverflow": "plan",
    "DrawnPad": "plan",
    "DrawnPipe": "plan",
    "DrawnPond": "plan",
    "DrawnSwale": "plan",
    "DrawnTank": "plan",
    "DrawnWay": "plan",
    "DugDesign": "digging",
    "DugElement": "digging",
    "ElementCatchment": "arrivals",
    "dug": "digging",
    "quantities_of": "digging",
    "Extent": "extent",
    "HardGround": "arrivals",
    "KeptClear": "places",
    "PipedRoofs": "arrivals",
    "PlacedElement": "elements",
    "LedRoof": "roofs",
    "Plan": "plan",
    "PlanChange": "plan_changes",
    "RunningGround": "ways",
    "SizedCascade": "sizes",
    "SizedDimension": "sizes",
    "SizedDownpipe": "roofs",
    "SizingRules": "rules",
    "SoilArea": "cover",
    "StandingGround": "standing",
    "StandingWall": "walls",
    "StandingWalls": "walls",
    "SurveyedGround": "arrivals",
    "UsualGround": "cover",
    "UsualWater": "rules",
    "WayOut": "ways",
    "WaysOut": "ways",
    "arrivals_of": "arrivals",
    "at_walls": "walls",
    "buried_findings": "buried",
    "changed_plan": "plan_changes",
    "changes_of": "plan_changes",
    "discharges_of": "ways",
    "collectors_of": "collectors",
    "covered_ground": "cover",
    "designed": "making",
    "designed_ground": "earth",
    "led_roofs": "roofs",
    "mends_of": "mends",
    "mends_to_level": "level_mends",
    "extents_of": "extent",
    "misplaced": "places",
    "name_near": "ways",
    "off_level": "places",
    "out_of_order": "ways",
    "placed_elements": "elements",
    "running_ground": "ways",
    "sized_cascade": "sizes",
    "sized_downpipes": "roofs",
    "standing_ground": "standing",
    "too_steep": "places",
    "ways_out": "ways",
}

__all__ = [
    "BUILDING",
    "KINDS",
    "LAYERS",
    "ROUTING_STEP_S",
    "Advice",
    "Arrivals",
    "CoverArea",
    "CoveredGround",
    "Design",
    "DesignRules",
    "Designed",
    "DesignedGround",
    "DrawnBasin",
    "DrawnBed",
    "DrawnDam",
    "DrawnDischarge",
    "DrawnDownpipe",
    "DrawnDrain",
    "DrawnElement",
    "DrawnFeed",
    "DrawnInflow",
    "DrawnOverflow",
    "DrawnPad",
    "DrawnPipe",
    "DrawnPond",
    "DrawnSwale",
    "DrawnTank",
    "DrawnWay",
    "DugDesign",
    "DugElement",
    "ElementCatchment",
    "Extent",
    "Followed",
    "HardGround",
    "KeptClear",
    "LedRoof",
    "Mark",
    "Outcome",
    "PipedRoofs",
    "PlacedElement",
    "Plan",
    "PlanChange",
    "RunningGround",
    "SizedCascade",
    "SizedDimension",
    "SizedDownpipe",
    "SizingRules",
    "SoilArea",
    "StandingGround",
    "StandingWall",
    "StandingWalls",
    "SurveyedGround",
    "UsualGround",
    "UsualWater",
    "WayOut",
    "WaysOut",
    "advised",
    "arrivals_of",
    "at_walls",
    "buried_findings",
    "changed_plan",
    "changes_of",
    "collectors_of",
    "covered_ground",
    "designed",
    "designed_ground",
    "discharges_of",
    "dug",
    "extents_of",
    "led_roofs",
    "mends_of",
    "mends_of_place",
    "mends_on_ground",
    "mends_to_level",
    "misplaced",
    "name_near",
    "off_level",
    "out_of_order",
    "placed_elements",
    "quantities_of",
    "running_ground",
    "sized_cascade",
    "sized_downpipes",
    "standing_ground",
    "too_steep",
    "ways_out",
]

__getattr__ = lazily(__name__, _HOME)


def __dir__() -> list[str]:
    return __all__
