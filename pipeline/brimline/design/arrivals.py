"""What a storm brings to each element: runoff of its ground, roofs, inflows from outside, rain."""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from functools import cached_property
from itertools import groupby
from typing import TYPE_CHECKING, Final

import numpy as np

from brimline.cascade import Finding, inflow_of, with_rain
from brimline.design.cover import covered_ground
from brimline.design.roofs import led_roofs
from brimline.drainage.receiving import received, way_to
from brimline.elements import Kind, RaisedBed
from brimline.errors import Problem, Severity
from brimline.grid.shapes import cells_inside
from brimline.rainfall import (
    Hydrograph,
    MixedGround,
    OutsideGround,
    PathFlow,
    Storm,
    antecedent_curve_number,
    composite_coefficient,
    concentration_h,
    hydrograph,
    kirpich_doubts,
    kirpich_h,
    peak_and_volume,
    roof_hydrograph,
    route_excess,
    segments_along_path,
)
from brimline.rainfall.concentration import LEAST_CONCENTRATION_H
from brimline.units import counted

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    import shapely
    from numpy.typing import NDArray
    from shapely.geometry.base import BaseGeometry

    from brimline.cascade import StormInflow
    from brimline.design.cover import CoverArea, CoveredGround, SoilArea
    from brimline.design.elements import PlacedElement
    from brimline.design.plan import DrawnDownpipe, DrawnInflow
    from brimline.design.roofs import LedRoof
    from brimline.design.rules import UsualWater
    from brimline.design.ways import RunningGround
    from brimline.drainage.receiving import Received
    from brimline.elements import Element
    from brimline.grid import Elevation, Grid

_LEAST_FALL: Final = 0.001  # of a way, for Kirpich's relation
_WHOLE: Final = 1e-9  # of a roof, that rounding may lack
_SEALED: Final = 98.0  # NRCS (1986), TR-55, Table 2-2a: curve number of paved ground and roofs


@dataclass(frozen=True, slots=True)
class ElementCatchment:
    """The open ground that drains to one element.

    Parameters
    ----------
    ground : its parts, of which each sheds for itself.
    doubts : where the time of concentration is worked out outside of what its relation was found
        on.
    """

    ground: MixedGround
    concentration_h: float
    doubts: tuple[str, ...] = ()

    @property
    def area_m2(self) -> float:
        """Area of all parts [m²]."""
        return self.ground.area_m2


@dataclass(frozen=True, slots=True)
class HardGround:
    """Surfaces of a catchment that have a runoff coefficient of their own: yards, tracks, roofs."""

    area_m2: float
    coefficient: float
    concentration_h: float


@dataclass(frozen=True, slots=True)
class PipedRoofs:
    """Roofs that drain to one element; `flush_mm` of rain is led away first."""

    area_m2: float
    coefficient: float
    flush_mm: float


