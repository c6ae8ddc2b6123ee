"""``survey.html``: what the ground was taken from, and what it can and cannot decide."""

from __future__ import annotations

import base64
import io
from typing import TYPE_CHECKING, Any, Final, NamedTuple

import numpy as np
from PIL import Image

from brimline.report.assumptions import accuracy, input_files, notes
from brimline.report.change_page import relief
from brimline.report.palette import theme_colours
from brimline.report.templates import environment
from brimline.terrain.points import STEP_LIMIT_M
from brimline.terrain.support import CONTOURS_PER_ERROR, SURE, SurveyPower
from brimline.units import counted, shown

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from brimline.report.results import Results
    from brimline.units import Shown

_KINDS: Final = {
    "raster": "elevation raster",
    "points": "point cloud",
    "levels": "single levels",
}
_LEVELLED_M: Final = 0.02  # a sill is set to; common practice, no source
_HALF_DEPTH: Final = 0.5  # of a swale that its line may be off for it to hold; likewise
_RANGE_SURE, _RANGE_CARE = 0.2, 0.5  # of an area, either side; likewise
_SMALL_M2: Final = 1000.0  # under which an area is told in the small unit
_LONGEST: Final = 1000  # cells of the picture's longer side
_GROUND: Final = np.array([236, 236, 232])
_BETWEEN: Final = np.array([217, 130, 43])
_NOTHING: Final = np.array([110, 110, 110])
_MOST_FILES: Final = 40
_MOST_STEPS: Final = 20


class Answer(NamedTuple):
    """What the survey says to one question.

    Parameters
    ----------
    tells : the least that it tells.
    wanted : what the job asks for.
    verdict : ``yes``, ``with care`` or ``no``.
    """

    question: str
    tells: str
    wanted: str
    verdict: str
    why: str


def survey_html(results: Results) -> str:
    """Return the page as one HTML text; empty where the run did not get to what it says."""
    survey, support = results.facts.get("survey"), results.facts.get("support")
    if not survey or not support:
        return ""
    power = SurveyPower.of_facts(support)
    files = [file for file in input_files(results) if "elevation" in file.name]
    length = shown("level", results.units)
    steps = [
        {**step, "cells": f"{step['cells']}", "step": signed(length, step["step_m"]),
         "left": "" if step["left_m"] is None else signed(length, step["left_m"]),
         "scatter": length.text(step["scatter_m"])}
        for step in survey["steps"][:_MOST_STEPS]
    ]  # fmt: skip
    named = {file.path.rpartition("/")[2] for file in files} | {"elevation"}
    return (
        environment()
        .get_template("survey.html.j2")
        .render(
            **results.title_block,
            lacks=support["lacks"],
            error=length.text(power.error_m),
            within=length.text(SURE * power.error_m),
            because=power.because,
            answers=[answer._asdict() for answer in answers(results, power)],
            rows=list(_rows(results, survey)),
            steps=steps,
            more_steps=max(len(survey["steps"]) - _MOST_STEPS, 0),
            levelled=any(step["left_m"] is not None for step in survey["steps"]),
            picture=_picture(results),
            files=files[:_MOST_FILES],
            more_files=max(len(files) - _MOST_FILES, 0),
            notes=[
                note
                for note in notes(results)
                if any(name in note.text.partition(": ")[0] for name in named)
            ],
            sheet="letter" if results.units == "us" else "A4",
            light=theme_colours(dark=False),
            dark=theme_colours(dark=True),
        )
    )


def signed(unit: Shown, value_m: float) -> str:
    """Show a difference with its sign."""
    return ("+" if value_m > 0 else "") + unit.text(value_m)


def answers(results: Results, power: SurveyPower) -> tuple[Answer, ...]:
    """Say what the survey decides of what this job asks, by the run's own figures."""
    return tuple(
        answer
        for part in (_lines, _contours, _falls, _hollows, _catchments, _strips, _voids)
        for answer in part(results, power)
    )


def _verdict(*, sure: bool, care: bool) -> str:
    return "yes" if sure else "with care" if care else "no"


