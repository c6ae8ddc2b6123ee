"""Which of several courses are valleys of their own, and which are threads in one valley.

In a wide valley head water runs together from all sides, and each thread has higher ground beside
it along the contour. Two valleys are two only if a spur stands between them.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from brimline.lines.relief.parted import _kernels

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from brimline.lines.relief.chains import Chains
    from brimline.lines.relief.ground import ReliefGround

_NEAR_FLANKS = 4.0  # valleys farther from each other are two without asking
_JOINING_FLANKS = 2.0  # a valley that joins another runs no farther beside it
_STATIONS = 12  # places along a course at which the ground between is looked at
_ACROSS = 15  # places on the way from one course to the other
_PARTED_SHARE = 0.4  # of the stations that must show a spur


class Drawn:
    """The courses that were drawn so far, larger ones first.

    Parameters
    ----------
    ground : where the courses lie.
    courses : all of them, from the divide.
    xy, floor_m : their points (points, 2) and the levels there [m].
    flank_m : what runs within this distance of a line does not count as another's own [m].
    least_m : a spur stands at least so high above the two floors at equal level [m].
    """

    def __init__(
        self,
        ground: ReliefGround,
        courses: Chains,
        xy: NDArray[np.float64],
        floor_m: NDArray[np.float64],
        *,
        flank_m: float,
        least_m: float,
    ) -> None:
        self._ground, self._courses = ground, courses
        self._xy, self._floor_m = xy, floor_m
        self._flank_m, self._least_m = flank_m, least_m
        self._course: list[int] = []
        # a line has at most as many vertices as its course has points
        self._vertices = np.empty_like(xy)
        self._start = np.zeros(len(courses.size) + 1, dtype=np.int64)
        self._box = np.empty((len(courses.size), 4))

    def add(self, course: int, vertices: NDArray[np.float64]) -> None:
        """Remember what is drawn of a course; (n, 2)."""
        line = len(self._course)
        begin = self._start[line]
        end = begin + len(vertices)
        self._vertices[begin:end] = vertices
        self._start[line + 1] = end
        self._box[line] = *vertices.min(axis=0), *vertices.max(axis=0)
        self._course.append(course)

    def own_length_m(self, vertices: NDArray[np.float64]) -> float:
        """Length of a line beyond `flank_m` of all drawn ones; 0 if no spur parts it from one."""
        lines = self._vertices, self._start, self._box, len(self._course)
        reach_m = self._flank_m, _NEAR_FLANKS * self._flank_m
        near, begin, end = _kernels.beyond(vertices, *lines, *reach_m)
        if not begin.size:
            return 0.0
        stations = _spread(vertices, begin, end)
        parted = all(self._parted(stations, line) for line in near)
        return float((end - begin).sum()) if parted else 0.0

    def meets(self, xy: NDArray[np.float64]) -> tuple[int, int] | None:
        """Where a course begins to run beside a drawn line down to its own end.

        Two threads of one floor can keep apart for as long as the floor is smooth.

        Returns
        -------
        Place in `xy` and number of the line; None where it does not, or only as it joins.
        """
        lines = self._vertices, self._start, self._box, len(self._course)
        first, line = _kernels.beside_at_end(xy, *lines, 0.5 * self._flank_m)
        if first >= len(xy) - 1:
            return None
        beside_m = np.hypot(*np.diff(xy[first:], axis=0).T).sum()
        return None if beside_m <= _JOINING_FLANKS * self._flank_m else (int(first), int(line))

    def _parted(self, stations: NDArray[np.float64], line: int) -> bool:
        """Whether ground stands between stations and the places of equal level on a floor."""
        ground, grid = self._ground, self._ground.grid
        floor = slice(*self._courses.start[self._course[line] :][:2])
        share = _kernels.is_parted(
            ground.surface,
            ground.sign,
            (float(grid.west_m), float(grid.north_m), float(grid.cell_m)),
            stations,
            self._xy[floor],
            self._floor_m[floor],
            self._least_m,
            _ACROSS,
        )
        return bool(share >= _PARTED_SHARE)


def _spread(
    vertices: NDArray[np.float64], begin: NDArray[np.float64], end: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Stations along the longest stretch of a line's own."""
    longest = int(np.argmax(end - begin))
    steps = np.hypot(*np.diff(vertices, axis=0).T)
    along = np.concatenate([[0.0], np.cumsum(steps)])
    at = np.linspace(begin[longest], end[longest], _STATIONS)
    return np.column_stack([np.interp(at, along, vertices[:, k]) for k in (0, 1)])
