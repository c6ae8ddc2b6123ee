"""What stages hand each other, as files whose bytes repeat.

Rasters are GeoTIFF, layers GeoParquet, tables Parquet, typed values as `values` tells. The
GeoPackage is for people: it carries a moment of writing and is never read by a stage. What reads
and writes is loaded with the first value: a run that keeps everything looks at none.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from brimline.layers import Raster

if TYPE_CHECKING:
    from pathlib import Path

    import pandas as pd
    from numpy.typing import NDArray

    from brimline.grid import Grid
    from brimline.layers import Item


class FileCodec:
    """Writes and reads values of the catalogue; equal values become equal bytes."""

    @property
    def version(self) -> str:
        """Text that changes when the bytes of equal values change."""
        return "1"

    def write(
        self,
        path: Path,
        item: Item,
        value: NDArray[Any] | pd.DataFrame,
        grid: Grid | None,
    ) -> None:
        """Write one file and nothing beside it.

        Parameters
        ----------
        path : may have any name; the format follows from `item`.
        value : array for a raster, GeoDataFrame for a layer, DataFrame for a table.
        grid : where a raster's cells are; None for layers and tables.

        Raises
        ------
        OSError
            If the file cannot be written.
        InternalError
            If the value is not what `item` declares.
        """
        from brimline.io._value_files import bytes_of

        path.write_bytes(bytes_of(item, value, grid))

    def read(self, path: Path, item: Item) -> Any:  # noqa: ANN401 - one of three kinds of value
        """Read what `write` wrote: an array, a GeoDataFrame or a DataFrame."""
        if isinstance(item, Raster):
            from brimline.io.rasters import read_raster

            return read_raster(path).array
        from brimline.io._value_files import frame_of

        return frame_of(path.read_bytes(), item)

    def write_value(self, path: Path, value: object) -> None:
        """Write a typed value; raises as `write` does."""
        from brimline.io.values import value_bytes

        path.write_bytes(value_bytes(value))

    def read_value(self, path: Path) -> object:
        """Read what `write_value` wrote."""
        from brimline.io.values import value_of

        return value_of(path.read_bytes())


def checked(item: Item, value: Any) -> None:  # noqa: ANN401 - it is what is checked
    """Check a value against its declaration.

    Raises
    ------
    InternalError
        Naming everything in which it departs.
    """
    from brimline.io._value_files import check

    check(item, value)
