"""Valleys and ridges, keypoints, keylines, and the cultivation lines beside them."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np

from brimline.config import Cultivation, LevelLines, Survey
from brimline.engine.stage import Stage
from brimline.errors import Problem, Severity
from brimline.layers.flags import joined
from brimline.lines.keyline import (
    Useful,
    chosen_guides,
    cultivation_of_all,
    families,
    find_keypoints,
    given_keypoint,
    guide_line,
    kept_apart,
    keylines,
    places_on_floors,
    trimmed,
)
from brimline.lines.relief import ridge_lines, valley_lines
from brimline.stages._filled import filled_ground
from brimline.stages._frames import frame_of, table_of
from brimline.stages._ground_for_lines import NEEDS, drawing_of, limits_for
from brimline.stages._survey_error import SUPPORT, survey_error_m
from brimline.terrain.smooth import smoothed
from brimline.units import counted

if TYPE_CHECKING:
    from collections.abc import Sequence

    from brimline.engine.stage import Given, Made, Reporter
    from brimline.grid import Elevation
    from brimline.lines.keyline import CultivationLine, Family, Keyline, Keypoint
    from brimline.lines.limits import Limits
    from brimline.lines.relief import RidgeLine, ValleyLine
    from brimline.stages._filled import FilledGround


def _run(given: Given, report: Reporter) -> Made:
    params = given.params("cultivation", Cultivation)
    grid, survey = given.grid, given.raster("elevation")
    calm = smoothed(survey, cell_m=grid.cell_m, sigma_m=params.valley_smooth_m)
    valleys = valley_lines(calm, grid, min_area_m2=params.valley_area_m2)
    ridges = ridge_lines(calm, grid, min_area_m2=params.valley_area_m2)
    report.advanced(0.4, "keypoints")
    keypoints = _keypoints(given, calm, valleys)
    surface = smoothed(survey, cell_m=grid.cell_m, sigma_m=params.keyline_smooth_m)
    report.advanced(0.6, "keylines")
    whole = _keylines(given, surface, valleys, ridges, keypoints, report)
    where = limits_for(given, surface, cross_paths=True)  # they cross the valley floor
    report.advanced(0.7, "cultivation lines")
    if params.guides == "chosen":
        whole, lines = _chosen(given, surface, valleys, ridges, whole, where, keypoints)
    else:
        lines = _beside_all(given, surface, whole, where)
    pegged = trimmed(whole, survey, grid, where, drawing_of(given))
    there = {one.keyline_id for one in pegged}
    lines = [one for one in lines if one.keyline_id in there]
    used = {one.keyline_id for one in lines}
    last = max((one.keyline_id for one in whole), default=0)
    pegged = [
        replace(one, flags=(*one.flags, "not-followed"))
        if one.kind != "chosen" and one.keyline_id <= last and one.keyline_id not in used
        else one
        for one in pegged
    ]
    _tell(lines, pegged, report)
    filled = filled_ground(given)
    return {
        "valley_lines": frame_of(
            [_valley(one) for one in valleys], [one.line for one in valleys], "valley_lines", grid
        ),
        "ridge_lines": frame_of(
            [_ridge(one) for one in ridges], [one.line for one in ridges], "ridge_lines", grid
        ),
        "keypoints": frame_of(
            [_keypoint(one) for one in keypoints],
            [one.point for one in keypoints],
            "keypoints",
            grid,
        ),
        "keylines": frame_of(
            [_keyline(one, filled) for one in pegged],
            [one.line for one in pegged],
            "keylines",
            grid,
        ),
        "cultivation_lines": frame_of(
            [_line(one) for one in lines], [one.line for one in lines], "cultivation_lines", grid
        ),
        "cultivation_families": table_of(
            [_family(one) for one in families(lines)], "cultivation_families"
        ),
    }


def _keypoints(given: Given, calm: Elevation, valleys: Sequence[ValleyLine]) -> list[Keypoint]:
    """Found keypoints; in a valley where a person drew some, theirs take the place of these."""
    params = given.params("cultivation", Cultivation)
    survey = given.params("survey", Survey)
    inside = given.frame("boundary").geometry.union_all()
    found = [
        point
        for point in find_keypoints(
            calm,
            given.grid,
            valleys,
            smooth_m=params.valley_smooth_m,
            noise_m=survey_error_m(given),
            correlation_m=survey.correlation_m,
            profile_smooth_m=params.profile_smooth_m,
            min_confidence=params.min_confidence,
            turn=params.keypoint_at,
        )
        if inside.contains(point.point)
    ]
    chosen = [
        given_keypoint(calm, given.grid, valleys, point)
        for point in given.frame("drawn_keypoints").geometry
    ]
    replaced = {point.valley_id for point in chosen}
    kept = [point for point in found if point.valley_id not in replaced]
    return [
        replace(point, keypoint_id=number) for number, point in enumerate([*kept, *chosen], start=1)
    ]


def _keylines(
    given: Given,
    surface: Elevation,
    valleys: Sequence[ValleyLine],
    ridges: Sequence[RidgeLine],
    keypoints: Sequence[Keypoint],
    report: Reporter,
) -> list[Keyline]:
    """Keylines and drawn guide lines, kept apart: what a person chose goes before what was found.

    They are whole, not trimmed to the site: cultivation lines are parallel to all of them.
    """
    survey, grid, drawing = given.raster("elevation"), given.grid, drawing_of(given)
    found = keylines(keypoints, survey, surface, grid, valleys, ridges, drawing=drawing)
    for shape in given.frame("guide_lines").geometry:
        found.append(
            guide_line(
                shape, survey, surface, grid, valleys, ridges, drawing=drawing,
                keyline_id=len(found) + 1,
            )
        )  # fmt: skip
    chosen = {one.keypoint_id for one in keypoints if one.kind == "given"} | {0}
    first = sorted(found, key=lambda one: (one.keypoint_id not in chosen, one.keypoint_id != 0))
    kept = kept_apart(first, apart_m=0.5 * given.params("cultivation", Cultivation).width_m)
    length = {one.keyline_id: one.length_m for one in kept}
    for one in found:
        if length.get(one.keyline_id, 0.0) < one.length_m:
            _shortened(report, one, length.get(one.keyline_id, 0.0))
    return sorted(kept, key=lambda one: one.keyline_id)


def _beside_all(
    given: Given, surface: Elevation, whole: Sequence[Keyline], where: Limits
) -> list[CultivationLine]:
    """Lay all lines beside every keyline, however they fall."""
    params, grid = given.params("cultivation", Cultivation), given.grid
    there = {
        one.keyline_id
        for one in trimmed(whole, given.raster("elevation"), grid, where, drawing_of(given))
    }
    return cultivation_of_all(
        surface,
        grid,
        [one for one in whole if one.keyline_id in there],
        where,
        width_m=params.width_m,
        reach_m=params.reach_m,
        turning_radius_m=params.turning_radius_m,
        min_length_m=given.params("lines", LevelLines).min_length_m,
    )


def _chosen(
    given: Given,
    surface: Elevation,
    valleys: Sequence[ValleyLine],
    ridges: Sequence[RidgeLine],
    whole: Sequence[Keyline],
    where: Limits,
    keypoints: Sequence[Keypoint],
) -> tuple[list[Keyline], list[CultivationLine]]:
    """Choose guides; what a person drew goes first. All keylines stay, with or without lines."""
    params, grid, survey = (
        given.params("cultivation", Cultivation), given.grid, given.raster("elevation"),
    )  # fmt: skip
    drawing = drawing_of(given)
    places = places_on_floors(surface, grid, valleys, apart_m=params.guides_apart_m)
    tried = keylines(
        places, survey, surface, grid, valleys, ridges, drawing=drawing, first_id=len(whole) + 1
    )
    on_site = {one.keyline_id for one in trimmed([*whole, *tried], survey, grid, where, drawing)}
    own = {one.keypoint_id for one in keypoints if one.kind == "given"} | {0}
    chosen = chosen_guides(
        surface,
        grid,
        [one for one in whole if one.keypoint_id in own and one.keyline_id in on_site],
        [
            *(one for one in whole if one.keypoint_id not in own and one.keyline_id in on_site),
            *(one for one in tried if one.keyline_id in on_site),
        ],
        where,
        Useful(most_fall_pct=params.most_fall_pct, shortest_m=params.shortest_m),
        width_m=params.width_m,
        reach_m=params.reach_m,
        turning_radius_m=params.turning_radius_m,
        min_length_m=given.params("lines", LevelLines).min_length_m,
        least_m=params.guide_least_m,
        most=params.most_guides,
    )
    added = [one for one in chosen.guides if one.keyline_id > len(whole)]
    number_of = {one.keyline_id: place for place, one in enumerate(added, start=len(whole) + 1)}
    guides = kept_apart(
        [*whole, *(replace(one, keyline_id=number_of[one.keyline_id]) for one in added)],
        apart_m=0.5 * params.width_m,
    )
    lines = [
        replace(one, keyline_id=number_of.get(one.keyline_id, one.keyline_id))
        for one in chosen.lines
    ]
    return guides, lines


def _tell(lines: Sequence[CultivationLine], pegged: Sequence[Keyline], report: Reporter) -> None:
    """Say how much falls the right way, and why keylines have no lines."""
    without = sorted({one.keypoint_id for one in pegged if "not-followed" in one.flags})
    if not without:
        return
    drawn_m = sum(one.length_m for one in lines)
    names = ", ".join(str(one) if one else "a guide line" for one in without)
    report.problem(
        Problem(
            Severity.NOTICE,
            f"no cultivation lines were drawn beside the keyline of {names}: the valley is not"
            " steeper above it, or not gentler below, than the flanks, so too little would fall"
            f" from valley to ridge; {drawn_m:.0f} m of lines follow "
            f"{counted(len({one.keyline_id for one in lines}), 'guide')}",
            'set cultivation.guides = "keypoints" to have them drawn all the same',
            "keylines",
        )
    )


def _shortened(report: Reporter, whole: Keyline, length_m: float) -> None:
    name = f"the keyline of keypoint {whole.keypoint_id}" if whole.keypoint_id else "a guide line"
    report.problem(
        Problem(
            Severity.NOTICE,
            f"{name} meets another keyline or guide line, which goes first: {length_m:.0f} m of its"
            f" {whole.length_m:.0f} m are left",
            "move the keypoint or the guide line, if this one should go first",
            "keylines",
        )
    )


def _known(value: float) -> float | None:
    return None if math.isnan(value) else value


def _valley(one: ValleyLine) -> dict[str, Any]:
    return {
        "valley_id": one.valley_id,
        "downstream_id": one.downstream_id,
        "order": one.order,
        "primary": one.primary,
        "area_m2": one.area_m2,
        "length_m": one.length_m,
        "fall_pct": _known(one.fall_pct),
    }


def _ridge(one: RidgeLine) -> dict[str, Any]:
    return {
        "ridge_id": one.ridge_id,
        "parent_id": one.parent_id,
        "order": one.order,
        "length_m": one.length_m,
        "fall_pct": _known(one.fall_pct),
    }


def _keypoint(one: Keypoint) -> dict[str, Any]:
    return {
        "keypoint_id": one.keypoint_id,
        "valley_id": one.valley_id,
        "level_m": one.level_m,
        "slope_above_pct": _known(one.slope_above_pct),
        "slope_below_pct": _known(one.slope_below_pct),
        "confidence": float(np.clip(one.confidence, 0.0, 1.0)),
        "kind": one.kind,
    }


def _keyline(one: Keyline, filled: FilledGround) -> dict[str, Any]:
    return {
        "keyline_id": one.keyline_id,
        "keypoint_id": one.keypoint_id,
        "kind": one.kind,
        "level_m": one.level_m,
        "length_m": one.length_m,
        "level_error_m": one.level_error_m,
        "level_rms_m": one.level_rms_m,
        "flag": joined([*one.flags, *filled.flags(one.line)]),
    }


def _line(one: CultivationLine) -> dict[str, Any]:
    return {
        "line_id": one.line_id,
        "keyline_id": one.keyline_id,
        "side": one.side,
        "offset_m": one.offset_m,
        "fall_to_ridge_pct": _known(one.fall_to_ridge_pct),
        "length_m": one.length_m,
        # sums of lengths may round above the whole
        "share_right_pct": _known(min(one.share_right_pct, 100.0)),
        "flag": joined(one.flags),
    }


def _family(one: Family) -> dict[str, Any]:
    return {
        "keyline_id": one.keyline_id,
        "side": one.side,
        "lines": one.lines,
        "length_m": one.length_m,
        "fall_to_ridge_pct": one.fall_to_ridge_pct,
        "share_right_pct": min(one.share_right_pct, 100.0),
        "flag": joined(one.flags),
    }


STAGE = Stage(
    name="keylines",
    version=5,
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
)
