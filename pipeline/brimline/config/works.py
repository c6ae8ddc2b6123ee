"""The table for drawn elements: what is taken where a column is empty, and what it is sized for."""

from __future__ import annotations

from typing import Annotated, Final, Literal, Self

from pydantic import AfterValidator, Field, model_validator

from brimline.config.base import ConfigTable, NotNegative, Positive, Share
from brimline.layers.drawn import usual_number
from brimline.rainfall import cover


def _rising(value: tuple[float, float]) -> tuple[float, float]:
    if not value[0] < value[1]:
        raise ValueError(f"bounds must rise, got {value[0]} to {value[1]}")
    return value


def known_cover(name: str) -> str:
    """Refuse words that are no ground cover."""
    cover(name)
    return name


USUAL_RAIN_2Y_24H_MM: Final = 60.0  # where neither the configuration nor a rainfall table tells

Range = Annotated[tuple[Positive, Positive], AfterValidator(_rising)]


# what is taken where a column of the drawing is left empty: key of [works] to its column
COLUMNS: Final[dict[str, tuple[str, str]]] = {
    "swale_depth_m": ("drawn_swales", "depth_m"),
    "swale_bottom_m": ("drawn_swales", "bottom_m"),
    "swale_top_m": ("drawn_swales", "top_m"),
    "swale_side": ("drawn_swales", "side"),
    "swale_freeboard_m": ("drawn_swales", "freeboard_m"),
    "drain_depth_m": ("drawn_drains", "depth_m"),
    "drain_bottom_m": ("drawn_drains", "bottom_m"),
    "drain_side": ("drawn_drains", "side"),
    "drain_freeboard_m": ("drawn_drains", "freeboard_m"),
    "pond_depth_m": ("drawn_ponds", "depth_m"),
    "pond_side": ("drawn_ponds", "side"),
    "pond_shelf_m": ("drawn_ponds", "shelf_width_m"),
    "pond_edge": ("drawn_ponds", "edge"),
    "basin_depth_m": ("drawn_basins", "depth_m"),
    "basin_edge": ("drawn_basins", "edge"),
    "basin_freeboard_m": ("drawn_basins", "freeboard_m"),
    "fill_void": ("drawn_basins", "void"),
    "tank_volume_m3": ("drawn_tanks", "volume_m3"),
    "tank_height_m": ("drawn_tanks", "height_m"),
    "first_flush_mm": ("drawn_tanks", "first_flush_mm"),
}


def _usual(key: str) -> float:
    return usual_number(*COLUMNS[key])


class FreeDimension(ConfigTable):
    """A dimension of one element that is sized for the goals."""

    element: str = Field(min_length=1, description="Name of the element.")
    dimension: str = Field(
        min_length=1,
        description="Such as depth_m, bottom_m, side, volume_m3, or sill_width_m of its sill.",
    )
    low: NotNegative = Field(description="Least value; smaller is taken to cost less.")
    high: Positive = Field(description="Greatest value.")
    step: Positive = Field(0.01, description="The answer is rounded up to a multiple of it.")

    @model_validator(mode="after")
    def _rises(self) -> Self:
        if not self.low < self.high:
            raise ValueError(f"low ({self.low}) must be below high ({self.high})")
        return self