@dataclass(frozen=True, eq=False)
class Arrivals:
    """Everything that arrives at elements, but for the storm itself; each by element's name.

    Parameters
    ----------
    catchments : open ground; left out where nothing drains to the element.
    hard : yards and tracks among its ground.
    open_m2 : water surface that rain falls on, and beds that pass it on as if wet [m²].
    led : roofs, and parts of them, that are led to elements.
    outside : hydrographs of water from outside the site.
    beyond : ground outside the site whose rain arrives.
    """

    catchments: dict[str, ElementCatchment]
    hard: dict[str, HardGround]
    led: tuple[LedRoof, ...]
    open_m2: dict[str, float]
    outside: dict[str, tuple[Hydrograph, ...]]
    beyond: dict[str, tuple[OutsideGround, ...]] = field(default_factory=dict)

    @cached_property
    def roofs(self) -> dict[str, PipedRoofs]:
        """Roofs that are led to each element, as one."""
        return _piped(self.led)

    def storms_only_told(self) -> list[str]:
        """Say of how many inflows hydrographs are all that is known."""
        known = [one for ground in self.beyond.values() for one in ground if not one.in_storm]
        count = sum(len(flows) for flows in self.outside.values()) - len(known)
        if not count:
            return []
        inflows = f"{counted(count, 'inflow')} from outside without area_m2, known for storms only"
        return [f"{inflows}: none comes of it here"]

    def over(self, elements: Sequence[Element]) -> Arrivals:
        """Return the same arrivals with the rain on elements whose dimensions have changed."""
        return replace(self, open_m2=_open_m2(elements))

    def frozen(self) -> Arrivals:
        """Return the same arrivals with ground that sheds all rain."""
        catchments = {
            name: replace(one, ground=MixedGround((100.0,), (one.area_m2,)))
            for name, one in self.catchments.items()
        }
        hard = {name: replace(one, coefficient=1.0) for name, one in self.hard.items()}
        beyond = {
            name: tuple(replace(one, curve_number=100.0, share=math.nan) for one in grounds)
            for name, grounds in self.beyond.items()
        }
        return replace(self, catchments=catchments, hard=hard, beyond=beyond)

    def beforehand(self, condition: str) -> Arrivals:
        """Return the same arrivals from ground that was dry, or wet, before the storm.

        Sealed ground, whose curve number is 98 or more, hard ground and roofs shed as ever.

        Parameters
        ----------
        condition : ``"dry"`` or ``"wet"``, as `rainfall.antecedent_curve_number` has them.
        """

        def number(one: float) -> float:
            return antecedent_curve_number(one, condition) if one < _SEALED else one  # or NaN

        catchments = {
            name: replace(
                one,
                ground=replace(
                    one.ground, curve_numbers=tuple(map(number, one.ground.curve_numbers))
                ),
            )
            for name, one in self.catchments.items()
        }
        beyond = {
            name: tuple(replace(one, curve_number=number(one.curve_number)) for one in grounds)
            for name, grounds in self.beyond.items()
        }
        return replace(self, catchments=catchments, beyond=beyond)

    def larger(self, factors: Mapping[str, float]) -> Arrivals:
        """Return the same arrivals with all ground of an element larger by a factor."""
        catchments = {
            name: replace(one, ground=one.ground.scaled(factors.get(name, 1.0)))
            for name, one in self.catchments.items()
        }
        hard = {
            name: replace(one, area_m2=one.area_m2 * factors.get(name, 1.0))
            for name, one in self.hard.items()
        }
        return replace(self, catchments=catchments, hard=hard)

    def of(self, storm: Storm, step_s: float) -> StormInflow:
        """Return a storm's inflow, stepped until the last hydrograph has run out."""
        parts: dict[str, list[Hydrograph]] = {name: [] for name in self.open_m2}
        for name, open_ground in self.catchments.items():
            parts[name].append(
                route_excess(
                    open_ground.ground.excess_mm(storm.depth_mm),
                    storm.step_s,
                    open_ground.area_m2,
                    concentration_h=open_ground.concentration_h,
                )
            )
        for name, hard in self.hard.items():
            parts[name].append(
                hydrograph(
                    storm,
                    hard.area_m2,
                    concentration_h=hard.concentration_h,
                    runoff_coefficient=hard.coefficient,
                )
            )
        for name, roofs in self.roofs.items():
            parts[name].append(
                roof_hydrograph(
                    storm,
                    roofs.area_m2,
                    coefficient=roofs.coefficient,
                    first_flush_mm=roofs.flush_mm,
                )
            )
        for name, flows in self.outside.items():
            parts[name] += flows
        for name, grounds in self.beyond.items():
            parts[name] += [
                route_excess(
                    one.excess_mm(storm.depth_mm), storm.step_s, one.area_m2,
                    concentration_h=LEAST_CONCENTRATION_H,
                )
                for one in grounds
                if one.in_storm
            ]  # fmt: skip
        ends = [float(one.time_s[-1]) for flows in parts.values() for one in flows]
        last = max([storm.step_s * storm.depth_mm.size, *ends])
        edges = step_s * np.arange(math.ceil(last / step_s) + 1)
        rain_ends_s = storm.step_s * storm.depth_mm.size
        inflow = inflow_of(parts, edges, ends_s=rain_ends_s, name=storm.name)
        return with_rain(inflow, storm, self.open_m2)

    def excess_mm(self, name: str, depth_mm: NDArray[np.float64]) -> NDArray[np.float64] | None:
        """Runoff of each step of a hyetograph, mean over all ground that drains to an element.

        Returns
        -------
        float64 (steps,) [mm]; None where no ground drains there.
        """
        parts = []
        if name in self.catchments:
            open_ground = self.catchments[name].ground
            parts.append((open_ground.area_m2, open_ground.excess_mm(depth_mm)))
        if name in self.hard:
            hard = self.hard[name]
            parts.append((hard.area_m2, hard.coefficient * depth_mm))
        if not parts:
            return None
        areas, depths = zip(*parts, strict=True)
        mean: NDArray[np.float64] = np.average(np.array(depths), axis=0, weights=areas)
        return mean

    def doubts(self, storm: Storm) -> Iterator[Finding]:
        """Find elements whose runoff is worked out outside of what the relations are made for."""
        for name, one in self.catchments.items():
            for text in (*one.ground.doubts(storm.total_mm), *one.doubts):
                yield Finding("outside-method", name, f"runoff: {text}")


