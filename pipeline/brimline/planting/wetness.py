"""How wet the ground of a site is, by its rank there."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from brimline.grid import BoolGrid


def wet_limits(
    index: NDArray[np.float32], site: BoolGrid, dry_share: float, wet_share: float
) -> tuple[float, float]:
    """Wetness index up to which the ground of a site ranks as dry, and from which as wet.

    Parameters
    ----------
    index : float32 (rows, cols); NaN unknown.
    site : bool (rows, cols); all that is known counts where nothing of it is.
    dry_share, wet_share : shares of the site that rank so.
    """
    known = np.isfinite(index)
    inside = site & known
    dry, wet = np.quantile(index[inside if inside.any() else known], (dry_share, 1 - wet_share))
    return float(dry), float(wet)


def wetness_classes(
    index: NDArray[np.float32], site: BoolGrid, dry_share: float, wet_share: float
) -> NDArray[np.uint8]:
    """Class of each cell among `plants.WETNESS` by its rank on the site, 255 unknown."""
    dry, wet = wet_limits(index, site, dry_share, wet_share)
    found = np.where(index >= wet, 2, np.where(index <= dry, 0, 1))
    return np.where(np.isfinite(index), found, 255).astype(np.uint8)
