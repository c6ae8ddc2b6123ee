"""Earth between surfaces: volumes from cells and from sections, and where the spoil goes."""

from brimline.terrain.earthwork.sections import (
    EarthSection,
    SectionVolumes,
    earth_by_sections,
    sections_across,
)
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
    volume_error_m3,
)

__all__ = [
    "Earth",
    "EarthSection",
    "Haul",
    "Need",
    "SectionAreas",
    "SectionVolumes",
    "Soil",
    "Spoil",
    "Stockpile",
    "Work",
    "average_end_area_m3",
    "balanced",
    "earth_between",
    "earth_by_label",
    "earth_by_sections",
    "need_of",
    "prismoidal_m3",
    "section_areas",
    "sections_across",
    "volume_error_m3",
]
