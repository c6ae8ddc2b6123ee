"""``stakes/by_hand.html``: for tape and level, a page each, in centimetres or inches."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING, Any, Final, NamedTuple

from brimline.lines.staking import from_two_points
from brimline.report.palette import theme_colours
from brimline.report.plates.staking import role_of, short, stakes_plan
from brimline.report.sheets import FINE, setting_out, staked
from brimline.report.templates import environment
from brimline.units import INCH_MM

if TYPE_CHECKING:
    from collections.abc import Sequence

    from brimline.lines.staking import SetUp
    from brimline.report.results import Results
    from brimline.units import System

_ROWS: Final = 22  # that fit on a page beneath the plan
_NONE: Final = "–"
_TAPE_M: Final = 30.0  # common practice, no source
_EIGHTH: Final = 8


class HandSheet(NamedTuple):
    """A page: one element, or the part of it that fits."""

    name: str
    part: str
    plan: str
    lines: tuple[tuple[str, ...], ...]


def hand_html(results: Results) -> str:
    """Return the sheets for setting out by hand; empty where nothing is staked."""
    names = staked(results)
    if not names:
        return ""
    out = setting_out(results)
    instrument, points, unit = out.instrument, out.points, FINE[results.units]
    stakes = results.frames["stakes"]
    mine = stakes[(stakes["offset_m"] == 0) & stakes["ground_m"].notna()]
    mine = mine.assign(set_up=[out.at.get(name, -1) for name in mine["stake_id"]])

    def reading(value_m: float) -> str:
        return f"{hand(value_m, results.units)} {'in' if results.units == 'us' else 'cm'}"

    sheets = [
        sheet
        for name in names
        for sheet in _sheets(results, name, mine[mine["element_id"] == name], out.set_ups, points)
    ]
    return (
        environment()
        .get_template("hand.html.j2")
        .render(
            site=results.site_name,
            date=results.date,
            version=results.manifest.get("brimline", ""),
            unit="inches and eighths" if results.units == "us" else "centimetres",
            instrument=instrument,
            benchmark="" if instrument is None else unit.text(instrument.benchmark_m),
            rod="" if instrument is None else unit.text(instrument.rod_m),
            set_ups=[out.told(place, reading, unit) for place in range(len(out.set_ups))],
            off_rod=int((mine["set_up"] < 0).sum()) if instrument is not None else 0,
            points=[name for name, _, _ in points],
            cautions=results.cautions,
            light=theme_colours(dark=False),
            sheet="letter" if results.units == "us" else "A4",
            sheets=sheets,
        )
    )


def _sheets(
    results: Results,
    name: str,
    stakes: Any,  # noqa: ANN401 - rows of the layer
    found: Sequence[SetUp],
    points: Sequence[tuple[str, float, float]],
) -> list[HandSheet]:
    """Return as many pages as an element needs."""
    if not len(stakes):
        return []
    lines = _lines(name, stakes, found, points, results.units)
    parts = math.ceil(len(lines) / _ROWS)
    pages = []
    for part in range(parts):
        here = slice(part * _ROWS, (part + 1) * _ROWS)
        told = f"page {part + 1} of {parts}" if parts > 1 else ""
        plan = stakes_plan(results, name, stakes.iloc[here])
        pages.append(HandSheet(name, told, plan, tuple(lines[here])))
    return pages


def _lines(
    name: str,
    stakes: Any,  # noqa: ANN401
    found: Sequence[SetUp],
    points: Sequence[tuple[str, float, float]],
    units: System,
) -> list[tuple[str, ...]]:
    x, y = stakes.geometry.x.to_numpy(), stakes.geometry.y.to_numpy()
    tape = None
    if len(points) == 2:
        tape = from_two_points(x, y, points[0][1:], points[1][1:])
    rows = []
    for at, row in enumerate(stakes.itertuples(index=False)):
        sight_m = found[row.set_up].sight_m if row.set_up >= 0 else math.nan
        down_m = row.ground_m - row.build_m
        places = [_NONE] * 5
        if tape is not None:
            side = "left" if tape.off_m[at] > 0 else "right"
            places = [
                _taped(tape.along_m[at], units),
                f"{_taped(abs(tape.off_m[at]), units)} {side}",
                _taped(tape.from_a_m[at], units),
                _taped(tape.from_b_m[at], units),
                "weak" if tape.weak[at] else "",
            ]
        rows.append(
            (
                short(row.stake_id, name),
                role_of(row.role),
                *places,
                str(row.set_up + 1) if row.set_up >= 0 else _NONE,
                hand(sight_m - row.ground_m, units),
                hand(sight_m - row.build_m, units),
                f"{'dig' if down_m > 0 else 'fill'} {hand(abs(down_m), units)}",
            )
        )
    return rows


def _taped(value_m: float, units: System) -> str:
    """Return a measured length; beyond the longest usual tape in metres or feet, with the unit."""
    far = replace(FINE[units], digits=2)
    return far.text(value_m) if abs(value_m) > _TAPE_M else hand(value_m, units)


def hand(value_m: float, units: System) -> str:
    """Return a length as a tape shows it: centimetres to the millimetre, inches to an eighth."""
    if not math.isfinite(value_m):
        return _NONE
    if units != "us":
        return f"{100 * value_m:z.1f}"
    eighths = round(value_m * 1000 / INCH_MM * _EIGHTH)
    sign, (whole, part) = "-" if eighths < 0 else "", divmod(abs(eighths), _EIGHTH)
    if not part:
        return f"{sign}{whole}"
    shared = math.gcd(part, _EIGHTH)
    fraction = f"{part // shared}/{_EIGHTH // shared}"
    return f"{sign}{whole} {fraction}" if whole else f"{sign}{fraction}"
