"""The ground near the site: the boundary, all that drains to it or its intakes, and a margin.

Lines, outlines and readings of the ground are made there alone; what lies beyond is kept in the
rasters of the flow chain.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np
from scipy import ndimage

from brimline.drainage.flow import within
from brimline.drainage.receiving import received
from brimline.engine.stage import Stage
from brimline.grid.shapes import cells_inside
from brimline.grid.tiles import Window
from brimline.layers.drawn import ITEMS

if TYPE_CHECKING:
    from collections.abc import Iterator

    from brimline.engine.stage import Given, Made, Reporter
    from brimline.grid import BoolGrid

_MARGIN_M: Final = 100.0
_MARGIN_CELLS: Final = 10
_SITE_MARGIN_M: Final = 40.0  # of what is read for plants and people, who stand on the site
_PLAN: Final = tuple(item.name for item in ITEMS)
_DRAWN: Final = (*_PLAN, "keep_out_drawn")  # houses below the site, which its water must not reach


def _run(given: Given, report: Reporter) -> Made:  # noqa: ARG001 - it is quick
    grid, directions = given.grid, given.raster("flow_direction")
    margin = max(_MARGIN_CELLS, round(_MARGIN_M / grid.cell_m))
    ground = _draining(given)
    whole = Window(0, 0, *grid.shape)
    near = site = whole
    if ground is not None:
        near = _around([_box(ground), *_drawn(given, *_DRAWN)], margin, whole)
        site = _around(
            [*_drawn(given, "boundary", *_PLAN)], round(_SITE_MARGIN_M / grid.cell_m) + 1, near
        )
    if ground is None:
        marked = np.ones(near.shape, dtype=np.uint8)
    else:
        part = ground[near.slices].astype(np.uint8)
        marked = ndimage.maximum_filter(part, size=2 * margin + 1, mode="constant", cval=0)
    return {
        "near": near._asdict(),
        "near_site": site._asdict(),
        "near_ground": marked,
        "near_direction": within(directions, near),
    }


def _draining(given: Given) -> BoolGrid | None:
    """Cells of the boundary and of all that drains to it or its intakes; None without boundary."""
    outline, grid = given.frame("boundary").geometry, given.grid
    site = cells_inside(outline, grid, all_touched=True)
    if not site.any():
        return None
    shapes = [*outline, *given.frame("intakes_snapped").geometry]
    seeds = cells_inside(shapes, grid, all_touched=True).astype(np.int32)
    labels = received(given.raster("flow_direction"), seeds, cell_m=grid.cell_m).labels
    ground: BoolGrid = site | (labels > 0)
    return ground


def _drawn(given: Given, *names: str) -> Iterator[Window]:
    """Yield the block of each layer that holds anything."""
    for name in names:
        rows = given.frame(name)
        if len(rows):
            west, south, east, north = rows.total_bounds
            (top, bottom), (left, right) = given.grid.cell([west, east], [north, south])
            yield Window(int(top), int(left), int(bottom - top) + 1, int(right - left) + 1)


def _box(ground: BoolGrid) -> Window:
    rows, cols = (np.flatnonzero(ground.any(axis=axis)) for axis in (1, 0))
    return Window(
        int(rows[0]), int(cols[0]), int(rows[-1] - rows[0]) + 1, int(cols[-1] - cols[0]) + 1
    )


def _around(blocks: list[Window], margin: int, whole: Window) -> Window:
    """Return the block around all blocks and a margin, as far as the grid goes."""
    top = min(block.row for block in blocks) - margin
    left = min(block.col for block in blocks) - margin
    bottom = max(block.row + block.rows for block in blocks) + margin
    right = max(block.col + block.cols for block in blocks) + margin
    return Window(top, left, bottom - top, right - left).common(whole)


STAGE = Stage(
    name="near",
    version=1,
    title="finding the ground that the site needs",
    needs=("grid", "flow_direction", "boundary", "intakes_snapped", *_DRAWN),
    makes=("near", "near_site", "near_ground", "near_direction"),
    run=_run,
)
