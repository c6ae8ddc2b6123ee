"""The middle of values and how far they scatter, whatever a few of them say."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

MAD_TO_SIGMA: Final = 1.4826  # a standard deviation of normal errors, in median deviations


def middle_and_spread(values: NDArray[np.floating]) -> tuple[float, float]:
    """Return the median, and 1.4826 times the median absolute deviation around it.

    Parameters
    ----------
    values : (values,), at least one, none of them NaN.
    """
    middle = float(np.median(values))
    return middle, MAD_TO_SIGMA * float(np.median(np.abs(values - middle)))
