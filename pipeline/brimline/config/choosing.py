"""Tables of what is searched before anything is drawn."""

from __future__ import annotations

from typing import Annotated, Self

from pydantic import Field, model_validator

from brimline.config.base import ConfigTable, NotNegative, Positive, Share
from brimline.config.works import FreeDimension

Rising = Annotated[tuple[Positive, ...], Field(min_length=1, max_length=12)]


class Ponds(ConfigTable):
    """Places for ponds: which banks are tried, and what a place must hold."""

    depths_m: Rising = Field(
        (0.5, 1.0, 1.5, 2.0, 2.5, 3.0),
        description="Depths of water at the bank that are tried.",
    )
    freeboard_m: NotNegative = Field(
        0.6, description="Crest of the bank over the water when full, head of the spill included."
    )
    top_m: NotNegative = Field(3.0, description="Width of the bank's crest.")
    upstream_side: NotNegative = Field(
        3.0, description="Batter of the bank on its water side, run per metre of rise."
    )
    downstream_side: NotNegative = Field(2.0, description="Batter on its dry side.")
    half_lengths_m: Rising = Field(
        (20.0, 60.0),
        description="Lengths from the middle after which a bank turns up the slope, where the"
        " ground has not come up to its crest; each is tried.",
    )
    wing_m: NotNegative = Field(60.0, description="Longest part of a bank after that turn.")
    reach_m: Positive = Field(250.0, description="Farthest that the water may reach.")
    path_area_m2: Positive = Field(
        5000.0, description="Ground that must gather in a valley floor where banks are tried."
    )
    least_m3: Positive = Field(100.0, description="Places that hold less are left out.")
    most: int = Field(12, ge=1, le=200, description="Number of places that are listed.")

    @model_validator(mode="after")
    def _rise(self) -> Self:
        for name in ("depths_m", "half_lengths_m"):
            values = getattr(self, name)
            if list(values) != sorted(set(values)):
                raise ValueError(f"{name} must rise, got {list(values)}")
        return self


class Sensitivity(ConfigTable):
    """How far off what a design rests on may be: nine times in ten the truth lies within."""

    on: bool = Field(
        default=False,
        description="Try the design in other worlds in every run; `brimline options` always does.",
    )
    rain_pct: Positive = Field(
        15.0,
        description="Depth of the design storm, above and, by the same ratio, below: about what"
        " tables of rain depths say of themselves (value from memory).",
    )
    soakage_factor: float = Field(
        2.0, gt=1, description="Tested soakage rates, times and over (common practice, no source)."
    )
    curve_number: Positive = Field(
        5.0, description="Curve numbers, above and below (common practice, no source)."
    )
    price_pct: Positive = Field(
        25.0,
        description="Each price by itself, above and, by the same ratio, below (common practice,"
        " no source).",
    )
    draws: int = Field(64, ge=8, le=2000, description="Worlds in which all of it is off at once.")
    seed: int = Field(1, ge=0, description="Of those worlds; the same for every design.")


class SearchDimension(FreeDimension):
    """A dimension that the search may choose."""

    price: NotNegative = Field(
        0.0,
        description="Price of each unit of it, besides what [rates] price of the element: of a"
        " tank's volume_m3, say.",
    )


class DesignSearch(ConfigTable):
    """A search for the cheapest design that holds; made where any dimension is free."""

    free: tuple[SearchDimension, ...] = Field(
        (), description="What may be chosen; see the table of free dimensions."
    )
    keep_share: Share | None = Field(
        None,
        description="Least share of what the design storm brings that must not leave. Left out:"
        " works.goal_capture_share.",
    )
    most_cost: Positive | None = Field(
        None,
        description="What the works may cost before contingency: the design that keeps most for it"
        " is offered beside the one that was asked for. Left out: none is.",
    )
    check_storms: tuple[str, ...] = Field(
        (),
        description="Storms in which no crest may be passed, such as 100-year; left out: those of"
        " storm.check_periods_y, and that of storm.beyond_period_y as long as the design storm.",
    )
    tries: int = Field(2000, ge=50, description="Designs that are routed, about.")
    points: int = Field(
        6, ge=1, le=24, description="Of the curve of cost against water kept that are searched for."
    )
    seed: int = Field(1, ge=0, description="Of the search: the same seed finds the same designs.")
