"""Level and key lines: where swales and drains could run, and how to cultivate."""

from __future__ import annotations

from typing import TYPE_CHECKING

from brimline.report.numbers import right_way_pct
from brimline.report.plates.frame import MapFrame
from brimline.report.plates.plate import Plate
from brimline.report.plates.sheet import Sheet
from brimline.units import shown

if TYPE_CHECKING:
    from brimline.report.results import Results


def level_lines(results: Results, frame: MapFrame) -> Plate | None:
    """Draw swale and drain lines with their numbers."""
    swales, drains = results.layer("swale_lines"), results.layer("drain_lines")
    if swales is None and drains is None:
        return None
    sheet = Sheet(results, _site(results, frame))
    sheet.draw("contours", only="Index contour")
    for name in ("flow_paths", "culverts", "keep_out", "boundary"):
        sheet.draw(name)
    for name in ("swale_lines", "drain_lines"):
        sheet.draw(name, label=True)
    return Plate(
        "level-lines",
        "Swale and drain lines",
        sheet.svg("level-lines"),
        "Map of level swale lines and falling drain lines over the relief, numbered.",
        _level_caption(results) + "Numbers are those of the layers. Set levels on site before "
        "digging: the survey decides where a line goes, not its final level.",
    )


def key_lines(results: Results, frame: MapFrame) -> Plate | None:
    """Draw keypoints, keylines and the lines parallel to them."""
    keylines, cultivation = results.layer("keylines"), results.layer("cultivation_lines")
    keypoints = results.layer("keypoints")
    if keylines is None and cultivation is None and keypoints is None:
        return None
    sheet = Sheet(results, _site(results, frame))
    sheet.draw("contours", only="Index contour")
    for name in ("valley_lines", "ridge_lines", "cultivation_lines", "keep_out", "boundary"):
        sheet.draw(name)
    sheet.draw("keylines")
    sheet.draw("keypoints", label=True)
    falling = ""
    share = None if cultivation is None else right_way_pct(cultivation)
    if share is not None:
        falling = (
            f" {share:.0f} % of their length falls from the valley towards the ridge; the table of"
            " cultivation lines by keyline tells it of each side."
        )
    return Plate(
        "key-lines",
        "Keylines and cultivation",
        sheet.svg("key-lines"),
        "Map of keypoints, the keyline through each, and cultivation lines parallel to them.",
        "Thin lines run parallel to the keyline, upslope above it and downslope below it."
        + falling
        + " Beside each keypoint stands its level.",
    )


def _site(results: Results, frame: MapFrame) -> MapFrame:
    """Return the boundary's ground: lines lie inside it, so they can be drawn larger."""
    return frame if results.layer("boundary") is None else MapFrame.around(results, ("boundary",))


def _level_caption(results: Results) -> str:
    swales = results.layer("swale_lines")
    if swales is None:
        return ""
    worst = float(swales["level_error_m"].max())
    return (
        f"The drawn swale lines depart from level by {shown('level', results.units).text(worst)} "
        "at most on the survey surface. "
    )
