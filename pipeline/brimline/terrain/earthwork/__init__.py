"""Earth between surfaces: volumes, and where the spoil goes."""

from brimline.terrain.earthwork.spoil import (
    Haul,
    Need,
    Soil,
    Spoil,
    Stockpile,
    Work,
    balanced,
    need_of,
)
from brimline.terrain.earthwork.volumes import (
    Earth,
    SectionAreas,
    average_end_area_m3,
    earth_between,
    earth_by_label,
    prismoidal_m3,
    section_areas,
)

__all__ = [
    "Earth",
    "Haul",
    "Need",
    "SectionAreas",
    "Soil",
    "Spoil",
    "Stockpile",
    "Work",
    "average_end_area_m3",
    "balanced",
    "earth_between",
    "earth_by_label",
    "need_of",
    "prismoidal_m3",
    "section_areas",
]
