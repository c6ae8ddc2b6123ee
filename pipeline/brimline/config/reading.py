"""The tables for reading a site: sun, and what follows from it."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field

from brimline.config.base import ConfigTable, NotNegative, Positive, Share

_Skyline = Annotated[
    tuple[tuple[Annotated[float, Field(ge=0, le=360)], Annotated[float, Field(ge=0, lt=90)]], ...],
    Field(),
]


class Sun(ConfigTable):
    """Sun on the ground under a clear sky."""

    turbidity: float = Field(
        3.0,
        ge=1,
        le=10,
        description="Linke turbidity of the air: 2 very clear and cold, 3 clear, 4 to 5 humid,"
        " 6 hazy.",
    )
    grid_north_deg: float | None = Field(
        None,
        ge=-180,
        le=360,
        description="True bearing of the grid's upward axis; left out: from the map, 0 on a local"
        " grid.",
    )
    far_skyline_deg: _Skyline = Field(
        (),
        description="Skyline of hills beyond the elevation, as pairs of true bearing and height"
        " above the horizon, taken with a compass and a clinometer.",
    )


class PlantingPlan(ConfigTable):
    """Plants that are set out, and what is taken of the ground they stand on."""

    line_clear_m: NotNegative = Field(
        0.5, description="Kept free on both sides of swales, drains and overflows."
    )
    pipe_clear_m: NotNegative = Field(
        2.0, description="Kept free of trees and shrubs on both sides of pipes."
    )
    crown_light: Share = Field(0.3, description="Share of the sun that a crown lets through.")
    wet_share: Share = Field(
        0.1, description="Share of the site, by its wetness index, that counts as wet."
    )
    dry_share: Share = Field(
        0.25, description="Share of the site, by its wetness index, that counts as dry."
    )
    floor_kc: float = Field(
        0.3,
        ge=0,
        le=1.4,
        description="Coefficient of what grows between the plants: 0.3 mulch and weeds, 0.8 grass.",
    )
    age_y: Positive = Field(
        10.0, description="Age of the planting that the year is worked out for."
    )
    first_year: int | None = Field(
        None,
        ge=1900,
        le=2200,
        description="Calendar year in which work begins; with it the care is written as a calendar"
        " file too.",
    )
