"""Rasters out and back: published cloud-optimised GeoTIFFs, and plain ones between stages."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final, NamedTuple
from xml.sax.saxutils import escape

import numpy as np
import rasterio
import rasterio.shutil
from pyproj import CRS
from pyproj.enums import WktVersion
from rasterio import windows
from rasterio.errors import RasterioError
from rasterio.io import MemoryFile

import brimline
from brimline._jit import thread_count
from brimline.errors import GridError, StoreError
from brimline.grid import Grid
from brimline.io.atomic import write_bytes, write_text
from brimline.io.crs import canonical

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

    from numpy.typing import NDArray

    from brimline.grid.tiles import Window
    from brimline.layers import Raster

_BLOCK: Final = 256  # small enough that a site of a few hundred cells has overviews
_ROWS: Final = 256  # that statistics look at together, so that they take no second raster
_NONE_16: Final = -32768
_CRS_TAG: Final = "BRIMLINE_CRS"  # GeoTIFF keys do not give a custom CRS back word for word


class OnGrid(NamedTuple):
    """An array and where its cells are."""

    array: NDArray[Any]
    grid: Grid


def stepped(values: NDArray[np.floating], step: float) -> NDArray[np.float32]:
    """Round values to whole multiples of a step, as files that hold multiples give them back."""
    return _values(_multiples(values, step), step)


def write_raster(path: Path, array: NDArray[Any], grid: Grid, declaration: Raster) -> None:
    """Write a cloud-optimised GeoTIFF with overviews, statistics, unit and description.

    The same array gives the same bytes. Where a step is declared the file holds multiples of it, to
    which statistics refer, and the step as scale. Overviews of quantities are averages, those of
    codes and numbers (whole numbers other than shading) are the most common value.

    Parameters
    ----------
    array : (rows, cols) of the declared dtype, or (bands, rows, cols) where bands are declared.

    Raises
    ------
    GridError
        If the array's shape or dtype is not the declared one.
    StoreError
        If the file cannot be written.
    """
    _checked(array, grid, declaration)
    nodata = declaration.nodata
    if declaration.step:
        array, nodata = _multiples(array, declaration.step), _NONE_16
    profile = _profile(array, grid, nodata)
    try:
        with MemoryFile() as memory, MemoryFile(ext=".tif") as published:
            with memory.open(**profile) as file:
                _scaled(file, declaration.step)
                file.update_tags(**_tags(declaration))
                titles = declaration.bands or (declaration.title,)
                for band, (title, values) in enumerate(zip(titles, _bands(array), strict=True), 1):
                    file.write(values, band)
                    file.set_band_description(band, title)
                    if declaration.unit:
                        file.set_band_unit(band, declaration.unit)
                    file.update_tags(band, **_statistics(values, nodata))
            options = _cog_options(declaration)
            rasterio.shutil.copy(memory.name, published.name, driver="COG", **options)
            content = published.read()
    except RasterioError as fault:
        raise StoreError(f"{path} could not be written: {fault}") from fault
    write_bytes(path, content)  # not by GDAL, which passes over a full disk when it closes a file


def write_tile(path: Path, array: NDArray[Any], grid: Grid, declaration: Raster) -> None:
    """Write one tile of a raster as a GeoTIFF, quick to make, in blocks that any program reads.

    Raises
    ------
    GridError
        If the array's shape or dtype is not the declared one.
    StoreError
        If the file cannot be written.
    """
    _checked(array, grid, declaration)
    profile = _profile(array, grid, declaration.nodata) | {
        "tiled": True,
        "blockxsize": _BLOCK,
        "blockysize": _BLOCK,
        "compress": "DEFLATE",
        "zlevel": 1,
        # of doubles most bytes are alike anyway: measured as small, in two thirds of the time
        "predictor": {"float64": 1, "float32": 3}.get(array.dtype.name, 2),
        "bigtiff": "IF_SAFER",
    }
    try:
        with MemoryFile() as memory:
            with memory.open(**profile) as file:
                file.write(array, 1)
                file.update_tags(**_tags(declaration))
            content = memory.read()
    except RasterioError as fault:
        raise StoreError(f"{path} could not be written: {fault}") from fault
    write_bytes(path, content)


def write_mosaic(path: Path, tiles: dict[Path, Window], grid: Grid, declaration: Raster) -> None:
    """Write a VRT, which any viewer that is built on GDAL opens as one raster.

    Parameters
    ----------
    tiles : by file, its cells on `grid`; files beside or below `path`.
    """
    kind = {"float32": "Float32", "float64": "Float64", "uint8": "Byte", "int32": "Int32"}
    nodata = declaration.nodata
    told = "" if nodata is None else f"<NoDataValue>{nodata:g}</NoDataValue>"
    place = ", ".join(f"{number!r}" for number in grid.transform.to_gdal())
    wkt = escape(CRS.from_user_input(grid.crs).to_wkt(WktVersion.WKT1_GDAL)) if grid.crs else ""
    lines = [
        f'<VRTDataset rasterXSize="{grid.cols}" rasterYSize="{grid.rows}">',
        f'<SRS dataAxisToSRSAxisMapping="1,2">{wkt}</SRS>' if wkt else "",
        f"<GeoTransform>{place}</GeoTransform>",
        f'<VRTRasterBand dataType="{kind[declaration.dtype]}" band="1">',
        f"<Description>{escape(declaration.title)}</Description>{told}",
    ]
    for file, at in tiles.items():
        name = escape(file.relative_to(path.parent).as_posix())
        lines.append(
            f'<SimpleSource><SourceFilename relativeToVRT="1">{name}</SourceFilename>'
            f'<SourceBand>1</SourceBand><SourceProperties RasterXSize="{at.cols}"'
            f' RasterYSize="{at.rows}" DataType="{kind[declaration.dtype]}" BlockXSize="{_BLOCK}"'
            f' BlockYSize="{_BLOCK}"/>'
            f'<SrcRect xOff="0" yOff="0" xSize="{at.cols}" ySize="{at.rows}"/>'
            f'<DstRect xOff="{at.col}" yOff="{at.row}" xSize="{at.cols}" ySize="{at.rows}"/>'
            "</SimpleSource>"
        )
    lines.append("</VRTRasterBand></VRTDataset>")
    write_text(path, "\n".join(lines) + "\n")


def plain_bytes(
    array: NDArray[Any],
    grid: Grid,
    *,
    nodata: float | None,
    step: float | None = None,
    tags: Mapping[str, str] | None = None,
) -> bytes:
    """Return a GeoTIFF without extras, quick to make and read, same bytes each time.

    Lossless, but for values that are no multiples of a `step` where one is given.

    Parameters
    ----------
    tags : what the file says of itself besides.

    Raises
    ------
    GridError
        If the array's shape is not the grid's.
    StoreError
        If GDAL cannot make it.
    """
    if array.shape[-2:] != grid.shape:
        raise GridError(f"array {array.shape} does not fit its grid {grid.shape}")
    if step:
        array, nodata = _multiples(array, step), _NONE_16
    profile = _profile(array, grid, nodata) | {
        "tiled": True,
        "blockxsize": 512,
        "blockysize": 512,
        "compress": "ZSTD",
        "zstd_level": 1,
        "predictor": 3 if array.dtype.kind == "f" else 2,
        "bigtiff": "IF_SAFER",
        "num_threads": min(2, thread_count()),
    }
    try:
        with MemoryFile() as memory:
            with memory.open(**profile) as file:
                _scaled(file, step)
                file.write(_bands(array))
                file.update_tags(**{_CRS_TAG: grid.crs}, **(tags or {}))
            content: bytes = memory.read()
    except RasterioError as fault:
        raise StoreError(f"a raster could not be written: {fault}") from fault
    return content


def read_raster(path: Path) -> OnGrid:
    """Read a raster that brimline wrote, and its grid; of one band as (rows, cols).

    Raises
    ------
    StoreError
        If it cannot be read or is not on a north-up grid of square cells.
    """
    try:
        with rasterio.open(path) as file:
            transform = file.transform
            if transform.b or transform.d or abs(transform.a + transform.e) > 1e-9 * transform.a:
                raise StoreError(f"{path} is not on a north-up grid of square cells")
            grid = Grid(
                file.height, file.width, transform.a, transform.c, transform.f, _crs_text(file)
            )
            array = file.read(1) if file.count == 1 else file.read()
            steps = file.dtypes[0] == "int16"  # no raster is declared so
            return OnGrid(_values(array, file.scales[0]) if steps else array, grid)
    except RasterioError as fault:
        raise StoreError(f"{path} could not be read: {fault}") from fault


def read_block(path: Path, window: Window) -> NDArray[Any]:
    """Read a block of the first band of a raster that brimline wrote, as stored.

    Raises
    ------
    StoreError
        If it cannot be read.
    """
    block = windows.Window(window.col, window.row, window.cols, window.rows)
    try:
        with rasterio.open(path) as file:
            array: NDArray[Any] = file.read(1, window=block)
    except RasterioError as fault:
        raise StoreError(f"{path} could not be read: {fault}") from fault
    return array


def _multiples(values: NDArray[Any], step: float) -> NDArray[np.int16]:
    """Whole multiples of a step, which must lie within ±32 767 of it."""
    known = np.isfinite(values)
    counts = np.rint(np.where(known, values, 0) / step)
    if counts.size and np.abs(counts).max() >= -_NONE_16:
        raise GridError(
            f"values to {np.abs(counts).max() * step:g} cannot be held in steps of {step:g}"
        )
    return np.where(known, counts, _NONE_16).astype(np.int16)


def _values(counts: NDArray[Any], step: float) -> NDArray[np.float32]:
    found = counts.astype(np.float32) * np.float32(step)
    found[counts == _NONE_16] = np.nan
    return found


def _scaled(file: Any, step: float | None) -> None:  # noqa: ANN401 - a dataset
    if step:
        file.scales = (step,) * file.count


def _checked(array: NDArray[Any], grid: Grid, declaration: Raster) -> None:
    if array.shape != declaration.shape(grid.shape):
        raise GridError(f"{declaration.name} {array.shape} does not fit its grid {grid.shape}")
    if array.dtype != np.dtype(declaration.dtype):
        raise GridError(f"{declaration.name} must be {declaration.dtype}, got {array.dtype}")


def _profile(array: NDArray[Any], grid: Grid, nodata: float | None) -> dict[str, Any]:
    return {
        "driver": "GTiff",
        "count": len(_bands(array)),
        "height": grid.rows,
        "width": grid.cols,
        "dtype": array.dtype.name,
        "crs": grid.crs or None,
        "transform": grid.transform,
        "nodata": nodata,
    }


def _bands(array: NDArray[Any]) -> NDArray[Any]:
    return array if array.ndim == 3 else array[np.newaxis]


def _cog_options(declaration: Raster) -> dict[str, str]:
    return {
        "COMPRESS": "DEFLATE",  # read everywhere, zstd is not
        "LEVEL": "1",  # 6 takes twice the time for 3 % less of a survey
        "PREDICTOR": "YES",
        "BLOCKSIZE": str(_BLOCK),
        "OVERVIEWS": "AUTO",
        "RESAMPLING": "MODE" if declaration.codes else "AVERAGE",
        "BIGTIFF": "IF_SAFER",
        "NUM_THREADS": str(min(2, thread_count())),
    }


def _tags(declaration: Raster) -> dict[str, str]:
    return {
        "TITLE": declaration.title,
        "DESCRIPTION": declaration.meaning,
        "TIFFTAG_DOCUMENTNAME": declaration.name,
        "TIFFTAG_IMAGEDESCRIPTION": f"{declaration.title}. {declaration.meaning}",
        "TIFFTAG_SOFTWARE": f"brimline {brimline.__version__}",
    }


def _statistics(array: NDArray[Any], nodata: float | None) -> dict[str, str]:
    """Statistics as GDAL names them, over the cells that hold data."""
    count, total, squares, least, most = 0, 0.0, 0.0, np.inf, -np.inf
    middle = 0.0  # near the mean, so that squares do not swallow small deviations
    for top in range(0, array.shape[0], _ROWS):
        block = array[top : top + _ROWS]
        valid = np.isfinite(block) if block.dtype.kind == "f" else np.ones(block.shape, np.bool_)
        if nodata is not None and not np.isnan(nodata):
            valid &= block != nodata
        values = block[valid].astype(np.float64)
        if not values.size:
            continue
        if not count:
            middle = float(values.mean())
        least, most = min(least, float(values.min())), max(most, float(values.max()))
        values -= middle
        count += values.size
        total += float(values.sum())
        squares += float(np.square(values).sum())
    if not count:
        return {"STATISTICS_VALID_PERCENT": "0"}
    mean = total / count
    return {
        "STATISTICS_MINIMUM": f"{least:.17g}",
        "STATISTICS_MAXIMUM": f"{most:.17g}",
        "STATISTICS_MEAN": f"{middle + mean:.17g}",
        "STATISTICS_STDDEV": f"{max(squares / count - mean * mean, 0.0) ** 0.5:.17g}",
        "STATISTICS_VALID_PERCENT": f"{100 * count / array.size:.4g}",
    }


def _crs_text(file: Any) -> str:  # noqa: ANN401
    told = file.tags().get(_CRS_TAG)
    if told is not None:
        return str(told)
    return canonical(CRS.from_wkt(file.crs.to_wkt())) if file.crs else ""