def _lines(results: Results, power: SurveyPower) -> Iterator[Answer]:
    level, length = shown("level", results.units), shown("length", results.units)
    within_m = SURE * power.error_m
    depth_m = results.parameter("works", "swale_depth_m")
    apart_m = results.parameter("swales", "min_spacing_m")
    if depth_m and apart_m:
        lacks = power.lacks(depth_m, apart_m)
        yield Answer(
            "Where a swale's line runs",
            f"± {level.text(within_m)}",
            f"{level.text(depth_m)} deep",
            _verdict(sure=not lacks and within_m <= _HALF_DEPTH * depth_m, care=not lacks),
            f"{lacks[:1].upper()}{lacks[1:]}; stakes and machine files are withheld." if lacks
            else "A line drawn on this survey is off level by no more than that, 19 times in 20.",
        )  # fmt: skip
        yield Answer(
            "Rows of swales",
            f"{length.text(power.spacing_m)} apart",
            f"{length.text(apart_m)} apart",
            _verdict(sure=2 * power.spacing_m <= apart_m, care=power.spacing_m <= apart_m),
            "Ditches, kerbs and walls narrower than two levels"
            f" ({length.text(2 * power.spacing_m)}) may be missing from it.",
        )
    yield Answer(
        "The level that a sill, a floor or a stake is set to",
        f"± {level.text(within_m)}",
        f"± {level.text(_LEVELLED_M)}",
        _verdict(sure=within_m <= _LEVELLED_M, care=False),
        "Set it with a level on site, from one mark: the survey decides where a line goes.",
    )


def _contours(results: Results, power: SurveyPower) -> Iterator[Answer]:
    level, interval_m = shown("level", results.units), results.parameter("contours", "interval_m")
    least_m = CONTOURS_PER_ERROR * power.error_m
    if interval_m:
        yield Answer(
            "Contours",
            f"every {level.text(least_m)}",
            f"every {level.text(interval_m)}",
            _verdict(sure=interval_m >= least_m, care=2 * interval_m >= least_m),
            "Nine in ten levels then lie within half an interval.",
        )


def _falls(results: Results, power: SurveyPower) -> Iterator[Answer]:
    lines = results.layer("drain_lines")
    if lines is None:
        return
    falling = lines[lines["fall_pct"] > 0]
    if falling.empty:
        return
    length, slope = shown("length", results.units), shown("slope", results.units)
    level = shown("level", results.units)
    gentlest = falling.loc[(falling["fall_pct"] * falling["length_m"]).idxmin()]
    least_m = power.sure_difference_m / (float(gentlest["fall_pct"]) / 100)
    yield Answer(
        f"Which way a drain of {slope.text(float(gentlest['fall_pct']))} falls",
        f"from {length.text(least_m)} on",
        f"{length.text(float(gentlest['length_m']))} long",
        _verdict(
            sure=float(gentlest["length_m"]) >= least_m,
            care=2 * float(gentlest["length_m"]) >= least_m,
        ),
        f"Two levels differ surely from {level.text(power.sure_difference_m)} on, if they err apart"
        " from each other; near ones err alike, and tell more.",
    )


def _hollows(results: Results, power: SurveyPower) -> Iterator[Answer]:
    depth_m, level = (
        results.parameter("conditioning", "hollow_depth_m"),
        shown("level", results.units),
    )
    if depth_m:
        yield Answer(
            "Whether a small hollow is one",
            f"{level.text(power.sure_difference_m)} deep",
            f"{level.text(depth_m)} deep",
            _verdict(sure=depth_m >= power.sure_difference_m, care=depth_m >= power.error_m),
            "Shallower ones of few cells may be noise; look at them in the rain.",
        )


def _catchments(results: Results, power: SurveyPower) -> Iterator[Answer]:  # noqa: ARG001
    intakes = results.layer("intakes")
    if intakes is None:
        return
    share = shown("share", results.units)
    for _, row in intakes.iterrows():
        low, high, here = (row.get(name) for name in ("area_low_m2", "area_high_m2", "area_m2"))
        area = shown("area" if here >= _SMALL_M2 else "small area", results.units)
        known = low is not None and low == low and high == high
        off = max(high - here, here - low) / here if known else np.nan
        span = f"{area.text(low)} to {area.text(high)}" if known else "no range"
        edge = bool(row["edge_limited"])
        yield Answer(
            f"What drains to {row['name'] or 'intake ' + str(row['intake_id'])}",
            f"{area.text(here)}; {span}",
            f"± {share.text(_RANGE_SURE)}",
            _verdict(
                sure=not edge and off <= _RANGE_SURE, care=not edge and not off > _RANGE_CARE
            ),
            "It reaches the edge of the survey: the area is a lower bound." if edge
            else f"90 of 100 surfaces that the survey leaves possible lie in the range, which"
            f" differs from the area by up to {share.text(off)}." if known
            else "No ranges were drawn (survey.realisations).",
        )  # fmt: skip


