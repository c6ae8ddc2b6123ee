"""Elements, how they overflow, what storms do to them, and stakes."""

from __future__ import annotations

from typing import Final

from brimline.layers.flags import FLAG_COLUMN
from brimline.layers.schema import Column, Geometry, Layer, Table

_ELEMENT_ID: Final = Column("element_id", "text", "Name of the element, unique on the site.")
_STORM: Final = Column("storm", "text", "Name of the storm.")
_FROM_ID: Final = Column("from_id", "text", "Element that it leaves.")
_TO_ID: Final = Column(
    "to_id", "text", "Element or discharge point that it reaches; empty is nowhere.", required=False
)
_OUTLET: Final = Column(
    "outlet", "text", "What it runs through.", values=("sill", "pipe", "orifice", "drain", "brim")
)
_NOTES: Final = Column("notes", "text", "What the flags mean here, in words.", required=False)


def _volume(name: str, meaning: str) -> Column:
    return Column(name, "float", meaning, "m³", 0)


_BALANCE: Final = (
    _STORM,
    _volume("start_m3", "Volume held before the storm."),
    _volume("outside_m3", "Inflow from outside."),
    _volume("left_m3", "Volume that left the cascade."),
    _volume("soaked_m3", "Volume that soaked away."),
    _volume("end_m3", "Volume held when the routing ends."),
    Column("residual_m3", "float", "What the balance does not account for.", "m³"),
    Column("residual_ratio", "float", "The same over all inflow; at most 0.0001 is sound."),
    Column("steps", "int", "Small steps that were routed.", minimum=0),
    Column("missed", "int", "Steps that did not reach the tolerance.", minimum=0),
)
_CHECKED: Final = (
    Column(
        "case",
        "text",
        "What is tried beside the design.",
        values=(
            "storm",
            "frozen ground",
            "high end",
            "pipe blocked",
            "feed left on",
            "bank fails",
        ),
    ),
    _STORM,
    Column(
        "element_id",
        "text",
        "Whose pipe is blocked, which is fed, or whose bank fails; empty for a storm alone.",
        required=False,
    ),
    Column(
        "failure",
        "text",
        "Worst that happens which the design storm alone does not bring: overtopped, or"
        " only the freeboard used up.",
        values=("none", "freeboard", "overtopped"),
    ),
    Column("first_id", "text", "Element that fails first.", required=False),
    Column("first_h", "float", "When, after the storm's begin.", "h", 0, required=False),
    Column(
        "over_m",
        "float",
        "Highest stand over its crest; over the foot of its freeboard where only that is used up.",
        "m",
        required=False,
    ),
    Column("follows", "text", "What else is overtopped.", required=False),
    _volume("overtopped_m3", "Volume that runs over brims."),
    FLAG_COLUMN,
    _NOTES,
)

