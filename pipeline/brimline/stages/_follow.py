"""What a plan comes to once mends are written into it: designed, routed, dug and followed again."""

from __future__ import annotations

from functools import cached_property
from typing import TYPE_CHECKING, Any

from brimline.cascade.beyond import beyond_findings
from brimline.config import Earthworks
from brimline.design import LAYERS, Followed, Outcome, changed_plan, cut_away_by, fittings_of
from brimline.errors import InputError, Severity
from brimline.inputs.rows import plan_of, usual_values
from brimline.inputs.rules import building_of
from brimline.layers.flags import needs_look
from brimline.stages._assess import Assessor
from brimline.stages._plan import ground_of_design
from brimline.stages._proof import water_of
from brimline.terrain.earthwork import earth_between

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from brimline.design import FollowedWay, Mark, Plan, PlanChange
    from brimline.engine.stage import Given
    from brimline.stages._assess import Assessment
    from brimline.terrain.earthwork import Earth


class Known:
    """All that is known of a plan.

    Parameters
    ----------
    plan : what is drawn.
    drawn : findings of the drawing and of the storms of the run.
    """

    def __init__(self, follower: Follower, plan: Plan, assessment: Assessment) -> None:
        self._follower, self.plan, self.assessment = follower, plan, assessment
        self.drawn: Mapping[Mark, str] = {
            (one.element_id, one.flag): one.text
            for part in (assessment.found.values() if assessment.routed else ())
            for one in part
            if needs_look([one.flag])
        }

    @cached_property
    def shown(self) -> tuple[list[FollowedWay], Earth | None, Mapping[str, float]]:
        """What its water does on the designed surface, its earth, and what else it needs."""
        return self._follower.shown(self)

    @cached_property
    def soon(self) -> Mapping[Mark, str]:
        """Findings of the drawing, of the storms of the run, and of its water on the surface."""
        marks = dict(self.drawn)
        for way in self.shown[0]:
            for code in filter(lambda code: needs_look([code]), way.flags):
                marks[way.element_id, code] = way.notes
        return marks

    @cached_property
    def outcome(self) -> Outcome:
        """What it comes to, greater storms and single faults with it."""
        marks = dict(self.soon)
        if self.assessment.routed:
            cases = self._follower.assessor.cases(self.assessment)
            for one in beyond_findings(cases, self.assessment.routed[0].inflow.name):
                if needs_look([one.flag]):
                    marks[one.element_id, one.flag] = one.text
        _, earth, fittings = self.shown
        moved = (earth.cut_m3, earth.fill_m3) if earth else (0.0, 0.0)
        return Outcome(marks, *moved, fittings)

    @property
    def followed(self) -> list[Followed]:
        """What the overflows did on the designed surface."""
        peaks: dict[str, float] = {}
        for one in self.assessment.routed:
            for way, peak in zip(one.ways, one.links.peak_m3_s.tolist(), strict=True):
                peaks[way.from_id] = max(peak, peaks.get(way.from_id, 0.0))
        return [
            Followed(
                one.element_id,
                frozenset(one.flags),
                one.meant_id,
                one.reached_id,
                one.brim_level_m - one.spill_level_m,
                one.line,
                one.leaves,
                peaks.get(one.element_id, 0.0),
            )
            for one in self.shown[0]
        ]


class Follower:
    """Works out what plans come to; needs `ASSESSED` and `PROVED`."""

    def __init__(self, given: Given) -> None:
        self.given, self.assessor = given, Assessor(given)
        works = self.assessor.works
        self.plan = plan_of({name: given.frame(name) for name in LAYERS}, works)
        self.usual = {name: usual_values(name, works) for name in LAYERS}
        self.water = water_of(given)
        self.base = Known(self, self.plan, self.assessor.of_plan(self.plan))

    def trial(self, changes: Sequence[PlanChange]) -> Known | None:
        """Return what the plan comes to with changes; None where a part of it is lost."""
        try:
            plan = changed_plan(self.plan, changes, self.usual)
            after = Known(self, plan, self.assessor.of_plan(plan))
        except (InputError, ValueError):
            return None
        before, now = self.base.assessment.done, after.assessment.done
        asked = {one.row for one in changes if not one.removed}
        lost = {one.name for one in before.design.placed} - {one.name for one in now.design.placed}
        lost -= {one.row for one in changes if one.removed} - asked
        warned = _warnings(now) - _warnings(before)
        return None if lost or warned else after

    def cut_away(self, known: Known, names: Sequence[str]) -> dict[str, tuple[str, float]]:
        """Return which other element is dug where each stands, and over how much of it."""
        site = ground_of_design(self.given, known.assessment.done.design)
        fine = self.water.dug(site)
        return {name: cut_away_by(site, fine, name) for name in names}

    def shown(self, known: Known) -> tuple[list[FollowedWay], Earth | None, Mapping[str, float]]:
        """Dig a plan and run water over it; nothing where nothing is dug."""
        if not known.assessment.routed:
            return [], None, {}
        site = ground_of_design(self.given, known.assessment.done.design)
        fittings: dict[str, float] = {}
        params = self.given.params("earthworks", Earthworks)
        for one in fittings_of(
            site, building_of(params), stone_m=params.sill_stone_m, apron_m=params.sill_apron_m
        ):
            fittings[one.item] = fittings.get(one.item, 0.0) + one.amount
        if not site.dug:
            return [], None, fittings
        seen, fine = self.water.shown(site, known.plan.discharges)
        earth = earth_between(fine.ground_m, fine.design_m, fine.grid.cell_area_m2)
        return seen, earth, fittings


def _warnings(done: Any) -> set[str]:  # noqa: ANN401 - a Designed
    return {one.message for one in done.problems if one.severity is not Severity.NOTICE}
