"""The tables of the site's file, with defaults that suit a hillside farm surveyed by LiDAR.

Each field's description is what the reference page and ``site.toml`` print beside the key.
"""

from __future__ import annotations

from typing import Annotated, Literal, Self

from pydantic import BeforeValidator, Field, model_validator

from brimline.config.base import ConfigTable, NotNegative, Positive, Share
from brimline.config.choosing import DesignSearch, Ponds, Sensitivity
from brimline.config.hazard import Hazard
from brimline.config.reading import (
    Access,
    ColdAir,
    Growing,
    PlantingPlan,
    SoilLoss,
    Springs,
    Sun,
    Wind,
)
from brimline.config.tiles import Tiles
from brimline.config.works import Works
from brimline.config.year import Weather, Year

Profile = Literal["garden", "farm", "catchment"]


class Site(ConfigTable):
    """What the site is called and how numbers are shown."""

    name: str = Field(min_length=1, description="Name of the site, printed on every page.")
    units: Literal["metric", "us"] = Field(
        "metric", description='What reports and the console show; layers always store SI. Or "us".'
    )
    profile: Profile | None = Field(
        None,
        description="Scale of the job, which sets thresholds, widths, spacings and depths that are"
        " left out below: garden, farm or catchment; left out: from size and cell.",
    )
    latitude_deg: float | None = Field(
        None,
        ge=-90,
        le=90,
        description="North positive, for sun and evaporation; left out: from the map. A local grid"
        " needs it.",
    )
    revision: str = Field(
        "", max_length=12, description="Mark of this issue of the drawings, such as A or 2."
    )
    prepared_by: str = Field(
        "", max_length=80, description="Who answers for the drawings, printed in each title block."
    )
    prepared_for: str = Field("", max_length=80, description="The client, printed likewise.")


class InputSource(ConfigTable):
    """Where a vector input lies."""

    file: str = Field(min_length=1, description="Path relative to this file.")
    layer: str = Field("", description="Layer in the file; may be left out where it holds one.")
    where: str = Field("", description="Filter as an SQL condition on the layer's columns.")


def _as_source(value: object) -> object:
    return {"file": value} if isinstance(value, str) else value


def _as_list(value: object) -> object:
    return (
        (value,) if isinstance(value, str) else tuple(value) if isinstance(value, list) else value
    )


VectorInput = Annotated[InputSource, BeforeValidator(_as_source)]
FileList = Annotated[tuple[str, ...], BeforeValidator(_as_list), Field(min_length=1)]


class Inputs(ConfigTable):
    """The person's files. Paths are relative to the site's file."""

    elevation: FileList = Field(
        description="GeoTIFF files or a glob, LAS, LAZ or COPC point clouds, or single levels as"
        " CSV, GeoPackage, GPX or DXF. A file on a web server is named by its address."
    )
    hosts: tuple[str, ...] = Field(
        (),
        max_length=50,
        description="Web servers that elevation may be fetched from, such as data.example.org, with"
        " a port where it is not the usual one. Nobody else is asked for anything.",
    )
    coarser: FileList | None = Field(
        None,
        description="Coarser GeoTIFF elevation around the survey, in any reference system: taken"
        " where the survey has no level, so that catchments go on; read in tiles.",
    )
    tile_index: VectorInput | None = Field(
        None,
        description="Footprints of all tiles of the survey, also those not at hand; column name. An"
        " intake whose catchment leaves the data names the tiles that go on from there.",
    )
    breaklines: VectorInput | None = Field(
        None,
        description="With single levels: lines that the ground bends at (kerbs, walls, tops and"
        " toes of banks); column level_m, or heights of their corners.",
    )
    walls: VectorInput | None = Field(
        None,
        description="Lines of walls and kerbs that stop water; column height_m over the ground,"
        " 0.3 m where it is empty.",
    )
    boundary: VectorInput = Field(description="Polygon of the site.")
    intakes: VectorInput | None = Field(
        None, description="Points where water is taken in; columns name, snap (false: leave it)."
    )
    surfaces: VectorInput | None = Field(
        None, description="Polygons of roofs, yards, tracks, land cover; column cover."
    )
    soils: VectorInput | None = Field(
        None,
        description="Polygons of soil; columns group (A to D), texture, soak_mm_per_h, depth_m.",
    )
    keep_out: VectorInput | None = Field(
        None,
        description="Points, lines or polygons no line may enter; columns kind, setback_m.",
    )
    culverts: VectorInput | None = Field(
        None, description="Lines of pipes under tracks, along which water passes."
    )
    plan: str | None = Field(None, description="GeoPackage with the layers that a person draws in.")
    weather: str | None = Field(None, description="Daily weather as CSV.")
    plants: str | None = Field(
        None, description="Plants that the plan names, as CSV; see the page on planting."
    )
    guilds: str | None = Field(
        None, description="Plants that are set out together, as CSV: guild, plant, count, radius_m."
    )
    rainfall: str | None = Field(None, description="Depth-duration-frequency table as CSV.")
    inflows: str | None = Field(
        None,
        description="Hydrographs of the plan's inflow points as CSV: time_h, then a column each.",
    )
    notes: VectorInput | None = Field(
        None,
        description="Notes that the map page saved on the ground, as GeoJSON (columns text, about,"
        " moved, accuracy_m) or GPX.",
    )
    as_built: VectorInput | None = Field(
        None,
        description="What was built, surveyed: a GeoTIFF or point cloud, or points with levels as"
        " CSV or GeoPackage.",
    )


