"""What stands up and keeps off sun and wind, with the height that it was given or is taken for."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

import numpy as np
import shapely

from brimline.config import Sun
from brimline.design.places import BUILDING
from brimline.engine.stage import Stage
from brimline.errors import Problem, Severity
from brimline.layers.drawn import usual_number
from brimline.stages._frames import frame_of
from brimline.units import counted

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from brimline.engine.stage import Given, Made, Reporter

_USUAL_M: Final = {"roof": 5.0, "woods": 12.0, "tree": 8.0}  # common practice, no source
_USUAL_OF: Final = {BUILDING: "roof", "tree": "tree"}  # of what is kept clear
_MOSTLY: Final = 0.5  # of what is kept clear that other things cover, and which then is the same


def _run(given: Given, report: Reporter) -> Made:
    usual_m = _USUAL_M | given.params("sun", Sun).usual_heights_m
    found = [*_of_surfaces(given, usual_m), *_of_drawn(given)]
    others, left_out = _of_kept_clear(given, usual_m, [shape for _, shape in found])
    found += others
    mend = "draw them round their wall or crown in drawn_shade with a height_m"
    if assumed := sum(bool(row["flag"]) for row, _ in found):
        message = f"{counted(assumed, 'building or tree', 'buildings and trees')} without a height:"
        message += " usual ones are taken for sun and wind"
        report.problem(Problem(Severity.NOTICE, message, mend, "surfaces"))
    if left_out:
        message = f"{counted(left_out, 'building or tree', 'buildings and trees')} drawn as points"
        message += " or lines: they keep off no sun or wind"
        report.problem(Problem(Severity.NOTICE, message, mend, "keep_out"))
    rows, shapes = [row for row, _ in found], [shape for _, shape in found]
    return {"obstructions": frame_of(rows, shapes, "obstructions", given.grid)}


def _of_surfaces(
    given: Given, usual_m: Mapping[str, float]
) -> Iterator[tuple[dict[str, Any], Any]]:
    for row in given.frame("surfaces").itertuples(index=False):
        known = np.isfinite(row.height_m)
        height_m = row.height_m if known else usual_m.get(row.cover, 0.0)
        if height_m > 0:
            yield _row(row.name, row.cover, height_m, known=known), row.geometry


def _of_drawn(given: Given) -> Iterator[tuple[dict[str, Any], Any]]:
    for row in given.frame("drawn_shade").itertuples(index=False):
        known = np.isfinite(row.height_m)
        height_m = row.height_m if known else usual_number("drawn_shade", "height_m")
        if height_m > 0:
            yield _row(row.name, "drawn", height_m, known=known), row.geometry


def _of_kept_clear(
    given: Given, usual_m: Mapping[str, float], standing: list[Any]
) -> tuple[list[tuple[dict[str, Any], Any]], int]:
    """Return buildings and trees drawn in no other layer, and how many of them are no areas."""
    kept, all_of_it = given.frame("keep_out_drawn"), shapely.union_all(standing)
    found, left_out = [], 0
    for row in kept.loc[kept["kind"].isin(_USUAL_OF)].itertuples(index=False):
        height_m, shape = usual_m[_USUAL_OF[row.kind]], row.geometry
        if not shape.area:
            left_out += not all_of_it.intersects(shape)
        elif height_m > 0 and shape.intersection(all_of_it).area <= _MOSTLY * shape.area:
            found.append((_row(row.name, row.kind, height_m, known=False), shape))
    return found, left_out


def _row(name: Any, kind: str, height_m: float, *, known: bool) -> dict[str, Any]:  # noqa: ANN401
    flag = "" if known else "assumed"
    return {"name": name or kind, "kind": kind, "height_m": height_m, "flag": flag}


STAGE = Stage(
    name="obstructions",
    version=1,
    title="what stands up and keeps off sun and wind",
    needs=("grid", "surfaces", "drawn_shade", "keep_out_drawn"),
    makes=("obstructions",),
    run=_run,
    tables=("sun",),
)
