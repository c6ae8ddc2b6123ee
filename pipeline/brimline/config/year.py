"""The tables for water through the year: how weather is read, and what the year rests on."""

from __future__ import annotations

from dataclasses import fields
from typing import Annotated, Literal, Self

from pydantic import AfterValidator, Field, model_validator

from brimline.balance.planting import PLANTINGS, Planting
from brimline.balance.rules import DailyUse, YearRules
from brimline.balance.soil import texture
from brimline.config.base import ConfigTable, NotNegative, Positive, Share
from brimline.rainfall._checks import named

Months = Annotated[tuple[float, ...], Field(max_length=12)]
_USUAL = YearRules()
_NORMALS = ("normal_rain_mm", "normal_wet_days", "normal_temp_max_c", "normal_temp_min_c")


def _known_texture(name: str) -> str:
    texture(name)
    return name


class Weather(ConfigTable):
    """How the daily weather file is read, or monthly normals where there is none."""

    date_column: str = Field("", description="Name of the column; empty is recognised.")
    precipitation_column: str = Field("", description="As date_column.")
    temp_max_column: str = Field("", description="As date_column.")
    temp_min_column: str = Field("", description="As date_column.")
    radiation_column: str = Field("", description="As date_column; may be absent.")
    sunshine_column: str = Field("", description="As date_column; may be absent.")
    humidity_max_column: str = Field("", description="As date_column; may be absent.")
    humidity_min_column: str = Field("", description="As date_column; may be absent.")
    humidity_mean_column: str = Field("", description="As date_column; may be absent.")
    dewpoint_column: str = Field("", description="As date_column; may be absent.")
    wind_column: str = Field("", description="As date_column; may be absent.")
    date_format: str = Field(
        "", description="Such as %d.%m.%Y; empty is year-month-day, as 2019-03-31."
    )
    temperature_unit: Literal["auto", "C", "F", "tenths of C"] = Field(
        "auto", description="auto: as the column's name says, else °C."
    )
    precipitation_unit: Literal["auto", "mm", "in", "tenths of mm"] = Field(
        "auto", description="auto: as the column's name says, else mm."
    )
    wind_unit: Literal["auto", "m/s", "km/h", "mph", "kn"] = Field(
        "auto", description="auto: as the column's name says, else m/s."
    )
    radiation_unit: Literal["auto", "MJ/m2", "W/m2", "kWh/m2"] = Field(
        "auto", description="auto: as the column's name says, else MJ/m² a day."
    )
    wind_height_m: float = Field(
        10.0, ge=0.5, le=200, description="Height of the anemometer above ground."
    )
    normal_rain_mm: Months = Field(
        (),
        description="Without a file: mean rain of each month, January first; days are made up.",
    )
    normal_wet_days: Months = Field((), description="Mean number of days with rain, by month.")
    normal_temp_max_c: Months = Field((), description="Mean daily maximum, by month.")
    normal_temp_min_c: Months = Field((), description="Mean daily minimum, by month.")
    made_up_years: int = Field(30, ge=1, le=200, description="Years that are made from normals.")
    made_up_from: int = Field(2001, ge=1900, le=2200, description="The first of them.")
    seed: int = Field(1, ge=0, description="Start of the random numbers, for repeatable results.")

    @model_validator(mode="after")
    def _all_normals_or_none(self) -> Self:
        given = {name: len(getattr(self, name)) for name in _NORMALS}
        if any(given.values()) and set(given.values()) != {12}:
            wrong = ", ".join(f"{name} has {count}" for name, count in given.items() if count != 12)
            raise ValueError(f"normals need 12 months each; {wrong}")
        return self

    @property
    def has_normals(self) -> bool:
        """Whether monthly normals are given."""
        return bool(self.normal_rain_mm)

    @property
    def columns(self) -> dict[str, str]:
        """Name of the column of each quantity that is stated."""
        ending = "_column"
        stated = {
            name.removesuffix(ending): getattr(self, name)
            for name in type(self).model_fields
            if name.endswith(ending)
        }
        return {quantity: name for quantity, name in stated.items() if name}


class WaterUse(ConfigTable):
    """Water that is drawn beside the planting: stock, washing, flushing."""

    name: str = Field(min_length=1, description="What it is called.")
    m3_per_d: Positive = Field(description="Water drawn a day.")
    months: tuple[Annotated[int, Field(ge=1, le=12)], ...] = Field(
        tuple(range(1, 13)), description="Months in which it is drawn."
    )
    draws_on: tuple[str, ...] = Field((), description="Stores, in the order in which it asks them.")


class OwnPlanting(ConfigTable):
    """A planting type of the site's own."""

    name: str = Field(min_length=1, description="What the planting column calls it.")
    kc_initial: float = Field(ge=0, le=1.4, description="Crop coefficient after planting or bud.")
    kc_middle: float = Field(ge=0, le=1.4, description="Crop coefficient in full leaf.")
    kc_end: float = Field(ge=0, le=1.4, description="Crop coefficient at harvest or leaf fall.")
    kc_dormant: float = Field(0.3, ge=0, le=1.4, description="Crop coefficient out of season.")
    stage_days: tuple[int, int, int, int] = Field(
        description="Days of the initial, development, middle and late stage."
    )
    first_day: int = Field(
        ge=1, le=365, description="Day of the year on which the season begins, as it is here."
    )
    root_depth_m: float = Field(gt=0, le=5, description="Depth of soil that roots draw from.")
    height_m: float = Field(
        1.0, gt=0, le=50, description="Height of the plants, for dual coefficients."
    )
    depletion: float = Field(
        0.5, ge=0.1, le=0.8, description="Share of the available water drawn without stress."
    )

    @model_validator(mode="after")
    def _stages_fit_a_year(self) -> Self:
        self.planting()
        return self

    def planting(self) -> Planting:
        """Return it as a planting type.

        Basal coefficients are not asked for: they lie below the single ones as those of FAO-56's
        tables do (0.15 for bare ground, 0.05 less in full leaf, 0.10 less at the end).
        """
        return Planting(
            self.name,
            (self.kc_initial, self.kc_middle, self.kc_end),
            (
                min(0.15, self.kc_initial),
                max(self.kc_middle - 0.05, 0.0),
                max(self.kc_end - 0.10, 0.0),
            ),
            self.stage_days,
            self.first_day,
            self.kc_dormant,
            self.root_depth_m,
            self.depletion,
            "the site's own",
            (self.height_m, self.height_m),
            standard_climate=False,
        )


