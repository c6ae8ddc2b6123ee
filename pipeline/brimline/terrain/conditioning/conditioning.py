"""From the surveyed ground to the surface that water is routed on, in one call."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal, TypedDict

from brimline.errors import GridError
from brimline.grid import checked_elevation
from brimline.terrain.conditioning import _kernels
from brimline.terrain.conditioning.breaching import breach
from brimline.terrain.conditioning.burning import Burned, burn
from brimline.terrain.conditioning.filling import fill

if TYPE_CHECKING:
    from collections.abc import Iterable

    from numpy.typing import ArrayLike

    from brimline.grid import BoolGrid, Elevation

Mode = Literal["breach", "fill", "none"]


class OpeningRule(TypedDict):
    """How dams are opened, as `condition` and `opened_surface` take it."""

    mode: Mode
    max_depth_m: float
    max_length_m: float


@dataclass(frozen=True, slots=True)
class Change:
    """How one surface differs from another on the cells that both have."""

    raised_cells: int
    lowered_cells: int
    deepest_fill_m: float
    deepest_cut_m: float
    fill_m3: float
    cut_m3: float


@dataclass(frozen=True, slots=True)
class Conditioned:
    """A surface that water can leave, and what was done to the ground for it.

    Parameters
    ----------
    surface : float32 (rows, cols) [m]; NaN at nodata.
    opened : what burning and breaching cut.
    filled : what filling raised, on top of that.
    left_out : numbers, from 0, of the lines with no ground at an end, which were not burned.
    """

    surface: Elevation
    opened: Change
    filled: Change
    left_out: tuple[int, ...]


def change(before: Elevation, after: Elevation, *, cell_m: float) -> Change:
    """Sum up how a surface was changed.

    Parameters
    ----------
    before, after : float32 (rows, cols) [m]; NaN is nodata.
    cell_m : side of a cell [m].
    """
    raised, lowered, up, down, up_sum, down_sum = _kernels.change(before, after)
    area_m2 = cell_m * cell_m
    return Change(raised, lowered, up, down, up_sum * area_m2, down_sum * area_m2)


def condition(
    dem: Elevation,
    *,
    cell_m: float,
    mode: Mode = "breach",
    max_depth_m: float = 1.0,
    max_length_m: float = 30.0,
    burns: Iterable[ArrayLike] = (),
    sinks: BoolGrid | None = None,
) -> Conditioned:
    """Burn pipes, breach what is cheap to breach, and fill what is left.

    Parameters
    ----------
    dem : float32 (rows, cols) [m]; NaN is nodata. Not modified.
    cell_m : side of a cell [m].
    mode : ``"breach"`` breaches within limits and fills the rest, ``"fill"`` only fills,
        ``"none"`` only burns: water then ends in the pits.
    max_depth_m, max_length_m : limits of a breach [m], as in `breach`.
    burns : pipes and drains, as in `burn`.
    sinks : bool (rows, cols), optional
        Cells that are kept as sinks: not filled and not breached through. Give them to
        `flow_directions` too.

    Raises
    ------
    GridError
        If an array or a number breaks the contract of `burn`, `breach` or `fill`, or the mode is
        not one of the three.
    """
    ground = checked_elevation(dem)
    burned, opened = _opened(ground, cell_m, mode, max_depth_m, max_length_m, burns, sinks)
    surface = opened if mode == "none" else fill(opened, sinks=sinks)
    return Conditioned(
        surface=surface,
        opened=change(ground, opened, cell_m=cell_m),
        filled=change(opened, surface, cell_m=cell_m),
        left_out=burned.left_out,
    )


def opened_surface(
    dem: Elevation,
    *,
    cell_m: float,
    mode: Mode = "breach",
    max_depth_m: float = 1.0,
    max_length_m: float = 30.0,
    burns: Iterable[ArrayLike] = (),
) -> Elevation:
    """Return the surface with its pipes burned and its short dams breached; nothing is filled.

    Parameters and errors are those of `condition`.
    """
    ground = checked_elevation(dem)
    return _opened(ground, cell_m, mode, max_depth_m, max_length_m, burns, None)[1]


def _opened(
    ground: Elevation,
    cell_m: float,
    mode: Mode,
    max_depth_m: float,
    max_length_m: float,
    burns: Iterable[ArrayLike],
    sinks: BoolGrid | None,
) -> tuple[Burned, Elevation]:
    """Burn, and breach where the mode says so."""
    if mode not in ("breach", "fill", "none"):
        raise GridError(f"mode must be breach, fill or none, got {mode!r}")
    burned = burn(ground, burns, cell_m=cell_m)
    if mode != "breach":
        return burned, burned.surface
    opened = breach(
        burned.surface,
        cell_m=cell_m,
        max_depth_m=max_depth_m,
        max_length_m=max_length_m,
        sinks=sinks,
    )
    return burned, opened
