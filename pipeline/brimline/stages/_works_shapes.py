"""Drawn rows as elements: what is left empty is designed from the ground and the configuration."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import pandas as pd
import shapely

from brimline.elements import SEALED, Basin, Drain, Layer, Pond, Soak, Swale, Tank, Trapezoid
from brimline.elements.drain import PERMISSIBLE_M_S, RETARDANCE, ROUGHNESS, permissible_m_s
from brimline.errors import Problem, Severity
from brimline.lines.sample import along, surface_at
from brimline.rainfall.infiltration import GreenAmpt

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from geopandas import GeoDataFrame
    from numpy.typing import NDArray
    from shapely.geometry.base import BaseGeometry

    from brimline.config import Works
    from brimline.elements import Element, Shape
    from brimline.grid import Elevation, Grid

LEVEL_STEP_M: Final = 1.0  # along outlines and lines, for their ground levels
# drawing layer: what its unnamed rows are called, with a number
WORDS: Final = {
    "drawn_swales": "swale",
    "drawn_drains": "drain",
    "drawn_ponds": "pond",
    "drawn_basins": "basin",
    "drawn_tanks": "tank",
}
_RAIN_GARDEN_FILL: Final = (Layer(0.45, 0.25),)


@dataclass(frozen=True, slots=True)
class Site:
    """What elements stand on.

    Parameters
    ----------
    levels : float32 (rows, cols) [m]; smoothed survey surface.
    slope_pct : float32 (rows, cols) [%].
    soak_mm_per_h : float32 (rows, cols) tested soakage rate; NaN where it is not known.
    soils : areas of soil, column texture.
    """

    grid: Grid
    levels: Elevation
    slope_pct: NDArray[np.float32]
    soak_mm_per_h: NDArray[np.float32]
    soils: GeoDataFrame
    works: Works

    def level_along(self, line: BaseGeometry) -> NDArray[np.float64]:
        """Ground levels along a line, NaN off the data."""
        points = along(line, LEVEL_STEP_M)
        return surface_at(self.levels, self.grid, points[:, 0], points[:, 1])

    def texture_at(self, shape: BaseGeometry) -> str:
        """Soil texture in the middle of a shape; empty where none is known."""
        at = shape.interpolate(0.5, normalized=True) if shape.geom_type == "LineString" else None
        point = at or shape.representative_point()
        here = self.soils[self.soils.intersects(point)]["texture"].dropna()
        return str(here.iloc[-1]) if len(here) else ""

    def mean_at(self, values: NDArray[np.float32], shape: BaseGeometry) -> float:
        """Mean of a raster along a shape's line or outline; NaN where there is none."""
        line = shape.exterior if shape.geom_type == "Polygon" else shape
        points = shapely.get_coordinates(line)
        row, col = self.grid.cell(points[:, 0], points[:, 1])
        inside = self.grid.holds(row, col)
        found = values[row[inside], col[inside]]
        return float(np.nanmean(found)) if np.isfinite(found).any() else math.nan


@dataclass(slots=True)
class Drawn:
    """An element, where it lies, and what the person said of its ways out.

    Parameters
    ----------
    spills_to : name of what it spills to as drawn; empty follows the ground.
    sill_width_m : as drawn; NaN is designed.
    roofs : names of the surfaces that drain to it.
    first_flush_mm : depth of rain on them that is led away [mm].
    empty : columns of its layer that were left empty.
    """

    element: Element
    shape: BaseGeometry
    spills_to: str = ""
    sill_width_m: float = math.nan
    roofs: tuple[str, ...] = ()
    first_flush_mm: float = 0.0
    empty: frozenset[str] = frozenset()


@dataclass(slots=True)
class Collected:
    """All that was drawn, and what could not be made of it."""

    drawn: list[Drawn] = field(default_factory=list)
    problems: list[Problem] = field(default_factory=list)


def collect(plan: dict[str, GeoDataFrame], site: Site) -> Collected:
    """Make elements of the drawn rows.

    A row that cannot be made into an element is told as a warning and left out.

    Parameters
    ----------
    plan : the layers drawn_swales, drawn_drains, drawn_ponds, drawn_basins and drawn_tanks.
    """
    found = Collected()
    makers = {
        "drawn_swales": _swale,
        "drawn_drains": _drain,
        "drawn_ponds": _pond,
        "drawn_basins": _basin,
        "drawn_tanks": _tank,
    }
    for layer, make in makers.items():
        for name, row in _named(plan[layer], WORDS[layer]):
            try:
                shape = make(name, row, site)
                element = shape.element()
            except ValueError as error:
                found.problems.append(
                    Problem(
                        Severity.WARNING,
                        f"{name} cannot be made and was left out: {error}",
                        "correct its columns or draw it anew",
                        f"plan, {layer}",
                    )
                )
                continue
            found.drawn.append(_with_ways(element, row, site))
    if site.works.infiltration == "Green-Ampt":
        found.problems += _constant_soakage(found.drawn)
    return found


