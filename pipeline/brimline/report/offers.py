"""What the ground offers or lacks, as kinds of ground that are laid over each other."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

import numpy as np

from brimline.report.palette import BROWN, CYAN, INDIGO, PURPLE, RED, SAND, TEAL, Fill
from brimline.report.plates.on_site import on_site

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

    from brimline.report.results import Results

    Where = tuple[str, NDArray[np.bool_]]

_MOSTLY: Final = 0.5
_DIGITS: Final = ("sun", "wind", "depth", "slope", "wet", "cold")  # of `growing`, from the left


def _digit(results: Results, name: str) -> NDArray[Any] | None:
    """Class of each cell from 1, 0 unknown."""
    growing = results.raster("growing")
    if growing is None:
        return None
    found: NDArray[Any] = growing // 10 ** (len(_DIGITS) - 1 - _DIGITS.index(name)) % 10
    return found


def _of_class(name: str, number: int, words: str) -> Callable[[Results], Where | None]:
    def where(results: Results) -> Where | None:
        digit = _digit(results, name)
        return None if digit is None else (words, digit == number)

    return where


def _below_full_sun(results: Results) -> Where | None:
    sun = _digit(results, "sun")
    return None if sun is None else ("Below full sun", (sun > 0) & (sun < 3))


def _wind(results: Results) -> Where | None:
    """Exposed or sheltered ground, whichever a site has less of: the other needs no colour."""
    wind = _digit(results, "wind")
    if wind is None:
        return None
    exposed, sheltered = wind == 1, wind >= 2
    known = on_site(results, np.where(wind > 0, exposed, np.nan))
    few = known.size and known.mean() <= _MOSTLY
    return ("Exposed to wind", exposed) if few else ("In shelter", sheltered)


def _no_machine(results: Results) -> Where | None:
    works = results.raster("machine_ground")
    return None if works is None else ("Not for machines", works == 0)


def _loses_soil(results: Results) -> Where | None:
    loss, limit = results.raster("soil_loss_t_ha"), results.parameter("soil_loss", "tolerable_t_ha")
    if loss is None or limit is None:
        return None
    return f"Loses over {float(limit):g} t/ha", loss > float(limit)


# in the order in which they are drawn; each gives its words and where it is, or None
OFFERS: Final[dict[str, tuple[Callable[[Results], Where | None], Fill]]] = {
    "cold": (_of_class("cold", 2, "Cold air pools"), Fill(CYAN, 0.4)),
    "wet": (_of_class("wet", 3, "Wet, by rank"), Fill(TEAL, 0.6)),
    "shade": (_below_full_sun, Fill(INDIGO, 0.35)),
    "wind": (_wind, Fill(PURPLE, 0.25)),
    "thin": (_of_class("depth", 1, "Thin soil"), Fill(SAND, 0.6)),
    "steep": (_no_machine, Fill(BROWN, 0.8, "slash")),
    "loss": (_loses_soil, Fill(RED, 0.8, "slash")),
}
