"""Ground that nobody worked on between two surveys: where a shift of all of one shows itself."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import shapely

from brimline.grid.shapes import cells_inside

if TYPE_CHECKING:
    from collections.abc import Sequence

    from brimline.compare.runs import SiteRun
    from brimline.grid import BoolGrid, Grid

_MARGIN_M: Final = 10.0  # round every element: banks, wings, spoil and wheels
_LEAST_SHARE: Final = 0.2  # of what is compared; with less left, all of it is taken


def off_the_works(runs: Sequence[SiteRun], grid: Grid, compared: BoolGrid) -> tuple[BoolGrid, str]:
    """Find the ground on which a shift is sought: farther than a margin from every element.

    Parameters
    ----------
    compared : bool (rows, cols); cells with a level in both surveys.

    Returns
    -------
    bool (rows, cols), and in words where it is from.
    """
    works = [one.shape for run in runs for one in run.elements]
    if not works:
        return compared, "all ground: the runs have no elements"
    near = cells_inside([shapely.union_all(shapely.buffer(works, _MARGIN_M))], grid)
    off = compared & ~near
    if off.sum() < _LEAST_SHARE * compared.sum():
        return compared, "all ground: little of it lies off the elements"
    return off, f"ground farther than {_MARGIN_M:g} m from every element"