class FixedPoint(ConfigTable):
    """A point on the ground that anybody finds again: a house corner, a gate post."""

    name: str = Field(min_length=1, description="What it is.")
    easting_m: float = Field(description="In the survey's coordinates.")
    northing_m: float = Field(description="In the survey's coordinates.")


class KnownPoint(FixedPoint):
    """A point whose place on the Earth is known too, from a phone or a map."""

    longitude_deg: float = Field(ge=-180, le=180, description="East positive, WGS 84.")
    latitude_deg: float = Field(ge=-90, le=90, description="North positive, WGS 84.")


class Terrain(ConfigTable):
    """How the elevation is read and what is derived from it."""

    cell_m: Positive | None = Field(
        None, description="Cell size to work at; left out: the elevation's own."
    )
    crs: str | None = Field(
        None,
        description="Reference system of the elevation, where its files do not say theirs;"
        ' "local": a grid of your own in metres, which needs no map.',
    )
    known_points: tuple[KnownPoint, ...] = Field(
        (),
        description='With crs "local": two or more points, far apart, whose place on the Earth is'
        " known, each with name, easting_m, northing_m, longitude_deg and latitude_deg. They turn"
        " the grid to the north and put it on the map.",
    )
    vertical_unit: Literal["auto", "m", "ft", "us-ft"] = Field(
        "auto", description="Unit of heights; auto trusts the file."
    )
    span_voids_m2: NotNegative = Field(
        100.0, description="Holes in the data up to this area are spanned."
    )
    ground_step_m: Positive = Field(
        0.3,
        description="Clouds without a ground class: what stands this little over its surroundings"
        " is ground.",
    )
    ground_window_m: Positive = Field(
        30.0, description="Such clouds: width of the widest roof that is taken off."
    )
    canopy: bool = Field(
        default=False,
        description="Point clouds: make the raster canopy_m, how high points reach over the"
        " ground.",
    )
    level_steps: bool = Field(
        default=False,
        description="Classified clouds: take off the steps between flight lines, and between files,"
        " that lie over each other.",
    )
    curvature_smooth_m: Positive = Field(
        5.0, description="Smoothing of the surface before its bend is measured."
    )


class Conditioning(ConfigTable):
    """How water is let through what dams it in the survey but not on the ground."""

    mode: Literal["breach", "fill"] = Field(
        "breach", description="breach: cut short dams, fill the rest; fill: fill everything."
    )
    breach_depth_m: NotNegative = Field(1.0, description="Deepest cut of a breach.")
    breach_length_m: NotNegative = Field(30.0, description="Longest breach.")
    keep: Literal["auto", "depth", "none"] = Field(
        "auto",
        description="Which hollows stay sinks besides those of kept_hollows. auto: those that the"
        " check storm cannot fill; depth: by keep_depth_m and keep_area_m2; none.",
    )
    keep_depth_m: Positive | None = Field(
        None,
        description="Hollows at least this deep and keep_area_m2 large are kept, for keep depth.",
    )
    keep_area_m2: NotNegative = Field(0.0, description="See keep_depth_m.")
    tell_fill_m: Positive = Field(
        0.5, description="Ground that is filled deeper than this is told of and flagged."
    )
    hollow_depth_m: NotNegative = Field(0.15, description="Hollows shallower are not listed.")
    hollow_area_m2: NotNegative = Field(20.0, description="Hollows smaller are not listed.")

    @model_validator(mode="before")
    @classmethod
    def _depth_where_given(cls, given: object) -> object:
        """Take a file of an earlier release, with keep_depth_m and no keep, as meant."""
        if isinstance(given, dict) and given.get("keep_depth_m") and "keep" not in given:
            return {**given, "keep": "depth"}
        return given

    @model_validator(mode="after")
    def _depth_said(self) -> Self:
        if (self.keep == "depth") != (self.keep_depth_m is not None):
            raise ValueError('keep = "depth" and keep_depth_m go together: give both, or neither')
        return self


