"""Colours and line styles of every layer, declared once: figures, map page and SLD read them here.

Colours come from sets published for colour-blind readers:

- lines and marks: Okabe & Ito (2008), "Color universal design", and Tol (2021), "Colour schemes",
  SRON/EPS/TN/09-002 issue 3.2, schemes bright, vibrant, muted and light;
- ramps (in `ramps`): ColorBrewer (Harrower & Brewer 2003, doi:10.1179/000870403235002042),
  viridis (van der Walt & Smith 2015) and cividis (Nuñez, Anderton & Renslow 2018,
  doi:10.1371/journal.pone.0199239).

Conventions follow the trade's drawings: brown contours with every index line heavier, blue for
water, a long dash with two dots for the boundary, a dash and a dot for divides, ticks and arrows
downslope (common practice, no source). What is only proposed is in vermilion; what is
designed is heavy and has the colour of its kind. Every colour has a counterpart for dark screens.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, Literal

import numpy as np

if TYPE_CHECKING:
    from geopandas import GeoDataFrame
    from numpy.typing import NDArray


@dataclass(frozen=True, slots=True)
class Ink:
    """A colour on paper and its counterpart on a dark screen, as ``#rrggbb``."""

    light: str
    dark: str


@dataclass(frozen=True, slots=True)
class LineStyle:
    """A line or an outline.

    Parameters
    ----------
    width_px : at 96 pixels an inch.
    dash_px : lengths of strokes and gaps in turn; empty is a plain line.
    arrow : shows the direction in which it is drawn.
    """

    ink: Ink
    width_px: float
    dash_px: tuple[float, ...] = ()
    arrow: bool = False


@dataclass(frozen=True, slots=True)
class Fill:
    """The inside of a polygon."""

    ink: Ink
    opacity: float
    hatch: Literal["", "slash"] = ""


@dataclass(frozen=True, slots=True)
class Mark:
    """A point symbol with a halo in the colour of the paper."""

    ink: Ink
    shape: Literal["circle", "square", "triangle", "diamond", "cross"]
    size_px: float


@dataclass(frozen=True, slots=True)
class Where:
    """Which rows a rule is for."""

    column: str
    test: Literal["=", ">="]
    value: str | float | bool

    def holds(self, value: object) -> bool:
        """Tell whether a row with this value is meant."""
        if self.test == "=":
            return bool(value == self.value)
        return isinstance(value, int | float) and value >= float(self.value)


@dataclass(frozen=True, slots=True)
class Rule:
    """How some or all rows of a layer are drawn; the last rule that holds is taken."""

    title: str
    line: LineStyle | None = None
    fill: Fill | None = None
    mark: Mark | None = None
    where: Where | None = None


@dataclass(frozen=True, slots=True)
class Style:
    """How a layer is drawn.

    Parameters
    ----------
    rules : from the general to the particular.
    label : column whose value is written beside the feature; empty for none.
    """

    layer: str
    rules: tuple[Rule, ...]
    label: str = ""

    def rule(self, row: object) -> Rule:
        """Return the rule for a row (a mapping of column to value)."""
        get = getattr(row, "get", lambda _: None)
        found = self.rules[0]
        for rule in self.rules:
            if rule.where is None or rule.where.holds(get(rule.where.column)):
                found = rule
        return found


# the sheet
PAPER: Final = Ink("#fcfbf7", "#14191b")
INK: Final = Ink("#1c2526", "#e9ebe6")
QUIET: Final = Ink("#566062", "#a3adad")
RULE_LINE: Final = Ink("#c9cdc6", "#3c4648")

# Okabe & Ito
BLUE: Final = Ink("#0072b2", "#56b4e9")
BLUE_GREEN: Final = Ink("#009e73", "#44bb99")
VERMILION: Final = Ink("#d55e00", "#e69f00")
# Tol
INDIGO: Final = Ink("#332288", "#99ddff")
WINE: Final = Ink("#882255", "#ffaabb")
PURPLE: Final = Ink("#aa3377", "#cc99bb")
RED: Final = Ink("#cc3311", "#ee8866")
OLIVE: Final = Ink("#999933", "#bbcc33")
TEAL: Final = Ink("#44aa99", "#77cccc")
CYAN: Final = Ink("#88ccee", "#88ccee")
GREEN: Final = Ink("#117733", "#5aae61")
SAND: Final = Ink("#ddcc77", "#ddcc77")
# ColorBrewer BrBG: the brown of contours
BROWN: Final = Ink("#8c510a", "#dfc27d")
GREY: Final = Ink("#777777", "#bbbbbb")

