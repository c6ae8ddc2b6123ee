"""What was drawn, designed, routed and judged; asked once by a run, and again for each mend."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property, partial
from typing import TYPE_CHECKING, Final

from brimline.cascade import Finding, check, judge, route
from brimline.cascade.beyond import (
    blocked_pipes,
    failed_banks,
    feeds_left_on,
    frozen,
    storm_case,
)
from brimline.cascade.safety import unsafe
from brimline.config import Earthworks, Hazard, LevelLines, Works
from brimline.design import (
    LAYERS,
    ROUTING_STEP_S,
    StandingWalls,
    at_walls,
    buried_findings,
    designed,
    extents_of,
    misplaced,
    off_level,
    out_of_order,
    too_steep,
)
from brimline.inputs.rows import plan_of
from brimline.inputs.rules import building_of, design_rules
from brimline.lines.sample import surface_at
from brimline.stages._filled import FILLED, filled_ground
from brimline.stages._ground_for_lines import smooth_surface
from brimline.stages._plan import (
    SURVEYED,
    ground_of_design,
    hydrographs_of,
    kept_clear_of,
    standing_of,
    storms_of,
    survey_of,
)
from brimline.stages._survey_error import SUPPORT, survey_error_m
from brimline.terrain.filled import ON_FILLED

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from geopandas import GeoDataFrame

    from brimline.cascade import Routed
    from brimline.cascade.beyond import CheckCase
    from brimline.design import Design, Designed, Plan
    from brimline.design.elements import PlacedElement
    from brimline.design.plan import DrawnElement
    from brimline.elements import Element
    from brimline.engine.stage import Given
    from brimline.grid import Elevation
    from brimline.terrain.filled import FilledGround

# what a stage must need to assess a plan, next to the source inflows and the tables that follow
ASSESSED: Final = (
    *SURVEYED, *FILLED[1:], *LAYERS, "keep_out", "keep_out_drawn", "boundary", "storms",
    "drawn_pads", SUPPORT,
)  # fmt: skip
ASSESSED_BY: Final = ("works", "lines", "survey", "earthworks", "hazard")


@dataclass(frozen=True, slots=True, eq=False)
class Assessment:
    """A design, its storms, and what is wrong with it.

    Parameters
    ----------
    routed : the design storm, then the others; empty where nothing could be made.
    found : findings by storm; those of the drawing itself under an empty name.
    """

    done: Designed
    routed: tuple[Routed, ...]
    found: dict[str, list[Finding]]


class Assessor:
    """Assesses plans on the ground and in the storms of a run; needs `ASSESSED`."""

    def __init__(self, given: Given) -> None:
        works = given.params("works", Works)
        asked_m = given.params("lines", LevelLines).level_tolerance_m
        survey_m, asked = survey_error_m(given), storms_of(given)
        self.works, self._given = works, given
        self.walls = given.value("walls", StandingWalls)
        self.rules = design_rules(
            works, asked_m, asked.rain_2y_24h_mm,
            building_of(given.params("earthworks", Earthworks)), given.params("hazard", Hazard),
        )  # fmt: skip
        self.grid = given.grid
        self.standing, self.survey = standing_of(given), survey_of(given)
        self.storms, self.beyond = asked.routed, asked.beyond
        self.hydrographs = hydrographs_of(given)
        self._made: dict[int, tuple[DrawnElement, Element]] = {}
        self.kept_clear = kept_clear_of(given)
        self.site = given.frame("boundary").geometry.union_all()
        bare = self.walls.taken_off(given.raster("elevation"))
        self.ground = partial(surface_at, bare, given.grid)
        # no survey tells less than its own error
        self.level_tolerance_m = max(asked_m, survey_m)
        self._why = (
            ""
            if survey_m <= asked_m
            else f", the error of the survey (lines.level_tolerance_m is {asked_m:g} m)"
        )

    @cached_property
    def surface(self) -> Elevation:
        """The survey as lines are drawn on it."""
        return smooth_surface(self._given)

    @cached_property
    def filled(self) -> FilledGround:
        """How deep the ground was filled."""
        return filled_ground(self._given)

    def of(self, frames: Mapping[str, GeoDataFrame]) -> Assessment:
        """Design, route and judge what is drawn.

        Parameters
        ----------
        frames : by the names of `brimline.design.LAYERS`.
        """
        return self.of_plan(plan_of(frames, self.works))

    def of_plan(self, plan: Plan) -> Assessment:
        """Design, route and judge a plan."""
        done = designed(
            plan, self.standing, self.survey, self.storms, self.rules, self.hydrographs, self._made
        )
        if done.first is None:
            return Assessment(done, (), {"": []})
        design = done.design
        others = (route(design.network, inflow, design.pace) for inflow in done.inflows[1:])
        routed = (done.first, *others)
        return Assessment(done, routed, self._findings(done, routed))

    def greater(self, assessment: Assessment, only: str = "") -> Iterator[Routed]:
        """Route the storms greater or longer than those of the run, or one of them."""
        design = assessment.done.design
        for storm in (one for one in self.beyond if only in ("", one.name)):
            inflow = design.arrivals.of(storm, ROUTING_STEP_S).thinned()
            yield route(design.network, inflow, design.pace.brief())

    def in_storms(self, assessment: Assessment, only: str = "") -> list[CheckCase]:
        """Say what fails first in each storm, or in one; the greater ones too."""
        every = [one for one in assessment.routed if only in ("", one.inflow.name)]
        every += self.greater(assessment, only)
        return [storm_case(one, self.rules.limits) for one in every]

    def cases(self, assessment: Assessment) -> list[CheckCase]:
        """Try greater storms, then single faults in the design storm."""
        design, limits, routed = assessment.done.design, self.rules.limits, assessment.routed
        inflow = design.arrivals.frozen().of(self.storms[0], ROUTING_STEP_S).thinned()
        icy = route(frozen(design.network), inflow, design.pace.brief())
        text = "all rain runs off and nothing soaks away; melting snow would come on top"
        return [
            *self.in_storms(assessment),
            storm_case(icy, limits, case="frozen ground", beside=routed[0], text=text),
            *blocked_pipes(routed[0], design.pace, limits),
            *feeds_left_on(routed[0], design.fed_m3_s, design.pace, limits),
            *failed_banks(routed[0], design.pace, limits),
        ]

    def _findings(self, done: Designed, routed: Sequence[Routed]) -> dict[str, list[Finding]]:
        placed, limits = done.design.placed, self.rules.limits
        extents = extents_of(placed, self.standing, self.rules.building)
        found = {
            "": [
                *check(done.design.network, limits),
                *unsafe(done.design.network, limits),
                *misplaced(placed, self.kept_clear, self.site, self.rules.near_building_m, extents),
                *too_steep(extents, limits.steep_slope_pct),
                *off_level(placed, self.surface, self.grid, self.level_tolerance_m, self._why),
                *out_of_order(done.design),
                *buried_findings(done.design, self.ground),
                *self._at_walls(done.design),
                *self._on_fill(placed),
            ]
        }
        for one in routed:
            found[one.inflow.name] = list(judge(one, limits))
        found[self.storms[0].name] += done.design.arrivals.doubts(self.storms[0])
        return found

    def _at_walls(self, design: Design) -> Iterator[Finding]:
        """Flag elements that endanger a wall."""
        if self.walls.walls:
            yield from at_walls(ground_of_design(self._given, design), self.walls.walls)

    def _on_fill(self, placed: Sequence[PlacedElement]) -> Iterator[Finding]:
        """Flag elements in hollows that were filled."""
        for one in placed:
            deepest_m = self.filled.deepest_m(one.shape)
            if deepest_m > self.filled.tell_m:
                text = (
                    f"lies in a hollow that was filled {deepest_m:.2f} m deep for water to cross it"
                )
                yield Finding(ON_FILLED, one.name, text)
