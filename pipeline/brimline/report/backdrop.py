"""Pictures of the ground: shaded relief, and rasters in the colours of their ramps upon it."""

from __future__ import annotations

import io
from typing import TYPE_CHECKING, Any, Final

import numpy as np
from PIL import Image

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from brimline.grid import Grid
    from brimline.report.ramps import Ramp

_SHADE_FROM: Final = 96.0  # relief is lightened, so that lines and labels stand out on it
_SHADE_FLAT: Final = 208.0  # what level ground has then
_WEIGHT: Final = 0.8  # of a ramp's colour over the relief
_NONE: Final = 255  # class of what is not drawn


def window(grid: Grid, bounds: tuple[float, float, float, float]) -> tuple[slice, slice]:
    """Return the rows and columns whose cells touch a rectangle (west, south, east, north)."""
    west, south, east, north = bounds
    (top, bottom), (left, right) = grid.cell([west, east], [north, south])
    rows = slice(max(int(top), 0), min(int(bottom) + 1, grid.rows))
    cols = slice(max(int(left), 0), min(int(right) + 1, grid.cols))
    return rows, cols


def pixel_shape(shape: tuple[int, int], longest: int) -> tuple[int, int]:
    """Return the rows and columns of a picture no longer than `longest` on either side."""
    share = min(1.0, longest / max(shape))
    return max(1, round(shape[0] * share)), max(1, round(shape[1] * share))


def relief(hillshade: NDArray[np.uint8], longest: int) -> NDArray[np.uint8]:
    """Return light grey relief as uint8 (rows, cols); ground without data is paper white.

    Parameters
    ----------
    longest : pixels of the longer side at most; larger arrays are averaged.
    """
    light = _SHADE_FROM + (255 - _SHADE_FROM) * hillshade.astype(np.float32) / 255
    grey = np.where(hillshade > 0, np.round(light), 252).astype(np.uint8)
    rows, cols = pixel_shape(hillshade.shape, longest)
    if (rows, cols) == hillshade.shape:
        return grey
    return np.asarray(Image.fromarray(grey).resize((cols, rows), Image.Resampling.BOX))


def classes_of(values: NDArray[Any], ramp: Ramp, longest: int) -> NDArray[np.uint8]:
    """Return the ramp's class of the cell beneath each pixel's centre; 255 where there is none."""
    rows, cols = pixel_shape(values.shape, longest)
    row = ((np.arange(rows) + 0.5) * values.shape[0] / rows).astype(np.int64)
    col = ((np.arange(cols) + 0.5) * values.shape[1] / cols).astype(np.int64)
    return ramp.classes(values[np.ix_(row, col)])


def coloured(
    hillshade: NDArray[np.uint8], values: NDArray[Any], ramp: Ramp, longest: int
) -> NDArray[np.uint8]:
    """Return a raster in its ramp's colours over the relief, uint8 (rows, cols, 3)."""
    grey = relief(hillshade, longest).astype(np.float32)[..., None]
    classes = classes_of(values, ramp, longest)
    drawn = classes != _NONE
    colours = np.vstack([ramp.rgb(), np.zeros((1, 3), np.uint8)]).astype(np.float32)
    tint = colours[np.where(drawn, classes, len(colours) - 1)]
    shaded = tint * _WEIGHT * (grey / _SHADE_FLAT) + grey * (1 - _WEIGHT)
    mixed = np.where(drawn[..., None], shaded, grey)
    return np.clip(np.round(mixed), 0, 255).astype(np.uint8)


def jpeg(pixels: NDArray[np.uint8], quality: int = 72) -> bytes:
    """Return a JPEG of grey (rows, cols) or colour (rows, cols, 3) pixels."""
    out = io.BytesIO()
    Image.fromarray(pixels).save(out, "JPEG", quality=quality)
    return out.getvalue()


def palette_png(classes: NDArray[np.uint8], ramp: Ramp) -> bytes:
    """Return a PNG of class numbers in the ramp's colours; class 255 is see-through."""
    image = Image.fromarray(np.where(classes == _NONE, len(ramp.colours), classes).astype(np.uint8))
    image = image.convert("P") if image.mode != "P" else image
    image.putpalette([*ramp.rgb().ravel().tolist(), 0, 0, 0])
    out = io.BytesIO()
    image.save(out, "PNG", transparency=len(ramp.colours))
    return out.getvalue()
