"""How much earth: between two surfaces by cells, and between sections by their areas.

The two ways are independent of each other: they differ by what each of them cannot see (cells:
detail finer than a cell; sections: what happens between them). What is told is from cells, and the
difference goes into how sure it is.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from brimline.errors import GridError
from brimline.grid import checked_same_shape

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

    from brimline.grid import Labels


@dataclass(frozen=True, slots=True)
class Earth:
    """What is dug and what is heaped up, in the ground's own volume.

    Parameters
    ----------
    cut_m3, fill_m3 : volumes below and above the ground [m³].
    cut_m2, fill_m2 : their areas in plan [m²].
    deepest_m, highest_m : greatest cut and fill [m].
    """

    cut_m3: float = 0.0
    fill_m3: float = 0.0
    cut_m2: float = 0.0
    fill_m2: float = 0.0
    deepest_m: float = 0.0
    highest_m: float = 0.0

    def __add__(self, other: Earth) -> Earth:
        """Both together; areas add up, as two pieces of ground do."""
        return Earth(
            self.cut_m3 + other.cut_m3,
            self.fill_m3 + other.fill_m3,
            self.cut_m2 + other.cut_m2,
            self.fill_m2 + other.fill_m2,
            max(self.deepest_m, other.deepest_m),
            max(self.highest_m, other.highest_m),
        )


def volume_error_m3(error_m: float, area_m2: float, length_m: float, correlation_m: float) -> float:
    """Return the standard error of a volume that the survey's error brings [m³].

    Errors that correlate by exp(-(h/correlation)²) average out over a long rectangle, and hardly
    over a short one. A shift of the whole survey is not in it: it moves the designed levels as
    well.

    Parameters
    ----------
    error_m : standard error of one level of the ground [m].
    area_m2 : ground that is dug or heaped over [m²].
    length_m : its long side [m].
    correlation_m : distance over which the error stays alike [m].
    """
    if not (area_m2 > 0 and length_m > 0):
        return 0.0
    along, across = (
        _alike(side_m / max(correlation_m, 1e-6)) for side_m in (length_m, area_m2 / length_m)
    )
    return error_m * area_m2 * math.sqrt(along * across)


def _alike(side: float) -> float:
    """Mean correlation of two points on a side, in correlation lengths: the double integral."""
    if side < 1e-3:
        return 1.0
    return (math.sqrt(math.pi) * side * math.erf(side) + math.exp(-(side**2)) - 1) / side**2


def earth_between(
    ground_m: NDArray[np.floating], design_m: NDArray[np.floating], cell_area_m2: float
) -> Earth:
    """Cut and fill between two surfaces on one grid.

    Parameters
    ----------
    ground_m, design_m : float (rows, cols) [m]; cells that are NaN in either do not count.
    cell_area_m2 : area of one cell [m²].

    Raises
    ------
    GridError
        If the shapes differ or the area is not above 0.
    """
    checked_same_shape(ground_m=ground_m, design_m=design_m)
    _check_area(cell_area_m2)
    down = ground_m.astype(np.float64) - design_m.astype(np.float64)
    cut, fill = down > 0, down < 0
    return Earth(
        float(down[cut].sum()) * cell_area_m2,
        float(-down[fill].sum()) * cell_area_m2,
        int(cut.sum()) * cell_area_m2,
        int(fill.sum()) * cell_area_m2,
        float(down[cut].max(initial=0.0)),
        float(-down[fill].min(initial=0.0)),
    )


def earth_by_label(
    ground_m: NDArray[np.floating],
    design_m: NDArray[np.floating],
    cell_area_m2: float,
    dug_by: Labels,
    heaped_by: Labels,
    count: int,
) -> list[Earth]:
    """Cut and fill of each element; place 0 of the list is label 1.

    Parameters
    ----------
    ground_m, design_m : as `earth_between`.
    dug_by, heaped_by : int32 (rows, cols); element that lowers, or raises, the cell; 0 for none.
    count : number of elements, the greatest label.

    Raises
    ------
    GridError
        If the shapes differ, a label is above `count`, or the area is not above 0.
    """
    checked_same_shape(ground_m=ground_m, design_m=design_m, dug_by=dug_by, heaped_by=heaped_by)
    _check_area(cell_area_m2)
    if max(int(dug_by.max(initial=0)), int(heaped_by.max(initial=0))) > count:
        raise GridError(f"labels must be at most {count}, the number of elements")
    down = (ground_m.astype(np.float64) - design_m.astype(np.float64)).ravel()
    cut_m, cut_cells, deepest_m = _by_label(down, dug_by.ravel(), count)
    fill_m, fill_cells, highest_m = _by_label(-down, heaped_by.ravel(), count)
    area = cell_area_m2
    return [
        Earth(
            float(cut_m[k] * area), float(fill_m[k] * area), float(cut_cells[k] * area),
            float(fill_cells[k] * area), float(deepest_m[k]), float(highest_m[k]),
        )
        for k in range(1, count + 1)
    ]  # fmt: skip


@dataclass(frozen=True, slots=True)
class SectionAreas:
    """A cross-section's areas and the offsets of their centroids from its line.

    Parameters
    ----------
    cut_m2, fill_m2 : areas [m²].
    cut_offset_m, fill_offset_m : 0 where there is no area [m].
    """

    cut_m2: float
    fill_m2: float
    cut_offset_m: float
    fill_offset_m: float


def section_areas(
    offset_m: NDArray[np.floating], ground_m: NDArray[np.floating], design_m: NDArray[np.floating]
) -> SectionAreas:
    """Areas of cut and fill of a cross-section, both surfaces straight between its points.

    Where the surfaces cross between two points, both parts count exactly.

    Parameters
    ----------
    offset_m : float (points,), rising [m].
    ground_m, design_m : float (points,) [m]; a stretch beside NaN does not count.

    Raises
    ------
    ValueError
        If the three differ in length, there are fewer than two, or the offsets do not rise.
    """
    if not offset_m.shape == ground_m.shape == design_m.shape or offset_m.size < 2:
        raise ValueError("a section needs two or more offsets and as many levels of each surface")
    if (np.diff(offset_m) <= 0).any():
        raise ValueError("the offsets of a section must rise")
    offsets, down = _with_crossings(
        offset_m.astype(np.float64), ground_m.astype(np.float64) - design_m.astype(np.float64)
    )
    cut_m2, cut_at = _area_and_centroid(offsets, np.maximum(down, 0.0))
    fill_m2, fill_at = _area_and_centroid(offsets, np.maximum(-down, 0.0))
    return SectionAreas(cut_m2, fill_m2, cut_at, fill_at)


def average_end_area_m3(chainage_m: ArrayLike, area_m2: ArrayLike) -> float:
    """Volume between sections by the mean of neighbouring areas: Σ L (A1 + A2)/2.

    Exact where the area changes evenly along the line, as in a wedge; too large where the body
    tapers in two directions, at worst L A/2 instead of L A/3 for a pyramid.

    Parameters
    ----------
    chainage_m : float (sections,), rising [m].
    area_m2 : float (sections,) [m²].

    Raises
    ------
    ValueError
        If the two differ in length, there are fewer than two sections, or chainages fall.
    """
    chainage, area = _checked_sections(chainage_m, area_m2)
    return float(np.sum(np.diff(chainage) * (area[:-1] + area[1:]) / 2))


def prismoidal_m3(chainage_m: ArrayLike, area_m2: ArrayLike) -> float:
    """Volume from end and middle sections by turns: Σ L (A1 + 4 Am + A2)/6.

    Exact where the area is at most cubic in the chainage: prisms, wedges, pyramids, frusta.

    Parameters
    ----------
    chainage_m : float (sections,), rising; every second one lies midway between its
        neighbours [m].
    area_m2 : float (sections,), an odd number of at least three [m²].

    Raises
    ------
    ValueError
        If the number is even or below three, or a middle section is not midway.

    References
    ----------
    USDA Agriculture Handbook 590 (1997), V = (A + 4B + C)/6 × D
    """
    chainage, area = _checked_sections(chainage_m, area_m2)
    if chainage.size < 3 or chainage.size % 2 == 0:
        raise ValueError(
            f"the prismoidal formula needs an odd number of sections, at least 3, got "
            f"{chainage.size}"
        )
    first, middle, last = chainage[:-2:2], chainage[1::2], chainage[2::2]
    if (np.abs(middle - (first + last) / 2) > 1e-6 * (last - first)).any():
        raise ValueError("every second section must lie midway between its neighbours")
    weighed = area[:-2:2] + 4 * area[1::2] + area[2::2]
    return float(np.sum((last - first) * weighed / 6))


def _checked_sections(
    chainage_m: ArrayLike, area_m2: ArrayLike
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    chainage = np.asarray(chainage_m, dtype=np.float64)
    area = np.asarray(area_m2, dtype=np.float64)
    if chainage.ndim != 1 or chainage.shape != area.shape or chainage.size < 2:
        raise ValueError("volumes need two or more chainages and as many areas")
    if (np.diff(chainage) < 0).any():
        raise ValueError("chainages must rise")
    return chainage, area


def _with_crossings(
    offset_m: NDArray[np.float64], down_m: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Add the places where the difference changes sign."""
    turns = np.flatnonzero(down_m[:-1] * down_m[1:] < 0)
    share = down_m[turns] / (down_m[turns] - down_m[turns + 1])
    at = offset_m[turns] + share * (offset_m[turns + 1] - offset_m[turns])
    return np.insert(offset_m, turns + 1, at), np.insert(down_m, turns + 1, 0.0)


def _area_and_centroid(
    offset_m: NDArray[np.float64], height_m: NDArray[np.float64]
) -> tuple[float, float]:
    """Area under straight pieces, and the offset of its centroid."""
    width = np.diff(offset_m)
    left, right = height_m[:-1], height_m[1:]
    area = width * (left + right) / 2
    known = np.isfinite(area)
    moment = offset_m[:-1] * area + width**2 * (left + 2 * right) / 6
    total = float(area[known].sum())
    return total, float(moment[known].sum()) / total if total > 0 else 0.0


def _by_label(
    amount: NDArray[np.float64], labels: Labels, count: int
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    chosen = (labels > 0) & (amount > 0)
    amount, labels = amount[chosen], labels[chosen]
    most = np.zeros(count + 1)
    np.maximum.at(most, labels, amount)
    return (
        np.bincount(labels, amount, minlength=count + 1).astype(np.float64),
        np.bincount(labels, minlength=count + 1).astype(np.float64),
        most,
    )


def _check_area(cell_area_m2: float) -> None:
    if not cell_area_m2 > 0:
        raise GridError(f"cell_area_m2 must be above 0 m², got {cell_area_m2}")