@dataclass(frozen=True, slots=True)
class SurveyedGround:
    """What the ground that drains to elements is measured from.

    Parameters
    ----------
    dem : float32 (rows, cols) [m]; NaN is nodata.
    directions : flow directions of the conditioned surface.
    contributing_area_m2 : float64 (rows, cols) [m²].
    covers, soils : as drawn; the rest is taken for the usual ground.
    """

    grid: Grid
    dem: Elevation
    directions: NDArray[np.uint8]
    contributing_area_m2: NDArray[np.float64]
    covers: tuple[CoverArea, ...] = ()
    soils: tuple[SoilArea, ...] = ()


def arrivals_of(
    placed: Sequence[PlacedElement],
    running: RunningGround,
    survey: SurveyedGround,
    inflows: Sequence[DrawnInflow],
    hydrographs: Mapping[str, Hydrograph],
    water: UsualWater,
    downpipes: Sequence[DrawnDownpipe] = (),
) -> tuple[Arrivals, list[Problem]]:
    """Measure the ground of every element.

    Parameters
    ----------
    hydrographs : of inflow points, by name.
    """
    problems: list[Problem] = []
    grid = survey.grid
    seeds = running.seeds.copy()
    seeds[seeds > len(placed)] = 0  # a discharge point gathers nothing
    found = received(running.directions, seeds, cell_m=grid.cell_m)
    led, told = led_roofs(placed, survey.covers, downpipes, running, water.roof_coefficient)
    problems += told
    away, left = _not_led(survey.covers, led)
    labels = np.where(seeds == 0, found.labels, 0).astype(np.int32)
    # roof water goes where it is led, rain on a bed stays within its wall; not to the ground below
    beds = [one.shape for one in placed if isinstance(one.element.shape, RaisedBed)]
    labels[cells_inside([*away, *beds], grid)] = 0
    shares = _coefficients(survey.covers, grid)
    for area in left:
        shares[cells_inside([area.shape], grid)] = area.runoff_coefficient
    of_curve = np.where(np.isnan(shares), labels, 0).astype(np.int32)
    covered = covered_ground(survey.covers, survey.soils, grid, water.ground)
    grounds = _grounds(of_curve, covered, water, problems)
    catchments, hard = {}, {}
    for number, one in enumerate(placed, start=1):
        own = shares[(labels == number) & ~np.isnan(shares)]
        if number not in grounds and not own.size:
            continue
        hard_m2 = own.size * grid.cell_area_m2
        area_m2 = hard_m2 + (grounds[number].area_m2 if number in grounds else 0.0)
        hours, doubts = _concentration(number, found, seeds, survey, covered, water, area_m2)
        if number in grounds:
            catchments[one.name] = ElementCatchment(grounds[number], hours, doubts)
        if own.size:
            hard[one.name] = HardGround(hard_m2, float(own.mean()), hours)
    names = [one.name for one in placed]
    open_m2 = _open_m2([one.element for one in placed])
    outside, beyond = _outside(inflows, hydrographs, names, grid, found, water, problems)
    return Arrivals(catchments, hard, led, open_m2, outside, beyond), problems


