"""The site's TOML file as validated values: one model a table."""

from brimline.config.choosing import Ponds
from brimline.config.hazard import Hazard
from brimline.config.load import Loaded, load
from brimline.config.reading import ColdAir, Growing, PlantingPlan, SoilLoss, Sun
from brimline.config.tables import (
    AsBuilt,
    Conditioning,
    Contours,
    Cultivation,
    DesignStorm,
    Drainage,
    DrainLines,
    Earthworks,
    Inputs,
    InputSource,
    Keep,
    LevelLines,
    Proof,
    Rates,
    Settings,
    Site,
    Staking,
    Survey,
    SwaleRows,
    Terrain,
)
from brimline.config.works import USUAL_RAIN_2Y_24H_MM, FreeDimension, Works
from brimline.config.year import OwnPlanting, WaterUse, Weather, Year

__all__ = [
    "USUAL_RAIN_2Y_24H_MM",
    "AsBuilt",
    "ColdAir",
    "Conditioning",
    "Contours",
    "Cultivation",
    "DesignStorm",
    "DrainLines",
    "Drainage",
    "Earthworks",
    "FreeDimension",
    "Growing",
    "Hazard",
    "InputSource",
    "Inputs",
    "Keep",
    "LevelLines",
    "Loaded",
    "OwnPlanting",
    "PlantingPlan",
    "Ponds",
    "Proof",
    "Rates",
    "Settings",
    "Site",
    "SoilLoss",
    "Staking",
    "Sun",
    "Survey",
    "SwaleRows",
    "Terrain",
    "WaterUse",
    "Weather",
    "Works",
    "Year",
    "load",
]