class Drainage(ConfigTable):
    """Where water gathers, and how intakes find it."""

    path_area_m2: Positive = Field(
        2000.0, description="Ground that must gather before a flow path is drawn."
    )
    snap_radius_m: NotNegative = Field(
        10.0, description="How far an intake may move to reach its flow path."
    )
    snap_area_m2: Positive = Field(
        500.0, description="Ground that a flow path must gather before an intake snaps to it."
    )
    audit_max_cells: int = Field(
        4_000_000, ge=0, description="Largest grid that is recomputed with a second library."
    )
    audit_warn_pct: Positive = Field(
        1.0, description="Disagreement between the libraries above which the run warns."
    )


class Survey(ConfigTable):
    """How exact the elevation is, and how often to try what its error could change."""

    accuracy_class: Literal["QL0", "QL1", "QL2", "QL3"] = Field(
        "QL2", description="Class of the survey; sets rmse_m where that is left out."
    )
    rmse_m: NotNegative | None = Field(None, description="Vertical error (RMSE) of the ground.")
    source: str = Field(
        "", max_length=200, description="Who made the survey and where it is from, for its page."
    )
    date: str = Field(
        "",
        max_length=40,
        description="When it was made, for its page; left out: what its files tell.",
    )
    correlation_m: NotNegative = Field(
        10.0, description="Distance over which the error stays alike."
    )
    correlations_m: tuple[NotNegative, ...] = Field(
        (5.0, 10.0, 30.0),
        min_length=1,
        description="Distances that the ranges of catchments are drawn over, each in turn.",
    )
    realisations: int = Field(
        200,
        ge=0,
        le=5000,
        description="Most surfaces drawn for the ranges of catchments; fewer where the ranges "
        "stand still before, none at 0.",
    )
    measure_next: int = Field(
        8, ge=0, le=200, description="Single levels: places proposed for further ones."
    )
    seed: int = Field(1, ge=0, description="Start of the random numbers, for repeatable results.")


class DesignStorm(ConfigTable):
    """The storm that everything is sized for, from the rainfall table."""

    return_period_y: Positive = Field(10.0, description="Return period of the design storm.")
    check_periods_y: tuple[Positive, ...] = Field(
        (), description="Further return periods that the cascade is run for."
    )
    duration_h: Positive = Field(6.0, description="Duration of the design storm.")
    check_durations_h: tuple[Positive, ...] = Field(
        (), description="Further durations that the cascade is run for, at every return period."
    )
    beyond_period_y: Positive = Field(
        100.0,
        description="Return period of the check storm, which tells what fails first beyond the"
        " design storm; the rarest of the rainfall table where that does not reach so far.",
    )
    beyond_durations_h: tuple[Positive, ...] = Field(
        (12.0, 24.0),
        description="Longer durations of the check storm and of the design storm; those that the"
        " table does not reach, and shorter ones than duration_h, are left out.",
    )
    beyond_steps: tuple[Positive, ...] = Field(
        (1.25, 1.5, 2.0),
        description="Multiples of depth_mm that are run where there is no rainfall table; not a"
        " standard.",
    )
    step_min: Positive = Field(5.0, description="Time step of its rain.")
    shape: Literal["alternating block", "uniform", "type I", "type IA", "type II", "type III"] = (
        Field(
            "alternating block",
            description="How rain spreads over the storm; the NRCS types need 24 h.",
        )
    )
    climate_uplift_pct: NotNegative = Field(0.0, description="Added to every depth of rain.")
    depth_mm: Positive = Field(
        60.0, description="Depth of rain, used only where inputs.rainfall is left out."
    )


