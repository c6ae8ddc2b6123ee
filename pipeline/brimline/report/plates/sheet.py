"""The drawing sheet of a map plate: ground, layers and labels over the strip."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING, Any, Final

import matplotlib as mpl
import numpy as np
import shapely
from matplotlib.figure import Figure
from matplotlib.patches import Circle, PathPatch, Polygon, Rectangle
from matplotlib.path import Path
from matplotlib.patheffects import withStroke

from brimline.report import backdrop
from brimline.report.palette import INK, PAPER, RED, style
from brimline.report.plates import labels
from brimline.report.plates.pens import MARKERS, MM, PX, by_rule, dashes, rings, text_width_pt
from brimline.report.plates.scales import drawing_scale, scale_words
from brimline.report.plates.strip import Strip
from brimline.report.plates.svg import BACKDROP, SETTINGS, svg_of
from brimline.units import FOOT_M

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Sequence

    from geopandas import GeoDataFrame
    from numpy.typing import NDArray

    from brimline.report.palette import Rule
    from brimline.report.plates.frame import MapFrame
    from brimline.report.ramps import Ramp
    from brimline.report.results import Results

_WIDTH_MM: Final = 180.0
_HIGHEST_MM: Final = 178.0
_PIXELS: Final = 1300
_KEY_PLAN_PT: Final = 84.0
_GROUND: Final = frozenset({"contours", "surfaces", "keep_out", "boundary"})  # others are works


class Sheet:
    """One map plate while it is drawn.

    Parameters
    ----------
    frame : ground that is shown.
    ramp, values : a raster of the run's grid in the colours of its ramp, over the relief.
    letters : size of labels, as a share of the usual.
    size_mm : width of the printed sheet, and height of its map at most. So much more ground is
        shown that the map has a plain scale on it.
    """

    def __init__(
        self,
        results: Results,
        frame: MapFrame,
        *,
        ramp: Ramp | None = None,
        values: NDArray[Any] | None = None,
        letters: float = 1.0,
        size_mm: tuple[float, float] = (_WIDTH_MM, _HIGHEST_MM),
    ) -> None:
        self.results = results
        self._wide_mm = size_mm[0]
        self._letters = letters
        us, fits = results.units == "us", 1000 / _mm_a_metre(frame, size_mm)
        denominator = drawing_scale(fits, us=us)
        frame = frame.grown(denominator / fits)
        self.frame = frame
        width_m, height_m = frame.east - frame.west, frame.north - frame.south
        self.scale = _mm_a_metre(frame, size_mm) * MM  # points a metre
        self.width, self.height = width_m * self.scale, height_m * self.scale
        self._strip = Strip(results, scale_words(denominator, us=us), size_mm[0], letters)
        self._wanted: list[labels.WantedLabel] = []
        self._taken: list[labels.Box] = []
        self._works: list[Any] = []
        with mpl.rc_context(SETTINGS):
            self.figure = Figure(figsize=(self._wide_mm / 25.4, self.height / 72), facecolor="none")
            self.axes = self.figure.add_axes((0, 0, 1, 1))
        # the axes have their limits: patches go on as plain artists, whose extent nobody asks for
        self._ground = self._picture(ramp, values)
        if ramp is not None:
            self._strip.add_ramp(ramp)

    # --- drawing

    def draw(
        self, name: str, *, label: bool = False, only: str = "", unfilled: bool = False
    ) -> None:
        """Draw a layer of the run in its style; does nothing where the run lacks it.

        Parameters
        ----------
        only : title of the one rule that is drawn; empty draws all.
        """
        layer = self.results.layer(name)
        if layer is None:
            return
        look = style(name)
        for rule, rows in by_rule(layer, look.rules):
            if only and rule.title != only:
                continue
            self.rule(replace(rule, fill=None) if unfilled else rule, rows)
            if name not in _GROUND:
                self._works += list(rows.geometry)
            if label and look.label and look.label in rows.columns:
                self._label_rows(rule, rows, look.label)

    def rule(self, rule: Rule, rows: GeoDataFrame) -> None:
        """Draw rows by one rule, and name it in the legend."""
        shapes = self._seen(rows.geometry.to_numpy())
        if not len(shapes):
            return
        kinds = shapely.get_type_id(shapes)
        areas = shapes[np.isin(kinds, (3, 6))]
        lines = shapes[np.isin(kinds, (1, 2, 5))]
        points = shapes[np.isin(kinds, (0, 4))]
        if len(areas):
            self._areas(rule, areas)
        if len(lines) and rule.line is not None:
            self._lines(rule, lines)
        if len(points) and rule.mark is not None:
            self._points(rule, points)
        filled = len(areas) and rule.fill is not None
        kind = "area" if filled else "line" if len(lines) or len(areas) else "point"
        self._strip.add(rule.title, rule, kind)

    def areas(self, shapes: NDArray[Any], colours: Sequence[str], opacity: float) -> None:
        """Fill each polygon with its own colour."""
        for shape, colour in zip(shapes, colours, strict=True):
            for seen in self._seen(np.array([shape])):
                self.axes.add_artist(
                    PathPatch(self._path([seen]), facecolor=colour, alpha=opacity, linewidth=0)
                )

    def label(
        self,
        text: str,
        places: Callable[[float, float], tuple[labels.Place, ...]],
        *,
        colour: str = INK.light,
        size: float = 6.5,
        rank: float = 5.0,
    ) -> None:
        """Ask for a place for a label; `places` is told the text's width and height."""
        width, height = self._measure(text, size * self._letters)
        wanted = labels.WantedLabel(text, width, height, places(width, height), rank, colour)
        self._wanted.append(wanted)

    def key_plan(self, name: str) -> None:
        """Draw the outline of a layer, with the ground of this sheet in it.

        It stands in the corner where the least of what has been drawn lies.
        """
        layer = self.results.layer(name)
        if layer is None:
            return
        west, south, east, north = layer.total_bounds
        size = _KEY_PLAN_PT / max(east - west, north - south)
        wide, high = (east - west) * size, (north - south) * size
        pad, rim = 4, 9
        left, top = min(
            ((x, y) for y in (self.height - rim, high + rim)
             for x in (self.width - wide - rim, rim)),
            key=lambda corner: self._covered(corner[0], corner[1] - high, wide, high),
        )  # fmt: skip

        def at(points: NDArray[Any]) -> NDArray[Any]:
            placed: NDArray[Any] = (points - (west, north)) * size + (left, top)
            return placed

        box = labels.Box(left - pad, top - high - pad, left + wide + pad, top + pad)
        self.axes.add_artist(
            Rectangle((box.left, box.bottom), box.right - box.left, box.top - box.bottom,
                      facecolor=PAPER.light, edgecolor=INK.light, linewidth=0.6, zorder=9)
        )  # fmt: skip
        for shape in layer.geometry:
            for ring in rings(shape):
                self.axes.add_artist(
                    Polygon(at(shapely.get_coordinates(ring)), closed=True, fill=False,
                            edgecolor=INK.light, linewidth=0.8, zorder=10)
                )  # fmt: skip
        seen = shapely.get_coordinates(
            shapely.box(*self.frame.bounds).intersection(shapely.box(west, south, east, north))
        )
        if len(seen):
            self.axes.add_artist(
                Polygon(at(seen), closed=True, facecolor=RED.light, alpha=0.3, zorder=10)
            )
        self._taken.append(box)

    def _covered(self, left: float, bottom: float, wide: float, high: float) -> float:
        """Return how much of the works a box on the sheet would hide [pt²]."""
        west, south = self.frame.west, self.frame.south
        box = shapely.box(*(np.array((left, bottom, left + wide, bottom + high)) / self.scale
                            + (west, south, west, south)))  # fmt: skip
        pen = 3 / self.scale
        return float(sum(shape.buffer(pen).intersection(box).area for shape in self._works))

    def xy(self, x: float, y: float) -> tuple[float, float]:
        """Return a map coordinate in points on the sheet."""
        return (x - self.frame.west) * self.scale, (y - self.frame.south) * self.scale

    # --- the end

    def svg(self, prefix: str) -> str:
        """Place the labels, draw the strip beneath the map, and return the plate."""
        with mpl.rc_context(SETTINGS):
            self._draw_labels()
            strip_mm = self._strip.height_mm
            total = self.height + strip_mm * MM
            left = (self._wide_mm * MM - self.width) / 2
            self.figure.set_size_inches(self._wide_mm / 25.4, total / 72)
            wide = self._wide_mm * MM
            self.axes.set_position(
                (left / wide, strip_mm * MM / total, self.width / wide, self.height / total)
            )
            self._finish_axes()
            beneath = self.figure.add_axes((0, 0, 1, strip_mm * MM / total))
            self._strip.draw(beneath, self._wide_mm, self.scale / MM)
            attributes = self._image_place(left)
            return svg_of(self.figure, prefix, (self._ground, attributes, self._frame_shape(left)))

    def _finish_axes(self) -> None:
        axes = self.axes
        axes.set_xlim(0, self.width)
        axes.set_ylim(0, self.height)
        axes.set_xticks([])
        axes.set_yticks([])
        axes.patch.set_visible(False)
        for spine in axes.spines.values():
            spine.set_color(INK.light)
            spine.set_linewidth(0.7)
        stand_in = Rectangle((0, 0), self.width, self.height, facecolor=PAPER.light, zorder=-10)
        stand_in.set_gid(BACKDROP)
        axes.add_artist(stand_in)

    def _picture(self, ramp: Ramp | None, values: NDArray[Any] | None) -> bytes:
        grid = self.results.grid
        rows, cols = backdrop.window(grid, self.frame.bounds)
        shade = self.results.raster("hillshade")
        part = np.full(grid.shape, 255, np.uint8) if shade is None else shade
        self._image = grid.window(
            rows.start, cols.start, rows.stop - rows.start, cols.stop - cols.start
        )
        if ramp is None or values is None:
            return backdrop.jpeg(backdrop.relief(part[rows, cols], _PIXELS))
        return backdrop.jpeg(backdrop.coloured(part[rows, cols], values[rows, cols], ramp, _PIXELS))

    def _frame_shape(self, left: float) -> str:
        size = f'width="{self.width:.2f}" height="{self.height:.2f}"'
        return f'<rect x="{left:.2f}" y="0" {size}/>'

    def _image_place(self, left: float) -> str:
        west, _, _, north = self._image.bounds
        x, y = self.xy(west, north)
        width = self._image.cols * self._image.cell_m * self.scale
        height = self._image.rows * self._image.cell_m * self.scale
        # cells at the rim stick out of the frame by less than one, and are cut off there
        return (
            f'x="{left + x:.2f}" y="{self.height - y:.2f}" width="{width:.2f}"'
            f' height="{height:.2f}" preserveAspectRatio="none"'
        )

    def _seen(self, shapes: NDArray[Any]) -> NDArray[Any]:
        """Clip to the frame and drop what is finer than the pen."""
        margin = 3 / self.scale
        west, south, east, north = self.frame.bounds
        shapes = shapes[~(shapely.is_missing(shapes) | shapely.is_empty(shapes))]
        boxed = shapely.box(west - margin, south - margin, east + margin, north + margin)
        near = shapes[shapely.intersects(shapes, boxed)]
        cut = shapely.intersection(near, boxed)
        fine = shapely.simplify(cut, 0.12 / self.scale)
        kept: NDArray[Any] = fine[~shapely.is_empty(fine)]
        return kept

    def _path(self, shapes: Iterable[Any]) -> Path:
        lines: list[NDArray[Any]] = []
        for shape in shapes:
            lines += [shapely.get_coordinates(part) for part in rings(shape)]
        points = np.vstack(lines) - (self.frame.west, self.frame.south)
        codes = np.full(len(points), Path.LINETO, dtype=np.uint8)
        starts = np.cumsum([0, *(len(line) for line in lines[:-1])])
        codes[starts] = Path.MOVETO
        return Path(points * self.scale, codes)

    def _areas(self, rule: Rule, shapes: NDArray[Any]) -> None:
        path = self._path(shapes)
        if rule.fill is not None:
            hatched = rule.fill.hatch == "slash"
            self.axes.add_artist(
                PathPatch(
                    path,
                    facecolor="none" if hatched else rule.fill.ink.light,
                    edgecolor=rule.fill.ink.light if hatched else "none",
                    hatch="////" if hatched else None,
                    alpha=rule.fill.opacity,
                    linewidth=0,
                )
            )
        if rule.line is not None:
            self._stroke(rule, path)

    def _lines(self, rule: Rule, shapes: NDArray[Any]) -> None:
        self._stroke(rule, self._path(shapes))
        if rule.line is not None and rule.line.arrow:
            for shape in shapely.get_parts(shapes):
                self._arrow(shape, rule.line.ink.light, rule.line.width_px)

    def _stroke(self, rule: Rule, path: Path) -> None:
        line = rule.line
        if line is None:
            return
        patch = PathPatch(
            path,
            fill=False,
            edgecolor=line.ink.light,
            linewidth=line.width_px * PX,
            linestyle=dashes(line.dash_px, line.width_px),
            capstyle="butt" if line.dash_px else "round",
            joinstyle="round",
        )
        if line.width_px >= 1.6:  # heavy lines stand on a pale casing; thin ones would drown in it
            under = PathPatch(
                path,
                fill=False,
                edgecolor=PAPER.light,
                alpha=0.65,
                linewidth=line.width_px * PX + 1.1,
                joinstyle="round",
            )
            self.axes.add_artist(under)
        self.axes.add_artist(patch)

    def _arrow(self, line: Any, colour: str, width_px: float) -> None:  # noqa: ANN401
        length = line.length * self.scale
        size = 3.0 + width_px
        if length < 4 * size:
            return
        at, ahead = (
            shapely.get_coordinates(line.interpolate(min(share, 1.0), normalized=True))[0]
            for share in (0.62, 0.62 + size / length)
        )
        step = (ahead - at) * self.scale
        if not step.any():
            return
        step *= size / math.hypot(*step)
        at_pt = np.array(self.xy(*at))
        side = np.array((-step[1], step[0])) * 0.38
        corners = np.array([at_pt + step, at_pt + side, at_pt - side])
        self.axes.add_artist(
            Polygon(corners, closed=True, facecolor=colour, edgecolor=PAPER.light, linewidth=0.4)
        )

    def _points(self, rule: Rule, shapes: NDArray[Any]) -> None:
        mark = rule.mark
        if mark is None:
            return
        points = shapely.get_coordinates(shapes)
        at = (points - (self.frame.west, self.frame.south)) * self.scale
        size = mark.size_px * PX
        stroke = mark.shape == "cross"
        self.axes.plot(
            at[:, 0],
            at[:, 1],
            linestyle="none",
            marker=MARKERS[mark.shape],
            markersize=size,
            markerfacecolor=mark.ink.light,
            markeredgecolor=mark.ink.light if stroke else PAPER.light,
            markeredgewidth=0.8,
            zorder=5,
        )
        half = size / 2 + 0.5
        self._taken += [labels.Box(x - half, y - half, x + half, y + half) for x, y in at]

    # --- labels

    def label_lines(self, rows: GeoDataFrame, column: str, layer: str, rank: float = 4.0) -> None:
        """Write a column's values along the longest part of each line; low ranks go first."""
        self._label_rows(style(layer).rules[0], rows, column, rank)

    def label_inside(self, shape: Any, text: str) -> None:  # noqa: ANN401
        """Write a text inside a polygon."""
        self._ask(shape, text, INK.light, None)

    def number(self, shape: Any, text: str, *, ink: str, paper: str) -> None:  # noqa: ANN401
        """Write a number in a disc on a shape; labels keep clear of it."""
        on_line = shape.length and not shape.area
        at = shape.interpolate(0.5, normalized=True) if on_line else shape.representative_point()
        x, y = self.xy(at.x, at.y)
        size = 5.2 if len(text) < 3 else 6.6
        self.axes.add_artist(
            Circle((x, y), size, facecolor=ink, edgecolor=paper, linewidth=1.2, zorder=7)
        )
        self.axes.text(
            x,
            y,
            text,
            color=paper,
            fontsize=6.5,
            fontweight="bold",
            ha="center",
            va="center_baseline",
            zorder=8,
        )
        self._taken.append(labels.Box(x - size, y - size, x + size, y + size))

    def _label_rows(
        self, rule: Rule, rows: GeoDataFrame, column: str, rank: float | None = None
    ) -> None:
        ink = rule.line.ink if rule.line else rule.mark.ink if rule.mark else INK
        colour = ink.light if ink is not INK else INK.light
        for shape, value in zip(rows.geometry, rows[column], strict=True):
            text = self._label_text(column, value)
            if text and not shape.is_empty:
                self._ask(shape, text, colour, rank)

    def _label_text(self, column: str, value: Any) -> str:  # noqa: ANN401
        if value is None or value == "" or value != value:
            return ""
        if column == "level_m":
            us = self.results.units == "us"
            level = value / FOOT_M if us else value
            return f"{level:.0f}" if abs(level - round(level)) < 0.05 else f"{level:.1f}"
        if isinstance(value, float) and value.is_integer():
            return str(int(value))
        return str(value)

    def _ask(self, shape: Any, text: str, colour: str, rank: float | None) -> None:  # noqa: ANN401
        kind = shape.geom_type
        if kind == "Point":
            x, y = self.xy(shape.x, shape.y)
            self.label(
                text, lambda w, h: labels.around(x, y, w, h, 4.5), colour=colour, rank=rank or 1
            )
        elif "Polygon" in kind:
            largest = max(shapely.get_parts(shape), key=lambda part: part.area)
            if largest.area * self.scale**2 < 60:
                return
            centre = largest.representative_point()
            x, y = self.xy(centre.x, centre.y)
            self.label(
                text,
                lambda w, h: (labels.Place(x, y), *labels.around(x, y, w, h, 2)),
                colour=colour,
                rank=rank or 3,
            )
        else:
            longest = max(shapely.get_parts(shape), key=lambda part: part.length)
            self.label(
                text, lambda w, _: self._along(longest, w), colour=colour, rank=rank or 4, size=6
            )

    def _along(self, line: Any, width: float) -> tuple[labels.Place, ...]:  # noqa: ANN401
        length = line.length * self.scale
        if length < 1.8 * width:
            return ()
        found = []
        for share in (0.5, 0.35, 0.65, 0.2, 0.8, 0.1, 0.9):
            half = width / 2 / length
            ends = [
                shapely.get_coordinates(line.interpolate(min(max(s, 0), 1), normalized=True))[0]
                for s in (share - half, share, share + half)
            ]
            (x0, y0), (x, y), (x1, y1) = (self.xy(*end) for end in ends)
            angle = math.degrees(math.atan2(y1 - y0, x1 - x0))
            upright = angle - 180 if angle > 90 else angle + 180 if angle < -90 else angle
            found.append(labels.Place(x, y, upright))
        return tuple(found)

    def _measure(self, text: str, size: float) -> tuple[float, float]:
        return text_width_pt(text, size) + 3.0, size + 1.4

    def _draw_labels(self) -> None:
        sheet = labels.Box(1, 1, self.width - 1, self.height - 1)
        for wanted, place in labels.placed(self._wanted, sheet, self._taken):
            self.axes.text(
                place.x,
                place.y,
                wanted.text,
                fontsize=wanted.height - 1.4,
                color=wanted.colour,
                ha="center",
                va="center_baseline",
                rotation=place.angle_deg,
                rotation_mode="anchor",
                zorder=6,
                path_effects=[withStroke(linewidth=2.0, foreground=PAPER.light)],
            )


def _mm_a_metre(frame: MapFrame, size_mm: tuple[float, float]) -> float:
    """Return the largest scale at which a frame fits the sheet."""
    return min(size_mm[0] / frame.width_m, size_mm[1] / (frame.north - frame.south))
