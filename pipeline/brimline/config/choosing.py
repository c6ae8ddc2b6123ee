"""Tables of what is searched before anything is drawn."""

from __future__ import annotations

from typing import Annotated, Self

from pydantic import Field, model_validator

from brimline.config.base import ConfigTable, NotNegative, Positive

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