INKS: Final = (
    PAPER,
    INK,
    QUIET,
    RULE_LINE,
    BLUE,
    BLUE_GREEN,
    VERMILION,
    INDIGO,
    WINE,
    PURPLE,
    RED,
    OLIVE,
    TEAL,
    CYAN,
    GREEN,
    SAND,
    BROWN,
    GREY,
)

CELLS: Final = (
    "#77aadd",
    "#ee8866",
    "#eedd88",
    "#ffaabb",
    "#99ddff",
    "#44bb99",
    "#bbcc33",
    "#aaaa00",
)
"""Pale fills for areas that only need telling apart (Tol, scheme light), in the set's order."""

_DIVIDE: Final = (8.0, 3.0, 1.5, 3.0)
_PROPOSED: Final = (5.0, 2.5)
_BOUNDARY: Final = (14.0, 3.0, 2.0, 3.0, 2.0, 3.0)


def _kind(value: str, title: str, *, line: LineStyle, fill: Fill) -> Rule:
    return Rule(title, line=line, fill=fill, where=Where("kind", "=", value))


def _built(verdict: str, title: str, ink: Ink, dash_px: tuple[float, ...] = ()) -> Rule:
    return Rule(
        title,
        line=LineStyle(ink, 2.4, dash_px),
        fill=Fill(ink, 0.35),
        mark=Mark(ink, "circle", 8.0),
        where=Where("verdict", "=", verdict),
    )


