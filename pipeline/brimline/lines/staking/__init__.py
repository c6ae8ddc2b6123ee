"""Setting out: stations along lines, stakes on them, tolerances, and rod readings."""

from brimline.lines.staking.by_hand import FromTwoPoints, SetUp, from_two_points, set_ups
from brimline.lines.staking.levelling import Instrument, Reading, readings
from brimline.lines.staking.stakes import (
    LEVEL_ON_SITE,
    Stake,
    clear_of,
    judged,
    offset_stakes,
    stakes_on,
    survey_decides_m,
)
from brimline.lines.staking.stations import Reason, Stations, stations_along, stations_around
from brimline.lines.staking.tolerance import (
    ANY_ERROR,
    BuildLimits,
    Tolerance,
    crest_tolerance,
    fall_tolerance,
    floor_tolerance,
    sill_tolerance,
    storage_error_m,
)

__all__ = [
    "ANY_ERROR",
    "LEVEL_ON_SITE",
    "BuildLimits",
    "FromTwoPoints",
    "Instrument",
    "Reading",
    "Reason",
    "SetUp",
    "Stake",
    "Stations",
    "Tolerance",
    "clear_of",
    "crest_tolerance",
    "fall_tolerance",
    "floor_tolerance",
    "from_two_points",
    "judged",
    "offset_stakes",
    "readings",
    "set_ups",
    "sill_tolerance",
    "stakes_on",
    "stations_along",
    "stations_around",
    "storage_error_m",
    "survey_decides_m",
]
