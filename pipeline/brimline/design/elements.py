"""Drawn rows as elements: what is left open is designed from the ground."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final, TypeVar

import numpy as np

from brimline.design.extent import bank_flat_m, ground_under_bank
from brimline.design.flooded import flooded, spillway_past
from brimline.design.plan import (
    DrawnBasin,
    DrawnBed,
    DrawnDam,
    DrawnDrain,
    DrawnElement,
    DrawnPond,
    DrawnSwale,
    DrawnTank,
)
from brimline.elements import (
    FILLS,
    SEALED,
    Basin,
    Dam,
    Drain,
    FillLayer,
    Pit,
    Pond,
    RaisedBed,
    Soak,
    Swale,
    Tank,
    Trapezoid,
)
from brimline.elements.building import Building
from brimline.elements.drain import PERMISSIBLE_M_S, RETARDANCE, ROUGHNESS, permissible_m_s
from brimline.errors import Problem, Severity
from brimline.lines.sample import levels_of
from brimline.rainfall.infiltration import GreenAmpt

if TYPE_CHECKING:
    from collections.abc import Iterable, MutableMapping, Sequence

    from numpy.typing import NDArray
    from shapely.geometry.base import BaseGeometry

    from brimline.design.rules import UsualWater
    from brimline.design.standing import StandingGround
    from brimline.elements import Element, Shape

_Bowl = TypeVar("_Bowl", Pond, Basin)

_USUAL_BUILDING: Final = Building()
_TRUE_M: Final = 0.005  # a rim is cut no truer
_RIM_M: Final = 0.10  # that water may stand over the sill of what has no bank
_SUNKEN_SILL_M: Final = 0.03  # common practice, no source
_RAIN_GARDEN_FILL: Final = (FillLayer(0.45, 0.25),)
_SPILLWAY_WIDTH_M: Final = 3.0  # that a dam's spillway is laid for before it is sized
_SPILL_HEAD_M: Final = 0.3  # of water over a dam's spillway, beneath the freeboard
_TANK_RIM_M: Final = 0.3  # from the overflow to the lid


@dataclass(frozen=True, slots=True, eq=False)
class PlacedElement:
    """An element, where it lies, and what the person said of its ways out.

    Parameters
    ----------
    shape : as drawn.
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
    empty: tuple[str, ...] = ()

    @property
    def name(self) -> str:
        """Name of the element."""
        return self.element.element_id


def placed_elements(
    rows: Iterable[DrawnElement],
    ground: StandingGround,
    water: UsualWater,
    how: Building = _USUAL_BUILDING,
    made: MutableMapping[int, tuple[DrawnElement, Element]] | None = None,
) -> tuple[list[PlacedElement], list[Problem]]:
    """Make elements of drawn rows.

    A row that cannot be made into an element is told as a warning and left out.

    Parameters
    ----------
    made : elements made before on the same ground, by the identity of their row; added to.
    """
    made = {} if made is None else made
    placed: list[PlacedElement] = []
    problems: list[Problem] = []
    for row in rows:
        try:
            if id(row) not in made:  # the row is kept, so that its identity stays its own
                made[id(row)] = row, _shape_of(row, ground, water, how).element()
            element = made[id(row)][1]
        except ValueError as error:
            problems.append(
                Problem(
                    Severity.WARNING,
                    f"{row.name} cannot be made and was left out: {error}",
                    "correct its columns or draw it anew",
                    f"plan, {row.LAYER}",
                )
            )
            continue
        placed.append(_placed(element, row))
    if water.infiltration == "Green-Ampt":
        problems += _constant_soakage(placed)
    return placed, problems


def _placed(element: Element, row: DrawnElement) -> PlacedElement:
    roofs, flush = (row.roofs, row.first_flush_mm) if isinstance(row, DrawnTank) else ("", 0.0)
    return PlacedElement(
        element,
        element.shape.outline if isinstance(element.shape, Dam) else row.shape,
        row.spills_to,
        math.nan if isinstance(row, DrawnDrain | DrawnTank | DrawnBed) else row.sill_width_m,
        tuple(name.strip() for name in roofs.split(";") if name.strip()),
        flush,
        row.empty,
    )


