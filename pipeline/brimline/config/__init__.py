"""The site's TOML file as validated values: one model a table."""

from brimline.config.load import Loaded, load
from brimline.config.tables import (
    Conditioning,
    Contours,
    Cultivation,
    DesignStorm,
    Drainage,
    DrainLines,
    Inputs,
    Keep,
    LevelLines,
    Settings,
    Site,
    Source,
    Survey,
    SwaleRows,
    Terrain,
    Works,
)
from brimline.config.year import OwnPlanting, WaterUse, Weather, Year

__all__ = [
    "Conditioning",
    "Contours",
    "Cultivation",
    "DesignStorm",
    "DrainLines",
    "Drainage",
    "Inputs",
    "Keep",
    "LevelLines",
    "Loaded",
    "OwnPlanting",
    "Settings",
    "Site",
    "Source",
    "Survey",
    "SwaleRows",
    "Terrain",
    "WaterUse",
    "Weather",
    "Works",
    "Year",
    "load",
]
