"""Valleys and ridges, keypoints, keylines, and the cultivation lines beside them."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from brimline.config import Cultivation, LevelLines, Survey
from brimline.engine.stage import Stage
from brimline.errors import Problem, Severity
from brimline.layers import layer
from brimline.layers.flags import joined
from brimline.lines.keyline import (
    Country,
    Ploughing,
    Useful,
    families,
    find_keypoints,
    pattern,
    with_given,
)
from brimline.lines.relief import ridge_lines, valley_lines
from brimline.stages._filled import filled_ground
from brimline.stages._frames import frame_of, table_of, values_of
from brimline.stages._ground_for_lines import NEEDS, drawing_of, limits_for
from brimline.stages._survey_error import SUPPORT, survey_error_m, survey_lacks
from brimline.terrain.smooth import smoothed
from brimline.units import counted

if TYPE_CHECKING:
    from collections.abc import Sequence

    from brimline.engine.stage import Given, Made, Reporter
    from brimline.grid import Elevation
    from brimline.lines.keyline import Keypoint, Pattern
    from brimline.lines.relief import ValleyLine


_FEW_SHARE: Final = 0.1  # of the site that is lined, below which the reason is told


def _run(given: Given, report: Reporter) -> Made:
    params = given.params("cultivation", Cultivation)
    grid, survey = given.grid, given.raster("elevation")
    calm = smoothed(survey, cell_m=grid.cell_m, sigma_m=params.valley_smooth_m)
    valleys = valley_lines(calm, grid, min_area_m2=params.valley_area_m2)
    ridges = ridge_lines(calm, grid, min_area_m2=params.valley_area_m2)
    report.advanced(0.4, "keypoints")
    keypoints = _keypoints(given, calm, valleys)
    surface = smoothed(survey, cell_m=grid.cell_m, sigma_m=params.keyline_smooth_m)
    report.advanced(0.6, "keylines and cultivation lines")
    where = limits_for(given, surface, cross_paths=True)  # they cross the valley floor
    country = Country(survey, surface, grid, valleys, ridges, where, drawing_of(given))
    drawn = given.frame("guide_lines").geometry
    lacks = survey_lacks(given)  # then only what a person drew is followed
    choose = params.guides == "chosen" and not lacks
    begun = [one for one in keypoints if not lacks or one.kind == "given"]
    found = pattern(country, begun, drawn, _ploughing(given), choose=choose)
    _tell(found, report)
    if choose:
        _tell_few(found, given, len(valleys), report)
    filled = filled_ground(given)
    pegged = [
        values_of(one, layer("keylines")) | {"flag": joined([*one.flags, *filled.flags(one.line)])}
        for one in found.keylines
    ]
    return {
        "valley_lines": frame_of(valleys, [one.line for one in valleys], "valley_lines", grid),
        "ridge_lines": frame_of(ridges, [one.line for one in ridges], "ridge_lines", grid),
        "keypoints": frame_of(keypoints, [one.point for one in keypoints], "keypoints", grid),
        "keylines": frame_of(pegged, [one.line for one in found.keylines], "keylines", grid),
        "cultivation_lines": frame_of(
            found.lines, [one.line for one in found.lines], "cultivation_lines", grid
        ),
        "cultivation_families": table_of(families(found.lines), "cultivation_families"),
    }


def _keypoints(given: Given, calm: Elevation, valleys: Sequence[ValleyLine]) -> list[Keypoint]:
    params = given.params("cultivation", Cultivation)
    inside = given.frame("boundary").geometry.union_all()
    found = find_keypoints(
        calm,
        given.grid,
        valleys,
        smooth_m=params.valley_smooth_m,
        noise_m=survey_error_m(given),
        correlation_m=given.params("survey", Survey).correlation_m,
        profile_smooth_m=params.profile_smooth_m,
        min_confidence=params.min_confidence,
        turn=params.keypoint_at,
    )
    on_site = [point for point in found if inside.contains(point.point)]
    drawn = given.frame("drawn_keypoints").geometry
    return with_given(on_site, drawn, calm, given.grid, valleys)


def _ploughing(given: Given) -> Ploughing:
    params = given.params("cultivation", Cultivation)
    return Ploughing(
        params.width_m,
        params.reach_m,
        params.turning_radius_m,
        given.params("lines", LevelLines).min_length_m,
        Useful(most_fall_pct=params.most_fall_pct, shortest_m=params.shortest_m),
        params.guides_apart_m,
        params.guide_least_m,
        params.most_guides,
    )


def _tell(found: Pattern, report: Reporter) -> None:
    """Say what was cut short, how much falls the right way, and why keylines have no lines."""

    def notice(text: str, mend: str) -> None:
        report.problem(Problem(Severity.NOTICE, text, mend, "keylines"))

    for one, left_m in found.shortened:
        name = f"the keyline of keypoint {one.keypoint_id}" if one.keypoint_id else "a guide line"
        notice(
            f"{name} meets another keyline or guide line, which goes first: {left_m:.0f} m of its"
            f" {one.length_m:.0f} m are left",
            "move the keypoint or the guide line, if this one should go first",
        )
    without = sorted({one.keypoint_id for one in found.keylines if "not-followed" in one.flags})
    if without:
        names = ", ".join(str(one) if one else "a guide line" for one in without)
        guides = counted(len({one.keyline_id for one in found.lines}), "guide")
        notice(
            f"no cultivation lines were drawn beside the keyline of {names}: the valley is not"
            " steeper above it, or not gentler below, than the flanks, so too little would fall"
            f" from valley to ridge; {sum(one.length_m for one in found.lines):.0f} m of lines"
            f" follow {guides}",
            'set cultivation.guides = "keypoints" to have them drawn all the same',
        )


def _tell_few(found: Pattern, given: Given, valleys: int, report: Reporter) -> None:
    """Say why little of the site is lined, where little is."""
    width_m = given.params("cultivation", Cultivation).width_m
    lined_m2 = width_m * sum(one.length_m for one in found.lines)
    share = lined_m2 / float(given.frame("boundary").geometry.union_all().area)
    if share >= _FEW_SHARE:
        return
    why = (
        f"of {counted(valleys, 'valley')} too little is steeper than its flanks above a level line,"
        " or gentler below it, for lines beside one to fall from valley to ridge"
        if valleys
        else "it has no valley, and the pattern spreads the water of valleys"
    )
    text = f"cultivation lines cover {share:.0%} of the site: {why}"
    mend = "draw guide_lines where you want lines all the same; the rest is left unlined"
    report.problem(Problem(Severity.NOTICE, text, mend, "keylines"))


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
