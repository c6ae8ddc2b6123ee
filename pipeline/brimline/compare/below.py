"""Ground that nobody worked on between two surveys: where a shift of all of one shows itself."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import shapely

from brimline.errors import InputError
from brimline.grid.shapes import cells_inside
from brimline.io.vectors import read_layer

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from brimline.grid import BoolGrid, Grid
    from brimline.io.runs import RunFolder

_MARGIN_M: Final = 10.0  # round every element: banks, wings, spoil and wheels
_LEAST_SHARE: Final = 0.2  # of what is compared; with less left, all of it is taken


def stable_ground(
    runs: Sequence[RunFolder], grid: Grid, compared: BoolGrid, drawn: Path | None
) -> tuple[BoolGrid, str]:
    """Find the ground on which a shift is sought.

    Parameters
    ----------
    compared : bool (rows, cols); cells with a level in both surveys.
    drawn : file of polygons of stable ground; None takes what lies off the elements.

    Returns
    -------
    bool (rows, cols), and in words where it is from.

    Raises
    ------
    InputError
        If the polygons cannot be read or lie on nothing that is compared.
    """
    if drawn is not None:
        shapes = read_layer(drawn, kinds={"polygon"}, crs=grid.crs).usable().geometry
        found: BoolGrid = cells_inside(shapes, grid) & compared
        if not found.any():
            raise InputError.of(
                "covers no ground that both runs have",
                mend="draw polygons on ground that lies in both surveys",
                source=str(drawn),
            )
        return found, f"the polygons of {drawn.name}"
    works = [shape for run in runs for shape in _elements(run)]
    if not works:
        return compared, "all ground: the runs have no elements"
    near = cells_inside([shapely.union_all(shapely.buffer(works, _MARGIN_M))], grid)
    off = compared & ~near
    if off.sum() < _LEAST_SHARE * compared.sum():
        return compared, "all ground: little of it lies off the elements"
    return off, f"ground farther than {_MARGIN_M:g} m from every element"


def _elements(run: RunFolder) -> list[shapely.Geometry]:
    rows = run.layer("elements")
    return [] if rows is None else [shape for shape in rows.geometry if shape is not None]
