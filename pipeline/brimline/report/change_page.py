"""``compare.html``: what changed between two runs, what no longer holds first."""

from __future__ import annotations

import base64
import io
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import pandas as pd
from PIL import Image

from brimline.layers import layer
from brimline.report.palette import theme_colours
from brimline.report.templates import environment
from brimline.units import shown

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import NDArray

    from brimline.grid import Elevation, Grid, Labels

_LONGEST: Final = 1200  # cells of the picture's longer side
_LOWER: Final = np.array([166, 75, 22])  # apart also for eyes that tell red and green badly
_HIGHER: Final = np.array([22, 96, 166])
_STILL: Final = np.array([236, 236, 232])
_UNKNOWN: Final = np.array([120, 120, 120])
_MOST_ROWS: Final = 200
_LAYERS: Final = ("element_changes", "line_changes", "intake_changes", "change_areas")
_QUANTITY: Final = {"m²": "area", "m³": "earth", "m": "level"}


def change_html(
    plain: Mapping[str, Any],
    frames: Mapping[str, Any],
    change_m: Elevation,
    patches: Labels,
    ground_m: Elevation,
    grid: Grid,
) -> str:
    """Return the page as one HTML text that opens offline.

    Parameters
    ----------
    plain : figures and findings, as ``compare.json`` holds them.
    frames : rows by layer.
    change_m : float32 (rows, cols) [m]; NaN is not known.
    patches : int32 (rows, cols); 0 where the change is not sure.
    ground_m : float32 (rows, cols) [m]; drawn as relief beneath.
    """
    sure = np.abs(change_m[patches > 0])
    most_m = float(np.percentile(sure, 98)) if sure.size else 1.0
    length = shown("level", plain["units"])
    return environment().get_template("change.html.j2").render(
        site=plain["site"],
        version=plain["brimline"],
        then=plain["then"]["finished"],
        now=plain["now"]["finished"],
        findings=plain["findings"],
        figures=_figures(plain),
        picture=_picture(change_m, patches, most_m, ground_m, grid.cell_m),
        alt=f"{plain['changed_areas']} patches on {grid.rows} by {grid.cols} cells",
        lower=_css(_LOWER),
        higher=_css(_HIGHER),
        most=length.text(most_m),
        tables=[
            _table(name, frames[name], plain["units"]) for name in _LAYERS if len(frames[name])
        ],
        light=theme_colours(dark=False),
        dark=theme_colours(dark=True),
    )  # fmt: skip


def _figures(plain: Mapping[str, Any]) -> list[tuple[str, str, str]]:
    earth, level = shown("earth", plain["units"]), shown("level", plain["units"])
    area = shown("area", plain["units"])
    sure = f"at {100 * plain['confidence']:g} %"
    rows = [
        (
            "Least change told",
            level.text(plain["detection_m"]),
            f"{sure}, from an error of {level.text(plain['error_used_m'])} of a difference",
        ),
        (
            "Ground compared",
            area.text(plain["compared_m2"]),
            f"a shift was sought on {area.text(plain['stable_m2'])}: {plain['stable_from']}",
        ),
    ]
    for kind, title in (("cut", "Earth gone"), ("fill", "Earth come")):
        volume = plain[kind]
        note = f"± {earth.text(volume['error_m3'])} {sure}, on {area.text(volume['area_m2'])}"
        rows.append((title, earth.text(volume["volume_m3"]), note))
    rows.append(("Net", earth.text(plain["net_m3"]), f"± {earth.text(plain['net_error_m3'])}"))
    told = plain["shift"]["told"] or "none found"
    taken = "taken off" if plain["shift_taken_off"] else ""
    rows.append(("Shift of all ground", level.text(plain["shift"]["mean_m"]) if taken else "–",
                 f"{told}{'; ' + taken if taken else ''}"))  # fmt: skip
    return rows


def _table(name: str, frame: Any, units: Any) -> dict[str, Any]:  # noqa: ANN401 - a frame
    declared = layer(name)
    rows = [
        [_cell(row[column.name], column.unit, units) for column in declared.columns]
        for _, row in frame.head(_MOST_ROWS).iterrows()
    ]
    more = len(frame) - len(rows)
    meaning = declared.meaning + (f" {more} more rows are in change.gpkg." if more > 0 else "")
    heads = [column.name.replace("_", " ") for column in declared.columns]
    return {"title": declared.title, "meaning": meaning, "heads": heads, "rows": rows}


def _cell(value: Any, unit: str, units: Any) -> str:  # noqa: ANN401 - a cell of a frame
    if value is None or pd.isna(value):
        return ""
    if unit in _QUANTITY:
        return shown(_QUANTITY[unit], units).text(float(value))
    if isinstance(value, bool | np.bool_):
        return "yes" if value else "no"
    return f"{value:.1f}" if isinstance(value, float) else str(value)


def _picture(
    change_m: Elevation, patches: Labels, most_m: float, ground_m: Elevation, cell_m: float
) -> str:
    """Draw sure change in two colours over the relief, as a PNG inside the page."""
    step = max(1, -(-max(change_m.shape) // _LONGEST))
    change, sure = change_m[::step, ::step], patches[::step, ::step] > 0
    depth = np.clip(np.abs(np.nan_to_num(change)) / most_m, 0.25, 1.0)[..., np.newaxis]
    full = np.where((change < 0)[..., np.newaxis], _LOWER, _HIGHER)
    still = _STILL * relief(ground_m[::step, ::step], cell_m * step)[..., np.newaxis]
    pixels = np.where(sure[..., np.newaxis], still + (full - still) * depth, still)
    pixels = np.where(np.isnan(change)[..., np.newaxis], _UNKNOWN, pixels)
    out = io.BytesIO()
    Image.fromarray(pixels.astype(np.uint8)).save(out, "PNG", optimize=True)
    return f"data:image/png;base64,{base64.b64encode(out.getvalue()).decode()}"


def relief(ground_m: Elevation, cell_m: float) -> NDArray[np.float64]:
    """Return how bright ground is that the light falls on from the north-west, 0.6 to 1."""
    if min(ground_m.shape) < 2:
        return np.ones(ground_m.shape)
    south, east = np.gradient(ground_m.astype(np.float64), cell_m)
    lit = np.nan_to_num((east + south) / np.sqrt(2.0))  # what falls to the north-west is bright
    return np.asarray(np.clip(0.86 + 0.5 * lit, 0.6, 1.0))


def _css(colour: NDArray[np.int64]) -> str:
    return "#" + "".join(f"{int(part):02x}" for part in colour)
