"""Unsafe and safe ground for the flags of intakes, catchments and lines."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache
from types import SimpleNamespace

import geopandas as gpd
import numpy as np
import shapely

from brimline.drainage.catchments import snap, subcatchments
from brimline.drainage.catchments.rows import intake_grounds
from brimline.drainage.flow import accumulate, flow_directions
from brimline.grid import Grid
from brimline.lines.graded import NoLine, graded_between, graded_line
from brimline.lines.keyline import (
    cultivation_lines,
    families,
    given_keypoint,
    keyline,
)
from brimline.lines.keyline.pattern import Country, Ploughing, pattern
from brimline.lines.keyline.working import Useful
from brimline.lines.level_lines import Drawing, level_lines
from brimline.lines.limits import Cut, Stop, cut_at_folds, limits
from brimline.lines.relief import valley_lines
from brimline.lines.rows import Duty, RowSpacing, swale_rows
from brimline.lines.rows.worth import level_pieces
from brimline.stages import raised
from brimline.terrain.filled import FilledGround

GRID = Grid(60, 100, 1.0, 0.0, 60.0, "EPSG:32633")
WIDE = Grid(120, 160, 1.0, 0.0, 120.0, "EPSG:32633")
FREE = Duty(runoff_mm=25.0, storage_m2=0.50, soak_mm=20.0, wetted_width_m=2.0)


def told(flags):
    """Flags that say nothing but their meaning in the catalogue."""
    return dict.fromkeys(flags, "")


def plane(slope, grid=WIDE):
    """Fall south."""
    _, y = grid.xy(*np.indices(grid.shape))
    return (100 + slope * y).astype(np.float32)


# --- intakes and catchments


def intakes(row, low_m2=1.0, high_m2=99.0):
    """One intake on ground that runs south from a divide behind its second row."""
    grid = Grid(9, 9, 1.0, 0.0, 9.0, "EPSG:32633")
    north, _ = np.indices(grid.shape)
    dem = (20.0 - north).astype(np.float32)
    dem[1], dem[1, 4] = 30.0, 29.0  # a divide behind the second row
    found = subcatchments(flow_directions(dem), np.array([[row, 4]]))
    (made,) = intake_grounds(found, dem, grid, ranges_m2=[(low_m2, high_m2)])
    return told(made.flags)


def snapped(point, upper, lower):
    """Two streams that run east, a cell apart."""
    codes = np.full((3, 6), 6, dtype=np.uint8)
    codes[[0, 2]], codes[[0, 2], 5] = 0, 8
    weights = np.zeros(codes.shape)
    weights[0, 0], weights[2, 0] = upper, lower
    found = snap(
        [point], accumulate(codes, weights), codes, cell_m=1.0, radius_m=3.0, min_area_m2=5
    )
    return told(found.flags[0])


def filled(depth_m):
    depth = np.full(GRID.shape, depth_m, dtype=np.float32)
    return told(FilledGround(GRID, depth, 0.3).flags(shapely.Point(50, 30)))


def standing_up(roof_m):
    """Bare ground with or without a roof on it."""
    dem = np.full(GRID.shape, 50.0, dtype=np.float32)
    dem[20:32, 40:56] += roof_m
    site = gpd.GeoDataFrame(geometry=[shapely.box(20, 10, 80, 50)], crs=GRID.crs)
    given = SimpleNamespace(grid=GRID, frame=lambda _: site, raster=lambda _: dem)
    problems = []
    made = raised._run(given, SimpleNamespace(problem=problems.append))
    flags = made["raised_areas"]["flag"]
    return dict(zip(flags, [one.message for one in problems], strict=True))


# --- lines


def level(dem=None, tolerance_m=0.05, survey=None, at_m=100.0 + 0.1 * 60, **stops):
    """A level line across a slope of 10 %."""
    dem = plane(0.1) if dem is None else dem
    where = limits(dem, WIDE, **stops)
    survey = dem if survey is None else survey
    lines = level_lines(
        np.array([at_m]), survey, dem, WIDE, where, Drawing(tolerance_m=tolerance_m)
    )
    return told(flag for one in lines for flag in one.flags)


def bumpy(height_m):
    dem = plane(0.1)
    dem[56:64, 70:80] += height_m
    return dem


def holed(rows):
    dem = plane(0.1)
    dem[rows, 80:] = np.nan
    return dem


def steep_bank(slope):
    """A slope that is steeper in its east."""
    _, y = WIDE.xy(*np.indices(WIDE.shape))
    x, _ = WIDE.xy(*np.indices(WIDE.shape))
    return (100 + 6 + np.where(x > 90, slope, 0.1) * (y - 60)).astype(np.float32)


def flow_path(area_m2):
    area = np.ones(WIDE.shape)
    area[:, 100] = area_m2
    return area


def folded(*corners):
    line = np.array([shapely.LineString(corners)], dtype=object)
    none = np.zeros(1, dtype=np.uint8)
    found = cut_at_folds(Cut(line, np.arange(1), none, none), 1.0)
    return told(Stop(int(code)).flag for code in (*found.start, *found.end) if code)


def uneven(bump_m):
    """A row as level as its ground, and a bump or none on that ground."""
    row = np.array([shapely.LineString([(5, 60.0), (150, 60.0)])], dtype=object)
    none = np.zeros(1, dtype=np.uint8)
    dem = bumpy(bump_m)
    found, _ = level_pieces(
        Cut(row, np.arange(1), none, none), np.array([106.0]), dem, dem, WIDE,
        Drawing(tolerance_m=0.1),
    )  # fmt: skip
    return told(Stop(int(code)).flag for code in (*found.start, *found.end) if code)


def graded(dem, start, run_per_fall=100.0, survey=None, **options):
    where = limits(dem, WIDE)
    survey = dem if survey is None else survey
    found = graded_line(start, run_per_fall, "left", survey, dem, WIDE, where, **options)
    return told(found.flags)


def two_falls(east):
    """Ground of 2 % that is `east` steep beyond x = 110."""
    x, y = WIDE.xy(*np.indices(WIDE.shape))
    return (100 + np.where(x < 110, 0.02, east) * (y - 60)).astype(np.float32)


def bowl(rise):
    """A bowl, or a cone."""
    x, y = WIDE.xy(*np.indices(WIDE.shape))
    return (100 + rise * np.hypot(x - 80, y - 60)).astype(np.float32)


def joined_by(goal):
    dem = plane(0.1)
    found = graded_between(
        (20.0, 60.0), goal, dem, dem, WIDE, limits(dem, WIDE), least_fall_pct=0.2, most_fall_pct=5.0
    )
    return {found.flag: found.why} if isinstance(found, NoLine) else told(found.flags)


def rows(most_m=60.0, drawn=None):
    """Swale rows of a slope, or a row as a person drew it."""
    dem = plane(0.1)
    found = swale_rows(
        dem, dem, WIDE, limits(dem, WIDE), FREE,
        RowSpacing("volume", 5.0 if most_m < 60 else 40.0, 60.0),
        **({} if drawn is None else {"drawn": [drawn]}),
    )  # fmt: skip
    return told(flag for one in found for flag in one.flags)


# --- keylines


@lru_cache(maxsize=3)
def country(above, below, rounded=False):
    """A valley whose floor is `above` and `below` steep, between ridges of 10 %.

    Beside the level line at 110 m lines fall from floor to ridge where the floor is steeper than
    the ridges above it and gentler below it.
    """
    grid = Grid(240, 368, 1.0, 1000.0, 5400.0)
    x, y = grid.xy(*np.indices(grid.shape))
    g = 1 - np.abs((x - 1184 + 120) % 240 - 120) / 120
    if rounded:  # its flanks are the steepest ground, where lines turn back to the valley
        g = 0.5 - 0.5 * np.cos(np.pi * g)
    past = y - 5280 + 50 * (1 - g)
    floor = np.where(past > 0, above, below)
    dem = (110 + past * (0.10 + (floor - 0.10) * g)).astype(np.float32)
    return dem, grid, valley_lines(dem, grid, min_area_m2=3000.0)


def beside(above, below):
    """Lines on both sides of the level line through the middle of the valley's floor."""
    dem, grid, valleys = country(above, below)
    point = given_keypoint(dem, grid, valleys, shapely.Point(1184, 5280))
    guide = keyline(point, dem, dem, grid, valleys)
    lines = cultivation_lines(
        dem, grid, guide, limits(dem, grid), width_m=6.0, reach_m=40.0, turning_radius_m=6.0
    )
    return guide, lines