STYLES: Final[dict[str, Style]] = {
    style.layer: style
    for style in (
        Style("boundary", (Rule("Boundary", line=LineStyle(INK, 2.2, _BOUNDARY)),)),
        Style(
            "surfaces",
            (
                Rule("Land cover", line=LineStyle(GREY, 0.8), fill=Fill(SAND, 0.12)),
                *(
                    Rule(
                        title,
                        line=LineStyle(INK, 1.0),
                        fill=Fill(QUIET, 0.55),
                        where=Where("cover", "=", cover),
                    )
                    for cover, title in (("roof", "Roof"), ("paving", "Paving"))
                ),
                Rule(
                    "Woods",
                    line=LineStyle(GREY, 0.8),
                    fill=Fill(GREEN, 0.18),
                    where=Where("cover", "=", "woods"),
                ),
                Rule(
                    "Gravel",
                    line=LineStyle(GREY, 0.8),
                    fill=Fill(GREY, 0.35),
                    where=Where("cover", "=", "gravel"),
                ),
            ),
            label="name",
        ),
        Style("levels", (Rule("Level", mark=Mark(GREY, "circle", 4.0)),), label="level_m"),
        Style(
            "measure_next",
            (Rule("Measure here next", mark=Mark(RED, "triangle", 9.0)),),
            label="rank",
        ),
        Style(
            "obstructions",
            (
                Rule("Keeps off sun and wind", line=LineStyle(INK, 1.0)),
                Rule(
                    "The same, height assumed",
                    line=LineStyle(RED, 1.2, (3.0, 2.0)),
                    where=Where("flag", "=", "assumed"),
                ),
            ),
        ),
        Style("soils", (Rule("Soil", line=LineStyle(GREY, 1.2, (2.0, 3.0))),), label="texture"),
        Style(
            "keep_out",
            (Rule("Keep-out area", line=LineStyle(RED, 1.1), fill=Fill(RED, 0.8, "slash")),),
            label="name",
        ),
        Style(
            "contours",
            (
                Rule("Contour", line=LineStyle(BROWN, 0.6)),
                Rule(
                    "Index contour",
                    line=LineStyle(BROWN, 1.3),
                    where=Where("index", "=", value=True),
                ),
            ),
            label="level_m",
        ),
        Style(
            "subcatchments",
            (Rule("Subcatchment", line=LineStyle(INDIGO, 1.4, _DIVIDE), fill=Fill(CYAN, 0.14)),),
            label="intake_id",
        ),
        Style("hollows", (Rule("Hollow", line=LineStyle(BLUE, 0.8), fill=Fill(BLUE, 0.35)),)),
        Style(
            "pond_sites",
            (
                Rule(
                    "Place for a pond", line=LineStyle(BLUE, 1.4, (5.0, 2.0)), fill=Fill(CYAN, 0.5)
                ),
            ),
            label="site_id",
        ),
        Style("pond_banks", (Rule("Its bank", line=LineStyle(BROWN, 3.0)),)),
        Style(
            "flow_paths",
            (
                Rule("Flow path", line=LineStyle(BLUE, 1.0)),
                Rule("Path of order 2", line=LineStyle(BLUE, 1.7), where=Where("order", ">=", 2)),
                Rule("Path of order 3", line=LineStyle(BLUE, 2.5), where=Where("order", ">=", 3)),
                Rule("Order 4 and up", line=LineStyle(BLUE, 3.4), where=Where("order", ">=", 4)),
            ),
        ),
        Style(
            "longest_paths",
            (Rule("Longest flow path", line=LineStyle(INDIGO, 1.6, (6.0, 3.0), arrow=True)),),
        ),
        Style("culverts", (Rule("Culvert", line=LineStyle(INK, 2.6, (3.0, 2.0))),), label="name"),
        Style("valley_lines", (Rule("Valley line", line=LineStyle(BLUE, 1.4, (6.0, 2.0))),)),
        Style("ridge_lines", (Rule("Ridge line", line=LineStyle(BROWN, 1.4, (6.0, 2.0))),)),
        Style("cultivation_lines", (Rule("Cultivation line", line=LineStyle(VERMILION, 0.7)),)),
        Style("keylines", (Rule("Keyline", line=LineStyle(VERMILION, 2.4)),), label="keyline_id"),
        Style(
            "keypoints", (Rule("Keypoint", mark=Mark(VERMILION, "diamond", 9.0)),), label="level_m"
        ),
        Style(
            "swale_lines",
            (Rule("Proposed swale line", line=LineStyle(VERMILION, 1.4, _PROPOSED)),),
            label="swale_id",
        ),
        Style(
            "drain_lines",
            (Rule("Proposed drain line", line=LineStyle(VERMILION, 1.4, (1.5, 2.5), arrow=True)),),
            label="drain_id",
        ),
        Style(
            "elements",
            (
                Rule(
                    "Element",
                    line=LineStyle(BLUE, 1.6),
                    fill=Fill(BLUE, 0.35),
                    mark=Mark(BLUE, "circle", 8.0),
                ),
                _kind(
                    "swale", "Swale", line=LineStyle(BLUE_GREEN, 2.6), fill=Fill(BLUE_GREEN, 0.4)
                ),
                _kind(
                    "drain",
                    "Drain",
                    line=LineStyle(PURPLE, 2.2, (9.0, 3.0), arrow=True),
                    fill=Fill(PURPLE, 0.3),
                ),
                _kind("pond", "Pond", line=LineStyle(BLUE, 1.6), fill=Fill(BLUE, 0.5)),
                _kind("basin", "Basin", line=LineStyle(GREEN, 1.6), fill=Fill(GREEN, 0.4)),
                Rule(
                    "Tank",
                    line=LineStyle(INDIGO, 1.6),
                    fill=Fill(INDIGO, 0.5),
                    mark=Mark(INDIGO, "square", 9.0),
                    where=Where("kind", "=", "tank"),
                ),
            ),
            label="element_id",
        ),
        Style(
            "change_areas",
            (Rule("Changed ground", line=LineStyle(RED, 0.8), fill=Fill(RED, 0.35)),),
        ),
        Style("intake_changes", (Rule("Intake", mark=Mark(INDIGO, "triangle", 10.0)),)),
        Style("line_changes", (Rule("Line", line=LineStyle(RED, 1.8)),)),
        Style(
            "element_changes", (Rule("Element", line=LineStyle(RED, 1.8), fill=Fill(RED, 0.15)),)
        ),
        Style(
            "bank_hazards",
            (
                Rule(
                    "Way of a failed bank's water", line=LineStyle(RED, 1.6, (2.0, 2.0), arrow=True)
                ),
            ),
        ),
        Style("overflows", (Rule("Overflow", line=LineStyle(WINE, 1.8, (4.0, 2.5), arrow=True)),)),
        Style(
            "raised_areas",
            (Rule("Stands on the ground", line=LineStyle(RED, 1.0), fill=Fill(RED, 0.25)),),
        ),
        Style("downpipes", (Rule("Downpipe or trough", line=LineStyle(INDIGO, 1.2, (2.0, 2.0))),)),
        Style("intakes", (Rule("Intake", mark=Mark(INDIGO, "triangle", 10.0)),), label="name"),
        Style(
            "zones",
            (Rule("Planting zone", line=LineStyle(GREEN, 1.2), fill=Fill(GREEN, 0.22)),),
            label="zone_id",
        ),
        Style(
            "pads",
            (Rule("Pad", line=LineStyle(BROWN, 1.4), fill=Fill(SAND, 0.35)),),
            label="element_id",
        ),
        Style(
            "proof_paths",
            (
                Rule(
                    "Overflow as built",
                    line=LineStyle(INDIGO, 1.6, (2.0, 2.0), arrow=True),
                ),
            ),
        ),
        Style(
            "as_built_elements",
            (
                Rule(
                    "Built as designed",
                    line=LineStyle(BLUE_GREEN, 2.0),
                    fill=Fill(BLUE_GREEN, 0.35),
                    mark=Mark(BLUE_GREEN, "circle", 8.0),
                ),
                _built("works", "Off level, works", VERMILION, (9.0, 3.0)),
                _built("fails", "Fails as built", RED),
                _built("not decided", "Not decided by the survey", BLUE, (6.0, 3.0)),
                _built("not surveyed", "Not surveyed", GREY, (2.0, 3.0)),
            ),
            label="element_id",
        ),
        Style(
            "as_built_stakes",
            (
                Rule("Level passes", mark=Mark(BLUE_GREEN, "circle", 3.5)),
                Rule(
                    "Level fails",
                    mark=Mark(RED, "diamond", 7.0),
                    where=Where("verdict", "=", "fail"),
                ),
                Rule(
                    "Level not decided",
                    mark=Mark(BLUE, "circle", 5.0),
                    where=Where("verdict", "=", "not decided"),
                ),
                Rule(
                    "Level not surveyed",
                    mark=Mark(GREY, "cross", 4.0),
                    where=Where("verdict", "=", "not surveyed"),
                ),
            ),
        ),
        Style(
            "tracks",
            (
                Rule("Track", line=LineStyle(BROWN, 2.6)),
                Rule(
                    "No way found",
                    line=LineStyle(RED, 1.6, (4.0, 3.0)),
                    where=Where("flag", "=", "no-track"),
                ),
            ),
            label="track_id",
        ),
        Style(
            "track_crossings",
            (
                Rule("Culvert of a track", mark=Mark(INDIGO, "square", 7.0)),
                Rule(
                    "Dip in a track",
                    mark=Mark(BLUE, "circle", 6.0),
                    where=Where("way", "=", "dip"),
                ),
                Rule(
                    "Ford or bridge",
                    mark=Mark(RED, "diamond", 8.0),
                    where=Where("way", "=", "ford"),
                ),
            ),
        ),
        Style("springs", (Rule("Spring likely", mark=Mark(BLUE, "triangle", 7.0)),)),
        Style(
            "plants",
            (
                Rule("Plant", mark=Mark(BLUE_GREEN, "circle", 3.0)),
                Rule(
                    "Tree",
                    mark=Mark(GREEN, "circle", 6.0),
                    where=Where("layer", "=", "canopy"),
                ),
                Rule(
                    "Small tree",
                    mark=Mark(BLUE_GREEN, "circle", 5.0),
                    where=Where("layer", "=", "understorey"),
                ),
                Rule(
                    "Shrub",
                    mark=Mark(INDIGO, "diamond", 4.0),
                    where=Where("layer", "=", "shrub"),
                ),
                Rule(
                    "Climber",
                    mark=Mark(PURPLE, "triangle", 4.0),
                    where=Where("layer", "=", "climber"),
                ),
                Rule(
                    "Herb",
                    mark=Mark(BLUE_GREEN, "circle", 2.5),
                    where=Where("layer", "=", "herb"),
                ),
                Rule(
                    "Ground cover",
                    mark=Mark(BROWN, "circle", 2.0),
                    where=Where("layer", "=", "groundcover"),
                ),
            ),
        ),
        Style("notes", (Rule("Note", mark=Mark(WINE, "diamond", 9.0)),), label="note_id"),
        Style("stakes", (Rule("Stake", mark=Mark(INK, "cross", 5.0)),)),
    )
}


