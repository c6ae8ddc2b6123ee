"""What a storm brings to each element: runoff of its ground, roofs, inflows from outside, rain."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from brimline.cascade import inflow_of, with_rain
from brimline.drainage.receiving import received, way_to
from brimline.elements import Kind
from brimline.errors import Problem, Severity
from brimline.grid.shapes import cells_inside
from brimline.rainfall import (
    PathFlow,
    Storm,
    composite_coefficient,
    concentration_h,
    cover,
    hydrograph,
    kirpich_h,
    peak_and_volume,
    roof_hydrograph,
    segments_along_path,
)
from brimline.stages._ground_cover import UsualGround, ground_by_label
from brimline.stages._works_shapes import number_of, text_of

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    import shapely
    from geopandas import GeoDataFrame
    from numpy.typing import NDArray

    from brimline.cascade import StormInflow
    from brimline.config import Works
    from brimline.drainage.receiving import Received
    from brimline.elements import Element
    from brimline.grid import Grid
    from brimline.rainfall import Hydrograph
    from brimline.stages._ground_cover import LabelGround
    from brimline.stages._works_shapes import Drawn
    from brimline.stages._works_ways import Ground


_LEAST_FALL: Final = 0.001  # of a way, for Kirpich's relation


@dataclass(frozen=True, slots=True)
class Catchment:
    """The ground that drains to one element."""

    area_m2: float
    curve_number: float
    concentration_h: float


@dataclass(frozen=True, slots=True)
class Hard:
    """Surfaces of a catchment that have a runoff coefficient of their own: yards, tracks, roofs."""

    area_m2: float
    coefficient: float
    concentration_h: float


@dataclass(frozen=True, slots=True)
class Arrivals:
    """Everything that arrives at elements, but for the storm itself."""

    catchments: Mapping[str, Catchment]
    hard: Mapping[str, Hard]
    roofs_m2: Mapping[str, float]
    roof_coefficients: Mapping[str, float]
    roof_flush_mm: Mapping[str, float]
    open_m2: Mapping[str, float]
    outside: Mapping[str, Sequence[Hydrograph]]
    works: Works

    def over(self, elements: Sequence[Element]) -> Arrivals:
        """Return the same arrivals with the rain on elements whose dimensions have changed."""
        return replace(self, open_m2=_open_m2(elements))

    def of(self, storm: Storm, step_s: float) -> StormInflow:
        """Return a storm's inflow, stepped until the last hydrograph has run out."""
        parts: dict[str, list[Hydrograph]] = {name: [] for name in self.open_m2}
        for name, ground in self.catchments.items():
            parts[name].append(
                hydrograph(
                    storm,
                    ground.area_m2,
                    concentration_h=ground.concentration_h,
                    curve_number=ground.curve_number,
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
        for name, area_m2 in self.roofs_m2.items():
            parts[name].append(
                roof_hydrograph(
                    storm,
                    area_m2,
                    coefficient=self.roof_coefficients[name],
                    first_flush_mm=self.roof_flush_mm[name],
                )
            )
        for name, flows in self.outside.items():
            parts[name] += flows
        ends = [float(one.time_s[-1]) for flows in parts.values() for one in flows]
        last = max([storm.step_s * storm.depth_mm.size, *ends])
        edges = step_s * np.arange(math.ceil(last / step_s) + 1)
        rain_ends_s = storm.step_s * storm.depth_mm.size
        inflow = inflow_of(parts, edges, ends_s=rain_ends_s, name=storm.name)
        return with_rain(inflow, storm, self.open_m2)


def arrivals_of(
    drawn: Sequence[Drawn],
    ground: Ground,
    layers: Mapping[str, GeoDataFrame],
    rasters: Mapping[str, NDArray[Any]],
    works: Works,
    hydrographs: Mapping[str, Hydrograph],
) -> tuple[Arrivals, list[Problem], Received]:
    """Measure the ground of every element.

    Parameters
    ----------
    layers : surfaces, soils and inflow_points.
    rasters : elevation and contributing_area_m2.
    hydrographs : of inflow points, by name.
    """
    problems: list[Problem] = []
    grid = ground.grid
    seeds = ground.seeds.copy()
    seeds[seeds > len(drawn)] = 0  # a discharge point gathers nothing
    found = received(ground.directions, seeds, cell_m=grid.cell_m)
    roofs_m2, roof_coefficients, flush, piped = _roofs(drawn, layers["surfaces"], works, problems)
    labels = np.where(seeds == 0, found.labels, 0).astype(np.int32)
    labels[cells_inside(piped, grid)] = 0  # roof water goes to its tank, not to the ground below
    shares = _coefficients(layers["surfaces"], grid)
    of_curve = np.where(np.isnan(shares), labels, 0).astype(np.int32)
    grounds = _grounds(of_curve, layers, ground, works, problems)
    catchments, hard = {}, {}
    for number, one in enumerate(drawn, start=1):
        own = shares[(labels == number) & ~np.isnan(shares)]
        if number not in grounds and not own.size:
            continue
        name = one.element.element_id
        hours = _concentration(number, found, seeds, ground, rasters, works)
        if number in grounds:
            here = grounds[number]
            catchments[name] = Catchment(here.area_m2, here.curve_number, hours)
        if own.size:
            hard[name] = Hard(own.size * grid.cell_area_m2, float(own.mean()), hours)
    names = [one.element.element_id for one in drawn]
    open_m2 = _open_m2([one.element for one in drawn])
    outside = _outside(layers["inflow_points"], hydrographs, names, ground, found, problems)
    arrivals = Arrivals(
        catchments, hard, roofs_m2, roof_coefficients, flush, open_m2, outside, works
    )
    return arrivals, problems, found


def _coefficients(surfaces: GeoDataFrame, grid: Grid) -> NDArray[np.float64]:
    """Runoff coefficient of each cell of a surface that has one of its own; NaN elsewhere."""
    shares = np.full(grid.shape, np.nan)
    for coefficient, rows in surfaces.groupby("runoff_coefficient"):
        shares[cells_inside(rows.geometry, grid)] = coefficient
    return shares


def _open_m2(elements: Sequence[Element]) -> dict[str, float]:
    return {
        element.element_id: 0.0 if element.kind is Kind.TANK else element.footprint_m2
        for element in elements
    }


def _roofs(
    drawn: Sequence[Drawn], surfaces: GeoDataFrame, works: Works, problems: list[Problem]
) -> tuple[dict[str, float], dict[str, float], dict[str, float], list[Any]]:
    """Area, coefficient and first flush of what drains to each tank, and all its outlines."""
    area, coefficient, flush, piped = {}, {}, {}, []
    own = surfaces["runoff_coefficient"].fillna(works.roof_coefficient)
    by_name = dict(zip(surfaces["name"], zip(surfaces.geometry, own, strict=True), strict=True))
    for one in drawn:
        missing = [name for name in one.roofs if name not in by_name]
        if missing:
            problems.append(
                Problem(
                    Severity.WARNING,
                    f"{one.element.element_id} names surfaces that are not there: "
                    f"{', '.join(missing)}",
                    "write the names of the surfaces input, separated by semicolons",
                    "plan, drawn_tanks",
                )
            )
        found = [by_name[name] for name in one.roofs if name in by_name]
        if found:
            name = one.element.element_id
            areas = [shape.area for shape, _ in found]
            area[name] = float(sum(areas))
            coefficient[name] = composite_coefficient([share for _, share in found], areas)
            flush[name] = one.first_flush_mm
            piped += [shape for shape, _ in found]
    return area, coefficient, flush, piped


def usual_ground(works: Works) -> UsualGround:
    """Return what is taken for ground that the inputs leave open."""
    return UsualGround(works.usual_cover, works.condition, works.usual_soil_group)


def _grounds(
    labels: NDArray[np.int32],
    layers: Mapping[str, GeoDataFrame],
    ground: Ground,
    works: Works,
    problems: list[Problem],
) -> dict[int, LabelGround]:
    """Area and composite curve number of each element's ground."""
    found, assumed_pct = ground_by_label(labels, layers, ground.grid, usual_ground(works))
    if assumed_pct > 1:
        problems.append(
            Problem(
                Severity.NOTICE,
                f"{assumed_pct:.0f} % of the ground that drains to elements has no cover drawn; "
                f"it is taken as {works.usual_cover}",
                "draw it in the surfaces input, or set works.usual_cover",
                "surfaces",
            )
        )
    return found


def _concentration(
    number: int,
    found: Received,
    seeds: NDArray[np.int32],
    ground: Ground,
    rasters: Mapping[str, NDArray[Any]],
    works: Works,
) -> float:
    """Time of concentration along the longest way, by TR-55's segments."""
    head = int(found.heads[number]) if number < found.heads.size else -1
    if head < 0:
        return 0.1
    rows, cols = way_to(ground.directions, head, seeds)
    chainage = np.concatenate([[0.0], np.cumsum(np.hypot(np.diff(rows), np.diff(cols)))])
    levels = np.minimum.accumulate(rasters["elevation"][rows, cols].astype(np.float64))
    if chainage.size < 2 or not np.isfinite(levels).all():
        return 0.1
    chainage = chainage * ground.grid.cell_m
    area = rasters["contributing_area_m2"][rows, cols]
    sheet_n = cover(works.usual_cover).sheet_n
    if works.concentration == "Kirpich":
        fall = max(float(levels[0] - levels[-1]) / float(chainage[-1]), _LEAST_FALL)
        return kirpich_h(float(chainage[-1]), fall)
    flow = PathFlow(rain_2y_24h_mm=works.rain_2y_24h_mm, sheet_n=sheet_n)
    return float(concentration_h(segments_along_path(chainage, levels, area, flow)))


def _outside(
    points: GeoDataFrame,
    hydrographs: Mapping[str, Hydrograph],
    names: Sequence[str],
    ground: Ground,
    found: Received,
    problems: list[Problem],
) -> dict[str, list[Hydrograph]]:
    """Hydrographs of water from outside by element: as given, or of a peak and a volume."""
    flows: dict[str, list[Hydrograph]] = {}
    used = set()
    for number, row in enumerate(points.itertuples(index=False), start=1):
        into = text_of(row, "into") or _reached(row.geometry, names, ground, found)
        name = text_of(row, "name")
        flow = hydrographs.get(name) or _of_peak(row)
        used.add(name)
        if into not in names or flow is None:
            problems.append(
                Problem(
                    Severity.WARNING,
                    f"{name or f'inflow {number}'} was left out: it reaches no element, or has"
                    " neither peak_m3_s and volume_m3 nor a hydrograph",
                    "fill in into, peak_m3_s and volume_m3, or name it as in inputs.inflows",
                    "plan, inflow_points",
                )
            )
            continue
        flows.setdefault(into, []).append(flow)
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
    return flows


def _of_peak(row: Any) -> Hydrograph | None:  # noqa: ANN401 - a row of inflow_points
    peak, volume = number_of(row, "peak_m3_s"), number_of(row, "volume_m3")
    if not (peak > 0 and volume > 0):
        return None
    return peak_and_volume(peak, volume, start_s=3600 * number_of(row, "start_h", 0.0))


def _reached(point: shapely.Point, names: Sequence[str], ground: Ground, found: Received) -> str:
    row, col = (int(v) for v in ground.grid.cell(point.x, point.y))
    if not ground.grid.holds(row, col):
        return ""
    label = int(found.labels[row, col])
    return names[label - 1] if 0 < label <= len(names) else ""
