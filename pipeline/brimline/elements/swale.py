"""Swales: a level ditch along a contour, its spoil mounded along the lower lip.

The drawn line is the lower lip of the cut, where the ground is level along the line. Water
stands up to the sill; the settled mound gives the height above it.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Final, Literal

import numpy as np

from brimline.elements.element import Caution, Element, Kind
from brimline.elements.profile import Mound, Profile, cut_across, polygon_area_m2, steepness
from brimline.elements.soak import SEALED, Soak
from brimline.elements.storage import FloatArray, sampled

Form = Literal["trapezoid", "parabola", "vee"]

_PARABOLA_CORNERS: Final = 41
_USUAL_MOUND: Final = Mound()


@dataclass(frozen=True)
class Swale:
    """A swale's dimensions.

    Parameters
    ----------
    line_level_m : level of the drawn line, the lower lip of the cut [m].
    length_m : length along the line [m].
    ground_slope_pct : slope of the ground across it [%].
    depth_m : from the lip down to the floor [m].
    form : trapezoid, vee, or parabola.
    bottom_m : width of the floor of a trapezoid [m].
    top_m : width of a parabola at the lip's level [m].
    side, upper_side : batters below and above, run per rise.
    spill_over_line_m : level of the sill over the line; above 0 the mound holds water [m].
    mound : crest width and batters of the mound.
    settlement : share of the settled height by which the mound is built higher (about 0.10,
        common practice, no source).
    fill_per_cut : volume of settled fill from a volume of cut.
    freeboard_m : height that must stay dry below the settled crest; at least 0.15 m on small
        works, 0.3 m where failure harms (common practice, no source).
    start_level_m : water level before the storm; dry where left out [m].
    crest_over_line_m : settled crest over the line; all spoil used where None [m].
    """

    element_id: str
    line_level_m: float
    length_m: float
    ground_slope_pct: float
    depth_m: float = 0.4
    form: Form = "trapezoid"
    bottom_m: float = 0.6
    top_m: float = 2.5
    side: float = 2.0
    upper_side: float = 2.0
    spill_over_line_m: float = 0.0
    mound: Mound = _USUAL_MOUND
    settlement: float = 0.10
    fill_per_cut: float = 1.0
    freeboard_m: float = 0.15
    soak: Soak = SEALED
    start_level_m: float = -np.inf
    crest_over_line_m: float | None = None

    def __post_init__(self) -> None:
        if not (self.length_m > 0 and self.depth_m > 0):
            raise ValueError(
                f"{self.element_id}: a swale needs a length and a depth above 0, got "
                f"{self.length_m} m and {self.depth_m} m"
            )
        if self.form not in ("trapezoid", "parabola", "vee"):
            raise ValueError(f"a swale is trapezoid, parabola or vee, got {self.form!r}")
        if not self.depth_m + self.spill_over_line_m > 0:
            raise ValueError(
                f"{self.element_id}: the sill, {self.spill_over_line_m} m over the line, must "
                f"stand above the floor, {self.depth_m} m below it"
            )

    @cached_property
    def _cut(self) -> tuple[FloatArray, FloatArray]:
        """Corners of the cut from the lower lip to where its upper bank meets the ground."""
        slope = steepness(self.ground_slope_pct)
        if self.form == "parabola":
            across = np.linspace(0, self.top_m, _PARABOLA_CORNERS)
            rise = self.depth_m * ((2 * across / self.top_m - 1) ** 2 - 1)
            return cut_across(across, rise, self.top_m / (4 * self.depth_m), slope)
        bottom = self.bottom_m if self.form == "trapezoid" else 0.0
        inner = self.side * self.depth_m
        across = np.array([0.0, inner, inner + bottom])[: 3 if bottom > 0 else 2]
        rise = np.array([0.0, -self.depth_m, -self.depth_m])[: across.size]
        return cut_across(across, rise, self.upper_side, slope)

    @cached_property
    def cut_m2(self) -> float:
        """Area dug per metre of line [m²]."""
        across, rise = self._cut
        return polygon_area_m2(across, rise)

    @property
    def cut_m3(self) -> float:
        """Volume dug, ends not counted [m³]."""
        return self.cut_m2 * self.length_m

    @cached_property
    def mound_height_m(self) -> float:
        """Settled height of the crest over the line: as asked, else all spoil used [m]."""
        if self.crest_over_line_m is not None:
            return max(self.crest_over_line_m, 0.0)
        slope = steepness(self.ground_slope_pct)
        return self.mound.height_m(self.cut_m2 * self.fill_per_cut, slope)

    @property
    def cut_width_m(self) -> float:
        """Width of ground that is dug above the line [m]."""
        return float(self._cut[0][-1])

    @property
    def mound_width_m(self) -> float:
        """Width of ground that the mound covers below the line, to its toe [m]."""
        return self.mound.footprint_m(self.mound_height_m, steepness(self.ground_slope_pct))

    @property
    def built_height_m(self) -> float:
        """Height to which the mound is built, settlement allowed for [m]."""
        return self.mound_height_m * (1 + self.settlement)

    @property
    def spill_level_m(self) -> float:
        """Level of the sill [m]."""
        return self.line_level_m + self.spill_over_line_m

    @property
    def crest_level_m(self) -> float:
        """Level of the settled crest; not below the sill [m]."""
        return max(self.line_level_m + self.mound_height_m, self.spill_level_m)

    @cached_property
    def profile(self) -> Profile:
        """The section under the water, from the settled crest to the bank above."""
        across, rise = self._cut
        slope = steepness(self.ground_slope_pct)
        top = max(self.crest_level_m - self.line_level_m, 0.0) + 0.5
        across = np.concatenate([[-self.mound.inner * top], across])
        rise = np.concatenate([[top], rise])
        if rise[-1] < top:
            across = np.append(across, across[-1] + (top - rise[-1]) / slope)
            rise = np.append(rise, top)
        return Profile(across, rise)

    def fill_needed_m2(self) -> float:
        """Fill per metre of line that gives the freeboard [m²]."""
        height_m = self.spill_over_line_m + self.freeboard_m
        return self.mound.area_m2(max(height_m, 0.0), steepness(self.ground_slope_pct))

    def element(self) -> Element:
        """Work out storage and levels.

        The ends are taken as square and the floor as level; both are right within the length
        of one section.
        """
        level, length, profile = self.line_level_m, self.length_m, self.profile
        stages = sampled(
            level - self.depth_m,
            self.crest_level_m + 0.25,
            lambda at: length * profile.area_m2(at - level),
            lambda at: length * profile.width_m(at - level),
            also_at_m=(level, self.spill_level_m, self.crest_level_m),
        )
        lip_m3 = stages.storage_at(level)
        return Element(
            self.element_id,
            Kind.SWALE,
            stages,
            self.spill_level_m,
            self.crest_level_m,
            length,
            self.freeboard_m,
            (self.cut_width_m + self.mound_width_m) * length,
            self.soak,
            self.start_level_m,
            embankment_height_m=self.embankment_height_m,
            held_above_ground_m3=stages.storage_at(self.crest_level_m) - lip_m3,
            ground_slope_pct=self.ground_slope_pct,
            form=f"{self.form} swale",
            cautions=self._cautions(),
            shape=self,
        )

    @property
    def embankment_height_m(self) -> float:
        """Height of the settled crest over the outer toe of the mound [m]."""
        if self.mound_height_m <= 0:
            return 0.0
        return self.mound_height_m + steepness(self.ground_slope_pct) * self.mound_width_m

    def _cautions(self) -> tuple[Caution, ...]:
        spare_m = self.crest_level_m - self.spill_level_m
        if spare_m + 1e-9 >= self.freeboard_m:
            return ()
        stands = (
            f"{spare_m:.2f} m over the sill, less than the freeboard of {self.freeboard_m:.2f} m"
            if spare_m >= 0
            else f"to {-spare_m:.2f} m below the sill"
        )
        text = (
            f"spoil of {self.cut_m2:.2f} m² raises the mound {stands};"
            f" {self.fill_needed_m2():.2f} m² of settled fill would give its freeboard"
        )
        return (Caution("freeboard", text),)
