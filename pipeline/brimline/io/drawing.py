"""An empty plan to draw in, with the layers and columns that a run reads."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from brimline.errors import InputError
from brimline.io.about import About
from brimline.io.frames import empty
from brimline.io.geopackage import write_geopackage
from brimline.layers import Layer
from brimline.layers import drawn as declared

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

_DESCRIPTION: Final = (
    "Draw the design here in any GIS viewer, save, and run brimline again. A column that is left"
    " empty is designed; one that is filled in is kept."
)


def new_plan(path: Path, crs: str, declarations: Sequence[Layer] | None = None) -> None:
    """Write a GeoPackage with every drawing layer, without rows.

    Columns carry their titles, meanings, ranges and allowed values, which viewers offer while
    drawing.

    Parameters
    ----------
    crs : of every layer, the run's own, so that nothing is reprojected.
    declarations : the drawing layers; None takes those of the catalogue.

    Raises
    ------
    InputError
        If there is a file already: a drawing is never overwritten.
    StoreError
        If the file cannot be written.
    """
    if path.exists():
        raise InputError.of(
            "is there already and was left as it is",
            mend="draw in it, or name another file for a new plan.",
            source=str(path),
        )
    if declarations is None:
        declarations = [item for item in declared.ITEMS if isinstance(item, Layer)]
    about = About(title="Plan", description=_DESCRIPTION)
    rows = [(declaration, empty(declaration, crs)) for declaration in declarations]
    write_geopackage(path, rows, crs=crs, about=about)