def _coefficients(covers: Sequence[CoverArea], grid: Grid) -> NDArray[np.float64]:
    """Runoff coefficient of each cell of a surface that has one of its own; NaN elsewhere.

    Where surfaces overlap, the greater coefficient counts.
    """
    shares = np.full(grid.shape, np.nan)
    known = [area for area in covers if not math.isnan(area.runoff_coefficient)]
    known.sort(key=lambda area: area.runoff_coefficient)
    for coefficient, areas in groupby(known, key=lambda area: area.runoff_coefficient):
        shares[cells_inside([area.shape for area in areas], grid)] = coefficient
    return shares


def _open_m2(elements: Sequence[Element]) -> dict[str, float]:
    return {
        element.element_id: element.footprint_m2 if rained_on(element) else 0.0
        for element in elements
    }


def rained_on(element: Element) -> bool:
    """Tell whether rain falls into an element: into all but closed tanks."""
    return element.kind is not Kind.TANK or isinstance(element.shape, RaisedBed)


def _piped(led: Sequence[LedRoof]) -> dict[str, PipedRoofs]:
    """Return what is led to each element, all its roofs as one."""
    found: dict[str, PipedRoofs] = {}
    for name in dict.fromkeys(one.to_id for one in led):
        mine = [one for one in led if one.to_id == name and one.area_m2 > 0]
        areas = [one.area_m2 for one in mine]
        if mine:
            found[name] = PipedRoofs(
                float(sum(areas)),
                composite_coefficient([one.coefficient for one in mine], areas),
                float(np.average([one.flush_mm for one in mine], weights=areas)),
            )
    return found


def _not_led(
    covers: Sequence[CoverArea], led: Sequence[LedRoof]
) -> tuple[list[BaseGeometry], list[CoverArea]]:
    """Return roofs that are led away whole, and what is left of others as so much less runoff."""
    away, left = [], []
    for area in covers:
        mine = [one for one in led if one.roof == area.name]
        if mine:
            share = sum(one.share for one in mine)
            if share >= 1 - _WHOLE:
                away.append(area.shape)
            else:
                rest = (1 - share) * mine[0].coefficient
                left.append(replace(area, runoff_coefficient=rest))
    return away, left


def _grounds(
    labels: NDArray[np.int32],
    covered: CoveredGround,
    water: UsualWater,
    problems: list[Problem],
) -> dict[int, MixedGround]:
    """Find what of each element's ground sheds water."""
    found, assumed_pct = covered.by_label(labels), covered.open_pct(labels)
    if assumed_pct > 1:
        problems.append(
            Problem(
                Severity.NOTICE,
                f"{assumed_pct:.0f} % of the ground that drains to elements has no cover drawn; "
                f"it is taken as {water.ground.cover}",
                "draw it in the surfaces input, or set works.usual_cover",
                "surfaces",
            )
        )
    return found