def _strips(results: Results, power: SurveyPower) -> Iterator[Answer]:
    steps = results.facts["survey"]["steps"]
    if not steps:
        return
    level = shown("level", results.units)
    left = [abs(s["step_m"] if s["left_m"] is None else s["left_m"]) for s in steps]
    largest_m = max(left)
    yield Answer(
        "Levels on either side of a seam",
        f"steps of up to {level.text(largest_m)}",
        f"{level.text(STEP_LIMIT_M)}",
        _verdict(sure=largest_m <= STEP_LIMIT_M, care=largest_m <= SURE * power.error_m),
        "Water and level lines that cross the seam see the step as ground.",
    )


def _voids(results: Results, power: SurveyPower) -> Iterator[Answer]:  # noqa: ARG001
    measured, depth_m = results.facts.get("measured"), results.parameter("works", "swale_depth_m")
    if not measured or not depth_m or not measured["without_points_share"]:
        return
    level, length = shown("level", results.units), shown("length", results.units)
    worst_m = SURE * measured["worst_error_m"]
    yield Answer(
        "Ground between the points",
        f"± {level.text(worst_m)} at worst",
        f"{level.text(depth_m)} deep",
        _verdict(sure=worst_m <= _HALF_DEPTH * depth_m, care=worst_m <= depth_m),
        f"Up to {length.text(measured['widest_void_m'])} from any point; raster level_error_m has"
        " where.",
    )


def _rows(results: Results, survey: Mapping[str, Any]) -> Iterator[tuple[str, str]]:
    """Yield what the survey is, as words and values."""
    units, measured = results.units, results.facts.get("measured", {})
    small, length = shown("small area", units), shown("length", units)
    days = dict.fromkeys(day for day in (survey["first_day"], survey["last_day"]) if day)
    stated = results.parameter("survey", "date")
    yield "Source", results.parameter("survey", "source") or "not stated (survey.source)"
    if stated:
        yield "Date", f"{stated}, as stated"
    elif days:
        yield "Date", f"{' to '.join(days)}, by the {survey['dated_by']}"
    else:
        yield "Date", "not told by the files, nor stated (survey.date)"
    yield "What it is", f"{_KINDS[survey['kind']]}, {counted(survey['files'], 'file')}"
    if survey["cut_from"]:
        yield "Cut from", survey["cut_from"]
    yield from accuracy(results)
    yield (
        "Holes as read",
        (f"{survey['holes']}, {small.text(survey['hole_m2'])}" if survey["holes"] else "none"),
    )
    if survey["points"]:
        how = "found by a filter, of" if survey["ground_filtered"] else "of"
        yield (
            "Ground points",
            f"{survey['ground_points']:,} {how} {survey['points']:,}".replace(
                ",", "\N{NARROW NO-BREAK SPACE}"
            ),
        )
        dense = survey["ground_points"] / survey["area_m2"]
        yield "Density of ground points", shown("density", units).text(dense)
    if measured:
        share = shown("share", units)
        yield "Ground in cells without a point", share.text(measured["without_points_share"])
        yield "Farthest from any point", length.text(measured["widest_void_m"])
    told = results.facts.get("level_survey")
    if told:
        yield "Levels", f"{told['levels']}"


def _picture(results: Results) -> dict[str, str] | None:
    """Draw the ground near the site: where levels were measured, drawn between, and missing."""
    dem, points = results.raster("elevation"), results.raster("ground_points")
    if dem is None or min(dem.shape) < 2:
        return None
    step = max(1, -(-max(dem.shape) // _LONGEST))
    ground = dem[::step, ::step]
    none = np.isnan(ground)
    between = np.zeros_like(none) if points is None else (points[::step, ::step] == 0) & ~none
    if not none.any() and not between.any():
        return None
    lit = relief(ground, results.grid.cell_m * step)[..., np.newaxis]
    pixels = np.where(between[..., np.newaxis], _BETWEEN * lit, _GROUND * lit)
    pixels = np.where(none[..., np.newaxis], _NOTHING, pixels)
    out = io.BytesIO()
    Image.fromarray(pixels.astype(np.uint8)).save(out, "PNG", optimize=True)
    share = shown("share", results.units)
    alt = f"{share.text(float(none.mean()))} of it has no level"
    if points is not None:
        alt += f", {share.text(float(between.mean()))} was drawn between points"
    return {
        "src": f"data:image/png;base64,{base64.b64encode(out.getvalue()).decode()}",
        "alt": alt,
        "between": _css(_BETWEEN) if points is not None else "",
        "nothing": _css(_NOTHING),
    }


def _css(colour: np.ndarray[Any, np.dtype[np.int64]]) -> str:
    return "#" + "".join(f"{int(part):02x}" for part in colour)