class Works(ConfigTable):
    """What is taken for drawn elements where their columns are empty, and what they must keep."""

    usual_cover: Annotated[str, AfterValidator(known_cover)] = Field(
        "pasture", description="Cover of ground that the surfaces input leaves open."
    )
    condition: Literal["poor", "fair", "good"] = Field(
        "fair", description="Hydrologic condition of the plant cover."
    )
    usual_soil_group: Literal["A", "B", "C", "D"] = Field(
        "C", description="Hydrologic group of soil that the soils input leaves open."
    )
    usual_soak_mm_per_h: NotNegative = Field(
        6.0, description="Tested soakage rate where neither the element nor its soil has one."
    )
    soak_safety_factor: float = Field(
        2.0, ge=1, description="Divides tested soakage rates for design."
    )
    infiltration: Literal["constant", "Green-Ampt"] = Field(
        "constant",
        description="How swales and basins soak: at the design rate, or faster while the ground is"
        " dry, by the texture of the soils input.",
    )
    soil_saturation: Share = Field(
        0.5,
        description="How full the drainable pores are before the storm, for Green and Ampt.",
    )
    rain_2y_24h_mm: Positive | None = Field(
        None,
        description="Two-year rain of 24 h, for sheet flow in the time of concentration. Left out:"
        f" that of the rainfall table, else {USUAL_RAIN_2Y_24H_MM:g} mm.",
    )
    concentration: Literal["segments", "Kirpich"] = Field(
        "segments",
        description="Time of concentration along the longest way: sheet, shallow and channel flow"
        " after TR-55, or Kirpich for steep catchments with a channel.",
    )
    smooth_m: Positive = Field(
        2.0, description="Smoothing of the ground that elements take their levels from."
    )
    sill_head_m: Positive = Field(0.15, description="Head that empty sill widths are sized for.")
    swale_depth_m: Positive = Field(
        _usual("swale_depth_m"), description="Depth of a swale below its lip."
    )
    swale_bottom_m: NotNegative = Field(
        _usual("swale_bottom_m"), description="Bottom width of a swale."
    )
    swale_top_m: Positive = Field(
        _usual("swale_top_m"), description="Width at the lip of a parabolic swale."
    )
    swale_side: NotNegative = Field(
        _usual("swale_side"), description="Run over rise of a swale's sides."
    )
    swale_freeboard_m: NotNegative = Field(
        _usual("swale_freeboard_m"), description="Height of a swale's crest that must stay dry."
    )
    drain_depth_m: Positive = Field(
        _usual("drain_depth_m"), description="Depth of a drain from bed to bank."
    )
    drain_bottom_m: NotNegative = Field(
        _usual("drain_bottom_m"), description="Bottom width of a drain."
    )
    drain_side: NotNegative = Field(
        _usual("drain_side"), description="Run over rise of a drain's sides."
    )
    drain_freeboard_m: NotNegative = Field(
        _usual("drain_freeboard_m"), description="Height of a drain's bank that must stay dry."
    )
    pond_depth_m: Positive = Field(
        _usual("pond_depth_m"), description="Depth of a pond below its spill level."
    )
    pond_side: NotNegative = Field(
        _usual("pond_side"), description="Run over rise of a pond's sides."
    )
    pond_shelf_m: NotNegative = Field(
        _usual("pond_shelf_m"), description="Width of a pond's edge shelf."
    )
    pond_edge: Literal["bank", "sunken"] = Field(
        "bank",
        description="bank: a bank with freeboard round a pond; sunken: dug into the ground, without"
        " a bank.",
    )
    basin_depth_m: Positive = Field(
        _usual("basin_depth_m"), description="Depth of a planted basin."
    )
    basin_edge: Literal["bank", "sunken"] = Field(
        "bank",
        description="bank: a bank with freeboard round a basin; sunken: dug into the ground,"
        " without a bank.",
    )
    basin_freeboard_m: NotNegative = Field(
        _usual("basin_freeboard_m"), description="Height of a basin's rim that must stay dry."
    )
    fill_void: Share = Field(
        _usual("fill_void"), description="Pores over volume of a mulch fill, where not given."
    )
    tank_volume_m3: Positive = Field(_usual("tank_volume_m3"), description="Volume of a tank.")
    tank_height_m: Positive = Field(
        _usual("tank_height_m"), description="Height of a tank to its overflow."
    )
    first_flush_mm: NotNegative = Field(
        _usual("first_flush_mm"), description="Depth of roof rain that is led away."
    )
    roof_coefficient: Share = Field(0.95, description="Share of rain on a roof that runs off.")
    min_drop_m: NotNegative = Field(0.10, description="Least drop from sill to next spill level.")
    drawdown_h: Positive = Field(72.0, description="Longest that water may stand after a storm.")
    engineer_height_m: Positive = Field(
        1.8, description="Height of fill from which a licensed engineer is asked for."
    )
    engineer_volume_m3: Positive = Field(
        10_000.0, description="Volume held by fill from which a licensed engineer is asked for."
    )
    max_slope_pct: Positive = Field(20.0, description="Ground steeper is not wetted.")
    near_building_m: NotNegative = Field(
        6.0, description="Distance to a building within which held water is flagged."
    )
    after_h: Positive = Field(96.0, description="How long routing goes on after the storm.")
    goal_capture_share: Share = Field(
        0.0,
        description="Share of what arrives in the storm of goal_storm that must stay on the site;"
        " dimensions left empty are sized for it. 0 asks for none.",
    )
    goal_drawdown_h: Positive | None = Field(
        None,
        description="Longest that what is meant to empty may hold water after that storm;"
        " dimensions left empty are sized for it. Left out: none is asked for.",
    )
    goal_storm: str = Field(
        "", description="Name of the storm to size for, such as 10-year; empty: the design storm."
    )
    goal_applied: bool = Field(
        default=True,
        description="Build what was sized where it meets the goals; false only lists it in"
        " design_sizes.",
    )
    pond_depth_range_m: Range = Field(
        (0.6, 2.5), description="Bounds of a pond's depth where it is sized."
    )
    swale_depth_range_m: Range = Field(
        (0.2, 0.8), description="Bounds of a swale's depth where it is sized."
    )
    basin_depth_range_m: Range = Field(
        (0.15, 0.6), description="Bounds of an unfilled basin's depth where it is sized."
    )
    tank_volume_range_m3: Range = Field(
        (1.0, 50.0), description="Bounds of a tank's volume where it is sized."
    )
    free: tuple[FreeDimension, ...] = Field(
        (),
        description="Dimensions to size, in place of those that were left empty; see the table of"
        " free dimensions.",
    )
    mended: int = Field(
        40,
        ge=0,
        description="Findings that mends are looked for, the worst first.",
    )
    proved: int = Field(
        60,
        ge=0,
        description="Mends that are written into the plan in thought, dug and followed.",
    )

    def usual_of(self, layer: str) -> dict[str, float | str]:
        """Return what is taken where columns of a layer are left empty, as far as it is said here.

        Parameters
        ----------
        layer : of the drawing, such as ``drawn_ponds``.
        """
        return {column: getattr(self, key) for key, (of, column) in COLUMNS.items() if of == layer}