class Contours(ConfigTable):
    """Contour lines for reading the ground."""

    interval_m: Positive = Field(1.0, description="Height between contours.")
    index_every: int = Field(5, ge=1, description="Every so many contours one is drawn thicker.")
    smooth_m: NotNegative = Field(1.5, description="Smoothing of the surface before tracing.")


class LevelLines(ConfigTable):
    """What all lines on the ground have in common."""

    smooth_m: NotNegative = Field(2.0, description="Smoothing of the surface before tracing.")
    level_tolerance_m: Positive = Field(
        0.05, description="Departure from level above which a line is flagged."
    )
    min_length_m: NotNegative = Field(20.0, description="Shorter pieces are dropped.")
    max_slope_pct: Positive = Field(20.0, description="Lines end at steeper ground.")
    boundary_setback_m: NotNegative = Field(5.0, description="Clear distance to the boundary.")
    path_area_m2: Positive = Field(
        5000.0, description="Lines end at flow paths that gather more ground than this."
    )
    path_clearance_m: NotNegative = Field(3.0, description="Clear distance to such flow paths.")


class SwaleRows(ConfigTable):
    """Proposed swale rows and the storm that they are spaced for."""

    rule: Literal["volume", "interval", "terrace", "none"] = Field(
        "volume",
        description="volume: each row holds the runoff of its strip; interval: equal heights; "
        "terrace: by slope; none: only rows that were drawn.",
    )
    interval_m: Positive = Field(2.0, description="Height between rows, for rule interval.")
    min_spacing_m: Positive = Field(8.0, description="Closest spacing up the slope.")
    max_spacing_m: Positive = Field(40.0, description="Widest spacing up the slope.")
    min_length_m: NotNegative = Field(
        30.0, description="Shorter rows are not proposed; those that were drawn stay."
    )
    proposals: Literal["worth", "all"] = Field(
        "worth",
        description="worth: only rows that are level and hold what reaches them, each as deep as"
        " that takes, up to works.swale_depth_range_m; all: every row that the rule finds, of the"
        " usual depth, flagged where it is neither.",
    )
    hold_mm: Positive | None = Field(
        None, description="Runoff that rows are to hold; left out, that of the design storm."
    )
    most_length_m: Positive | None = Field(
        None, description="Proposed rows at most; those that hold most for a metre are kept."
    )
    most_cost: Positive | None = Field(
        None, description="Budget for proposed rows, by rates.cut_per_m3 and form_per_m."
    )
    # words of an earlier release; what proposed and drawn swales share stands in [works]
    bottom_width_m: NotNegative | None = Field(
        None, description="Older word: left out, rows are dug as works.swale_bottom_m says."
    )
    depth_m: Positive | None = Field(
        None, description="Older word: left out, rows are dug as works.swale_depth_m says."
    )
    side_slope: NotNegative | None = Field(
        None, description="Older word: left out, rows are dug as works.swale_side says."
    )
    runoff_curve_number: float | None = Field(
        None,
        gt=0,
        le=100,
        description="Older word: left out, the ground between rows is works.usual_cover in its"
        " condition on works.usual_soil_group.",
    )
    soak_mm_per_h: NotNegative | None = Field(
        None,
        description="Older word: left out, rows soak at works.usual_soak_mm_per_h divided by"
        " works.soak_safety_factor.",
    )
    terrace_x: Positive = Field(
        0.6, description="X of the terrace rule (0.4 to 0.8 by region), for rule terrace."
    )
    terrace_y: Positive = Field(
        2.0, description="Y of the terrace rule (1 to 4 by soil and cover), for rule terrace."
    )

    @model_validator(mode="after")
    def _spacing_in_order(self) -> Self:
        if self.max_spacing_m <= self.min_spacing_m:
            raise ValueError(
                f"max_spacing_m ({self.max_spacing_m} m) must be above min_spacing_m "
                f"({self.min_spacing_m} m)"
            )
        return self


