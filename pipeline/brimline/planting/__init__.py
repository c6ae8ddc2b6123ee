"""Plants on the ground: where they stand, whether they thrive there, what they drink."""

from brimline.planting.plants import LAYERS, SUN, WETNESS, WOODY, Companion, Guild, Plant
from brimline.planting.setting_out import along_line, filled, round_centre
from brimline.planting.water import AGES_Y, Climate, a_week, demand_l, need_l, zone_kc

__all__ = [
    "AGES_Y",
    "LAYERS",
    "SUN",
    "WETNESS",
    "WOODY",
    "Climate",
    "Companion",
    "Guild",
    "Plant",
    "a_week",
    "along_line",
    "demand_l",
    "filled",
    "need_l",
    "round_centre",
    "zone_kc",
]
