"""Water through many elements in a storm: who spills to whom, and routing."""

from brimline.cascade.design import (
    SILL_WIDTH,
    Dimensions,
    Free,
    Goals,
    Shortfall,
    Sized,
    shortfall_of,
    size,
    value_of,
)
from brimline.cascade.findings import Finding, check, flags_of
from brimline.cascade.inflow import StormInflow, inflow_of, with_rain
from brimline.cascade.judge import assess, judge
from brimline.cascade.limits import CascadeLimits
from brimline.cascade.mends import Mend, mends_for, told_tries
from brimline.cascade.network import NOWHERE, Discharge, Link, Network
from brimline.cascade.pipes import size_pipes
from brimline.cascade.routing import ElementSums, LinkSums, Pace, Routed, Series, route
from brimline.cascade.sills import size_sills

__all__ = [
    "NOWHERE",
    "SILL_WIDTH",
    "CascadeLimits",
    "Dimensions",
    "Discharge",
    "ElementSums",
    "Finding",
    "Free",
    "Goals",
    "Link",
    "LinkSums",
    "Mend",
    "Network",
    "Pace",
    "Routed",
    "Series",
    "Shortfall",
    "Sized",
    "StormInflow",
    "assess",
    "check",
    "flags_of",
    "inflow_of",
    "judge",
    "mends_for",
    "route",
    "shortfall_of",
    "size",
    "size_pipes",
    "size_sills",
    "told_tries",
    "value_of",
    "with_rain",
]
