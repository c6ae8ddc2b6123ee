"""Styles that travel: an OGC Styled Layer Descriptor for each layer, from the one palette.

Written by OGC 02-070 (SLD 1.0.0), which every viewer that reads styles reads; what only the later
Symbology Encoding (OGC 05-077r4) can say is not needed. Marks are those that the standard names.

The styles lie beside the layers only: no adopted OGC standard says how a GeoPackage holds styles
(OGC 18-074 stayed a report of a pilot), and tables that single programs write are not one.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final
from xml.sax.saxutils import escape

import numpy as np

from brimline.layers import CATALOGUE, Geometry, Layer, Raster
from brimline.report.palette import CELLS, PAPER, style
from brimline.report.plates.classes import class_titles
from brimline.report.ramps import RAMPS, stretched

if TYPE_CHECKING:
    from collections.abc import Iterable

    from numpy.typing import NDArray

    from brimline.report.palette import Fill, LineStyle, Mark, Rule, Style, Where
    from brimline.report.ramps import Ramp
    from brimline.report.results import Results

_WELL_KNOWN: Final = {
    "circle": ("circle", 0),
    "square": ("square", 0),
    "triangle": ("triangle", 180),  # stands on its point
    "diamond": ("square", 45),
    "cross": ("x", 0),
}
_LINES: Final = frozenset({Geometry.LINE, Geometry.LINE_Z, Geometry.MULTILINE})
_POINTS: Final = frozenset({Geometry.POINT, Geometry.POINT_Z})
_HATCHED_OPACITY: Final = 0.2  # the standard has no hatch: a tint stands for it
_ALMOST_HALF: Final = 0.499
_MOST_CODES: Final = 500
_JUST_BELOW: Final = 1 - 1e-6


def styles(results: Results) -> dict[str, str]:
    """Return the style of each published layer and raster that the run holds, by name."""
    held = results.frames.keys() | results.rasters.keys()
    return {
        name: item_style(results, item)
        for name, item in CATALOGUE.items()
        if isinstance(item, Layer | Raster) and item.published and name in held
    }


def item_style(results: Results, item: Layer | Raster) -> str:
    """Return the SLD of a layer or raster."""
    return layer_style(item) if isinstance(item, Layer) else raster_style(results, item)


def layer_style(item: Layer) -> str:
    """Return the SLD of a vector layer."""
    look = style(item.name)
    ruled = [_rule(rule, look, item.geometry) for rule in look.rules]
    return _document(item.name, item.title, ruled)


def raster_style(results: Results, item: Raster) -> str:
    """Return the SLD of a raster: its ramp's classes, or an even stretch where it has none."""
    ramp = RAMPS.get(item.name)
    values = results.rasters[item.name]
    if ramp is not None:
        words = [words for words, _ in class_titles(results, ramp)]
        entries = _steps(ramp, words, _top(values))
    elif item.codes:
        entries = _codes(values, item.nodata)
    elif item.name == "hillshade":
        entries = _entry("#000000", 1, "", 1.0) + _entry("#ffffff", 255, "", 1.0)
    else:
        known = values[np.isfinite(values)] if values.dtype.kind == "f" else values
        low, high = (float(known.min()), float(known.max())) if known.size else (0.0, 1.0)
        even = stretched(item.name, low, high)
        entries = "".join(
            _entry(colour, limit, f"{limit:.4g}", 1.0)
            for limit, colour in zip(even.breaks, even.colours, strict=True)
        )
    rule = (
        f"<Rule><Name>{item.name}</Name><RasterSymbolizer><ColorMap>{entries}</ColorMap>"
        "</RasterSymbolizer></Rule>"
    )
    return _document(item.name, item.title, [rule])


def _document(name: str, title: str, rules: Iterable[str]) -> str:
    return f"""<?xml version="1.0" encoding="UTF-8"?>
<StyledLayerDescriptor version="1.0.0" xmlns="http://www.opengis.net/sld" xmlns:ogc="http://www.opengis.net/ogc" xmlns:xlink="http://www.w3.org/1999/xlink" xmlns:xsi="http://www.w3.org/2001/XMLSchema-instance" xsi:schemaLocation="http://www.opengis.net/sld http://schemas.opengis.net/sld/1.0.0/StyledLayerDescriptor.xsd">
<NamedLayer>
<Name>{escape(name)}</Name>
<UserStyle>
<Name>{escape(name)}</Name>
<Title>{escape(title)}</Title>
<IsDefault>1</IsDefault>
<FeatureTypeStyle>
{chr(10).join(rules)}
</FeatureTypeStyle>
</UserStyle>
</NamedLayer>
</StyledLayerDescriptor>
"""  # noqa: E501 - one tag


def _rule(rule: Rule, look: Style, geometry: Geometry) -> str:
    """Return one rule with shape and text: some renderers draw a row by its first rule only."""
    symbols = []
    if geometry in _POINTS:
        symbols = [_point(rule.mark)] if rule.mark else []
    elif geometry in _LINES:
        symbols = [_line(rule.line)] if rule.line else []
    else:
        symbols = [_polygon(rule.fill, rule.line)]
    if geometry is Geometry.ANY:  # a symbol for each kind of shape that the layer may hold
        symbols += [_line(rule.line)] if rule.line else []
        symbols += [_point(rule.mark)] if rule.mark else []
    title = escape(rule.title)
    return (
        f"<Rule><Name>{title}</Name><Title>{title}</Title>{_selection(rule, look.rules)}"
        f"{''.join(symbols)}{_text(look.label, rule)}</Rule>"
    )


