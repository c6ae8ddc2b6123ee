"""Valleys and ridges, keypoints, keylines, and the cultivation lines beside them."""

from __future__ import annotations

from typing import TYPE_CHECKING

from brimline.config import Cultivation, LevelLines, Survey
from brimline.engine.stage import Stage
from brimline.inputs.rules import ploughing_of
from brimline.lines.keyline import Country, families, find_keypoints, pattern, with_given
from brimline.lines.relief import ridge_lines, valley_lines
from brimline.stages._filled import filled_ground
from brimline.stages._frames import frame_of, table_of
from brimline.stages._ground_for_lines import NEEDS, drawing_of, limits_for
from brimline.stages._survey_error import SUPPORT, survey_error_m, survey_lacks
from brimline.terrain.smooth import smoothed

if TYPE_CHECKING:
    from collections.abc import Sequence

    from brimline.engine.stage import Given, Made, Reporter
    from brimline.grid import Elevation
    from brimline.lines.keyline import CultivationLine, Keyline, Keypoint
    from brimline.lines.relief import RidgeLine, ValleyLine


def _run(given: Given, report: Reporter) -> Made:
    params, grid = given.params("cultivation", Cultivation), given.grid
    survey, site = given.raster("elevation"), given.frame("boundary").geometry.union_all()
    calm = smoothed(survey, cell_m=grid.cell_m, sigma_m=params.valley_smooth_m)
    valleys = valley_lines(calm, grid, min_area_m2=params.valley_area_m2)
    ridges = ridge_lines(calm, grid, min_area_m2=params.valley_area_m2)
    report.advanced(0.4, "keypoints")
    on_site = [one for one in _keypoints(given, calm, valleys) if site.contains(one.point)]
    drawn = given.frame("drawn_keypoints").geometry
    keypoints = with_given(on_site, drawn, calm, grid, valleys)
    surface = smoothed(survey, cell_m=grid.cell_m, sigma_m=params.keyline_smooth_m)
    report.advanced(0.6, "keylines and cultivation lines")
    where = limits_for(given, surface, cross_paths=True)  # they cross the valley floor
    country = Country(survey, surface, grid, valleys, ridges, where, drawing_of(given))
    how = ploughing_of(params, given.params("lines", LevelLines).min_length_m)
    lacks = survey_lacks(given)  # then only what a person drew is followed
    choose = params.guides == "chosen" and not lacks
    begun = [one for one in keypoints if not lacks or one.kind == "given"]
    found = pattern(country, begun, given.frame("guide_lines").geometry, how, choose=choose)
    report.tell(found.told())
    if choose:
        report.tell(found.few_told(float(site.area), params.width_m, len(valleys)))
    lines: dict[str, Sequence[ValleyLine | RidgeLine | Keyline | CultivationLine]] = {
        "valley_lines": valleys,
        "ridge_lines": ridges,
        "keylines": filled_ground(given).flagged(found.keylines),
        "cultivation_lines": found.lines,
    }
    return {
        **{
            name: frame_of(rows, [one.line for one in rows], name, grid)
            for name, rows in lines.items()
        },
        "keypoints": frame_of(keypoints, [one.point for one in keypoints], "keypoints", grid),
        "cultivation_families": table_of(families(found.lines), "cultivation_families"),
    }


def _keypoints(
    given: Given, calm: Elevation, valleys: tuple[ValleyLine, ...]
) -> tuple[Keypoint, ...]:
    params = given.params("cultivation", Cultivation)
    return find_keypoints(
        calm, given.grid, valleys,
        smooth_m=params.valley_smooth_m, noise_m=survey_error_m(given),
        correlation_m=given.params("survey", Survey).correlation_m,
        profile_smooth_m=params.profile_smooth_m, min_confidence=params.min_confidence,
        turn=params.keypoint_at,
    )  # fmt: skip


STAGE = Stage(
    name="keylines",
    version=6,
    title="valleys, keypoints, keylines and cultivation lines",
    needs=(*NEEDS, "drawn_keypoints", "guide_lines", SUPPORT),
    makes=(
        "valley_lines",
        "ridge_lines",
        "keypoints",
        "keylines",
        "cultivation_lines",
        "cultivation_families",
    ),
    run=_run,
    tables=("cultivation", "lines", "survey"),
    near=True,
)
