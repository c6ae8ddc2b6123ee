"""The whole pattern of a site: keylines and guides kept apart, and the lines beside them."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

from brimline.errors import Problem, Severity
from brimline.lines.keyline.choosing import chosen_guides, places_on_floors
from brimline.lines.keyline.cultivation import cultivation_of_all
from brimline.lines.keyline.guides import guide_line
from brimline.lines.keyline.keylines import keylines
from brimline.lines.keyline.keypoints import given_keypoint
from brimline.lines.keyline.shares import kept_apart
from brimline.lines.keyline.trimming import trimmed
from brimline.units import counted

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    import shapely

    from brimline.grid import Elevation, Grid
    from brimline.lines.keyline.cultivation import CultivationLine
    from brimline.lines.keyline.keylines import Keyline
    from brimline.lines.keyline.keypoints import Keypoint
    from brimline.lines.keyline.working import Useful
    from brimline.lines.level_lines import Drawing
    from brimline.lines.limits import Limits
    from brimline.lines.relief import RidgeLine, ValleyLine

_FEW_SHARE: Final = 0.1  # of the site that is lined, below which the reason is told


@dataclass(frozen=True, slots=True)
class Ploughing:
    """How lines are laid beside guides, and which guides are worth having.

    Parameters
    ----------
    width_m, reach_m, turning_radius_m, min_length_m : as for `cultivation_lines`.
    useful : what counts as of use where guides are chosen.
    guides_apart_m : along valley floors, how far apart level lines are tried as guides [m].
    guide_least_m, most_guides : as `least_m` and `most` of `chosen_guides`.
    """

    width_m: float
    reach_m: float
    turning_radius_m: float
    min_length_m: float
    useful: Useful
    guides_apart_m: float
    guide_least_m: float
    most_guides: int


@dataclass(frozen=True, slots=True, eq=False)
class Country:
    """The ground that a pattern is laid on.

    Parameters
    ----------
    survey, surface : float32 (rows, cols) [m], as surveyed and smoothed for tracing.
    where : ground where no line may run.
    """

    survey: Elevation
    surface: Elevation
    grid: Grid
    valleys: Sequence[ValleyLine]
    ridges: Sequence[RidgeLine]
    where: Limits
    drawing: Drawing

    def pegged(self, whole: Sequence[Keyline]) -> list[Keyline]:
        """Trim keylines to the ground that may be worked."""
        return trimmed(whole, self.survey, self.grid, self.where, self.drawing)


@dataclass(frozen=True, slots=True)
class Pattern:
    """Keylines and guides as pegged out, lines beside them, and keylines that others cut short.

    Parameters
    ----------
    shortened : whole keylines, each with the length that is left of it [m].
    """

    keylines: tuple[Keyline, ...]
    lines: tuple[CultivationLine, ...]
    shortened: tuple[tuple[Keyline, float], ...]

    def told(self) -> list[Problem]:
        """Say what was cut short, and why keylines have no lines beside them."""
        told = []
        for one, left_m in self.shortened:
            name = (
                f"the keyline of keypoint {one.keypoint_id}" if one.keypoint_id else "a guide line"
            )
            text = (
                f"{name} meets another keyline or guide line, which goes first: {left_m:.0f} m of"
                f" its {one.length_m:.0f} m are left"
            )
            mend = "move the keypoint or the guide line, if this one should go first"
            told.append(Problem(Severity.NOTICE, text, mend, "keylines"))
        without = sorted({one.keypoint_id for one in self.keylines if "not-followed" in one.flags})
        if without:
            names = ", ".join(str(one) if one else "a guide line" for one in without)
            guides = counted(len({one.keyline_id for one in self.lines}), "guide")
            text = (
                f"no cultivation lines were drawn beside the keyline of {names}: the valley is not"
                " steeper above it, or not gentler below, than the flanks, so too little would fall"
                f" from valley to ridge; {sum(one.length_m for one in self.lines):.0f} m of lines"
                f" follow {guides}"
            )
            mend = 'set cultivation.guides = "keypoints" to have them drawn all the same'
            told.append(Problem(Severity.NOTICE, text, mend, "keylines"))
        return told

    def few_told(self, site_m2: float, width_m: float, valleys: int) -> list[Problem]:
        """Say why little of a site is lined, where little is.

        Parameters
        ----------
        width_m : of a pass [m].
        valleys : how many were found.
        """
        share = width_m * sum(one.length_m for one in self.lines) / site_m2
        if share >= _FEW_SHARE:
            return []
        why = (
            f"of {counted(valleys, 'valley')} too little is steeper than its flanks above a level"
            " line, or gentler below it, for lines beside one to fall from valley to ridge"
            if valleys
            else "it has no valley, and the pattern spreads the water of valleys"
        )
        text = f"cultivation lines cover {share:.0%} of the site: {why}"
        mend = "draw guide_lines where you want lines all the same; the rest is left unlined"
        return [Problem(Severity.NOTICE, text, mend, "keylines")]


def with_given(
    found: Sequence[Keypoint],
    given: Iterable[shapely.Point],
    surface: Elevation,
    grid: Grid,
    valleys: Sequence[ValleyLine],
) -> list[Keypoint]:
    """Give keypoints numbers; in a valley where a person drew some, these alone count."""
    own = [given_keypoint(surface, grid, valleys, point) for point in given]
    replaced = {point.valley_id for point in own}
    every = [*(point for point in found if point.valley_id not in replaced), *own]
    return [replace(point, keypoint_id=number) for number, point in enumerate(every, start=1)]


def pattern(
    country: Country,
    keypoints: Sequence[Keypoint],
    drawn: Iterable[shapely.LineString],
    ploughing: Ploughing,
    *,
    choose: bool,
) -> Pattern:
    """Lay keylines through keypoints and drawn guide lines, and cultivation lines beside them.

    Parameters
    ----------
    drawn : guide lines of a person.
    choose : take further level lines as guides where most length falls from valley to ridge, and
        draw lines only where it does; False: all lines beside every keyline, however they fall.
    """
    own = {one.keypoint_id for one in keypoints if one.kind == "given"} | {0}
    whole, shortened = _whole(country, keypoints, drawn, own, 0.5 * ploughing.width_m)
    last = max((one.keyline_id for one in whole), default=0)
    if choose:
        whole, lines = _chosen(country, whole, own, ploughing)
    else:
        lines = _beside_all(country, whole, ploughing)
    pegged = country.pegged(whole)
    there = {one.keyline_id for one in pegged}
    lines = [one for one in lines if one.keyline_id in there]
    used = {one.keyline_id for one in lines}
    told = tuple(
        replace(one, flags=(*one.flags, "not-followed"))
        if one.kind != "chosen" and one.keyline_id <= last and one.keyline_id not in used
        else one
        for one in pegged
    )
    return Pattern(told, tuple(lines), shortened)


def _whole(
    country: Country,
    keypoints: Sequence[Keypoint],
    drawn: Iterable[shapely.LineString],
    own: set[int],
    apart_m: float,
) -> tuple[list[Keyline], tuple[tuple[Keyline, float], ...]]:
    """Keylines and drawn guide lines, kept apart: what a person chose goes before what was found.

    They are whole, not trimmed to the site: cultivation lines are parallel to all of them.
    """
    ground = (country.survey, country.surface, country.grid, country.valleys, country.ridges)
    found = keylines(keypoints, *ground, drawing=country.drawing)
    for shape in drawn:
        number = len(found) + 1
        found.append(guide_line(shape, *ground, drawing=country.drawing, keyline_id=number))
    first = sorted(found, key=lambda one: (one.keypoint_id not in own, one.keypoint_id != 0))
    kept = kept_apart(first, apart_m=apart_m)
    left_m = {one.keyline_id: one.length_m for one in kept}
    shortened = tuple(
        (one, left_m.get(one.keyline_id, 0.0))
        for one in found
        if left_m.get(one.keyline_id, 0.0) < one.length_m
    )
    return sorted(kept, key=lambda one: one.keyline_id), shortened


def _beside_all(
    country: Country, whole: Sequence[Keyline], ploughing: Ploughing
) -> list[CultivationLine]:
    there = {one.keyline_id for one in country.pegged(whole)}
    return cultivation_of_all(
        country.surface,
        country.grid,
        [one for one in whole if one.keyline_id in there],
        country.where,
        width_m=ploughing.width_m,
        reach_m=ploughing.reach_m,
        turning_radius_m=ploughing.turning_radius_m,
        min_length_m=ploughing.min_length_m,
    )


def _chosen(
    country: Country, whole: Sequence[Keyline], own: set[int], ploughing: Ploughing
) -> tuple[list[Keyline], list[CultivationLine]]:
    """Choose guides; what a person drew goes first. All keylines stay, with or without lines."""
    surface, grid, valleys = country.surface, country.grid, country.valleys
    places = places_on_floors(surface, grid, valleys, apart_m=ploughing.guides_apart_m)
    tried = keylines(
        places, country.survey, surface, grid, valleys, country.ridges,
        drawing=country.drawing, first_id=len(whole) + 1,
    )  # fmt: skip
    there = {one.keyline_id for one in country.pegged([*whole, *tried])}
    chosen = chosen_guides(
        surface,
        grid,
        [one for one in whole if one.keypoint_id in own and one.keyline_id in there],
        [
            *(one for one in whole if one.keypoint_id not in own and one.keyline_id in there),
            *(one for one in tried if one.keyline_id in there),
        ],
        country.where,
        ploughing.useful,
        width_m=ploughing.width_m,
        reach_m=ploughing.reach_m,
        turning_radius_m=ploughing.turning_radius_m,
        min_length_m=ploughing.min_length_m,
        least_m=ploughing.guide_least_m,
        most=ploughing.most_guides,
    )
    added = [one for one in chosen.guides if one.keyline_id > len(whole)]
    number_of = {one.keyline_id: place for place, one in enumerate(added, start=len(whole) + 1)}
    guides = kept_apart(
        [*whole, *(replace(one, keyline_id=number_of[one.keyline_id]) for one in added)],
        apart_m=0.5 * ploughing.width_m,
    )
    lines = [
        replace(one, keyline_id=number_of.get(one.keyline_id, one.keyline_id))
        for one in chosen.lines
    ]
    return guides, lines