def _constant_soakage(placed: Sequence[PlacedElement]) -> list[Problem]:
    """Tell of elements that soak at a constant rate because their soil has no texture."""
    names = [
        one.name
        for one in placed
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


def _shape_of(row: DrawnElement, ground: StandingGround, water: UsualWater, how: Building) -> Shape:
    match row:
        case DrawnSwale():
            return _swale(row, ground, water)
        case DrawnDrain():
            return _drain(row, ground)
        case DrawnPond():
            return _with_toe(_pond(row, ground), ground, how)
        case DrawnBasin():
            return _with_toe(_basin(row, ground, water), ground, how)
        case DrawnTank():
            return _tank(row, ground)
        case DrawnBed():
            return _bed(row, ground)
        case DrawnDam():
            return _dam(row, ground)


def _or(value: float, designed: float) -> float:
    return designed if math.isnan(value) else value


def _soak(row: DrawnSwale | DrawnBasin, ground: StandingGround, water: UsualWater) -> Soak:
    rate = _or(row.soak_mm_per_h, ground.soak_at(row.shape))
    texture = ground.texture_at(row.shape) if water.infiltration == "Green-Ampt" else ""
    if texture:
        soil = GreenAmpt.of_texture(texture, effective_saturation=water.soil_saturation)
        # a rate tested on site goes before the table's conductivity
        tested = _or(rate, soil.conductivity_mm_per_h)
        return Soak(tested, water.soak_safety_factor, soil.suction_mm, soil.deficit)
    return Soak(_or(rate, water.soak_mm_per_h), water.soak_safety_factor)


def _over(crest_level_m: float, level_m: float) -> float | None:
    """Height of a crest over a level; None where it was left open."""
    return None if math.isnan(crest_level_m) else crest_level_m - level_m


def _middle(levels: NDArray[np.float64], name: str) -> float:
    if not np.isfinite(levels).any():
        raise ValueError(f"{name} lies where there is no elevation")
    return float(np.nanmedian(levels))


def _swale(row: DrawnSwale, ground: StandingGround, water: UsualWater) -> Swale:
    level = _or(row.level_m, _middle(ground.level_along(row.shape), row.name))
    return Swale(
        row.name,
        level,
        row.shape.length,
        ground.slope_at(row.shape),
        row.depth_m,
        row.form,  # type: ignore[arg-type] # checked by Swale
        row.bottom_m,
        row.top_m,
        side=row.side,
        upper_side=row.side,
        freeboard_m=row.freeboard_m,
        soak=_soak(row, ground, water),
        crest_over_line_m=_over(row.crest_level_m, level),
    )


def _drain(row: DrawnDrain, ground: StandingGround) -> Drain:
    levels = ground.level_along(row.shape)
    if not np.isfinite(levels[[0, -1]]).all():
        x, y = row.shape.coords[0 if not np.isfinite(levels[0]) else -1][:2]
        raise ValueError(f"its end at {x:.1f}, {y:.1f} lies where there is no elevation")
    top = float(levels[0]) - row.depth_m
    foot = float(levels[-1]) - row.depth_m
    if not math.isnan(row.fall_pct):
        foot = top - row.fall_pct / 100 * row.shape.length
    if row.lining not in ROUGHNESS and row.lining not in RETARDANCE:
        raise ValueError(f"lining must be one of {', '.join((*ROUGHNESS, *RETARDANCE))}")
    if row.soil not in PERMISSIBLE_M_S:
        raise ValueError(f"soil must be one of {', '.join(PERMISSIBLE_M_S)}, got {row.soil}")
    fall = (top - foot) / row.shape.length
    # grass counts where its class of height is said, not for what grows in a ditch by itself
    grown = "grass-mixture" if row.lining in RETARDANCE else ""
    return Drain(
        row.name,
        top,
        foot,
        row.shape.length,
        Trapezoid(row.bottom_m, row.side),
        row.depth_m,
        ROUGHNESS.get(row.lining, row.lining),
        permissible_m_s(row.soil, fall, grown),
        row.freeboard_m,
        SEALED,
        row.soil,
    )


def _pond(row: DrawnPond, ground: StandingGround) -> Pond:
    levels = ground.level_along(row.shape.exterior)
    middle_m, sunken = _middle(levels, row.name), row.edge == "sunken"
    spill_m = _sunken_spill_m(row, levels) if sunken else _or(row.spill_level_m, middle_m)
    return Pond(
        row.name,
        row.shape,
        spill_m,
        row.depth_m,
        row.side,
        row.shelf_width_m,
        row.shelf_depth_m,
        freeboard_m=_or_none(row.freeboard_m, 0.0 if sunken else None),
        crest_over_spill_m=_or_none(row.crest_level_m - spill_m, _RIM_M if sunken else None),
        soak=Soak(row.seepage_mm_per_h, 1.0) if row.seepage_mm_per_h > 0 else SEALED,
        start_share=row.start_share,
        ground_levels_m=() if sunken else tuple(levels[np.isfinite(levels)].tolist()),
        ground_slope_pct=ground.slope_at(row.shape),
        lining=row.lining,
        sheet_m=row.sheet_m,
        sunken=sunken,
    )


def _with_toe(made: _Bowl, ground: StandingGround, how: Building) -> _Bowl:
    """Look for the lowest ground under the bank round a pond or basin."""
    if made.sunken:
        return made
    element = made.element()
    crest_m = element.crest_level_m
    flat_m = bank_flat_m(made.side, crest_m - element.spill_level_m, how)
    _, levels = ground_under_bank(made.outline, crest_m, flat_m, how.outer, ground)
    return replace(made, toe_level_m=float(levels.min())) if levels.size else made


def _sunken_spill_m(row: DrawnPond | DrawnBasin, levels: NDArray[np.float64]) -> float:
    """Level of the sill of what has no bank: cut into the lowest place of its rim."""
    rim_m = float(np.nanmin(levels))
    spill_m = _or(row.spill_level_m, rim_m - _SUNKEN_SILL_M)
    if spill_m > rim_m + _TRUE_M:
        raise ValueError(
            f"a sunken {row.WORD} cannot hold water at {spill_m:.2f} m, its rim is as low as"
            f" {rim_m:.2f} m; leave spill_level_m empty, or set edge to bank"
        )
    return spill_m


def _dam(row: DrawnDam, ground: StandingGround) -> Dam:
    levels = ground.level_along(row.shape)
    if not np.isfinite(levels).any():
        raise ValueError(f"{row.name} lies where there is no elevation")
    lowest_m = float(np.nanmin(levels))
    spill_m = _or(row.spill_level_m, lowest_m + row.depth_m)
    crest_m = _or(row.crest_level_m, spill_m + row.freeboard_m + _SPILL_HEAD_M)
    sides = row.upstream_side, row.downstream_side
    pool = flooded(ground.levels, ground.grid, row.shape, spill_m, crest_m, row.top_m, sides)
    width_m = _or(row.sill_width_m, _SPILLWAY_WIDTH_M)
    way = spillway_past(
        lambda x, y: levels_of(ground.levels, ground.grid, x, y), row.shape, pool.outline, spill_m,
        crest_m, (row.top_m, row.downstream_side, width_m),
    )  # fmt: skip
    return Dam(
        row.name, row.shape, pool.outline, pool.bed_m, ground.grid.cell_area_m2, spill_m,
        min(lowest_m, pool.toe_level_m), way, width_m, crest_m - spill_m, row.top_m,
        *sides, row.freeboard_m,
        Soak(row.seepage_mm_per_h, 1.0) if row.seepage_mm_per_h > 0 else SEALED, row.start_share,
        ground.slope_at(row.shape),
    )  # fmt: skip


def _or_none(value: float, designed: float | None) -> float | None:
    return designed if math.isnan(value) else value


def _basin(row: DrawnBasin, ground: StandingGround, water: UsualWater) -> Basin:
    levels = ground.level_along(row.shape.exterior)
    _middle(levels, row.name)
    sunken = row.edge == "sunken"
    lowest_m = float(np.nanmin(levels))
    spill_m = _sunken_spill_m(row, levels) if sunken else _or(row.spill_level_m, lowest_m)
    depth = row.depth_m
    mulch = row.form == "mulch basin"
    kind = FILLS["woodchips" if mulch else "gravel"] if not row.fill else FILLS[row.fill]
    fill_m = _or(row.fill_depth_m, depth if mulch or row.fill else 0.0)
    void = kind.void if row.fill and "void" in row.empty else row.void
    fill = (FillLayer(fill_m, void, _or(row.settle_share, kind.settles)),) if fill_m > 0 else ()
    if row.form == "rain garden" and not fill:
        depth, fill = depth + _RAIN_GARDEN_FILL[0].thickness_m, _RAIN_GARDEN_FILL
    return Basin(
        row.name,
        row.shape,
        spill_m,
        _soak(row, ground, water),
        depth,
        row.side,
        fill,
        0.0 if sunken and "freeboard_m" in row.empty else row.freeboard_m,
        _over(row.crest_level_m, spill_m),
        ground_slope_pct=ground.slope_at(row.shape),
        ground_levels_m=tuple(levels[np.isfinite(levels)].tolist()),
        form=row.form,
        sunken=sunken,
        void_assumed=bool(fill) and "void" in row.empty,
    )


def _tank(row: DrawnTank, ground: StandingGround) -> Tank:
    level = ground.level_at(row.shape)
    if math.isnan(level):
        raise ValueError(f"{row.name} lies where there is no elevation")
    buried = not math.isnan(row.cover_m)
    stands_m = level - row.cover_m - _TANK_RIM_M - row.height_m if buried else level
    base_m = _or(row.base_level_m, stands_m)
    return Tank(
        row.name,
        base_m,
        row.volume_m3,
        row.height_m,
        row.overflow_mm / 1000,
        _TANK_RIM_M,
        row.start_share,
        Pit(level - base_m + row.bedding_m, row.bedding_m, row.side) if buried else None,
    )


def _bed(row: DrawnBed, ground: StandingGround) -> RaisedBed:
    level = _middle(ground.level_along(row.shape.exterior), row.name)
    return RaisedBed(
        row.name,
        row.shape,
        _or(row.base_level_m, level),
        row.reservoir_m,
        row.soil_m,
        row.wall_m,
        row.void,
        row.overflow_mm / 1000,
        row.start_share,
        void_assumed="void" in row.empty,
    )