class Earthworks(ConfigTable):
    """How elements are dug and heaped up, and what the earth does."""

    refine: int = Field(
        4, ge=1, le=16, description="Parts that a cell's side is split into where there is work."
    )
    settlement: Share = Field(
        0.10, description="Share of their height by which banks are built higher than settled."
    )
    bank_top_m: Positive = Field(1.0, description="Width of the top of banks.")
    bank_outer: Positive = Field(2.0, description="Run over rise of a bank's outer side.")
    wing_m: NotNegative = Field(
        15.0,
        description="Longest wing that carries a swale's mound uphill round its end; 0: none.",
    )
    batter_limit_m: Positive = Field(
        40.0, description="A batter that meets no ground within this distance is flagged."
    )
    section_interval_m: Positive = Field(
        2.0, description="Between the sections that check the volumes."
    )
    loose_per_bank: Positive = Field(
        1.25, description="Loose volume of earth over its volume in place."
    )
    compacted_per_bank: Positive = Field(
        0.90, description="Compacted volume of earth over its volume in place."
    )
    topsoil_m: NotNegative = Field(0.15, description="Topsoil stripped where earth is moved.")
    respread_m: NotNegative = Field(0.10, description="Topsoil put back on what is heaped up.")
    sill_stone_m: NotNegative = Field(0.30, description="Thickness of stone on sills.")
    sill_apron_m: NotNegative = Field(
        2.0, description="Stone along the flow, beyond the crest of a sill's bank."
    )


Rate = NotNegative | None


class Rates(ConfigTable):
    """Prices of the bill of quantities, in one currency; what is left out has no price.

    The range is that usual of estimates at concept stage, after contingency: AACE International
    18R-97, class 4, about its middle (value from memory).
    """

    currency: str = Field(
        "", max_length=12, description="Of all prices, as it is written after a sum, such as EUR."
    )
    contingency_pct: NotNegative = Field(
        15.0,
        description="Added to the bill for what the ground hides (common practice, no source).",
    )
    range_below_pct: float = Field(
        20.0, ge=0, lt=100, description="How far the works may cost less than the sum."
    )
    range_above_pct: NotNegative = Field(
        30.0, description="How far the works may cost more than the sum."
    )
    strip_per_m3: Rate = Field(None, description="Strip topsoil and heap it beside the work.")
    cut_per_m3: Rate = Field(None, description="Dig, measured in place.")
    fill_per_m3: Rate = Field(None, description="Place and compact fill, measured compacted.")
    form_per_m: Rate = Field(None, description="Form ditch and mound to line and level.")
    haul_per_m3: Rate = Field(None, description="Load and haul to a stockpile, measured loose.")
    haul_fill_per_m3: Rate = Field(
        None, description="Load and haul to another element, measured loose."
    )
    borrow_per_m3: Rate = Field(None, description="Bring fill from elsewhere, measured loose.")
    respread_per_m3: Rate = Field(None, description="Spread topsoil.")
    seed_per_m2: Rate = Field(None, description="Seed bare ground.")
    mulch_per_m2: Rate = Field(None, description="Mulch bare ground.")
    sill_stone_per_m3: Rate = Field(None, description="Stone for sills and aprons.")
    sill_cloth_per_m2: Rate = Field(None, description="Filter cloth under stone.")
    gravel_per_m3: Rate = Field(
        None, description="Filling of basins and beds: gravel, mulch or soil."
    )
    liner_per_m2: Rate = Field(None, description="Lining sheet, laid.")
    clay_per_m3: Rate = Field(None, description="Clay lining, compacted.")
    shelf_plants_per_m2: Rate = Field(None, description="Plant a shelf with marsh plants.")
    bed_wall_per_m2: Rate = Field(None, description="Wall of a raised bed.")
    bed_soil_per_m3: Rate = Field(None, description="Soil of a raised bed.")
    trench_per_m3: Rate = Field(None, description="Dig trench or pit, measured in place.")
    bedding_per_m3: Rate = Field(None, description="Bed pipe or tank in sand or fine gravel.")
    backfill_per_m3: Rate = Field(None, description="Fill trench or pit again.")
    trench_spoil_per_m3: Rate = Field(
        None, description="Take away spoil of trench or pit, measured in place."
    )
    pipe_per_m: Rate = Field(None, description="Pipe, laid.")
    downpipe_per_m: Rate = Field(None, description="Downpipe or trough, fixed.")
    tank_each: Rate = Field(None, description="Tank, supplied and set.")
    set_out_each: Rate = Field(None, description="Stake, set and levelled.")


