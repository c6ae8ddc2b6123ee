"""The elevation, brought to the run's one grid, with small holes spanned."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np

from brimline.config import Terrain
from brimline.engine.stage import Stage, grid_facts
from brimline.errors import Problem, Severity
from brimline.io.crs import is_local
from brimline.io.elevation import read_elevation
from brimline.io.placed import placed_crs, stated_crs
from brimline.io.vectors import VectorSource
from brimline.terrain.ground import GroundFilter
from brimline.terrain.levels import SpotLevels
from brimline.terrain.voids import span_voids

if TYPE_CHECKING:
    from brimline.engine.stage import Given, Made, Reporter


def _run(given: Given, report: Reporter) -> Made:
    return _part(_read(given, report), "elevation")


def _run_levels(given: Given, report: Reporter) -> Made:
    return _part(_read(given, report), "elevation", "spot_levels")


def _run_objects(given: Given, report: Reporter) -> Made:
    return _part(_read(given, report), "surveyed")


def _run_levels_objects(given: Given, report: Reporter) -> Made:
    return _part(_read(given, report), "surveyed", "spot_levels")


def _run_points(given: Given, report: Reporter) -> Made:
    return _part(_read(given, report), "elevation", "ground_points")


def _run_points_objects(given: Given, report: Reporter) -> Made:
    return _part(_read(given, report), "surveyed", "ground_points")


def _part(made: dict[str, Any], *names: str) -> Made:
    return {name: made[name] for name in ("grid", "survey", *names)}


def _read(given: Given, report: Reporter) -> dict[str, Any]:
    params = given.params("terrain", Terrain)
    read = read_elevation(
        given.source("elevation", list) or (),
        cell_m=params.cell_m,
        vertical_unit=params.vertical_unit,
        crs=stated_crs(params),
        breaklines=given.source("breaklines", VectorSource),
        ground=GroundFilter(
            least_step_m=params.ground_step_m, largest_window_m=params.ground_window_m
        ),
        level_steps=params.level_steps,
    )
    for problem in read.notices:
        report.problem(problem)
    if params.known_points:
        report.problem(placed_crs(params.known_points)[2])
    if is_local(read.grid.crs):
        report.problem(
            Problem(
                Severity.NOTICE,
                "lies in a local grid: what needs a place on the Earth is left out (longitude and"
                " latitude of stakes, GPX, GeoJSON, the position on the map page); DXF, LandXML,"
                " CSV and GeoPackage are in the local grid",
                "name two points whose place is known as terrain.known_points.",
                "elevation",
            )
        )
    report.advanced(0.8, "spanning holes")
    spanned = span_voids(read.dem, cell_m=read.grid.cell_m, max_area_m2=params.span_voids_m2)
    if spanned.spanned_cells:
        area_m2 = spanned.spanned_cells * read.grid.cell_area_m2
        report.problem(
            Problem(
                Severity.NOTICE,
                f"{spanned.holes} holes of together {area_m2:.0f} m² were spanned as a membrane",
                "look at them before trusting levels there; terrain.span_voids_m2 sets the limit",
                "elevation",
            )
        )
    known = np.isfinite(spanned.surface)
    return {
        "grid": grid_facts(read.grid),
        "elevation": spanned.surface,
        "surveyed": spanned.surface,
        "spot_levels": read.spots,
        "ground_points": read.counts,
        "survey": {
            "cells": int(known.sum()),
            "area_m2": float(known.sum() * read.grid.cell_area_m2),
            "lowest_m": float(spanned.surface[known].min()),
            "highest_m": float(spanned.surface[known].max()),
            "spanned_m2": spanned.spanned_cells * read.grid.cell_area_m2,
            "left_void_m2": spanned.left_cells * read.grid.cell_area_m2,
            **read.plain(),
        },
    }


STAGE = Stage(
    name="survey",
    version=5,
    title="reading the elevation",
    needs=(),
    makes=("grid", "elevation", "survey"),
    run=_run,
    sources=("elevation", "breaklines"),
    tables=("terrain",),
)
# single levels, and where points of a cloud lie, are handed on; where objects are taken off or put
# on, that is a stage of its own
OF_LEVELS = replace(
    STAGE,
    run=_run_levels,
    makes=("grid", "elevation", "survey", "spot_levels"),
    typed={"spot_levels": SpotLevels},
)
OF_POINTS = replace(STAGE, run=_run_points, makes=("grid", "elevation", "survey", "ground_points"))
WITH_OBJECTS = replace(STAGE, run=_run_objects, makes=("grid", "surveyed", "survey"))
OF_LEVELS_WITH_OBJECTS = replace(
    OF_LEVELS, run=_run_levels_objects, makes=("grid", "surveyed", "survey", "spot_levels")
)
OF_POINTS_WITH_OBJECTS = replace(
    OF_POINTS, run=_run_points_objects, makes=("grid", "surveyed", "survey", "ground_points")
)
