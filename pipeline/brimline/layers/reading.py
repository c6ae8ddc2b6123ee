"""What a site is read for: sun, cold air, soil that may be lost, where things would grow."""

from __future__ import annotations

import math
from typing import Final

from brimline.layers.schema import Raster

_NAN: Final = math.nan
PERIODS: Final = (
    "January", "February", "March", "April", "May", "June", "July", "August", "September",
    "October", "November", "December", "shortest day", "longest day",
)  # fmt: skip

ITEMS: Final = (
    Raster(
        "sun_h",
        "float32",
        _NAN,
        "Hours of sun",
        "Hours a day that the sun reaches the ground under a clear sky, by month and for the"
        " shortest and the longest day: shaded by the ground, by surfaces with a height and by what"
        " was drawn as casting shade.",
        "h",
        bands=PERIODS,
    ),
    Raster(
        "sun_mj_m2",
        "float32",
        _NAN,
        "Energy of the sun",
        "What sun and clear sky bring to the sloping ground in a day, by month and for the shortest"
        " and the longest day. Clouds take a third to a half off it in most climates.",
        "MJ/m²",
        bands=PERIODS,
    ),
    Raster(
        "sky_share",
        "float32",
        _NAN,
        "Share of the sky",
        "Share of the sky that the ground sees, 1 on open level ground: where it is low, nights are"
        " milder and days darker.",
    ),
)
