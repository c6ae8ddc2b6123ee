"""The flags: why a person must look before using a row, or why it is as it is.

What needs a person (severity ``look``) and what is only told (``notice``) is decided here alone;
the closing table of a run, the report and the map page all count by it.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from brimline.layers.schema import Column, Flag

if TYPE_CHECKING:
    from collections.abc import Iterable

    from brimline.layers.schema import Severity

FLAGS: Final = (
    # intakes and catchments
    Flag(
        "edge-limited",
        "The catchment reaches the edge of the data, so its area is a lower bound.",
        "Get elevation beyond that edge, up to the divide.",
        who="the surveyor",
    ),
    Flag(
        "outside-range",
        "The area lies outside its own range of 5 to 95 % over the ground that the survey leaves"
        " possible: the survey's error draws it too large or too small.",
        "Design by both ends of the range; walk the divide, or survey it more exactly.",
        who="the surveyor",
    ),
    Flag(
        "snap-ambiguous",
        "Two flow paths lie within reach and their areas differ by more than a factor of two.",
        "Move the point onto the path that is meant, or set its snap column to false.",
    ),
    Flag(
        "snap-failed",
        "No flow path above the threshold lies within reach; the point was left where it is.",
        "Move the point, raise drainage.snap_radius_m or lower drainage.snap_area_m2.",
    ),
    Flag(
        "on-filled-ground",
        "It lies in a hollow that was filled for water to run across: flow is told on the fill, not"
        " on the ground, and once the hollow fills it stands under water.",
        "See hollows; draw the pipe that drains it in culverts, keep it by a point in kept_hollows,"
        " or move what lies in it.",
    ),
    Flag(
        "not-ground",
        "It stands up behind steep jumps: a roof, a hedge or trees in a surface that should be bare"
        " ground; levels, flow and stakes there are wrong.",
        "Draw roofs in surfaces with cover roof; hand over bare ground for the rest.",
    ),
    # lines
    Flag(
        "level-error",
        "The drawn line departs from level by more than the tolerance.",
        "Peg the line on site with a level, or raise lines.smooth_m.",
        who="the crew, with a level",
    ),
    Flag(
        "fall-error",
        "The drawn line departs from the stated fall by more than the tolerance.",
        "Peg the line on site with a level.",
        who="the crew, with a level",
    ),
    Flag(
        "at-flow-path",
        "An end stops short of a flow path: holding back concentrated flow is a dam, not a swale.",
        "Cross the path with a culvert or ford, or design a pond there.",
        "notice",
    ),
    Flag(
        "at-steep-ground",
        "An end stops at ground steeper than the limit.",
        "Have steep ground looked at by an engineer before wetting it.",
        "notice",
    ),
    Flag(
        "at-fold",
        "An end stops where the ground folds so sharply that a level line would turn back:"
        " a bank, a ditch, a track.",
        "Cross it on site with a pipe or a level sill, or end the row there.",
        "notice",
    ),
    Flag(
        "at-uneven-ground",
        "An end stops where the survey departs from the line's level by more than the tolerance: a"
        " bump, a rut, or noise.",
        "Look whether the row can be dug on through it.",
        "notice",
    ),
    Flag(
        "at-wrong-fall",
        "An end stops where water on the line would begin to run back to the valley.",
        "Nothing, unless a line is wanted there all the same: then set cultivation.guides to"
        " keypoints.",
        "notice",
    ),
    Flag(
        "not-followed",
        "No cultivation lines follow it: too little of them would fall from valley to ridge.",
        'Nothing; cultivation.guides = "keypoints" draws them all the same.',
        "notice",
    ),
    Flag(
        "at-flat-ground",
        "An end stops where the ground is flatter than the stated fall.",
        "Take a gentler fall, or dig the rest deeper from a level.",
    ),
    Flag(
        "at-hollow",
        "A falling line has turned full circle in a closed hollow and ends there.",
        "Start elsewhere, or end the line at a pond.",
    ),
    Flag(
        "at-keep-out",
        "An end stops at a keep-out area or its setback.",
        "Check the setback.",
        "notice",
    ),
    Flag("at-boundary", "An end stops at the boundary's setback.", "Check the setback.", "notice"),
    Flag(
        "at-data-edge",
        "An end stops where the elevation data stops.",
        "Get more elevation.",
        "notice",
    ),
    Flag(
        "moved",
        "A drawn line was corrected to level by more than the tolerance.",
        "Look at moved_m and moved_level_m and confirm the corrected line.",
    ),
    Flag(
        "undersized",
        "The row and those that it passes on to hold less than reaches them in the design storm.",
        "Enlarge the section, or add a row above.",
    ),
    Flag("short-of-goal", "No line with the asked grade exists.", "Change an end or the grade."),
    Flag(
        "falls-to-valley",
        "Part of the line falls from ridge towards valley and would gather water there.",
        "Shorten the line, or choose another guide line.",
        "notice",
    ),
    Flag(
        "family-falls-to-valley",
        "Less than four fifths of the length of the lines on this side of the keyline carries water"
        " to the ridges.",
        "Choose another keypoint or guide line, or work this side along the contour.",
    ),
    # elements and overflows
    Flag(
        "no-safe-outlet",
        "The overflow does not end at a drawn, named discharge point.",
        "Draw the link or the discharge point.",
        who="the designer",
    ),
    Flag("cycle", "Elements spill into each other in a ring.", "Lower one sill or redraw a link."),
    Flag("uphill", "The element spills to one whose spill level is not lower.", "Lower the sill."),
    Flag(
        "small-drop",
        "The drop to the next spill level is less than building tolerance.",
        "Raise this sill or lower the next one.",
    ),
    Flag(
        "freeboard",
        "Peak water stands closer to the crest than the freeboard.",
        "Widen the sill, lower it, or raise the crest.",
    ),
    Flag(
        "overtopped",
        "Peak water stands above the crest.",
        "Widen the sill or add storage.",
        who="a licensed engineer",
    ),
    Flag(
        "goal-missed",
        "The free dimensions do not meet the stated goals within their bounds.",
        "Widen the bounds, free more dimensions, draw more storage, or ask for less.",
    ),
    Flag(
        "slow-drawdown",
        "Water stands longer than the limit after the storm.",
        "Reduce the depth or add a low outlet.",
    ),
    Flag("small-outlet", "The outlet carries less than the peak.", "Use the larger size stated."),
    Flag(
        "pipe-only",
        "The only way out is a pipe; when it blocks, the water has no safe surface path.",
        "Add a sill above the pipe.",
    ),
    Flag(
        "drowned",
        "Water beyond stands above the sill at the peak, so that it passes less or runs back.",
        "Raise this sill or lower the next one.",
    ),
    Flag(
        "fast-flow",
        "Water runs faster than the lining stands.",
        "Flatten the fall, widen the section, or line it.",
    ),
    Flag(
        "coarse-drain",
        "The drain is longer than its routing can follow: peaks below it may come out too low.",
        "Draw it as two drains, the upper one spilling into the lower.",
    ),
    Flag(
        "shape-limit",
        "The asked depth cannot be dug with these sides inside the outline.",
        "Draw a larger outline, or make the sides steeper.",
    ),
    Flag("assumed", "A value was assumed, not measured.", "Measure it and fill in the column."),
    Flag(
        "settles",
        "Its fill settles, so more is placed than it is deep.",
        "Place it as deep as notes says, and top it up.",
        "notice",
    ),
    Flag(
        "deep-dig",
        "A pit or trench is so deep that its sides may fall on who stands in it.",
        "Batter or shore its sides, and let nobody in alone; local rules decide.",
    ),
    Flag(
        "floats",
        "An empty buried tank is lifted where groundwater rises round it.",
        "Ask how high groundwater stands in a wet winter; anchor the tank, or keep water in it.",
        "notice",
    ),
    Flag(
        "shallow-pipe",
        "A pipe lies under less ground than asked: a wheel or a spade may break it.",
        "Lead it deeper, or protect it.",
    ),
    Flag(
        "out-of-order",
        "Ways out of an element run in another order than asked, because of their levels.",
        "Change crest_level_m or from_level_m of the one that runs too early, or preference.",
    ),
    Flag(
        "dam-in-path",
        "The dip in a path lies higher than the sill above it: the path holds the water.",
        "Lower the dip, or lift the sill.",
    ),
    Flag(
        "small-downpipe",
        "A downpipe or trough carries less than the peak of its roof.",
        "Use the larger size stated, or a second one.",
    ),
    Flag(
        "engineer",
        "Height or stored volume is above the threshold for licensed design and permits.",
        "Have it designed by a licensed engineer and ask for the permit.",
        who="a licensed engineer",
    ),
    Flag(
        "near-building",
        "Held water lies within the setback of a building.",
        "Move the element, or have the foundation checked.",
        who="a licensed engineer",
    ),
    Flag(
        "off-level",
        "The line of a drawn swale departs from level by more than the tolerance: water stands at"
        " its low end and leaves there, and it holds less than is told.",
        "Take a mend of cascade_mends: the line moved onto its level, or stepped in level bays.",
    ),
    Flag(
        "in-setback",
        "The element lies within a keep-out area or its setback.",
        "Move it, or have the local code confirm the setback.",
        who="the local authority",
    ),
    Flag(
        "outside-boundary",
        "Part of the element lies beyond the boundary of the site.",
        "Draw it inside, or correct the boundary.",
        who="the neighbour and the local authority",
    ),
    Flag(
        "steep-ground",
        "The element stands on ground steeper than the limit.",
        "Move it.",
        who="a licensed engineer",
    ),
    Flag(
        "fails-beyond",
        "In a storm greater or longer than the design storm, water runs over its crest.",
        "Widen its sill or raise its crest as far as advice says for that storm, or see where that"
        " water would go.",
    ),
    Flag(
        "fails-frozen",
        "In the design storm on frozen ground, which soaks up nothing, water runs over its crest.",
        "Where winters freeze: widen the sill, and keep it free of ice and snow.",
        "notice",
    ),
    Flag(
        "fails-high-end",
        "Were its catchment as large as the high end of its range, the design storm would run over"
        " its crest.",
        "Widen the sill, or walk the divide and survey it more exactly.",
        who="the surveyor",
    ),
    Flag(
        "blocked-pipe",
        "Were its pipe blocked in the design storm, water would run over a brim.",
        "Draw a sill above the pipe that carries the whole flow to a safe place.",
    ),
    Flag(
        "feed-left-on",
        "Were its feed not switched off in the design storm, water would run over a brim.",
        "Fit a float valve that shuts the feed, and widen its overflow.",
    ),
    Flag(
        "takes-next",
        "Were its bank to fail in the design storm, what it spills to would be overtopped.",
        "Hold less above ground, lead its sill elsewhere, or strengthen what lies below.",
        who="a licensed engineer",
    ),
    Flag(
        "harm-below",
        "Were its bank to fail, water deep and fast enough to be dangerous could reach a building"
        " or a road.",
        "Hold less above ground, move it, or have it designed by a licensed engineer.",
        who="a licensed engineer",
    ),
    Flag(
        "failure-way",
        "Were its bank to fail, its water could reach a building or a road, or leave the site.",
        "Read bank_hazards; keep the bank low, and its way down free.",
        "notice",
    ),
    Flag(
        "spillway-on-fill",
        "The only way out over ground runs over the bank's fill, which the water may wear away.",
        "Lead a second sill over natural ground beside the bank, or armour this one.",
        who="a licensed engineer",
    ),
    Flag(
        "no-emergency-way",
        "A banked pond or basin has no way out over ground for what its pipe cannot take.",
        "Draw an overflow over natural ground above the pipe, to a safe place.",
    ),
    Flag(
        "no-drawdown",
        "Water stands against the bank and no low pipe empties it, for repair or in an emergency.",
        "Draw a pipe with a valve at its floor, or keep a pump that can empty it in days.",
        "notice",
    ),
    Flag(
        "deep-water",
        "Water stands deeper than the limit: people, children above all, can drown.",
        "Fence it where the law asks, or give it a shelf that children can climb out on.",
        "notice",
    ),
    Flag(
        "outside-method",
        "Runoff or its timing is worked out by a relation outside of what it was made for.",
        "Read notes; measure flow on site, or have a hydrologist choose the method.",
        "notice",
        who="a hydrologist",
    ),
    # earthworks and stakes
    Flag(
        "level-on-site",
        "The survey errs by more than levels of this element may: level on site before digging.",
        "Set the stake's level with a laser or optical level from the benchmark.",
        who="the crew, with a level",
    ),
    Flag(
        "off-rod",
        "From where the instrument stands, the rod does not reach this level or the ground.",
        "Carry the level on to a nearer place and work out the readings from there.",
        "notice",
    ),
    Flag(
        "leaks",
        "On the designed surface water leaves below the sill's level, round an end or over a low"
        " place.",
        "Raise the mound there, or carry its end farther uphill.",
    ),
    Flag(
        "sill-shut",
        "On the designed surface water stands higher than the sill before it spills.",
        "Lead the sill on to lower ground, or dig its way free.",
    ),
    Flag(
        "short-circuit",
        "On the designed surface water arrives close to where it spills, and leaves without having"
        " passed through the element.",
        "Move the sill to the far end, or lead the water in farther away.",
    ),
    Flag(
        "reaches-other",
        "On the designed surface the overflow reaches something else than it should.",
        "Dig a way from the sill to what it should reach, or redraw the link.",
    ),
    Flag(
        "at-building",
        "The overflow runs through a building or its setback.",
        "Turn it away with a drain, or move the sill.",
        who="a licensed engineer",
    ),
    Flag(
        "over-boundary",
        "The overflow leaves the boundary.",
        "Lead it to a discharge point; no water onto a neighbour.",
        who="the neighbour and the local authority",
    ),
    Flag(
        "cuts-wall",
        "Its dig takes a part of a wall away.",
        "Move it off the wall, or let the wall end there and say so in inputs.walls.",
    ),
    Flag(
        "undermines-wall",
        "It is dug deeper beside a wall than it is far from it: the wall may lose its footing.",
        "Move it away from the wall by as much as it is deep, or have the wall underpinned by"
        " somebody who is licensed to.",
        who="a licensed engineer",
    ),
    Flag(
        "loads-wall",
        "Earth is heaped near a wall that was not designed to hold it back.",
        "Heap it farther away, or have the wall looked at by somebody who is licensed to.",
        who="a licensed engineer",
    ),
    Flag(
        "open-batter",
        "A batter meets no ground within the limit, so its toe was cut off there.",
        "Make it steeper than the ground, or move the element to flatter ground.",
    ),
    Flag(
        "spoil-no-place",
        "Spoil is left over and no stockpile is named for it.",
        "Draw a stockpile, or raise the mound.",
    ),
    # places for ponds
    Flag(
        "no-spill-way",
        "Past neither end of the bank is there undisturbed ground gentle enough for a spill way"
        " that comes to a flow path without meeting kept-clear ground or a neighbour.",
        "Choose another place, or have the spill way designed before anything else.",
    ),
    Flag(
        "building-below",
        "A building stands near the way that the water would take if the bank failed.",
        "Let an engineer say what a failure would do there before the place is chosen.",
    ),
    Flag(
        "fills-seldom",
        "In fewer than half of the years does enough run off to fill it.",
        "Choose a lower bank from pond_curves, or lead more water to it.",
        "notice",
    ),
    # what was built
    Flag(
        "built-off",
        "Built off its design level by more than the tolerance.",
        "Cut or fill as told, and survey it again.",
        who="the crew, with a level",
    ),
    Flag(
        "not-decided",
        "The as-built survey errs too much to tell whether this was built right.",
        "Check it with a level from the benchmark, or shoot more places on it.",
        who="the surveyor",
    ),
    Flag(
        "uneven-sill",
        "The sill is not level from side to side: it spills where it is lowest.",
        "Level it over its whole width.",
        who="the crew, with a level",
    ),
    Flag(
        "short-storage",
        "It holds less as built than was designed.",
        "Dig it out to its designed floor and sides.",
    ),
    Flag(
        "no-longer-works",
        "With the levels as built the cascade has a fault here that the design has not.",
        "Read as_built_findings; bring the levels back, or change what is named there.",
    ),
    Flag(
        "not-surveyed",
        "No surveyed level lies near enough to tell how it was built.",
        "Survey it, or accept it unseen.",
        "notice",
    ),
    # tracks
    Flag(
        "no-track",
        "No way keeps to the grade, the slope across and the curves; the line is as drawn.",
        "Allow the grade in needs_grade_pct, where there is one; else move its ends, let it pass"
        " elsewhere, or allow tighter curves or steeper ground across.",
    ),
    Flag(
        "mean-rain",
        "It is sized for the mean rain of the storm: nothing tells its hardest ten minutes, which"
        " may bring several times as much.",
        "Give inputs.rainfall, or size it by local rain of ten minutes.",
        who="a hydrologist",
    ),
    Flag(
        "needs-ford",
        "Neither one stocked pipe passes the peak there nor three beside each other.",
        "Build a ford or a bridge, and have it designed.",
        who="a licensed engineer",
    ),
    # plants
    Flag(
        "little-sun",
        "It gets less sun in the growing season than it wants, what grown plants take counted.",
        "Plant it where it is sunnier, give its neighbours room, or take one that bears shade.",
    ),
    Flag(
        "much-sun",
        "A plant of shade stands in full sun.",
        "Plant it where something shades it, or later, when its neighbours have grown.",
        "notice",
    ),
    Flag(
        "wet-feet",
        "The ground stays wetter than it bears.",
        "Plant it on a mound or higher up, or take a plant of wet ground.",
    ),
    Flag(
        "dry-ground",
        "The ground is drier than it bears.",
        "Plant it lower down, or water it for good.",
    ),
    Flag(
        "frost-tender",
        "The coldest night of a usual year is colder than it survives.",
        "Take a hardier plant, or cover it.",
    ),
    Flag(
        "cold-hollow",
        "It bears little more cold than a usual year brings, and cold air pools where it stands.",
        "Plant it higher up the slope, open a way for cold air below, or take a hardier plant.",
        "notice",
    ),
    Flag(
        "shallow-soil",
        "The soil that was dug there, with what the design heaps up or digs away, is less than half"
        " as deep as it roots.",
        "Plant it where soil is deeper, heap soil up, or water it for good.",
    ),
    Flag(
        "on-mound",
        "Its roots would grow into the bank of a pond and lead water through it.",
        "Move it off the bank: only grass belongs on a bank that holds water.",
    ),
    Flag(
        "in-water",
        "It stands in a pond or basin, or on a line that leads water.",
        "Move it, or take a plant of water.",
    ),
    Flag(
        "near-pipe",
        "Its roots would reach a pipe.",
        "Move it away, or lay a root barrier.",
    ),
    Flag(
        "crowded",
        "It stands nearer to one of its own layer than either bears.",
        "Give them more room, or plan to thin them.",
        "notice",
    ),
    Flag(
        "moved-on-site",
        "On site it was set elsewhere than designed.",
        "Draw it where it was set and run again, or have it set where it was designed.",
    ),
    Flag("not-computable", "A needed value is missing.", "Fill in the columns named in notes."),
)

FLAG_COLUMN: Final = Column(
    "flag",
    "text",
    "Why a person must look before using this row, or why it ends where it does: codes separated"
    " by semicolons; empty is none.",
    required=False,
)


# what harms people and banks first, then what leads water astray, then what holds less than told
_DANGER: Final = (
    "at-building", "over-boundary", "near-building", "harm-below", "overtopped", "cycle",
    "not-computable", "no-safe-outlet", "uphill", "leaks", "reaches-other", "dam-in-path",
    "engineer", "steep-ground", "undermines-wall", "small-outlet", "sill-shut", "no-emergency-way",
    "failure-way", "spillway-on-fill", "pipe-only", "freeboard", "drowned", "takes-next",
    "fails-beyond", "blocked-pipe", "feed-left-on", "fails-high-end", "fails-frozen", "fast-flow",
    "floats", "deep-dig", "loads-wall", "cuts-wall", "outside-boundary", "in-setback",
    "on-filled-ground", "off-level", "out-of-order", "open-batter", "shape-limit", "deep-water",
    "no-drawdown", "slow-drawdown", "goal-missed", "small-drop", "small-downpipe", "shallow-pipe",
    "settles", "short-circuit", "coarse-drain", "assumed",
)  # fmt: skip


def danger(code: str) -> int:
    """Return the place of a flag in the order of danger, 0 the worst; unknown ones come last."""
    return _DANGER.index(code) if code in _DANGER else len(_DANGER)


# layers of what the tool proposes, and of heights that only sun and wind go by: their flags are
# told, and ask nobody for anything, unless a person drew the row
_PROPOSALS: Final = frozenset({
    "swale_lines", "keylines", "cultivation_lines", "cultivation_families", "pond_sites",
    "obstructions",
})  # fmt: skip


def severity_in(layer: str, code: str, *, drawn: bool = False) -> Severity:
    """Return how a flag is told in a row of a layer; `drawn` where a person drew the row."""
    return "notice" if layer in _PROPOSALS and not drawn else _SEVERITY[code]


_SEVERITY: Final = {flag.code: flag.severity for flag in FLAGS}
_LOOK: Final = frozenset(flag.code for flag in FLAGS if flag.severity == "look")


def needs_look(codes: Iterable[str]) -> bool:
    """Tell whether one of the codes asks a person to look; notices do not."""
    return not _LOOK.isdisjoint(codes)


def joined(codes: list[str] | tuple[str, ...] | set[str]) -> str:
    """Join flag codes into the text of a ``flag`` column, in catalogue order, without repeats.

    Raises
    ------
    KeyError
        If a code is not in the catalogue.
    """
    order = {flag.code: place for place, flag in enumerate(FLAGS)}
    return ";".join(sorted(set(codes), key=order.__getitem__))
