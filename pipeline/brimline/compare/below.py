"""What lies below ground that was lost, along the way that water takes from it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
import shapely

from brimline.grid.shapes import cells_inside

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from numpy.typing import NDArray

    from brimline.compare.changes import AreaChange, RunPair

_FAR_M: Final = 300.0  # down the way of the water; common practice, no source
_ASIDE_M: Final = 10.0  # to either side of that way; common practice, no source
_OWN_SHARE: Final = 0.5  # of lost ground within elements, from which it was dug
_STEPS: Final = np.array(  # by code of direction: E, NE, N, NW, W, SW, S, SE
    [(0, 1), (-1, 1), (-1, 0), (-1, -1), (0, -1), (1, -1), (1, 0), (1, 1)]
)


@dataclass(frozen=True, slots=True)
class LostGround:
    """Ground lost above something that people would miss."""

    area_id: int
    text: str
    mend: str


def lost_ground(pair: RunPair, areas: Sequence[AreaChange]) -> Iterator[LostGround]:
    """Tell of lost ground off the works with elements, intakes or buildings below it.

    Below is what lies within 10 m of the way that water takes from it, for 300 m: a place to look
    at, not a reckoning of how far a slide runs.
    """
    direction = pair.then.flow_direction
    if direction is None or direction.shape != pair.grid.shape:
        return
    elements = {
        one.element_id: one.outline for run in (pair.now, pair.then) for one in run.elements
    }
    works = cells_inside(list(elements.values()), pair.grid) if elements else None
    shapes = {
        **{f"the {one.kind} {one.element_id}": one.outline for one in pair.then.elements},
        **{f"the intake {one.name or one.intake_id}": one.shape for one in pair.then.intakes},
        **{
            f"the building {name}" if name else f"building {number}": shape
            for number, (name, shape) in enumerate(pair.then.buildings, start=1)
        },
    }
    for area in areas:
        if area.kind != "cut" or area.volume_m3 <= area.volume_error_m3:
            continue
        cells = pair.change.patches == area.area_id
        if works is not None and (cells & works).sum() >= _OWN_SHARE * cells.sum():
            continue
        rows, cols = np.divmod(
            way_down(direction, cells, _FAR_M / pair.grid.cell_m), cells.shape[1]
        )
        x, y = pair.grid.xy(rows, cols)
        way = shapely.multipoints(np.column_stack([x, y]))  # its buffer would take gigabytes
        below = [words for words, shape in shapes.items() if shapely.dwithin(way, shape, _ASIDE_M)]
        if below:
            yield LostGround(
                area.area_id,
                f"{area.volume_m3:.0f} m³ of ground are lost off the works,"
                f" {-area.greatest_m:.2f} m deep at most;"
                f" below it {'lies' if len(below) == 1 else 'lie'} {', '.join(below)}",
                "keep people off what lies below, and let an engineer see the slope before the"
                " works take water again",
            )


def way_down(
    direction: NDArray[np.uint8], start: NDArray[np.bool_], steps: float
) -> NDArray[np.int64]:
    """Return the cells that water passes from some cells on, these among them, as linear indices.

    Parameters
    ----------
    direction : uint8 (rows, cols), the neighbour that receives, counted from east over north; 8
        and more is none.
    start : bool (rows, cols).
    steps : how many cells to follow it at most.
    """
    rows, cols = np.nonzero(start)
    seen = np.zeros(start.shape, dtype=np.bool_)
    seen[start] = True
    for _ in range(int(steps)):
        code = direction[rows, cols]
        flows = code < len(_STEPS)
        step = _STEPS[code[flows]]
        rows, cols = rows[flows] + step[:, 0], cols[flows] + step[:, 1]
        inside = (rows >= 0) & (rows < start.shape[0]) & (cols >= 0) & (cols < start.shape[1])
        rows, cols = rows[inside], cols[inside]
        new = ~seen[rows, cols]
        rows, cols = rows[new], cols[new]
        if not rows.size:
            break
        seen[rows, cols] = True
    return np.flatnonzero(seen)