def _constant_soakage(drawn: Sequence[Drawn]) -> list[Problem]:
    """Tell of elements that soak at a constant rate because their soil has no texture."""
    names = [
        one.element.element_id
        for one in drawn
        if one.element.soak.rate_mm_per_h > 0 and one.element.soak.suction_mm == 0
    ]
    if not names:
        return []
    return [
        Problem(
            Severity.NOTICE,
            f"the soil has no texture at {', '.join(names)}: a constant rate is taken for soakage",
            "draw soils with a texture there, or set works.infiltration to constant",
            "elements",
        )
    ]


def drawn_names(plan: Mapping[str, GeoDataFrame]) -> tuple[str, ...]:
    """Names of everything that was drawn as an element, whether it can be made or not."""
    return tuple(name for layer, word in WORDS.items() for name, _ in _named(plan[layer], word))


def _named(rows: GeoDataFrame, word: str) -> Iterator[tuple[str, Any]]:
    for number, row in enumerate(rows.itertuples(index=False), start=1):
        name = row.name if isinstance(row.name, str) and row.name.strip() else f"{word} {number}"
        yield name, row


def _with_ways(element: Element, row: Any, site: Site) -> Drawn:  # noqa: ANN401 - a row of any layer
    roofs = text_of(row, "roofs")
    return Drawn(
        element,
        row.geometry,
        text_of(row, "spills_to"),
        number_of(row, "sill_width_m"),
        tuple(name.strip() for name in roofs.split(";") if name.strip()),
        number_of(row, "first_flush_mm", site.works.first_flush_mm),
        frozenset(name for name in row._fields if pd.isna(getattr(row, name))),
    )


def number_of(row: Any, name: str, usual: float = math.nan) -> float:  # noqa: ANN401
    """Value of a column, or what is usual where it is empty or not there."""
    value = getattr(row, name, None)
    return usual if value is None or pd.isna(value) else float(value)


def text_of(row: Any, name: str) -> str:  # noqa: ANN401
    """Text of a column; empty where there is none."""
    value = getattr(row, name, None)
    return value.strip() if isinstance(value, str) else ""


def _soak(row: Any, site: Site) -> Soak:  # noqa: ANN401
    works = site.works
    rate = number_of(row, "soak_mm_per_h", site.mean_at(site.soak_mm_per_h, row.geometry))
    texture = site.texture_at(row.geometry) if works.infiltration == "Green-Ampt" else ""
    if texture:
        soil = GreenAmpt.of_texture(texture, effective_saturation=works.soil_saturation)
        # a rate tested on site goes before the table's conductivity
        tested = soil.conductivity_mm_per_h if math.isnan(rate) else rate
        return Soak(tested, works.soak_safety_factor, soil.suction_mm, soil.deficit)
    if math.isnan(rate):
        rate = works.usual_soak_mm_per_h
    return Soak(rate, works.soak_safety_factor)


def _slope(row: Any, site: Site) -> float:  # noqa: ANN401
    return max(site.mean_at(site.slope_pct, row.geometry), 0.1)


def _middle(levels: NDArray[np.float64], name: str) -> float:
    if not np.isfinite(levels).any():
        raise ValueError(f"{name} lies where there is no elevation")
    return float(np.nanmedian(levels))


def _swale(name: str, row: Any, site: Site) -> Shape:  # noqa: ANN401
    works = site.works
    ground = _middle(site.level_along(row.geometry), name)
    return Swale(
        name,
        number_of(row, "level_m", ground),
        row.geometry.length,
        _slope(row, site),
        number_of(row, "depth_m", works.swale_depth_m),
        text_of(row, "form") or "trapezoid",  # type: ignore[arg-type] # checked by Swale
        number_of(row, "bottom_m", works.swale_bottom_m),
        number_of(row, "top_m", works.swale_top_m),
        side=number_of(row, "side", works.swale_side),
        upper_side=number_of(row, "side", works.swale_side),
        freeboard_m=number_of(row, "freeboard_m", 0.15),
        soak=_soak(row, site),
    )