def _concentration(
    number: int,
    found: Received,
    seeds: NDArray[np.int32],
    survey: SurveyedGround,
    covered: CoveredGround,
    water: UsualWater,
    area_m2: float,
) -> tuple[float, tuple[str, ...]]:
    """Time of concentration along the longest way [h], and what is in doubt about it."""
    head = int(found.heads[number]) if number < found.heads.size else -1
    if head < 0:
        return LEAST_CONCENTRATION_H, ()
    rows, cols = way_to(survey.directions, head, seeds)
    chainage = np.concatenate([[0.0], np.cumsum(np.hypot(np.diff(rows), np.diff(cols)))])
    levels = np.minimum.accumulate(survey.dem[rows, cols].astype(np.float64))
    if chainage.size < 2 or not np.isfinite(levels).all():
        return LEAST_CONCENTRATION_H, ()
    chainage = chainage * survey.grid.cell_m
    area = survey.contributing_area_m2[rows, cols]
    if water.concentration == "Kirpich":
        fall = max(float(levels[0] - levels[-1]) / float(chainage[-1]), _LEAST_FALL)
        return kirpich_h(float(chainage[-1]), fall), kirpich_doubts(fall, area_m2)
    flow = PathFlow(rain_2y_24h_mm=water.rain_2y_24h_mm)
    sheet_n = covered.sheet_n(rows, cols)
    segments = segments_along_path(chainage, levels, area, flow, sheet_n=sheet_n)
    return float(concentration_h(segments)), ()


def _outside(
    points: Sequence[DrawnInflow],
    hydrographs: Mapping[str, Hydrograph],
    names: Sequence[str],
    grid: Grid,
    found: Received,
    water: UsualWater,
    problems: list[Problem],
) -> tuple[dict[str, tuple[Hydrograph, ...]], dict[str, tuple[OutsideGround, ...]]]:
    """Water from outside by element: hydrographs as given or of a peak and a volume, and ground."""
    flows: dict[str, tuple[Hydrograph, ...]] = {}
    beyond: dict[str, tuple[OutsideGround, ...]] = {}
    used = set()
    for number, row in enumerate(points, start=1):
        into = row.into or _reached(row.shape, names, grid, found)
        flow = hydrographs.get(row.name) or _of_peak(row)
        used.add(row.name)
        ground, wrong = None, ""
        try:
            ground = _beyond(row, flow is None, water)
        except (ValueError, KeyError) as error:
            wrong = f": {error.args[0]}"
        if into not in names or (flow is None and ground is None):
            problems.append(
                Problem(
                    Severity.WARNING,
                    f"{row.name or f'inflow {number}'} was left out: it reaches no element, or has"
                    " neither peak_m3_s and volume_m3 nor a hydrograph nor area_m2" + wrong,
                    "fill in into, and peak_m3_s and volume_m3, or area_m2, or name it as in"
                    " inputs.inflows",
                    "plan, inflow_points",
                )
            )
            continue
        if flow is not None:
            flows[into] = (*flows.get(into, ()), flow)
        if ground is not None:
            beyond[into] = (*beyond.get(into, ()), ground)
    strangers = sorted(set(hydrographs) - used)
    if strangers:
        problems.append(
            Problem(
                Severity.WARNING,
                f"hydrographs were left out: no inflow point is called {', '.join(strangers)}",
                "name the inflow points in the plan as the columns of the file",
                "inflows",
            )
        )
    return flows, beyond


def _beyond(row: DrawnInflow, in_storm: bool, water: UsualWater) -> OutsideGround | None:  # noqa: FBT001
    """Return the ground that an inflow gathers; None where the plan does not tell."""
    if math.isnan(row.area_m2):
        return None
    number = row.curve_number
    if math.isnan(number) and math.isnan(row.runoff_share):
        number = replace(water.ground, cover=row.cover or water.ground.cover).curve_number
    return OutsideGround(row.area_m2, number, row.runoff_share, row.from_mm, in_storm)


def _of_peak(row: DrawnInflow) -> Hydrograph | None:
    if not (row.peak_m3_s > 0 and row.volume_m3 > 0):
        return None
    return peak_and_volume(row.peak_m3_s, row.volume_m3, start_s=3600 * row.start_h)


def _reached(point: shapely.Point, names: Sequence[str], grid: Grid, found: Received) -> str:
    row, col = (int(v) for v in grid.cell(point.x, point.y))
    if not grid.holds(row, col):
        return ""
    label = int(found.labels[row, col])
    return names[label - 1] if 0 < label <= len(names) else ""