class Staking(ConfigTable):
    """Stakes along lines, round outlines and at sills, and the levels that are read on a rod."""

    interval_m: Positive = Field(5.0, description="Between stakes.")
    turn_deg: Positive = Field(15.0, description="A stake stands where a line turned by more.")
    lines: tuple[Literal["swale_lines", "drain_lines", "keylines"], ...] = Field(
        (), description="Layers of lines to stake as well, besides what is dug."
    )
    offset_m: NotNegative = Field(
        3.0, description="Offset stakes this far outside the digging; 0: none."
    )
    benchmark: str = Field("", description="Name of the site's benchmark.")
    benchmark_level_m: float | None = Field(
        None, description="Its level in the survey's datum; left out: no rod readings."
    )
    sight_above_m: Positive = Field(
        1.5, description="Height of the instrument's line of sight over the benchmark."
    )
    rod_m: Positive = Field(5.0, description="Length of the rod.")
    fixed_points: tuple[FixedPoint, ...] = Field(
        (),
        max_length=2,
        description="Two points that stakes are measured from by hand, each with name, easting_m"
        " and northing_m.",
    )
    surface_error_m: Positive = Field(
        0.01, description="Departure of the triangles for machine guidance from the surface."
    )
    text_m: Positive = Field(0.5, description="Height of the letters in the drawing file.")


class Proof(ConfigTable):
    """Water run over the designed surface."""

    refine: int | None = Field(
        None,
        ge=1,
        le=8,
        description="Parts that a cell's side is split into. Left out, 2; and more where cells are"
        " so wide that water would slip between those of a bank.",
    )
    tolerance_m: Positive = Field(
        0.05,
        description="Between a sill's level and that at which the surface really spills; the error"
        " of the survey where that is greater.",
    )
    rain_on_grid: bool = Field(
        default=False,
        description="Run the design storm over the whole surface as shallow water; takes minutes.",
    )
    flood_refine: int = Field(
        1,
        ge=1,
        le=4,
        description="Parts of a cell's side for rain_on_grid; 2 takes 8 times as long.",
    )
    roughness: Positive = Field(0.05, description="Manning's n of the ground.")
    after_h: NotNegative = Field(0.5, description="How long to go on after the storm.")


class AsBuilt(ConfigTable):
    """How closely the works must follow the design, and how inputs.as_built is read."""

    sill_m: Positive = Field(
        0.02, description="A sill may be off by this, and this uneven from side to side."
    )
    floor_m: Positive = Field(
        0.03, description="Floors of swales, drains, ponds and basins may be off by this."
    )
    crest_m: Positive = Field(0.05, description="A mound may be lower than asked by this.")
    edge_m: Positive = Field(0.10, description="The rim of a pond or basin may be off by this.")
    storage_pct: float = Field(
        5.0, ge=0, le=100, description="Storage may fall short of the design by this."
    )
    reach_m: Positive = Field(
        0.5, description="A surveyed point speaks for a stake no farther away than this."
    )
    surveyed_by: Literal["level", "gnss", "air"] | None = Field(
        None,
        description="How levels were taken: level (it errs by 0.003 m), gnss (0.02 m) or air"
        " (0.05 m); left out: 0.01 m for points, air for a surface.",
    )
    rmse_m: NotNegative | None = Field(
        None,
        description="Vertical error (RMSE) of the as-built survey, where it is known better than"
        " by surveyed_by; what it cannot show is told as not decided.",
    )
    settled: bool = Field(
        default=False,
        description="true: banks had settled when they were surveyed; false: they must still stand"
        " higher by what they will settle.",
    )
    take_off_shift: bool = Field(
        default=True,
        description="Take off a shift of the whole survey that the benchmark or unchanged ground"
        " shows.",
    )
    crs: str | None = Field(
        None, description="Reference system of the points or surface, where the file has none."
    )
    vertical_unit: Literal["auto", "m", "ft", "us-ft"] = Field(
        "auto", description="Unit of its levels; auto trusts a raster's file and takes points as m."
    )


class DrainLines(ConfigTable):
    """Graded lines: how gently they fall, where a drawn start or drain does not say."""

    run_per_fall: Positive = Field(
        400.0, description="Metres along for a metre down, for lines from a start point."
    )
    least_fall_pct: Positive = Field(0.1, description="Gentlest fall between two points.")
    most_fall_pct: Positive = Field(1.0, description="Steepest fall between two points.")
    max_length_m: Positive = Field(1000.0, description="Greatest length from a start point.")
    fall_tolerance_m: Positive = Field(
        0.05, description="Departure from the stated fall above which a line is flagged."
    )

    @model_validator(mode="after")
    def _falls_in_order(self) -> Self:
        if self.most_fall_pct <= self.least_fall_pct:
            raise ValueError(
                f"most_fall_pct ({self.most_fall_pct} %) must be above least_fall_pct "
                f"({self.least_fall_pct} %)"
            )
        return self