def _drain(name: str, row: Any, site: Site) -> Shape:  # noqa: ANN401
    works = site.works
    levels = site.level_along(row.geometry)
    if not np.isfinite(levels[[0, -1]]).all():
        raise ValueError("an end lies where there is no elevation")
    depth = number_of(row, "depth_m", works.drain_depth_m)
    top = float(levels[0]) - depth
    fall_pct = number_of(row, "fall_pct")
    foot = float(levels[-1]) - depth
    if not math.isnan(fall_pct):
        foot = top - fall_pct / 100 * row.geometry.length
    lining = text_of(row, "lining") or "short-grass"
    if lining not in ROUGHNESS and lining not in RETARDANCE:
        raise ValueError(f"lining must be one of {', '.join((*ROUGHNESS, *RETARDANCE))}")
    soil = text_of(row, "soil") or "firm-loam"
    if soil not in PERMISSIBLE_M_S:
        raise ValueError(f"soil must be one of {', '.join(PERMISSIBLE_M_S)}, got {soil}")
    section = Trapezoid(
        number_of(row, "bottom_m", works.drain_bottom_m), number_of(row, "side", works.drain_side)
    )
    fall = (top - foot) / row.geometry.length
    # grass counts where its class of height is said, not for what grows in a ditch by itself
    stands = permissible_m_s(soil, fall, "grass-mixture" if lining in RETARDANCE else "")
    return Drain(
        name,
        top,
        foot,
        row.geometry.length,
        section,
        depth,
        ROUGHNESS.get(lining, lining),
        stands,
        number_of(row, "freeboard_m", 0.10),
        SEALED,
        soil,
    )


def _pond(name: str, row: Any, site: Site) -> Shape:  # noqa: ANN401
    works = site.works
    levels = site.level_along(row.geometry.exterior)
    seepage = number_of(row, "seepage_mm_per_h", 0.0)
    level = number_of(row, "spill_level_m", _middle(levels, name))
    depth = number_of(row, "depth_m", works.pond_depth_m)
    return Pond(
        name,
        row.geometry,
        level,
        depth,
        number_of(row, "side", works.pond_side),
        number_of(row, "shelf_width_m", works.pond_shelf_m),
        freeboard_m=_or_none(number_of(row, "freeboard_m")),
        soak=Soak(seepage, 1.0) if seepage > 0 else SEALED,
        start_share=number_of(row, "start_share", 1.0),
        ground_levels_m=tuple(levels[np.isfinite(levels)].tolist()),
        ground_slope_pct=_slope(row, site),
    )


def _or_none(value: float) -> float | None:
    return None if math.isnan(value) else value


def _basin(name: str, row: Any, site: Site) -> Shape:  # noqa: ANN401
    works = site.works
    form = text_of(row, "form") or "infiltration basin"
    levels = site.level_along(row.geometry.exterior)
    _middle(levels, name)
    depth = number_of(row, "depth_m", works.basin_depth_m)
    fill_m = number_of(row, "fill_depth_m", depth if form == "mulch basin" else 0.0)
    void = number_of(row, "void", works.fill_void)
    fill = (Layer(fill_m, void),) if fill_m > 0 else ()
    if form == "rain garden" and not fill:
        depth, fill = depth + _RAIN_GARDEN_FILL[0].thickness_m, _RAIN_GARDEN_FILL
    return Basin(
        name,
        row.geometry,
        number_of(row, "spill_level_m", float(np.nanmin(levels))),
        _soak(row, site),
        depth,
        number_of(row, "side", 2.0),
        fill,
        number_of(row, "freeboard_m", 0.10),
        ground_slope_pct=_slope(row, site),
        form=form,
        void_assumed=bool(fill) and math.isnan(number_of(row, "void")),
    )


def _tank(name: str, row: Any, site: Site) -> Shape:  # noqa: ANN401
    works = site.works
    ground = surface_at(site.levels, site.grid, [row.geometry.x], [row.geometry.y])
    return Tank(
        name,
        number_of(row, "base_level_m", _middle(ground, name)),
        number_of(row, "volume_m3", works.tank_volume_m3),
        number_of(row, "height_m", works.tank_height_m),
        number_of(row, "overflow_mm", 100.0) / 1000,
        start_share=number_of(row, "start_share", 1.0),
    )
