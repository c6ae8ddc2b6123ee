"""Which share of which roof is led to which element, by tanks, downpipes and troughs."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import shapely

from brimline.design.ways import NEAR_M, name_near
from brimline.elements.downpipe import carries_m3_s, diameter_for_mm
from brimline.errors import Problem, Severity
from brimline.rainfall import roof_hydrograph

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from brimline.design.cover import CoverArea
    from brimline.design.elements import PlacedElement
    from brimline.design.plan import DrawnDownpipe
    from brimline.design.ways import RunningGround
    from brimline.rainfall import Storm

_WHOLE: Final = 1.0 + 1e-9


@dataclass(frozen=True, slots=True)
class LedRoof:
    """A roof, or a part of it, that is led to an element.

    Parameters
    ----------
    share : of the roof.
    area_m2 : of that part, as seen from above [m²].
    coefficient : share of its rain that runs off.
    flush_mm : depth of rain that is led away first [mm].
    row : the downpipe that leads it; None where a tank names the roof.
    """

    roof: str
    to_id: str
    share: float
    area_m2: float
    coefficient: float
    flush_mm: float
    row: DrawnDownpipe | None = None


@dataclass(frozen=True, slots=True)
class SizedDownpipe:
    """A downpipe or trough and what it must carry.

    Parameters
    ----------
    sized : whether its diameter was left open.
    """

    led: LedRoof
    row: DrawnDownpipe
    peak_m3_s: float
    diameter_mm: float
    carries_m3_s: float
    sized: bool

    @property
    def length_m(self) -> float:
        """How long it is drawn [m]."""
        return float(self.row.shape.length)

    @property
    def flags(self) -> tuple[str, ...]:
        """Why a person must look."""
        return ("small-downpipe",) if self.carries_m3_s < self.peak_m3_s else ()


def led_roofs(
    placed: Sequence[PlacedElement],
    covers: Sequence[CoverArea],
    downpipes: Sequence[DrawnDownpipe],
    running: RunningGround,
    usual_coefficient: float,
) -> tuple[tuple[LedRoof, ...], list[Problem]]:
    """Share roofs out: stated shares first, what is left evenly among those that state none."""
    problems: list[Problem] = []
    by_name = {area.name: area for area in covers if area.name}
    claims: dict[str, list[LedRoof]] = {}
    for one in placed:
        missing = [name for name in one.roofs if name not in by_name]
        if missing:
            problems.append(_missing(one.name, missing))
        for name in one.roofs:
            if name in by_name:
                claim = LedRoof(name, one.name, math.nan, 0.0, 0.0, one.first_flush_mm)
                claims.setdefault(name, []).append(claim)
    names = {one.name for one in placed}
    for row in downpipes:
        roof = row.roof or _roof_near(row, by_name.values())
        to_id = row.to_id or name_near(shapely.Point(row.shape.coords[-1]), running)
        if roof not in by_name or to_id not in names:
            problems.append(_leads_nowhere(row, roof in by_name))
            continue
        claim = LedRoof(roof, to_id, row.share, 0.0, 0.0, row.first_flush_mm, row)
        claims.setdefault(roof, []).append(claim)
    found: list[LedRoof] = []
    for name, mine in claims.items():
        whole_m2 = sum(area.shape.area for area in covers if area.name == name)
        own = by_name[name].runoff_coefficient
        coefficient = usual_coefficient if math.isnan(own) else own
        stated = sum(claim.share for claim in mine if not math.isnan(claim.share))
        if stated > _WHOLE:
            problems.append(_too_much(name, stated))
        least = max(stated, 1.0)
        rest = max(1.0 - stated, 0.0) / max(sum(math.isnan(claim.share) for claim in mine), 1)
        for claim in mine:
            share = rest if math.isnan(claim.share) else claim.share / least
            found.append(
                LedRoof(
                    name, claim.to_id, share, share * whole_m2, coefficient, claim.flush_mm,
                    claim.row,
                )
            )  # fmt: skip
    return tuple(found), problems


def sized_downpipes(led: Iterable[LedRoof], storm: Storm) -> list[SizedDownpipe]:
    """Size downpipes and troughs for the peak of a storm, without the first flush."""
    found = []
    for one in led:
        row = one.row
        if row is None:
            continue
        peak = roof_hydrograph(storm, one.area_m2, coefficient=one.coefficient).peak_m3_s
        later = math.isnan(row.diameter_mm)
        wide = diameter_for_mm(peak, row.form, row.fall_pct) if later else row.diameter_mm
        carries = carries_m3_s(wide, row.form, row.fall_pct)
        found.append(SizedDownpipe(one, row, peak, wide, carries, later))
    return found


def _roof_near(row: DrawnDownpipe, covers: Iterable[CoverArea]) -> str:
    """Name of the surface at a downpipe's beginning, roofs before others; empty where none is."""
    start = shapely.Point(row.shape.coords[0])
    near = [
        (area.cover != "roof", area.shape.distance(start), area.name)
        for area in covers
        if area.shape.distance(start) <= NEAR_M
    ]
    return min(near)[2] if near else ""


def _missing(name: str, roofs: Sequence[str]) -> Problem:
    return Problem(
        Severity.WARNING,
        f"{name} names surfaces that are not there: {', '.join(roofs)}",
        "write the names of the surfaces input, separated by semicolons",
        "plan, drawn_tanks",
    )


def _leads_nowhere(row: DrawnDownpipe, from_roof: bool) -> Problem:  # noqa: FBT001
    why = "it ends at no element" if from_roof else "it begins at no named surface"
    return Problem(
        Severity.WARNING,
        f"{row.name} leads nothing and was left out: {why}",
        "draw it from a named surface to an element, or fill in roof and to_id",
        f"plan, {row.LAYER}",
    )


def _too_much(roof: str, stated: float) -> Problem:
    return Problem(
        Severity.WARNING,
        f"{stated:.2f} of {roof} are shared out, more than there is; each share was made smaller",
        "let the shares of a roof add up to 1 or less",
        "plan, drawn_downpipes",
    )
