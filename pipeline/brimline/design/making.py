"""The design of a site: drawn rows made into elements with ways out, sized for the design storm."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import shapely

from brimline.cascade import Network
from brimline.design.arrivals import arrivals_of
from brimline.design.elements import placed_elements
from brimline.design.feeds import feeds_of, kept_filled
from brimline.design.sizes import sized_cascade
from brimline.design.ways import discharges_of, running_ground, ways_out
from brimline.elements import Kind
from brimline.errors import InputError, Severity
from brimline.units import DAY_S

if TYPE_CHECKING:
    from collections.abc import Mapping, MutableMapping, Sequence

    from brimline.balance.system import Feed
    from brimline.cascade import CascadeLimits, Discharge, Link, Pace, Routed, StormInflow
    from brimline.design.arrivals import Arrivals, SurveyedGround
    from brimline.design.elements import PlacedElement
    from brimline.design.plan import DrawnElement, DrawnWay, Plan
    from brimline.design.rules import DesignRules
    from brimline.design.sizes import SizedDimension
    from brimline.design.standing import StandingGround
    from brimline.elements import Element
    from brimline.errors import Problem
    from brimline.rainfall import Hydrograph, Storm


@dataclass(frozen=True, eq=False)
class Design:
    """What is to be built, whole and once: every later step is handed this.

    Parameters
    ----------
    names : of everything that was drawn as an element, whether it could be made or not.
    placed : elements with all dimensions, and where they lie.
    links, lines : ways out with their sizes, and how each runs on the plan.
    drawn_ways : the row that draws each; None where the element has it of itself.
    discharges : where water may leave the site.
    ends : their points, by identifier.
    on_ground : element to what its overflow reaches on the ground; left out where nothing.
    arrivals : what drains, is piped and is led to each element.
    sizes : dimensions that were free, and what came of them.
    feeds : pumps, and filling by hand, which keep their stores as full before a storm.
    limits, pace : what the cascade keeps to, and how it is routed.
    """

    names: tuple[str, ...]
    placed: tuple[PlacedElement, ...]
    links: tuple[Link, ...]
    lines: tuple[shapely.LineString, ...]
    drawn_ways: tuple[DrawnWay | None, ...]
    discharges: tuple[Discharge, ...]
    ends: dict[str, shapely.Point]
    on_ground: dict[str, str]
    arrivals: Arrivals
    sizes: tuple[SizedDimension, ...]
    limits: CascadeLimits
    pace: Pace
    feeds: tuple[Feed, ...] = ()

    @cached_property
    def network(self) -> Network:
        """The elements and their ways out, ready to be routed."""
        return Network(tuple(one.element for one in self.placed), self.links, self.discharges)

    @property
    def storage_m3(self) -> float:
        """Volume that all elements hold up to their sills; drains hold none to count [m³]."""
        holding = (one for one in self.network.elements if one.kind is not Kind.DRAIN)
        return float(sum(one.storage_m3 for one in holding))

    @property
    def fed_m3_s(self) -> dict[str, float]:
        """What feeds bring to elements while they run, by name [m³/s]."""
        found: dict[str, float] = {}
        for feed in self.feeds:
            found[feed.to_id] = found.get(feed.to_id, 0.0) + feed.most_m3 / DAY_S
        return found

    def shape_of(self, element_id: str) -> shapely.Geometry:
        """Return the line, outline or point that was drawn of an element."""
        return self.placed[self.network.index[element_id]].shape


@dataclass(frozen=True, slots=True)
class Designed:
    """A design, and what came up while it was made.

    Parameters
    ----------
    inflows : of the design storm, then of the others; empty where nothing could be made.
    first : the design storm routed; None where nothing could be made.
    """

    design: Design
    inflows: tuple[StormInflow, ...]
    first: Routed | None
    problems: tuple[Problem, ...]


def designed(
    plan: Plan,
    standing: StandingGround,
    survey: SurveyedGround,
    storms: Sequence[Storm],
    rules: DesignRules,
    hydrographs: Mapping[str, Hydrograph] | None = None,
    made: MutableMapping[int, tuple[DrawnElement, Element]] | None = None,
) -> Designed:
    """Design what was drawn.

    Parameters
    ----------
    storms : the design storm, then the others.
    hydrographs : of inflow points, by name.
    made : as for `placed_elements`, where several plans are designed on one ground.

    Raises
    ------
    InputError
        If names are used twice.
    """
    lost = [
        one
        for one in plan.lost_names([area.name for area in survey.covers])
        if one.severity is Severity.ERROR
    ]
    if wrong := (*plan.repeated_names(), *lost):
        raise InputError(wrong)
    drawn, problems = placed_elements(plan.elements, standing, rules.water, rules.building, made)
    feeds, told_of_feeds = feeds_of(plan.feeds, drawn)
    placed = kept_filled(drawn, feeds)
    running = running_ground(placed, plan.discharges, survey.directions, survey.grid)
    found = ways_out(placed, plan, running, standing)
    arrivals, told = arrivals_of(
        placed, running, survey, plan.inflows, hydrographs or {}, rules.water, plan.downpipes
    )
    links = tuple(way.link for way in found.ways)
    discharges = discharges_of(plan.discharges)
    try:
        network = Network(tuple(one.element for one in placed), links, discharges)
    except ValueError as error:
        raise InputError.of(
            str(error), mend="correct the name or the level of that row", source="plan"
        ) from error
    lines = tuple(_with_length(way.line, survey.grid.cell_m) for way in found.ways)
    ends = {
        end.discharge_id: row.shape for end, row in zip(discharges, plan.discharges, strict=True)
    }
    if not placed:
        design = Design(
            plan.names,
            (),
            (),
            (),
            (),
            discharges,
            ends,
            {},
            arrivals,
            (),
            rules.limits,
            rules.pace,
        )
        return Designed(design, (), None, tuple(problems))
    later = [place for place, way in enumerate(found.ways) if way.sized_later]
    done = sized_cascade(network, placed, arrivals, storms, later, rules)
    design = Design(
        plan.names,
        done.placed,
        done.network.links,
        lines,
        tuple(way.drawn for way in found.ways),
        discharges,
        ends,
        found.on_ground,
        done.arrivals,
        done.sizes.rows,
        rules.limits,
        rules.pace,
        feeds,
    )
    problems += [*told_of_feeds, *found.problems, *told, *done.sizes.problems]
    return Designed(design, done.inflows, done.first, tuple(problems))


def _with_length(line: shapely.LineString, cell_m: float) -> shapely.LineString:
    """Give a way that ends where it begins a short length, so that it can be seen."""
    if line.length > 0:
        return line
    x, y = line.coords[0]
    return shapely.LineString([(x, y), (x + cell_m, y)])
