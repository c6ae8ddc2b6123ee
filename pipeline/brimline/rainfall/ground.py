"""What the ground of each subcatchment is made of, counted from grids."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from brimline.errors import GridError
from brimline.grid import LABEL_NONE, checked_same_shape
from brimline.rainfall._checks import above_zero, read_only
from brimline.rainfall.covers import SOIL_GROUPS, condition_of, cover
from brimline.rainfall.runoff import USUAL_ABSTRACTION_RATIO, MixedGround, runoff_depth_mm

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import ArrayLike, NDArray

    from brimline.grid import Labels

_CELLS_AT_ONCE: Final = 4_000_000  # keeps the counting keys below 32 MB


@dataclass(frozen=True, slots=True)
class GroundClass:
    """A cover in a hydrologic condition: one code of a cover grid.

    Parameters
    ----------
    cover_name : a name of `covers.COVERS`.
    condition : ``"poor"``, ``"fair"``, ``"good"``; empty takes the cover's usual one.

    Raises
    ------
    ValueError
        If the cover or the condition is unknown.
    """

    cover_name: str
    condition: str = ""

    def __post_init__(self) -> None:
        condition_of(cover(self.cover_name), self.condition)

    @property
    def curve_numbers(self) -> tuple[int, int, int, int]:
        """Curve numbers for soil groups A to D."""
        one = cover(self.cover_name)
        return one.curve_numbers[condition_of(one, self.condition)]

    @property
    def impervious(self) -> bool:
        """Rain does not soak in at all."""
        return cover(self.cover_name).impervious


@dataclass(frozen=True, slots=True, eq=False)
class CoverOnSoil:
    """Area of each cover on each soil, for every subcatchment.

    Parameters
    ----------
    labels : int64 (subcatchments,)
        Labels that occur, rising.
    classes : what the cover codes 1, 2 ... stand for.
    area_m2 : float64 (subcatchments, classes, 4) [m²]
        Area by class and soil group A to D, where both are known.
    unknown_m2 : float64 (subcatchments,) [m²]
        Area where the cover or the soil is not known; it is left out of every mean.
    """

    labels: NDArray[np.int64]
    classes: tuple[GroundClass, ...]
    area_m2: NDArray[np.float64]
    unknown_m2: NDArray[np.float64]

    @property
    def class_area_m2(self) -> NDArray[np.float64]:
        """Area of each class on all soils, float64 (subcatchments, classes) [m²]."""
        area: NDArray[np.float64] = self.area_m2.sum(axis=2)
        return area

    @property
    def total_m2(self) -> NDArray[np.float64]:
        """Area of each subcatchment, known or not, float64 (subcatchments,) [m²]."""
        total: NDArray[np.float64] = self.area_m2.sum(axis=(1, 2)) + self.unknown_m2
        return total

    @property
    def curve_numbers(self) -> NDArray[np.float64]:
        """Curve number of each class on each soil, float64 (classes, 4)."""
        return np.array([one.curve_numbers for one in self.classes], dtype=np.float64)

    @property
    def composite_curve_number(self) -> NDArray[np.float64]:
        """Area-weighted curve number, float64 (subcatchments,); NaN where nothing is known.

        References
        ----------
        NRCS (1986), TR-55, worksheet 2
        """
        return self.weighted(self.curve_numbers)

    @property
    def impervious_pct(self) -> NDArray[np.float64]:
        """Share of the known area that is impervious, float64 (subcatchments,) [%]."""
        sealed = np.array([100.0 if one.impervious else 0.0 for one in self.classes])
        return self.weighted(sealed)

    def weighted(self, values: ArrayLike) -> NDArray[np.float64]:
        """Area-weighted mean of values that go with the classes, or with class and soil group.

        Serves runoff coefficients, which the caller looks up for its slopes and return period.

        Parameters
        ----------
        values : float (classes,) or (classes, 4)

        Returns
        -------
        float64 (subcatchments,); NaN where nothing is known.

        Raises
        ------
        ValueError
            If the shape is another.
        """
        given = np.asarray(values, dtype=np.float64)
        by_soil = given[:, np.newaxis] if given.ndim == 1 else given
        shape = (len(self.classes), len(SOIL_GROUPS))
        if by_soil.shape not in (shape, (shape[0], 1)):
            raise ValueError(
                f"values must have shape ({shape[0]},) or {shape}, one for each class of ground "
                f"or class and soil group, got {given.shape}"
            )
        known = self.area_m2.sum(axis=(1, 2))
        total = (self.area_m2 * by_soil).sum(axis=(1, 2))
        mean: NDArray[np.float64] = np.full(known.shape, np.nan)
        np.divide(total, known, out=mean, where=known > 0)
        return mean

    def runoff_mm(
        self, rain_mm: float, *, abstraction_ratio: float = USUAL_ABSTRACTION_RATIO
    ) -> NDArray[np.float64]:
        """Runoff depth of a storm, weighted by area class by class.

        Returns
        -------
        float64 (subcatchments,) [mm]; NaN where nothing is known.

        Raises
        ------
        ValueError
            As `runoff.runoff_depth_mm`.
        """
        shed = runoff_depth_mm(rain_mm, self.curve_numbers, abstraction_ratio=abstraction_ratio)
        return self.weighted(shed)

    def mixed(self, label: int) -> MixedGround | None:
        """Return what sheds water in a subcatchment; None where nothing of it is known.

        Ground of which cover or soil is not known sheds as the mean of the rest.

        Raises
        ------
        KeyError
            If the label does not occur.
        """
        place = int(np.searchsorted(self.labels, label))
        if place == self.labels.size or self.labels[place] != label:
            raise KeyError(label)
        numbers, where = np.unique(self.curve_numbers, return_inverse=True)
        areas = np.bincount(where.ravel(), self.area_m2[place].ravel(), numbers.size)
        present = areas > 0
        if not present.any():
            return None
        areas *= self.total_m2[place] / areas.sum()
        return MixedGround(tuple(numbers[present].tolist()), tuple(areas[present].tolist()))


def ground_of(
    labels: Labels,
    cover_codes: NDArray[Any],
    soil_codes: NDArray[Any],
    classes: Sequence[GroundClass],
    *,
    cell_area_m2: float,
) -> CoverOnSoil:
    """Count the covers and soils of every subcatchment.

    Parameters
    ----------
    labels : int32 (rows, cols)
        Subcatchment of each cell; 0 is none.
    cover_codes : integer (rows, cols)
        1 for the first of `classes`, and so on; 0 where the cover is not known.
    soil_codes : integer (rows, cols)
        1 to 4 for hydrologic soil groups A to D; 0 where the soil is not known.
    classes : what the cover codes stand for.
    cell_area_m2 : area of a cell [m²].

    Raises
    ------
    GridError
        If the arrays differ in shape, are not of integers, or hold a code below 0 or above the
        last.
    ValueError
        If the cell area is not above 0 m² or there are no classes.
    """
    above_zero(cell_area_m2, "cell_area_m2", "m²")
    if not classes:
        raise ValueError("classes must list at least one class of ground")
    checked_same_shape(labels=labels, cover_codes=cover_codes, soil_codes=soil_codes)
    largest = np.iinfo(np.int32).max
    for name, codes, last in (
        ("labels", labels, int(largest)),
        ("cover_codes", cover_codes, len(classes)),
        ("soil_codes", soil_codes, len(SOIL_GROUPS)),
    ):
        _checked_codes(codes, name, last)
    present, rank = _ranks(labels)
    shape = (present.size + 1, len(classes) + 1, len(SOIL_GROUPS) + 1)
    counts = _counts(labels, cover_codes, soil_codes, rank, shape)[1:]  # rank 0 is no label
    area = counts * cell_area_m2
    known = np.ascontiguousarray(area[:, 1:, 1:])
    unknown = area.sum(axis=(1, 2)) - known.sum(axis=(1, 2))
    return CoverOnSoil(present, tuple(classes), read_only(known), read_only(unknown))


def _checked_codes(codes: NDArray[Any], name: str, last: int) -> None:
    if not np.issubdtype(codes.dtype, np.integer):
        raise GridError(f"{name} must hold integers, got {codes.dtype}")
    if codes.size == 0:
        raise GridError(f"{name} holds no cell")
    lowest, highest = int(codes.min()), int(codes.max())
    if lowest < 0 or highest > last:
        wrong = lowest if lowest < 0 else highest
        raise GridError(f"{name} must be 0 to {last}, got {wrong}")


def _ranks(labels: Labels) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Labels that occur, rising, and from each label to its place among them, counted from 1."""
    occurs = np.bincount(labels.ravel()) > 0
    occurs[LABEL_NONE] = False
    return np.flatnonzero(occurs), np.cumsum(occurs)


def _counts(
    labels: Labels,
    cover_codes: NDArray[Any],
    soil_codes: NDArray[Any],
    rank: NDArray[np.int64],
    shape: tuple[int, int, int],
) -> NDArray[np.int64]:
    """Cells by rank of label, cover code and soil code, a block of rows at a time."""
    counts = np.zeros(shape, dtype=np.int64)
    rows = max(1, _CELLS_AT_ONCE // labels.shape[1])
    for first in range(0, labels.shape[0], rows):
        block = slice(first, first + rows)
        keys = np.ravel_multi_index(
            (rank[labels[block]], cover_codes[block], soil_codes[block]), shape
        )
        counts += np.bincount(keys.ravel(), minlength=counts.size).reshape(shape)
    return counts
