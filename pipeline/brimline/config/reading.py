"""The tables for reading a site: sun, and what follows from it."""

from __future__ import annotations

from typing import Annotated

from pydantic import AfterValidator, Field

from brimline.config.base import ConfigTable, NotNegative, Positive, Share
from brimline.config.works import known_cover

_Skyline = Annotated[
    tuple[tuple[Annotated[float, Field(ge=0, le=360)], Annotated[float, Field(ge=0, lt=90)]], ...],
    Field(),
]


def _stands_up(word: str) -> str:
    return word if word == "tree" else known_cover(word)


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
    usual_heights_m: dict[Annotated[str, AfterValidator(_stands_up)], NotNegative] = Field(
        {},
        description="Heights of what is drawn without one, by the words of surfaces, and of a tree:"
        " left out, a roof 5 m, woods 12 m, a tree 8 m, and all else keeps off no sun or wind.",
    )


class Wind(ConfigTable):
    """Winds that the site is to be sheltered from."""

    from_deg: tuple[tuple[Annotated[float, Field(ge=0, le=360)], Positive], ...] = Field(
        (),
        description="Pairs of the true bearing that a wind comes from and its weight, such as the"
        " share of time that it blows; left out: all bearings alike.",
    )
    spread_deg: float = Field(
        15.0, ge=0, le=45, description="How far to either side of its bearing a wind comes from."
    )
    reach_m: Positive = Field(200.0, description="How far upwind shelter is looked for.")
    height_m: NotNegative = Field(1.0, description="Height above the ground that is sheltered.")


class Springs(ConfigTable):
    """Where soil stays wet and springs are likely, by the shape of the ground."""

    over_m: Positive = Field(
        5.0, description="Ground is taken in means over this, as water in soil follows no furrows."
    )
    least_above_m: Positive = Field(
        50.0, description="Length of ground, its area over the cell's width, that lies above one."
    )
    apart_m: Positive = Field(
        40.0, description="How far around one no wet ground lies higher, nor another one."
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


class SoilLoss(ConfigTable):
    """Soil that rain may take: the revised universal soil loss equation."""

    erosivity: Positive | None = Field(
        None,
        description="R, in MJ mm/(ha h y), from a map of the region; left out: estimated from the"
        " weather's mean rain of a year.",
    )
    erodibility: Positive | None = Field(
        None,
        description="K, in t ha h/(ha MJ mm), where it was measured; left out: by soil texture.",
    )
    cover_factors: dict[Annotated[str, AfterValidator(known_cover)], Share] = Field(
        {}, description="C of covers in place of the usual ones, by the words of surfaces."
    )
    practice: Share = Field(1.0, description="P: 1 up and down the slope, 0.5 on the contour.")
    most_length_m: Positive = Field(300.0, description="Slopes longer count as this long.")
    carry_m: tuple[Positive, Positive] = Field(
        (75.0, 250.0),
        description="How far water carries soil: under cover, and on open ground.",
    )
    tolerable_t_ha: Positive = Field(
        11.0, description="Loss in a year that soil makes good, in t/ha; thin soil less."
    )


class ColdAir(ConfigTable):
    """Where cold air gathers on still, clear nights."""

    radius_m: Positive = Field(300.0, description="Ground around that a place is ranked among.")
    lowest_share: Share = Field(0.2, description="Rank up to which a place counts as low.")
    least_relief_m: Positive = Field(
        5.0, description="Ground that rises and falls less parts no cold air from warm."
    )


class Growing(ConfigTable):
    """Classes of what zones offer; change the limits to your plants."""

    sun_h: tuple[Positive, Positive] = Field(
        (3.0, 6.0), description="Hours a day: below the first shade, from the second full sun."
    )
    cold_share: tuple[Share, Share] = Field(
        (0.05, 0.5),
        description="Share of a zone where cold air pools: up to the first free, from the second"
        " a frost hollow.",
    )
    shelter_deg: tuple[float, float] = Field(
        (3.0, 6.0),
        description="Mean angle to what stands upwind: below the first exposed, from the second"
        " sheltered. A barrier stands 3° high at 20 of its heights, 6° at 10.",
    )
    depth_m: tuple[Positive, Positive] = Field(
        (0.4, 0.8), description="Depth of soil: below the first thin, from the second deep."
    )
    usual_depth_m: tuple[NotNegative, Positive] = Field(
        (0.3, 1.2),
        description="Depth of soil on the steepest and on the gentlest ground of the site, guessed"
        " by slope between, where soils have no depth_m.",
    )
    slope_pct: tuple[Positive, Positive, Positive] = Field(
        (5.0, 15.0, 30.0), description="Slopes that part gentle, moderate, steep, very steep."
    )
    machine_pct: Positive = Field(
        20.0, description="Steepest ground that the machine at hand works."
    )
    machine_width_m: Positive = Field(3.0, description="Width of ground that it needs.")


class Access(ConfigTable):
    """Tracks between drawn places."""

    cell_m: Positive = Field(
        3.0, description="Places between which ways are sought lie this far apart, or a cell."
    )
    margin_m: Positive = Field(150.0, description="How far beyond what is drawn a way may go.")
    earth_per_m: NotNegative = Field(
        2.0, description="Metres of track that a m³ of earth to the metre is worth avoiding."
    )
    crossing_m: NotNegative = Field(
        40.0, description="Metres of track that a step on a flow path is worth avoiding."
    )
    runoff_coefficient: Share = Field(
        0.4, description="Share of the peak rain that runs off, for culverts of tracks."
    )
    dip_m3_s: NotNegative = Field(
        0.01, description="Peak up to which a dip in the track lets water across, without a pipe."
    )
