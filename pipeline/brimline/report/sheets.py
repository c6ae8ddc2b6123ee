"""``stakes/sheets.html``: for each element a plan, its sections, and every stake, to be printed."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final, NamedTuple

import numpy as np
from shapely import Point

from brimline.lines.staking import Instrument, from_two_points, set_ups
from brimline.report.palette import theme_colours
from brimline.report.plates.staking import role_of, sections, short, stakes_plan
from brimline.report.quantities import earth_of
from brimline.report.templates import environment
from brimline.units import FOOT_M, Shown, shown

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from geopandas import GeoDataFrame
    from pandas import Series

    from brimline.lines.staking import SetUp
    from brimline.report.results import Results
    from brimline.units import System

_ROLES: Final = (
    "sill",
    "floor",
    "edge",
    "plane",
    "crest",
    "dip",
    "trench",
    "pit",
    "base",
    "mark",
)  # in the order in which they are set
FINE: Final[dict[System, Shown]] = {
    "metric": Shown("m", 1.0, 3),
    "us": Shown("ft", 1 / FOOT_M, 2),
}
_PLACE_DIGITS: Final = 2
_ROWS_A_PAGE: Final = 22  # of 9 points on a landscape page of letter size, the lower of the two
_SET_FIRST: Final = "level on site"
_NONE: Final = "–"


class SheetRow(NamedTuple):
    """One row of a sheet's table; `strong` is a stake whose level must be set first.

    The crew fills in the tick, the level as set and the initials; those cells are the page's.
    """

    cells: tuple[str, ...]
    strong: bool
    begins: bool


class StakingSheet(NamedTuple):
    """What is printed for one element."""

    name: str
    kind: str
    step: str
    facts: tuple[tuple[str, str], ...]
    plan: str
    sections: tuple[str, ...]
    lines: tuple[SheetRow, ...]
    staked: int
    to_level: int

    @classmethod
    def of_plain(cls, values: list[Any]) -> StakingSheet:
        """Return the sheet that JSON holds as lists."""
        sheet = cls(*values)
        lines = tuple(SheetRow(tuple(cells), *rest) for cells, *rest in sheet.lines)
        return sheet._replace(lines=lines, facts=tuple((a, b) for a, b in sheet.facts),
                              sections=tuple(sheet.sections))  # fmt: skip


@dataclass(frozen=True, slots=True, eq=False)
class SettingOut:
    """What levels and places are measured from, the same on every sheet of a site.

    Parameters
    ----------
    set_ups : of the instrument; the first is the one beside the benchmark.
    at : set-up of each stake, by its name; -1 where no rod reaches.
    points : two fixed points, name, easting and northing [m]; none where they are not stated.
    """

    instrument: Instrument | None
    set_ups: tuple[SetUp, ...]
    at: dict[str, int]
    points: tuple[tuple[str, float, float], ...]

    def told(self, one: int, text: Callable[[float], str], level: Shown) -> str:
        """Say where a set-up's line of sight lies, as a person finds it.

        Parameters
        ----------
        text : shows a reading on the rod.
        """
        up = self.set_ups[one]
        what = f"Set-up {one + 1}: line of sight at {_text(up.sight_m, level)}"
        if math.isfinite(up.backsight_m):
            return f"{what}; the rod on the benchmark reads {text(up.backsight_m)}"
        if math.isfinite(up.peg_m[0]):
            low, high = (_text(end, level) for end in up.peg_m)
            return (
                f"{what}, out of reach of the benchmark: drive a peg whose top lies between {low}"
                f" and {high}, read it from the set-up before, then from here"
            )
        return f"{what}, farther than one rod from any other: carry the level over by several pegs"


def setting_out(results: Results) -> SettingOut:
    """Work out the set-ups that serve every stake, and read the fixed points."""
    facts = results.facts.get("setting_out", {})
    level = facts.get("instrument")
    points = tuple((str(name), float(x), float(y)) for name, x, y in facts.get("fixed_points", ()))
    if level is None:
        return SettingOut(None, (), {}, points)
    instrument, stakes = Instrument(**level), results.frames["stakes"]
    on_line = stakes[(stakes["offset_m"] == 0) & stakes["ground_m"].notna()]
    ups, at = set_ups(on_line["ground_m"], on_line["build_m"], instrument)
    places = dict(zip(on_line["stake_id"], map(int, at), strict=True))
    # an offset stake is read from where the stakes of the work are
    beside = stakes[stakes["offset_m"] != 0]
    sights = np.array([up.sight_m for up in ups])
    for name, build_m in zip(beside["stake_id"], beside["build_m"], strict=True):
        reads = (sights >= build_m) & (sights - build_m <= instrument.rod_m)
        places[name] = int(reads.argmax()) if reads.any() else -1
    return SettingOut(instrument, ups, places, points)


def _in_pages(rows: Sequence[Any]) -> list[list[Any]]:
    """Share rows out over pages, so that each can say which of how many it is."""
    return [list(rows[at : at + _ROWS_A_PAGE]) for at in range(0, len(rows), _ROWS_A_PAGE)]


def fittings(results: Results) -> tuple[SheetRow, ...]:
    """Return what is set rather than dug: each tank, and each pipe and orifice with its ends."""
    fine = FINE[results.units]
    small = shown("volume", results.units)
    rows = []
    elements = results.layer("elements")
    for _, row in elements[elements["kind"] == "tank"].iterrows() if elements is not None else ():
        at = row.geometry.representative_point()
        rows.append(
            (f"{row['element_id']}: tank of {small.text(float(row['storage_m3']))}", "base",
             *_place(at), _plain(row["floor_level_m"], fine), "", "")
        )  # fmt: skip
        rows.append(("", "overflow", *_place(at), _plain(row["spill_level_m"], fine), "", ""))
    ways = results.layer("overflows")
    for _, row in ways[ways["diameter_mm"].notna()].iterrows() if ways is not None else ():
        ends = [Point(xy) for xy in (row.geometry.coords[0], row.geometry.coords[-1])]
        length = _plain(row.geometry.length, shown("length", results.units))
        title = f"{row['from_id']} to {row['to_id'] or 'its outlet'}: {row['outlet']}"
        size = shown("bore", results.units).text(float(row["diameter_mm"]))
        level = _plain(row["crest_level_m"], fine)
        rows.append((title, "inlet, bottom", *_place(ends[0]), level, size, length))
        rows.append(("", "outlet", *_place(ends[1]), "as the way allows", size, ""))
    return tuple(SheetRow(cells, strong=False, begins=bool(cells[0])) for cells in rows)


def _place(point: Any) -> tuple[str, str]:  # noqa: ANN401 - a shapely point
    return f"{point.x:.{_PLACE_DIGITS}f}", f"{point.y:.{_PLACE_DIGITS}f}"


def staked(results: Results) -> list[str]:
    """Return the names of what is staked."""
    stakes = results.layer("stakes")
    return [] if stakes is None else [str(name) for name in dict.fromkeys(stakes["element_id"])]


def sheets_html(results: Results, sheets: Sequence[StakingSheet] | None = None) -> str:
    """Return the staking sheets as one HTML text; empty where nothing is staked.

    Parameters
    ----------
    sheets : of these results; None draws them.
    """
    if sheets is None:
        sheets = [sheet_of(results, name) for name in staked(results)]
    if not sheets:
        return ""
    found = sorted(sheets, key=lambda one: _step(results, one.name) or math.inf)
    out = setting_out(results)
    fine = FINE[results.units]
    facts = results.facts.get("setting_out", {})
    return (
        environment()
        .get_template("sheets.html.j2")
        .render(
            site=results.site_name,
            date=results.date,
            version=results.manifest.get("brimline", ""),
            crs=results.crs_text,
            sheets=found,
            tables={one.name: _in_pages(one.lines) for one in found},
            fittings=_in_pages(fittings(results)),
            unit=fine.symbol,
            us=results.units == "us",
            instrument=_instrument(out.instrument, fine),
            set_ups=[
                out.told(place, lambda reading: _text(reading, fine), fine)
                for place in range(len(out.set_ups))
            ],
            baseline=_baseline(out.points, results.units),
            rmse=_text(facts.get("rmse_m"), fine),
            decides=_text(facts.get("survey_decides_m"), fine),
            cautions=results.cautions,
            light=theme_colours(dark=False),
            revision=results.parameter("site", "revision") or "",
            sheet="letter" if results.units == "us" else "A4",
        )
    )


def sheet_of(results: Results, name: str) -> StakingSheet:
    """Return the sheet of one element that is staked."""
    every = results.frames["stakes"]
    stakes: GeoDataFrame = every[every["element_id"] == name]
    row, out = _row(results, "elements", name), setting_out(results)
    cuts = results.table("profiles")
    water, kinds = {}, set(stakes["role"])
    if row is not None and row["kind"] != "drain":  # its levels fall with it
        water = {"sill": float(row["spill_level_m"]), "highest water": float(row["peak_level_m"])}
    drawn: tuple[str, ...] = ()
    if cuts is not None and (cuts["element_id"] == name).any():
        known = {words: level for words, level in water.items() if math.isfinite(level)}
        drawn = sections(results, name, cuts[cuts["element_id"] == name], known, stakes)
    return StakingSheet(
        name,
        str(row["kind"]) if row is not None else "line" if "mark" in kinds else "pad",
        _step_text(results, name),
        _facts(results, name, row, stakes),
        stakes_plan(results, name, stakes, [point[1:] for point in out.points]),
        drawn,
        _lines(results, name, stakes, out),
        len(stakes),
        int(
            (
                stakes["tolerance_m"]
                < results.facts.get("setting_out", {}).get("survey_decides_m", 0.0)
            ).sum()
        ),
    )


def _facts(
    results: Results, name: str, row: Series[Any] | None, stakes: GeoDataFrame
) -> tuple[tuple[str, str], ...]:
    """Levels and amounts that a crew asks for first."""
    fine = FINE[results.units]
    found = []
    floor = stakes[(stakes["role"] == "floor") & (stakes["offset_m"] == 0)]["design_m"]
    if row is not None and row["kind"] == "drain" and len(floor):
        falls = sorted((float(floor.iloc[0]), float(floor.iloc[-1])), reverse=True)
        found.append(("Floor, falling evenly", " to ".join(_text(end, fine) for end in falls)))
    elif row is not None:
        found += [
            ("Floor", _text(row["floor_level_m"], fine)),
            ("Sill", _text(row["spill_level_m"], fine)),
            ("Crest, settled", _text(row["crest_level_m"], fine)),
        ]
    crest = stakes[stakes["role"] == "crest"]
    if len(crest):
        ends = (float(crest["build_m"].min()), float(crest["build_m"].max()))
        found.append(("Crest, to build", " to ".join(_text(end, fine) for end in ends)))
    overflows = results.layer("overflows")
    if overflows is not None:
        widths = overflows[overflows["from_id"] == name]["sill_width_m"].dropna()
        found += [("Sill width", _text(width, fine)) for width in widths if width]
    volumes = _row(results, "earth_volumes", name)
    if volumes is not None:
        cut, heap = float(volumes["cut_m3"]), float(volumes["built_m3"])
        earth = shown(earth_of(max(cut, heap)), results.units)
        found += [
            ("Dig, topsoil included", earth.text(cut)),
            ("Heap, before it settles", earth.text(heap)),
        ]
    return tuple(found)


def _lines(
    results: Results, name: str, stakes: GeoDataFrame, out: SettingOut
) -> tuple[SheetRow, ...]:
    order = {role: place for place, role in enumerate(_ROLES)}
    # an empty text is None in some versions of pandas and NaN in others
    stakes = stakes.assign(**{text: stakes[text].fillna("") for text in ("side", "flag", "say")})
    keys = [
        (order.get(role_of(role), len(order)), role, short(stake, name).rstrip("LR"), side)
        for role, stake, side in zip(
            stakes["role"], stakes["stake_id"], stakes["side"], strict=True
        )
    ]
    rows = [row for _, row in sorted(zip(keys, stakes.to_dict("records"), strict=True),
                                     key=lambda one: one[0])]  # fmt: skip
    found, before = [], ""
    for row in rows:
        found.append(_line(results, name, row, out, begins=row["role"] != before))
        before = row["role"]
    return tuple(found)


def _line(
    results: Results, name: str, row: dict[str, Any], out: SettingOut, *, begins: bool
) -> SheetRow:
    fine, level = FINE[results.units], shown("level", results.units)
    length = shown("length", results.units)
    down = row["ground_m"] - row["build_m"]
    # an offset stake stays where it is: from there the work's level lies so far down or up
    words = ("down", "up") if row["side"] else ("dig", "fill")
    work = words[0] if down > 0 else words[1]
    side = f"{row['side']} {length.per_si * row['offset_m']:.2f}" if row["side"] else ""
    return SheetRow(
        (
            short(row["stake_id"], name),
            side,
            f"{length.per_si * row['chainage_m']:.2f}",
            f"{row['geometry'].x:.{_PLACE_DIGITS}f}",
            f"{row['geometry'].y:.{_PLACE_DIGITS}f}",
            _plain(row["ground_m"], level),
            _plain(row["design_m"], fine),
            _plain(row["build_m"], fine),
            f"{work} {abs(level.per_si * down):.{level.digits}f}",
            *_from_baseline(row["geometry"], out.points, length),
            _rod(row, out, fine),
            _plain(row["tolerance_m"], level),
        ),
        _SET_FIRST in row["say"],
        begins,
    )


def _rod(row: dict[str, Any], out: SettingOut, fine: Shown) -> str:
    """Return what the rod reads at the level to build to, behind the number of a further set-up."""
    place = out.at.get(row["stake_id"], -1)
    if place < 0:
        return _NONE
    reading = _plain(out.set_ups[place].sight_m - row["build_m"], fine)
    return f"{place + 1}: {reading}" if place else reading


def _from_baseline(
    point: Point, points: Sequence[tuple[str, float, float]], length: Shown
) -> tuple[str, str]:
    """Return how far along the baseline a stake lies, and how far left or right of it."""
    if len(points) != 2:
        return _NONE, _NONE
    tape = from_two_points([point.x], [point.y], points[0][1:], points[1][1:])
    along, off = (float(one[0]) * length.per_si for one in (tape.along_m, tape.off_m))
    return f"{along:.2f}", f"{abs(off):.2f} {'L' if off > 0 else 'R'}"


def _baseline(points: Sequence[tuple[str, float, float]], units: System) -> dict[str, Any] | None:
    if len(points) != 2:
        return None
    (a, x0, y0), (b, x1, y1) = points
    bearing = math.degrees(math.atan2(x1 - x0, y1 - y0)) % 360
    return {
        "points": [(name, *_place(Point(x, y))) for name, x, y in points],
        "names": (a, b),
        "length": _text(math.hypot(x1 - x0, y1 - y0), FINE[units]),
        "bearing": f"{bearing:.2f}\N{DEGREE SIGN}",
    }


def _instrument(level: Instrument | None, fine: Shown) -> dict[str, str] | None:
    if level is None:
        return None
    return {
        "benchmark": level.benchmark,
        "benchmark_level": _text(level.benchmark_m, fine),
        "above": _text(level.above_m, fine),
        "sight": _text(level.sight_m, fine),
        "rod": _text(level.rod_m, fine),
    }


def _row(results: Results, table: str, name: str) -> Series[Any] | None:
    rows = results.table(table)
    if rows is None:
        return None
    mine = rows[rows["element_id"] == name]
    return mine.iloc[0] if len(mine) else None


def _step(results: Results, name: str) -> int:
    steps = results.table("building_steps")
    if steps is None:
        return 0
    mine = steps[(steps["element_id"] == name) & (steps["action"] == "dig")]["step"]
    return int(mine.iloc[0]) if len(mine) else 0


def _step_text(results: Results, name: str) -> str:
    """Say when it is built, and when its overflow may be opened."""
    steps, number = results.table("building_steps"), _step(results, name)
    if steps is None or not number:
        return ""
    opened = steps[(steps["element_id"] == name) & (steps["action"] == "open overflow")]
    later = "".join(
        f" Open its overflow to {row.to_id} in step {row.step} only."
        for row in opened.itertuples(index=False)
    )
    return f"Built in step {number}.{later}"


def _text(value: Any, unit: Shown) -> str:  # noqa: ANN401 - any cell
    return _NONE if value is None or value != value else unit.text(float(value))


def _plain(value: Any, unit: Shown, *, sign: bool = False) -> str:  # noqa: ANN401 - any cell
    if value is None or value != value or math.isinf(value):
        return _NONE
    return f"{unit.per_si * float(value):{'+' if sign else ''}.{unit.digits}f}"