ITEMS: Final = (
    Layer(
        "elements",
        Geometry.ANY,
        "Elements",
        "Swales, drains, ponds, basins and tanks as designed, with the worst of all storms.",
        (
            _ELEMENT_ID,
            Column(
                "kind", "text", "What it is.", values=("swale", "drain", "pond", "basin", "tank")
            ),
            Column("form", "text", "Its kind in plain words.", required=False),
            Column("drawn", "bool", "True where a person drew it, false where it is a proposal."),
            Column("floor_level_m", "float", "Level of its floor.", "m"),
            Column("spill_level_m", "float", "Level at which it spills.", "m"),
            Column("crest_level_m", "float", "Settled level of its brim.", "m"),
            _volume("storage_m3", "Volume to the spill level."),
            Column("footprint_m2", "float", "Ground that it takes.", "m²", 0),
            Column("depth_m", "float", "Depth to the spill level.", "m", 0),
            Column("length_m", "float", "Length along its line.", "m", 0, required=False),
            Column(
                "spills_to",
                "text",
                "Element or discharge point that it spills to; empty is nowhere.",
                required=False,
            ),
            Column("freeboard_m", "float", "Height that must stay dry below the crest.", "m", 0),
            Column(
                "embankment_height_m",
                "float",
                "Greatest height of fill over the ground below it.",
                "m",
                0,
            ),
            Column("soak_mm_per_h", "float", "Soakage rate designed with.", "mm/h", 0),
            Column("peak_level_m", "float", "Highest level in any storm.", "m", required=False),
            Column(
                "drawdown_h",
                "float",
                "Longest time to drain after a storm; empty where it holds water for good or does"
                " not drain in the time that was routed.",
                "h",
                0,
                required=False,
            ),
            FLAG_COLUMN,
            _NOTES,
        ),
    ),
    Layer(
        "overflows",
        Geometry.LINE,
        "Overflows",
        "Ways that water takes from element to element, with the worst of all storms.",
        (
            _FROM_ID,
            _TO_ID,
            _OUTLET,
            Column("crest_level_m", "float", "Level above which it runs.", "m"),
            Column(
                "drop_m",
                "float",
                "Drop to the spill level, or the bed of a drain, that it reaches; empty where that"
                " is not known.",
                "m",
                required=False,
            ),
            Column("peak_m3_s", "float", "Highest flow in any storm.", "m³/s", 0),
            Column("sill_width_m", "float", "Width of the level sill.", "m", 0, required=False),
            Column("sill_head_m", "float", "Head over the crest at the peak.", "m", 0),
            Column("diameter_mm", "float", "Inside diameter of a pipe.", "mm", 0, required=False),
            Column(
                "speed_m_s",
                "float",
                "Speed over the crest, or along the drain, at the peak.",
                "m/s",
                0,
                required=False,
            ),
            Column("preference", "int", "Order in which the element's outlets take water.", "", 1),
            FLAG_COLUMN,
            _NOTES,
        ),
    ),
    Layer(
        "downpipes",
        Geometry.LINE,
        "Downpipes and troughs",
        "Ways that lead roofs, or parts of them, to elements, sized for the design storm.",
        (
            Column("name", "text", "What it is called."),
            Column("roof", "text", "Name of the surface that it drains."),
            Column("to_id", "text", "Element that it reaches."),
            Column("form", "text", "What it is.", values=("pipe", "trough")),
            Column("share", "float", "Share of the roof that it takes.", "", 0, 1),
            Column("area_m2", "float", "That part as seen from above.", "m²", 0),
            Column("length_m", "float", "Length in plan.", "m", 0),
            Column("peak_m3_s", "float", "Peak of the design storm.", "m³/s", 0),
            Column("diameter_mm", "float", "Inside diameter, or width of a trough.", "mm", 0),
            Column("carries_m3_s", "float", "Most that it carries.", "m³/s", 0),
            FLAG_COLUMN,
        ),
    ),
    Layer(
        "stakes",
        Geometry.POINT_Z,
        "Stakes",
        "Points to set out, at their design level. A survey decides where, a level decides how"
        " high.",
        (
            _ELEMENT_ID,
            Column("stake_id", "text", "Name of the stake, unique on the site."),
            Column("chainage_m", "float", "Distance along the line.", "m", 0),
            Column("ground_m", "float", "Surveyed ground level.", "m"),
            Column("design_m", "float", "Designed level, banks settled.", "m"),
            Column("cut_m", "float", "Ground less design; negative is fill.", "m"),
            Column("build_m", "float", "Level to build to: banks higher by what they settle.", "m"),
            Column(
                "role",
                "text",
                "What is staked: floor, crest, sill, edge, plane, dip, trench, pit, base, mark.",
                required=False,
            ),
            Column("side", "text", "Side of an offset stake; empty on the line.", required=False),
            Column(
                "offset_m",
                "float",
                "Distance of an offset stake from the one it stands for.",
                "m",
                0,
            ),
            Column(
                "above_benchmark_m",
                "float",
                "Level to build to over the benchmark; negative is below.",
                "m",
                required=False,
            ),
            Column(
                "rod_m",
                "float",
                "Reading of a rod on the level to build to, for the instrument set up as"
                " configured; below 0 or over the rod's length it cannot be read.",
                "m",
                required=False,
            ),
            Column(
                "rod_ground_m", "float", "Reading to expect on the ground.", "m", required=False
            ),
            Column(
                "tolerance_m",
                "float",
                "How far the level may be off: the least of the limit under as_built, of the error"
                " that costs as much storage as may be short, and of bears_m.",
                "m",
                0,
                required=False,
            ),
            Column(
                "bears_m",
                "float",
                "Error of level at which the element still works.",
                "m",
                0,
                required=False,
            ),
            Column("because", "text", "What fails beyond bears_m.", required=False),
            Column("say", "text", "What the crew must do first, in words.", required=False),
            Column("latitude_deg", "float", "Latitude, WGS 84.", "°", -90, 90, required=False),
            Column("longitude_deg", "float", "Longitude, WGS 84.", "°", -180, 180, required=False),
            FLAG_COLUMN,
        ),
    ),
    Layer(
        "pads",
        Geometry.MULTIPOLYGON,
        "Pads",
        "Areas brought to a plane.",
        (
            _ELEMENT_ID,
            Column("level_m", "float", "Level at its middle.", "m"),
            Column("fall_pct", "float", "Fall of the plane.", "%", 0),
            Column("falls_to_deg", "float", "Compass bearing that it falls to.", "°", 0, 360),
            FLAG_COLUMN,
        ),
    ),
    Layer(
        "proof_paths",
        Geometry.LINE,
        "Overflows on the designed surface",
        "Where water that spills really runs once everything is dug.",
        (
            _ELEMENT_ID,
            Column(
                "reached_id",
                "text",
                "What it reaches first; empty leaves the data.",
                required=False,
            ),
            FLAG_COLUMN,
        ),
    ),
    Table(
        "design_proof",
        "Water on the designed surface",
        "Whether each element holds water up to its sill and spills to what it should.",
        (
            _ELEMENT_ID,
            Column("spill_level_m", "float", "Level of its sill.", "m"),
            Column("brim_level_m", "float", "Level at which the designed surface spills.", "m"),
            Column("meant_id", "text", "What it should spill to.", required=False),
            Column("reached_id", "text", "What its water reaches first.", required=False),
            _volume("holds_m3", "What the designed surface holds."),
            Column(
                "storage_m3",
                "float",
                "What its section or outline says; of a filling its pores only.",
                "m³",
                0,
            ),
            FLAG_COLUMN,
            _NOTES,
        ),
    ),
    Table(
        "flood_levels",
        "Flood on the designed surface",
        "Highest level in each element by shallow-water flow, beside that of the cascade.",
        (
            _ELEMENT_ID,
            Column("cascade_peak_m", "float", "By the cascade, in the design storm.", "m"),
            Column("flood_peak_m", "float", "By shallow-water flow.", "m"),
            Column("difference_m", "float", "Flood less cascade.", "m"),
            Column("speed_m_s", "float", "Greatest speed on it.", "m/s", 0),
        ),
    ),
    Table(
        "earth_volumes",
        "Earth of each element",
        "Cut and fill from cells, in place, which is what is told and billed; the end areas"
        " of sections are an independent check.",
        (
            _ELEMENT_ID,
            _volume("cut_m3", "Dug, from cells."),
            _volume("fill_m3", "Heaped up and settled, from cells."),
            _volume("built_m3", "Heaped up as built, settlement allowed for."),
            _volume("cut_sections_m3", "Dug, from sections."),
            _volume("fill_sections_m3", "Heaped up and settled, from sections."),
            Column("sections", "int", "Number of sections.", minimum=0),
            _volume(
                "cut_error_m3",
                "Standard error of cut_m3: the survey's, and what cells and sections differ by.",
            ),
            _volume("fill_error_m3", "Standard error of fill_m3, of the same."),
            Column("cut_m2", "float", "Ground dug, in plan.", "m²", 0),
            Column("fill_m2", "float", "Ground heaped over, in plan.", "m²", 0),
            Column("deepest_m", "float", "Deepest cut.", "m", 0),
            Column("highest_m", "float", "Highest fill.", "m", 0),
            _volume("topsoil_m3", "Topsoil stripped."),
            _volume("respread_m3", "Topsoil put back on fill."),
            _volume("spoil_m3", "Dug below the topsoil."),
            _volume("fill_needed_m3", "Needed for its fill, as a volume in place."),
            FLAG_COLUMN,
        ),
    ),
    Table(
        "profiles",
        "Sections through each element",
        "Ground and design along and across each element and over its sills.",
        (
            _ELEMENT_ID,
            Column("profile", "text", "What is cut, such as floor, crest, or across at 20.0 m."),
            Column("kind", "text", "How it is cut.", values=("along", "across", "sill", "dip")),
            Column("at_m", "float", "Distance along the section; across a line 0 is on it.", "m"),
            Column("x_m", "float", "Easting.", "m"),
            Column("y_m", "float", "Northing.", "m"),
            Column("ground_m", "float", "Surveyed ground level.", "m"),
            Column("design_m", "float", "Designed level, banks settled.", "m"),
            Column("build_m", "float", "Level to build to.", "m"),
        ),
    ),
    Table(
        "surface_points",
        "Corners of the triangles to build to",
        "Designed surface of each element for machine guidance, banks built higher.",
        (
            _ELEMENT_ID,
            Column("x_m", "float", "Easting.", "m"),
            Column("y_m", "float", "Northing.", "m"),
            Column("z_m", "float", "Level.", "m"),
        ),
        published=False,
    ),
    Table(
        "surface_faces",
        "Triangles to build to",
        "Three corners each, counted from 0 within the element.",
        (
            _ELEMENT_ID,
            Column("one", "int", "First corner.", minimum=0),
            Column("two", "int", "Second corner.", minimum=0),
            Column("three", "int", "Third corner.", minimum=0),
        ),
        published=False,
    ),
    Table(
        "spoil_hauls",
        "Where the spoil goes",
        "Each element's own mound first, then the nearest fill that lacks it, then a stockpile.",
        (
            Column("from_id", "text", "Element that it leaves; empty is brought.", required=False),
            Column("to_id", "text", "Element or stockpile; empty is nowhere.", required=False),
            Column(
                "kind",
                "text",
                "Why it moves.",
                values=("own fill", "other fill", "stockpile", "no place", "borrow"),
            ),
            _volume("bank_m3", "Volume in place."),
            _volume("loose_m3", "Volume on the way."),
            Column("distance_m", "float", "Straight distance.", "m", 0),
        ),
    ),
    Table(
        "building_steps",
        "Order of building",
        "Outlets made safe, elements from the top down, each overflow when both ends are built.",
        (
            Column("step", "int", "Number of the step, from 1.", minimum=1),
            Column("action", "text", "What is done.", values=("make safe", "dig", "open overflow")),
            _ELEMENT_ID,
            _TO_ID,
            FLAG_COLUMN,
        ),
    ),
    Table(
        "bill",
        "Bill of quantities",
        "What is built and how much of it, in the order of building.",
        (
            Column("step", "int", "Step in which it falls due; 0 is none.", minimum=0),
            _ELEMENT_ID,
            Column("item", "text", "Short name of the item."),
            Column("title", "text", "What is paid for."),
            Column("note", "text", "Size or kind.", required=False),
            Column("amount", "float", "How much.", "", 0),
            Column("unit", "text", "Unit of the amount."),
            Column("rate", "float", "Price of one unit, where given.", "", 0, required=False),
            Column("cost", "float", "Amount times rate.", "", 0, required=False),
        ),
    ),
    Table(
        "storm_results",
        "Storm results by element",
        "What each storm does to each element.",
        (
            _STORM,
            _ELEMENT_ID,
            _volume("outside_m3", "Inflow from outside the cascade."),
            _volume("received_m3", "Inflow from other elements."),
            Column("inflow_peak_m3_s", "float", "Highest inflow.", "m³/s", 0),
            Column("inflow_peak_h", "float", "Its time from the start of the storm.", "h", 0),
            Column("peak_level_m", "float", "Highest level.", "m"),
            Column("peak_h", "float", "Its time from the start of the storm.", "h", 0),
            _volume("peak_storage_m3", "Volume held at the highest level."),
            _volume("start_m3", "Volume held before the storm."),
            _volume("end_m3", "Volume held when the routing ends."),
            _volume("soaked_m3", "Volume that soaked away."),
            _volume("spilled_m3", "Volume that left by its outlets."),
            _volume("overtopped_m3", "Volume that ran over its brim."),
            Column("dry_height_m", "float", "Crest less highest level.", "m"),
            Column(
                "drawdown_h",
                "float",
                "From the end of the rain until it has drained; empty where it does not.",
                "h",
                0,
                required=False,
            ),
            Column("residual_m3", "float", "What the balance does not account for.", "m³"),
            FLAG_COLUMN,
        ),
    ),
    Table(
        "drain_results",
        "Storm results by drain",
        "Uniform flow at each storm's peak, by Manning, and whether the bed stands it.",
        (
            _STORM,
            _ELEMENT_ID,
            Column("fall_pct", "float", "Mean fall of its bed.", "%", 0),
            Column(
                "roughness",
                "float",
                "Manning's n at the peak; of grass it falls as the flow grows.",
                "",
                0,
                required=False,
            ),
            Column("capacity_m3_s", "float", "Flow that leaves the freeboard dry.", "m³/s", 0),
            Column("peak_m3_s", "float", "Highest flow.", "m³/s", 0),
            Column("flow_depth_m", "float", "Depth at the highest flow.", "m", 0),
            Column("speed_m_s", "float", "Mean speed at the highest flow.", "m/s", 0),
            Column("permissible_m_s", "float", "Speed that its bed stands.", "m/s", 0),
            Column(
                "travel_min", "float", "Time through it at that speed.", "min", 0, required=False
            ),
            FLAG_COLUMN,
        ),
    ),
    Table(
        "overflow_results",
        "Storm results by overflow",
        "What each storm sends through each outlet.",
        (
            _STORM,
            _FROM_ID,
            _TO_ID,
            _OUTLET,
            _volume("volume_m3", "Volume that ran through it."),
            _volume("back_m3", "Volume that ran back."),
            Column("peak_m3_s", "float", "Highest flow.", "m³/s", 0),
            Column("peak_h", "float", "Its time from the start of the storm.", "h", 0),
            FLAG_COLUMN,
        ),
    ),
    Table(
        "storm_series",
        "Levels and flows by time",
        "Level at the end of each step, and mean flows over it.",
        (
            _STORM,
            _ELEMENT_ID,
            Column("time_h", "float", "From the start of the storm.", "h", 0),
            Column("level_m", "float", "Water level.", "m"),
            _volume("storage_m3", "Volume held."),
            Column("inflow_m3_s", "float", "Inflow from outside and from elements.", "m³/s", 0),
            Column("outflow_m3_s", "float", "Outflow by all outlets and the brim.", "m³/s"),
            _volume("soaked_m3", "Volume soaked away so far."),
        ),
    ),
    Table(
        "storm_balance",
        "Water balance of each storm",
        "Where the water of the whole cascade went.",
        _BALANCE,
    ),
    Table(
        "storm_range",
        "The design storm on dry and on wet ground",
        "Where the same rain goes on ground that was dry, or soaked, beforehand: the two conditions"
        " beside the average that curve numbers are stated for. Sealed ground sheds as ever.",
        (
            Column("ground", "text", "Ground before the storm.", values=("dry", "wet")),
            *_BALANCE,
        ),
    ),
    Table(
        "check_storms",
        "Beyond the design storm",
        "What fails first in greater and longer storms, on frozen ground, with each pipe blocked in"
        " turn, with each feed left on, and with each bank that holds water failed in turn.",
        _CHECKED,
    ),
    Table(
        "check_high_end",
        "The high end of catchments",
        "What fails first in the design storm where each element gathers as much more ground as the"
        " high end of the range, 5 to 95 %, of the intake nearest to it has over its estimate.",
        _CHECKED,
    ),
    Table(
        "design_sizes",
        "Dimensions sized for the goals",
        "What the design aid chose for each free dimension; none of them can be made smaller.",
        (
            Column("storm", "text", "Storm that they were sized for."),
            _ELEMENT_ID,
            Column("dimension", "text", "What was sized."),
            Column("unit", "text", "Its unit.", required=False),
            Column("value_before", "float", "As drawn, or as usual where left empty."),
            Column("value_sized", "float", "As sized."),
            Column("lowest", "float", "Least value allowed."),
            Column("highest", "float", "Greatest value allowed."),
            Column(
                "bound", "text", "Bound that it stands at.", values=("low", "high"), required=False
            ),
            Column("applied", "bool", "True where the design was built with it."),
            Column("goal_met", "bool", "True where the design meets all its goals."),
            FLAG_COLUMN,
            _NOTES,
        ),
    ),
    Table(
        "cascade_findings",
        "What to look at in the cascade",
        "Each flag of each element in words, with the numbers behind it.",
        (
            Column("storm", "text", "Storm that showed it; empty is any.", required=False),
            _ELEMENT_ID,
            _TO_ID,
            Column("code", "text", "Code of the flag."),
            Column("text", "text", "What was found."),
        ),
    ),
    Table(
        "advice",
        "What to look at first",
        "Each finding that needs a person once, the most dangerous first, with its mend.",
        (
            Column("rank", "int", "Place in the order of danger, from 1.", minimum=1),
            _ELEMENT_ID,
            Column("code", "text", "Code of the flag."),
            Column("x_m", "float", "Easting of the element.", "m"),
            Column("y_m", "float", "Northing of the element.", "m"),
            Column("text", "text", "What was found, and how much."),
            Column(
                "mend_id", "text", "Mend of cascade_mends that was proved for it.", required=False
            ),
            Column("mend", "text", "That mend in words.", required=False),
            Column("does", "text", "What following it does to the rest.", required=False),
            Column("why_none", "text", "Why there is none.", required=False),
        ),
    ),
    Table(
        "cascade_mends",
        "What would mend the cascade",
        "Changes that take a flag away and bring nothing worse, each with what came of it.",
        (
            Column("storm", "text", "Storm that it was proved with.", required=False),
            _ELEMENT_ID,
            Column("code", "text", "Code of the flag that it mends."),
            Column("changed_id", "text", "Element that is changed."),
            Column("dimension", "text", "What is changed."),
            Column("unit", "text", "Unit of the change.", required=False),
            Column("value_now", "float", "Its value now; 0 for a change of level."),
            Column("value_mended", "float", "Its value after; the rise for a change of level."),
            Column("text", "text", "The change in words."),
            Column(
                "raises_id", "text", "Other element whose water it raises most.", required=False
            ),
            Column("raises_m", "float", "Rise of that element's highest water.", "m", 0),
            Column(
                "more_leaves_m3_s",
                "float",
                "What the peaks grow by that leave the site.",
                "m³/s",
                0,
            ),
            Column(
                "mend_id",
                "text",
                "Name for `brimline apply`; the same from run to run as long as"
                " the same change is proposed for the same finding.",
            ),
            Column(
                "safe",
                "bool",
                "True where it raises no other peak and asks for no person's word:"
                " what `brimline apply --all-safe` takes.",
            ),
            Column(
                "proved",
                "text",
                "yes: with it, and with what is advised before it, the plan was designed, routed,"
                " dug and followed again; its finding is gone, and no worse one came. no: it brings"
                " what brings says. not needed: another that is advised mends the same.",
                values=("yes", "no", "not needed", "not tried"),
            ),
            Column(
                "advised",
                "int",
                "Place among the mends to follow together, which `brimline apply --advised` takes;"
                " 0 is not among them.",
                minimum=0,
            ),
            Column(
                "presumes",
                "text",
                "mend_id of those advised that it was found and proved on top of.",
                required=False,
            ),
            Column("clears", "int", "Findings gone with it, its own too.", minimum=0),
            Column("brings", "text", "Findings that come with it.", required=False),
            Column("cut_m3", "float", "More that is dug; below 0 less.", "m³", required=False),
            Column("fill_m3", "float", "More that is heaped up.", "m³", required=False),
            Column(
                "cost",
                "float",
                "What it costs more by the prices of `[rates]`: that earth, stone and cloth of"
                " sills, pipes and their trenches, linings; below 0 less. Empty where it was not"
                " dug, or one of those has no price.",
                required=False,
            ),
            Column(
                "change",
                "text",
                "What it writes into the plan, as JSON: layer, row, values by"
                " column, shape; empty where no column of the plan says it.",
                required=False,
            ),
        ),
    ),
)