class Cultivation(ConfigTable):
    """Keypoints, keylines, and the lines that follow them."""

    valley_area_m2: Positive = Field(
        5000.0, description="Ground that must gather before a valley line is drawn."
    )
    profile_smooth_m: Positive = Field(10.0, description="Smoothing of the valley's long profile.")
    valley_smooth_m: Positive = Field(
        4.0, description="Smoothing of the surface before valleys and ridges are sought."
    )
    keyline_smooth_m: NotNegative = Field(
        3.0, description="Smoothing of the surface before keylines are traced."
    )
    keypoint_at: Literal["break", "inflection"] = Field(
        "break",
        description="break: where the steep floor meets the gentle one; inflection: where a curved"
        " floor goes over from convex to concave.",
    )
    min_confidence: float = Field(
        0.8,
        ge=0,
        le=1,
        description="Turns of a floor that survey noise alone could make of a straight one, with a"
        " chance above 1 less this, are no keypoints.",
    )
    width_m: Positive = Field(3.0, description="Working width of the implement.")
    reach_m: Positive = Field(60.0, description="How far from the keyline lines are laid.")
    turning_radius_m: Positive = Field(6.0, description="Tightest turn of the tractor.")
    guides: Literal["chosen", "keypoints"] = Field(
        "chosen",
        description="chosen: beside those level lines across valleys where most length falls from"
        " valley to ridge, and only where it does; keypoints: all lines beside the keyline of each"
        " keypoint, however they fall.",
    )
    guides_apart_m: Positive = Field(
        20.0, description="How far apart along valley floors level lines are tried, for guides."
    )
    guide_least_m: NotNegative = Field(
        400.0, description="A guide whose lines add less length that falls right is not taken."
    )
    most_guides: int = Field(20, ge=1, le=500, description="Guides at most.")
    shortest_m: NotNegative = Field(
        40.0, description="Shorter lines are not worth turning for, where guides are chosen."
    )
    most_fall_pct: Positive = Field(
        8.0, description="Lines that fall more than this from valley to ridge are not drawn then."
    )


class Keep(ConfigTable):
    """What stays on the disk after a run."""

    store: str | None = Field(
        None,
        description="Folder of the results of stages, which sites may share; left out: .brimline"
        " beside this file.",
    )
    store_gb: Positive = Field(
        10.0, description="Room for the results of stages; what was used longest ago goes first."
    )
    runs: int = Field(
        2, ge=0, le=1000, description="Earlier run folders kept beside the newest, by date."
    )


class Publishing(ConfigTable):
    """What is made of the results."""

    draft: bool = Field(
        False,  # noqa: FBT003
        description="Stop after site.gpkg and what needs a person; `--no-draft` makes the rest.",
    )


class Settings(ConfigTable):
    """The whole file."""

    site: Site
    inputs: Inputs
    terrain: Terrain = Terrain()
    conditioning: Conditioning = Conditioning()
    drainage: Drainage = Drainage()
    survey: Survey = Survey()
    storm: DesignStorm = DesignStorm()
    contours: Contours = Contours()
    lines: LevelLines = LevelLines()
    swales: SwaleRows = SwaleRows()
    drains: DrainLines = DrainLines()
    cultivation: Cultivation = Cultivation()
    earthworks: Earthworks = Earthworks()
    rates: Rates = Rates()
    stakes: Staking = Staking()
    proof: Proof = Proof()
    as_built: AsBuilt = AsBuilt()
    works: Works = Works()
    hazard: Hazard = Hazard()
    ponds: Ponds = Ponds()
    sensitivity: Sensitivity = Sensitivity()
    search: DesignSearch = DesignSearch()
    weather: Weather = Weather()
    year: Year = Year()
    sun: Sun = Sun()
    wind: Wind = Wind()
    springs: Springs = Springs()
    planting: PlantingPlan = PlantingPlan()
    soil_loss: SoilLoss = SoilLoss()
    cold_air: ColdAir = ColdAir()
    growing: Growing = Growing()
    access: Access = Access()
    tiles: Tiles = Tiles()
    keep: Keep = Keep()
    publish: Publishing = Publishing()