def style(layer: str) -> Style:
    """Return how a layer is drawn; one without a style of its own is drawn in plain ink."""
    plain = Rule(
        layer.replace("_", " ").capitalize(),
        line=LineStyle(QUIET, 1.2),
        fill=Fill(QUIET, 0.2),
        mark=Mark(QUIET, "circle", 6.0),
    )
    return STYLES.get(layer, Style(layer, (plain,)))


def theme_colours(*, dark: bool) -> str:
    """Return the colours of the pages as CSS declarations."""
    named = {
        "paper": PAPER,
        "ink": INK,
        "quiet": QUIET,
        "rule": RULE_LINE,
        "water": BLUE,
        "works": BLUE_GREEN,
        "alarm": RED,
    }
    return "".join(f"--{name}:{ink.dark if dark else ink.light};" for name, ink in named.items())


def rule_numbers(layer: GeoDataFrame, rules: tuple[Rule, ...]) -> NDArray[np.intp]:
    """Return the place of the rule that each row is drawn by: the last that holds."""
    taken = np.zeros(len(layer), dtype=np.intp)
    for number, rule in enumerate(rules):
        where = rule.where
        if where is not None and where.column in layer.columns:
            holds = np.array([where.holds(value) for value in layer[where.column]], dtype=bool)
            taken[holds] = number
    return taken
