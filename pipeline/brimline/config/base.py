"""What every table of the site's file shares."""

from __future__ import annotations

from typing import Annotated, Any, Final

from pydantic import BaseModel, ConfigDict, Field, ValidationInfo, field_validator

# what a number can be meant to be, by how its key ends; the first that fits (no source: ours)
_BOUNDS: Final[tuple[tuple[str, float, float], ...]] = (
    ("easting_m", -1e8, 1e8),
    ("northing_m", -1e8, 1e8),
    ("smooth_m", 0.0, 1000.0),
    ("interval_m", 0.01, 1e5),
    ("cell_m", 0.005, 1e5),
    ("_m", -1e5, 1e5),
    ("_m2", 0.0, 1e11),
    ("_m3", 0.0, 1e9),
    ("_mm", 0.0, 1e4),
    ("_mm_per_h", 0.0, 1e4),
    ("_min", 0.05, 1440.0),
    ("_h", 0.0, 8784.0),
    ("_y", 0.0, 1e5),
    ("_pct", 0.0, 1000.0),
)


class ConfigTable(BaseModel):
    """A table of the site's file: immutable, and unknown keys are refused."""

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)

    @field_validator("*")
    @classmethod
    def _can_be_meant(cls, value: Any, info: ValidationInfo) -> Any:  # noqa: ANN401
        """Refuse numbers that cannot be meant: they would run for days, or out of memory."""
        for ending, low, high in _BOUNDS:
            if str(info.field_name).endswith(ending):
                for number in value if isinstance(value, tuple) else (value,):
                    if isinstance(number, float | int) and not low <= number <= high:
                        raise ValueError(f"must be from {low:g} to {high:g}")
                break
        return value


Positive = Annotated[float, Field(gt=0)]
NotNegative = Annotated[float, Field(ge=0)]
Share = Annotated[float, Field(ge=0, le=1)]
