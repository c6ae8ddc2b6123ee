"""What a plan comes to once mends are written into it: designed, routed, dug and followed again."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import geopandas as gpd
import pandas as pd
import shapely

from brimline.cascade.beyond import beyond_findings
from brimline.design import LAYERS, Followed, Outcome
from brimline.errors import InputError, Severity
from brimline.io.frames import conformed
from brimline.layers import layer
from brimline.layers.flags import needs_look
from brimline.stages._assess import Assessment, Assessor
from brimline.stages._plan import ground_of_design
from brimline.stages._proof import FollowedWay, shown
from brimline.terrain.earthwork import earth_between

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from geopandas import GeoDataFrame

    from brimline.design import PlanChange
    from brimline.engine.stage import Given


@dataclass(frozen=True, slots=True, eq=False)
class Known:
    """All that is known of a plan."""

    assessment: Assessment
    shown: tuple[FollowedWay, ...]
    outcome: Outcome

    @property
    def followed(self) -> list[Followed]:
        """What the overflows did on the designed surface."""
        return [
            Followed(
                one.row["element_id"],
                frozenset(code for code in one.row["flag"].split(";") if code),
                one.row["meant_id"] or "",
                one.row["reached_id"] or "",
                one.row["brim_level_m"] - one.row["spill_level_m"],
                one.line,
                one.leaves,
            )
            for one in self.shown
        ]


class Follower:
    """Works out what plans come to; needs `ASSESSED` and `PROVED`."""

    def __init__(self, given: Given) -> None:
        self.given, self.assessor = given, Assessor(given)
        self.frames = {name: given.frame(name) for name in LAYERS}
        self.base = self._known(self.frames)

    def trial(self, changes: Sequence[PlanChange]) -> Outcome | None:
        """Return what the plan comes to with changes; None where a part of it is lost."""
        try:
            after = self._known(changed(self.frames, changes))
        except (InputError, ValueError):
            return None
        before, now = self.base.assessment.done, after.assessment.done
        lost = {one.name for one in before.design.placed} - {one.name for one in now.design.placed}
        warned = _warnings(now) - _warnings(before)
        return None if lost or warned else after.outcome

    def _known(self, frames: Mapping[str, GeoDataFrame]) -> Known:
        found = self.assessor.of(frames)
        if not found.routed:
            return Known(found, (), Outcome({}, 0.0, 0.0))
        marks = {
            (one.element_id, one.flag): one.text
            for part in found.found.values()
            for one in part
            if needs_look([one.flag])
        }
        cases = self.assessor.cases(found)
        for one in beyond_findings(cases, found.routed[0].inflow.name):
            marks[one.element_id, one.flag] = one.text
        site = ground_of_design(self.given, found.done.design)
        if not site.dug:
            return Known(found, (), Outcome(marks, 0.0, 0.0))
        seen, fine = shown(self.given, site, frames["discharge_points"])
        for way in seen:
            for code in filter(None, way.row["flag"].split(";")):
                if needs_look([code]):
                    marks[way.row["element_id"], code] = way.row["notes"]
        earth = earth_between(fine.ground_m, fine.design_m, fine.grid.cell_area_m2)
        return Known(found, tuple(seen), Outcome(marks, earth.cut_m3, earth.fill_m3))


def _warnings(done: Any) -> set[str]:  # noqa: ANN401 - a Designed
    return {one.message for one in done.problems if one.severity is not Severity.NOTICE}


def changed(
    frames: Mapping[str, GeoDataFrame], changes: Sequence[PlanChange]
) -> dict[str, GeoDataFrame]:
    """Write changes into layers of a plan, as `brimline apply` does into its file."""
    found = {name: frame.copy() for name, frame in frames.items()}
    for one in changes:
        frame = found[one.layer]
        cells: dict[str, Any] = {"name": one.row} | one.values  # noqa: PD011 - not of a frame
        if one.shape_wkt:
            cells["geometry"] = shapely.from_wkt(one.shape_wkt)
        if one.added:
            row = gpd.GeoDataFrame([cells], geometry="geometry", crs=frame.crs)
            rows = (
                pd.concat([frame, conformed(row, layer(one.layer), str(frame.crs))])
                if len(frame)
                else row
            )
            whole = gpd.GeoDataFrame(rows, geometry="geometry", crs=frame.crs)
            found[one.layer] = gpd.GeoDataFrame(
                conformed(whole.reset_index(drop=True), layer(one.layer), str(frame.crs))
            )
            continue
        place = _place(frame, one.row)
        for column, value in cells.items():
            frame.loc[frame.index[place], [column]] = [value]
    return found


def _place(frame: GeoDataFrame, name: str) -> int:
    names = [text.strip() if isinstance(text, str) else "" for text in frame["name"]]
    if name in names:
        return names.index(name)
    number = name.rsplit(" ", 1)[-1]
    place = int(number) - 1 if number.isdigit() else -1
    if not 0 <= place < len(names) or names[place]:
        raise ValueError(f"the plan has no row {name}")
    return place
