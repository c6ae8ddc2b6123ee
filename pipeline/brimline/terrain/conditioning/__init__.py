"""Making a surface that water can leave: fill, breach, burn, and kept sinks."""

from brimline.terrain.conditioning.breaching import breach
from brimline.terrain.conditioning.burning import Burned, burn
from brimline.terrain.conditioning.conditioning import (
    Change,
    Conditioned,
    Mode,
    OpeningRule,
    condition,
    opened_surface,
)
from brimline.terrain.conditioning.filling import fill, fill_shallow

__all__ = [
    "Burned",
    "Change",
    "Conditioned",
    "Mode",
    "OpeningRule",
    "breach",
    "burn",
    "condition",
    "fill",
    "fill_shallow",
    "opened_surface",
]
