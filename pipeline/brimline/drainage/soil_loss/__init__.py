"""Soil that rain may take, and where it may lie down again."""

from brimline.drainage.soil_loss.loss import (
    COVER_FACTOR,
    ERODIBILITY,
    ErodingGround,
    capacity,
    erosivity_of,
    ls_factor,
    settled,
    slope_factor,
    told_erosivity,
)

__all__ = [
    "COVER_FACTOR",
    "ERODIBILITY",
    "ErodingGround",
    "capacity",
    "erosivity_of",
    "ls_factor",
    "settled",
    "slope_factor",
    "told_erosivity",
]
