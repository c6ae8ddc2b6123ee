"""The tables for reading a site: sun, and what follows from it."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field

from brimline.config.base import ConfigTable

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