class Year(ConfigTable):
    """Water through the year: soils, planting, irrigation, and what sizes are judged by."""

    latitude_deg: float | None = Field(
        None, ge=-90, le=90, description="Older word: left out, site.latitude_deg counts."
    )
    method: Literal["auto", "penman-monteith", "hargreaves"] = Field(
        "auto",
        description="Reference evapotranspiration; auto: Penman-Monteith where the record holds"
        " sun or humidity, else Hargreaves.",
    )
    coefficients: Literal["single", "dual"] = Field(
        _USUAL.coefficients,
        description="single: plants and soil together; dual: evaporation of the wetted surface by"
        " itself, day by day.",
    )
    wetted_share: float = Field(
        _USUAL.wetted_share,
        ge=0.05,
        le=1,
        description="Share of a zone's ground that watering wets, for dual coefficients: drip 0.3"
        " to 0.4, sprinklers 1.",
    )
    near_coast: bool = Field(
        default=False, description="Takes the coastal factor where radiation is estimated."
    )
    usual_planting: str = Field(
        _USUAL.usual_planting, description="Planting of zones whose column is empty."
    )
    usual_texture: Annotated[str, AfterValidator(_known_texture)] = Field(
        _USUAL.usual_texture,
        description="Soil texture where neither the zone nor the soils input has one.",
    )
    mulch_share: Share = Field(
        _USUAL.mulch_share,
        description="Share of a zone's ground under mulch where its column is empty.",
    )
    start_at: Share = Field(
        _USUAL.start_at,
        description="Share of the readily available water that is gone when watering begins.",
    )
    most_mm_per_d: Positive = Field(
        _USUAL.most_mm_per_d,
        description="Most that a zone's roots are given in a day, losses not counted.",
    )
    irrigation_efficiency: float = Field(
        _USUAL.irrigation_efficiency,
        ge=0.1,
        le=1,
        description="Share of the water given that reaches the roots.",
    )
    draw_order: tuple[str, ...] = Field(
        _USUAL.draw_order,
        description="Stores in the order in which zones ask them whose draws_on is empty; left"
        " out: every tank, then every pond.",
    )
    zone_order: tuple[str, ...] = Field(
        _USUAL.zone_order,
        description="Zones that are watered first, in order; the others follow as drawn.",
    )
    mains_limit_m3_per_d: NotNegative | None = Field(
        _USUAL.mains_limit_m3_per_d,
        description="Most that the mains give in a day; 0 is no mains, left out no limit.",
    )
    pond_reserve_share: Share = Field(
        _USUAL.pond_reserve_share,
        description="Share of a pond that is left in it, for its life and its lining.",
    )
    soak_reach_m: NotNegative = Field(
        _USUAL.soak_reach_m,
        description="How far downslope of a swale or basin roots find what soaked in.",
    )
    soak_share: Share = Field(
        _USUAL.soak_share,
        description="Share of what soaks in that stays within reach of roots there.",
    )
    goal_share: Share = Field(
        _USUAL.goal_share,
        description="Share of demand without mains that the smallest size is sought for.",
    )
    goal_by: Literal["volume", "days"] = Field(
        _USUAL.goal_by, description="Whether that is a share of the volume asked, or of the days."
    )
    tank_worth_m3_per_y: Positive = Field(
        _USUAL.tank_worth_m3_per_y,
        description="Demand that a further m³ of tank must meet in a year to be worth it.",
    )
    pond_worth_m3_per_y: Positive = Field(
        _USUAL.pond_worth_m3_per_y,
        description="The same for a pond, which costs less for each m³ than a tank.",
    )
    drier_rain_pct: float = Field(
        _USUAL.drier_rain_pct, ge=0, le=100, description="Taken off all rain for the drier climate."
    )
    drier_et0_pct: NotNegative = Field(
        _USUAL.drier_et0_pct,
        description="Added to reference evapotranspiration for the drier climate.",
    )
    uses: tuple[WaterUse, ...] = Field(
        (), description="Water drawn beside the planting; see the table of uses."
    )
    plantings: tuple[OwnPlanting, ...] = Field(
        (), description="Planting types of the site's own; see the table of plantings."
    )

    @model_validator(mode="after")
    def _usual_planting_known(self) -> Self:
        known = [*PLANTINGS, *(one.name for one in self.plantings)]
        named(self.usual_planting, known, "planting for usual_planting")
        return self

    def rules(self) -> YearRules:
        """Return what the balance rests on."""
        same = {one.name: getattr(self, one.name) for one in fields(YearRules)}
        uses = tuple(DailyUse(**use.model_dump()) for use in self.uses)
        own = tuple(one.planting() for one in self.plantings)
        return YearRules(**same | {"uses": uses, "plantings": own})