def lines_beside(above, below):
    return told(flag for one in beside(above, below)[1] for flag in one.flags)


def families_beside(above, below):
    return told(flag for one in families(beside(above, below)[1]) for flag in one.flags)


def chosen(*floor):
    dem, grid, valleys = country(*floor)
    point = given_keypoint(dem, grid, valleys, shapely.Point(1184, 5280))
    point = replace(point, kind="break", keypoint_id=1)
    where = limits(dem, grid)
    made = pattern(
        Country(dem, dem, grid, valleys, (), where, Drawing()),
        [point], [],
        Ploughing(6.0, 40.0, 6.0, 20.0, Useful(), 1e6, 100.0, 1),
        choose=True,
    )  # fmt: skip
    return told(flag for one in (*made.keylines, *made.lines) for flag in one.flags)


STRAIGHT = shapely.LineString([(40, 60), (110, 60)])
ASKEW = shapely.LineString([(40, 60), (75, 64), (110, 55)])
GOOD, BAD = (0.20, 0.06), (0.06, 0.20)  # slopes of a floor above and below

EXAMPLES = {
    "edge-limited": (lambda: intakes(0), lambda: intakes(5)),
    "outside-range": (lambda: intakes(5, high_m2=2.0), lambda: intakes(5)),
    "snap-ambiguous": (lambda: snapped([0.2, 3], 10, 30), lambda: snapped([0.2, 3], 10, 12)),
    "snap-failed": (lambda: snapped([1, 3], 1, 1), lambda: snapped([1, 3], 10, 12)),
    "on-filled-ground": (lambda: filled(0.5), lambda: filled(0.2)),
    "not-ground": (lambda: standing_up(4.0), lambda: standing_up(0.0)),
    "level-error": (
        lambda: level(survey=bumpy(0.8)),
        lambda: level(survey=bumpy(0.01)),
    ),
    "fall-error": (
        lambda: graded(plane(0.1), (20.0, 66.0), survey=bumpy(0.8)),
        lambda: graded(plane(0.1), (20.0, 66.0)),
    ),
    "at-flow-path": (
        lambda: level(area_m2=flow_path(9000.0), path_area_m2=5000.0, path_clearance_m=3.0),
        lambda: level(area_m2=flow_path(4000.0), path_area_m2=5000.0, path_clearance_m=3.0),
    ),
    "at-steep-ground": (
        lambda: level(steep_bank(0.5), max_slope_pct=30.0),
        lambda: level(steep_bank(0.2), max_slope_pct=30.0),
    ),
    "at-fold": (
        lambda: folded((0, 0), (30, 0), (30, 2), (0, 2)),
        lambda: folded((0, 0), (30, 0), (60, 20)),
    ),
    "at-uneven-ground": (lambda: uneven(0.8), lambda: uneven(0.02)),
    "at-wrong-fall": (lambda: chosen(*GOOD, True), lambda: chosen(*GOOD)),
    "not-followed": (lambda: chosen(*BAD), lambda: chosen(*GOOD)),
    "at-flat-ground": (
        lambda: graded(two_falls(0.005), (20.0, 60.0)),
        lambda: graded(two_falls(0.02), (20.0, 60.0)),
    ),
    "at-hollow": (
        lambda: graded(bowl(0.1), (110.0, 60.0), 400.0),
        lambda: graded(plane(0.1), (20.0, 60.0), 400.0),
    ),
    "at-keep-out": (
        lambda: level(keep_out=[shapely.box(70, 50, 80, 70)]),
        lambda: level(keep_out=[shapely.box(70, 90, 80, 100)]),
    ),
    "at-boundary": (
        lambda: level(boundary=shapely.box(20, 20, 140, 100)),
        lambda: level(boundary=shapely.box(-20, -20, 240, 200)),
    ),
    "at-data-edge": (
        lambda: level(holed(slice(50, 70))),
        lambda: level(boundary=shapely.box(20, 20, 140, 100)),
    ),
    "moved": (lambda: rows(drawn=ASKEW), lambda: rows(drawn=STRAIGHT)),
    "undersized": (lambda: rows(60.0), lambda: rows(12.0)),
    "short-of-goal": (lambda: joined_by((120.0, 66.0)), lambda: joined_by((120.0, 57.0))),
    "falls-to-valley": (lambda: lines_beside(*BAD), lambda: lines_beside(*GOOD)),
    "family-falls-to-valley": (lambda: families_beside(*BAD), lambda: families_beside(*GOOD)),
}