def _selection(rule: Rule, rules: tuple[Rule, ...]) -> str:
    """Say which rows a rule is for, so that exactly one rule holds for each row."""
    later = [other.where for other in rules[rules.index(rule) + 1 :] if other.where is not None]
    own = [] if rule.where is None else [_test(rule.where)]
    tests = own + [f"<ogc:Not>{_test(where)}</ogc:Not>" for where in later]
    if not tests:
        return ""
    inside = tests[0] if len(tests) == 1 else f"<ogc:And>{''.join(tests)}</ogc:And>"
    return f"<ogc:Filter>{inside}</ogc:Filter>"


def _test(where: Where) -> str:
    name = "PropertyIsEqualTo" if where.test == "=" else "PropertyIsGreaterThanOrEqualTo"
    value = str(where.value).lower() if isinstance(where.value, bool) else str(where.value)
    return (
        f"<ogc:{name}><ogc:PropertyName>{escape(where.column)}</ogc:PropertyName>"
        f"<ogc:Literal>{escape(value)}</ogc:Literal></ogc:{name}>"
    )


def _text(column: str, rule: Rule) -> str:
    if not column:
        return ""
    ink = rule.line.ink if rule.line else rule.mark.ink if rule.mark else None
    return (
        "<TextSymbolizer><Label><ogc:PropertyName>"
        f"{escape(column)}</ogc:PropertyName></Label><Font>{_css('font-family', 'sans-serif')}"
        f"{_css('font-size', '10')}</Font><Halo><Radius><ogc:Literal>1.5</ogc:Literal></Radius>"
        f"<Fill>{_css('fill', PAPER.light)}</Fill></Halo>"
        f"<Fill>{_css('fill', ink.light if ink else '#000000')}</Fill></TextSymbolizer>"
    )


def _stroke(line: LineStyle) -> str:
    dash = " ".join(f"{length:g}" for length in line.dash_px)
    return (
        f"<Stroke>{_css('stroke', line.ink.light)}{_css('stroke-width', f'{line.width_px:g}')}"
        f"{_css('stroke-linejoin', 'round')}{_css('stroke-dasharray', dash) if dash else ''}"
        "</Stroke>"
    )


def _line(line: LineStyle) -> str:
    return f"<LineSymbolizer>{_stroke(line)}</LineSymbolizer>"


def _polygon(fill: Fill | None, line: LineStyle | None) -> str:
    inside = ""
    if fill is not None:
        opacity = _HATCHED_OPACITY if fill.hatch else fill.opacity
        inside = (
            f"<Fill>{_css('fill', fill.ink.light)}{_css('fill-opacity', f'{opacity:g}')}</Fill>"
        )
    outline = _stroke(line) if line is not None else ""
    return f"<PolygonSymbolizer>{inside}{outline}</PolygonSymbolizer>"


def _point(mark: Mark) -> str:
    name, turn_deg = _WELL_KNOWN[mark.shape]
    edge = mark.ink.light if mark.shape == "cross" else PAPER.light
    turned = f"<Rotation>{turn_deg}</Rotation>" if turn_deg else ""
    return (
        f"<PointSymbolizer><Graphic><Mark><WellKnownName>{name}</WellKnownName>"
        f"<Fill>{_css('fill', mark.ink.light)}</Fill>"
        f"<Stroke>{_css('stroke', edge)}{_css('stroke-width', '1')}</Stroke></Mark>"
        f"<Size>{mark.size_px:g}</Size>{turned}</Graphic></PointSymbolizer>"
    )


def _steps(ramp: Ramp, words: list[str], top: float) -> str:
    """Return two entries a class, so that readers that blend between entries show steps too."""
    limits = [*ramp.breaks[1:], max(top, ramp.breaks[-1] * 2 + 1)]
    entries = []
    if ramp.breaks[0] > 0:
        entries.append(_entry(ramp.colours[0], _below(ramp.breaks[0]), "", 0.0))
    for low, high, colour, title in zip(ramp.breaks, limits, ramp.colours, words, strict=True):
        entries.append(_entry(colour, low, title, 1.0) + _entry(colour, _below(high), "", 1.0))
    return "".join(entries)


def _codes(values: NDArray[np.generic], nodata: float | None) -> str:
    """Return a colour a code, alike on both sides of it; many codes share the set's colours."""
    entries = []
    for code in np.unique(values)[:_MOST_CODES].tolist():
        if code != nodata:
            colour = CELLS[int(code) % len(CELLS)]
            entries.append(_entry(colour, code - 0.5, str(code), 1.0))
            entries.append(_entry(colour, code + _ALMOST_HALF, "", 1.0))
    return "".join(entries)


def _below(limit: float) -> float:
    return limit * _JUST_BELOW if limit > 0 else limit * (2 - _JUST_BELOW) - 1e-9


def _top(values: NDArray[np.generic]) -> float:
    known = values[np.isfinite(values)]
    return float(known.max()) if known.size else 0.0


def _entry(colour: str, quantity: float, label: str, opacity: float) -> str:
    named = f' label="{escape(label, {chr(34): "&quot;"})}"' if label else ""
    return (
        f'<ColorMapEntry color="{colour}" quantity="{quantity:.9g}" opacity="{opacity:g}"{named}/>'
    )


def _css(name: str, value: str) -> str:
    return f'<CssParameter name="{name}">{escape(value)}</CssParameter>'
